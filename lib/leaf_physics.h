/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * The physics of one tray of leaf, written once for every number type.
 *
 * Included by lib/leaf.c with REAL double (the reference) and by
 * lib/ensemble_kernel.c with REAL float (many members at once).  Only sums,
 * products, one division and comparisons, so that the compiler can do many
 * members in one instruction.
 *
 * Equation (Allen et al. 1998, FAO-56, eq. 3, with measured resistances), per m2 of tray, solved
 * for the water flux E in kg m-2 s-1 and written with the vapour densities of air
 *
 *     E = (aw a - e + Q rn / lambda) / (rv + aw Q + rs),   Q = q rh
 *
 * a, e  saturated and actual vapour pressure over Rv T, kg m-3
 * q     slope of the saturation curve over the psychrometric constant
 * rv    resistance of air to vapour, rh to heat (convection and long-wave radiation side by side:
 *       Campbell and Norman 1998, ch. 12, from memory), s m-1
 * rs    resistance of the leaf's skin, 1 / (u sh), s m-1
 * aw    water activity, y^2 / (y^2 + b2): the Oswin isotherm with exponent 1/2, y = water left over
 *       water at spreading
 * sh    y (1 + k) / (y + k): what the skin still passes as the leaf shrinks and its cells fall dry
 */
#ifndef WT_LIB_LEAF_PHYSICS_H
#define WT_LIB_LEAF_PHYSICS_H

#ifndef REAL
#error "define REAL before including lib/leaf_physics.h"
#endif

/* Room air humidity moved by the error of its sensor, as a share of saturation; fades out over the
 * last tenth before saturation, because water does not leave for air that is full. */
static inline REAL leaf_biased_vapour(REAL a, REAL e, REAL bias)
{
	REAL room = (REAL)10 * (a - e);
	room = room > (REAL)0 ? room : (REAL)0;
	REAL moved = e + bias * (room < a ? room : a);
	return moved > (REAL)0 ? moved : (REAL)0;
}

/* Flux from the tissue as a fraction, so that a caller may share one division between several.
 * u: conductance of all skin on the tray times (1 + k), m s-1; e already lessened by radiation.
 * Never below 0: uptake from the air is left out. */
static inline void leaf_tissue_parts(REAL u, REAL y, REAL k, REAL b2, REAL a, REAL e, REAL rv,
				     REAL heat, REAL *over, REAL *under)
{
	REAL y2 = y * y;
	REAL uy = u * y;
	REAL sum = y2 + b2;
	REAL drive = (a - e) * y2 - e * b2;
	drive = drive > (REAL)0 ? drive : (REAL)0;
	*over = uy * drive;
	*under = uy * (rv * sum + heat * y2) + (y + k) * sum;
}

/* Flux from free water that would cover the whole tray is this over (rv + heat). */
static inline REAL leaf_free_drive(REAL a, REAL e)
{
	REAL drive = a - e;
	return drive > (REAL)0 ? drive : (REAL)0;
}

/* What is left of the opening of the stomata after x fourths of their mean closing time; w =
 * exp(-x). Four steps one after the other (Erlang): open for a while, then a quick fall.  Fitted
 * forms on detached leaves: a plain exponential misses by 4 % of the water lost, this by 1 %. */
static inline REAL leaf_closing(REAL w, REAL x)
{
	return w * ((REAL)1 + x * ((REAL)1 + x * ((REAL)0.5 + x * (REAL)(1.0 / 6.0))));
}

/* The last patches of surface water cover this share of the leaf and then are gone, so that it
 * dries off in a finite time.  Our choice. */
#define LEAF_LAST_PATCHES 0.02

/* Share of the leaf covered by surface water z; half at z = half, nearly. */
static inline REAL leaf_wet_share(REAL z, REAL half)
{
	REAL film = z + (REAL)LEAF_LAST_PATCHES * half;
	return z > (REAL)0 ? film / (film + half) : (REAL)0;
}

/* Surface water after a step, and its mean share of the leaf in that step, as fractions over the
 * same number.  Free water would lose pull / resist in the step (in the unit of z).  With f for z
 * and its last patches:
 *
 *     m = f / (1 + pull / resist / (2 (f + half)))        the middle of the step
 *     k = pull / resist / (m + half)
 *     left = f / (1 + k + k^2 / 2) less the patches
 *     share = (z - left) resist / pull
 *
 * Second order, never below 0 however thin the film, and what leaves is what the share lets go. */
static inline void leaf_wet_parts(REAL z, REAL pull, REAL resist, REAL half, REAL *left,
				  REAL *share, REAL *under)
{
	REAL patches = (REAL)LEAF_LAST_PATCHES * half;
	REAL film = z > (REAL)0 ? z + patches : (REAL)0;
	REAL slow = (film + half) * resist;
	REAL n = slow + (REAL)0.5 * pull;
	REAL m = film * slow + half * n; /* m / n is the middle plus half */
	REAL p = pull * n;
	REAL q = resist * m; /* k = p / q */
	REAL u = q * (q + p) + (REAL)0.5 * p * p;
	REAL rest = film * q * q - patches * u;
	rest = rest > (REAL)0 ? rest : (REAL)0;
	REAL some = pull + (REAL)1e-12;
	*left = rest * some;
	*share = (z * u - rest) * resist;
	*under = u * some;
}

/* Dry matter breathed away per second at 20 deg C times this: warm is the skin's own temperature
 * factor (1.2 each 10 K, times T), whose fourth power doubles in about 10 K. */
static inline REAL leaf_breath_factor(REAL warm)
{
	REAL w2 = warm * warm;
	return w2 * w2;
}

#endif /* WT_LIB_LEAF_PHYSICS_H */
