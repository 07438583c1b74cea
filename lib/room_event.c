/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * What the air has just done: a shower, a door, mist, or the sun through.
 */
#include "lib/room_internal.h"

#include <stdlib.h>

/* All our choice: a change is sudden when it comes within an hour or so, is at least this large,
 * and far outside what the same hours of other days and other hours of this day do. */
#define LOOK_BACK_SLOTS (2 * ROOM_SLOTS_HOUR)
#define WITHIN_SLOTS (5 * ROOM_SLOTS_HOUR / 4)
#define LEAST_PA 80.0
#define LEAST_SHARE 0.20
#define LEAST_SIGMA 3.0
#define USUAL_DAYS 14
#define STALE_SLOTS (ROOM_SLOTS_HOUR + 3)

static int by_value(const void *a, const void *b)
{
	double x = *(const double *)a;
	double y = *(const double *)b;
	return (x > y) - (x < y);
}

static double deficit_pa(const struct room_grid *grid, size_t i)
{
	return room_saturation_pa((double)grid->temp_c[i]) - (double)grid->vapour_pa[i];
}

/* Median change at these instants on the days before, and a robust spread of changes over any
 * `span` instants; both 0 when there is less than a day. */
static void usual_change(const double *vpd, size_t n, size_t i, size_t span, double *median,
			 double *sigma)
{
	double at_hour[3 * USUAL_DAYS];
	double any[USUAL_DAYS * 24];
	size_t n_hour = 0;
	size_t n_any = 0;
	*median = 0.0;
	*sigma = 0.0;
	for (size_t day = 1; day <= USUAL_DAYS && day * ROOM_SLOTS_DAY + 6 + span <= i; day++)
		for (size_t shift = 0; shift < 3; shift++) {
			size_t k = i - day * ROOM_SLOTS_DAY + 6 * shift - 6;
			at_hour[n_hour++] = vpd[k] - vpd[k - span];
		}
	for (size_t k = i % ROOM_SLOTS_HOUR; k < n && n_any < USUAL_DAYS * 24; k += ROOM_SLOTS_HOUR)
		if (k >= span)
			any[n_any++] = fabs(vpd[k] - vpd[k - span]);
	if (n_any < 12)
		return;
	qsort(any, n_any, sizeof any[0], by_value);
	*sigma = 1.4826 * any[n_any / 2];
	if (n_hour == 0)
		return;
	qsort(at_hour, n_hour, sizeof at_hour[0], by_value);
	*median = at_hour[n_hour / 2];
}

/* Where the change that ends at i began: the extreme of the hour before. */
static size_t onset(const double *vpd, size_t i, bool fell)
{
	size_t first = i > WITHIN_SLOTS ? i - WITHIN_SLOTS : 0;
	size_t best = i;
	for (size_t k = i; k-- > first;)
		if (fell ? vpd[k] > vpd[best] : vpd[k] < vpd[best])
			best = k;
	return best;
}

static bool is_sudden(const double *vpd, size_t n, size_t from, size_t i)
{
	double median;
	double sigma;
	double change = vpd[i] - vpd[from];
	double least = fmax(LEAST_PA, LEAST_SHARE * fabs(vpd[from]));
	if (change > 0.0)
		least = fmax(LEAST_PA, LEAST_SHARE * fabs(vpd[i]));
	/* Looked at first: most changes are small, and what is usual takes a sort. */
	if (from == i || fabs(change) < least)
		return false;
	usual_change(vpd, n, i, i - from, &median, &sigma);
	double unusual = change - median;
	if (change * unusual <= 0.0)
		return false;
	return fabs(unusual) >= fmax(least, LEAST_SIGMA * sigma);
}

/* The largest sudden change that ended in the last two hours and has not been undone. */
static void find_event(const struct room_grid *grid, const double *vpd, struct wt_room_event *out)
{
	size_t n = grid->n;
	size_t first = n > LOOK_BACK_SLOTS ? n - LOOK_BACK_SLOTS : 0;
	double best = 0.0;
	for (size_t i = first; i < n; i++) {
		if (grid->age[i] != 0)
			continue;
		for (int fell = 0; fell < 2; fell++) {
			size_t from = onset(vpd, i, fell);
			double change = vpd[i] - vpd[from];
			double kept = vpd[n - 1] - vpd[from];
			if (fabs(change) <= best || change * kept <= 0.5 * change * change)
				continue;
			if (!is_sudden(vpd, n, from, i))
				continue;
			best = fabs(change);
			out->kind = fell ? WT_ROOM_EVENT_WETTER : WT_ROOM_EVENT_DRIER;
			out->since_unix_s =
				(grid->last - (int64_t)(n - 1 - from)) * (int64_t)WT_GRID_S;
			out->vpd_before_pa = vpd[from];
			out->vpd_after_pa = vpd[n - 1];
		}
	}
}

enum wt_status wt_room_recent_event(const struct wt_room_series *series, int64_t now_unix_s,
				    struct wt_room_event *out)
{
	int64_t last;
	if (!series || !out)
		return WT_ERR_ARG;
	if (!wt_room_newest_slot(series, now_unix_s, &last))
		return WT_ERR_NODATA;
	struct wt_room_event event = {.kind = WT_ROOM_EVENT_NONE,
				      .since_unix_s = now_unix_s,
				      .vpd_before_pa = NAN,
				      .vpd_after_pa = NAN};
	if (room_floor_slot(now_unix_s) - last <= STALE_SLOTS) {
		struct room_grid grid;
		int64_t n = last - series->oldest_slot + 1;
		if (n > (USUAL_DAYS + 1) * ROOM_SLOTS_DAY)
			n = (USUAL_DAYS + 1) * ROOM_SLOTS_DAY;
		enum wt_status status = wt_room_grid_new(series, last, (size_t)n, &grid);
		if (status != WT_OK)
			return status;
		double *vpd = calloc(grid.n, sizeof *vpd);
		if (!vpd) {
			wt_room_grid_free(&grid);
			return WT_ERR_NOMEM;
		}
		for (size_t i = 0; i < grid.n; i++)
			vpd[i] = deficit_pa(&grid, i);
		find_event(&grid, vpd, &event);
		free(vpd);
		wt_room_grid_free(&grid);
	}
	*out = event;
	return WT_OK;
}
