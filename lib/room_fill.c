/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * The measured past without holes.
 */
#include "lib/room_internal.h"

#include <stdlib.h>
#include <string.h>

/* An instant is known when a reading is this near: 15 min. */
#define KNOWN_SLOTS 3
/* Half of an anomaly is gone after so long when a gap at the end is bridged (our choice). */
#define TAIL_HALF_SLOTS (6 * ROOM_SLOTS_HOUR)
/* Hours of the day that must be known before a daily shape is used. */
#define SHAPE_HOURS 24

void wt_room_grid_free(struct room_grid *grid)
{
	free(grid->temp_c);
	free(grid->vapour_pa);
	free(grid->age);
	free(grid->wait);
	*grid = (struct room_grid){0};
}

static enum wt_status grid_alloc(struct room_grid *grid, int64_t last, size_t n)
{
	*grid = (struct room_grid){.last = last, .n = n};
	grid->temp_c = calloc(n, sizeof *grid->temp_c);
	grid->vapour_pa = calloc(n, sizeof *grid->vapour_pa);
	grid->age = calloc(n, sizeof *grid->age);
	grid->wait = calloc(n, sizeof *grid->wait);
	if (grid->temp_c && grid->vapour_pa && grid->age && grid->wait)
		return WT_OK;
	wt_room_grid_free(grid);
	return WT_ERR_NOMEM;
}

static size_t grid_load(const struct wt_room_series *series, struct room_grid *grid)
{
	size_t n_known = 0;
	uint32_t age = UINT16_MAX;
	for (size_t i = 0; i < grid->n; i++) {
		int64_t number = grid->last - (int64_t)(grid->n - 1 - i);
		const struct room_slot *slot = room_slot_at(series, number);
		if (slot) {
			grid->temp_c[i] = (float)room_slot_temp_c(slot);
			grid->vapour_pa[i] = (float)room_slot_vapour_pa(slot);
			age = 0;
			n_known++;
		}
		grid->age[i] = (uint16_t)age;
		if (age < UINT16_MAX)
			age++;
	}
	uint32_t wait = UINT16_MAX;
	for (size_t i = grid->n; i-- > 0;) {
		if (grid->age[i] == 0)
			wait = 0;
		grid->wait[i] = (uint16_t)wait;
		if (wait < UINT16_MAX)
			wait++;
	}
	return n_known;
}

/* Mean deviation of each hour of the day from the mean of the day; false when hours lack. */
static bool daily_shape(const struct room_grid *grid, const float *value, int32_t utc_offset_s,
			double shape[24])
{
	double sum[24] = {0};
	double mean = 0.0;
	size_t count[24] = {0};
	for (size_t i = 0; i < grid->n; i++) {
		if (grid->age[i] != 0)
			continue;
		int64_t number = grid->last - (int64_t)(grid->n - 1 - i);
		size_t hour = room_slot_of_day(number, utc_offset_s) / ROOM_SLOTS_HOUR;
		sum[hour] += (double)value[i];
		count[hour]++;
	}
	for (size_t h = 0; h < SHAPE_HOURS; h++) {
		if (count[h] == 0)
			return false;
		shape[h] = sum[h] / (double)count[h];
		mean += shape[h] / SHAPE_HOURS;
	}
	for (size_t h = 0; h < SHAPE_HOURS; h++)
		shape[h] -= mean;
	return true;
}

static double shape_at(const double shape[24], const struct room_grid *grid, size_t i,
		       int32_t utc_offset_s)
{
	int64_t number = grid->last - (int64_t)(grid->n - 1 - i);
	size_t slot = room_slot_of_day(number, utc_offset_s);
	/* Hour means stand at the half hour. */
	double x = ((double)slot + 0.5) / ROOM_SLOTS_HOUR - 0.5;
	if (x < 0.0)
		x += 24.0;
	size_t hour = (size_t)x;
	double part = x - (double)hour;
	return (1.0 - part) * shape[hour % 24] + part * shape[(hour + 1) % 24];
}

struct bridge {
	const struct room_grid *grid;
	float *value;
	const double *shape; /* or NULL */
	int32_t utc_offset_s;
};

static double shape_of(const struct bridge *b, size_t i)
{
	return b->shape ? shape_at(b->shape, b->grid, i, b->utc_offset_s) : 0.0;
}

