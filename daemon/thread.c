/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "daemon/thread.h"

#include <pthread.h>
#include <signal.h>
#include <stdlib.h>
#include <sys/eventfd.h>
#include <unistd.h>

#include "daemon/monotonic.h"

struct item {
	wt_thread_work_fn work;
	wt_thread_done_fn done;
	void *context;
	struct item *next;
};

struct queue {
	struct item *first, **last;
};

struct wt_thread {
	pthread_t id;
	pthread_mutex_t lock;
	pthread_cond_t wake;  /* the thread: something to do */
	pthread_cond_t ended; /* wt_thread_turn(): something is ready */
	bool stop;
	struct queue todo, ready;
	size_t waiting;
	double running_since_s; /* by the monotonic clock; 0: idle */
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

static void tell_loop(struct wt_thread *thread)
{
	wt_wake_loop(thread->fd);
	pthread_cond_signal(&thread->ended);
}

static void *work(void *context)
{
	struct wt_thread *thread = context;
	sigset_t all;
	/* Signals are for the loop. */
	sigfillset(&all);
	pthread_sigmask(SIG_SETMASK, &all, NULL);
	pthread_mutex_lock(&thread->lock);
	while (!thread->stop) {
		struct item *item = queue_take(&thread->todo);
		if (!item) {
			pthread_cond_wait(&thread->wake, &thread->lock);
			continue;
		}
		thread->running_since_s = wt_monotonic_s();
		pthread_mutex_unlock(&thread->lock);
		bool more = item->work(item->context);
		pthread_mutex_lock(&thread->lock);
		thread->running_since_s = 0.0;
		queue_put(more ? &thread->todo : &thread->ready, item);
		if (!more)
			tell_loop(thread);
	}
	pthread_mutex_unlock(&thread->lock);
	return NULL;
}

static bool end_one(struct wt_thread *thread, struct queue *queue, bool ran)
{
	pthread_mutex_lock(&thread->lock);
	struct item *item = queue_take(queue);
	if (item)
		thread->waiting--;
	pthread_mutex_unlock(&thread->lock);
	if (!item)
		return false;
	item->done(item->context, ran);
	free(item);
	return true;
}

static void bring_back(evutil_socket_t fd, short what, void *context)
{
	struct wt_thread *thread = context;
	(void)what;
	wt_wake_heard(fd);
	while (end_one(thread, &thread->ready, true))
		;
}

static void release(struct wt_thread *thread)
{
	if (thread->event)
		event_free(thread->event);
	if (thread->fd >= 0)
		close(thread->fd);
	pthread_cond_destroy(&thread->wake);
	pthread_cond_destroy(&thread->ended);
	pthread_mutex_destroy(&thread->lock);
	free(thread);
}

struct wt_thread *wt_thread_new(struct event_base *base)
{
	struct wt_thread *thread = calloc(1, sizeof *thread);
	if (!thread)
		return NULL;
	pthread_mutex_init(&thread->lock, NULL);
	wt_monotonic_cond_init(&thread->wake);
	wt_monotonic_cond_init(&thread->ended);
	queue_init(&thread->todo);
	queue_init(&thread->ready);
	thread->fd = eventfd(0, EFD_CLOEXEC | EFD_NONBLOCK);
	if (thread->fd >= 0)
		thread->event =
			event_new(base, thread->fd, EV_READ | EV_PERSIST, bring_back, thread);
	if (!thread->event || event_add(thread->event, NULL) != 0 ||
	    pthread_create(&thread->id, NULL, work, thread) != 0) {
		release(thread);
		return NULL;
	}
	return thread;
}

void wt_thread_free(struct wt_thread **address)
{
	struct wt_thread *thread = *address;
	if (!thread)
		return;
	*address = NULL;
	pthread_mutex_lock(&thread->lock);
	thread->stop = true;
	pthread_cond_signal(&thread->wake);
	pthread_mutex_unlock(&thread->lock);
	pthread_join(thread->id, NULL);
	while (end_one(thread, &thread->ready, true))
		;
	while (end_one(thread, &thread->todo, false))
		;
	release(thread);
}

bool wt_thread_put(struct wt_thread *thread, bool urgent, wt_thread_work_fn work_fn,
		   wt_thread_done_fn done, void *context)
{
	struct item *item = malloc(sizeof *item);
	if (!item)
		return false;
	*item = (struct item){.work = work_fn, .done = done, .context = context};
	pthread_mutex_lock(&thread->lock);
	if (urgent)
		queue_put_first(&thread->todo, item);
	else
		queue_put(&thread->todo, item);
	thread->waiting++;
	pthread_cond_signal(&thread->wake);
	pthread_mutex_unlock(&thread->lock);
	return true;
}

void wt_thread_turn(struct wt_thread *thread, int wait_ms)
{
	struct timespec end = wt_monotonic_in_ms(wait_ms);
	pthread_mutex_lock(&thread->lock);
	while (!thread->ready.first && thread->waiting > 0)
		if (pthread_cond_timedwait(&thread->ended, &thread->lock, &end) != 0)
			break;
	pthread_mutex_unlock(&thread->lock);
	while (end_one(thread, &thread->ready, true))
		;
}

size_t wt_thread_waiting(struct wt_thread *thread)
{
	pthread_mutex_lock(&thread->lock);
	size_t waiting = thread->waiting;
	pthread_mutex_unlock(&thread->lock);
	return waiting;
}

double wt_thread_running_s(struct wt_thread *thread)
{
	pthread_mutex_lock(&thread->lock);
	double since_s = thread->running_since_s;
	pthread_mutex_unlock(&thread->lock);
	return since_s > 0.0 ? wt_monotonic_s() - since_s : 0.0;
}
