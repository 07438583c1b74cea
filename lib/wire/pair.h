/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * From a station's messages to its readings: temperature and humidity that come
 * apart are paired by time, repeats collapse, and what looks wrong is flagged.
 * A flagged reading is still a reading.
 */
#ifndef WT_WIRE_PAIR_H
#define WT_WIRE_PAIR_H

#include <stdbool.h>
#include <stdint.h>

#include "lib/wire/payload.h"

/* One quantity as last heard. */
struct wt_pair_half {
	double value; /* NAN: none yet */
	int64_t at_unix_ms;
	unsigned flags;
	bool used; /* went into a reading already */
};

/* One station.  Set up with wt_pair_init(); a plain value, nothing to free. */
struct wt_pair {
	int64_t window_ms; /* how far apart two halves of one reading may be */
	int64_t expected_every_ms;
	struct wt_pair_half temp, rh;
	/* the reading last given out */
	bool any;
	int64_t last_unix_ms;
	double last_temp_c, last_rh_pct;
	int64_t same_since_unix_ms; /* since when both values have not moved at all */
	int same_count;
};

struct wt_pair_reading {
	int64_t at_unix_ms;
	double temp_c, rh_pct;
	unsigned flags;
};

/* expected_every_s: how often the station sends; the window is max(120 s, half of it). */
void wt_pair_init(struct wt_pair *pair, double expected_every_s);

/*
 * Takes in what one message gave; true when *out is a new reading.
 *
 * The time is the station's own where the values carry one, else received_unix_ms.  Retained values
 * never make a reading.  A message with both values is a reading, unless it repeats the last one
 * within 2 s.  Values that come alone are paired, each used once, when they are no further apart
 * than the window; the reading takes the later of their times.  Flags added:
 * STUCK      both values unchanged to the last digit for 12 readings, 6 expected intervals and 3 h;
 * JUMP       faster than air in a room changes: 5 C or 20 % above 0.5 C or 3 % a minute since the
 *            last reading of this station;
 * SATURATED  humidity 100 % (clamped or as sent).
 * All of these bounds are our choice.
 */
bool wt_pair_add(struct wt_pair *pair, const struct wt_payload_values *values,
		 int64_t received_unix_ms, struct wt_pair_reading *out);

#endif /* WT_WIRE_PAIR_H */
