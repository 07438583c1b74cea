/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "daemon/keeper.h"

#include <pthread.h>
#include <stdlib.h>

#include "daemon/thread.h"

struct item {
	struct wt_keeper *keeper;
	wt_keeper_work_fn work;
	wt_keeper_done_fn done;
	void *context;
};

struct wt_keeper {
	struct wt_thread *thread;
	struct wt_store *store;
	pthread_mutex_t lock; /* of the facts */
	struct wt_store_facts facts;
};

static bool work(void *context)
{
	struct item *item = context;
	struct wt_keeper *keeper = item->keeper;
	struct wt_store_facts facts;
	bool more = item->work(item->context, keeper->store);
	wt_store_facts(keeper->store, &facts);
	pthread_mutex_lock(&keeper->lock);
	keeper->facts = facts;
	pthread_mutex_unlock(&keeper->lock);
	return more;
}

static void done(void *context, bool ran)
{
	struct item *item = context;
	item->done(item->context, ran);
	free(item);
}

struct wt_keeper *wt_keeper_new(struct event_base *base, struct wt_store *store)
{
	struct wt_keeper *keeper = calloc(1, sizeof *keeper);
	if (!keeper)
		return NULL;
	keeper->store = store;
	wt_store_facts(store, &keeper->facts);
	pthread_mutex_init(&keeper->lock, NULL);
	keeper->thread = wt_thread_new(base);
	if (!keeper->thread)
		wt_keeper_free(&keeper);
	return keeper;
}

void wt_keeper_free(struct wt_keeper **address)
{
	struct wt_keeper *keeper = *address;
	if (!keeper)
		return;
	*address = NULL;
	wt_thread_free(&keeper->thread);
	pthread_mutex_destroy(&keeper->lock);
	free(keeper);
}

bool wt_keeper_put(struct wt_keeper *keeper, bool urgent, wt_keeper_work_fn work_fn,
		   wt_keeper_done_fn done_fn, void *context)
{
	struct item *item = malloc(sizeof *item);
	if (!item)
		return false;
	*item = (struct item){keeper, work_fn, done_fn, context};
	if (wt_thread_put(keeper->thread, urgent, work, done, item))
		return true;
	free(item);
	return false;
}

void wt_keeper_turn(struct wt_keeper *keeper, int wait_ms)
{
	wt_thread_turn(keeper->thread, wait_ms);
}

size_t wt_keeper_waiting(struct wt_keeper *keeper)
{
	return wt_thread_waiting(keeper->thread);
}

double wt_keeper_running_s(struct wt_keeper *keeper)
{
	return wt_thread_running_s(keeper->thread);
}

void wt_keeper_facts(struct wt_keeper *keeper, struct wt_store_facts *out)
{
	pthread_mutex_lock(&keeper->lock);
	*out = keeper->facts;
	pthread_mutex_unlock(&keeper->lock);
}
