/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * A journal played on a virtual clock into an empty database.
 */
#ifndef WT_DAEMON_REPLAY_H
#define WT_DAEMON_REPLAY_H

#include "daemon/config.h"
#include "daemon/store.h"

/* Plays the journal at path ("-": standard input) and issues every tick up to the last entry.
 * 0, or 1 with sentences on standard error: a line that cannot be read or goes back in time ends
 * the replay; an act that is refused is reported and the replay goes on. */
int wt_replay_run(const struct wt_config *config, struct wt_store *store, const char *path);

#endif /* WT_DAEMON_REPLAY_H */
