/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * The air outdoors as outlooks told it: what was usual there, and what is told to come.
 */
#ifndef WT_LIB_ROOM_AHEAD_H
#define WT_LIB_ROOM_AHEAD_H

#include "lib/room_fit.h"

/* Hours ahead an outlook is looked at. */
#define ROOM_AHEAD_HOURS 62

/* Outdoors by the hour, from the outlook in force at each; NAN unknown. */
struct room_outdoors {
	const struct wt_room_series *series;
	int64_t first_hour; /* unix seconds / 3600 */
	size_t n;
	float *value[2];
	float *usual[2]; /* n + 24: as known a day before */
	double sd[2];    /* spread about the usual */
};

/* Told deviations from the usual, seen from one moment. */
struct room_ahead {
	bool known;        /* at the moment itself */
	size_t n;          /* hours known without a gap */
	double since_hour; /* hours from the whole hour before the moment to the moment */
	double odd[2][ROOM_AHEAD_HOURS];
	double sum[2][ROOM_AHEAD_HOURS + 1];
};

/* From outlooks issued up to until_unix_s.  WT_ERR_NODATA when there is none. */
enum wt_status wt_room_outdoors_new(const struct wt_room_series *series, int64_t until_unix_s,
				    struct room_outdoors *out) WT_MUST_CHECK;
void wt_room_outdoors_free(struct room_outdoors *outdoors);
/* What was told at told_unix_s, seen from an instant at or before it. */
void wt_room_ahead_from(const struct room_outdoors *outdoors, int64_t at_unix_s,
			int64_t told_unix_s, struct room_ahead *out);
/* False when the outlook does not reach so far. */
bool wt_room_ahead_features(const struct room_ahead *ahead, size_t v, size_t lead_slots,
			    double out[ROOM_OUT_FEATURES]);

#endif /* WT_LIB_ROOM_AHEAD_H */
