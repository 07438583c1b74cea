/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * Opening, locking, transactions, small values.
 */
#include "daemon/store.h"

#include <errno.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/statvfs.h>
#include <sys/stat.h>
#include <unistd.h>

#include "daemon/store_inner.h"

/* Order as enum wt_sql. */
static const char *const sql_texts[WT_SQL_COUNT] = {
	[WT_SQL_BEGIN] = "BEGIN IMMEDIATE",
	[WT_SQL_COMMIT] = "COMMIT",
	[WT_SQL_NAME_GET] = "SELECT id FROM name WHERE text = ?1",
	[WT_SQL_NAME_ADD] = "INSERT INTO name(text) VALUES(?1)",
	[WT_SQL_READING_ADD] =
		"INSERT INTO reading(station, room, at_unix_ms, received_unix_ms, temp_c, rh_pct, "
		"flags,"
		" packet) VALUES(?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8)",
	[WT_SQL_READING_AT] = "SELECT 1 FROM reading WHERE at_unix_ms = ?1 AND station = ?2"
			      " AND temp_c IS ?3 AND rh_pct IS ?4 LIMIT 1",
	[WT_SQL_SCALE_ADD] = "INSERT INTO scale_reading(scale, at_unix_ms, kg) VALUES(?1, ?2, ?3)",
	[WT_SQL_ACT_ADD] = "INSERT INTO act(received_unix_ms, method, params) VALUES(?1, ?2, ?3)",
	[WT_SQL_CLOSING_ADD] = "INSERT INTO closing(at_unix_s, document) VALUES(?1, ?2)",
	[WT_SQL_FORECAST_ADD] = "INSERT OR REPLACE INTO forecast VALUES(?1, ?2, ?3, ?4, ?5, ?6, "
				"?7, ?8, ?9, ?10, ?11,"
				" ?12, ?13, ?14)",
	[WT_SQL_AIR_ADD] = "INSERT OR REPLACE INTO air_forecast VALUES(?1, ?2, ?3, ?4, ?5, ?6, ?7, "
			   "?8, ?9, ?10,"
			   " ?11, ?12, ?13)",
	[WT_SQL_OUTLOOK_ADD] = "INSERT INTO outlook(received_unix_s, document) VALUES(?1, ?2)",
	[WT_SQL_SET] = "INSERT OR REPLACE INTO value(name, text) VALUES(?1, ?2)",
	[WT_SQL_UNSET] = "DELETE FROM value WHERE name = ?1",
	[WT_SQL_GET] = "SELECT text FROM value WHERE name = ?1",
	[WT_SQL_EACH_READING] =
		"SELECT s.text, r.text, at_unix_ms, received_unix_ms, temp_c, rh_pct, flags"
		" FROM reading CROSS JOIN name s ON s.id = station CROSS JOIN name r ON r.id = room"
		" WHERE at_unix_ms >= ?1 AND received_unix_ms <= ?2 ORDER BY reading.id",
	[WT_SQL_EACH_SCALE] =
		"SELECT n.text, at_unix_ms, kg FROM scale_reading CROSS JOIN name n ON n.id = scale"
		" WHERE at_unix_ms BETWEEN ?1 AND ?2 ORDER BY scale_reading.id",
	[WT_SQL_EACH_ACT] = "SELECT id, received_unix_ms, method, params FROM act"
			    " WHERE received_unix_ms BETWEEN ?1 AND ?2 ORDER BY id",
	[WT_SQL_EACH_CLOSING] = "SELECT at_unix_s, document FROM closing"
				" WHERE at_unix_s * 1000 BETWEEN ?1 AND ?2 ORDER BY id",
	[WT_SQL_EACH_OUTLOOK] = "SELECT received_unix_s, document FROM outlook"
				" WHERE received_unix_s * 1000 BETWEEN ?1 AND ?2 ORDER BY id",
	[WT_SQL_PACKETS] =
		"SELECT packet FROM (SELECT id, packet FROM reading ORDER BY id DESC LIMIT ?1)"
		" WHERE packet IS NOT NULL ORDER BY id",
	[WT_SQL_PAGE_READINGS] =
		"SELECT s.text, r.text, at_unix_ms, received_unix_ms, temp_c, rh_pct, flags,"
		" at_unix_ms, station, reading.id"
		" FROM reading CROSS JOIN name s ON s.id = station CROSS JOIN name r ON r.id = room"
		" WHERE (at_unix_ms, station, reading.id) > (?1, ?2, ?3)"
		" AND at_unix_ms >= ?4 AND received_unix_ms <= ?5"
		" ORDER BY at_unix_ms, station, reading.id LIMIT ?6",
	[WT_SQL_PAGE_FORECASTS] = "SELECT *, issued_unix_s, load, 0 FROM forecast"
				  " WHERE (issued_unix_s, load) > (?1, ?2) AND ?3 IS NOT NULL"
				  " AND issued_unix_s * 1000 >= ?4 AND issued_unix_s * 1000 <= ?5"
				  " ORDER BY issued_unix_s, load LIMIT ?6",
	[WT_SQL_PAGE_AIR] = "SELECT issued_unix_s, n.text, lead_s, temp_p10_c, temp_p25_c, "
			    "temp_p50_c, temp_p75_c,"
			    " temp_p90_c, vapour_p10_pa, vapour_p25_pa, vapour_p50_pa, "
			    "vapour_p75_pa, vapour_p90_pa,"
			    " issued_unix_s, room, lead_s"
			    " FROM air_forecast CROSS JOIN name n ON n.id = room"
			    " WHERE (issued_unix_s, room, lead_s) > (?1, ?2, ?3)"
			    " AND issued_unix_s * 1000 >= ?4 AND issued_unix_s * 1000 <= ?5"
			    " ORDER BY issued_unix_s, room, lead_s LIMIT ?6",
	[WT_SQL_FORECAST_AT] = "SELECT *, 0, 0, 0 FROM forecast"
			       " WHERE issued_unix_s BETWEEN ?1 AND ?2 AND load = ?3"
			       " ORDER BY issued_unix_s DESC LIMIT 1",
	[WT_SQL_THIN] =
		"DELETE FROM reading WHERE at_unix_ms >= ?1 AND at_unix_ms < ?2 AND id NOT IN"
		" (SELECT min(id) FROM reading WHERE at_unix_ms >= ?1 AND at_unix_ms < ?2"
		"  GROUP BY station, at_unix_ms / 900000)",
	[WT_SQL_FORGET_OUTLOOKS] = "DELETE FROM outlook WHERE received_unix_s < ?1",
	/* 64: WT_FLAG_CLOCK_UNSURE */
	[WT_SQL_CORRECT] = "UPDATE reading SET at_unix_ms = at_unix_ms + ?1,"
			   " received_unix_ms = received_unix_ms + ?1, flags = flags & ~64"
			   " WHERE id >= ?2 AND flags & 64",
	[WT_SQL_OLDEST] = "SELECT min(at_unix_ms) FROM reading WHERE at_unix_ms >= ?1",
};

