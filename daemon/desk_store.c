/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * Questions that go to the store: exports, the track record, copies.
 */
#include <inttypes.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "daemon/log.h"
#include "daemon/service_inner.h"

/* Rows of one answer to `export`, our choice: some milliseconds' work. */
#define PAGE_ROWS 2000

/* --- export -------------------------------------------------------------------------------- */

static const char *const load_columns[] = {"load",          "origin",       "grade",    "season",
					   "style",         "room",         "kg",       "area_m2",
					   "spread_unix_s", "fixed_unix_s", "fixed_kg", "made_kg",
					   "yellow_kg",     "ready_unix_s"};
#define N_LOAD_COLUMNS (sizeof load_columns / sizeof load_columns[0])

static json_t *export_loads(struct wt_service *service, int64_t since_unix_s)
{
	json_t *objects = wt_site_loads_rows(wt_engine_site(service->engine)), *object;
	json_t *columns = json_array(), *rows = json_array();
	size_t index;
	for (size_t i = 0; i < N_LOAD_COLUMNS; i++)
		json_array_append_new(columns, json_string(load_columns[i]));
	json_array_foreach(objects, index, object)
	{
		if (json_number_value(json_object_get(object, "spread_unix_s")) <
		    (double)since_unix_s)
			continue;
		json_t *row = json_array();
		for (size_t i = 0; i < N_LOAD_COLUMNS; i++) {
			json_t *value = json_object_get(object, load_columns[i]);
			json_array_append_new(row, value ? json_incref(value) : json_null());
		}
		json_array_append_new(rows, row);
	}
	json_decref(objects);
	return json_pack("{s:o,s:o,s:b,s:n}", "columns", columns, "rows", rows, "more", 0,
			 "cursor");
}

static bool read_cursor(const json_t *params, struct wt_store_cursor *cursor,
			struct wt_refusal *refusal)
{
	const char *text = NULL;
	int end = 0;
	wt_store_cursor_first(cursor);
	if (!wt_rpc_get_text(params, "cursor", 80, false, &text, refusal))
		return false;
	if (!text)
		return true;
	struct wt_store_cursor read;
	if (sscanf(text, "%" SCNd64 ":%" SCNd64 ":%" SCNd64 "%n", &read.key[0], &read.key[1],
		   &read.key[2], &end) != 3 ||
	    text[end] != '\0') {
		wt_rpc_refuse_param(refusal, "cursor", text, "the cursor of the answer before");
		return false;
	}
	*cursor = read;
	return true;
}

static bool read_table(const json_t *params, enum wt_store_table *table, bool *loads,
		       struct wt_refusal *refusal)
{
	static const char *const names[] = {[WT_STORE_READINGS] = "readings",
					    [WT_STORE_FORECASTS] = "forecasts",
					    [WT_STORE_AIR_FORECASTS] = "air-forecasts"};
	const char *what = NULL;
	*loads = false;
	if (!wt_rpc_get_text(params, "what", 40, false, &what, refusal))
		return false;
	if (what && strcmp(what, "loads") == 0) {
		*loads = true;
		return true;
	}
	for (size_t i = 0; what && i < sizeof names / sizeof names[0]; i++) {
		if (strcmp(what, names[i]) == 0) {
			*table = (enum wt_store_table)i;
			return true;
		}
	}
	wt_rpc_refuse_param(refusal, "what", what, "readings, loads, forecasts or air-forecasts");
	return false;
}

static json_t *store_trouble(struct wt_service *service, struct wt_refusal *refusal)
{
	wt_rpc_refuse(refusal, WT_RPC_TRY_AGAIN, "%s", wt_store_error(service->store));
	return NULL;
}

static struct wt_store_span span_of(struct wt_service *service, int64_t since_unix_s)
{
	return (struct wt_store_span){
		.since_unix_ms = since_unix_s == INT64_MIN ? INT64_MIN : since_unix_s * 1000,
		.until_unix_ms = service->setup.frozen ? service->setup.frozen_unix_ms : INT64_MAX,
	};
}

