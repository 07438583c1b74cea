/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * Times as a maker reads them: HH:MM in the workshop's own zone, with the
 * weekday when the day is another one.
 */
#ifndef WT_CLI_WHEN_H
#define WT_CLI_WHEN_H

#include <stdbool.h>
#include <stddef.h>

enum { WT_WHEN_SIZE = 64 };

/* Takes the zone (IANA name) for all that follows; NULL leaves the machine's own. */
void wt_when_zone(const char *zone_name);

/* "18:42" today, "Wed 03:10" on another day within a week, else "25 Nov 03:10".  "-" when
 * unknown. */
void wt_when_clock(char out[static WT_WHEN_SIZE], double at_unix_s, double now_unix_s);

/* "Tue 25 Nov 18:42". */
void wt_when_full(char out[static WT_WHEN_SIZE], double at_unix_s);

/* "25 Nov"; with the year when it is not now's. */
void wt_when_day(char out[static WT_WHEN_SIZE], double at_unix_s, double now_unix_s);

/* A range of times in at most 11 cells: "20:10-22:40", "now-21:00", "22:40-Wed01", "Wed 03-07h",
 * "reached", "Wed 03h-?"; "-" when both are unknown. */
void wt_when_range(char out[static WT_WHEN_SIZE], double from_unix_s, double to_unix_s,
		   double now_unix_s);

/* "40 s", "12 min", "2 h 10 min", "3 d". */
void wt_when_span(char out[static WT_WHEN_SIZE], double span_s);

#endif /* WT_CLI_WHEN_H */
