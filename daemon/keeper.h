/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * The thread that has the database to itself while the daemon runs: the loop never waits for a
 * disk. Work is done in the order given; work of several turns lets other work in between.
 */
#ifndef WT_DAEMON_KEEPER_H
#define WT_DAEMON_KEEPER_H

#include <event2/event.h>
#include <stdbool.h>
#include <stddef.h>

#include "daemon/store.h"

struct wt_keeper;

/* On the thread.  True: another turn is wanted. */
typedef bool (*wt_keeper_work_fn)(void *context, struct wt_store *store);
/* On the loop, once.  ran false: given up before it was done. */
typedef void (*wt_keeper_done_fn)(void *context, bool ran);

/* Until wt_keeper_free() nobody else may use the store.  NULL when the thread cannot be made. */
struct wt_keeper *wt_keeper_new(struct event_base *base, struct wt_store *store);
/* Waits for the turn that runs; the rest is given up.  Every done is called. */
void wt_keeper_free(struct wt_keeper **keeper);

/* urgent: before all that waits.  False without memory, and then done is not called. */
bool wt_keeper_put(struct wt_keeper *keeper, bool urgent, wt_keeper_work_fn work,
		   wt_keeper_done_fn done, void *context);

/* Calls done for what is ready; waits up to wait_ms for it when something is under way.  For a loop
 * that does not turn now. */
void wt_keeper_turn(struct wt_keeper *keeper, int wait_ms);

/* Not yet back. */
size_t wt_keeper_waiting(struct wt_keeper *keeper);
/* For how long the present turn has been running, s; 0 when idle. */
double wt_keeper_running_s(struct wt_keeper *keeper);
/* As after the last turn. */
void wt_keeper_facts(struct wt_keeper *keeper, struct wt_store_facts *out);

#endif /* WT_DAEMON_KEEPER_H */
