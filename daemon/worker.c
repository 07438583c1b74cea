/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "daemon/worker.h"

#include <pthread.h>
#include <signal.h>
#include <stdlib.h>
#include <sys/eventfd.h>
#include <time.h>
#include <unistd.h>

struct item {
	struct wt_job *job;
	wt_worker_done_fn done;
	void *context;
	struct item *next;
};

struct queue {
	struct item *first, **last;
};

struct wt_worker {
	pthread_t thread;
	pthread_mutex_t lock;
	pthread_cond_t wake;
	bool stop;
	struct queue todo, ready;
	size_t waiting;
	struct timespec running_since; /* tv_sec 0: idle */
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

static struct item *queue_take(struct queue *queue)
{
	struct item *item = queue->first;
	if (item && !(queue->first = item->next))
		queue->last = &queue->first;
	return item;
}

static void *work(void *context)
{
	struct wt_worker *worker = context;
	sigset_t all;
	/* Signals are for the loop. */
	sigfillset(&all);
	pthread_sigmask(SIG_SETMASK, &all, NULL);
	pthread_mutex_lock(&worker->lock);
	while (!worker->stop) {
		struct item *item = queue_take(&worker->todo);
		if (!item) {
			pthread_cond_wait(&worker->wake, &worker->lock);
			continue;
		}
		clock_gettime(CLOCK_MONOTONIC, &worker->running_since);
		pthread_mutex_unlock(&worker->lock);
		wt_job_run(item->job);
		pthread_mutex_lock(&worker->lock);
		worker->running_since.tv_sec = 0;
		queue_put(&worker->ready, item);
		uint64_t one = 1;
		ssize_t written = write(worker->fd, &one, sizeof one);
		(void)written; /* a full counter wakes the loop as well */
	}
	pthread_mutex_unlock(&worker->lock);
	return NULL;
}

static void bring_back(evutil_socket_t fd, short what, void *context)
{
	struct wt_worker *worker = context;
	uint64_t count;
	(void)what;
	ssize_t got = read(fd, &count, sizeof count);
	(void)got;
	for (;;) {
		pthread_mutex_lock(&worker->lock);
		struct item *item = queue_take(&worker->ready);
		if (item)
			worker->waiting--;
		pthread_mutex_unlock(&worker->lock);
		if (!item)
			return;
		item->done(item->context, item->job);
		free(item);
	}
}

struct wt_worker *wt_worker_new(struct event_base *base)
{
	struct wt_worker *worker = calloc(1, sizeof *worker);
	if (!worker)
		return NULL;
	pthread_mutex_init(&worker->lock, NULL);
	pthread_cond_init(&worker->wake, NULL);
	queue_init(&worker->todo);
	queue_init(&worker->ready);
	worker->fd = eventfd(0, EFD_CLOEXEC | EFD_NONBLOCK);
	worker->event = worker->fd < 0 ? NULL
				       : event_new(base, worker->fd, EV_READ | EV_PERSIST,
						   bring_back, worker);
	if (!worker->event || event_add(worker->event, NULL) != 0 ||
	    pthread_create(&worker->thread, NULL, work, worker) != 0) {
		if (worker->event)
			event_free(worker->event);
		if (worker->fd >= 0)
			close(worker->fd);
		free(worker);
		return NULL;
	}
	return worker;
}

static void drop_all(struct queue *queue)
{
	struct item *item;
	while ((item = queue_take(queue))) {
		wt_job_free(&item->job);
		item->done(item->context, NULL);
		free(item);
	}
}

void wt_worker_free(struct wt_worker **address)
{
	struct wt_worker *worker = *address;
	if (!worker)
		return;
	pthread_mutex_lock(&worker->lock);
	worker->stop = true;
	pthread_cond_signal(&worker->wake);
	pthread_mutex_unlock(&worker->lock);
	pthread_join(worker->thread, NULL);
	drop_all(&worker->todo);
	drop_all(&worker->ready);
	event_free(worker->event);
	close(worker->fd);
	pthread_cond_destroy(&worker->wake);
	pthread_mutex_destroy(&worker->lock);
	free(worker);
	*address = NULL;
}

bool wt_worker_put(struct wt_worker *worker, struct wt_job *job, wt_worker_done_fn done,
		   void *context)
{
	struct item *item = malloc(sizeof *item);
	if (!item)
		return false;
	*item = (struct item){.job = job, .done = done, .context = context};
	pthread_mutex_lock(&worker->lock);
	queue_put(&worker->todo, item);
	worker->waiting++;
	pthread_cond_signal(&worker->wake);
	pthread_mutex_unlock(&worker->lock);
	return true;
}

size_t wt_worker_waiting(struct wt_worker *worker)
{
	pthread_mutex_lock(&worker->lock);
	size_t waiting = worker->waiting;
	pthread_mutex_unlock(&worker->lock);
	return waiting;
}

double wt_worker_running_s(struct wt_worker *worker)
{
	struct timespec now;
	double running_s = 0.0;
	clock_gettime(CLOCK_MONOTONIC, &now);
	pthread_mutex_lock(&worker->lock);
	if (worker->running_since.tv_sec != 0)
		running_s = (double)(now.tv_sec - worker->running_since.tv_sec) +
			    1e-9 * (double)(now.tv_nsec - worker->running_since.tv_nsec);
	pthread_mutex_unlock(&worker->lock);
	return running_s;
}
