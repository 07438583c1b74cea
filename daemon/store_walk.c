/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * What comes out of the store: walks in the order of taking, and pages of
 * exports in the order of time.
 */
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "daemon/store_inner.h"

static double column_number(sqlite3_stmt *statement, int column)
{
	return sqlite3_column_type(statement, column) == SQLITE_NULL
		       ? (double)NAN
		       : sqlite3_column_double(statement, column);
}

static const char *column_text(sqlite3_stmt *statement, int column)
{
	const unsigned char *text = sqlite3_column_text(statement, column);
	return text ? (const char *)text : "";
}

static sqlite3_stmt *walk_start(struct wt_store *store, enum wt_sql which,
				const struct wt_store_span *span)
{
	sqlite3_stmt *statement = wt_store_sql(store, which);
	if (statement) {
		sqlite3_bind_int64(statement, 1, span->since_unix_ms);
		sqlite3_bind_int64(statement, 2, span->until_unix_ms);
	}
	return statement;
}

static enum wt_store_result walk_end(struct wt_store *store, sqlite3_stmt *statement, int rc,
				     const char *doing)
{
	enum wt_store_result result = rc == SQLITE_DONE || rc == SQLITE_ROW
					      ? WT_STORE_OK
					      : wt_store_fail(store, rc, doing);
	sqlite3_reset(statement);
	return result;
}

enum wt_store_result wt_store_each_reading(struct wt_store *store, const struct wt_store_span *span,
					   wt_store_reading_fn fn, void *context)
{
	sqlite3_stmt *s = walk_start(store, WT_SQL_EACH_READING, span);
	int rc;
	if (!s)
		return WT_STORE_FATAL;
	while ((rc = sqlite3_step(s)) == SQLITE_ROW) {
		struct wt_reading reading = {
			.at_unix_ms = sqlite3_column_int64(s, 2),
			.received_unix_ms = sqlite3_column_int64(s, 3),
			.temp_c = column_number(s, 4),
			.rh_pct = column_number(s, 5),
			.flags = (unsigned)sqlite3_column_int64(s, 6),
		};
		if (!fn(context, column_text(s, 0), column_text(s, 1), &reading))
			break;
	}
	return walk_end(store, s, rc, "read the readings");
}

enum wt_store_result wt_store_each_scale_reading(struct wt_store *store,
						 const struct wt_store_span *span,
						 wt_store_scale_fn fn, void *context)
{
	sqlite3_stmt *s = walk_start(store, WT_SQL_EACH_SCALE, span);
	int rc;
	if (!s)
		return WT_STORE_FATAL;
	while ((rc = sqlite3_step(s)) == SQLITE_ROW)
		if (!fn(context, column_text(s, 0), sqlite3_column_int64(s, 1),
			sqlite3_column_double(s, 2)))
			break;
	return walk_end(store, s, rc, "read the weights of scales");
}

enum wt_store_result wt_store_each_act(struct wt_store *store, const struct wt_store_span *span,
				       wt_store_act_fn fn, void *context)
{
	sqlite3_stmt *s = walk_start(store, WT_SQL_EACH_ACT, span);
	int rc;
	bool go_on = true;
	if (!s)
		return WT_STORE_FATAL;
	while (go_on && (rc = sqlite3_step(s)) == SQLITE_ROW) {
		struct wt_act act = {
			.id = sqlite3_column_int64(s, 0),
			.received_unix_ms = sqlite3_column_int64(s, 1),
			.method = strdup(column_text(s, 2)),
			.params = json_loads(column_text(s, 3), JSON_DECODE_ANY, NULL),
		};
		if (act.method && act.params)
			go_on = fn(context, &act);
		else
			rc = SQLITE_CORRUPT;
		free(act.method);
		json_decref(act.params);
		if (rc == SQLITE_CORRUPT)
			break;
	}
	return walk_end(store, s, rc, "read the acts");
}

static enum wt_store_result each_document(struct wt_store *store, enum wt_sql which,
					  const struct wt_store_span *span, wt_store_json_fn fn,
					  void *context, const char *doing)
{
	sqlite3_stmt *s = walk_start(store, which, span);
	int rc;
	bool go_on = true;
	if (!s)
		return WT_STORE_FATAL;
	while (go_on && (rc = sqlite3_step(s)) == SQLITE_ROW) {
		json_t *document = json_loads(column_text(s, 1), JSON_DECODE_ANY, NULL);
		if (!document) {
			rc = SQLITE_CORRUPT;
			break;
		}
		go_on = fn(context, sqlite3_column_int64(s, 0), document);
		json_decref(document);
	}
	return walk_end(store, s, rc, doing);
}

enum wt_store_result wt_store_each_closing(struct wt_store *store, const struct wt_store_span *span,
					   wt_store_json_fn fn, void *context)
{
	return each_document(store, WT_SQL_EACH_CLOSING, span, fn, context,
			     "read the closed loads");
}

