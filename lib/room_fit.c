/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * A fit from a series.
 */
#include "lib/room_fit.h"

#include <stdlib.h>
#include <string.h>

/* Our choice: what is believed of an unknown room, and for how many days' worth. */
#define SD_PRIOR_DAYS 2.0
#define SD_PRIOR_K 1.6
#define SD_PRIOR_VAPOUR_SHARE 0.08
#define SD_LEAST_K 0.15
#define SD_LEAST_PA 8.0
#define UNREST_PRIOR_HOURS 3.0
#define UNREST_PRIOR_K 0.3
#define UNREST_PRIOR_VAPOUR_SHARE 0.015
#define UNREST_PRIOR_LEAST_PA 12.0 /* weather moves cold air's vapour no less */
#define SEED_BACK_SLOTS (2 * ROOM_SLOTS_DAY)
/* Half the height of an unknown room's day: nothing in a cellar, ten under a roof. */
#define SWING_PRIOR_K 1.5
#define SWING_PRIOR_SD_K 3.5
#define SWING_PRIOR_SD_VAPOUR_SHARE 0.05
/* An hour's change that is not the day's, and for how many hours it goes on. */
#define SWING_NOISE_K 0.3
#define SWING_NOISE_VAPOUR_SHARE 0.02
#define SWING_LEAST_LEVEL_PA 50.0 /* of bone-dry air */
#define SWING_NOISE_HOURS 4.0
#define SWING_NOISE_PRIOR_HOURS 6.0

/* The supposed shape of the day, by slot. */
struct shape {
	int32_t utc_offset_s;
	double at[ROOM_SLOTS_DAY];
};

static double shape_of(const struct shape *shape, int64_t slot)
{
	return shape->at[room_slot_of_day(slot, shape->utc_offset_s)];
}

/* Half the height of the day from hourly changes: those that a daily wave would bring against
 * those of the weather, which are noise that lasts for hours. */
struct swing {
	double mean;
	double sd;
	double noise; /* of an hour's change */
};

/* Hourly changes beside the wave's, squared and summed by hours. */
static void swing_pass(const struct room_grid *grid, const float *value, const struct shape *shape,
		       const struct swing *prior, struct swing *now)
{
	double hold = 1.0 / (SWING_NOISE_HOURS * ROOM_SLOTS_HOUR * now->noise * now->noise);
	double precision = 1.0 / (prior->sd * prior->sd);
	double sum = prior->mean * precision;
	double square = SWING_NOISE_PRIOR_HOURS * prior->noise * prior->noise;
	double hours = SWING_NOISE_PRIOR_HOURS;
	for (size_t i = ROOM_SLOTS_HOUR; i < grid->n; i++) {
		if (grid->age[i - ROOM_SLOTS_HOUR] == UINT16_MAX)
			continue;
		int64_t number = grid->last - (int64_t)(grid->n - 1 - i);
		double wave = shape_of(shape, number) - shape_of(shape, number - ROOM_SLOTS_HOUR);
		double change = (double)(value[i] - value[i - ROOM_SLOTS_HOUR]);
		double rest = change - now->mean * wave;
		sum += hold * wave * change;
		precision += hold * wave * wave;
		square += rest * rest / ROOM_SLOTS_HOUR;
		hours += 1.0 / ROOM_SLOTS_HOUR;
	}
	*now = (struct swing){sum / precision, sqrt(1.0 / precision), sqrt(square / hours)};
}

static void fit_swing(const struct room_grid *grid, size_t v, const float *value, double level,
		      const struct shape *shape, struct wt_room_fit *fit)
{
	double damp = fmax(level, SWING_LEAST_LEVEL_PA); /* when v is the vapour */
	const struct swing prior[2] = {
		{SWING_PRIOR_K, SWING_PRIOR_SD_K, SWING_NOISE_K},
		{0.0, SWING_PRIOR_SD_VAPOUR_SHARE * damp, SWING_NOISE_VAPOUR_SHARE * damp},
	};
	struct swing now = prior[v];
	for (int pass = 0; pass < 3; pass++)
		swing_pass(grid, value, shape, &prior[v], &now);
	fit->swing[v] = now.mean;
	fit->swing_sd[v] = now.sd;
}

/* Mean of what is read, the supposed daily shape taken off. */
static void fit_level(const struct room_grid *grid, struct wt_room_fit *fit)
{
	const float *value[2] = {grid->temp_c, grid->vapour_pa};
	struct shape shape = {.utc_offset_s = fit->utc_offset_s};
	for (size_t s = 0; s < ROOM_SLOTS_DAY; s++)
		shape.at[s] = wt_room_shape_start(s);
	for (size_t v = 0; v < 2; v++) {
		double sum = 0.0;
		double wave = 0.0;
		double n = 0.0;
		for (size_t i = 0; i < grid->n; i++) {
			if (grid->age[i] == UINT16_MAX)
				continue;
			sum += (double)value[v][i];
			wave += shape_of(&shape, grid->last - (int64_t)(grid->n - 1 - i));
			n += 1.0;
		}
		fit_swing(grid, v, value[v], sum / n, &shape, fit);
		fit->level[v] = (sum - fit->swing[v] * wave) / n;
		fit->days = n / ROOM_SLOTS_DAY;
	}
}