static bool transient(int rc)
{
	switch (rc & 0xff) {
	case SQLITE_BUSY:
	case SQLITE_LOCKED:
	case SQLITE_FULL:
	case SQLITE_IOERR:
	case SQLITE_NOMEM:
	case SQLITE_READONLY:
	case SQLITE_CANTOPEN:
	case SQLITE_INTERRUPT:
		return true;
	default:
		return false;
	}
}

enum wt_store_result wt_store_fail(struct wt_store *store, int rc, const char *doing)
{
	const char *detail = store->db && sqlite3_errcode(store->db) != SQLITE_OK
				     ? sqlite3_errmsg(store->db)
				     : sqlite3_errstr(rc);
	snprintf(store->error, sizeof store->error, "%s: cannot %s: %s", store->path, doing,
		 (rc & 0xff) == SQLITE_FULL ? "the disk is full" : detail);
	if ((rc & 0xff) == SQLITE_CORRUPT || (rc & 0xff) == SQLITE_NOTADB)
		return WT_STORE_DAMAGED;
	return transient(rc) ? WT_STORE_BUSY : WT_STORE_FATAL;
}

const char *wt_store_error(const struct wt_store *store)
{
	return store->error;
}

sqlite3_stmt *wt_store_sql(struct wt_store *store, enum wt_sql which)
{
	sqlite3_stmt **statement = &store->statements[which];
	if (!*statement) {
		int rc = sqlite3_prepare_v3(store->db, sql_texts[which], -1,
					    SQLITE_PREPARE_PERSISTENT, statement, NULL);
		if (rc != SQLITE_OK) {
			wt_store_fail(store, rc, "prepare a statement");
			return NULL;
		}
	}
	sqlite3_reset(*statement);
	sqlite3_clear_bindings(*statement);
	return *statement;
}