/* Fills (a, b): both ends known. */
static void bridge_inner(const struct bridge *b, size_t from, size_t to)
{
	bool shaped = to - from > ROOM_LINE_GAP_SLOTS;
	double at_from = (double)b->value[from] - (shaped ? shape_of(b, from) : 0.0);
	double at_to = (double)b->value[to] - (shaped ? shape_of(b, to) : 0.0);
	for (size_t i = from + 1; i < to; i++) {
		double part = (double)(i - from) / (double)(to - from);
		double line = (1.0 - part) * at_from + part * at_to;
		b->value[i] = (float)(line + (shaped ? shape_of(b, i) : 0.0));
	}
}

/* Fills after the last reading: what is unusual about it fades towards the daily shape. */
static void bridge_tail(const struct bridge *b, size_t from)
{
	double shape_from = shape_of(b, from);
	for (size_t i = from + 1; i < b->grid->n; i++) {
		double keep = exp2(-(double)(i - from) / TAIL_HALF_SLOTS);
		double moved = (shape_of(b, i) - shape_from) * (1.0 - keep);
		b->value[i] = (float)((double)b->value[from] + moved);
	}
}

static void bridge_all(const struct bridge *b)
{
	size_t known = SIZE_MAX;
	for (size_t i = 0; i < b->grid->n; i++) {
		if (b->grid->age[i] != 0)
			continue;
		if (known == SIZE_MAX) {
			for (size_t k = 0; k < i; k++)
				b->value[k] = b->value[i];
		} else if (i > known + 1) {
			bridge_inner(b, known, i);
		}
		known = i;
	}
	if (known != SIZE_MAX)
		bridge_tail(b, known);
}

enum wt_status wt_room_grid_new(const struct wt_room_series *series, int64_t last, size_t n,
				struct room_grid *out)
{
	struct room_grid grid;
	enum wt_status status = grid_alloc(&grid, last, n);
	if (status != WT_OK)
		return status;
	if (grid_load(series, &grid) == 0) {
		wt_room_grid_free(&grid);
		return WT_ERR_NODATA;
	}
	double shape[24];
	float *values[2] = {grid.temp_c, grid.vapour_pa};
	for (size_t v = 0; v < 2; v++) {
		bool shaped = daily_shape(&grid, values[v], series->utc_offset_s, shape);
		bridge_all(&(struct bridge){.grid = &grid,
					    .value = values[v],
					    .shape = shaped ? shape : NULL,
					    .utc_offset_s = series->utc_offset_s});
	}
	*out = grid;
	return WT_OK;
}

/* Long gaps need the daily shape, short ones the reading before: look further back than asked. */
static size_t span_back(const struct wt_room_series *series, int64_t from, int64_t to)
{
	int64_t first = from - 7 * ROOM_SLOTS_DAY;
	if (first < series->oldest_slot)
		first = series->oldest_slot;
	if (first <= series->newest_slot - ROOM_CAP)
		first = series->newest_slot - ROOM_CAP + 1;
	if (first > from)
		first = from;
	return (size_t)(to - first + 1);
}

enum wt_status wt_room_fill(const struct wt_room_series *series, int64_t from_unix_s,
			    int64_t to_unix_s, size_t capacity, float *temp_c, float *vapour_pa,
			    size_t *n, double *known_share)
{
	if (!series || !temp_c || !vapour_pa || !n || !known_share || from_unix_s > to_unix_s)
		return WT_ERR_ARG;
	int64_t from = room_floor_slot(from_unix_s);
	int64_t to = room_floor_slot(to_unix_s);
	if (to - from >= ROOM_CAP || (size_t)(to - from) >= capacity)
		return WT_ERR_RANGE;
	size_t wanted = (size_t)(to - from) + 1;
	/* A reading of the last minutes is all there is of a new room. */
	int64_t newest;
	if (!wt_room_newest_slot(series, to_unix_s, &newest))
		return WT_ERR_NODATA;
	int64_t last = newest > to ? newest : to;
	struct room_grid grid;
	enum wt_status status =
		wt_room_grid_new(series, last, span_back(series, from, last), &grid);
	if (status != WT_OK)
		return status;
	size_t first = grid.n - 1 - (size_t)(last - from);
	size_t n_known = 0;
	for (size_t i = first; i < first + wanted; i++)
		n_known += grid.age[i] <= KNOWN_SLOTS || grid.wait[i] <= KNOWN_SLOTS;
	memcpy(temp_c, grid.temp_c + first, wanted * sizeof *temp_c);
	memcpy(vapour_pa, grid.vapour_pa + first, wanted * sizeof *vapour_pa);
	wt_room_grid_free(&grid);
	*n = wanted;
	*known_share = (double)n_known / (double)wanted;
	return WT_OK;
}
