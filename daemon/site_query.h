/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * The documents the site answers with, one file a group of verbs.
 */
#ifndef WT_DAEMON_SITE_QUERY_H
#define WT_DAEMON_SITE_QUERY_H

#include "daemon/site_inner.h"

const struct site_job_load *site_forecast_of(const struct wt_site *site,
					     const struct site_load *load);
json_t *site_tonight_row(const struct wt_site *site, const struct site_load *load,
			 int64_t now_unix_s);
json_t *site_event(const struct wt_room_event *event);
bool site_room_stale(const struct wt_site *site, size_t room, int64_t now_unix_s, double *age_s);

/* Whose outdoor forecast is in use, in the words of its licence; null when none is. */
json_t *site_attribution(const struct wt_site *site, int64_t now_unix_s);

json_t *site_query_tonight(const struct wt_site *site, int64_t now_unix_s);
json_t *site_query_plan(const struct wt_site *site, int64_t now_unix_s);
json_t *site_query_show(const struct wt_site *site, const struct site_load *load,
			int64_t now_unix_s);
json_t *site_query_loads(const struct wt_site *site, const struct site_verb_rule *verb,
			 const struct site_value *values, int64_t now_unix_s);
json_t *site_query_air(const struct wt_site *site, size_t room, int64_t now_unix_s);
json_t *site_query_gardens(const struct wt_site *site, int64_t now_unix_s);
json_t *site_query_ledger(const struct wt_site *site, int64_t now_unix_s);
json_t *site_query_stations(const struct wt_site *site, int64_t now_unix_s);

#endif /* WT_DAEMON_SITE_QUERY_H */
