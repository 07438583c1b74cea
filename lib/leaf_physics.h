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

#include <tgmath.h>

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

/* What is left of the opening of the stomata after x fourths of their mean closing time; w =
 * exp(-x). Four steps one after the other (Erlang): open for a while, then a quick fall.  Fitted
 * forms on detached leaves: a plain exponential misses by 4 % of the water lost, this by 1 %. */
static inline REAL leaf_closing(REAL w, REAL x)
{
	return w * ((REAL)1 + x * ((REAL)1 + x * ((REAL)0.5 + x * (REAL)(1.0 / 6.0))));
}

/* Surface water lies on a share w of the leaf and evaporates from there without a skin; its vapour
 * fills the same air in the bed, and the tissue dries into that air.  With r = rv + Q,
 *
 *     Ew = v (a - e) / (1 + r v + r u sh),       v = film w: conductance of the wet leaf's own air
 *     E  = as above, with e + r Ew for e
 *
 * which is the exact sharing of one path between two sources, but for the tissue's water activity
 * in Ew (1 as long as leaf is wet).  w = f / (f + half), f = z and the last patches: these cover 2
 * % of the leaf and then are gone, so that it dries off in a finite time.  Our choice. */
#define LEAF_LAST_PATCHES 0.02

static inline REAL leaf_wet_film(REAL z, REAL half)
{
	return z > (REAL)0 ? z + (REAL)LEAF_LAST_PATCHES * half : (REAL)0;
}

/* Ew becomes pull f / (f slow + half fast) with slow = (1 + r film) o + r u y, fast = o + r u y,
 * o = y + k and pull = film (a - e) o.  After a step (pull multiplied by the step and taken in the
 * unit of z) this is what is left, times slow.  Implicit midpoint rule, whose equation is a
 * quadratic: second order, right also where a thin film goes within one step, never below 0. */
static inline REAL leaf_wet_left(REAL z, REAL pull, REAL slow, REAL fast, REAL half)
{
	REAL film = leaf_wet_film(z, half) * slow;
	REAL rest = half * fast;
	REAL b = film - rest - (REAL)0.5 * pull;
	REAL twice_middle = b + (REAL)sqrt(b * b + (REAL)4 * rest * film);
	REAL left = twice_middle - film - (REAL)LEAF_LAST_PATCHES * half * slow;
	return left > (REAL)0 ? left : (REAL)0;
}

/* Dry matter breathed away per second at 20 deg C times this: warm is the skin's own temperature
 * factor (1.2 each 10 K, times T), whose fourth power doubles in about 10 K. */
static inline REAL leaf_breath_factor(REAL warm)
{
	REAL w2 = warm * warm;
	return w2 * w2;
}

#endif /* WT_LIB_LEAF_PHYSICS_H */