json_t *wt_desk_export(struct wt_service *service, const json_t *params, struct wt_refusal *refusal)
{
	static const char *const known[] = {"what", "since", "cursor", NULL};
	enum wt_store_table table = WT_STORE_READINGS;
	struct wt_store_cursor cursor;
	int64_t since_unix_s = INT64_MIN;
	bool loads = false, more = false;
	if (!wt_rpc_check_names(params, known, refusal) ||
	    !read_table(params, &table, &loads, refusal) ||
	    !wt_rpc_get_time(params, "since", wt_service_now_ms(service) / 1000, WT_TIMEFMT_PAST,
			     false, &since_unix_s, refusal) ||
	    !read_cursor(params, &cursor, refusal))
		return NULL;
	if (loads)
		return export_loads(service, since_unix_s);
	struct wt_store_span span = span_of(service, since_unix_s);
	json_t *rows = json_array();
	if (wt_store_page(service->store, table, &span, &cursor, PAGE_ROWS, rows, &more) !=
	    WT_STORE_OK) {
		json_decref(rows);
		return store_trouble(service, refusal);
	}
	char text[80];
	snprintf(text, sizeof text, "%" PRId64 ":%" PRId64 ":%" PRId64, cursor.key[0],
		 cursor.key[1], cursor.key[2]);
	return json_pack("{s:o,s:o,s:b,s:o}", "columns", wt_store_columns(table), "rows", rows,
			 "more", (int)more, "cursor", more ? json_string(text) : json_null());
}

/* --- review -------------------------------------------------------------------------------- */

/* All rows of a table as objects with the keys of the export. */
static json_t *all_rows(struct wt_service *service, enum wt_store_table table,
			const struct wt_store_span *span)
{
	struct wt_store_cursor cursor;
	json_t *columns = wt_store_columns(table), *objects = json_array();
	bool more = true;
	wt_store_cursor_first(&cursor);
	while (more) {
		json_t *rows = json_array(), *row;
		size_t index;
		if (wt_store_page(service->store, table, span, &cursor, PAGE_ROWS, rows, &more) !=
		    WT_STORE_OK)
			more = false;
		json_array_foreach(rows, index, row)
		{
			json_t *object = json_object();
			for (size_t i = 0; i < json_array_size(columns); i++)
				json_object_set(object,
						json_string_value(json_array_get(columns, i)),
						json_array_get(row, i));
			json_array_append_new(objects, object);
		}
		json_decref(rows);
	}
	json_decref(columns);
	return objects;
}

/* The air's forecasts that a review asks for, a few issues out of very many. */
static json_t *issued_rows(struct wt_service *service, const json_t *forecasts,
			   int64_t since_unix_s)
{
	json_t *issues = wt_site_review_issues(wt_engine_site(service->engine), forecasts,
					       since_unix_s == INT64_MIN ? 0 : since_unix_s);
	json_t *air = json_array(), *issue;
	size_t index;

	json_array_foreach(issues, index, issue)
	{
		int64_t at_unix_s = json_integer_value(issue);
		struct wt_store_span span = span_of(service, at_unix_s);
		int64_t last_unix_ms = at_unix_s * 1000 + 999;
		if (span.until_unix_ms > last_unix_ms)
			span.until_unix_ms = last_unix_ms;
		json_t *rows = all_rows(service, WT_STORE_AIR_FORECASTS, &span);
		json_array_extend(air, rows);
		json_decref(rows);
	}
	json_decref(issues);
	return air;
}

json_t *wt_desk_review(struct wt_service *service, const json_t *params, struct wt_refusal *refusal)
{
	static const char *const known[] = {"since", NULL};
	int64_t since_unix_s = INT64_MIN;
	int64_t now_unix_s = wt_service_now_ms(service) / 1000;
	if (!wt_rpc_check_names(params, known, refusal) ||
	    !wt_rpc_get_time(params, "since", now_unix_s, WT_TIMEFMT_PAST, false, &since_unix_s,
			     refusal))
		return NULL;
	/* A load that closed after `since` was forecast from up to three days before. */
	struct wt_store_span span =
		span_of(service, since_unix_s == INT64_MIN ? INT64_MIN : since_unix_s - 3 * 86400);
	json_t *forecasts = all_rows(service, WT_STORE_FORECASTS, &span);
	json_t *air = issued_rows(service, forecasts, since_unix_s);
	json_t *result = wt_site_review(wt_engine_site(service->engine), forecasts, air,
					since_unix_s == INT64_MIN ? 0 : since_unix_s, now_unix_s);
	json_decref(forecasts);
	json_decref(air);
	if (!result)
		wt_rpc_refuse(refusal, WT_RPC_FAULT, "out of memory");
	return result;
}

/* --- skill of the air ---------------------------------------------------------------------- */

/* Our choice: how far back, and how far apart the forecasts are that are looked at; further where
 * there are many rooms, so that the answer stays a matter of milliseconds. */
#define SKILL_DAYS 14
#define SKILL_EVERY_S (3 * 3600)
#define SKILL_ROOMS 8

