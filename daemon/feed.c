/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * The connection: a thread of our own makes it, renews it and speaks for us.
 */
#include "daemon/feed.h"

#include <curl/curl.h>
#include <errno.h>
#include <signal.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/eventfd.h>
#include <unistd.h>

#include "daemon/feed_inner.h"
#include "daemon/log.h"

/* A connection that held less than this does not shorten the time between attempts (our choice):
 * two clients of one name would push each other out all day. */
#define STEADY_S 60.0
#define DISCONNECT_MS 1000

const char *wt_feed_state_text(enum wt_feed_state state)
{
	static const char *const texts[] = {[WT_FEED_OFF] = "off",
					    [WT_FEED_CONNECTING] = "connecting",
					    [WT_FEED_CONNECTED] = "connected",
					    [WT_FEED_REFUSED] = "refused"};
	return texts[state];
}

/* --- state, under the lock ----------------------------------------------------------------- */

void wt_feed_set_state(struct wt_feed *feed, enum wt_feed_state state, const char *says)
{
	struct timespec now;
	if (feed->status.state != state) {
		clock_gettime(CLOCK_REALTIME, &now);
		/* Refused is a way of not being connected: since counts from the loss. */
		if (state == WT_FEED_CONNECTED || feed->status.state == WT_FEED_CONNECTED ||
		    feed->status.since_unix_s == 0)
			feed->status.since_unix_s = now.tv_sec;
		feed->status.state = state;
	}
	snprintf(feed->status.says, sizeof feed->status.says, "%s", says);
	wt_says_text(says, feed->status.text, sizeof feed->status.text);
}

static void retry_later(struct wt_feed *feed)
{
	double wait_s = feed->retry_s;
	/* A fifth up or down, so that many clients do not come at once after a power cut. */
	unsigned jitter = (unsigned)feed->status.attempts * 2654435761u + (unsigned)getpid();
	wait_s *= 0.8 + 0.4 * (double)(jitter % 1000u) / 1000.0;
	feed->retry_at_s = wt_monotonic_s() + wait_s;
	feed->retry_s *= 2.0;
	if (feed->retry_s > WT_FEED_RETRY_MOST_S)
		feed->retry_s = WT_FEED_RETRY_MOST_S;
	feed->connecting = false;
	feed->connected = false;
	feed->just_connected = false;
	pthread_cond_signal(&feed->wake);
}

static void warn(struct wt_feed *feed, const char *says)
{
	char text[300], line[340];
	wt_says_text(says, text, sizeof text);
	snprintf(line, sizeof line, "%s; trying again", text);
	wt_feed_say(feed, WT_LOG_WARNING, line);
}

static void lost(struct wt_feed *feed, const char *says)
{
	pthread_mutex_lock(&feed->lock);
	bool was = feed->connected;
	if (was && wt_monotonic_s() - feed->connected_at_s >= STEADY_S)
		feed->retry_s = WT_FEED_RETRY_LEAST_S;
	if (was)
		feed->status.attempts = 0;
	wt_feed_set_state(feed, WT_FEED_CONNECTING, says);
	retry_later(feed);
	bool stop = feed->stop;
	pthread_mutex_unlock(&feed->lock);
	if (was && !stop)
		warn(feed, says);
}

/* --- the library's callbacks --------------------------------------------------------------- */

static void on_lost(void *context, char *cause)
{
	struct wt_feed *feed = context;
	char says[WT_SAYS_SIZE];
	(void)cause;
	wt_says_make(says, "the connection to the broker at %s was lost", feed->uri);
	lost(feed, says);
}

/* MQTT 5: the broker says goodbye, and why. */
static void on_disconnected(void *context, MQTTProperties *properties, enum MQTTReasonCodes reason)
{
	struct wt_feed *feed = context;
	char says[WT_SAYS_SIZE];
	(void)properties;
	if (reason == MQTTREASONCODE_SESSION_TAKEN_OVER)
		wt_says_make(says,
			     "another client took the name '%s' at the broker at %s; set client_id",
			     feed->setup.client_id, feed->uri);
	else
		wt_says_make(says, "the broker at %s ended the connection (%s)", feed->uri,
			     MQTTReasonCode_toString(reason) ? MQTTReasonCode_toString(reason)
							     : "?");
	lost(feed, says);
}

