/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * The tables and how an older file becomes a newer one.  user_version counts
 * the steps taken; each step and its number commit together.
 */
#include <stdio.h>
#include <string.h>

#include "daemon/store_inner.h"

/* "Wthr", our choice: tells our files from others. */
#define WT_APPLICATION_ID 0x57746872

static const char *const schema_steps[] = {
	/* 1 */
	"CREATE TABLE name(id INTEGER PRIMARY KEY, text TEXT NOT NULL UNIQUE) STRICT;"
	"CREATE TABLE reading("
	" id INTEGER PRIMARY KEY,"
	" station INTEGER NOT NULL REFERENCES name(id),"
	" room INTEGER NOT NULL REFERENCES name(id),"
	" at_unix_ms INTEGER NOT NULL,"
	" received_unix_ms INTEGER NOT NULL,"
	" temp_c REAL, rh_pct REAL,"
	" flags INTEGER NOT NULL,"
	" packet INTEGER) STRICT;"
	"CREATE INDEX reading_at ON reading(at_unix_ms, station);"
	"CREATE TABLE scale_reading("
	" id INTEGER PRIMARY KEY,"
	" scale INTEGER NOT NULL REFERENCES name(id),"
	" at_unix_ms INTEGER NOT NULL,"
	" kg REAL NOT NULL) STRICT;"
	"CREATE TABLE act("
	" id INTEGER PRIMARY KEY AUTOINCREMENT,"
	" received_unix_ms INTEGER NOT NULL,"
	" method TEXT NOT NULL,"
	" params TEXT NOT NULL) STRICT;"
	"CREATE TABLE closing("
	" id INTEGER PRIMARY KEY,"
	" at_unix_s INTEGER NOT NULL,"
	" document TEXT NOT NULL) STRICT;"
	"CREATE TABLE outlook("
	" id INTEGER PRIMARY KEY,"
	" received_unix_s INTEGER NOT NULL,"
	" document TEXT NOT NULL) STRICT;"
	"CREATE TABLE forecast("
	" issued_unix_s INTEGER NOT NULL, load INTEGER NOT NULL,"
	" loss_p10_pct REAL, loss_p50_pct REAL, loss_p90_pct REAL,"
	" ready_p10_unix_s REAL, ready_p25_unix_s REAL, ready_p50_unix_s REAL,"
	" ready_p75_unix_s REAL, ready_p90_unix_s REAL,"
	" past_p50_unix_s REAL, p_ready_tonight REAL, call TEXT,"
	" PRIMARY KEY (issued_unix_s, load)) STRICT, WITHOUT ROWID;"
	"CREATE TABLE air_forecast("
	" issued_unix_s INTEGER NOT NULL, room INTEGER NOT NULL REFERENCES name(id),"
	" lead_s INTEGER NOT NULL,"
	" temp_p10_c REAL, temp_p25_c REAL, temp_p50_c REAL, temp_p75_c REAL, temp_p90_c REAL,"
	" vapour_p10_pa REAL, vapour_p25_pa REAL, vapour_p50_pa REAL, vapour_p75_pa REAL,"
	" vapour_p90_pa REAL,"
	" PRIMARY KEY (issued_unix_s, room, lead_s)) STRICT, WITHOUT ROWID;"
	"CREATE TABLE value(name TEXT PRIMARY KEY, text TEXT NOT NULL) STRICT, WITHOUT ROWID;",
	/* 2: why a load was called as it was; unknown in what was stored before */
	"ALTER TABLE forecast ADD COLUMN reason TEXT;",
};

#define SCHEMA_VERSION ((int)(sizeof schema_steps / sizeof schema_steps[0]))

static int pragma_int(struct wt_store *store, const char *sql)
{
	sqlite3_stmt *statement = NULL;
	int value = -1;
	if (sqlite3_prepare_v2(store->db, sql, -1, &statement, NULL) == SQLITE_OK &&
	    sqlite3_step(statement) == SQLITE_ROW)
		value = sqlite3_column_int(statement, 0);
	sqlite3_finalize(statement);
	return value;
}

/* A copy of the file as it was, beside it, before a step changes it. */
static enum wt_store_result keep_copy(struct wt_store *store, int version)
{
	char *copy = sqlite3_mprintf("%s.schema-%d", store->path, version);
	if (!copy)
		return wt_store_fail(store, SQLITE_NOMEM, "keep a copy");
	remove(copy);
	sqlite3_stmt *statement = NULL;
	int rc = sqlite3_prepare_v2(store->db, "VACUUM INTO ?1", -1, &statement, NULL);
	if (rc == SQLITE_OK)
		rc = sqlite3_bind_text(statement, 1, copy, -1, SQLITE_STATIC);
	if (rc == SQLITE_OK)
		rc = sqlite3_step(statement);
	sqlite3_finalize(statement);
	sqlite3_free(copy);
	return rc == SQLITE_DONE ? WT_STORE_OK
				 : wt_store_fail(store, rc, "copy the file before migrating it");
}

static enum wt_store_result one_step(struct wt_store *store, int version)
{
	char number[96];
	snprintf(number, sizeof number, "PRAGMA application_id=%d; PRAGMA user_version=%d",
		 WT_APPLICATION_ID, version);
	int rc = sqlite3_exec(store->db, "BEGIN EXCLUSIVE", NULL, NULL, NULL);
	if (rc == SQLITE_OK)
		rc = sqlite3_exec(store->db, schema_steps[version - 1], NULL, NULL, NULL);
	if (rc == SQLITE_OK)
		rc = sqlite3_exec(store->db, number, NULL, NULL, NULL);
	if (rc == SQLITE_OK)
		rc = sqlite3_exec(store->db, "COMMIT", NULL, NULL, NULL);
	if (rc == SQLITE_OK)
		return WT_STORE_OK;
	enum wt_store_result result = wt_store_fail(store, rc, "migrate the database");
	wt_store_rollback(store);
	return result;
}

enum wt_store_result wt_store_migrate(struct wt_store *store, char *text, size_t text_size)
{
	int version = pragma_int(store, "PRAGMA user_version");
	int application = pragma_int(store, "PRAGMA application_id");
	int tables = pragma_int(store, "SELECT count(*) FROM sqlite_schema");
	if (version > SCHEMA_VERSION) {
		snprintf(text, text_size,
			 "%s was written by a newer witherd (schema %d); this one knows schemas up "
			 "to %d",
			 store->path, version, SCHEMA_VERSION);
		return WT_STORE_FATAL;
	}
	if (tables > 0 && application != WT_APPLICATION_ID) {
		snprintf(text, text_size,
			 "%s is a database of another program; name a file of its own",
			 store->path);
		return WT_STORE_FATAL;
	}
	enum wt_store_result result = WT_STORE_OK;
	if (version > 0 && version < SCHEMA_VERSION)
		result = keep_copy(store, version);
	while (result == WT_STORE_OK && version < SCHEMA_VERSION)
		result = one_step(store, ++version);
	if (result != WT_STORE_OK)
		snprintf(text, text_size, "%s", store->error);
	return result;
}
