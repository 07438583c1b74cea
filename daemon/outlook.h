/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * The outdoor forecast, fetched on the terms of public weather services: who
 * calls is said, nothing is asked before it expires, then only for a newer one.
 * A bad document changes nothing.
 */
#ifndef WT_DAEMON_OUTLOOK_H
#define WT_DAEMON_OUTLOOK_H

#include "daemon/config.h"
#include "daemon/http.h"
#include "daemon/store.h"

struct wt_outlook_feed;

struct wt_outlook_setup {
	struct wt_http *http;
	struct wt_store *store; /* keeps when to ask again across restarts */
	const struct wt_config *config;
	/* A document came; false with why when it cannot be used. */
	bool (*take)(void *context, const json_t *document, char *why, size_t why_size);
	/* Keeps a small value on disk with what else is being written. */
	void (*keep)(void *context, const char *name, const char *value);
	void *context;
};

/* NULL when no outlook is configured, or without memory. */
struct wt_outlook_feed *wt_outlook_feed_new(const struct wt_outlook_setup *setup,
					    int64_t now_unix_s);
void wt_outlook_feed_free(struct wt_outlook_feed **feed);
/* Asks when it is time to. */
void wt_outlook_feed_beat(struct wt_outlook_feed *feed, int64_t now_unix_s);

/* What is wrong with the newest attempt, or NULL.  Text lives until the next attempt. */
const char *wt_outlook_feed_fault(const struct wt_outlook_feed *feed);
/* When the last good document was fetched or confirmed; 0: never. */
int64_t wt_outlook_feed_good_unix_s(const struct wt_outlook_feed *feed);

#endif /* WT_DAEMON_OUTLOOK_H */