static void connected(struct wt_feed *feed, bool session_present)
{
	char says[WT_SAYS_SIZE], text[300];
	struct timespec now;
	wt_says_make(says, "connected to the broker at %s", feed->uri);
	wt_says_text(says, text, sizeof text);
	clock_gettime(CLOCK_REALTIME, &now);
	pthread_mutex_lock(&feed->lock);
	int64_t was_unix_s = feed->status.since_unix_s;
	bool again = feed->connected_at_s > 0.0;
	uint64_t attempts = feed->status.attempts;
	feed->connecting = false;
	feed->connected = true;
	feed->just_connected = true;
	feed->begin_at_s = 0.0;
	feed->denied = false;
	feed->session_present = session_present;
	feed->connected_at_s = wt_monotonic_s();
	/* Connected, to others, is only who hears the stations: see wt_feed_subscribe(). */
	wt_feed_set_state(feed, WT_FEED_CONNECTING,
			  WT_SAYS_WORD("asking the broker for the stations' readings"));
	feed->first_failure_said = false;
	pthread_cond_signal(&feed->wake);
	pthread_mutex_unlock(&feed->lock);
	char line[340];
	snprintf(line, sizeof line, "%s", text);
	if (again || attempts > 1)
		snprintf(line, sizeof line, "%s after %lld s, %llu attempts", text,
			 (long long)(now.tv_sec - was_unix_s), (unsigned long long)attempts);
	wt_feed_say(feed, WT_LOG_NOTICE, line);
}

static void on_connect_3(void *context, MQTTAsync_successData *data)
{
	connected(context, data && data->alt.connect.sessionPresent);
}

static void on_connect_5(void *context, MQTTAsync_successData5 *data)
{
	connected(context, data && data->alt.connect.sessionPresent);
}

/* Said once until a connection comes about: a broker away for a day is one line. */
static void note_failure(struct wt_feed *feed, bool needs_a_person, const char *says)
{
	pthread_mutex_lock(&feed->lock);
	enum wt_feed_state state = needs_a_person ? WT_FEED_REFUSED : WT_FEED_CONNECTING;
	bool say = !feed->first_failure_said || feed->status.state != state;
	feed->first_failure_said = true;
	wt_feed_set_state(feed, state, says);
	pthread_mutex_unlock(&feed->lock);
	if (say)
		warn(feed, says);
}

/* The library tells of a refusal; for anything else the feed's thread looks itself. */
static void failed(struct wt_feed *feed, int refusal, bool version5)
{
	char says[WT_SAYS_SIZE];
	if (refusal > 0) {
		wt_feed_refusal_says(feed, refusal, version5, says);
		note_failure(feed, true, says);
	}
	pthread_mutex_lock(&feed->lock);
	feed->to_look = refusal <= 0;
	retry_later(feed);
	pthread_mutex_unlock(&feed->lock);
}

static void look(struct wt_feed *feed)
{
	struct wt_feed_reason reason;
	if (wt_feed_look(feed, &reason))
		note_failure(feed, reason.needs_a_person, reason.says);
}

static void on_failure_3(void *context, MQTTAsync_failureData *data)
{
	/* Positive codes are the broker's, negative ones the library's. */
	failed(context, data && data->code > 0 && data->code <= 5 ? data->code : 0, false);
}

static void on_failure_5(void *context, MQTTAsync_failureData5 *data)
{
	int code = 0;
	/* The library puts a refusal into either field. */
	if (data && data->reasonCode >= 0x80)
		code = (int)data->reasonCode;
	else if (data && data->code > 0)
		code = data->code;
	failed(context, code, true);
}

static void on_closed_3(void *context, MQTTAsync_successData *data)
{
	struct wt_feed *feed = context;
	(void)data;
	pthread_mutex_lock(&feed->lock);
	feed->connected = false;
	pthread_cond_signal(&feed->wake);
	pthread_mutex_unlock(&feed->lock);
}

static void on_closed_5(void *context, MQTTAsync_successData5 *data)
{
	(void)data;
	on_closed_3(context, NULL);
}

/* --- the feed's own thread: the only caller of the library --------------------------------- */

