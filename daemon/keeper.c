/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "daemon/keeper.h"

#include <pthread.h>
#include <signal.h>
#include <stdlib.h>
#include <sys/eventfd.h>
#include <time.h>
#include <unistd.h>

struct item {
	wt_keeper_work_fn work;
	wt_keeper_done_fn done;
	void *context;
	struct item *next;
};

struct queue {
	struct item *first, **last;
};

struct wt_keeper {
	struct wt_store *store;
	pthread_t thread;
	pthread_mutex_t lock;
	pthread_cond_t wake;  /* the thread: something to do */
	pthread_cond_t ended; /* wt_keeper_turn(): something is ready */
	bool stop;
	struct queue todo, ready;
	size_t waiting;
	struct timespec running_since; /* tv_sec 0: idle */
	struct wt_store_facts facts;
	int fd;
	struct event *event;
};

static void queue_init(struct queue *queue)
{
	queue->first = NULL;
	queue->last = &queue->first;
}

static void queue_put(struct queue *queue, struct item *item)
{
	item->next = NULL;
	*queue->last = item;
	queue->last = &item->next;
}

static void queue_put_first(struct queue *queue, struct item *item)
{
	item->next = queue->first;
	if (!queue->first)
		queue->last = &item->next;
	queue->first = item;
}

static struct item *queue_take(struct queue *queue)
{
	struct item *item = queue->first;
	if (item && !(queue->first = item->next))
		queue->last = &queue->first;
	return item;
}

static void tell_loop(struct wt_keeper *keeper)
{
	uint64_t one = 1;
	ssize_t written = write(keeper->fd, &one, sizeof one);
	(void)written; /* a full counter wakes the loop as well */
	pthread_cond_signal(&keeper->ended);
}

static void *work(void *context)
{
	struct wt_keeper *keeper = context;
	struct wt_store_facts facts;
	sigset_t all;
	/* Signals are for the loop. */
	sigfillset(&all);
	pthread_sigmask(SIG_SETMASK, &all, NULL);
	pthread_mutex_lock(&keeper->lock);
	while (!keeper->stop) {
		struct item *item = queue_take(&keeper->todo);
		if (!item) {
			pthread_cond_wait(&keeper->wake, &keeper->lock);
			continue;
		}
		clock_gettime(CLOCK_MONOTONIC, &keeper->running_since);
		pthread_mutex_unlock(&keeper->lock);
		bool more = item->work(item->context, keeper->store);
		wt_store_facts(keeper->store, &facts);
		pthread_mutex_lock(&keeper->lock);
		keeper->running_since.tv_sec = 0;
		keeper->facts = facts;
		queue_put(more ? &keeper->todo : &keeper->ready, item);
		if (!more)
			tell_loop(keeper);
	}
	pthread_mutex_unlock(&keeper->lock);
	return NULL;
}

static bool end_one(struct wt_keeper *keeper, struct queue *queue, bool ran)
{
	pthread_mutex_lock(&keeper->lock);
	struct item *item = queue_take(queue);
	if (item)
		keeper->waiting--;
	pthread_mutex_unlock(&keeper->lock);
	if (!item)
		return false;
	item->done(item->context, ran);
	free(item);
	return true;
}

static void bring_back(evutil_socket_t fd, short what, void *context)
{
	struct wt_keeper *keeper = context;
	uint64_t count;
	(void)what;
	ssize_t got = read(fd, &count, sizeof count);
	(void)got;
	while (end_one(keeper, &keeper->ready, true))
		;
}

static void release(struct wt_keeper *keeper)
{
	if (keeper->event)
		event_free(keeper->event);
	if (keeper->fd >= 0)
		close(keeper->fd);
	pthread_cond_destroy(&keeper->wake);
	pthread_cond_destroy(&keeper->ended);
	pthread_mutex_destroy(&keeper->lock);
	free(keeper);
}

