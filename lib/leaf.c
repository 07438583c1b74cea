/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "lib/leaf.h"

#include <math.h>

#include "lib/air.h"
#include "lib/leaf_schedule.h"
#include "lib/traits.h"

#define REAL double
#include "lib/leaf_physics.h"

/* Gas constants from memory (the second CODATA 2018); latent heat by FAO-56 eq. 3-1. */
static const double gas_vapour_j_kg_k = 461.5;
static const double gas_j_mol_k = 8.314462618;
static const double kelvin_20c = 293.15;
static const double latent_20c_j_kg = 2.4538e6;

enum wt_status wt_leaf_air(double temp_c, double vapour_pa, double pressure_pa,
			   struct wt_leaf_air *out)
{
	double saturation_pa, slope_pa_k, gamma_pa_k;
	if (!out || !isfinite(vapour_pa))
		return WT_ERR_ARG;
	enum wt_status status = wt_air_saturation_pa(temp_c, &saturation_pa);
	if (status == WT_OK)
		status = wt_air_saturation_slope_pa_k(temp_c, &slope_pa_k);
	if (status == WT_OK)
		status = wt_air_psychrometric_pa_k(pressure_pa, &gamma_pa_k);
	if (status != WT_OK)
		return status;
	if (vapour_pa < 0.0 || temp_c > 60.0)
		return WT_ERR_RANGE;
	double temp_k = temp_c + 273.15;
	double per_pa = 1.0 / (gas_vapour_j_kg_k * temp_k);
	out->a_kg_m3 = saturation_pa * per_pa;
	out->e_kg_m3 = vapour_pa * per_pa;
	out->slope_ratio = slope_pa_k / gamma_pa_k;
	out->warm = pow(WT_TRAIT_SKIN_Q10, (temp_c - 20.0) / 10.0) * temp_k / kelvin_20c;
	return WT_OK;
}

enum wt_status wt_leaf_latent_w_m2(const struct wt_leaf_combination *in, double *out)
{
	if (!in || !out)
		return WT_ERR_ARG;
	const double v[] = {in->slope_pa_k,      in->psychrometric_pa_k, in->net_radiation_w_m2,
			    in->air_heat_j_m3_k, in->deficit_pa,         in->air_s_m,
			    in->skin_s_m};
	for (size_t i = 0; i < sizeof v / sizeof v[0]; i++)
		if (!isfinite(v[i]))
			return WT_ERR_ARG;
	if (in->slope_pa_k <= 0.0 || in->psychrometric_pa_k <= 0.0 || in->air_heat_j_m3_k <= 0.0 ||
	    in->air_s_m <= 0.0 || in->skin_s_m < 0.0)
		return WT_ERR_RANGE;
	*out = (in->slope_pa_k * in->net_radiation_w_m2 +
		in->air_heat_j_m3_k * in->deficit_pa / in->air_s_m) /
	       (in->slope_pa_k + in->psychrometric_pa_k * (1.0 + in->skin_s_m / in->air_s_m));
	return WT_OK;
}

static bool load_is_sound(const struct wt_load_case *load)
{
	return isfinite(load->fresh_kg) && isfinite(load->area_m2) &&
	       isfinite(load->net_radiation_w_m2) && isfinite(load->pressure_pa);
}

