/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * What was usual at each hour, and how odd the room was against it.
 */
#include "lib/room_fit.h"

#include <stdlib.h>
#include <string.h>

/* Our choice, by trial on several rooms: weight of a day falls to half in so many days. */
#define USUAL_HALF_DAYS 8.0
/* Weight of the invented first day, in days. */
#define USUAL_START_WEIGHT 2.0f
#define SMOOTH_SLOTS 3
#define UNREST_HALF_SLOTS (12.0 * ROOM_SLOTS_HOUR)
/* The top of an unknown room's day. */
#define SHAPE_TOP_HOUR 15.0

double wt_room_shape_start(size_t slot_of_day)
{
	double hour = (double)slot_of_day / ROOM_SLOTS_HOUR;
	return cos((hour - SHAPE_TOP_HOUR) * M_PI / 12.0);
}

void wt_room_usual_start(const double level[2], const double swing[2], struct room_usual *out)
{
	for (size_t s = 0; s < ROOM_SLOTS_DAY; s++) {
		out->weight[s] = USUAL_START_WEIGHT;
		for (size_t v = 0; v < 2; v++)
			out->sum[v][s] = USUAL_START_WEIGHT *
					 (float)(level[v] + swing[v] * wt_room_shape_start(s));
	}
}

void wt_room_past_free(struct room_past *past)
{
	wt_room_grid_free(&past->grid);
	for (size_t v = 0; v < 2; v++) {
		free(past->usual[v]);
		free(past->odd[v]);
		free(past->odd_sum[v]);
		free(past->unrest[v]);
	}
	*past = (struct room_past){0};
}

static bool past_alloc(struct room_past *past)
{
	size_t n = past->grid.n;
	bool good = true;
	past->value[0] = past->grid.temp_c;
	past->value[1] = past->grid.vapour_pa;
	for (size_t v = 0; v < 2; v++) {
		past->usual[v] = calloc(n + ROOM_SLOTS_DAY, sizeof *past->usual[v]);
		past->odd[v] = calloc(n, sizeof *past->odd[v]);
		past->odd_sum[v] = calloc(n + 1, sizeof *past->odd_sum[v]);
		past->unrest[v] = calloc(n, sizeof *past->unrest[v]);
		good = good && past->usual[v] && past->odd[v] && past->odd_sum[v] &&
		       past->unrest[v];
	}
	return good;
}

/* Mean over the slots around, a little noise less. */
static float smoothed(const float *value, size_t n, size_t i)
{
	size_t from = i > SMOOTH_SLOTS ? i - SMOOTH_SLOTS : 0;
	size_t to = i + SMOOTH_SLOTS < n ? i + SMOOTH_SLOTS : n - 1;
	float sum = 0.0f;
	for (size_t k = from; k <= to; k++)
		sum += value[k];
	return sum / (float)(to - from + 1);
}

static bool is_bridged(const struct room_grid *grid, size_t i)
{
	return grid->age[i] > ROOM_LINE_GAP_SLOTS ||
	       (uint32_t)grid->age[i] + grid->wait[i] > ROOM_LINE_GAP_SLOTS;
}

static void run_usual(struct room_past *past, const struct wt_room_fit *fit,
		      struct room_usual *usual, int64_t snapshot_at, struct room_usual *snapshot)
{
	const struct room_grid *grid = &past->grid;
	const float keep = (float)exp2(-1.0 / USUAL_HALF_DAYS);
	int64_t number = grid->last - (int64_t)(grid->n - 1);
	size_t s = room_slot_of_day(number, fit->utc_offset_s);
	for (size_t i = 0; i < grid->n; i++, number++) {
		for (size_t v = 0; v < 2; v++) {
			past->usual[v][i] = usual->sum[v][s] / usual->weight[s];
			if (grid->age[i] == UINT16_MAX)
				past->value[v][i] = past->usual[v][i];
			past->odd[v][i] = past->value[v][i] - past->usual[v][i];
		}
		if (!is_bridged(grid, i)) {
			for (size_t v = 0; v < 2; v++)
				usual->sum[v][s] = keep * usual->sum[v][s] +
						   smoothed(past->value[v], grid->n, i);
			usual->weight[s] = keep * usual->weight[s] + 1.0f;
		}
		if (snapshot && number == snapshot_at)
			*snapshot = *usual;
		s = s + 1 == ROOM_SLOTS_DAY ? 0 : s + 1;
	}
	for (size_t i = grid->n; i < grid->n + ROOM_SLOTS_DAY; i++) {
		for (size_t v = 0; v < 2; v++)
			past->usual[v][i] = usual->sum[v][s] / usual->weight[s];
		s = s + 1 == ROOM_SLOTS_DAY ? 0 : s + 1;
	}
}