struct wt_keeper *wt_keeper_new(struct event_base *base, struct wt_store *store)
{
	struct wt_keeper *keeper = calloc(1, sizeof *keeper);
	pthread_condattr_t attributes;
	if (!keeper)
		return NULL;
	keeper->store = store;
	wt_store_facts(store, &keeper->facts);
	pthread_mutex_init(&keeper->lock, NULL);
	pthread_cond_init(&keeper->wake, NULL);
	pthread_condattr_init(&attributes);
	pthread_condattr_setclock(&attributes, CLOCK_MONOTONIC);
	pthread_cond_init(&keeper->ended, &attributes);
	pthread_condattr_destroy(&attributes);
	queue_init(&keeper->todo);
	queue_init(&keeper->ready);
	keeper->fd = eventfd(0, EFD_CLOEXEC | EFD_NONBLOCK);
	if (keeper->fd >= 0)
		keeper->event =
			event_new(base, keeper->fd, EV_READ | EV_PERSIST, bring_back, keeper);
	if (!keeper->event || event_add(keeper->event, NULL) != 0 ||
	    pthread_create(&keeper->thread, NULL, work, keeper) != 0) {
		release(keeper);
		return NULL;
	}
	return keeper;
}

void wt_keeper_free(struct wt_keeper **address)
{
	struct wt_keeper *keeper = *address;
	if (!keeper)
		return;
	*address = NULL;
	pthread_mutex_lock(&keeper->lock);
	keeper->stop = true;
	pthread_cond_signal(&keeper->wake);
	pthread_mutex_unlock(&keeper->lock);
	pthread_join(keeper->thread, NULL);
	while (end_one(keeper, &keeper->ready, true))
		;
	while (end_one(keeper, &keeper->todo, false))
		;
	release(keeper);
}

bool wt_keeper_put(struct wt_keeper *keeper, bool urgent, wt_keeper_work_fn work_fn,
		   wt_keeper_done_fn done, void *context)
{
	struct item *item = malloc(sizeof *item);
	if (!item)
		return false;
	*item = (struct item){.work = work_fn, .done = done, .context = context};
	pthread_mutex_lock(&keeper->lock);
	if (urgent)
		queue_put_first(&keeper->todo, item);
	else
		queue_put(&keeper->todo, item);
	keeper->waiting++;
	pthread_cond_signal(&keeper->wake);
	pthread_mutex_unlock(&keeper->lock);
	return true;
}

void wt_keeper_turn(struct wt_keeper *keeper, int wait_ms)
{
	struct timespec end;
	clock_gettime(CLOCK_MONOTONIC, &end);
	end.tv_nsec += (long)wait_ms * 1000000;
	end.tv_sec += end.tv_nsec / 1000000000;
	end.tv_nsec %= 1000000000;
	pthread_mutex_lock(&keeper->lock);
	while (!keeper->ready.first && keeper->waiting > 0)
		if (pthread_cond_timedwait(&keeper->ended, &keeper->lock, &end) != 0)
			break;
	pthread_mutex_unlock(&keeper->lock);
	while (end_one(keeper, &keeper->ready, true))
		;
}

size_t wt_keeper_waiting(struct wt_keeper *keeper)
{
	pthread_mutex_lock(&keeper->lock);
	size_t waiting = keeper->waiting;
	pthread_mutex_unlock(&keeper->lock);
	return waiting;
}

double wt_keeper_running_s(struct wt_keeper *keeper)
{
	struct timespec now;
	double running_s = 0.0;
	clock_gettime(CLOCK_MONOTONIC, &now);
	pthread_mutex_lock(&keeper->lock);
	if (keeper->running_since.tv_sec != 0)
		running_s = (double)(now.tv_sec - keeper->running_since.tv_sec) +
			    1e-9 * (double)(now.tv_nsec - keeper->running_since.tv_nsec);
	pthread_mutex_unlock(&keeper->lock);
	return running_s;
}

void wt_keeper_facts(struct wt_keeper *keeper, struct wt_store_facts *out)
{
	pthread_mutex_lock(&keeper->lock);
	*out = keeper->facts;
	pthread_mutex_unlock(&keeper->lock);
}
