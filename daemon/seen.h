/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * The readings that came of late, so that one that comes again counts once.  Only those with a time
 * of the station's own are remembered: without it equal values are another reading.
 */
#ifndef WT_DAEMON_SEEN_H
#define WT_DAEMON_SEEN_H

#include <stdbool.h>
#include <stddef.h>

#include "daemon/site.h"

/* Readings remembered, our choice: six weeks of one a minute, about 1.5 MiB when full. */
#define WT_SEEN_LIMIT 65536

struct wt_seen;

/* limit: a power of two.  NULL without memory. */
struct wt_seen *wt_seen_new(size_t limit);
void wt_seen_free(struct wt_seen **seen);
/* True when the reading is new, or is never the same as another; it is remembered, the oldest is
 * forgotten.  Without memory it passes as new. */
bool wt_seen_add(struct wt_seen *seen, const struct wt_reading *reading);

#endif /* WT_DAEMON_SEEN_H */
