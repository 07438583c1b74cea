/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * The running daemon: one loop that owns the site and the store, fed by the
 * broker, asked through the control socket.
 */
#ifndef WT_DAEMON_SERVICE_H
#define WT_DAEMON_SERVICE_H

#include <stdbool.h>
#include <stdint.h>

#include "daemon/config.h"

struct wt_service_setup {
	const char *config_path;
	const char *socket_path; /* NULL: the configuration's */
	bool frozen;             /* answers as of frozen_unix_ms, takes nothing in */
	int64_t frozen_unix_ms;
};

/* Runs until SIGTERM or SIGINT.  config is taken over.  Exit status: 0, or 1 with a sentence on
 * standard error. */
int wt_service_run(const struct wt_service_setup *setup, struct wt_config *config);

#endif /* WT_DAEMON_SERVICE_H */