enum wt_status wt_leaf_from_theta(const struct wt_load_case *load, const double theta[WT_DIM_COUNT],
				  struct wt_leaf *out)
{
	if (!load || !theta || !out || !load_is_sound(load))
		return WT_ERR_ARG;
	for (int d = 0; d < WT_DIM_COUNT; d++)
		if (!isfinite(theta[d]))
			return WT_ERR_ARG;
	const struct wt_grade_trait *grade = wt_traits_grade(load->grade);
	if (!grade)
		return WT_ERR_ARG;
	if (load->fresh_kg <= 0.0 || load->area_m2 <= 0.0 || load->pressure_pa < 40000.0 ||
	    load->pressure_pa > 120000.0)
		return WT_ERR_RANGE;
	double surface_kg_kg = fmin(exp(theta[WT_DIM_SURFACE]), 1.0);
	double m = fmin(fmax(theta[WT_DIM_MOISTURE], 40.0), 92.0) / 100.0;
	double w0 = m / (1.0 - m);
	double half = WT_TRAIT_ISOTHERM_HALF / w0;
	struct wt_leaf leaf = {
		.moisture_pct = 100.0 * m,
		.tissue_kg = load->fresh_kg / (1.0 + surface_kg_kg),
		.water_ratio = w0,
		.surface = surface_kg_kg / m,
		.surface_half = WT_TRAIT_FILM_HALF_KG_M2 * grade->leaf_m2_kg_dry / w0,
		.leaf_m2_kg = grade->leaf_m2_kg_dry,
		.skin_m_s = exp(theta[WT_DIM_PACE]) * WT_TRAIT_SKIN_MOL_M2_S *
			    grade->leaf_m2_kg_dry * gas_j_mol_k * kelvin_20c / load->pressure_pa,
		.open_extra = fmax(exp(theta[WT_DIM_OPEN]) - 1.0, 0.0),
		.close_s = exp(theta[WT_DIM_CLOSE]),
		.bed = exp(theta[WT_DIM_BED]),
		.shrink = exp(theta[WT_DIM_SHRINK]),
		.isotherm_b2 = half * half,
		.rh_bias = theta[WT_DIM_RH_BIAS] / 100.0,
	};
	leaf.dry_kg = leaf.tissue_kg * (1.0 - m);
	for (int k = 0; k < 4; k++)
		leaf.drift[k] = theta[WT_DIM_DRIFT0 + k];
	*out = leaf;
	return WT_OK;
}

double wt_leaf_packing(double turned_s_ago)
{
	return 1.0 + WT_TRAIT_PACK_SHARE * (1.0 - exp(-fmax(turned_s_ago, 0.0) / WT_TRAIT_PACK_S));
}

void wt_leaf_path_parts(const struct wt_leaf_bed *bed, double factor, struct wt_leaf_path *face,
			struct wt_leaf_path *through)
{
	double faces = bed->perforated ? 2.0 : 1.0;
	double leaf = bed->fan ? WT_TRAIT_LEAF_FAN_S_M : WT_TRAIT_LEAF_STILL_S_M;
	double tray = bed->fan ? WT_TRAIT_FACE_FAN_S_M : WT_TRAIT_FACE_STILL_S_M;
	double air = (bed->alone ? leaf : factor * tray) / faces;
	double radiation = WT_TRAIT_RADIATION_S_M / faces;
	face->leaf_s_m = leaf;
	through->leaf_s_m = 0.0;
	face->vapour_s_m = air;
	face->heat_s_m = air * radiation / (air + radiation);
	/* Mean path to the open face from sources spread evenly: a third of the depth, or of half
	 * the depth for half of the flux when both faces are open. */
	double depth_m = bed->fresh_kg_m2 / WT_TRAIT_BULK_KG_M3;
	double spread_m2_s = WT_TRAIT_BED_M2_S * (bed->fan ? WT_TRAIT_BED_FAN_FACTOR : 1.0);
	through->vapour_s_m = factor * depth_m / (3.0 * faces * faces * spread_m2_s);
	through->heat_s_m = WT_TRAIT_BED_HEAT_RATIO * through->vapour_s_m;
}

enum wt_status wt_leaf_path(const struct wt_leaf_bed *bed, double factor, struct wt_leaf_path *out)
{
	if (!bed || !out || !isfinite(bed->fresh_kg_m2) || !isfinite(bed->turned_s_ago) ||
	    !isfinite(factor))
		return WT_ERR_ARG;
	if (bed->fresh_kg_m2 <= 0.0 || factor < 0.0)
		return WT_ERR_RANGE;
	struct wt_leaf_path face, through;
	wt_leaf_path_parts(bed, factor, &face, &through);
	double grown = wt_leaf_packing(bed->turned_s_ago);
	out->leaf_s_m = face.leaf_s_m;
	out->vapour_s_m = face.vapour_s_m + grown * through.vapour_s_m;
	out->heat_s_m = face.heat_s_m + grown * through.heat_s_m;
	return WT_OK;
}

