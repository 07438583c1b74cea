/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * What goes into the store.
 */
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "daemon/store_inner.h"

static enum wt_store_result remember_name(struct wt_store *store, const char *text, int64_t id)
{
	struct wt_store_name *names =
		realloc(store->names, (store->n_names + 1) * sizeof *store->names);
	char *copy = strdup(text);
	if (names)
		store->names = names;
	if (!names || !copy) {
		free(copy);
		return wt_store_fail(store, SQLITE_NOMEM, "remember a name");
	}
	store->names[store->n_names++] = (struct wt_store_name){.id = id, .text = copy};
	return WT_STORE_OK;
}

/* The cache may hold names of the open transaction: a rollback empties it. */
static enum wt_store_result name_id(struct wt_store *store, const char *text, int64_t *id)
{
	for (size_t i = 0; i < store->n_names; i++) {
		if (strcmp(store->names[i].text, text) == 0) {
			*id = store->names[i].id;
			return WT_STORE_OK;
		}
	}
	sqlite3_stmt *get = wt_store_sql(store, WT_SQL_NAME_GET);
	if (!get)
		return wt_store_fail(store, sqlite3_errcode(store->db), "look up a name");
	sqlite3_bind_text(get, 1, text, -1, SQLITE_STATIC);
	int rc = sqlite3_step(get);
	if (rc == SQLITE_ROW) {
		*id = sqlite3_column_int64(get, 0);
		sqlite3_reset(get);
		return remember_name(store, text, *id);
	}
	sqlite3_reset(get);
	if (rc != SQLITE_DONE)
		return wt_store_fail(store, rc, "look up a name");
	sqlite3_stmt *add = wt_store_sql(store, WT_SQL_NAME_ADD);
	if (add)
		sqlite3_bind_text(add, 1, text, -1, SQLITE_STATIC);
	enum wt_store_result result = wt_store_run(store, add, "keep a name");
	if (result != WT_STORE_OK)
		return result;
	*id = sqlite3_last_insert_rowid(store->db);
	return remember_name(store, text, *id);
}

static void bind_number(sqlite3_stmt *statement, int column, double value)
{
	if (isfinite(value))
		sqlite3_bind_double(statement, column, value);
	else
		sqlite3_bind_null(statement, column);
}

/* *there: a reading of the same station, time and values is in the store. */
static enum wt_store_result look_for(struct wt_store *store, int64_t station,
				     const struct wt_reading *reading, bool *there)
{
	sqlite3_stmt *at = wt_store_sql(store, WT_SQL_READING_AT);
	if (!at)
		return wt_store_fail(store, sqlite3_errcode(store->db), "look for a reading");
	sqlite3_bind_int64(at, 1, reading->at_unix_ms);
	sqlite3_bind_int64(at, 2, station);
	bind_number(at, 3, reading->temp_c);
	bind_number(at, 4, reading->rh_pct);
	int rc = sqlite3_step(at);
	*there = rc == SQLITE_ROW;
	sqlite3_reset(at);
	return rc == SQLITE_ROW || rc == SQLITE_DONE
		       ? WT_STORE_OK
		       : wt_store_fail(store, rc, "look for a reading");
}

static enum wt_store_result insert_reading(struct wt_store *store, int64_t station, int64_t room,
					   const struct wt_reading *reading, int64_t packet)
{
	sqlite3_stmt *add = wt_store_sql(store, WT_SQL_READING_ADD);
	if (!add)
		return wt_store_fail(store, sqlite3_errcode(store->db), "keep a reading");
	sqlite3_bind_int64(add, 1, station);
	sqlite3_bind_int64(add, 2, room);
	sqlite3_bind_int64(add, 3, reading->at_unix_ms);
	sqlite3_bind_int64(add, 4, reading->received_unix_ms);
	bind_number(add, 5, reading->temp_c);
	bind_number(add, 6, reading->rh_pct);
	sqlite3_bind_int64(add, 7, reading->flags);
	if (packet != 0)
		sqlite3_bind_int64(add, 8, packet);
	return wt_store_run(store, add, "keep a reading");
}

