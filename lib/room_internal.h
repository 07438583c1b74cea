/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * What the files of the room module share.  Nobody else includes this.
 */
#ifndef WT_LIB_ROOM_INTERNAL_H
#define WT_LIB_ROOM_INTERNAL_H

#include <assert.h>
#include <math.h>

#include "lib/air.h"
#include "lib/room.h"

#define ROOM_SLOTS_DAY 288
#define ROOM_SLOTS_HOUR 12
#define ROOM_CAP (WT_ROOM_KEEP_DAYS * ROOM_SLOTS_DAY)

/* Lines are drawn over gaps up to this long, the daily shape over longer ones (our choice). */
#define ROOM_LINE_GAP_SLOTS (3 * ROOM_SLOTS_HOUR)

/* Sums are whole numbers, so that the order of adding cannot show in the last digit. */
struct room_slot {
	int64_t weight_q;
	int64_t temp_q;
	int64_t vapour_q;
	int64_t last_unix_s; /* newest reading of the slot */
	float last_temp_c;
	float last_vapour_pa;
};

/* One outlook, cut to whole hours.  NAN where it says nothing. */
#define ROOM_DOC_HOURS 84
struct room_doc {
	int64_t issued_unix_s;
	int64_t first_hour; /* unix seconds / 3600 */
	float temp_c[ROOM_DOC_HOURS];
	float vapour_pa[ROOM_DOC_HOURS];
};
#define ROOM_DOCS (WT_ROOM_KEEP_DAYS * 8)

struct wt_room_series {
	int32_t utc_offset_s;
	bool any;
	int64_t newest_slot; /* slot k holds the readings of (300 (k-1), 300 k] */
	int64_t oldest_slot; /* no reading is older */
	struct room_slot slots[ROOM_CAP];
	size_t n_docs;
	size_t cap_docs;
	struct room_doc *docs; /* in order of issue */
};

/* A dense past: n instants ending at slot `last`, no NAN. */
struct room_grid {
	int64_t last;
	size_t n;
	float *temp_c;
	float *vapour_pa;
	/* Instants since the nearest reading before, and until the nearest after; large if none. */
	uint16_t *age;
	uint16_t *wait;
};

/* The newest slot all of whose readings are at or before now; false when there is none. */
bool wt_room_newest_slot(const struct wt_room_series *series, int64_t now_unix_s, int64_t *out);
/* The grid of n instants ending at slot last, from readings of slots up to `until` only. */
enum wt_status wt_room_grid_new(const struct wt_room_series *series, int64_t last, size_t n,
				struct room_grid *out) WT_MUST_CHECK;
void wt_room_grid_free(struct room_grid *grid);

static inline const struct room_slot *room_slot_at(const struct wt_room_series *series,
						   int64_t slot)
{
	if (!series->any || slot > series->newest_slot || slot < series->oldest_slot ||
	    slot <= series->newest_slot - ROOM_CAP)
		return NULL;
	const struct room_slot *found = &series->slots[slot % ROOM_CAP];
	return found->weight_q > 0 ? found : NULL;
}

static inline double room_slot_temp_c(const struct room_slot *slot)
{
	return (double)slot->temp_q / (double)slot->weight_q;
}

static inline double room_slot_vapour_pa(const struct room_slot *slot)
{
	return (double)slot->vapour_q / (double)slot->weight_q;
}

/* Slot of the local day, 0..287. */
static inline size_t room_slot_of_day(int64_t slot, int32_t utc_offset_s)
{
	int64_t local = slot + utc_offset_s / WT_GRID_S;
	int64_t rest = local % ROOM_SLOTS_DAY;
	return (size_t)(rest < 0 ? rest + ROOM_SLOTS_DAY : rest);
}

static inline int64_t room_floor_slot(int64_t at_unix_s)
{
	int64_t slot = at_unix_s / WT_GRID_S;
	return slot * WT_GRID_S > at_unix_s ? slot - 1 : slot;
}

/* Saturation vapour pressure over water, Pa; held at the ends of what lib/air.h knows. */
static inline double room_saturation_pa(double temp_c)
{
	double saturation_pa = 0.0;
	enum wt_status status =
		wt_air_saturation_pa(fmin(fmax(temp_c, -40.0), 100.0), &saturation_pa);
	assert(status == WT_OK);
	(void)status;
	return saturation_pa;
}

#endif /* WT_LIB_ROOM_INTERNAL_H */
