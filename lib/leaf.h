/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * One load of leaf drying on trays: the reference model in double precision.
 *
 * Balance, for the water W of the tissue (kg per kg of dry matter at spreading), its share left
 * y = W / W0, and surface water z in the same unit (kg over the tissue's water at spreading):
 *
 *     dy/dt = -c E,   dz/dt = -c Ew,   c = 1 / (dry kg/m2 times W0)
 *
 * E from the tissue and Ew from the surface: lib/leaf_physics.h.  The skin's conductance
 * is pace (g_min + (g_open - g_min) closing(t)) times area, temperature and shrinkage factors.
 *
 * Valid for 0-45 deg C, 0.2-10 kg/m2 of fresh leaf, 50-90 % wet basis.  Left out: uptake of vapour
 * by dry leaf (below 0.1 points in a night at the dry end, nothing before), the difference between
 * blade and stem, between top and bottom of the bed (a bed is one layer behind a path; error grows
 * above 5 cm), heat stored in the leaf (minutes), heating of heaps above 8 kg/m2.
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
	double bed;          /* factor on the path */
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
/* The two parts of it: face and (for factor 1, unpacked) bed. */
void wt_leaf_path_parts(const struct wt_leaf_bed *bed, struct wt_leaf_path *face,
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