static void try_connect(struct wt_feed *feed)
{
	MQTTAsync_connectOptions options;
	MQTTAsync_SSLOptions ssl;
	MQTTProperties properties = MQTTProperties_initializer;
	char why[300];
	bool version5 = feed->setup.config->broker_version == 5;
	pthread_mutex_lock(&feed->lock);
	feed->connecting = true;
	feed->status.attempts++;
	pthread_mutex_unlock(&feed->lock);
	if (!wt_feed_connect_options(feed, &options, &ssl, &properties, why, sizeof why)) {
		note_failure(feed, true, why);
		pthread_mutex_lock(&feed->lock);
		retry_later(feed);
		pthread_mutex_unlock(&feed->lock);
		return;
	}
	if (version5) {
		options.onSuccess5 = on_connect_5;
		options.onFailure5 = on_failure_5;
	} else {
		options.onSuccess = on_connect_3;
		options.onFailure = on_failure_3;
	}
	int rc = MQTTAsync_connect(feed->client, &options);
	MQTTProperties_free(&properties);
	if (rc != MQTTASYNC_SUCCESS)
		failed(feed, 0, version5);
}

/* Sends what is due; what cannot go now stays for later. */
static void send_due(struct wt_feed *feed)
{
	pthread_mutex_lock(&feed->lock);
	json_t *due = feed->to_send;
	feed->to_send = json_object();
	pthread_mutex_unlock(&feed->lock);
	const char *topic;
	json_t *payload;
	json_object_foreach(due, topic, payload)
	{
		MQTTAsync_message message = MQTTAsync_message_initializer;
		const char *text = json_string_value(payload);
		message.payload = (void *)(uintptr_t)text;
		message.payloadlen = (int)strlen(text);
		message.qos = 1;
		message.retained = 1;
		int rc = MQTTAsync_sendMessage(feed->client, topic, &message, NULL);
		pthread_mutex_lock(&feed->lock);
		if (rc == MQTTASYNC_SUCCESS)
			json_object_set(feed->sent, topic, payload);
		else if (!json_object_get(feed->to_send, topic))
			json_object_set(feed->to_send, topic, payload);
		pthread_mutex_unlock(&feed->lock);
	}
	json_decref(due);
}

/* A broker that lost its store gets again what it should keep. */
static void send_all_again(struct wt_feed *feed)
{
	pthread_mutex_lock(&feed->lock);
	json_object_update_missing(feed->to_send, feed->sent);
	pthread_mutex_unlock(&feed->lock);
}

static void say_goodbye(struct wt_feed *feed)
{
	MQTTAsync_disconnectOptions options = MQTTAsync_disconnectOptions_initializer;
	MQTTAsync_disconnectOptions options5 = MQTTAsync_disconnectOptions_initializer5;
	MQTTProperties properties = MQTTProperties_initializer;
	MQTTProperty property;
	bool version5 = feed->setup.config->broker_version == 5;
	options.timeout = options5.timeout = DISCONNECT_MS;
	options.context = options5.context = feed;
	options.onSuccess = on_closed_3;
	options5.onSuccess5 = on_closed_5;
	/* The session is to outlive us, unless we were but passing. */
	property.identifier = MQTTPROPERTY_CODE_SESSION_EXPIRY_INTERVAL;
	property.value.integer4 = feed->setup.passing ? 0 : 7 * 24 * 3600;
	MQTTProperties_add(&properties, &property);
	options5.properties = properties;
	if (MQTTAsync_disconnect(feed->client, version5 ? &options5 : &options) ==
	    MQTTASYNC_SUCCESS) {
		struct timespec end = wt_monotonic_in_ms(2000);
		pthread_mutex_lock(&feed->lock);
		while (feed->connected)
			if (pthread_cond_timedwait(&feed->wake, &feed->lock, &end) == ETIMEDOUT)
				break;
		pthread_mutex_unlock(&feed->lock);
	}
	MQTTProperties_free(&properties);
}

static void one_turn(struct wt_feed *feed)
{
	pthread_mutex_lock(&feed->lock);
	bool begin = feed->just_connected && wt_monotonic_s() >= feed->begin_at_s;
	bool session_present = feed->session_present;
	bool connect_now =
		!feed->connected && !feed->connecting && wt_monotonic_s() >= feed->retry_at_s;
	bool send = feed->connected && json_object_size(feed->to_send) > 0;
	bool look_now = feed->to_look && !feed->stop;
	feed->just_connected &= !begin;
	/* Asked again on the same connection, the broker has what was sent already. */
	feed->session_present |= begin;
	feed->to_look = false;
	if (!begin && !connect_now && !send && !look_now && !feed->stop) {
		struct timespec end;
		double until_s = feed->connected || feed->connecting ? wt_monotonic_s() + 5.0
								     : feed->retry_at_s;
		if (feed->just_connected && feed->begin_at_s < until_s)
			until_s = feed->begin_at_s;
		end.tv_sec = (time_t)until_s;
		end.tv_nsec = (long)((until_s - (double)end.tv_sec) * 1e9);
		pthread_cond_timedwait(&feed->wake, &feed->lock, &end);
	}
	pthread_mutex_unlock(&feed->lock);
	if (begin) {
		wt_feed_subscribe(feed);
		if (!session_present)
			send_all_again(feed);
	}
	if (look_now)
		look(feed);
	else if (connect_now)
		try_connect(feed);
	if (send)
		send_due(feed);
}

