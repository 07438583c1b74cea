/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * Listening for a while to topics that no station of the configuration has, to
 * propose one.  A connection of its own, so that the feed is not touched; it
 * leaves no session behind, and nothing it hears becomes a reading.
 */
#ifndef WT_DAEMON_LISTEN_H
#define WT_DAEMON_LISTEN_H

#include <event2/event.h>
#include <jansson.h>

#include "daemon/config.h"
#include "lib/wire/rpc.h"

struct wt_listen;

/*
 * Asks for what was heard at a topic filter.  *listen NULL, or another filter: begins to listen
 * there, and the answer is still empty.  It ends by itself when nobody has asked for 10 minutes
 * (our choice).  New reference; NULL with *refusal.  config and client_id are read now, and
 * config's strings until wt_listen_free().
 */
json_t *wt_listen_ask(struct wt_listen **listen, struct event_base *base,
		      const struct wt_config *config, const char *filter, double now_monotonic_s,
		      struct wt_refusal *refusal);

/* Now and then: lets go of what has ended.  Does not block. */
void wt_listen_beat(struct wt_listen **listen, double now_monotonic_s);

/* At once; blocks for at most 2 s. */
void wt_listen_free(struct wt_listen **listen);

#endif /* WT_DAEMON_LISTEN_H */
