/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * The one database file.  One connection, exclusive lock, WAL, synchronous=FULL:
 * when a call that writes returns WT_STORE_OK outside a batch, the rows are on disk.
 */
#ifndef WT_DAEMON_STORE_H
#define WT_DAEMON_STORE_H

#include <jansson.h>
#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "daemon/site.h"

struct wt_store;

enum wt_store_result {
	WT_STORE_OK = 0,
	WT_STORE_BUSY = -1,   /* transient: full, busy, input or output error: keep and try again */
	WT_STORE_FATAL = -2,  /* wrong or newer file; a row that cannot be kept: a fault of ours */
	WT_STORE_LOCKED = -3, /* another daemon holds the file */
	WT_STORE_DAMAGED = -4 /* the file is damaged: keep, a restart sets it aside */
};

/* Opens or creates; migrates (backup beside the file first); sets a damaged file aside and starts
 * a fresh one (*set_aside tells, text then names the file).  text receives a sentence on failure.
 */
enum wt_store_result wt_store_open(const char *path, struct wt_store **out, bool *set_aside,
				   char *text, size_t text_size);
/* A stop by wt_store_close() counts as clean: the next start does not check the whole file. */
void wt_store_close(struct wt_store **store);
/* The last error in words.  Text lives until the next call. */
const char *wt_store_error(const struct wt_store *store);
/* No reading, act or forecast in it. */
bool wt_store_is_empty(struct wt_store *store);

/* Readings are kept by station name, so that a changed configuration keeps its past.  A reading
 * with a time of the station's own (other than that of receiving) is ignored when one of the same
 * station, time and values is there (*fresh false).  NAN is stored as unknown.  packet names the
 * message (0: none), see wt_store_packets. */
enum wt_store_result wt_store_add_reading(struct wt_store *store, const char *station,
					  const char *room, const struct wt_reading *reading,
					  int64_t packet, bool *fresh);
enum wt_store_result wt_store_add_scale_reading(struct wt_store *store, const char *scale,
						int64_t at_unix_ms, double kg);
/* Gives the act its id. */
enum wt_store_result wt_store_add_act(struct wt_store *store, struct wt_act *act);
enum wt_store_result wt_store_add_closing(struct wt_store *store, int64_t at_unix_s,
					  const json_t *closing);
enum wt_store_result wt_store_add_forecasts(struct wt_store *store, const json_t *rows);
enum wt_store_result wt_store_add_outlook(struct wt_store *store, int64_t received_unix_s,
					  const json_t *document);
/* Small named values: subscriptions, half readings, http validators.  value NULL removes. */
enum wt_store_result wt_store_set(struct wt_store *store, const char *name, const char *value);
char *wt_store_get(struct wt_store *store, const char *name); /* malloc'd or NULL */

/* Several writes in one commit.  A failed commit rolls back and leaves no transaction open. */
enum wt_store_result wt_store_begin(struct wt_store *store);
enum wt_store_result wt_store_commit(struct wt_store *store);
void wt_store_rollback(struct wt_store *store);

/* What was taken in: at >= since, received <= until, in the order of taking.  fn returns false to
 * stop.  Rows are borrowed. */
struct wt_store_span {
	int64_t since_unix_ms, until_unix_ms;
};
typedef bool (*wt_store_reading_fn)(void *context, const char *station, const char *room,
				    const struct wt_reading *reading);
typedef bool (*wt_store_act_fn)(void *context, const struct wt_act *act);
typedef bool (*wt_store_json_fn)(void *context, int64_t at_unix_s, const json_t *row);
typedef bool (*wt_store_scale_fn)(void *context, const char *scale, int64_t at_unix_ms, double kg);
enum wt_store_result wt_store_each_reading(struct wt_store *store, const struct wt_store_span *span,
					   wt_store_reading_fn fn, void *context);
enum wt_store_result wt_store_each_scale_reading(struct wt_store *store,
						 const struct wt_store_span *span,
						 wt_store_scale_fn fn, void *context);
enum wt_store_result wt_store_each_act(struct wt_store *store, const struct wt_store_span *span,
				       wt_store_act_fn fn, void *context);
enum wt_store_result wt_store_each_closing(struct wt_store *store, const struct wt_store_span *span,
					   wt_store_json_fn fn, void *context);
enum wt_store_result wt_store_each_outlook(struct wt_store *store, const struct wt_store_span *span,
					   wt_store_json_fn fn, void *context);

/* The newest `limit` packet names, newest last, into packets; their number. */
size_t wt_store_packets(struct wt_store *store, int64_t *packets, size_t limit);

/* Exports, a page at a time, in order of time. */
enum wt_store_table { WT_STORE_READINGS, WT_STORE_FORECASTS, WT_STORE_AIR_FORECASTS };
/* Where the last page ended; all INT64_MIN: from the beginning. */
struct wt_store_cursor {
	int64_t key[3];
};
void wt_store_cursor_first(struct wt_store_cursor *cursor);
/* Names of the columns: ["at_unix_s", ...].  New reference. */
json_t *wt_store_columns(enum wt_store_table table);
/* Appends at most limit rows, arrays in the order of the columns, to rows; *more tells whether
 * there are others after *cursor, which is moved on. */
enum wt_store_result wt_store_page(struct wt_store *store, enum wt_store_table table,
				   const struct wt_store_span *span, struct wt_store_cursor *cursor,
				   size_t limit, json_t *rows, bool *more);

/* Appends the newest forecast of a load that was issued in [at - slack, at], as a row of a page, if
 * there is one. */
enum wt_store_result wt_store_forecast_at(struct wt_store *store, int64_t load, int64_t at_unix_s,
					  int64_t slack_s, json_t *rows);

/* Online copy by the same connection, some pages a call; temp file, checked, fsync, rename.  A
 * failed step frees the backup and removes the temp file. */
struct wt_store_backup;
enum wt_store_result wt_store_backup_start(struct wt_store *store, const char *path,
					   struct wt_store_backup **out, char *text,
					   size_t text_size);
enum wt_store_result wt_store_backup_step(struct wt_store_backup **backup, bool *done,
					  int64_t *bytes, char *text, size_t text_size);
void wt_store_backup_cancel(struct wt_store_backup **backup);

/* Thins raw readings older than before_unix_s to one a station in 15 min, a day a call, forgets
 * outlooks older than that, and gives pages back to the file system. */
enum wt_store_result wt_store_retain(struct wt_store *store, int64_t before_unix_s, bool *more);

/* Moves the readings of this run that are flagged WT_FLAG_CLOCK_UNSURE by step_ms and takes the
 * flag off. */
enum wt_store_result wt_store_correct_times(struct wt_store *store, int64_t step_ms);

struct wt_store_facts {
	int64_t database_bytes, free_bytes; /* free_bytes: of the file system */
	int64_t readings;
};
void wt_store_facts(struct wt_store *store, struct wt_store_facts *out);

#endif /* WT_DAEMON_STORE_H */
