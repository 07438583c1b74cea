/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * A load in even air, for the tests of learning.
 */
#ifndef WT_TESTS_LEARN_CASE_H
#define WT_TESTS_LEARN_CASE_H

#include <math.h>
#include <stdlib.h>

#include "lib/air.h"
#include "lib/learn.h"

#define CASE_START_S INT64_C(1775000100) /* on the grid */

struct learn_case {
	struct wt_load_case load;
	struct wt_track track;
	float *temp_c, *vapour_pa;
	struct wt_drive *drive;
	struct wt_gauss prior;
};

/* A young load of 8 kg on 8 m2 at 21 deg C and 72 %, hours of measured air.  0 when made. */
static inline int learn_case_make(double hours, struct learn_case *c)
{
	const size_t n = (size_t)(hours * 12.0) + 1;
	double vapour_pa;
	*c = (struct learn_case){.load = {.spread_unix_s = CASE_START_S,
					  .fresh_kg = 8.0,
					  .area_m2 = 8.0,
					  .perforated = true,
					  .grade = WT_GRADE_YOUNG,
					  .season = WT_SEASON_SPRING,
					  .wet = WT_WET_NONE,
					  .moisture_pct = NAN,
					  .pressure_pa = 95000.0,
					  .ready_from_loss_pct = 18.0,
					  .latest_loss_pct = 28.0,
					  .least_hours = 0.0,
					  .most_hours = HUGE_VAL}};
	c->temp_c = malloc(n * sizeof(float));
	c->vapour_pa = malloc(n * sizeof(float));
	if (c->temp_c == NULL || c->vapour_pa == NULL ||
	    wt_air_vapour_pa(21.0, 72.0, &vapour_pa) != WT_OK)
		return -1;
	for (size_t i = 0; i < n; i++) {
		c->temp_c[i] = 21.0f;
		c->vapour_pa[i] = (float)vapour_pa;
	}
	c->track = (struct wt_track){CASE_START_S, n, c->temp_c, c->vapour_pa};
	if (wt_drive_from_track(&c->track, c->load.pressure_pa, &c->drive) != WT_OK)
		return -1;
	return wt_traits_prior(&c->load, &c->prior) == WT_OK ? 0 : -1;
}

static inline void learn_case_free(struct learn_case *c)
{
	wt_drive_free(&c->drive);
	free(c->temp_c);
	free(c->vapour_pa);
}

/* Weight and loss of one leaf of given pace (others at the prior's centre) after some hours. */
static inline int learn_case_truth(const struct learn_case *c, double ln_pace, double hours,
				   double *kg, double *loss_pct)
{
	struct wt_members *one;
	float weight = NAN, loss = NAN;
	*kg = *loss_pct = NAN;
	const int64_t at = CASE_START_S + (int64_t)(hours * 3600.0);
	if (wt_members_new(1, &one) != WT_OK)
		return -1;
	for (int d = 0; d < WT_DIM_COUNT; d++)
		one->theta[d][0] = (float)c->prior.mean[d];
	one->theta[WT_DIM_PACE][0] = (float)ln_pace;
	const enum wt_status status =
		wt_ensemble_observe(&c->load, c->drive, one, &at, 1, &loss, &weight);
	wt_members_free(&one);
	*kg = weight;
	*loss_pct = loss;
	return status == WT_OK ? 0 : -1;
}

#endif /* WT_TESTS_LEARN_CASE_H */
