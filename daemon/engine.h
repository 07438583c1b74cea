/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * The one path on which messages, acts and outlooks reach the site and the
 * store, the same for live running and for replay.  Time enters with each of
 * them; the engine has no clock.
 *
 * Forecasts are issued at ticks: multiples of forecast_every_s from the Unix
 * epoch.  At tick T everything that came at or before T counts.
 */
#ifndef WT_DAEMON_ENGINE_H
#define WT_DAEMON_ENGINE_H

#include <jansson.h>
#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "daemon/config.h"
#include "daemon/site.h"
#include "daemon/spool.h"
#include "daemon/store.h"
#include "lib/wire/payload.h"

struct wt_engine;

/* Live, a clock that says less has not been set: 2025-01-01 (our choice). */
#define WT_CLOCK_FLOOR_UNIX_MS INT64_C(1735689600000)

/* Runs a tick's job and, then or later, gives it back with wt_engine_adopt(). */
typedef void (*wt_engine_tick_fn)(void *context, struct wt_job *job, int64_t tick_unix_s);

struct wt_engine_setup {
	const struct wt_config *config; /* borrowed for the engine's life */
	struct wt_store *store;         /* borrowed */
	bool frozen;                    /* takes nothing in */
	bool replay;                    /* large transactions, every tick issued, no record */
	wt_engine_tick_fn tick;
	/* See struct wt_spool_setup; may be NULL. */
	void (*storing)(void *context);
	void (*stored)(void *context, enum wt_store_result result);
	void *context;
};
/* NULL when out of memory. */
struct wt_engine *wt_engine_new(const struct wt_engine_setup *setup);
void wt_engine_free(struct wt_engine **engine);
struct wt_site *wt_engine_site(struct wt_engine *engine);

/* From now on the store is the keeper's; NULL: the engine's own again.  No batch may be under way.
 */
void wt_engine_use(struct wt_engine *engine, struct wt_keeper *keeper);

/* Brings the site to where it was: everything stored, when frozen that which
 * came up to now_unix_ms. */
enum wt_store_result wt_engine_restore(struct wt_engine *engine, int64_t now_unix_ms);

/* Appends what is taken in from now on to a journal.  false: why tells. */
bool wt_engine_record(struct wt_engine *engine, const char *path, char *why, size_t why_size);

struct wt_message {
	int64_t at_unix_ms; /* when it was received */
	const char *topic;
	const void *payload;
	size_t length;
	bool retained;  /* a stored copy replayed by the broker */
	bool resent;    /* the broker says that it may have come before */
	int64_t packet; /* names the message across a reconnection; 0: cannot be resent */
};
/* Takes in a message; readings are on disk after the next wt_engine_commit(). */
void wt_engine_message(struct wt_engine *engine, const struct wt_message *message);

/* Takes in an act.  True: stored (on disk when live), applied, *result is a new reference.  Not
 * while a keeper is used. */
bool wt_engine_call(struct wt_engine *engine, int64_t at_unix_ms, const char *method,
		    const json_t *params, json_t **result, struct wt_refusal *refusal);

/* The same with a keeper: the act is applied when it is on disk, and then done tells.  result is a
 * new reference, or NULL with a refusal, and then nothing was noted.  One act at a time, and until
 * it is done nothing else is to be taken in: the order of taking in is that of the file. */
typedef void (*wt_engine_call_fn)(void *context, json_t *result, const struct wt_refusal *refusal);
void wt_engine_begin_call(struct wt_engine *engine, int64_t at_unix_ms, const char *method,
			  const json_t *params, wt_engine_call_fn done, void *context);
bool wt_engine_is_calling(const struct wt_engine *engine);
/* Takes the act back: done is not called.  False: it is being written, its fate is open. */
bool wt_engine_withdraw_call(struct wt_engine *engine);

/* Takes in an outdoor forecast, after the act that is under way if one is; false with *why when it
 * is not usable. */
bool wt_engine_outlook(struct wt_engine *engine, int64_t at_unix_ms, const json_t *document,
		       char *why, size_t why_size);

/* Keeps a small named value, see wt_store_set(). */
void wt_engine_keep_value(struct wt_engine *engine, const char *name, const char *value);

/* Issues the ticks before at_unix_ms that are due. */
void wt_engine_advance(struct wt_engine *engine, int64_t at_unix_ms);

/* The job has run: its forecast becomes the present one; that of a tick (tick_unix_s > 0) is
 * stored. */
void wt_engine_adopt(struct wt_engine *engine, struct wt_job **job, int64_t tick_unix_s);

/* See wt_spool_commit(). */
enum wt_store_result wt_engine_commit(struct wt_engine *engine, bool retry);
void wt_engine_spool_facts(const struct wt_engine *engine, struct wt_spool_facts *out);

/* What was seen of a station beside its readings; "last_fault" as in the protocol or null. */
struct wt_engine_station {
	double battery; /* as sent, or NAN */
	uint64_t messages;
	enum wt_payload_fault fault; /* newest, WT_PAYLOAD_FINE: none */
	int64_t fault_unix_ms;
	int64_t fine_unix_ms; /* newest message without fault */
	char quoted[64];
};
const struct wt_engine_station *wt_engine_station(const struct wt_engine *engine, size_t station);

#endif /* WT_DAEMON_ENGINE_H */
