/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "daemon/spool.h"

#include <assert.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "daemon/log.h"

/* Rows that a circle keeps room for, our choice. */
#define LARGE 4096

/* Rows in a circle, oldest first. */
struct circle {
	struct wt_row *rows;
	size_t capacity, first, n;
};

/* The thread's while a batch is under way, else the loop's. */
struct batch {
	struct wt_row *rows;
	size_t n;
	uint64_t refused;
	enum wt_store_result result;
	char error[512];
};

struct wt_spool {
	struct wt_spool_setup setup;
	struct wt_keeper *keeper;
	struct circle waiting;
	size_t n_forecasts; /* of the rows that wait */
	struct batch batch;
	bool writing; /* the batch is under way */
	bool again;   /* another one is wanted when it is back */
	/* the act under way */
	wt_spool_act_fn act_done;
	void *act_context;
	enum wt_store_result state;
	uint64_t dropped;
	char error[512];
	/* replay */
	bool open; /* a transaction is open */
	size_t in_transaction;
};

/* --- rows ---------------------------------------------------------------------------------- */

static void clear_row(struct wt_row *row)
{
	free(row->name);
	free(row->room);
	free(row->text);
	json_decref(row->document);
	*row = (struct wt_row){0};
}

static struct wt_row *row_at(struct circle *circle, size_t index)
{
	return &circle->rows[(circle->first + index) % circle->capacity];
}

/* Room for n more. */
static bool make_room(struct circle *circle, size_t n)
{
	size_t capacity = circle->capacity ? circle->capacity : 64;
	while (capacity < circle->n + n)
		capacity *= 2;
	if (capacity == circle->capacity)
		return true;
	struct wt_row *rows = calloc(capacity, sizeof *rows);
	if (!rows)
		return false;
	for (size_t i = 0; i < circle->n; i++)
		rows[i] = *row_at(circle, i);
	free(circle->rows);
	circle->rows = rows;
	circle->capacity = capacity;
	circle->first = 0;
	return true;
}

static void drop_first(struct wt_spool *spool)
{
	struct circle *circle = &spool->waiting;
	struct wt_row *row = row_at(circle, 0);
	spool->n_forecasts -= row->kind == WT_ROW_FORECASTS;
	clear_row(row);
	circle->first = (circle->first + 1) % circle->capacity;
	circle->n--;
}

/* The oldest row gives way, but never the act, whose word somebody waits for.  False: there is no
 * other. */
static bool give_way(struct wt_spool *spool)
{
	struct wt_row *oldest = spool->waiting.n ? row_at(&spool->waiting, 0) : NULL;
	if (!oldest || (oldest->kind == WT_ROW_ACT && spool->waiting.n == 1))
		return false;
	if (oldest->kind == WT_ROW_ACT) {
		struct wt_row act = *oldest, *next = row_at(&spool->waiting, 1);
		*oldest = *next;
		*next = act;
	}
	drop_first(spool);
	spool->dropped++;
	return true;
}

/* The oldest forecast gives way: readings cannot be made again, forecasts could. */
static void drop_forecast(struct wt_spool *spool)
{
	for (size_t i = 0; i < spool->waiting.n; i++) {
		struct wt_row *row = row_at(&spool->waiting, i);
		if (row->kind != WT_ROW_FORECASTS)
			continue;
		clear_row(row);
		spool->n_forecasts--;
		spool->dropped++;
		return;
	}
}

/* --- writing ------------------------------------------------------------------------------- */

static enum wt_store_result insert_act(struct wt_store *store, struct wt_row *row)
{
	struct wt_act act = {
		.received_unix_ms = row->at, .method = row->name, .params = row->document};
	enum wt_store_result result = wt_store_add_act(store, &act);
	if (result == WT_STORE_OK)
		row->id = act.id;
	return result;
}