enum wt_store_result wt_store_each_outlook(struct wt_store *store, const struct wt_store_span *span,
					   wt_store_json_fn fn, void *context)
{
	return each_document(store, WT_SQL_EACH_OUTLOOK, span, fn, context, "read the outlooks");
}

size_t wt_store_packets(struct wt_store *store, int64_t *packets, size_t limit)
{
	sqlite3_stmt *s = wt_store_sql(store, WT_SQL_PACKETS);
	size_t n = 0;
	if (!s)
		return 0;
	sqlite3_bind_int64(s, 1, (int64_t)limit);
	while (n < limit && sqlite3_step(s) == SQLITE_ROW)
		packets[n++] = sqlite3_column_int64(s, 0);
	sqlite3_reset(s);
	return n;
}

void wt_store_cursor_first(struct wt_store_cursor *cursor)
{
	for (int i = 0; i < 3; i++)
		cursor->key[i] = INT64_MIN;
}

/* Milliseconds as seconds: whole where they are whole. */
static json_t *seconds_of_ms(int64_t ms)
{
	return ms % 1000 == 0 ? json_integer(ms / 1000) : json_real((double)ms / 1000.0);
}

/* A reading keeps six decimals: what a converted unit needs, without its rounding noise. */
static json_t *six_decimals(double value)
{
	double scaled = value * 1e6;
	return fabs(scaled) < 9e15 ? json_real(nearbyint(scaled) / 1e6) : json_real(value);
}

static json_t *cell(sqlite3_stmt *s, enum wt_store_table table, int column)
{
	switch (sqlite3_column_type(s, column)) {
	case SQLITE_INTEGER: {
		int64_t value = sqlite3_column_int64(s, column);
		bool ms = table == WT_STORE_READINGS && (column == 2 || column == 3);
		return ms ? seconds_of_ms(value) : json_integer(value);
	}
	case SQLITE_FLOAT: {
		double value = sqlite3_column_double(s, column);
		if (table == WT_STORE_READINGS)
			return six_decimals(value);
		/* Times are kept as real numbers, unknown when beyond the horizon. */
		return value == nearbyint(value) && fabs(value) > 1e6 ? json_integer((int64_t)value)
								      : json_real(value);
	}
	case SQLITE_TEXT:
		return json_string(column_text(s, column));
	default:
		return json_null();
	}
}

static bool append_row(sqlite3_stmt *s, enum wt_store_table table, json_t *rows)
{
	int width = sqlite3_column_count(s) - 3;
	json_t *row = json_array();
	for (int column = 0; row && column < width; column++) {
		if (json_array_append_new(row, cell(s, table, column)) != 0) {
			json_decref(row);
			row = NULL;
		}
	}
	return row && json_array_append_new(rows, row) == 0;
}

enum wt_store_result wt_store_page(struct wt_store *store, enum wt_store_table table,
				   const struct wt_store_span *span, struct wt_store_cursor *cursor,
				   size_t limit, json_t *rows, bool *more)
{
	static const enum wt_sql statements[] = {[WT_STORE_READINGS] = WT_SQL_PAGE_READINGS,
						 [WT_STORE_FORECASTS] = WT_SQL_PAGE_FORECASTS,
						 [WT_STORE_AIR_FORECASTS] = WT_SQL_PAGE_AIR};
	sqlite3_stmt *s = wt_store_sql(store, statements[table]);
	size_t n = 0;
	int rc;
	if (!s)
		return WT_STORE_FATAL;
	for (int i = 0; i < 3; i++)
		sqlite3_bind_int64(s, i + 1, cursor->key[i]);
	sqlite3_bind_int64(s, 4, span->since_unix_ms);
	sqlite3_bind_int64(s, 5, span->until_unix_ms);
	sqlite3_bind_int64(s, 6, (int64_t)limit + 1);
	*more = false;
	while ((rc = sqlite3_step(s)) == SQLITE_ROW) {
		if (n++ == limit) {
			*more = true;
			break;
		}
		int width = sqlite3_column_count(s) - 3;
		if (!append_row(s, table, rows)) {
			rc = SQLITE_NOMEM;
			break;
		}
		for (int i = 0; i < 3; i++)
			cursor->key[i] = sqlite3_column_int64(s, width + i);
	}
	return walk_end(store, s, rc, "read a page");
}

enum wt_store_result wt_store_forecast_at(struct wt_store *store, int64_t load, int64_t at_unix_s,
					  int64_t slack_s, json_t *rows)
{
	sqlite3_stmt *s = wt_store_sql(store, WT_SQL_FORECAST_AT);
	if (!s)
		return WT_STORE_FATAL;
	sqlite3_bind_int64(s, 1, at_unix_s - slack_s);
	sqlite3_bind_int64(s, 2, at_unix_s);
	sqlite3_bind_int64(s, 3, load);
	int rc = sqlite3_step(s);
	if (rc == SQLITE_ROW && !append_row(s, WT_STORE_FORECASTS, rows))
		rc = SQLITE_NOMEM;
	return walk_end(store, s, rc, "read a forecast");
}
