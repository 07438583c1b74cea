/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * Rows on their way to the store.
 *
 * Live they wait in order until a batch of all of them is written and committed, by the keeper's
 * thread where there is one, else at once.  A batch that fails waits again, up to a limit, and is
 * tried again later.  In a replay rows are inserted as they come and committed in large parts.
 */
#ifndef WT_DAEMON_SPOOL_H
#define WT_DAEMON_SPOOL_H

#include "daemon/keeper.h"
#include "daemon/store.h"

/* Rows kept while the store is in trouble, our choice: a day of five stations at one reading each
 * 5 s, about 20 MB. */
#define WT_SPOOL_LIMIT 90000
/* Forecasts of ticks among them, our choice: a day at one each 5 min; some 20 kB each. */
#define WT_SPOOL_FORECASTS 288

enum wt_row_kind {
	WT_ROW_NONE, /* passed over */
	WT_ROW_READING,
	WT_ROW_SCALE,
	WT_ROW_VALUE,
	WT_ROW_FORECASTS,
	WT_ROW_CLOSING,
	WT_ROW_OUTLOOK,
	WT_ROW_ACT /* see wt_spool_put_act() */
};

struct wt_row {
	enum wt_row_kind kind;
	char *name;                /* station, scale or value; method of an act; owned */
	char *room;                /* of a reading; owned */
	char *text;                /* of a value; owned */
	struct wt_reading reading; /* of a reading */
	int64_t packet;
	int64_t at; /* scale, act: unix ms; closing, outlook: unix s */
	double kg;
	json_t *document; /* owned, shared with nobody; params of an act */
	int64_t id;       /* given to an act by the store */
};

struct wt_spool;

struct wt_spool_setup {
	struct wt_store *store;
	size_t limit;
	size_t replay_rows; /* 0: live; else rows of a transaction */
	/* Live, on the loop; may be NULL.  A batch of all rows put so far goes to the disk; it is
	 * there, or it is not. */
	void (*storing)(void *context);
	void (*stored)(void *context, enum wt_store_result result);
	void *context;
};

struct wt_spool *wt_spool_new(const struct wt_spool_setup *setup);
/* What is not committed is lost: commit before, and take the keeper away. */
void wt_spool_free(struct wt_spool **spool);
/* From now on batches are written by it; NULL: by whoever commits.  No batch may be under way. */
void wt_spool_use(struct wt_spool *spool, struct wt_keeper *keeper);

/* Takes over what row holds. */
void wt_spool_put(struct wt_spool *spool, struct wt_row *row);

/* Keeps an act, and with it everything before, at once; on disk when WT_STORE_OK (in a replay with
 * its batch).  Gives the act its id.  Not while a keeper is used. */
enum wt_store_result wt_spool_act(struct wt_spool *spool, struct wt_act *act);

/* Live: the same, and done tells on the loop how it went.  Unless the result is WT_STORE_OK the
 * act is not in the file and will not come there.  One act at a time. */
typedef void (*wt_spool_act_fn)(void *context, enum wt_store_result result, int64_t id);
void wt_spool_put_act(struct wt_spool *spool, const struct wt_act *act, wt_spool_act_fn done,
		      void *context);
/* Takes back an act that is not being written yet: done is not called.  False: too late. */
bool wt_spool_withdraw_act(struct wt_spool *spool);

/* Writes what waits and commits; with a keeper it only begins to, and says how the last batch went.
 * In trouble it tries again when retry is true only. */
enum wt_store_result wt_spool_commit(struct wt_spool *spool, bool retry);

struct wt_spool_facts {
	size_t waiting;   /* rows not committed */
	uint64_t dropped; /* rows lost because the limit was reached or the store refused them */
	enum wt_store_result state;
	bool writing;      /* a batch is under way */
	const char *error; /* of the last failure; lives until the next call */
};
void wt_spool_facts(const struct wt_spool *spool, struct wt_spool_facts *out);

#endif /* WT_DAEMON_SPOOL_H */