/* What the equations need at one moment. */
struct moment {
	double a, e, u, heat, resist, take;
};

static struct moment moment_of(const struct wt_leaf *leaf, const struct wt_leaf_path *path,
			       double dry_kg_m2, double net_radiation_w_m2, double pace_drift,
			       const struct wt_leaf_air *air, double t_s)
{
	double heat = air->slope_ratio * path->heat_s_m;
	double x = 4.0 * t_s / leaf->close_s;
	return (struct moment){
		.a = air->a_kg_m3,
		.e = leaf_biased_vapour(air->a_kg_m3, air->e_kg_m3, leaf->rh_bias) -
		     heat * net_radiation_w_m2 / latent_20c_j_kg,
		.u = leaf->skin_m_s * dry_kg_m2 * pace_drift * (1.0 + leaf->shrink) * air->warm *
		     (1.0 + leaf->open_extra * leaf_closing(exp(-x), x)),
		.heat = heat,
		.resist = path->vapour_s_m + heat,
		.take = 1.0 / (dry_kg_m2 * leaf->water_ratio),
	};
}

/* Flux from the tissue while surface water gives wet_flux, both kg m-2 s-1. */
static double tissue_flux(const struct wt_leaf *leaf, const struct wt_leaf_path *path,
			  const struct moment *now, double y, double wet_flux)
{
	double over, under;
	leaf_tissue_parts(now->u, y, leaf->shrink, leaf->isotherm_b2, now->a,
			  now->e + now->resist * wet_flux, path->vapour_s_m, now->heat, &over,
			  &under);
	return over / under;
}

/* Terms of the surface water's flux: see leaf_wet_left(). */
static void wet_terms(const struct wt_leaf *leaf, const struct wt_leaf_path *path, double dry_kg_m2,
		      const struct moment *now, double y, double *pull, double *slow, double *fast)
{
	double film = leaf->leaf_m2_kg * dry_kg_m2 / path->leaf_s_m;
	double o = y + leaf->shrink;
	*pull = film * fmax(now->a - now->e, 0.0) * o;
	*fast = o + now->resist * now->u * y;
	*slow = *fast + now->resist * film * o;
}

void wt_leaf_rate(const struct wt_leaf *leaf, const struct wt_leaf_path *path, double dry_kg_m2,
		  double net_radiation_w_m2, double pace_drift, const struct wt_leaf_air *air,
		  double t_s, const struct wt_leaf_state *state, struct wt_leaf_rate *out)
{
	struct moment now =
		moment_of(leaf, path, dry_kg_m2, net_radiation_w_m2, pace_drift, air, t_s);
	double pull, slow, fast;
	wet_terms(leaf, path, dry_kg_m2, &now, state->y, &pull, &slow, &fast);
	double film = leaf_wet_film(state->z, leaf->surface_half);
	double wet = film > 0.0 ? pull * film / (film * slow + leaf->surface_half * fast) : 0.0;
	out->z_per_s = -now.take * wet;
	out->y_per_s = -now.take * tissue_flux(leaf, path, &now, state->y, wet);
	out->breath_per_s = WT_TRAIT_BREATH_PER_H / 3600.0 * leaf_breath_factor(air->warm);
}

double wt_leaf_loss_pct(const struct wt_leaf *leaf, const struct wt_leaf_state *state)
{
	return leaf->moisture_pct * (1.0 - state->y) + (100.0 - leaf->moisture_pct) * state->breath;
}

double wt_leaf_weight_kg(const struct wt_leaf *leaf, const struct wt_leaf_state *state)
{
	return leaf->tissue_kg * (1.0 - wt_leaf_loss_pct(leaf, state) / 100.0 +
				  state->z * leaf->moisture_pct / 100.0);
}

/* One reference run in progress. */
struct run {
	const struct wt_load_case *load;
	const struct wt_track *track;
	struct wt_leaf leaf;
	struct wt_leaf_state state;
	struct wt_leaf_bed bed;
	double dry_kg_m2;
	double kept; /* share of the load not yet taken */
	int64_t turned_unix_s;
};

