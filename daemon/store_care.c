/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * Copies while it runs, and thinning of what is old.
 */
#include <errno.h>
#include <fcntl.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

#include "daemon/store_inner.h"

/* Pages of a backup copied in one turn of the loop, our choice: about a millisecond's work. */
#define BACKUP_PAGES 256
#define DAY_MS INT64_C(86400000)

struct wt_store_backup {
	struct wt_store *store;
	sqlite3 *copy;
	sqlite3_backup *handle;
	char *path, *temp;
};

void wt_store_backup_cancel(struct wt_store_backup **backup)
{
	struct wt_store_backup *b = *backup;
	if (!b)
		return;
	if (b->handle)
		sqlite3_backup_finish(b->handle);
	sqlite3_close(b->copy);
	if (b->temp)
		unlink(b->temp);
	free(b->path);
	free(b->temp);
	free(b);
	*backup = NULL;
}

/* True for the names that SQLite keeps beside the database: "FILE-wal" and its like. */
static bool beside_database(const struct wt_store *store, const char *path)
{
	const char *own = strrchr(store->path, '/'), *name = strrchr(path, '/') + 1;
	struct stat here = {0}, there = {0};
	char *folder = strndup(path, (size_t)(name - path));
	char *own_folder =
		own ? strndup(store->path, (size_t)(own + 1 - store->path)) : strdup(".");
	own = own ? own + 1 : store->path;
	size_t length = strlen(own);
	bool same = folder && own_folder && stat(folder, &there) == 0 &&
		    stat(own_folder, &here) == 0 && there.st_dev == here.st_dev &&
		    there.st_ino == here.st_ino;
	free(folder);
	free(own_folder);
	return same && strncmp(name, own, length) == 0 && name[length] == '-';
}

/* Whoever may act may ask for a copy, but it must not cost a file that the daemon could write. */
static bool path_refused(const struct wt_store *store, const char *path, char *text,
			 size_t text_size)
{
	struct stat there = {0};
	if (path[0] != '/') {
		snprintf(text, text_size, "file must be an absolute path, not '%s'", path);
		return true;
	}
	if (lstat(path, &there) == 0) {
		snprintf(text, text_size,
			 "file must be a new name, not '%s', which is there already", path);
		return true;
	}
	if (beside_database(store, path)) {
		snprintf(text, text_size, "file must not be one of the database's own, '%s'", path);
		return true;
	}
	return false;
}

enum wt_store_result wt_store_backup_start(struct wt_store *store, const char *path,
					   struct wt_store_backup **out, char *text,
					   size_t text_size)
{
	if (path_refused(store, path, text, text_size))
		return WT_STORE_FATAL;
	struct wt_store_backup *b = calloc(1, sizeof *b);
	size_t length = strlen(path) + sizeof ".part";
	if (!b || !(b->path = strdup(path)) || !(b->temp = malloc(length))) {
		snprintf(text, text_size, "out of memory");
		wt_store_backup_cancel(&b);
		return WT_STORE_BUSY;
	}
	snprintf(b->temp, length, "%s.part", path);
	b->store = store;
	int fd = open(b->temp, O_WRONLY | O_CREAT | O_TRUNC | O_NOFOLLOW | O_CLOEXEC, 0640);
	if (fd < 0) {
		snprintf(text, text_size, "'%s' cannot be written: %s", b->temp, strerror(errno));
		free(b->temp);
		b->temp = NULL;
		wt_store_backup_cancel(&b);
		return WT_STORE_FATAL;
	}
	close(fd);
	int rc = sqlite3_open_v2(b->temp, &b->copy, SQLITE_OPEN_READWRITE | SQLITE_OPEN_NOMUTEX,
				 NULL);
	if (rc == SQLITE_OK)
		b->handle = sqlite3_backup_init(b->copy, "main", store->db, "main");
	if (!b->handle) {
		snprintf(text, text_size, "'%s' cannot be written: %s", path,
			 sqlite3_errmsg(b->copy));
		wt_store_backup_cancel(&b);
		return WT_STORE_FATAL;
	}
	*out = b;
	return WT_STORE_OK;
}

static bool sync_path(const char *path, int flags)
{
	int fd = open(path, flags | O_CLOEXEC);
	if (fd < 0)
		return false;
	bool fine = fsync(fd) == 0;
	close(fd);
	return fine;
}

static bool copy_is_sound(sqlite3 *copy)
{
	sqlite3_stmt *statement = NULL;
	bool fine = false;
	if (sqlite3_exec(copy, "PRAGMA journal_mode=DELETE", NULL, NULL, NULL) == SQLITE_OK &&
	    sqlite3_prepare_v2(copy, "PRAGMA quick_check(1)", -1, &statement, NULL) == SQLITE_OK &&
	    sqlite3_step(statement) == SQLITE_ROW)
		fine = strcmp((const char *)sqlite3_column_text(statement, 0), "ok") == 0;
	sqlite3_finalize(statement);
	return fine;
}