enum wt_store_result wt_store_run(struct wt_store *store, sqlite3_stmt *statement,
				  const char *doing)
{
	if (!statement)
		return wt_store_fail(store, sqlite3_errcode(store->db), doing);
	int rc = sqlite3_step(statement);
	enum wt_store_result result = WT_STORE_OK;
	if (rc != SQLITE_DONE && rc != SQLITE_ROW)
		result = wt_store_fail(store, rc, doing);
	sqlite3_reset(statement);
	return result;
}

enum wt_store_result wt_store_begin(struct wt_store *store)
{
	return wt_store_run(store, wt_store_sql(store, WT_SQL_BEGIN), "begin a transaction");
}

void wt_store_rollback(struct wt_store *store)
{
	/* A full disk has rolled back by itself; a second rollback would be an error. */
	if (!sqlite3_get_autocommit(store->db))
		sqlite3_exec(store->db, "ROLLBACK", NULL, NULL, NULL);
	store->readings -= store->uncommitted;
	store->uncommitted = 0;
	/* Names first met in what is gone now have no row any more. */
	for (size_t i = 0; i < store->n_names; i++)
		free(store->names[i].text);
	store->n_names = 0;
}

enum wt_store_result wt_store_commit(struct wt_store *store)
{
	enum wt_store_result result =
		wt_store_run(store, wt_store_sql(store, WT_SQL_COMMIT), "commit");
	if (result != WT_STORE_OK)
		wt_store_rollback(store);
	store->uncommitted = 0;
	return result;
}

enum wt_store_result wt_store_set(struct wt_store *store, const char *name, const char *value)
{
	sqlite3_stmt *statement = wt_store_sql(store, value ? WT_SQL_SET : WT_SQL_UNSET);
	if (statement) {
		sqlite3_bind_text(statement, 1, name, -1, SQLITE_STATIC);
		if (value)
			sqlite3_bind_text(statement, 2, value, -1, SQLITE_STATIC);
	}
	return wt_store_run(store, statement, "keep a value");
}

char *wt_store_get(struct wt_store *store, const char *name)
{
	sqlite3_stmt *statement = wt_store_sql(store, WT_SQL_GET);
	char *value = NULL;
	if (!statement)
		return NULL;
	sqlite3_bind_text(statement, 1, name, -1, SQLITE_STATIC);
	if (sqlite3_step(statement) == SQLITE_ROW)
		value = strdup((const char *)sqlite3_column_text(statement, 0));
	sqlite3_reset(statement);
	return value;
}

static int64_t ask_int(struct wt_store *store, const char *sql)
{
	sqlite3_stmt *statement = NULL;
	int64_t value = 0;
	if (sqlite3_prepare_v2(store->db, sql, -1, &statement, NULL) == SQLITE_OK &&
	    sqlite3_step(statement) == SQLITE_ROW)
		value = sqlite3_column_int64(statement, 0);
	sqlite3_finalize(statement);
	return value;
}

