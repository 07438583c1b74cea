/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * Forecasts for dashboards: retained JSON under publish_prefix.
 *
 *   PREFIX/tonight     the document of `wither tonight --json`
 *   PREFIX/load/N      one of its rows; emptied when the load is fixed or dropped
 *   PREFIX/air/ROOM    the room's measured air now
 *
 * Under discovery_prefix, where one is configured, documents by which a home's dashboard finds them
 * unasked: DISCOVERY/sensor/ID/config, retained, emptied with the load.  The convention is the
 * widely used one of home automation over MQTT (from memory).
 */
#ifndef WT_DAEMON_PUBLISH_H
#define WT_DAEMON_PUBLISH_H

#include <jansson.h>

#include "daemon/feed.h"

struct wt_publish;

/* Both are borrowed; discovery may be NULL.  NULL without memory. */
struct wt_publish *wt_publish_new(const char *prefix, const char *discovery);
void wt_publish_free(struct wt_publish **publish);
/* Sends what a new `tonight` document holds. */
void wt_publish_tonight(struct wt_publish *publish, struct wt_feed *feed, const json_t *tonight);

#endif /* WT_DAEMON_PUBLISH_H */
