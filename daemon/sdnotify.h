/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * Word to the service manager: sd_notify(3)'s datagrams, without its library.
 */
#ifndef WT_DAEMON_SDNOTIFY_H
#define WT_DAEMON_SDNOTIFY_H

#include <stdint.h>

/* Sends "READY=1", "STATUS=...", "WATCHDOG=1", several joined by newlines.  Does nothing when
 * nobody asked (NOTIFY_SOCKET unset). */
void wt_sdnotify(const char *text);

/* How often WATCHDOG=1 is wanted, in us, half of what the manager allows; 0: not at all. */
uint64_t wt_sdnotify_watchdog_us(void);

#endif /* WT_DAEMON_SDNOTIFY_H */
