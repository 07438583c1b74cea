/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "daemon/engine.h"

#include <errno.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "daemon/engine_inner.h"
#include "daemon/log.h"
#include "daemon/record.h"

/* One commit for so many rows in replay, our choice: a few milliseconds' work. */
#define REPLAY_BATCH_ROWS 5000
/* After two days without a word no room is forecast any more. */
#define HOLE_S (2 * 86400)
/* Live, ticks missed by more than this are not made up for: the machine slept or its clock was
 * set. */
#define MOST_MISSED_TICKS 3
/* A message may wait so long for the loop, our choice: a disk that stalls takes half a minute. */
#define MOST_WAIT_MS 60000

struct wt_engine *wt_engine_new(const struct wt_engine_setup *setup)
{
	struct wt_engine *engine = calloc(1, sizeof *engine);
	size_t n = setup->config->n_stations;
	if (!engine)
		return NULL;
	engine->setup = *setup;
	engine->site = wt_site_new(setup->config);
	const struct wt_spool_setup spool = {
		.store = setup->store,
		.limit = WT_SPOOL_LIMIT,
		.replay_rows = setup->replay ? REPLAY_BATCH_ROWS : 0,
		.storing = setup->storing,
		.stored = setup->stored,
		.context = setup->context,
	};
	engine->spool = wt_spool_new(&spool);
	engine->seen = wt_seen_new(WT_SEEN_LIMIT);
	engine->pairs = calloc(n ? n : 1, sizeof *engine->pairs);
	engine->stations = calloc(n ? n : 1, sizeof *engine->stations);
	if (!engine->site || !engine->spool || !engine->seen || !engine->pairs ||
	    !engine->stations) {
		wt_engine_free(&engine);
		return NULL;
	}
	for (size_t i = 0; i < n; i++) {
		wt_pair_init(&engine->pairs[i], setup->config->stations[i].expected_every_s);
		engine->stations[i].battery = NAN;
	}
	return engine;
}

static void clear_pending(struct wt_engine *engine)
{
	wt_act_clear(&engine->pending.act);
	free(engine->pending.method);
	json_decref(engine->pending.params);
	json_decref(engine->pending.outlook);
	engine->pending = (struct wt_engine_pending){0};
}

void wt_engine_use(struct wt_engine *engine, struct wt_keeper *keeper)
{
	wt_spool_use(engine->spool, keeper);
}

void wt_engine_free(struct wt_engine **address)
{
	struct wt_engine *engine = *address;
	if (!engine)
		return;
	if (engine->record)
		fclose(engine->record);
	wt_site_free(&engine->site);
	wt_spool_free(&engine->spool);
	wt_seen_free(&engine->seen);
	clear_pending(engine);
	free(engine->pairs);
	free(engine->stations);
	free(engine);
	*address = NULL;
}

struct wt_site *wt_engine_site(struct wt_engine *engine)
{
	return engine->site;
}

bool wt_engine_record(struct wt_engine *engine, const char *path, char *why, size_t why_size)
{
	engine->record = wt_record_open(path, &engine->recorded_unix_ms, why, why_size);
	return engine->record != NULL;
}

/* The journal is a help for replays, not the keeper of anything: the database is.  So a failure is
 * said once and recording ends. */
static void record(struct wt_engine *engine, const struct wt_journal_entry *entry)
{
	struct wt_journal_entry kept = *entry;
	/* What came while the clock was not set has no time to be played at. */
	if (!engine->record || kept.at_unix_ms < WT_CLOCK_FLOOR_UNIX_MS)
		return;
	/* A clock that was set back must not make the journal unreadable. */
	if (kept.at_unix_ms < engine->recorded_unix_ms)
		kept.at_unix_ms = engine->recorded_unix_ms;
	engine->recorded_unix_ms = kept.at_unix_ms;
	char *line = wt_journal_format(&kept);
	if (line && fprintf(engine->record, "%s\n", line) > 0 && fflush(engine->record) == 0) {
		free(line);
		return;
	}
	free(line);
	wt_log(WT_LOG_ERR, "the journal cannot be written any more: %s; recording ends",
	       strerror(errno));
	fclose(engine->record);
	engine->record = NULL;
}

