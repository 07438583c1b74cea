/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * What the feed reads of the broker: the filters, and whether they stand.
 */
#include <stdlib.h>
#include <string.h>

#include "daemon/feed_inner.h"
#include "daemon/log.h"

/* Our choice: a subscription without an answer, or denied, is asked for again. */
#define ASK_AGAIN_S 2.0
#define DENIED_AGAIN_S 30.0

static void add_filter(json_t *filters, const char *filter)
{
	size_t index;
	json_t *there;
	if (!filter)
		return;
	json_array_foreach(filters, index, there)
	{
		if (strcmp(json_string_value(there), filter) == 0)
			return;
	}
	json_array_append_new(filters, json_string(filter));
}

json_t *wt_feed_filters(const struct wt_config *config)
{
	json_t *filters = json_array();
	for (size_t i = 0; i < config->n_stations; i++) {
		add_filter(filters, config->stations[i].rule.temp_topic);
		add_filter(filters, config->stations[i].rule.rh_topic);
	}
	for (size_t i = 0; i < config->n_scales; i++)
		add_filter(filters, config->scales[i].topic);
	return filters;
}

/* --- the library's callbacks --------------------------------------------------------------- */

/* What is sent from now on comes here. */
static void stands(struct wt_feed *feed, bool tell_loop)
{
	char says[WT_SAYS_SIZE];
	wt_says_make(says, "connected to the broker at %s", feed->uri);
	pthread_mutex_lock(&feed->lock);
	bool was_denied = feed->denied;
	feed->denied = false;
	if (feed->connected)
		wt_feed_set_state(feed, WT_FEED_CONNECTED, says);
	feed->told_subscribed |= tell_loop;
	pthread_mutex_unlock(&feed->lock);
	if (was_denied)
		wt_feed_say(feed, WT_LOG_NOTICE, "the broker lets us read the stations now");
}

static void ask_again(struct wt_feed *feed, double wait_s)
{
	pthread_mutex_lock(&feed->lock);
	if (feed->connected && !feed->stop) {
		feed->just_connected = true;
		feed->begin_at_s = wt_monotonic_s() + wait_s;
		pthread_cond_signal(&feed->wake);
	}
	pthread_mutex_unlock(&feed->lock);
}

static void subscribed(struct wt_feed *feed)
{
	stands(feed, true);
	wt_wake_loop(feed->fd);
}

static void not_subscribed(struct wt_feed *feed, const char *filter)
{
	char says[WT_SAYS_SIZE], text[300];
	wt_says_make(
		says,
		"the broker at %s does not let us read '%.100s'; its access rules must allow it",
		feed->uri, filter);
	wt_says_text(says, text, sizeof text);
	pthread_mutex_lock(&feed->lock);
	bool say = !feed->denied;
	wt_feed_set_state(feed, WT_FEED_REFUSED, says);
	pthread_mutex_unlock(&feed->lock);
	if (say)
		wt_feed_say(feed, WT_LOG_ERR, text);
}

/* After not_subscribed() for each filter: someone may mend the broker's rules while we are
 * connected. */
static void denied(struct wt_feed *feed)
{
	pthread_mutex_lock(&feed->lock);
	feed->denied = true;
	pthread_mutex_unlock(&feed->lock);
	ask_again(feed, DENIED_AGAIN_S);
}

static const char *filter_at(struct wt_feed *feed, size_t index)
{
	const char *filter = json_string_value(json_array_get(feed->filters, index));
	return filter ? filter : "?";
}

static void on_subscribe_5(void *context, MQTTAsync_successData5 *data)
{
	struct wt_feed *feed = context;
	int n = data ? data->alt.sub.reasonCodeCount : 0;
	bool fine = true;
	for (int i = 0; i < n; i++) {
		enum MQTTReasonCodes code =
			n == 1 ? data->reasonCode : data->alt.sub.reasonCodes[i];
		if (code >= 0x80) {
			not_subscribed(feed, filter_at(feed, (size_t)i));
			fine = false;
		}
	}
	if (fine)
		subscribed(feed);
	else
		denied(feed);
}

static void on_subscribe_3(void *context, MQTTAsync_successData *data)
{
	struct wt_feed *feed = context;
	size_t n = json_array_size(feed->filters);
	bool fine = true;
	for (size_t i = 0; data && i < n; i++) {
		int granted = n == 1 ? data->alt.qos : data->alt.qosList[i];
		if (granted >= 0x80) {
			not_subscribed(feed, filter_at(feed, i));
			fine = false;
		}
	}
	if (fine)
		subscribed(feed);
	else
		denied(feed);
}

/* No answer, or the library could not ask: the connection may be going. */
static void not_answered(struct wt_feed *feed)
{
	ask_again(feed, ASK_AGAIN_S);
}

static void on_subscribe_failed_5(void *context, MQTTAsync_failureData5 *data)
{
	if (data && data->reasonCode >= 0x80) {
		not_subscribed(context, filter_at(context, 0));
		denied(context);
	} else {
		not_answered(context);
	}
}

static void on_subscribe_failed_3(void *context, MQTTAsync_failureData *data)
{
	if (data && data->code >= 0x80) {
		not_subscribed(context, filter_at(context, 0));
		denied(context);
	} else {
		not_answered(context);
	}
}

/* --- on the feed's own thread -------------------------------------------------------------- */

/* Filters of an earlier run that are not wanted any more stay with the session until given up. */
static void give_up_old(struct wt_feed *feed)
{
	for (size_t i = 0; i < feed->setup.n_old_filters; i++) {
		const char *old = feed->setup.old_filters[i];
		bool wanted = false;
		for (size_t k = 0; k < json_array_size(feed->filters); k++)
			wanted |= strcmp(filter_at(feed, k), old) == 0;
		if (!wanted)
			(void)MQTTAsync_unsubscribe(feed->client, old, NULL);
	}
}

void wt_feed_subscribe(struct wt_feed *feed)
{
	size_t n = json_array_size(feed->filters);
	if (n == 0) {
		stands(feed, false);
		return;
	}
	int rc = MQTTASYNC_FAILURE;
	MQTTAsync_responseOptions response = MQTTAsync_responseOptions_initializer;
	char **topics = calloc(n + 1, sizeof *topics);
	int *qos = calloc(n + 1, sizeof *qos);
	MQTTSubscribe_options *list = calloc(n + 1, sizeof *list);
	if (!topics || !qos || !list)
		goto out;
	give_up_old(feed);
	for (size_t i = 0; i < n; i++) {
		topics[i] = (char *)(uintptr_t)filter_at(feed, i);
		qos[i] = 1;
		list[i] = (MQTTSubscribe_options)MQTTSubscribe_options_initializer;
		/* Stored copies only when the session did not survive; the publisher's flag kept.
		 */
		list[i].retainHandling = 1;
		list[i].retainAsPublished = 1;
	}
	response.context = feed;
	if (feed->setup.config->broker_version == 5) {
		response.onSuccess5 = on_subscribe_5;
		response.onFailure5 = on_subscribe_failed_5;
		response.subscribeOptions = list[0];
		response.subscribeOptionsCount = (int)n;
		response.subscribeOptionsList = list;
	} else {
		response.onSuccess = on_subscribe_3;
		response.onFailure = on_subscribe_failed_3;
	}
	rc = MQTTAsync_subscribeMany(feed->client, (int)n, topics, qos, &response);
out:
	if (rc != MQTTASYNC_SUCCESS) {
		wt_log(WT_LOG_WARNING, "subscribing failed: %s", MQTTAsync_strerror(rc));
		not_answered(feed);
	}
	free(topics);
	free(qos);
	free(list);
}