static enum wt_status air_at(const struct run *run, double at_unix_s, struct wt_leaf_air *out)
{
	const struct wt_track *track = run->track;
	double x = (at_unix_s - (double)track->start_unix_s) / WT_GRID_S;
	x = fmin(fmax(x, 0.0), (double)(track->n - 1));
	size_t i = (size_t)x;
	if (i + 1 >= track->n)
		i = track->n > 1 ? track->n - 2 : 0;
	size_t j = track->n > 1 ? i + 1 : i;
	double f = x - (double)i;
	double temp_c = (1.0 - f) * (double)track->temp_c[i] + f * (double)track->temp_c[j];
	double vapour_pa =
		(1.0 - f) * (double)track->vapour_pa[i] + f * (double)track->vapour_pa[j];
	return wt_leaf_air(temp_c, vapour_pa, run->load->pressure_pa, out);
}

static enum wt_status step_midpoint(struct run *run, int64_t from_unix_s, int64_t to_unix_s)
{
	double h = (double)(to_unix_s - from_unix_s);
	double since_s = (double)(from_unix_s - run->load->spread_unix_s);
	double cell = (double)wt_leaf_cell_middle(from_unix_s);
	double drift = wt_leaf_pace_drift(run->leaf.drift, cell - (double)run->load->spread_unix_s);
	struct wt_leaf_path path;
	struct wt_leaf_air air;
	run->bed.fresh_kg_m2 = run->dry_kg_m2 * (1.0 + run->leaf.water_ratio);
	run->bed.turned_s_ago = cell - (double)run->turned_unix_s;
	enum wt_status status = wt_leaf_path(&run->bed, run->leaf.bed, &path);
	if (status == WT_OK)
		status = air_at(run, (double)from_unix_s + 0.5 * h, &air);
	if (status != WT_OK)
		return status;

	const struct wt_leaf *leaf = &run->leaf;
	struct wt_leaf_state *s = &run->state;
	double y = s->y, flux = 0.0, left = s->z;
	struct moment now = {0};
	for (int stage = 0; stage < 2; stage++) {
		double pull, slow, fast;
		now = moment_of(leaf, &path, run->dry_kg_m2, run->load->net_radiation_w_m2, drift,
				&air, since_s + 0.5 * h * stage);
		wet_terms(leaf, &path, run->dry_kg_m2, &now, y, &pull, &slow, &fast);
		left = leaf_wet_left(s->z, h * now.take * pull, slow, fast, leaf->surface_half) /
		       slow;
		flux = tissue_flux(leaf, &path, &now, y, (s->z - left) / (h * now.take));
		y = fmax(s->y - 0.5 * h * now.take * flux, 0.0);
	}
	s->y = fmax(s->y - h * now.take * flux, 0.0);
	s->z = left;
	s->breath += h * WT_TRAIT_BREATH_PER_H / 3600.0 * leaf_breath_factor(air.warm);
	return WT_OK;
}

static void act(struct run *run, const struct wt_bed_event *event)
{
	if (event->taken_kg > 0.0) {
		double weight_kg = run->kept * wt_leaf_weight_kg(&run->leaf, &run->state);
		run->kept *= weight_kg > 0.0 ? fmax(1.0 - event->taken_kg / weight_kg, 0.0) : 0.0;
	}
	/* Leaf taken empties its own trays, so the rest lies as thick as before. */
	if (event->area_m2 > 0.0 && run->kept > 0.0)
		run->dry_kg_m2 = run->leaf.dry_kg * run->kept / event->area_m2;
	if (event->fan >= 0)
		run->bed.fan = event->fan > 0;
	if (event->turned)
		run->turned_unix_s = event->at_unix_s;
}

