/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * Rules of time shared by the reference run and the ensemble: what changes only
 * every half hour, and what makes events and marks sound.
 */
#ifndef WT_LIB_LEAF_SCHEDULE_H
#define WT_LIB_LEAF_SCHEDULE_H

#include <math.h>
#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "lib/ensemble.h"
#include "lib/traits.h"

/* Drift of pace and packing of the bed are held over cells of half an hour of Unix time. */
#define WT_CELL_S 1800

static inline int64_t wt_leaf_floor(int64_t at_unix_s, int64_t unit_s)
{
	int64_t rest = at_unix_s % unit_s;
	return at_unix_s - (rest < 0 ? rest + unit_s : rest);
}

static inline int64_t wt_leaf_cell_middle(int64_t at_unix_s)
{
	return wt_leaf_floor(at_unix_s, WT_CELL_S) + WT_CELL_S / 2;
}

static inline double wt_leaf_pace_drift(const double coefficient[4], double since_s)
{
	double ln_factor = 0.0;
	for (int k = 0; k < 4; k++)
		ln_factor += coefficient[k] * wt_traits_drift(k, since_s / 3600.0);
	return exp(ln_factor);
}

static inline bool wt_leaf_events_are_sound(const struct wt_bed_event *events, size_t n)
{
	if (n > 0 && !events)
		return false;
	for (size_t i = 0; i < n; i++) {
		const struct wt_bed_event *e = &events[i];
		if (isinf(e->area_m2) || e->area_m2 <= 0.0 || !isfinite(e->taken_kg) ||
		    e->taken_kg < 0.0 || (i > 0 && e->at_unix_s < events[i - 1].at_unix_s))
			return false;
	}
	return true;
}

/* Marks in order, from spreading to the end. */
static inline enum wt_status wt_leaf_check_marks(int64_t spread_unix_s, int64_t end_unix_s,
						 const int64_t *at_unix_s, size_t n)
{
	for (size_t i = 0; i < n; i++) {
		if (i > 0 && at_unix_s[i] < at_unix_s[i - 1])
			return WT_ERR_ARG;
		if (at_unix_s[i] < spread_unix_s || at_unix_s[i] > end_unix_s)
			return WT_ERR_RANGE;
	}
	return WT_OK;
}

#endif /* WT_LIB_LEAF_SCHEDULE_H */