static int64_t next_multiple(int64_t at_unix_ms, int64_t every_s)
{
	int64_t every_ms = every_s * 1000;
	return (at_unix_ms + every_ms - 1) / every_ms * every_s;
}

static bool any_open_load(struct wt_engine *engine, int64_t at_unix_s)
{
	struct wt_refusal refusal;
	json_t *document = wt_site_query(engine->site, "loads", NULL, at_unix_s, &refusal), *load;
	bool open = false;
	size_t index;
	json_array_foreach(json_object_get(document, "loads"), index, load)
	{
		const char *state = json_string_value(json_object_get(load, "state"));
		open |= !state || strcmp(state, "open") == 0;
	}
	json_decref(document);
	return open;
}

/* A journal with a hole of months: ticks without a reading of late and without a load give no
 * rows, so they are passed over. */
static void pass_hole(struct wt_engine *engine, int64_t due_unix_s)
{
	int64_t quiet_from = engine->last_input_unix_ms / 1000 + HOLE_S;
	if (due_unix_s > quiet_from && engine->next_tick_unix_s > quiet_from &&
	    !any_open_load(engine, engine->next_tick_unix_s))
		engine->next_tick_unix_s = due_unix_s;
}

int64_t wt_engine_in_order(struct wt_engine *engine, int64_t at_unix_ms)
{
	int64_t late_ms = engine->newest_unix_ms - at_unix_ms;
	/* A message waits for the loop while a call or a tick goes first; more than that is a clock
	 * that was set back. */
	if (late_ms <= 0 || late_ms > MOST_WAIT_MS)
		engine->newest_unix_ms = at_unix_ms;
	return engine->newest_unix_ms;
}

void wt_engine_advance(struct wt_engine *engine, int64_t at_unix_ms)
{
	at_unix_ms = wt_engine_in_order(engine, at_unix_ms);
	int64_t every_s = engine->setup.config->forecast_every_s;
	int64_t due = next_multiple(at_unix_ms, every_s);
	if (engine->next_tick_unix_s == 0)
		engine->next_tick_unix_s = due;
	/* Nothing to forecast from: those ticks pass. */
	if (!engine->any_input && engine->next_tick_unix_s < due)
		engine->next_tick_unix_s = due;
	if (!engine->setup.replay) {
		/* The clock was set, forwards or back. */
		if (engine->next_tick_unix_s < due - MOST_MISSED_TICKS * every_s)
			engine->next_tick_unix_s = due - every_s;
		if (engine->next_tick_unix_s > due + every_s)
			engine->next_tick_unix_s = due;
	}
	bool looked = false;
	while (engine->next_tick_unix_s * 1000 < at_unix_ms) {
		if (engine->setup.replay && !looked &&
		    engine->next_tick_unix_s > engine->last_input_unix_ms / 1000 + HOLE_S) {
			looked = true;
			pass_hole(engine, due);
			continue;
		}
		int64_t tick_unix_s = engine->next_tick_unix_s;
		engine->next_tick_unix_s += every_s;
		struct wt_job *job = wt_site_job(engine->site, tick_unix_s, true);
		if (job)
			engine->setup.tick(engine->setup.context, job, tick_unix_s);
	}
}

void wt_engine_put(struct wt_engine *engine, struct wt_row *row)
{
	wt_spool_put(engine->spool, row);
}

static void keep_closings(struct wt_engine *engine, int64_t at_unix_s)
{
	json_t *closings = wt_site_take_closings(engine->site);
	size_t index;
	json_t *closing;
	json_array_foreach(closings, index, closing)
	{
		/* A copy: the row may be written by another thread. */
		struct wt_row row = {.kind = WT_ROW_CLOSING,
				     .at = at_unix_s,
				     .document = json_deep_copy(closing)};
		wt_engine_put(engine, &row);
	}
	json_decref(closings);
}