static enum wt_store_result insert(struct wt_store *store, struct wt_row *row)
{
	bool fresh;
	switch (row->kind) {
	case WT_ROW_NONE:
		return WT_STORE_OK;
	case WT_ROW_READING:
		return wt_store_add_reading(store, row->name, row->room, &row->reading, row->packet,
					    &fresh);
	case WT_ROW_SCALE:
		return wt_store_add_scale_reading(store, row->name, row->at, row->kg);
	case WT_ROW_VALUE:
		return wt_store_set(store, row->name, row->text);
	case WT_ROW_FORECASTS:
		return wt_store_add_forecasts(store, row->document);
	case WT_ROW_CLOSING:
		return wt_store_add_closing(store, row->at, row->document);
	case WT_ROW_OUTLOOK:
		return wt_store_add_outlook(store, row->at, row->document);
	case WT_ROW_ACT:
		return insert_act(store, row);
	}
	return WT_STORE_FATAL;
}

/* Passes over a row that no file will ever take: it must not hold up the others. */
static enum wt_store_result insert_or_refuse(struct wt_store *store, struct wt_row *row,
					     uint64_t *refused)
{
	enum wt_store_result result = insert(store, row);
	if (result != WT_STORE_FATAL)
		return result;
	wt_log(WT_LOG_ERR, "a row was dropped: %s", wt_store_error(store));
	++*refused;
	return WT_STORE_OK;
}

static void write_batch(struct batch *batch, struct wt_store *store)
{
	batch->refused = 0;
	batch->result = wt_store_begin(store);
	for (size_t i = 0; batch->result == WT_STORE_OK && i < batch->n; i++)
		batch->result = insert_or_refuse(store, &batch->rows[i], &batch->refused);
	if (batch->result == WT_STORE_OK)
		batch->result = wt_store_commit(store);
	if (batch->result == WT_STORE_OK)
		return;
	snprintf(batch->error, sizeof batch->error, "%s", wt_store_error(store));
	wt_store_rollback(store);
}

static bool write_on_thread(void *context, struct wt_store *store)
{
	struct wt_spool *spool = context;
	write_batch(&spool->batch, store);
	return false;
}

/* All that waits becomes the batch. */
static bool fill_batch(struct wt_spool *spool)
{
	struct batch *batch = &spool->batch;
	size_t n = spool->waiting.n;
	batch->rows = calloc(n ? n : 1, sizeof *batch->rows);
	if (!batch->rows)
		return false;
	for (size_t i = 0; i < n; i++) {
		batch->rows[i] = *row_at(&spool->waiting, i);
		*row_at(&spool->waiting, i) = (struct wt_row){0};
	}
	batch->n = n;
	spool->waiting.n = 0;
	spool->waiting.first = 0;
	spool->n_forecasts = 0;
	/* What a long trouble made large is given back. */
	if (spool->waiting.capacity > LARGE) {
		free(spool->waiting.rows);
		spool->waiting = (struct circle){0};
	}
	return true;
}

static void empty_batch(struct wt_spool *spool)
{
	for (size_t i = 0; i < spool->batch.n; i++)
		clear_row(&spool->batch.rows[i]);
	free(spool->batch.rows);
	spool->batch.rows = NULL;
	spool->batch.n = 0;
}

/* The rows of a failed batch wait again, before those that came meanwhile; an act does not. */
static void take_back(struct wt_spool *spool)
{
	struct batch *batch = &spool->batch;
	struct circle *circle = &spool->waiting;
	if (!make_room(circle, batch->n)) {
		spool->dropped += batch->n;
		return;
	}
	for (size_t i = batch->n; i-- > 0;) {
		struct wt_row *row = &batch->rows[i];
		if (row->kind == WT_ROW_ACT)
			continue;
		circle->first = (circle->first + circle->capacity - 1) % circle->capacity;
		circle->n++;
		spool->n_forecasts += row->kind == WT_ROW_FORECASTS;
		*row_at(circle, 0) = *row;
		*row = (struct wt_row){0};
	}
	while (circle->n > spool->setup.limit && give_way(spool))
		;
	while (spool->n_forecasts > WT_SPOOL_FORECASTS)
		drop_forecast(spool);
}

static void finish_act(struct wt_spool *spool, enum wt_store_result result, int64_t id)
{
	wt_spool_act_fn done = spool->act_done;
	spool->act_done = NULL;
	done(spool->act_context, result, id);
}