static void *run(void *context)
{
	struct wt_feed *feed = context;
	sigset_t all;
	/* Signals are for the loop; the library's threads inherit this. */
	sigfillset(&all);
	pthread_sigmask(SIG_SETMASK, &all, NULL);
	for (;;) {
		pthread_mutex_lock(&feed->lock);
		bool stop = feed->stop, is_connected = feed->connected;
		pthread_mutex_unlock(&feed->lock);
		if (stop) {
			if (is_connected)
				say_goodbye(feed);
			break;
		}
		one_turn(feed);
	}
	MQTTAsync_destroy(&feed->client);
	pthread_mutex_lock(&feed->lock);
	feed->closed = true;
	pthread_cond_broadcast(&feed->moved);
	pthread_mutex_unlock(&feed->lock);
	return NULL;
}

/* --- from the loop ------------------------------------------------------------------------- */

static void on_wake(evutil_socket_t fd, short what, void *context)
{
	struct wt_feed *feed = context;
	(void)what;
	wt_wake_heard(fd);
	pthread_mutex_lock(&feed->lock);
	bool told = feed->told_subscribed;
	uint64_t before = feed->n_taken;
	feed->told_subscribed = false;
	pthread_mutex_unlock(&feed->lock);
	feed->setup.arrived(feed->setup.context);
	if (told)
		feed->setup.subscribed(feed->setup.context);
	/* What one turn left is for the next; who takes nothing reminds us when he would. */
	pthread_mutex_lock(&feed->lock);
	bool more = feed->n_queue > 0 && feed->n_taken != before;
	pthread_mutex_unlock(&feed->lock);
	if (more)
		event_active(feed->event, EV_READ, 0);
}

void wt_feed_remind(struct wt_feed *feed)
{
	event_active(feed->event, EV_READ, 0);
}

void wt_feed_publish(struct wt_feed *feed, const char *topic, const char *payload)
{
	pthread_mutex_lock(&feed->lock);
	json_object_set_new(feed->to_send, topic, json_string(payload));
	pthread_cond_signal(&feed->wake);
	pthread_mutex_unlock(&feed->lock);
}

void wt_feed_status(struct wt_feed *feed, struct wt_feed_status *out)
{
	pthread_mutex_lock(&feed->lock);
	*out = feed->status;
	out->queue = feed->n_queue;
	pthread_mutex_unlock(&feed->lock);
}

static bool make_client(struct wt_feed *feed, char *why, size_t why_size)
{
	const struct wt_config *config = feed->setup.config;
	MQTTAsync_createOptions options = MQTTAsync_createOptions_initializer;
	if (config->broker_version == 5)
		options = (MQTTAsync_createOptions)MQTTAsync_createOptions_initializer5;
	else
		options.MQTTVersion = MQTTVERSION_3_1_1;
	bool six = strchr(config->broker_host, ':') != NULL;
	if (asprintf(&feed->uri, "%s://%s%s%s:%d", config->broker_tls ? "ssl" : "tcp",
		     six ? "[" : "", config->broker_host, six ? "]" : "",
		     config->broker_port) < 0) {
		feed->uri = NULL;
		snprintf(why, why_size, "out of memory");
		return false;
	}
	/* Nothing is kept by the library: the broker's session and our own commit are. */
	int rc = MQTTAsync_createWithOptions(&feed->client, feed->uri, feed->setup.client_id,
					     MQTTCLIENT_PERSISTENCE_NONE, NULL, &options);
	if (rc == MQTTASYNC_SUCCESS)
		rc = MQTTAsync_setCallbacks(feed->client, feed, on_lost, wt_feed_on_message, NULL);
	if (rc == MQTTASYNC_SUCCESS && config->broker_version == 5)
		rc = MQTTAsync_setDisconnected(feed->client, feed, on_disconnected);
	if (rc != MQTTASYNC_SUCCESS)
		snprintf(why, why_size, "%s: %s", feed->uri, MQTTAsync_strerror(rc));
	return rc == MQTTASYNC_SUCCESS;
}

