/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * The thread that forecasts.  Jobs run one after the other in the order given;
 * each comes back on the loop.
 */
#ifndef WT_DAEMON_WORKER_H
#define WT_DAEMON_WORKER_H

#include <event2/event.h>
#include <stdbool.h>

#include "daemon/site.h"

struct wt_worker;

/* Called on the loop when the job has run; the job is the callee's.  NULL when the worker was given
 * up before it came to that.  context as given. */
typedef void (*wt_worker_done_fn)(void *context, struct wt_job *job);

/* NULL when the thread cannot be made. */
struct wt_worker *wt_worker_new(struct event_base *base);
/* Waits for the running job; all that are not back are freed, and each done is called with NULL. */
void wt_worker_free(struct wt_worker **worker);

/* Takes over the job; false (and the job stays the caller's) without memory. */
bool wt_worker_put(struct wt_worker *worker, struct wt_job *job, wt_worker_done_fn done,
		   void *context);

/* For how long the present job has been running, s; 0 when idle. */
double wt_worker_running_s(struct wt_worker *worker);

#endif /* WT_DAEMON_WORKER_H */
