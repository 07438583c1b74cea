/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * The true leaf of a synthetic season.  Another build than the library's: the bed is a stack of
 * layers with their own air between them, stems hand their water to the blades, stomata close in
 * kinds of their own speed and some never, or as the blade loses water, the skin follows the
 * blade's water.
 */
#include <gsl/gsl_randist.h>
#include <math.h>

#include "season.h"

enum { L = SEASON_LAYERS };

static const double step_s = SEASON_STEP_S, pressure_pa = 95000.0;
static const double skin_mol = 0.012; /* closed conductance at pace 1, mol m-2 s-1 */
static const double stem_share = 0.24, blade_m2_kg = 23.0;

void season_leaf_start(struct season_leaf *leaf, gsl_rng *rng)
{
	const double tissue = leaf->kg / leaf->area_m2 / (1.0 + leaf->surface_kg_kg);
	const double dry = tissue * (1.0 - leaf->moisture_pct / 100.0);
	const double ratio = leaf->moisture_pct / (100.0 - leaf->moisture_pct);
	/* Stems are wetter than blades. */
	leaf->stem_full = 1.30 * ratio;
	leaf->blade_full = ratio * (1.0 - 1.30 * stem_share) / (1.0 - stem_share);
	leaf->fresh_tissue = tissue;
	leaf->breathed = leaf->cooling_k = leaf->age_s = leaf->turned_s = leaf->wander = 0.0;
	for (int l = 0; l < L; l++) {
		leaf->dry_blade[l] = dry * (1.0 - stem_share) / L;
		leaf->dry_stem[l] = dry * stem_share / L;
		leaf->blade[l] = leaf->dry_blade[l] * leaf->blade_full;
		leaf->stem[l] = leaf->dry_stem[l] * leaf->stem_full;
		leaf->surface[l] = tissue * leaf->surface_kg_kg / L;
		leaf->opening[l] = 1.0;
	}
	static const double share[SEASON_KINDS] = {0.35, 0.35, 0.22, 0.08};
	static const double minutes[SEASON_KINDS] = {18.0, 45.0, 130.0, 3000.0};
	const double slow = exp(gsl_ran_gaussian(rng, 0.3));
	for (int k = 0; k < SEASON_KINDS; k++) {
		leaf->kind_share[k] = share[k];
		leaf->kind_s[k] = 60.0 * minutes[k] * slow;
	}
	leaf->open_ratio = 2.6 * exp(gsl_ran_gaussian(rng, 0.25));
}

/* Conductance of blades, m/s of blade area. */
static double blade_conductance(const struct season_leaf *leaf, int l, double temp_c)
{
	double open = 0.0;
	for (int k = 0; k < SEASON_KINDS; k++)
		open += leaf->kind_share[k] * exp(-leaf->age_s / leaf->kind_s[k]);
	if (leaf->stress)
		open = leaf->opening[l];
	double q10 = 1.35, shrink;
	const double full = leaf->blade[l] / (leaf->dry_blade[l] * leaf->blade_full);
	if (leaf->structure == 0) {
		shrink = 0.25 + 0.75 * pow(fmax(full, 0.0), 0.8);
	} else {
		/* Opens a little further at first, then closes. */
		open *= 1.0 + 0.5 * exp(-pow((leaf->age_s - 2700.0) / 1800.0, 2.0));
		shrink = pow(fmax(full, 0.0), 0.5);
		q10 = 1.1;
	}
	const double mol = skin_mol * leaf->pace * exp(leaf->wander) *
			   (1.0 + (leaf->open_ratio - 1.0) * open) * shrink *
			   pow(q10, (temp_c - 20.0) / 10.0);
	return mol * 8.314 * (temp_c + 273.15) / pressure_pa;
}

/* Vapour of the air between the layers, Pa: steady flow through the stack (Thomas algorithm). */
static void solve_stack(const double give[L], const double leaf_pa[L], double top, double between,
			double bottom, double room_pa, double out[L])
{
	double diagonal[L], right[L];
	for (int l = 0; l < L; l++) {
		const double up = l == 0 ? top : between, down = l == L - 1 ? bottom : between;
		diagonal[l] = give[l] + up + down;
		right[l] = give[l] * leaf_pa[l] + (l == 0 ? top * room_pa : 0.0) +
			   (l == L - 1 ? bottom * room_pa : 0.0);
	}
	for (int l = 1; l < L; l++) {
		const double factor = between / diagonal[l - 1];
		diagonal[l] -= factor * between;
		right[l] += factor * right[l - 1];
	}
	out[L - 1] = right[L - 1] / diagonal[L - 1];
	for (int l = L - 2; l >= 0; l--)
		out[l] = (right[l] + between * out[l + 1]) / diagonal[l];
}

/* Half shut when the blade has lost 3 % of its water, a few % stay open, half an hour late: our
 * choice.  In humid air, or wet with rain, such leaf stays open for hours. */
