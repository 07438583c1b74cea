/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * One load of leaf drying on trays: the reference model in double precision.
 *
 * State: y, water of the tissue over that at spreading (W0 kg per kg of dry matter); z, surface
 * water in the same unit; breath, share of the dry matter gone.  t from spreading.
 *
 *  1. dy/dt = -c E, dz/dt = -c Ew, c = 1 / (dry kg/m2 W0)                          balance of water
 *  2. E, Ew: lib/leaf_physics.h.  Combination equation, Allen et al. 1998 (FAO-56), eq. 3, with
 *     measured resistances instead of a reference crop's; net radiation 0 indoors.  Two sources in
 *     one bed share its air.
 *  3. skin = pace g_min (1 + (ratio - 1) closing(t)) shrink(y) warm(T) area          conductance
 *     g_min: Nagarajah 1979, Table 1, in the open data base of Duursma et al. 2019.  closing: four
 *     steps in a row, fitted form on open detached-leaf data (tests/physics/published_detached.c).
 *     shrink, warm: lib/leaf_physics.h, lib/traits.h; our choice.
 *  4. aw = y^2 / (y^2 + b2): Oswin's isotherm, exponent 1/2; coefficient from memory.
 *  5. air side = faces of the tray + path through the bed (depth over a spreading coefficient, a
 *     third of it; a twelfth when both faces are open), both times the load's bed factor; heat has
 *     long-wave radiation beside it (Campbell and Norman 1998, from memory).
 *  6. saturation: Wagner and Pruss 1993 (lib/air.h); psychrometric constant: FAO-56 eq. 8 with the
 *     pressure of the site.
 *  7. loss % = m (1 - y) + (100 - m) breath, m moisture at spreading in % wet basis.
 *  8. breath: 0.02 % of dry matter an hour at 20 deg C leaves as weight, doubling in 10 K.
 *
 * Valid for 0-45 deg C, 0.2-10 kg/m2 of fresh leaf, 50-90 % wet basis, 40-120 kPa.
 *
 * Left out, and the error that follows:
 *  - Top and bottom of the bed, blade and stem: one leaf stands for all.  Against a layered bed
 * with stems the ready time, known only from the prior, is off by about 20 % of the time to go;
 * after a weighing by 12-18 %.
 *  - The bend of the saturation curve between leaf and air: flux up to 1.3 % too low, 5 % while
 *    stomata are open, 12 % from wet leaf (30 deg C, 60 %; less in cooler and moister air).
 *  - Uptake of vapour by dry leaf: none before the last tenth of a white wither, where a wet night
 *    may give back a point of loss.
 *  - Leaf of dry soil, which opens its stomata after picking: up to 9 % of the water lost.
 *  - Heat kept in the leaf (minutes); heaps that warm themselves, above about 8 kg/m2.
 *  - The temperature dependence of the spreading of vapour in air: 10 % of the path over 15 K.
 */
#ifndef WT_LIB_LEAF_H
#define WT_LIB_LEAF_H

#include <stdbool.h>

#include "lib/ensemble.h"
#include "lib/status.h"

/* Air as the equation wants it. */
struct wt_leaf_air {
	double a_kg_m3;     /* saturated vapour density */
	double e_kg_m3;     /* vapour density, at the saturated air's temperature */
	double slope_ratio; /* q: slope over psychrometric constant */
	double warm;        /* temperature factor of the skin, 1 at 20 deg C */
};
/* temp_c -40..60, vapour_pa >= 0, pressure_pa 40000..120000. */
enum wt_status wt_leaf_air(double temp_c, double vapour_pa, double pressure_pa,
			   struct wt_leaf_air *out) WT_MUST_CHECK;

/* FAO-56 equation 3, W/m2 of latent heat: for comparison with published examples and to show that
 * the form used here is the same.  All finite, resistances > 0 (skin >= 0). */
