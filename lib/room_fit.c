/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * What is learned from a room's past: daily shape, how anomalies fade, how wide to be.
 */
#include "lib/room_internal.h"
#include "lib/room_fit.h"

#include <stdlib.h>

#define PROFILE_HALF_DAYS 3.0
#define PROFILE_DAYS 14

static void fit_profile(const struct wt_room_fit *fit, const struct room_grid *grid,
			const float *value, float *profile)
{
	double mean = 0.0;
	double total = 0.0;
	for (size_t i = 0; i < grid->n; i++) {
		mean += (double)value[i];
		total += 1.0;
	}
	mean /= total;
	for (size_t s = 0; s < ROOM_SLOTS_DAY; s++) {
		double sum = 0.3 * mean;
		double weight = 0.3;
		for (size_t i = 0; i < grid->n; i++) {
			int64_t number = grid->last - (int64_t)(grid->n - 1 - i);
			if (room_slot_of_day(number, fit->utc_offset_s) != s)
				continue;
			double age = (double)(grid->n - 1 - i) / ROOM_SLOTS_DAY;
			double w = exp2(-age / PROFILE_HALF_DAYS);
			sum += w * (double)value[i];
			weight += w;
			i += ROOM_SLOTS_DAY - 1;
		}
		profile[s] = (float)(sum / weight);
	}
}

enum wt_status wt_room_fit_new(const struct wt_room_series *series, int64_t upto_unix_s,
			       struct wt_room_fit **out)
{
	int64_t last;
	if (!series || !out)
		return WT_ERR_ARG;
	if (!wt_room_newest_slot(series, upto_unix_s, &last))
		return WT_ERR_NODATA;
	int64_t n = last - series->oldest_slot + 1;
	if (n > PROFILE_DAYS * ROOM_SLOTS_DAY)
		n = PROFILE_DAYS * ROOM_SLOTS_DAY;
	struct room_grid grid;
	enum wt_status status = wt_room_grid_new(series, last, (size_t)n, &grid);
	if (status != WT_OK)
		return status;
	struct wt_room_fit *fit = calloc(1, sizeof *fit);
	if (!fit) {
		wt_room_grid_free(&grid);
		return WT_ERR_NOMEM;
	}
	fit->utc_offset_s = series->utc_offset_s;
	float *values[2] = {grid.temp_c, grid.vapour_pa};
	const double floor_sd[2] = {0.5, 40.0};
	const double prior_sd[2] = {2.0, 150.0};
	for (size_t v = 0; v < 2; v++) {
		fit_profile(fit, &grid, values[v], fit->profile[v]);
		double sum = 2.0 * prior_sd[v] * prior_sd[v];
		double weight = 2.0;
		for (size_t i = 0; i < grid.n; i++) {
			int64_t number = grid.last - (int64_t)(grid.n - 1 - i);
			size_t s = room_slot_of_day(number, fit->utc_offset_s);
			double e = (double)values[v][i] - (double)fit->profile[v][s];
			sum += e * e / ROOM_SLOTS_DAY;
			weight += 1.0 / ROOM_SLOTS_DAY;
		}
		fit->sd[v] = fmax(floor_sd[v], sqrt(sum / weight));
	}
	wt_room_grid_free(&grid);
	*out = fit;
	return WT_OK;
}

void wt_room_fit_free(struct wt_room_fit **fit)
{
	if (!fit)
		return;
	free(*fit);
	*fit = NULL;
}

double wt_room_outlook_weight(const struct wt_room_fit *fit)
{
	(void)fit;
	return 0.0;
}
