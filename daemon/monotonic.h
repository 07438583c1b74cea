/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * The clock that is never set, and the way of a thread back to the loop.
 */
#ifndef WT_DAEMON_MONOTONIC_H
#define WT_DAEMON_MONOTONIC_H

#include <pthread.h>
#include <time.h>

/* CLOCK_MONOTONIC, s. */
double wt_monotonic_s(void);
/* That moment, for pthread_cond_timedwait() on what wt_monotonic_cond_init() made. */
struct timespec wt_monotonic_in_ms(long ms);
void wt_monotonic_cond_init(pthread_cond_t *cond);

/* An eventfd(2) that does not block: from any thread, and on the loop once it is heard. */
void wt_wake_loop(int fd);
void wt_wake_heard(int fd);

#endif /* WT_DAEMON_MONOTONIC_H */
