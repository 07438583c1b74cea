/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * The broker: MQTT by Paho's asynchronous client.
 *
 * A message of QoS 1 is acknowledged by the library when its callback returns.
 * So the callback waits until the loop has put the message on disk.  For that
 * reason the loop never calls the library: a thread of the feed does.
 */
#ifndef WT_DAEMON_FEED_H
#define WT_DAEMON_FEED_H

#include <event2/event.h>
#include <jansson.h>
#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "daemon/config.h"
#include "daemon/engine.h"
#include "lib/wire/says.h"

struct wt_feed;

enum wt_feed_state { WT_FEED_OFF, WT_FEED_CONNECTING, WT_FEED_CONNECTED, WT_FEED_REFUSED };

struct wt_feed_status {
	enum wt_feed_state state;
	int64_t since_unix_s;
	uint64_t attempts; /* since the connection was lost */
	uint64_t messages; /* received */
	uint64_t dropped;  /* lost because too many were waiting */
	uint64_t late;     /* acknowledged before they were on disk */
	uint64_t late_now; /* of them, those that are not there yet */
	size_t queue;      /* messages waiting for the loop */
	char text[300];
	char says[WT_SAYS_SIZE]; /* text taken apart */
};

struct wt_feed_setup {
	struct event_base *base;
	const struct wt_config *config; /* borrowed until freed */
	const char *client_id;
	const char *const *old_filters; /* subscribed in an earlier run; may be NULL */
	size_t n_old_filters;
	bool passing; /* no session is to outlive the connection */
	/* On the loop: messages wait, see wt_feed_take(). */
	void (*arrived)(void *context);
	/* On the loop: the subscriptions stand. */
	void (*subscribed)(void *context);
	void *context;
};

/* Starts connecting and goes on trying for ever.  NULL with *why. */
struct wt_feed *wt_feed_new(const struct wt_feed_setup *setup, char *why, size_t why_size);
/* Stops receiving: disconnects in the background.  Go on taking and committing while
 * wt_feed_wait() returns true, so that nothing is acknowledged that is not on disk. */
void wt_feed_stop(struct wt_feed *feed);
/* Waits up to wait_ms for a message or the end of the disconnection; false at the end. */
bool wt_feed_wait(struct wt_feed *feed, int wait_ms);
/* After wt_feed_stop(). */
void wt_feed_free(struct wt_feed **feed);

/* The oldest waiting message, borrowed until the next call; *must_commit tells that its sender
 * waits for the disk.  false: none. */
bool wt_feed_take(struct wt_feed *feed, struct wt_message *out, bool *must_commit);
/* Names the messages taken so far. */
uint64_t wt_feed_mark(struct wt_feed *feed);
/* The messages up to a mark are on disk: their callbacks return. */
void wt_feed_done(struct wt_feed *feed, uint64_t mark);
/* setup.arrived() is called soon, after it left messages. */
void wt_feed_remind(struct wt_feed *feed);

/* Sends a retained message; copies.  Only the newest for each topic is kept while disconnected. */
void wt_feed_publish(struct wt_feed *feed, const char *topic, const char *payload);

void wt_feed_status(struct wt_feed *feed, struct wt_feed_status *out);
/* "connected", ... as in the protocol.  Static text. */
const char *wt_feed_state_text(enum wt_feed_state state);

/* The topic filters of a configuration, each once: [..].  New reference. */
json_t *wt_feed_filters(const struct wt_config *config);

#endif /* WT_DAEMON_FEED_H */
