/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "daemon/spool.h"

#include <stdlib.h>
#include <string.h>

#include "daemon/log.h"

struct wt_spool {
	struct wt_store *store;
	size_t limit, batch_rows;
	/* A circle of rows: the first n_inserted of n are in the open transaction. */
	struct wt_row *rows;
	size_t capacity, first, n, n_inserted;
	bool open; /* a transaction is open */
	size_t in_transaction;
	enum wt_store_result state;
	uint64_t dropped;
};

struct wt_spool *wt_spool_new(struct wt_store *store, size_t limit, size_t batch_rows)
{
	struct wt_spool *spool = calloc(1, sizeof *spool);
	if (spool)
		*spool =
			(struct wt_spool){.store = store, .limit = limit, .batch_rows = batch_rows};
	return spool;
}

static void clear_row(struct wt_row *row)
{
	free(row->name);
	free(row->room);
	free(row->text);
	json_decref(row->document);
	*row = (struct wt_row){0};
}

static struct wt_row *row_at(struct wt_spool *spool, size_t index)
{
	return &spool->rows[(spool->first + index) % spool->capacity];
}

static void drop_first(struct wt_spool *spool)
{
	clear_row(row_at(spool, 0));
	spool->first = (spool->first + 1) % spool->capacity;
	spool->n--;
	if (spool->n_inserted > 0)
		spool->n_inserted--;
}

void wt_spool_free(struct wt_spool **spool)
{
	if (!*spool)
		return;
	while ((*spool)->n > 0)
		drop_first(*spool);
	free((*spool)->rows);
	free(*spool);
	*spool = NULL;
}

static bool make_room(struct wt_spool *spool)
{
	if (spool->n < spool->capacity)
		return true;
	size_t capacity = spool->capacity ? 2 * spool->capacity : 64;
	struct wt_row *rows = calloc(capacity, sizeof *rows);
	if (!rows)
		return false;
	for (size_t i = 0; i < spool->n; i++)
		rows[i] = *row_at(spool, i);
	free(spool->rows);
	spool->rows = rows;
	spool->capacity = capacity;
	spool->first = 0;
	return true;
}

static enum wt_store_result insert(struct wt_spool *spool, struct wt_row *row, bool *fresh)
{
	struct wt_store *store = spool->store;
	*fresh = true;
	switch (row->kind) {
	case WT_ROW_READING:
		return wt_store_add_reading(store, row->name, row->room, &row->reading, row->packet,
					    fresh);
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
	}
	return WT_STORE_FATAL;
}

/* What was inserted is gone from the file and waits again. */
static void step_back(struct wt_spool *spool, enum wt_store_result state)
{
	wt_store_rollback(spool->store);
	spool->open = false;
	spool->n_inserted = 0;
	spool->in_transaction = 0;
	spool->state = state;
}

static enum wt_store_result open_transaction(struct wt_spool *spool)
{
	if (spool->open)
		return WT_STORE_OK;
	enum wt_store_result result = wt_store_begin(spool->store);
	if (result == WT_STORE_OK)
		spool->open = true;
	else
		step_back(spool, result);
	return result;
}

/* Inserts what is not in the transaction yet; *fresh is the word on the last row. */
static enum wt_store_result insert_waiting(struct wt_spool *spool, bool *fresh)
{
	enum wt_store_result result = open_transaction(spool);
	while (result == WT_STORE_OK && spool->n_inserted < spool->n) {
		struct wt_row *row = row_at(spool, spool->n_inserted);
		result = insert(spool, row, fresh);
		if (result == WT_STORE_FATAL) {
			/* One row that no file will ever take must not hold up the others. */
			wt_log(WT_LOG_ERR, "a row was dropped: %s", wt_store_error(spool->store));
			spool->dropped++;
			result = WT_STORE_OK;
		}
		if (result == WT_STORE_OK) {
			spool->n_inserted++;
			spool->in_transaction++;
		}
	}
	if (result != WT_STORE_OK)
		step_back(spool, result);
	else
		spool->state = WT_STORE_OK;
	return result;
}

bool wt_spool_put(struct wt_spool *spool, struct wt_row *row)
{
	bool fresh = true;
	if (spool->n >= spool->limit && spool->state != WT_STORE_OK) {
		drop_first(spool);
		spool->dropped++;
	}
	if (!make_room(spool)) {
		clear_row(row);
		spool->dropped++;
		return true;
	}
	spool->n++;
	*row_at(spool, spool->n - 1) = *row;
	*row = (struct wt_row){0};
	if (spool->state == WT_STORE_OK && insert_waiting(spool, &fresh) != WT_STORE_OK)
		fresh = true;
	if (spool->batch_rows && spool->in_transaction >= spool->batch_rows)
		(void)wt_spool_commit(spool, true);
	return fresh;
}

enum wt_store_result wt_spool_act(struct wt_spool *spool, struct wt_act *act)
{
	bool fresh = true;
	enum wt_store_result result = insert_waiting(spool, &fresh);
	if (result != WT_STORE_OK)
		return result;
	result = wt_store_add_act(spool->store, act);
	spool->in_transaction++;
	if (result == WT_STORE_OK && !spool->batch_rows)
		return wt_spool_commit(spool, true);
	if (result == WT_STORE_BUSY || result == WT_STORE_DAMAGED)
		step_back(spool, result);
	return result;
}

enum wt_store_result wt_spool_commit(struct wt_spool *spool, bool retry)
{
	bool fresh = true;
	if (spool->state != WT_STORE_OK && !retry)
		return spool->state;
	if (!spool->open && spool->n == 0 && spool->state == WT_STORE_OK)
		return WT_STORE_OK;
	enum wt_store_result result = insert_waiting(spool, &fresh);
	if (result != WT_STORE_OK)
		return result;
	result = wt_store_commit(spool->store);
	spool->open = false;
	spool->in_transaction = 0;
	if (result != WT_STORE_OK) {
		step_back(spool, result);
		return result;
	}
	while (spool->n > 0)
		drop_first(spool);
	spool->n_inserted = 0;
	return WT_STORE_OK;
}

void wt_spool_facts(const struct wt_spool *spool, struct wt_spool_facts *out)
{
	*out = (struct wt_spool_facts){
		.waiting = spool->n, .dropped = spool->dropped, .state = spool->state};
}