static void fit_unrest(const struct room_grid *grid, struct wt_room_fit *fit)
{
	const float *value[2] = {grid->temp_c, grid->vapour_pa};
	const double prior[2] = {
		UNREST_PRIOR_K,
		fmax(UNREST_PRIOR_LEAST_PA, UNREST_PRIOR_VAPOUR_SHARE * fit->level[1]),
	};
	for (size_t v = 0; v < 2; v++) {
		double sum = prior[v] * UNREST_PRIOR_HOURS;
		double n = UNREST_PRIOR_HOURS;
		for (size_t i = ROOM_SLOTS_HOUR; i < grid->n; i++) {
			if (grid->age[i - ROOM_SLOTS_HOUR] == UINT16_MAX)
				continue;
			sum += (double)fabsf(value[v][i] - value[v][i - ROOM_SLOTS_HOUR]) /
			       ROOM_SLOTS_HOUR;
			n += 1.0 / ROOM_SLOTS_HOUR;
		}
		fit->unrest_ref[v] = sum / n + 1e-6;
	}
}

static void fit_sd(const struct room_past *past, struct wt_room_fit *fit)
{
	const double prior[2] = {SD_PRIOR_K, SD_PRIOR_VAPOUR_SHARE * fit->level[1]};
	const double least[2] = {SD_LEAST_K, SD_LEAST_PA};
	for (size_t v = 0; v < 2; v++) {
		double sum = prior[v] * prior[v] * SD_PRIOR_DAYS;
		double n = SD_PRIOR_DAYS;
		for (size_t i = 0; i < past->grid.n; i++) {
			if (past->grid.age[i] == UINT16_MAX)
				continue;
			double odd = (double)past->odd[v][i];
			sum += odd * odd / ROOM_SLOTS_DAY;
			n += 1.0 / ROOM_SLOTS_DAY;
		}
		fit->sd[v] = fmax(least[v], sqrt(sum / n));
	}
}

static enum wt_status fit_from(const struct wt_room_series *series, int64_t last,
			       struct wt_room_fit *fit)
{
	int64_t first = series->oldest_slot;
	if (first <= series->newest_slot - ROOM_CAP)
		first = series->newest_slot - ROOM_CAP + 1;
	if (first > last - SEED_BACK_SLOTS)
		first = last - SEED_BACK_SLOTS + 1;
	struct room_grid grid;
	enum wt_status status = wt_room_grid_new(series, last, (size_t)(last - first + 1), &grid);
	if (status != WT_OK)
		return status;
	fit->utc_offset_s = series->utc_offset_s;
	fit->last = last;
	fit->seed_last = last - SEED_BACK_SLOTS;
	fit_level(&grid, fit);
	fit_unrest(&grid, fit);
	wt_room_grid_free(&grid);
	struct room_usual usual;
	struct room_past past;
	wt_room_usual_start(fit->level, fit->swing, &usual);
	fit->seed = usual;
	status = wt_room_past_new(series, fit, first, last, &usual, fit->seed_last, &fit->seed,
				  &past);
	if (status != WT_OK)
		return status;
	fit_sd(&past, fit);
	status = wt_room_learn(series, &past, fit);
	wt_room_past_free(&past);
	return status;
}

enum wt_status wt_room_fit_new(const struct wt_room_series *series, int64_t upto_unix_s,
			       struct wt_room_fit **out)
{
	int64_t last;
	if (!series || !out)
		return WT_ERR_ARG;
	if (!wt_room_newest_slot(series, upto_unix_s, &last))
		return WT_ERR_NODATA;
	struct wt_room_fit *fit = calloc(1, sizeof *fit);
	if (!fit)
		return WT_ERR_NOMEM;
	enum wt_status status = fit_from(series, last, fit);
	if (status != WT_OK) {
		free(fit);
		return status;
	}
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
	double sum = 0.0;
	double n = 0.0;
	if (!fit)
		return 0.0;
	for (size_t k = 0; k < ROOM_KNOTS; k++) {
		if (wt_room_knot_slots[k] < 3 * ROOM_SLOTS_HOUR ||
		    wt_room_knot_slots[k] > 24 * ROOM_SLOTS_HOUR)
			continue;
		sum += fit->law[0][k].trust + fit->law[1][k].trust;
		n += 2.0;
	}
	return sum / n;
}