void wt_desk_add_skill(struct wt_service *service, json_t *result)
{
	const struct wt_site *site = wt_engine_site(service->engine);
	int64_t now_unix_s = wt_service_now_ms(service) / 1000;
	int64_t every_s =
		SKILL_EVERY_S * (1 + (int64_t)(service->config->n_rooms / (SKILL_ROOMS + 1)));
	int64_t from = now_unix_s - SKILL_DAYS * 86400;
	json_t *air = json_array();

	for (int64_t at = from - from % every_s; at < now_unix_s; at += every_s) {
		/* The one forecast that begins the span. */
		struct wt_store_span span = span_of(service, at);
		int64_t last_unix_ms = (at + service->config->forecast_every_s) * 1000 - 1;
		if (span.until_unix_ms > last_unix_ms)
			span.until_unix_ms = last_unix_ms;
		json_t *rows = all_rows(service, WT_STORE_AIR_FORECASTS, &span);
		json_array_extend(air, rows);
		json_decref(rows);
	}
	json_object_set_new(result, "skill",
			    wt_site_air_skill(site,
					      json_string_value(json_object_get(result, "room")),
					      air, now_unix_s));
	json_decref(air);
}

/* --- backup -------------------------------------------------------------------------------- */

static void end_backup(struct wt_service *service)
{
	free(service->copy_path);
	service->copy_path = NULL;
	if (service->copy_event)
		event_free(service->copy_event);
	service->copy_event = NULL;
}

void wt_desk_backup_cancel(struct wt_service *service)
{
	struct wt_refusal refusal = {0};
	if (!service->copy)
		return;
	wt_store_backup_cancel(&service->copy);
	wt_rpc_refuse(&refusal, WT_RPC_TRY_AGAIN, "the daemon is stopping; the copy was not made");
	wt_control_refuse(&service->copy_ticket, &refusal);
	end_backup(service);
}

static void backup_step(evutil_socket_t fd, short what, void *context)
{
	static const struct timeval soon = {0, 1000};
	struct wt_service *service = context;
	struct wt_refusal refusal = {0};
	char text[400];
	bool done = false;
	int64_t bytes = 0;
	(void)fd;
	(void)what;
	if (wt_store_backup_step(&service->copy, &done, &bytes, text, sizeof text) != WT_STORE_OK) {
		wt_rpc_refuse(&refusal, WT_RPC_TRY_AGAIN, "%s", text);
		wt_log(WT_LOG_WARNING, "backup: %s", text);
		wt_control_refuse(&service->copy_ticket, &refusal);
		end_backup(service);
	} else if (done) {
		wt_log(WT_LOG_NOTICE, "backup written to %s", service->copy_path);
		json_t *result = json_pack("{s:s,s:I}", "file", service->copy_path, "bytes",
					   (json_int_t)bytes);
		wt_control_reply(&service->copy_ticket, wt_desk_dress(service, result));
		end_backup(service);
	} else {
		event_add(service->copy_event, &soon);
	}
}

void wt_desk_backup(struct wt_service *service, struct wt_control_ticket **ticket,
		    const json_t *params)
{
	static const char *const known[] = {"file", NULL};
	static const struct timeval soon = {0, 0};
	struct wt_refusal refusal = {0};
	const char *file = NULL;
	char text[400];
	if (!wt_rpc_check_names(params, known, &refusal) ||
	    !wt_rpc_get_text(params, "file", 3000, true, &file, &refusal))
		goto refused;
	if (service->copy) {
		wt_rpc_refuse(&refusal, WT_RPC_TRY_AGAIN, "a backup to '%s' is being written",
			      service->copy_path);
		goto refused;
	}
	/* An open batch would hold the copy up. */
	wt_service_took_rows(service, true);
	if (wt_store_backup_start(service->store, file, &service->copy, text, sizeof text) !=
	    WT_STORE_OK) {
		wt_rpc_refuse(&refusal, WT_RPC_BAD_PARAM, "%s", text);
		goto refused;
	}
	service->copy_path = strdup(file);
	service->copy_event = evtimer_new(service->base, backup_step, service);
	if (!service->copy_path || !service->copy_event) {
		wt_store_backup_cancel(&service->copy);
		end_backup(service);
		wt_rpc_refuse(&refusal, WT_RPC_FAULT, "out of memory");
		goto refused;
	}
	service->copy_ticket = *ticket;
	*ticket = NULL;
	event_add(service->copy_event, &soon);
	return;
refused:
	wt_control_refuse(ticket, &refusal);
}
