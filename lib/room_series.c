/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * The readings of one room, kept as weighted sums on the five-minute grid.
 */
#include "lib/room_internal.h"

#include <stdlib.h>
#include <string.h>

/* Readings and outlooks outside are refused: no room one can work in. */
#define TEMP_MIN_C (-40.0)
#define TEMP_MAX_C 70.0
#define RH_MAX_PCT 110.0 /* a wet sensor reads over 100; taken as 100 */
#define WEIGHT_MIN 0.001
#define WEIGHT_MAX 1000.0
#define AT_MAX_UNIX_S ((int64_t)1 << 40)

enum wt_status wt_room_series_new(int32_t utc_offset_s, struct wt_room_series **out)
{
	if (!out)
		return WT_ERR_ARG;
	if (utc_offset_s < -18 * 3600 || utc_offset_s > 18 * 3600)
		return WT_ERR_RANGE;
	struct wt_room_series *series = calloc(1, sizeof *series);
	if (!series)
		return WT_ERR_NOMEM;
	series->utc_offset_s = utc_offset_s;
	*out = series;
	return WT_OK;
}

void wt_room_series_free(struct wt_room_series **series)
{
	if (!series || !*series)
		return;
	free((*series)->docs);
	free(*series);
	*series = NULL;
}

enum wt_status wt_room_series_copy(const struct wt_room_series *series, struct wt_room_series **out)
{
	if (!series || !out)
		return WT_ERR_ARG;
	struct wt_room_series *copy = malloc(sizeof *copy);
	if (!copy)
		return WT_ERR_NOMEM;
	memcpy(copy, series, sizeof *copy);
	copy->docs = NULL;
	copy->cap_docs = copy->n_docs;
	if (series->n_docs > 0) {
		copy->docs = malloc(series->n_docs * sizeof *copy->docs);
		if (!copy->docs) {
			free(copy);
			return WT_ERR_NOMEM;
		}
		memcpy(copy->docs, series->docs, series->n_docs * sizeof *copy->docs);
	}
	*out = copy;
	return WT_OK;
}

static void advance(struct wt_room_series *series, int64_t slot)
{
	if (!series->any) {
		series->any = true;
		series->newest_slot = slot;
		series->oldest_slot = slot;
		return;
	}
	if (slot < series->oldest_slot)
		series->oldest_slot = slot;
	int64_t from = series->newest_slot + 1;
	if (slot - from >= ROOM_CAP)
		from = slot - ROOM_CAP + 1;
	for (int64_t k = from; k <= slot; k++)
		memset(&series->slots[k % ROOM_CAP], 0, sizeof series->slots[0]);
	if (slot > series->newest_slot)
		series->newest_slot = slot;
}

static bool is_later(const struct room_slot *slot, int64_t at_unix_s, float temp_c, float vapour_pa)
{
	if (slot->weight_q == 0 || at_unix_s != slot->last_unix_s)
		return slot->weight_q == 0 || at_unix_s > slot->last_unix_s;
	/* Two stations in the same second: any rule will do that does not depend on order. */
	if (temp_c > slot->last_temp_c || temp_c < slot->last_temp_c)
		return temp_c > slot->last_temp_c;
	return vapour_pa > slot->last_vapour_pa;
}

enum wt_status wt_room_series_add(struct wt_room_series *series, int64_t at_unix_s, double temp_c,
				  double rh_pct, double weight)
{
	if (!series || !isfinite(temp_c) || !isfinite(rh_pct) || !isfinite(weight) || weight <= 0.0)
		return WT_ERR_ARG;
	if (temp_c < TEMP_MIN_C || temp_c > TEMP_MAX_C || rh_pct < 0.0 || rh_pct > RH_MAX_PCT ||
	    at_unix_s < 0 || at_unix_s > AT_MAX_UNIX_S)
		return WT_ERR_RANGE;
	int64_t number = (at_unix_s + WT_GRID_S - 1) / WT_GRID_S;
	if (series->any && number <= series->newest_slot - ROOM_CAP)
		return WT_ERR_RANGE;
	advance(series, number);
	double vapour_pa = fmin(rh_pct, 100.0) / 100.0 * room_saturation_pa(temp_c);
	struct room_slot *slot = &series->slots[number % ROOM_CAP];
	if (is_later(slot, at_unix_s, (float)temp_c, (float)vapour_pa)) {
		slot->last_unix_s = at_unix_s;
		slot->last_temp_c = (float)temp_c;
		slot->last_vapour_pa = (float)vapour_pa;
	}
	int64_t weight_q = llround(1000.0 * fmin(fmax(weight, WEIGHT_MIN), WEIGHT_MAX));
	slot->weight_q += weight_q;
	slot->temp_q += llround((double)weight_q * temp_c);
	slot->vapour_q += llround((double)weight_q * vapour_pa);
	return WT_OK;
}

bool wt_room_newest_slot(const struct wt_room_series *series, int64_t now_unix_s, int64_t *out)
{
	if (!series->any)
		return false;
	int64_t slot = room_floor_slot(now_unix_s) + 1;
	/* The slot after now counts when nothing in it is later than now. */
	const struct room_slot *partial = room_slot_at(series, slot);
	if (!partial || partial->last_unix_s > now_unix_s)
		slot--;
	if (slot > series->newest_slot)
		slot = series->newest_slot;
	while (slot >= series->oldest_slot && slot > series->newest_slot - ROOM_CAP) {
		if (room_slot_at(series, slot)) {
			*out = slot;
			return true;
		}
		slot--;
	}
	return false;
}

enum wt_status wt_room_latest(const struct wt_room_series *series, int64_t now_unix_s,
			      struct wt_room_now *out)
{
	int64_t number;
	if (!series || !out)
		return WT_ERR_ARG;
	if (!wt_room_newest_slot(series, now_unix_s, &number))
		return WT_ERR_NODATA;
	const struct room_slot *slot = room_slot_at(series, number);
	double saturation_pa = room_saturation_pa((double)slot->last_temp_c);
	*out = (struct wt_room_now){
		.at_unix_s = slot->last_unix_s,
		.temp_c = (double)slot->last_temp_c,
		.vapour_pa = (double)slot->last_vapour_pa,
		.rh_pct = 100.0 * (double)slot->last_vapour_pa / saturation_pa,
		.vpd_pa = saturation_pa - (double)slot->last_vapour_pa,
	};
	return WT_OK;
}
