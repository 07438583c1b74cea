/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * Rows on their way to the store.  While the store takes them they are inserted
 * at once and wait here only for the commit; while it does not (disk full, busy)
 * they wait in order, up to a limit, and are drained when it does again.
 */
#ifndef WT_DAEMON_SPOOL_H
#define WT_DAEMON_SPOOL_H

#include "daemon/store.h"

/* Rows kept while the store is in trouble, our choice: a day of five stations at one reading each
 * 5 s, about 20 MB. */
#define WT_SPOOL_LIMIT 90000

enum wt_row_kind {
	WT_ROW_READING,
	WT_ROW_SCALE,
	WT_ROW_VALUE,
	WT_ROW_FORECASTS,
	WT_ROW_CLOSING,
	WT_ROW_OUTLOOK
};

struct wt_row {
	enum wt_row_kind kind;
	char *name;                /* station, scale or value; owned */
	char *room;                /* of a reading; owned */
	char *text;                /* of a value; owned */
	struct wt_reading reading; /* of a reading */
	int64_t packet;
	int64_t at; /* scale: unix ms; closing, outlook: unix s */
	double kg;
	json_t *document; /* owned */
};

struct wt_spool;

/* batch_rows 0: live, the caller commits; else commits by itself each so many rows. */
struct wt_spool *wt_spool_new(struct wt_store *store, size_t limit, size_t batch_rows);
/* What is not committed is lost: commit before. */
void wt_spool_free(struct wt_spool **spool);

/* Takes over what row holds.  False when the row is in the store already and does not count. */
bool wt_spool_put(struct wt_spool *spool, struct wt_row *row);

/* Keeps an act, and with it everything before; on disk when WT_STORE_OK (save in batches). */
enum wt_store_result wt_spool_act(struct wt_spool *spool, struct wt_act *act);

/* Inserts what waits and commits.  In trouble it tries again when retry is true only. */
enum wt_store_result wt_spool_commit(struct wt_spool *spool, bool retry);

struct wt_spool_facts {
	size_t waiting;   /* rows not committed */
	uint64_t dropped; /* rows lost because the limit was reached or the store refused them */
	enum wt_store_result state;
};
void wt_spool_facts(const struct wt_spool *spool, struct wt_spool_facts *out);

#endif /* WT_DAEMON_SPOOL_H */
