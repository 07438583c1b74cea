/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * A thread beside the loop: work goes to it and comes back on the loop.  Done in the order given;
 * work of several turns lets other work in between.
 */
#ifndef WT_DAEMON_THREAD_H
#define WT_DAEMON_THREAD_H

#include <event2/event.h>
#include <stdbool.h>
#include <stddef.h>

struct wt_thread;

/* On the thread.  True: another turn is wanted. */
typedef bool (*wt_thread_work_fn)(void *context);
/* On the loop, once.  ran false: given up before it was done. */
typedef void (*wt_thread_done_fn)(void *context, bool ran);

/* NULL when the thread cannot be made. */
struct wt_thread *wt_thread_new(struct event_base *base);
/* Waits for the turn that runs; the rest is given up.  Every done is called. */
void wt_thread_free(struct wt_thread **thread);

/* urgent: before all that waits.  False without memory, and then done is not called. */
bool wt_thread_put(struct wt_thread *thread, bool urgent, wt_thread_work_fn work,
		   wt_thread_done_fn done, void *context);

/* Calls done for what is ready; waits up to wait_ms for it when something is under way.  For a loop
 * that does not turn now. */
void wt_thread_turn(struct wt_thread *thread, int wait_ms);

/* Not yet back. */
size_t wt_thread_waiting(struct wt_thread *thread);
/* For how long the present turn has been running, s; 0 when idle. */
double wt_thread_running_s(struct wt_thread *thread);

#endif /* WT_DAEMON_THREAD_H */