static void batch_done(void *context, bool ran)
{
	struct wt_spool *spool = context;
	struct batch *batch = &spool->batch;
	bool act = false, again = spool->again;
	int64_t act_id = 0;
	enum wt_store_result result = ran ? batch->result : WT_STORE_BUSY;
	spool->writing = false;
	spool->again = false;
	spool->state = result;
	for (size_t i = 0; i < batch->n; i++) {
		if (batch->rows[i].kind == WT_ROW_ACT) {
			act = true;
			act_id = batch->rows[i].id;
		}
	}
	if (result == WT_STORE_OK) {
		spool->dropped += batch->refused;
	} else {
		snprintf(spool->error, sizeof spool->error, "%s",
			 ran ? batch->error : "the database is being left");
		take_back(spool);
	}
	empty_batch(spool);
	if (act)
		finish_act(spool, result == WT_STORE_OK && act_id == 0 ? WT_STORE_FATAL : result,
			   act_id);
	if (spool->setup.stored)
		spool->setup.stored(spool->setup.context, result);
	/* An act that waits is to be written or refused now. */
	if (again)
		(void)wt_spool_commit(spool, spool->act_done != NULL);
}

static enum wt_store_result commit_live(struct wt_spool *spool, bool retry)
{
	if (spool->writing) {
		spool->again = true;
		return spool->state;
	}
	if (spool->state != WT_STORE_OK && !retry)
		return spool->state;
	if (spool->setup.storing)
		spool->setup.storing(spool->setup.context);
	/* Nothing to write, and no trouble to try the way out of: all is on disk. */
	if (spool->waiting.n == 0 && spool->state == WT_STORE_OK) {
		if (spool->setup.stored)
			spool->setup.stored(spool->setup.context, WT_STORE_OK);
		return WT_STORE_OK;
	}
	if (!fill_batch(spool))
		return WT_STORE_BUSY;
	spool->writing = true;
	if (spool->keeper && wt_keeper_put(spool->keeper, true, write_on_thread, batch_done, spool))
		return spool->state;
	if (spool->keeper) {
		batch_done(spool, false);
		return spool->state;
	}
	write_batch(&spool->batch, spool->setup.store);
	batch_done(spool, true);
	return spool->state;
}

/* --- replay -------------------------------------------------------------------------------- */

static void replay_failed(struct wt_spool *spool, enum wt_store_result result)
{
	snprintf(spool->error, sizeof spool->error, "%s", wt_store_error(spool->setup.store));
	wt_store_rollback(spool->setup.store);
	spool->open = false;
	spool->in_transaction = 0;
	spool->state = result;
}

static enum wt_store_result commit_replay(struct wt_spool *spool)
{
	if (!spool->open)
		return spool->state;
	enum wt_store_result result = wt_store_commit(spool->setup.store);
	spool->open = false;
	spool->in_transaction = 0;
	if (result != WT_STORE_OK)
		replay_failed(spool, result);
	return result;
}

/* A transaction of many rows, or of fewer that are large. */
static enum wt_store_result insert_replay(struct wt_spool *spool, struct wt_row *row)
{
	enum wt_store_result result = spool->state;
	if (result == WT_STORE_OK && !spool->open) {
		result = wt_store_begin(spool->setup.store);
		spool->open = result == WT_STORE_OK;
	}
	if (result == WT_STORE_OK)
		result = insert_or_refuse(spool->setup.store, row, &spool->dropped);
	if (result != WT_STORE_OK) {
		replay_failed(spool, result);
		return result;
	}
	spool->in_transaction +=
		row->kind == WT_ROW_FORECASTS
			? json_array_size(json_object_get(row->document, "forecasts")) +
				  json_array_size(json_object_get(row->document, "air_forecasts"))
			: 1;
	if (spool->in_transaction >= spool->setup.replay_rows)
		return commit_replay(spool);
	return WT_STORE_OK;
}

/* --- from outside -------------------------------------------------------------------------- */

struct wt_spool *wt_spool_new(const struct wt_spool_setup *setup)
{
	struct wt_spool *spool = calloc(1, sizeof *spool);
	if (spool)
		spool->setup = *setup;
	return spool;
}

void wt_spool_free(struct wt_spool **spool)
{
	if (!*spool)
		return;
	assert(!(*spool)->writing);
	while ((*spool)->waiting.n > 0)
		drop_first(*spool);
	free((*spool)->waiting.rows);
	free(*spool);
	*spool = NULL;
}