struct wt_leaf_combination {
	double slope_pa_k, psychrometric_pa_k;
	double net_radiation_w_m2;
	double air_heat_j_m3_k; /* density times heat capacity */
	double deficit_pa;
	double air_s_m, skin_s_m;
};
enum wt_status wt_leaf_latent_w_m2(const struct wt_leaf_combination *in, double *out) WT_MUST_CHECK;

/* A member: constant over the load.  Made from its coordinates. */
struct wt_leaf {
	double moisture_pct; /* wet basis at spreading */
	double tissue_kg;    /* fresh weight without surface water */
	double dry_kg;       /* dry matter at spreading */
	double water_ratio;  /* W0 */
	double surface;      /* z at spreading */
	double surface_half; /* z that covers half of the leaf */
	double leaf_m2_kg;   /* one-sided area per kg of dry matter */
	double skin_m_s;     /* pace times closed conductance at 20 deg C, per (kg dry per m2) */
	double open_extra;   /* open over closed, less one */
	double close_s;      /* mean closing time */
	double bed;          /* factor on the path to the room's air */
	double shrink;       /* k */
	double isotherm_b2;  /* (moisture at aw 0.5 over W0) squared */
	double rh_bias;      /* share of saturation */
	double drift[4];     /* coefficients */
};
enum wt_status wt_leaf_from_theta(const struct wt_load_case *load, const double theta[WT_DIM_COUNT],
				  struct wt_leaf *out) WT_MUST_CHECK;

/* The bed as it lies at one time. */
struct wt_leaf_bed {
	double fresh_kg_m2; /* tissue at spreading over the present area */
	bool perforated;
	bool fan;
	bool alone; /* a leaf by itself: no tray, no neighbours */
	double net_radiation_w_m2;
	double turned_s_ago; /* since spreading or turning */
};
/* Resistances of that bed.  factor: the member's bed factor. */
struct wt_leaf_path {
	double vapour_s_m, heat_s_m;
	double leaf_s_m; /* one face of one leaf */
};
enum wt_status wt_leaf_path(const struct wt_leaf_bed *bed, double factor,
			    struct wt_leaf_path *out) WT_MUST_CHECK;
/* The two parts of it: faces and (unpacked) bed. */
void wt_leaf_path_parts(const struct wt_leaf_bed *bed, double factor, struct wt_leaf_path *face,
			struct wt_leaf_path *through);
/* Growth of the path since spreading or turning. */
double wt_leaf_packing(double turned_s_ago);

struct wt_leaf_state {
	double y;      /* tissue water left, share of the first */
	double z;      /* surface water, same unit */
	double breath; /* dry matter gone, share of the first */
};
struct wt_leaf_rate {

	double y_per_s, z_per_s, breath_per_s;
};
/* dry_kg_m2: dry matter at spreading over present area; pace_drift: factor from drift; t_s: since
 * spreading.  Pure, for integrators. */
void wt_leaf_rate(const struct wt_leaf *leaf, const struct wt_leaf_path *path, double dry_kg_m2,
		  double net_radiation_w_m2, double pace_drift, const struct wt_leaf_air *air,
		  double t_s, const struct wt_leaf_state *state, struct wt_leaf_rate *out);
/* Loss, % of fresh weight without surface water. */
double wt_leaf_loss_pct(const struct wt_leaf *leaf, const struct wt_leaf_state *state);
/* Weight of the whole load with surface water, kg, nothing taken. */
double wt_leaf_weight_kg(const struct wt_leaf *leaf, const struct wt_leaf_state *state);

/* The same run as wt_ensemble_observe() for one member, in double precision with the air in double
 * too, steps of step_s (a divisor of WT_GRID_S) by the explicit midpoint rule: the reference for
 * the kernel.  Air linear between instants of track; events as in the ensemble. */
enum wt_status wt_leaf_run(const struct wt_load_case *load, const double theta[WT_DIM_COUNT],
			   const struct wt_track *track, int step_s, const int64_t *at_unix_s,
			   size_t n_at, double *loss_pct, double *weight_kg) WT_MUST_CHECK;

#endif /* WT_LIB_LEAF_H */
