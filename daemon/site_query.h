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
/* For how long a room may send nothing before it is silent, s. */
double site_room_silent_after_s(const struct wt_site *site, size_t room);
/* Stale for so long that nothing should be called on its air; true too before its first reading. */
bool site_room_silent(const struct wt_site *site, size_t room, int64_t now_unix_s);
/* Its forecast, where a call stands on it. */
const struct site_job_load *site_advice_of(const struct wt_site *site, const struct site_load *load,
					   int64_t now_unix_s);
json_t *site_call(const struct site_view *view); /* the word, or null */
json_t *site_fire(const struct site_view *view); /* [first, last start] on that side, or null */
/* The air of a moment; false where nothing was measured near it. */
bool site_measured(const struct wt_site *site, size_t room, int64_t at_unix_s, double *temp_c,
		   double *vapour_pa);
/* A firing counts while its load is open and its room heard. */
bool site_firing_stands(const struct wt_site *site, const struct wt_firing *firing,
			int64_t now_unix_s);
json_t *site_empty_plan(const struct wt_site *site, int64_t now_unix_s); /* a note, or null */
json_t *site_plan_parts(const struct wt_site *site, int64_t now_unix_s);
json_t *site_hearth_row(const struct wt_site *site, int64_t now_unix_s);

/* Whose outdoor forecast is in use, in the words of its licence; null when none is. */
json_t *site_attribution(const struct wt_site *site, int64_t now_unix_s);

json_t *site_query_tonight(const struct wt_site *site, int64_t now_unix_s);
json_t *site_query_plan(const struct wt_site *site, int64_t now_unix_s);
json_t *site_query_show(const struct wt_site *site, const struct site_load *load,
			int64_t now_unix_s);
json_t *site_query_loads(const struct wt_site *site, const struct site_verb_rule *verb,
			 const struct site_value *values, int64_t now_unix_s);
json_t *site_query_air(const struct wt_site *site, size_t room, int64_t now_unix_s);
json_t *site_query_gardens(struct wt_site *site, int64_t now_unix_s);
json_t *site_query_ledger(const struct wt_site *site, int64_t now_unix_s);
json_t *site_query_stations(const struct wt_site *site, int64_t now_unix_s);

#endif /* WT_DAEMON_SITE_QUERY_H */