void wt_engine_adopt(struct wt_engine *engine, struct wt_job **job, int64_t tick_unix_s)
{
	wt_site_adopt(engine->site, job);
	if (engine->setup.frozen)
		return;
	if (tick_unix_s > 0) {
		json_t *rows = wt_site_forecast_rows(engine->site);
		struct wt_row row = {.kind = WT_ROW_FORECASTS, .document = rows};
		if (rows)
			wt_engine_put(engine, &row);
	}
	keep_closings(engine,
		      tick_unix_s > 0 ? tick_unix_s : wt_site_forecast_unix_s(engine->site));
	if (!engine->setup.replay)
		(void)wt_engine_commit(engine, false);
}

enum wt_store_result wt_engine_commit(struct wt_engine *engine, bool retry)
{
	return wt_spool_commit(engine->spool, retry);
}

void wt_engine_spool_facts(const struct wt_engine *engine, struct wt_spool_facts *out)
{
	wt_spool_facts(engine->spool, out);
}

const struct wt_engine_station *wt_engine_station(const struct wt_engine *engine, size_t station)
{
	return &engine->stations[station];
}

/* --- acts ---------------------------------------------------------------------------------- */

static bool prepare(struct wt_engine *engine, int64_t at_unix_ms, const char *method,
		    const json_t *params, struct wt_act *act, struct wt_refusal *refusal)
{
	at_unix_ms = wt_engine_in_order(engine, at_unix_ms);
	wt_engine_advance(engine, at_unix_ms);
	if (engine->setup.frozen) {
		wt_rpc_refuse(refusal, WT_RPC_REFUSED,
			      "this daemon shows a past moment (--frozen-at) and notes nothing");
		return false;
	}
	/* A reading is put in its place later; what the maker says of it would not be. */
	if (!engine->setup.replay && at_unix_ms < WT_CLOCK_FLOOR_UNIX_MS) {
		wt_rpc_refuse(refusal, WT_RPC_TRY_AGAIN,
			      "not noted: the clock of this machine is not set; try again when it "
			      "is");
		return false;
	}
	if (!wt_site_prepare(engine->site, method, params, at_unix_ms / 1000, act, refusal))
		return false;
	act->received_unix_ms = at_unix_ms;
	return true;
}

static void refuse_store(struct wt_engine *engine, struct wt_refusal *refusal)
{
	struct wt_spool_facts facts;
	wt_spool_facts(engine->spool, &facts);
	wt_rpc_refuse(refusal, WT_RPC_TRY_AGAIN, "not noted, try again: %s", facts.error);
}

/* The act is stored: it takes effect.  New reference. */
static json_t *apply(struct wt_engine *engine, const struct wt_act *act, const char *method,
		     const json_t *params)
{
	int64_t at_unix_ms = act->received_unix_ms;
	wt_site_apply(engine->site, act);
	engine->any_input = true;
	engine->last_input_unix_ms = at_unix_ms;
	record(engine, &(struct wt_journal_entry){.at_unix_ms = at_unix_ms,
						  .kind = WT_JOURNAL_CALL,
						  .method = (char *)(uintptr_t)method,
						  .params = (json_t *)(uintptr_t)params});
	return wt_site_act_result(engine->site, act, at_unix_ms / 1000);
}

bool wt_engine_call(struct wt_engine *engine, int64_t at_unix_ms, const char *method,
		    const json_t *params, json_t **result, struct wt_refusal *refusal)
{
	struct wt_act act = {0};
	if (!prepare(engine, at_unix_ms, method, params, &act, refusal))
		return false;
	bool stored = wt_spool_act(engine->spool, &act) == WT_STORE_OK;
	if (stored)
		*result = apply(engine, &act, method, params);
	else
		refuse_store(engine, refusal);
	wt_act_clear(&act);
	return stored;
}

/* In the form of columns, taken over. */
static bool take_outlook(struct wt_engine *engine, int64_t at_unix_ms, json_t *columns, char *why,
			 size_t why_size)
{
	at_unix_ms = wt_engine_in_order(engine, at_unix_ms);
	wt_engine_advance(engine, at_unix_ms);
	if (!wt_site_add_outlook(engine->site, columns, at_unix_ms / 1000, why, why_size)) {
		json_decref(columns);
		return false;
	}
	record(engine, &(struct wt_journal_entry){.at_unix_ms = at_unix_ms,
						  .kind = WT_JOURNAL_OUTLOOK,
						  .document = columns});
	/* A copy: the row may be written by another thread. */
	struct wt_row row = {.kind = WT_ROW_OUTLOOK,
			     .at = at_unix_ms / 1000,
			     .document = json_deep_copy(columns)};
	json_decref(columns);
	wt_engine_put(engine, &row);
	return true;
}