static enum wt_status start(struct run *run, const double theta[WT_DIM_COUNT])
{
	const struct wt_load_case *load = run->load;
	enum wt_status status = wt_leaf_from_theta(load, theta, &run->leaf);
	if (status != WT_OK)
		return status;
	run->state = (struct wt_leaf_state){1.0, run->leaf.surface, 0.0};
	run->bed = (struct wt_leaf_bed){.perforated = load->perforated, .fan = load->fan};
	run->dry_kg_m2 = run->leaf.dry_kg / load->area_m2;
	run->kept = 1.0;
	run->turned_unix_s = load->spread_unix_s;
	return WT_OK;
}

/* Writes the values asked for in [from, to], lines between the ends. */
static size_t write_marks(const struct run *run, const struct wt_leaf_state *before,
			  int64_t from_unix_s, int64_t to_unix_s, const int64_t *at_unix_s,
			  size_t n_at, size_t k, double *loss_pct, double *weight_kg)
{
	for (; k < n_at && at_unix_s[k] <= to_unix_s; k++) {
		double f = to_unix_s > from_unix_s ? (double)(at_unix_s[k] - from_unix_s) /
							     (double)(to_unix_s - from_unix_s)
						   : 1.0;
		double loss[2] = {wt_leaf_loss_pct(&run->leaf, before),
				  wt_leaf_loss_pct(&run->leaf, &run->state)};
		double weight[2] = {wt_leaf_weight_kg(&run->leaf, before),
				    wt_leaf_weight_kg(&run->leaf, &run->state)};
		if (loss_pct)
			loss_pct[k] = loss[0] + f * (loss[1] - loss[0]);
		if (weight_kg)
			weight_kg[k] = run->kept * (weight[0] + f * (weight[1] - weight[0]));
	}
	return k;
}

static bool run_input_is_sound(const struct wt_load_case *load, const struct wt_track *track,
			       int step_s, const int64_t *at_unix_s, size_t n_at)
{
	if (!load || !track || !track->temp_c || !track->vapour_pa || track->n == 0 ||
	    step_s <= 0 || step_s > WT_GRID_S || WT_GRID_S % step_s != 0 ||
	    (n_at > 0 && !at_unix_s))
		return false;
	return track->start_unix_s % WT_GRID_S == 0 &&
	       wt_leaf_events_are_sound(load->events, load->n_events);
}

enum wt_status wt_leaf_run(const struct wt_load_case *load, const double theta[WT_DIM_COUNT],
			   const struct wt_track *track, int step_s, const int64_t *at_unix_s,
			   size_t n_at, double *loss_pct, double *weight_kg)
{
	if (!run_input_is_sound(load, track, step_s, at_unix_s, n_at))
		return WT_ERR_ARG;
	int64_t end = track->start_unix_s + (int64_t)(track->n - 1) * WT_GRID_S;
	enum wt_status status =
		wt_leaf_check_marks(load->spread_unix_s, end + WT_GRID_S, at_unix_s, n_at);

	if (status == WT_OK && load->spread_unix_s < track->start_unix_s)
		status = WT_ERR_RANGE;
	/* All air is looked at first: nothing is written when any of it is bad. */
	for (size_t i = 0; i < track->n && status == WT_OK; i++) {
		struct wt_leaf_air air;
		status = wt_leaf_air((double)track->temp_c[i], (double)track->vapour_pa[i],
				     load->pressure_pa, &air);
	}

	if (status != WT_OK || n_at == 0)
		return status;
	struct run run = {.load = load, .track = track};
	status = start(&run, theta);
	int64_t now = load->spread_unix_s;
	size_t k = write_marks(&run, &run.state, now, now, at_unix_s, n_at, 0, loss_pct, weight_kg);
	size_t event = 0;
	while (status == WT_OK && k < n_at) {
		for (; event < load->n_events && load->events[event].at_unix_s <= now; event++)
			act(&run, &load->events[event]);
		int64_t next = (now / step_s + 1) * step_s;
		if (event < load->n_events && load->events[event].at_unix_s < next)
			next = load->events[event].at_unix_s;
		struct wt_leaf_state before = run.state;
		status = step_midpoint(&run, now, next);
		if (status == WT_OK)
			k = write_marks(&run, &before, now, next, at_unix_s, n_at, k, loss_pct,
					weight_kg);
		now = next;
	}
	return status;
}
