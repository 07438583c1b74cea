/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * What the files of the store share.  Nobody else includes this.
 */
#ifndef WT_DAEMON_STORE_INNER_H
#define WT_DAEMON_STORE_INNER_H

#include <sqlite3.h>
#include <stdarg.h>

#include "daemon/store.h"

/* One prepared statement each, made at first use and kept. */
enum wt_sql {
	WT_SQL_BEGIN,
	WT_SQL_COMMIT,
	WT_SQL_NAME_GET,
	WT_SQL_NAME_ADD,
	WT_SQL_READING_ADD,
	WT_SQL_READING_AT,
	WT_SQL_SCALE_ADD,
	WT_SQL_ACT_ADD,
	WT_SQL_CLOSING_ADD,
	WT_SQL_FORECAST_ADD,
	WT_SQL_AIR_ADD,
	WT_SQL_OUTLOOK_ADD,
	WT_SQL_SET,
	WT_SQL_UNSET,
	WT_SQL_GET,
	WT_SQL_EACH_READING,
	WT_SQL_EACH_SCALE,
	WT_SQL_EACH_ACT,
	WT_SQL_EACH_CLOSING,
	WT_SQL_EACH_OUTLOOK,
	WT_SQL_PACKETS,
	WT_SQL_PAGE_READINGS,
	WT_SQL_PAGE_FORECASTS,
	WT_SQL_PAGE_AIR,
	WT_SQL_FORECAST_AT,
	WT_SQL_THIN,
	WT_SQL_FORGET_OUTLOOKS,
	WT_SQL_OLDEST,
	WT_SQL_CORRECT,
	WT_SQL_COUNT
};

struct wt_store_name {
	int64_t id;
	char *text;
};

struct wt_store {
	sqlite3 *db;
	char *path;
	sqlite3_stmt *statements[WT_SQL_COUNT];
	struct wt_store_name *names; /* stations, rooms and scales met so far */
	size_t n_names;
	int64_t readings;    /* rows, counted at open and kept */
	int64_t first_id;    /* readings from this on were taken in this run */
	int64_t uncommitted; /* of them in the open transaction */
	char error[512];
};

/* The statement, reset, nothing bound; NULL on failure with store->error set. */
sqlite3_stmt *wt_store_sql(struct wt_store *store, enum wt_sql which);
/* Notes the error of a result code and sorts it into transient and fatal. */
enum wt_store_result wt_store_fail(struct wt_store *store, int rc, const char *doing);
/* Runs a statement that gives no rows, and resets it. */
enum wt_store_result wt_store_run(struct wt_store *store, sqlite3_stmt *statement,
				  const char *doing);
/* Brings an open database to the newest schema; see store_schema.c. */
enum wt_store_result wt_store_migrate(struct wt_store *store, char *text, size_t text_size);

#endif /* WT_DAEMON_STORE_INNER_H */
