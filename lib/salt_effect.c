/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "lib/salt_effect.h"

#include <math.h>
#include <stddef.h>
#include <stdint.h>

#include "lib/air.h"
#include "lib/leaf.h"
#include "lib/traits.h"

/* Two days of air; loss looked at every ten minutes, and between them on a straight line. */
enum { HOURS = 48, INSTANTS = HOURS * 12 + 1, AT = HOURS * 6 };
static const double moisture_pct = 76.0, wanted_loss_pct = 20.0;

static enum wt_status hours_in(double temp_c, double rh_pct, double *hours)
{
	struct wt_load_case load = {
		.spread_unix_s = 0,
		.fresh_kg = 1.0,
		.area_m2 = 1.0,
		.perforated = true,
		.grade = WT_GRADE_YOUNG,
		.season = WT_SEASON_SPRING,
		.wet = WT_WET_NONE,
		.moisture_pct = NAN,
		.pressure_pa = 101325.0,
		.ready_from_loss_pct = wanted_loss_pct,
		.latest_loss_pct = 30.0,
		.most_hours = HUGE_VAL,
	};
	float temps_c[INSTANTS], vapours_pa[INSTANTS];
	int64_t at_unix_s[AT];
	double loss_pct[AT], vapour_pa, before_pct = 0.0;
	struct wt_gauss prior;
	enum wt_status status = wt_air_vapour_pa(temp_c, rh_pct, &vapour_pa);

	if (status == WT_OK)
		status = wt_traits_prior(&load, &prior);
	if (status != WT_OK)
		return status;
	prior.mean[WT_DIM_MOISTURE] = moisture_pct;
	for (size_t i = 0; i < INSTANTS; i++) {
		temps_c[i] = (float)temp_c;
		vapours_pa[i] = (float)vapour_pa;
	}
	for (size_t i = 0; i < AT; i++)
		at_unix_s[i] = 600 * ((int64_t)i + 1);
	struct wt_track track = {0, INSTANTS, temps_c, vapours_pa};
	status = wt_leaf_run(&load, prior.mean, &track, WT_GRID_S, at_unix_s, AT, loss_pct, NULL);
	if (status != WT_OK)
		return status;
	for (size_t i = 0; i < AT; i++) {
		if (loss_pct[i] >= wanted_loss_pct) {
			double share = (wanted_loss_pct - before_pct) / (loss_pct[i] - before_pct);

			*hours = ((double)i + share) / 6.0;
			return WT_OK;
		}
		before_pct = loss_pct[i];
	}
	return WT_ERR_RANGE;
}

enum wt_status wt_salt_effect_hours(double error_pct, struct wt_salt_effect *out)
{
	struct wt_salt_effect made = {.temp_c = 20.0, .rh_pct = 75.0, .error_pct = error_pct};
	enum wt_status status;

	if (!out || !(error_pct > 0.0) || !(error_pct <= 10.0))
		return WT_ERR_ARG;
	status = hours_in(made.temp_c, made.rh_pct, &made.hours);
	if (status == WT_OK)
		status = hours_in(made.temp_c, made.rh_pct + error_pct, &made.hours_high);
	if (status == WT_OK)
		status = hours_in(made.temp_c, made.rh_pct - error_pct, &made.hours_low);
	if (status == WT_OK)
		*out = made;
	return status;
}
