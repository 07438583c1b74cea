/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * What the files of the engine share.  Nobody else includes this.
 */
#ifndef WT_DAEMON_ENGINE_INNER_H
#define WT_DAEMON_ENGINE_INNER_H

#include <stdio.h>

#include "daemon/engine.h"
#include "daemon/seen.h"
#include "lib/wire/journal.h"
#include "lib/wire/pair.h"
#include "lib/wire/rpc.h"

/* Messages remembered to know a resent one, our choice: brokers keep some 20 in flight. */
#define WT_ENGINE_PACKETS 1024

/* The act on its way to the disk. */
struct wt_engine_pending {
	wt_engine_call_fn done; /* NULL: none */
	void *context;
	struct wt_act act;
	char *method;
	json_t *params;  /* as given, for the recording */
	json_t *outlook; /* that came meanwhile, the newest; NULL: none */
	int64_t outlook_unix_ms;
};

struct wt_engine {
	struct wt_engine_setup setup;
	struct wt_site *site;
	struct wt_spool *spool;
	struct wt_seen *seen;
	struct wt_engine_pending pending;
	struct wt_pair *pairs; /* one a station of the configuration */
	struct wt_engine_station *stations;
	int64_t packets[WT_ENGINE_PACKETS]; /* a circle */
	size_t n_packets;
	int64_t next_tick_unix_s;
	bool any_input;             /* a reading or an act came, ever */
	int64_t last_input_unix_ms; /* when the last reading or act came */
	int64_t recorded_unix_ms;   /* of the last entry written there */
	int64_t newest_unix_ms;     /* of what was taken in last, or the last look for ticks */
	FILE *record;               /* NULL: nothing is recorded */
};

/* The moment at which something that came at at_unix_ms is taken in: not before what was taken in
 * already, so that the journal's order is the order of the times kept in the database.  Sets it. */
int64_t wt_engine_in_order(struct wt_engine *engine, int64_t at_unix_ms);
/* See wt_spool_put(). */
void wt_engine_put(struct wt_engine *engine, struct wt_row *row);
void wt_engine_note_message(struct wt_engine *engine, const struct wt_message *message);
/* The part of an outlook that is used, in the form of columns.  New reference, NULL with *why. */
json_t *wt_engine_outlook_columns(const json_t *document, char *why, size_t why_size);

#endif /* WT_DAEMON_ENGINE_INNER_H */