bool wt_store_is_empty(struct wt_store *store)
{
	return ask_int(store, "SELECT EXISTS(SELECT 1 FROM reading) + EXISTS(SELECT 1 FROM act)"
			      " + EXISTS(SELECT 1 FROM forecast) + EXISTS(SELECT 1 FROM outlook)"
			      " + EXISTS(SELECT 1 FROM air_forecast)") == 0;
}

void wt_store_facts(struct wt_store *store, struct wt_store_facts *out)
{
	struct stat file = {0};
	struct statvfs system = {0};
	char *log = sqlite3_mprintf("%s-wal", store->path);
	*out = (struct wt_store_facts){.free_bytes = -1, .readings = store->readings};
	if (stat(store->path, &file) == 0)
		out->database_bytes = file.st_size;
	if (log && stat(log, &file) == 0)
		out->database_bytes += file.st_size;
	if (statvfs(store->path, &system) == 0)
		out->free_bytes = (int64_t)system.f_bavail * (int64_t)system.f_frsize;
	sqlite3_free(log);
}

/* Takes the lock for good, sets what holds for the connection. */
static int take_file(struct wt_store *store)
{
	/* A reading changes two pages, and each change is written whole: small pages spare the disk
	 * (our choice; a file that is there already keeps its own size). */
	static const char *const pragmas = "PRAGMA page_size=2048;"
					   "PRAGMA locking_mode=EXCLUSIVE;"
					   "PRAGMA auto_vacuum=INCREMENTAL;"
					   "PRAGMA journal_mode=WAL;"
					   "PRAGMA synchronous=FULL;"
					   "PRAGMA foreign_keys=OFF;"
					   "PRAGMA wal_autocheckpoint=2000;"
					   "PRAGMA cache_size=-512;"
					   "PRAGMA journal_size_limit=4194304;"
					   "BEGIN EXCLUSIVE; COMMIT";
	int rc = sqlite3_open_v2(store->path, &store->db,
				 SQLITE_OPEN_READWRITE | SQLITE_OPEN_CREATE | SQLITE_OPEN_NOMUTEX,
				 NULL);
	if (rc == SQLITE_OK)
		rc = sqlite3_extended_result_codes(store->db, 1);
	if (rc == SQLITE_OK)
		rc = sqlite3_busy_timeout(store->db, 1000);
	if (rc == SQLITE_OK)
		rc = sqlite3_exec(store->db, pragmas, NULL, NULL, NULL);
	return rc;
}

static bool check_quick(struct wt_store *store)
{
	sqlite3_stmt *statement = NULL;
	bool fine = false;
	if (sqlite3_prepare_v2(store->db, "PRAGMA quick_check(1)", -1, &statement, NULL) ==
		    SQLITE_OK &&
	    sqlite3_step(statement) == SQLITE_ROW)
		fine = strcmp((const char *)sqlite3_column_text(statement, 0), "ok") == 0;
	sqlite3_finalize(statement);
	return fine;
}

static void drop_connection(struct wt_store *store)
{
	for (size_t i = 0; i < WT_SQL_COUNT; i++) {
		sqlite3_finalize(store->statements[i]);
		store->statements[i] = NULL;
	}
	sqlite3_close(store->db);
	store->db = NULL;
}

static void free_store(struct wt_store *store)
{
	drop_connection(store);
	for (size_t i = 0; i < store->n_names; i++)
		free(store->names[i].text);
	free(store->names);
	free(store->path);
	free(store);
}