static void run_unrest(struct room_past *past, const struct wt_room_fit *fit, size_t v)
{
	const float keep = (float)exp2(-1.0 / UNREST_HALF_SLOTS);
	const float *odd = past->odd[v];
	float ref = (float)fit->unrest_ref[v];
	float mean = ref;
	for (size_t i = 0; i < past->grid.n; i++) {
		past->odd_sum[v][i + 1] = past->odd_sum[v][i] + (double)odd[i];
		if (i >= ROOM_SLOTS_HOUR && past->grid.age[i] != UINT16_MAX)
			mean = keep * mean +
			       (1.0f - keep) * fabsf(odd[i] - odd[i - ROOM_SLOTS_HOUR]);
		past->unrest[v][i] = mean;
	}
	for (size_t i = 0; i < past->grid.n; i++)
		past->unrest[v][i] = logf((past->unrest[v][i] + 0.1f * ref) / (1.1f * ref));
}

enum wt_status wt_room_past_new(const struct wt_room_series *series, const struct wt_room_fit *fit,
				int64_t first, int64_t last, struct room_usual *usual,
				int64_t snapshot_at, struct room_usual *snapshot,
				struct room_past *out)
{
	struct room_past past = {0};
	enum wt_status status =
		wt_room_grid_new(series, last, (size_t)(last - first + 1), &past.grid);
	if (status != WT_OK)
		return status;
	if (!past_alloc(&past)) {
		wt_room_past_free(&past);
		return WT_ERR_NOMEM;
	}
	run_usual(&past, fit, usual, snapshot_at, snapshot);
	for (size_t v = 0; v < 2; v++)
		run_unrest(&past, fit, v);
	*out = past;
	return WT_OK;
}

/* Mean oddness of the day up to i; the time before the record counts as usual. */
static double odd_of_day(const struct room_past *past, size_t v, size_t i)
{
	size_t from = i + 1 > ROOM_SLOTS_DAY ? i + 1 - ROOM_SLOTS_DAY : 0;
	return (past->odd_sum[v][i + 1] - past->odd_sum[v][from]) / ROOM_SLOTS_DAY;
}

static double odd_before(const struct room_past *past, size_t v, size_t i, size_t back)
{
	return (double)past->odd[v][i > back ? i - back : 0];
}

void wt_room_features(const struct room_past *past, const struct wt_room_fit *fit, size_t v,
		      size_t i, size_t lead, double out[ROOM_FEATURES])
{
	size_t other = 1 - v;
	double own = 1.0 / fit->sd[v];
	double cross = 1.0 / fit->sd[other];
	double a = (double)past->odd[v][i];
	double o = (double)past->odd[other][i];
	double day = odd_of_day(past, v, i) * own;
	int64_t number = past->grid.last - (int64_t)(past->grid.n - 1 - i);
	double angle =
		2.0 * M_PI * (double)room_slot_of_day(number, fit->utc_offset_s) / ROOM_SLOTS_DAY;
	double c = cos(angle);
	double s = sin(angle);
	size_t target = room_usual_index(i, lead);
	size_t before = target > ROOM_SLOTS_DAY ? target - ROOM_SLOTS_DAY : 0;
	out[0] = a * own;
	out[1] = day;
	out[2] = (a - odd_before(past, v, i, ROOM_SLOTS_HOUR)) * own;
	out[3] = (a - odd_before(past, v, i, 3 * ROOM_SLOTS_HOUR)) * own;
	out[4] = (a - odd_before(past, v, i, 6 * ROOM_SLOTS_HOUR)) * own;
	out[5] = (double)(past->value[v][before] - past->usual[v][target]) * own;
	out[6] = o * cross;
	out[7] = (o - odd_before(past, other, i, 3 * ROOM_SLOTS_HOUR)) * cross;
	out[8] = out[0] * c;
	out[9] = out[0] * s;
	out[10] = day * c;
	out[11] = day * s;
	if (target < ROOM_SLOTS_DAY)
		out[5] = 0.0;
}

/* Largest hourly change of the last two hours, both variables, against what is common: a shower
 * or a door makes what follows less sure. */
static double shock(const struct room_past *past, const struct wt_room_fit *fit, size_t i)
{
	double most = 0.0;
	for (size_t back = 0; back <= ROOM_SLOTS_HOUR; back += ROOM_SLOTS_HOUR / 2) {
		double sum = 0.0;
		for (size_t v = 0; v < 2; v++)
			sum += fabs(odd_before(past, v, i, back) -
				    odd_before(past, v, i, back + ROOM_SLOTS_HOUR)) /
			       fit->unrest_ref[v];
		most = fmax(most, sum);
	}
	return log((most + 1.0) / 4.0);
}

void wt_room_hour_features(size_t slot_of_day, double out[ROOM_HOUR_FEATURES])
{
	double angle = 2.0 * M_PI * (double)slot_of_day / ROOM_SLOTS_DAY;
	double c = cos(angle);
	double s = sin(angle);
	out[0] = c;
	out[1] = s;
	out[2] = c * c - s * s;
	out[3] = 2.0 * s * c;
}

void wt_room_scale_features(const struct room_past *past, const struct wt_room_fit *fit, size_t v,
			    size_t i, size_t slot_of_day, double out[ROOM_SCALE_FEATURES])
{
	wt_room_hour_features(slot_of_day, out);
	out[4] = (double)past->unrest[v][i];
	out[5] = shock(past, fit, i);
}
