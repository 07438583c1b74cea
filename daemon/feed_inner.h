/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * What the files of the feed share.  Nobody else includes this.
 */
#ifndef WT_DAEMON_FEED_INNER_H
#define WT_DAEMON_FEED_INNER_H

#include <MQTTAsync.h>
#include <pthread.h>
#include <time.h>

#include "daemon/feed.h"
#include "daemon/monotonic.h"

/* Our choices. */
#define WT_FEED_KEEPALIVE_S 30
/* A callback stops the keep-alive while it waits: well below it. */
#define WT_FEED_PATIENCE_S (WT_FEED_KEEPALIVE_S / 3)
#define WT_FEED_QUEUE_MAX 20000
#define WT_FEED_QUEUE_BYTES (INT64_C(32) * 1024 * 1024)
#define WT_FEED_RETRY_LEAST_S 1.0
#define WT_FEED_RETRY_MOST_S 30.0

struct wt_feed_item {
	struct wt_feed_item *next;
	uint64_t number;
	bool waits; /* its callback waits for the disk */
	bool retained, resent;
	int64_t received_unix_ms;
	int64_t packet;
	size_t length;
	char *topic;
	char *payload;
};

/* Why there is no connection. */
struct wt_feed_reason {
	bool needs_a_person; /* it will not get better by itself */
	char says[WT_SAYS_SIZE];
};

/* How many lines may still be logged about the broker. */
struct wt_feed_voice {
	bool begun;
	double lines, at_s;
	unsigned unsaid;
};

struct wt_feed {
	struct wt_feed_setup setup;
	MQTTAsync client;
	pthread_t thread;
	pthread_mutex_t lock; /* never held while the library is called */
	pthread_cond_t wake;  /* the feed's thread: something to do */
	pthread_cond_t moved; /* callbacks and waits: the queue or what is on disk moved */
	int fd;
	struct event *event;
	/* the queue */
	struct wt_feed_item *first, **last, *lent;
	size_t n_queue;
	int64_t queue_bytes;
	uint64_t n_arrived, n_taken, n_done;
	uint64_t last_late; /* number of the newest that was acknowledged too early */
	/* the connection, as the library's threads report it */
	bool stop, closed;
	bool connecting;
	bool connected;
	bool just_connected, session_present;
	bool denied;          /* some topic, and it was said */
	bool told_subscribed; /* to be told on the loop */
	double begin_at_s;    /* just_connected: when to subscribe */
	double retry_at_s, retry_s;
	double connected_at_s;
	bool first_failure_said;
	bool curl;    /* its library is set up */
	bool to_look; /* an attempt failed without a word from the broker */
	struct wt_feed_voice voice;
	struct wt_feed_status status;
	/* what is published: topic -> payload */
	json_t *to_send, *sent;
	char *uri;
	json_t *filters;
	char *password;
};

/* Under the lock; says as of wt_says_make(). */
void wt_feed_set_state(struct wt_feed *feed, enum wt_feed_state state, const char *says);
/* Asks for the filters, and again until the broker grants them; on the feed's own thread. */
void wt_feed_subscribe(struct wt_feed *feed);
/* MQTTAsync_messageArrived: see there. */
int wt_feed_on_message(void *context, char *topic, int topic_length, MQTTAsync_message *message);
void wt_feed_drop_queue(struct wt_feed *feed);
/* Fills the options of a connection attempt; false with why.  *ssl and *properties are the
 * caller's; the properties are to be freed after use. */
bool wt_feed_connect_options(struct wt_feed *feed, MQTTAsync_connectOptions *options,
			     MQTTAsync_SSLOptions *ssl, MQTTProperties *properties, char *why,
			     size_t why_size);
/* A refusal of the broker in words, taken apart. */
void wt_feed_refusal_says(const struct wt_feed *feed, int code, bool version5,
			  char says[static WT_SAYS_SIZE]);
/* Connects once as a plain TLS or TCP client would, to learn why the broker cannot be had; on the
 * feed's own thread.  false when the feed is to stop meanwhile. */
bool wt_feed_look(struct wt_feed *feed, struct wt_feed_reason *out);
/* A line about the broker to the log, unless there were too many lately. */
void wt_feed_say(struct wt_feed *feed, int level, const char *text);
/* Whether a line may be logged now; *unsaid: how many were not since the last one. */
bool wt_feed_may_say(struct wt_feed_voice *voice, double now_monotonic_s, unsigned *unsaid);

#endif /* WT_DAEMON_FEED_INNER_H */