static char **copy_filters(const struct wt_feed_setup *setup)
{
	char **copy = calloc(setup->n_old_filters + 1, sizeof *copy);
	for (size_t i = 0; copy && i < setup->n_old_filters; i++)
		copy[i] = strdup(setup->old_filters[i] ? setup->old_filters[i] : "");
	return copy;
}

static void release(struct wt_feed *feed)
{
	if (feed->event)
		event_free(feed->event);
	if (feed->fd >= 0)
		close(feed->fd);
	wt_feed_drop_queue(feed);
	char **old = (char **)(uintptr_t)feed->setup.old_filters;
	for (size_t i = 0; old && i < feed->setup.n_old_filters; i++)
		free(old[i]);
	free(old);
	free((char *)(uintptr_t)feed->setup.client_id);
	json_decref(feed->to_send);
	json_decref(feed->sent);
	json_decref(feed->filters);
	free(feed->uri);
	free(feed->password);
	pthread_cond_destroy(&feed->wake);
	pthread_cond_destroy(&feed->moved);
	pthread_mutex_destroy(&feed->lock);
	if (feed->curl)
		curl_global_cleanup();
	free(feed);
}

static void init_locks(struct wt_feed *feed)
{
	wt_monotonic_cond_init(&feed->wake);
	wt_monotonic_cond_init(&feed->moved);
	pthread_mutex_init(&feed->lock, NULL);
}

struct wt_feed *wt_feed_new(const struct wt_feed_setup *setup, char *why, size_t why_size)
{
	struct wt_feed *feed = calloc(1, sizeof *feed);
	snprintf(why, why_size, "out of memory");
	if (!feed)
		return NULL;
	init_locks(feed);
	feed->setup = *setup;
	feed->setup.client_id = strdup(setup->client_id);
	feed->setup.old_filters = (const char *const *)copy_filters(setup);
	feed->last = &feed->first;
	feed->retry_s = WT_FEED_RETRY_LEAST_S;
	feed->to_send = json_object();
	feed->sent = json_object();
	feed->filters = wt_feed_filters(setup->config);
	feed->fd = eventfd(0, EFD_CLOEXEC | EFD_NONBLOCK);
	if (feed->fd >= 0)
		feed->event = event_new(setup->base, feed->fd, EV_READ | EV_PERSIST, on_wake, feed);
	if (!feed->setup.client_id || !feed->setup.old_filters || !feed->to_send || !feed->sent ||
	    !feed->filters || !feed->event || event_add(feed->event, NULL) != 0)
		goto failed;
	/* Before there are threads; given back in release(). */
	feed->curl = curl_global_init(CURL_GLOBAL_DEFAULT) == CURLE_OK;
	if (!feed->curl || !make_client(feed, why, why_size))
		goto failed;
	wt_feed_set_state(feed, WT_FEED_CONNECTING, WT_SAYS_WORD("connecting to the broker"));
	if (pthread_create(&feed->thread, NULL, run, feed) != 0) {
		snprintf(why, why_size, "the feed's thread cannot be made");
		MQTTAsync_destroy(&feed->client);
		goto failed;
	}
	return feed;
failed:
	release(feed);
	return NULL;
}

void wt_feed_stop(struct wt_feed *feed)
{
	pthread_mutex_lock(&feed->lock);
	feed->stop = true;
	pthread_cond_signal(&feed->wake);
	pthread_mutex_unlock(&feed->lock);
}

void wt_feed_free(struct wt_feed **address)
{
	struct wt_feed *feed = *address;
	if (!feed)
		return;
	*address = NULL;
	pthread_mutex_lock(&feed->lock);
	bool closed = feed->closed;
	pthread_mutex_unlock(&feed->lock);
	if (!closed) {
		/* A callback still waits for a disk that takes nothing.  It must not return, since
		 * that would acknowledge its message; its memory is left to it. */
		pthread_detach(feed->thread);
		event_del(feed->event);
		return;
	}
	pthread_join(feed->thread, NULL);
	release(feed);
}
