/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * Rows to be stored and exported, with the keys of the exports.
 */
#include <math.h>
#include <stdio.h>

#include "daemon/site_query.h"

static const char *const labels[SITE_QUANTILES] = {"p10", "p25", "p50", "p75", "p90"};

static json_t *forecast_row(const struct wt_job *job, const struct site_job_load *load)
{
	const struct site_view *view = &load->view;
	char key[40];
	json_t *row = json_pack("{s:I,s:i,s:o,s:o,s:o}", "issued_unix_s",
				(json_int_t)job->now_unix_s, "load", load->load.number,
				"loss_p10_pct", site_number(view->loss_pct[SITE_P10]),
				"loss_p50_pct", site_number(view->loss_pct[SITE_P50]),
				"loss_p90_pct", site_number(view->loss_pct[SITE_P90]));

	for (int q = 0; q < SITE_QUANTILES; q++) {
		snprintf(key, sizeof(key), "ready_%s_unix_s", labels[q]);
		json_object_set_new(row, key, site_time(view->ready_unix_s[q]));
	}
	json_object_set_new(row, "past_p50_unix_s", site_time(view->past_unix_s[SITE_P50]));
	json_object_set_new(row, "p_ready_tonight",
			    view->advised ? site_number(view->advice.p_ready_tonight)
					  : json_null());
	json_object_set_new(row, "call", site_call(view));
	json_object_set_new(row, "reason",
			    view->advised ? json_string(site_reason_code(view->advice.reason))
					  : json_null());
	return row;
}

static json_t *air_row(const struct wt_job *job, const struct site_job_room *room, int lead)
{
	char key[40];
	json_t *row = json_pack("{s:I,s:s,s:I}", "issued_unix_s", (json_int_t)job->now_unix_s,
				"room", room->name, "lead_s", (json_int_t)site_lead_s[lead]);

	for (int q = 0; q < SITE_QUANTILES; q++) {
		snprintf(key, sizeof(key), "temp_%s_c", labels[q]);
		json_object_set_new(row, key, site_number(room->lead_temp_c[lead][q]));
	}
	for (int q = 0; q < SITE_QUANTILES; q++) {
		snprintf(key, sizeof(key), "vapour_%s_pa", labels[q]);
		json_object_set_new(row, key, site_number(room->lead_vapour_pa[lead][q]));
	}
	return row;
}

json_t *wt_site_forecast_rows(const struct wt_site *site)
{
	const struct wt_job *job = site->forecast;
	json_t *forecasts = json_array(), *air = json_array();

	for (size_t i = 0; job && i < job->n_loads; i++) {
		if (!job->loads[i].closing && job->loads[i].view.known)
			json_array_append_new(forecasts, forecast_row(job, &job->loads[i]));
	}
	for (size_t i = 0; job && i < job->n_rooms; i++) {
		for (int lead = 0; job->rooms[i].known && lead < SITE_LEADS; lead++)
			json_array_append_new(air, air_row(job, &job->rooms[i], lead));
	}
	return site_rounded(json_pack("{s:o,s:o}", "forecasts", forecasts, "air_forecasts", air));
}

json_t *wt_site_loads_rows(const struct wt_site *site)
{
	static const char *const keys[] = {
		"load",    "origin",        "grade",        "season",   "style",   "room",     "kg",
		"area_m2", "spread_unix_s", "fixed_unix_s", "fixed_kg", "made_kg", "yellow_kg"};
	json_t *rows = json_array();

	for (size_t i = 0; i < site->n_loads; i++) {
		const struct site_load *load = &site->loads[i];
		if (load->gone)
			continue;
		json_t *full = site_load_row(site, load), *row = json_object();
		for (size_t k = 0; k < sizeof(keys) / sizeof(keys[0]); k++)
			json_object_set(row, keys[k], json_object_get(full, keys[k]));
		json_object_set_new(row, "ready_unix_s",
				    site_time(load->closing ? load->closing->ready_unix_s : NAN));
		json_decref(full);
		json_array_append_new(rows, row);
	}
	return rows;
}