void wt_spool_use(struct wt_spool *spool, struct wt_keeper *keeper)
{
	spool->keeper = keeper;
}

/* False for a row that its maker had no memory for. */
static bool is_whole(const struct wt_row *row)
{
	switch (row->kind) {
	case WT_ROW_NONE:
		return true;
	case WT_ROW_READING:
		return row->name && row->room;
	case WT_ROW_SCALE:
		return row->name;
	case WT_ROW_VALUE:
		return row->name && row->text;
	case WT_ROW_FORECASTS:
	case WT_ROW_CLOSING:
	case WT_ROW_OUTLOOK:
		return row->document;
	case WT_ROW_ACT:
		return row->name && row->document;
	}
	return false;
}

void wt_spool_put(struct wt_spool *spool, struct wt_row *row)
{
	if (!is_whole(row)) {
		clear_row(row);
		spool->dropped++;
		return;
	}
	if (spool->setup.replay_rows) {
		(void)insert_replay(spool, row);
		clear_row(row);
		return;
	}
	if (row->kind == WT_ROW_FORECASTS && ++spool->n_forecasts > WT_SPOOL_FORECASTS)
		drop_forecast(spool);
	while (spool->waiting.n + spool->batch.n >= spool->setup.limit && give_way(spool))
		;
	if (!make_room(&spool->waiting, 1)) {
		spool->n_forecasts -= row->kind == WT_ROW_FORECASTS;
		clear_row(row);
		spool->dropped++;
		return;
	}
	*row_at(&spool->waiting, spool->waiting.n++) = *row;
	*row = (struct wt_row){0};
}

void wt_spool_put_act(struct wt_spool *spool, const struct wt_act *act, wt_spool_act_fn done,
		      void *context)
{
	struct wt_row row = {.kind = WT_ROW_ACT,
			     .name = strdup(act->method),
			     .document = json_deep_copy(act->params),
			     .at = act->received_unix_ms};
	assert(!spool->act_done);
	/* The last to come is never the one that gives way.  A copy made without memory may lack
	 * parts.
	 */
	if (!row.name || !json_equal(row.document, act->params) || !make_room(&spool->waiting, 1)) {
		clear_row(&row);
		snprintf(spool->error, sizeof spool->error, "out of memory");
		done(context, WT_STORE_BUSY, 0);
		return;
	}
	spool->act_done = done;
	spool->act_context = context;
	wt_spool_put(spool, &row);
	(void)wt_spool_commit(spool, true);
}

bool wt_spool_withdraw_act(struct wt_spool *spool)
{
	for (size_t i = 0; i < spool->waiting.n; i++) {
		struct wt_row *row = row_at(&spool->waiting, i);
		if (row->kind != WT_ROW_ACT)
			continue;
		clear_row(row);
		spool->act_done = NULL;
		return true;
	}
	return false;
}

struct noted {
	enum wt_store_result result;
	int64_t id;
};

static void note(void *context, enum wt_store_result result, int64_t id)
{
	*(struct noted *)context = (struct noted){result, id};
}

enum wt_store_result wt_spool_act(struct wt_spool *spool, struct wt_act *act)
{
	if (spool->setup.replay_rows) {
		struct wt_row row = {.kind = WT_ROW_ACT,
				     .name = act->method,
				     .document = act->params,
				     .at = act->received_unix_ms};
		enum wt_store_result result = insert_replay(spool, &row);
		act->id = row.id;
		return result == WT_STORE_OK && row.id == 0 ? WT_STORE_FATAL : result;
	}
	assert(!spool->keeper);
	struct noted noted = {.result = WT_STORE_BUSY};
	wt_spool_put_act(spool, act, note, &noted);
	act->id = noted.id;
	return noted.result;
}

enum wt_store_result wt_spool_commit(struct wt_spool *spool, bool retry)
{
	return spool->setup.replay_rows ? commit_replay(spool) : commit_live(spool, retry);
}

void wt_spool_facts(const struct wt_spool *spool, struct wt_spool_facts *out)
{
	*out = (struct wt_spool_facts){.waiting = spool->waiting.n + spool->batch.n,
				       .dropped = spool->dropped,
				       .state = spool->state,
				       .writing = spool->writing,
				       .error = spool->error};
}
