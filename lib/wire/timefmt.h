/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * Times as stations, journals and people write them.  Times without a zone are
 * in the process's local zone: the daemon sets TZ from the site's time zone and
 * calls tzset() before any of these run, and never after.
 */
#ifndef WT_WIRE_TIMEFMT_H
#define WT_WIRE_TIMEFMT_H

#include <jansson.h>
#include <stdint.h>

#include "lib/status.h"

/* Years 1970 to 2199: what any of these functions accepts. */
#define WT_TIMEFMT_LAST_UNIX_S 7258118399LL

/* A station's time: unix seconds, unix milliseconds (above 1e11), RFC 3339 with Z or an offset,
 * "2026-04-07T18:05[:00[.5]]" and "2026-04-07 18:05:00" without one.  When a local time occurs
 * twice in the autumn night, the one nearer to near_unix_s (NAN: the first) is taken.
 * WT_ERR_ARG for another form, WT_ERR_RANGE for a day or hour that does not exist. */
enum wt_status wt_timefmt_station(const char *text, double near_unix_s,
				  double *unix_s) WT_MUST_CHECK;

/* The same from a JSON value, number or string. */
enum wt_status wt_timefmt_station_value(const json_t *value, double near_unix_s,
					double *unix_s) WT_MUST_CHECK;

/* RFC 3339 (zone required), to the millisecond. */
enum wt_status wt_timefmt_rfc3339(const char *text, int64_t *unix_ms) WT_MUST_CHECK;

/* A journal's time: RFC 3339 string, or a number of unix seconds. */
enum wt_status wt_timefmt_journal(const json_t *value, int64_t *unix_ms) WT_MUST_CHECK;

/* Which moment an hour without a day means. */
enum wt_timefmt_sense {
	WT_TIMEFMT_PAST, /* the latest not after now: when something was done */
	WT_TIMEFMT_NEXT  /* the earliest not before now: when something is wished */
};

/* A person's time: "HH:MM", "now", "-2h", "-30min", "-3d" ("+" for later), RFC 3339, a local
 * "2026-04-07 18:05" or "2026-04-07" (its midnight), a number of unix seconds. */
enum wt_status wt_timefmt_user(const char *text, int64_t now_unix_s, enum wt_timefmt_sense sense,
			       int64_t *unix_s) WT_MUST_CHECK;

/* "HH:MM, -2h, -30min, 2026-04-07 18:05, RFC 3339 or unix seconds", for messages. */
const char *wt_timefmt_user_accepted(void);

/* "2026-04-07T16:05:00Z", with ".125" when there are milliseconds.  Times outside 1970 to 2199
 * are written as "0000-00-00T00:00:00Z". */
enum { WT_TIMEFMT_SIZE = 32 };
void wt_timefmt_write(int64_t unix_ms, char out[WT_TIMEFMT_SIZE]);

#endif /* WT_WIRE_TIMEFMT_H */