/* Checked, on disk, under its name: only then does the copy count. */
static bool seal(struct wt_store_backup *b, int64_t *bytes, char *text, size_t text_size)
{
	struct stat there = {0};
	sqlite3_backup_finish(b->handle);
	b->handle = NULL;
	bool sound = copy_is_sound(b->copy);
	sqlite3_close(b->copy);
	b->copy = NULL;
	if (!sound) {
		snprintf(text, text_size, "the copy '%s' failed its check and was removed",
			 b->path);
		return false;
	}
	if (!sync_path(b->temp, O_RDWR) || stat(b->temp, &there) != 0 ||
	    rename(b->temp, b->path) != 0) {
		snprintf(text, text_size, "'%s' cannot be written: %s", b->path, strerror(errno));
		return false;
	}
	*bytes = there.st_size;
	free(b->temp);
	b->temp = NULL;
	char *slash = strrchr(b->path, '/');
	slash[slash == b->path] = '\0';
	sync_path(b->path, O_RDONLY | O_DIRECTORY);
	return true;
}

enum wt_store_result wt_store_backup_step(struct wt_store_backup **backup, bool *done,
					  int64_t *bytes, char *text, size_t text_size)
{
	struct wt_store_backup *b = *backup;
	*done = false;
	int rc = sqlite3_backup_step(b->handle, BACKUP_PAGES);
	if (rc == SQLITE_OK || rc == SQLITE_BUSY || rc == SQLITE_LOCKED)
		return WT_STORE_OK;
	bool fine = false;
	if (rc == SQLITE_DONE)
		fine = seal(b, bytes, text, text_size);
	else
		snprintf(text, text_size, "the copy '%s' could not be written: %s", b->path,
			 sqlite3_errstr(rc));
	*done = fine;
	wt_store_backup_cancel(backup);
	return fine ? WT_STORE_OK : WT_STORE_FATAL;
}

static enum wt_store_result thin_day(struct wt_store *store, int64_t day_ms)
{
	sqlite3_stmt *thin = wt_store_sql(store, WT_SQL_THIN);
	if (thin) {
		sqlite3_bind_int64(thin, 1, day_ms);
		sqlite3_bind_int64(thin, 2, day_ms + DAY_MS);
	}
	int64_t before = sqlite3_total_changes64(store->db);
	enum wt_store_result result = wt_store_run(store, thin, "thin old readings");
	if (result == WT_STORE_OK)
		store->readings -= sqlite3_total_changes64(store->db) - before;
	return result;
}

/* Day of the oldest reading not before from_ms; INT64_MAX when there is none. */
static int64_t oldest_day_ms(struct wt_store *store, int64_t from_ms)
{
	int64_t day_ms = INT64_MAX;
	sqlite3_stmt *oldest = wt_store_sql(store, WT_SQL_OLDEST);
	if (!oldest)
		return day_ms;
	sqlite3_bind_int64(oldest, 1, from_ms);
	if (sqlite3_step(oldest) == SQLITE_ROW && sqlite3_column_type(oldest, 0) != SQLITE_NULL) {
		int64_t at_ms = sqlite3_column_int64(oldest, 0);
		day_ms = at_ms - at_ms % DAY_MS;
	}
	sqlite3_reset(oldest);
	return day_ms;
}

enum wt_store_result wt_store_retain(struct wt_store *store, int64_t before_unix_s, bool *more)
{
	int64_t before_ms = before_unix_s * 1000;
	before_ms -= before_ms % DAY_MS;
	*more = false;
	char *value = wt_store_get(store, "thinned_until_ms");
	int64_t from_ms = value ? strtoll(value, NULL, 10) : 0;
	free(value);
	int64_t day_ms = oldest_day_ms(store, from_ms);
	if (day_ms >= before_ms)
		return WT_STORE_OK;
	char next[32];
	snprintf(next, sizeof next, "%lld", (long long)(day_ms + DAY_MS));
	enum wt_store_result result = wt_store_begin(store);
	if (result != WT_STORE_OK)
		return result;
	result = thin_day(store, day_ms);
	sqlite3_stmt *forget = wt_store_sql(store, WT_SQL_FORGET_OUTLOOKS);
	if (result == WT_STORE_OK) {
		if (forget)
			sqlite3_bind_int64(forget, 1, before_unix_s);
		result = wt_store_run(store, forget, "forget old outlooks");
	}
	if (result == WT_STORE_OK)
		result = wt_store_set(store, "thinned_until_ms", next);
	if (result != WT_STORE_OK) {
		wt_store_rollback(store);
		return result;
	}
	result = wt_store_commit(store);
	/* Pages given back do not matter for what is kept: a failure here is no failure. */
	sqlite3_exec(store->db, "PRAGMA incremental_vacuum(512)", NULL, NULL, NULL);
	*more = result == WT_STORE_OK && oldest_day_ms(store, day_ms + DAY_MS) < before_ms;
	return result;
}

enum wt_store_result wt_store_correct_times(struct wt_store *store, int64_t step_ms)
{
	sqlite3_stmt *correct = wt_store_sql(store, WT_SQL_CORRECT);
	if (correct) {
		sqlite3_bind_int64(correct, 1, step_ms);
		sqlite3_bind_int64(correct, 2, store->first_id);
	}
	return wt_store_run(store, correct, "correct the times of readings");
}