/* The act is done or taken back: what waited for it comes now. */
static void take_held_outlook(struct wt_engine *engine, json_t *columns, int64_t at_unix_ms)
{
	char why[256];
	if (columns && !take_outlook(engine, at_unix_ms, columns, why, sizeof why))
		wt_log(WT_LOG_WARNING, "the outlook is not taken: %s", why);
}

static void act_done(void *context, enum wt_store_result result, int64_t id)
{
	struct wt_engine *engine = context;
	struct wt_engine_pending pending = engine->pending;
	struct wt_refusal refusal = {0};
	json_t *document = NULL;
	engine->pending = (struct wt_engine_pending){0};
	if (result == WT_STORE_OK) {
		pending.act.id = id;
		document = apply(engine, &pending.act, pending.method, pending.params);
	} else {
		refuse_store(engine, &refusal);
	}
	wt_act_clear(&pending.act);
	free(pending.method);
	json_decref(pending.params);
	take_held_outlook(engine, pending.outlook, pending.outlook_unix_ms);
	pending.done(pending.context, document, &refusal);
}

void wt_engine_begin_call(struct wt_engine *engine, int64_t at_unix_ms, const char *method,
			  const json_t *params, wt_engine_call_fn done, void *context)
{
	struct wt_refusal refusal = {0};
	struct wt_engine_pending *pending = &engine->pending;
	if (!prepare(engine, at_unix_ms, method, params, &pending->act, &refusal)) {
		done(context, NULL, &refusal);
		return;
	}
	pending->done = done;
	pending->context = context;
	pending->method = strdup(method);
	pending->params = json_deep_copy(params);
	if (!pending->method || (params && !pending->params)) {
		clear_pending(engine);
		wt_rpc_refuse(&refusal, WT_RPC_TRY_AGAIN, "not noted, try again: out of memory");
		done(context, NULL, &refusal);
		return;
	}
	wt_spool_put_act(engine->spool, &pending->act, act_done, engine);
}

bool wt_engine_is_calling(const struct wt_engine *engine)
{
	return engine->pending.done != NULL;
}

bool wt_engine_withdraw_call(struct wt_engine *engine)
{
	if (!wt_engine_is_calling(engine) || !wt_spool_withdraw_act(engine->spool))
		return false;
	json_t *outlook = json_incref(engine->pending.outlook);
	int64_t outlook_unix_ms = engine->pending.outlook_unix_ms;
	clear_pending(engine);
	take_held_outlook(engine, outlook, outlook_unix_ms);
	return true;
}

/* --- others -------------------------------------------------------------------------------- */

bool wt_engine_outlook(struct wt_engine *engine, int64_t at_unix_ms, const json_t *document,
		       char *why, size_t why_size)
{
	json_t *columns = wt_engine_outlook_columns(document, why, why_size);
	if (!columns)
		return false;
	if (!wt_engine_is_calling(engine))
		return take_outlook(engine, at_unix_ms, columns, why, why_size);
	/* Nothing is taken in before the act is: the order of the file. */
	json_decref(engine->pending.outlook);
	engine->pending.outlook = columns;
	engine->pending.outlook_unix_ms = at_unix_ms;
	return true;
}

void wt_engine_keep_value(struct wt_engine *engine, const char *name, const char *value)
{
	struct wt_row row = {.kind = WT_ROW_VALUE, .name = strdup(name), .text = strdup(value)};
	if (row.name && row.text) {
		wt_engine_put(engine, &row);
		return;
	}
	free(row.name);
	free(row.text);
}

void wt_engine_note_message(struct wt_engine *engine, const struct wt_message *message)
{
	record(engine, &(struct wt_journal_entry){.at_unix_ms = message->at_unix_ms,
						  .kind = WT_JOURNAL_MESSAGE,
						  .topic = (char *)(uintptr_t)message->topic,
						  .payload = (char *)(uintptr_t)message->payload,
						  .payload_length = message->length,
						  .retained = message->retained});
}