enum wt_store_result wt_store_add_reading(struct wt_store *store, const char *station,
					  const char *room, const struct wt_reading *reading,
					  int64_t packet, bool *fresh)
{
	int64_t station_id = 0, room_id = 0;
	bool there = false;
	enum wt_store_result result = name_id(store, station, &station_id);
	if (result == WT_STORE_OK)
		result = name_id(store, room, &room_id);
	/* Without a time of the station's own, equal values are another reading. */
	if (result == WT_STORE_OK && reading->at_unix_ms != reading->received_unix_ms)
		result = look_for(store, station_id, reading, &there);
	if (result == WT_STORE_OK && !there)
		result = insert_reading(store, station_id, room_id, reading, packet);
	if (result != WT_STORE_OK)
		return result;
	*fresh = !there;
	if (there)
		return WT_STORE_OK;
	store->readings++;
	if (!sqlite3_get_autocommit(store->db))
		store->uncommitted++;
	return WT_STORE_OK;
}

enum wt_store_result wt_store_add_scale_reading(struct wt_store *store, const char *scale,
						int64_t at_unix_ms, double kg)
{
	int64_t id = 0;
	enum wt_store_result result = name_id(store, scale, &id);
	if (result != WT_STORE_OK)
		return result;
	sqlite3_stmt *add = wt_store_sql(store, WT_SQL_SCALE_ADD);
	if (add) {
		sqlite3_bind_int64(add, 1, id);
		sqlite3_bind_int64(add, 2, at_unix_ms);
		sqlite3_bind_double(add, 3, kg);
	}
	return wt_store_run(store, add, "keep a weight of a scale");
}

static char *dump(struct wt_store *store, const json_t *document)
{
	char *text = json_dumps(document, JSON_COMPACT | JSON_SORT_KEYS | JSON_REAL_PRECISION(17));
	if (!text)
		wt_store_fail(store, SQLITE_NOMEM, "write a document");
	return text;
}

enum wt_store_result wt_store_add_act(struct wt_store *store, struct wt_act *act)
{
	char *params = dump(store, act->params);
	if (!params)
		return WT_STORE_BUSY;
	sqlite3_stmt *add = wt_store_sql(store, WT_SQL_ACT_ADD);
	if (add) {
		sqlite3_bind_int64(add, 1, act->received_unix_ms);
		sqlite3_bind_text(add, 2, act->method, -1, SQLITE_STATIC);
		sqlite3_bind_text(add, 3, params, -1, SQLITE_STATIC);
	}
	enum wt_store_result result = wt_store_run(store, add, "keep an act");
	if (result == WT_STORE_OK)
		act->id = sqlite3_last_insert_rowid(store->db);
	free(params);
	return result;
}

static enum wt_store_result add_document(struct wt_store *store, enum wt_sql which,
					 int64_t at_unix_s, const json_t *document,
					 const char *doing)
{
	char *text = dump(store, document);
	if (!text)
		return WT_STORE_BUSY;
	sqlite3_stmt *add = wt_store_sql(store, which);
	if (add) {
		sqlite3_bind_int64(add, 1, at_unix_s);
		sqlite3_bind_text(add, 2, text, -1, SQLITE_STATIC);
	}
	enum wt_store_result result = wt_store_run(store, add, doing);
	free(text);
	return result;
}

enum wt_store_result wt_store_add_closing(struct wt_store *store, int64_t at_unix_s,
					  const json_t *closing)
{
	return add_document(store, WT_SQL_CLOSING_ADD, at_unix_s, closing, "keep a closed load");
}

enum wt_store_result wt_store_add_outlook(struct wt_store *store, int64_t received_unix_s,
					  const json_t *document)
{
	return add_document(store, WT_SQL_OUTLOOK_ADD, received_unix_s, document,
			    "keep an outlook");
}

