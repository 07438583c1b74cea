/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * The one database file.  One connection, exclusive lock, WAL, synchronous=FULL:
 * when a call that writes returns true outside a batch, the rows are on disk.
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
	WT_STORE_BUSY = -1,  /* transient: full, busy, input or output error: keep and try again */
	WT_STORE_FATAL = -2, /* wrong, newer or damaged file; a fault of ours */
	WT_STORE_LOCKED = -3 /* another daemon holds the file */
};

/* Opens or creates; migrates (backup beside the file first); sets a damaged file aside and starts
 * a fresh one (*set_aside tells).  text receives a sentence on failure. */
enum wt_store_result wt_store_open(const char *path, struct wt_store **out, bool *set_aside,
				   char *text, size_t text_size);
void wt_store_close(struct wt_store **store);
const char *wt_store_error(const struct wt_store *store);

/* Readings are keyed by station name, so that a changed configuration keeps its past.  A second
 * one of the same station and time is ignored; *fresh tells. */
enum wt_store_result wt_store_add_reading(struct wt_store *store, const char *station,
					  const char *room, const struct wt_reading *reading,
					  bool *fresh);
enum wt_store_result wt_store_add_scale_reading(struct wt_store *store, const char *scale,
						int64_t at_unix_ms, double kg);
/* Gives the act its id. */
enum wt_store_result wt_store_add_act(struct wt_store *store, struct wt_act *act);
enum wt_store_result wt_store_add_closing(struct wt_store *store, const json_t *closing);
enum wt_store_result wt_store_add_forecasts(struct wt_store *store, const json_t *rows);
enum wt_store_result wt_store_add_outlook(struct wt_store *store, int64_t received_unix_s,
					  const json_t *document);
/* Small named values: subscriptions, clean stop, http validators. */
enum wt_store_result wt_store_set(struct wt_store *store, const char *name, const char *value);
char *wt_store_get(struct wt_store *store, const char *name); /* malloc'd or NULL */

/* Several writes in one commit.  A failed commit rolls back and leaves no transaction open. */
enum wt_store_result wt_store_begin(struct wt_store *store);
enum wt_store_result wt_store_commit(struct wt_store *store);
void wt_store_rollback(struct wt_store *store);

/* Walks in order of time (acts: of id).  fn returns false to stop.  Rows are borrowed. */
typedef bool (*wt_store_reading_fn)(void *context, const char *station, const char *room,
				    const struct wt_reading *reading);
typedef bool (*wt_store_act_fn)(void *context, const struct wt_act *act);
typedef bool (*wt_store_json_fn)(void *context, const json_t *row);
typedef bool (*wt_store_scale_fn)(void *context, const char *scale, int64_t at_unix_ms, double kg);
enum wt_store_result wt_store_each_reading(struct wt_store *store, int64_t since_unix_ms,
					   wt_store_reading_fn fn, void *context);
enum wt_store_result wt_store_each_scale_reading(struct wt_store *store, int64_t since_unix_ms,
						 wt_store_scale_fn fn, void *context);
enum wt_store_result wt_store_each_act(struct wt_store *store, wt_store_act_fn fn, void *context);
enum wt_store_result wt_store_each_closing(struct wt_store *store, wt_store_json_fn fn,
					   void *context);
/* table: "forecasts" or "air-forecasts"; rows carry the keys of the exports. */
enum wt_store_result wt_store_each_forecast(struct wt_store *store, const char *table,
					    int64_t since_unix_s, wt_store_json_fn fn,
					    void *context);
enum wt_store_result wt_store_each_outlook(struct wt_store *store, int64_t since_unix_s,
					   wt_store_json_fn fn, void *context);

/* Online copy by the same connection, some pages a call; temp file, fsync, rename, checked. */
struct wt_store_backup;
enum wt_store_result wt_store_backup_start(struct wt_store *store, const char *path,
					   struct wt_store_backup **out, char *text,
					   size_t text_size);
enum wt_store_result wt_store_backup_step(struct wt_store_backup **backup, bool *done, char *text,
					  size_t text_size);

/* Thins raw readings older than keep_raw_days to one in 15 min, some rows a call. */
enum wt_store_result wt_store_retain(struct wt_store *store, int64_t now_unix_s, int keep_raw_days,
				     bool *more);

#endif /* WT_DAEMON_STORE_H */
