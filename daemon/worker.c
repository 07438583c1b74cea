/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "daemon/worker.h"

#include <stdlib.h>

#include "daemon/thread.h"

struct item {
	struct wt_worker *worker;
	struct wt_job *job;
	wt_worker_done_fn done;
	void *context;
};

struct wt_worker {
	struct wt_thread *thread;
	bool leaving; /* what has run is not wanted any more */
};

static bool work(void *context)
{
	struct item *item = context;
	wt_job_run(item->job);
	return false;
}

static void done(void *context, bool ran)
{
	struct item *item = context;
	if (!ran || item->worker->leaving)
		wt_job_free(&item->job);
	item->done(item->context, item->job);
	free(item);
}

struct wt_worker *wt_worker_new(struct event_base *base)
{
	struct wt_worker *worker = calloc(1, sizeof *worker);
	if (worker && !(worker->thread = wt_thread_new(base))) {
		free(worker);
		return NULL;
	}
	return worker;
}

void wt_worker_free(struct wt_worker **address)
{
	struct wt_worker *worker = *address;
	if (!worker)
		return;
	worker->leaving = true;
	wt_thread_free(&worker->thread);
	free(worker);
	*address = NULL;
}

bool wt_worker_put(struct wt_worker *worker, struct wt_job *job, wt_worker_done_fn done_fn,
		   void *context)
{
	struct item *item = malloc(sizeof *item);
	if (!item)
		return false;
	*item = (struct item){worker, job, done_fn, context};
	if (wt_thread_put(worker->thread, false, work, done, item))
		return true;
	free(item);
	return false;
}

double wt_worker_running_s(struct wt_worker *worker)
{
	return wt_thread_running_s(worker->thread);
}