/* Binds the members of row named by keys; "room" becomes a number of the names. */
static enum wt_store_result bind_row(struct wt_store *store, sqlite3_stmt *statement,
				     const json_t *row, const char *const *keys, size_t n_keys)
{
	for (size_t i = 0; i < n_keys; i++) {
		const json_t *value = json_object_get(row, keys[i]);
		int column = (int)i + 1;
		if (json_is_integer(value))
			sqlite3_bind_int64(statement, column, json_integer_value(value));
		else if (json_is_real(value))
			bind_number(statement, column, json_real_value(value));
		else if (json_is_string(value) && strcmp(keys[i], "room") == 0) {
			int64_t id = 0;
			enum wt_store_result result = name_id(store, json_string_value(value), &id);
			if (result != WT_STORE_OK)
				return result;
			sqlite3_bind_int64(statement, column, id);
		} else if (json_is_string(value))
			sqlite3_bind_text(statement, column, json_string_value(value), -1,
					  SQLITE_STATIC);
	}
	return WT_STORE_OK;
}

static const char *const forecast_keys[] = {"issued_unix_s",
					    "load",
					    "loss_p10_pct",
					    "loss_p50_pct",
					    "loss_p90_pct",
					    "ready_p10_unix_s",
					    "ready_p25_unix_s",
					    "ready_p50_unix_s",
					    "ready_p75_unix_s",
					    "ready_p90_unix_s",
					    "past_p50_unix_s",
					    "p_ready_tonight",
					    "call",
					    "reason"};
#define N_FORECAST_KEYS 14
static const char *const air_keys[] = {
	"issued_unix_s", "room",          "lead_s",       "temp_p10_c",    "temp_p25_c",
	"temp_p50_c",    "temp_p75_c",    "temp_p90_c",   "vapour_p10_pa", "vapour_p25_pa",
	"vapour_p50_pa", "vapour_p75_pa", "vapour_p90_pa"};
#define N_AIR_KEYS 13
static const char *const reading_keys[] = {"station", "room",   "at_unix_s", "received_unix_s",
					   "temp_c",  "rh_pct", "flags"};
#define N_READING_KEYS 7

json_t *wt_store_columns(enum wt_store_table table)
{
	const char *const *keys = table == WT_STORE_READINGS    ? reading_keys
				  : table == WT_STORE_FORECASTS ? forecast_keys
								: air_keys;
	size_t n = table == WT_STORE_READINGS    ? N_READING_KEYS
		   : table == WT_STORE_FORECASTS ? N_FORECAST_KEYS
						 : N_AIR_KEYS;
	json_t *columns = json_array();
	for (size_t i = 0; i < n; i++)
		json_array_append_new(columns, json_string(keys[i]));
	return columns;
}

static enum wt_store_result add_rows(struct wt_store *store, enum wt_sql which, const json_t *rows,
				     const char *const *keys, size_t n_keys)
{
	size_t index;
	const json_t *row;
	json_array_foreach(rows, index, row)
	{
		sqlite3_stmt *add = wt_store_sql(store, which);
		if (!add)
			return wt_store_fail(store, sqlite3_errcode(store->db), "keep a forecast");
		enum wt_store_result result = bind_row(store, add, row, keys, n_keys);
		if (result == WT_STORE_OK)
			result = wt_store_run(store, add, "keep a forecast");
		if (result != WT_STORE_OK)
			return result;
	}
	return WT_STORE_OK;
}

enum wt_store_result wt_store_add_forecasts(struct wt_store *store, const json_t *rows)
{
	bool own = sqlite3_get_autocommit(store->db) != 0;
	enum wt_store_result result = own ? wt_store_begin(store) : WT_STORE_OK;
	if (result != WT_STORE_OK)
		return result;
	result = add_rows(store, WT_SQL_FORECAST_ADD, json_object_get(rows, "forecasts"),
			  forecast_keys, N_FORECAST_KEYS);
	if (result == WT_STORE_OK)
		result = add_rows(store, WT_SQL_AIR_ADD, json_object_get(rows, "air_forecasts"),
				  air_keys, N_AIR_KEYS);
	if (own && result == WT_STORE_OK)
		return wt_store_commit(store);
	if (own)
		wt_store_rollback(store);
	return result;
}