/* Moves a damaged file and its log away under the first free name; never deletes. */
static bool move_aside(const char *path, char *text, size_t text_size)
{
	static const char *const endings[] = {"", "-wal", "-shm", "-journal"};
	char target[4096], source[4096];
	int number = 1;
	do
		snprintf(target, sizeof target, "%s.damaged-%d", path, number++);
	while (access(target, F_OK) == 0 && number < 10000);
	number--;
	for (size_t i = 0; i < sizeof endings / sizeof endings[0]; i++) {
		snprintf(source, sizeof source, "%s%s", path, endings[i]);
		snprintf(target, sizeof target, "%s.damaged-%d%s", path, number, endings[i]);
		if (rename(source, target) != 0 && (i == 0 || errno != ENOENT)) {
			snprintf(text, text_size, "%s is damaged and cannot be set aside: %s", path,
				 strerror(errno));
			return false;
		}
	}
	snprintf(text, text_size,
		 "%s was damaged; it is kept as %s.damaged-%d and a fresh one was begun", path,
		 path, number);
	return true;
}

/* rc of opening and checking; SQLITE_CORRUPT when the check after an unclean stop fails. */
static int open_checked(struct wt_store *store)
{
	int rc = take_file(store);
	if (rc != SQLITE_OK)
		return rc;
	if (ask_int(store, "SELECT count(*) FROM sqlite_schema WHERE name = 'value'") == 0)
		return ask_int(store, "PRAGMA page_count") > 0 && !check_quick(store)
			       ? SQLITE_CORRUPT
			       : SQLITE_OK;
	char *clean = wt_store_get(store, "clean_stop");
	bool check = !clean || strcmp(clean, "1") != 0;
	free(clean);
	return check && !check_quick(store) ? SQLITE_CORRUPT : SQLITE_OK;
}

static enum wt_store_result open_failed(struct wt_store *store, int rc, char *text,
					size_t text_size)
{
	if ((rc & 0xff) == SQLITE_BUSY || (rc & 0xff) == SQLITE_LOCKED) {
		snprintf(text, text_size,
			 "%s is in use: another witherd holds it; only one may run on a database",
			 store->path);
		return WT_STORE_LOCKED;
	}
	enum wt_store_result result = wt_store_fail(store, rc, "open the database");
	snprintf(text, text_size, "%s", store->error);
	return result;
}

enum wt_store_result wt_store_open(const char *path, struct wt_store **out, bool *set_aside,
				   char *text, size_t text_size)
{
	struct wt_store *store = calloc(1, sizeof *store);
	enum wt_store_result result = WT_STORE_FATAL;
	*set_aside = false;
	if (!store || !(store->path = strdup(path))) {
		snprintf(text, text_size, "out of memory");
		free(store);
		return WT_STORE_BUSY;
	}
	int rc = open_checked(store);
	if ((rc & 0xff) == SQLITE_CORRUPT || (rc & 0xff) == SQLITE_NOTADB) {
		drop_connection(store);
		if (!move_aside(path, text, text_size))
			goto out;
		*set_aside = true;
		rc = open_checked(store);
	}
	if (rc != SQLITE_OK) {
		result = open_failed(store, rc, text, text_size);
		goto out;
	}
	char sentence[512] = "";
	result = wt_store_migrate(store, sentence, sizeof sentence);
	if (result == WT_STORE_OK)
		result = wt_store_set(store, "clean_stop", "0");
	if (result != WT_STORE_OK) {
		snprintf(text, text_size, "%s", sentence[0] ? sentence : store->error);
		goto out;
	}
	store->first_id = ask_int(store, "SELECT coalesce(max(id), 0) + 1 FROM reading");
	store->readings = ask_int(store, "SELECT count(*) FROM reading");
	*out = store;
	return WT_STORE_OK;
out:
	free_store(store);
	return result;
}

void wt_store_close(struct wt_store **store)
{
	if (!*store)
		return;
	wt_store_rollback(*store);
	/* When this fails the next start only checks the file once more. */
	(void)wt_store_set(*store, "clean_stop", "1");
	free_store(*store);
	*store = NULL;
}