static void move_stomata(struct season_leaf *leaf)
{
	for (int l = 0; l < L; l++) {
		const double full = leaf->blade[l] / (leaf->dry_blade[l] * leaf->blade_full);
		const double goal = 0.06 + 0.94 / (1.0 + exp((0.97 - full) / 0.008));
		leaf->opening[l] += (goal - leaf->opening[l]) * step_s / 1800.0;
	}
}

static void drain_stems(struct season_leaf *leaf)
{
	for (int l = 0; l < L; l++) {
		const double stem = leaf->stem[l] / (leaf->dry_stem[l] * leaf->stem_full);
		const double blade = leaf->blade[l] / (leaf->dry_blade[l] * leaf->blade_full);
		const double flow = fmax(stem - blade, 0.0) * leaf->stem[l] * step_s / (7 * 3600.0);
		leaf->stem[l] -= flow;
		leaf->blade[l] += flow;
	}
}

void season_leaf_step(struct season_leaf *leaf, double temp_c, double vapour_pa, gsl_rng *rng)
{
	const double leaf_c = temp_c - leaf->cooling_k;
	const double saturated = season_saturation_pa(leaf_c);
	const double kg_per = 0.018015 / (8.314 * (temp_c + 273.15)); /* kg m-3 Pa-1 */
	double give[L], wet[L], leaf_pa[L], air_pa[L];
	for (int l = 0; l < L; l++) {
		const double area = leaf->dry_blade[l] * blade_m2_kg;
		wet[l] = leaf->surface[l] / (leaf->surface[l] + 0.03 * area);
		const double skin = blade_conductance(leaf, l, leaf_c);
		give[l] = area * kg_per * ((1.0 - wet[l]) * skin + wet[l] * 0.004);
		leaf_pa[l] = saturated;
	}
	/* The stack settles as it goes limp; turning loosens it. */
	const double settle = 1.0 - 0.35 * (1.0 - exp(-leaf->turned_s / 14400.0));
	const double depth = leaf->fresh_tissue / 34.0 * settle / L;
	const double spread_m2_s = leaf->structure == 0 ? 6e-5 : 3e-4;
	solve_stack(give, leaf_pa, kg_per * 0.0055, kg_per * spread_m2_s / fmax(depth, 1e-4),
		    kg_per * 0.0028, vapour_pa, air_pa);
	double flux = 0.0;
	for (int l = 0; l < L; l++) {
		const double out = give[l] * (leaf_pa[l] - air_pa[l]) * step_s;
		const double area = leaf->dry_blade[l] * blade_m2_kg;
		double off = area * kg_per * wet[l] * 0.004 * (leaf_pa[l] - air_pa[l]) * step_s;
		if (off > leaf->surface[l])
			off = leaf->surface[l];
		leaf->surface[l] -= off;
		leaf->blade[l] = fmax(leaf->blade[l] - (out - off), 0.02 * leaf->dry_blade[l]);
		flux += out / step_s;
	}
	drain_stems(leaf);
	move_stomata(leaf);
	const double goal_k = fmax(flux, 0.0) * 2.45e6 / 11.0;
	leaf->cooling_k += (goal_k - leaf->cooling_k) * 0.3;
	leaf->breathed += 0.0006 * 0.4 * pow(2.2, (leaf_c - 20.0) / 10.0) * step_s / 3600.0;
	leaf->age_s += step_s;
	leaf->turned_s += step_s;
	const double keep = exp(-step_s / (10 * 3600.0));
	const double sd = leaf->structure == 0 ? 0.04 : 0.10;
	leaf->wander = leaf->wander * keep + gsl_ran_gaussian(rng, sd * sqrt(1 - keep * keep));
}

void season_leaf_turn(struct season_leaf *leaf)
{
	double blade = 0.0, stem = 0.0;
	for (int l = 0; l < L; l++) {
		blade += leaf->blade[l] / L;
		stem += leaf->stem[l] / L;
	}
	for (int l = 0; l < L; l++) {
		leaf->blade[l] += 0.7 * (blade - leaf->blade[l]);
		leaf->stem[l] += 0.7 * (stem - leaf->stem[l]);
	}
	leaf->turned_s = 0.0;
}

static double tissue_now(const struct season_leaf *leaf)
{
	double sum = 0.0, dry = 0.0;
	for (int l = 0; l < L; l++) {
		sum += leaf->blade[l] + leaf->stem[l];
		dry += leaf->dry_blade[l] + leaf->dry_stem[l];
	}
	return sum + dry * (1.0 - leaf->breathed);
}

double season_leaf_loss_pct(const struct season_leaf *leaf)
{
	return 100.0 * (1.0 - tissue_now(leaf) / leaf->fresh_tissue);
}

double season_leaf_weight_kg(const struct season_leaf *leaf)
{
	double sum = tissue_now(leaf);
	for (int l = 0; l < L; l++)
		sum += leaf->surface[l];
	return sum * leaf->area_m2;
}
