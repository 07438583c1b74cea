/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * From the library's thread to the loop, and the word back that it is on disk.
 */
#include <errno.h>
#include <stdlib.h>
#include <string.h>

#include "daemon/feed_inner.h"

/* FNV-1a, 64 bit (draft-eastlake-fnv): enough to tell a resent message from another. */
static int64_t name_packet(const char *topic, const void *payload, size_t length, int msgid)
{
	uint64_t hash = UINT64_C(14695981039346656037);
	const unsigned char *bytes = payload;
	for (; *topic; topic++)
		hash = (hash ^ (unsigned char)*topic) * UINT64_C(1099511628211);
	for (size_t i = 0; i < length; i++)
		hash = (hash ^ bytes[i]) * UINT64_C(1099511628211);
	hash = (hash ^ (unsigned)msgid) * UINT64_C(1099511628211);
	return (int64_t)(hash | 1);
}

static void item_free(struct wt_feed_item *item)
{
	if (!item)
		return;
	free(item->topic);
	free(item->payload);
	free(item);
}

static struct wt_feed_item *item_new(const char *topic, size_t topic_length,
				     const MQTTAsync_message *message)
{
	struct timespec now;
	struct wt_feed_item *item = calloc(1, sizeof *item);
	size_t length = message->payloadlen > 0 ? (size_t)message->payloadlen : 0;
	clock_gettime(CLOCK_REALTIME, &now);
	if (!item || !(item->topic = strndup(topic, topic_length)) ||
	    !(item->payload = malloc(length + 1))) {
		item_free(item);
		return NULL;
	}
	if (length)
		memcpy(item->payload, message->payload, length);
	item->payload[length] = '\0';
	item->length = length;
	item->retained = message->retained != 0;
	item->resent = message->dup != 0;
	item->waits = message->qos > 0;
	item->received_unix_ms = (int64_t)now.tv_sec * 1000 + now.tv_nsec / 1000000;
	if (message->qos > 0)
		item->packet = name_packet(item->topic, item->payload, length, message->msgid);
	return item;
}

static struct wt_feed_item *unlink_first(struct wt_feed *feed)
{
	struct wt_feed_item *item = feed->first;
	if (!item)
		return NULL;
	feed->first = item->next;
	if (!feed->first)
		feed->last = &feed->first;
	feed->n_queue--;
	feed->queue_bytes -= (int64_t)item->length;
	return item;
}

void wt_feed_drop_queue(struct wt_feed *feed)
{
	struct wt_feed_item *item;
	while ((item = unlink_first(feed)))
		item_free(item);
	item_free(feed->lent);
	feed->lent = NULL;
}

static bool full(const struct wt_feed *feed)
{
	return feed->n_queue >= WT_FEED_QUEUE_MAX || feed->queue_bytes >= WT_FEED_QUEUE_BYTES;
}

/* Too many wait: the sender is held back for a while by not reading on, then the oldest goes. */
static void make_room(struct wt_feed *feed)
{
	struct timespec end = wt_monotonic_in_ms(1000L * WT_FEED_PATIENCE_S);
	while (full(feed))
		if (pthread_cond_timedwait(&feed->moved, &feed->lock, &end) == ETIMEDOUT)
			break;
	while (full(feed)) {
		item_free(unlink_first(feed));
		feed->status.dropped++;
	}
}

static void wait_for_disk(struct wt_feed *feed, uint64_t number)
{
	struct timespec end = wt_monotonic_in_ms(1000L * WT_FEED_PATIENCE_S);
	while (feed->n_done < number) {
		/* The copy stays in the queue or in the spool; it is said that it is not durable.
		 */
		if (pthread_cond_timedwait(&feed->moved, &feed->lock, &end) == ETIMEDOUT) {
			feed->status.late++;
			feed->status.late_now++;
			feed->last_late = number;
			break;
		}
	}
}

/* Runs on the library's receiving thread; the acknowledgement goes out when it returns.  Returning
 * 0 would not withhold it, so 1 is returned always. */
int wt_feed_on_message(void *context, char *topic, int topic_length, MQTTAsync_message *message)
{
	struct wt_feed *feed = context;
	struct wt_feed_item *item =
		item_new(topic, topic_length > 0 ? (size_t)topic_length : strlen(topic), message);
	pthread_mutex_lock(&feed->lock);
	feed->status.messages++;
	if (!item) {
		feed->status.dropped++;
	} else {
		bool waits = item->waits;
		make_room(feed);
		uint64_t number = ++feed->n_arrived;
		item->number = number;
		*feed->last = item;
		feed->last = &item->next;
		feed->n_queue++;
		feed->queue_bytes += (int64_t)item->length;
		wt_wake_loop(feed->fd);
		pthread_cond_broadcast(&feed->moved);
		if (waits)
			wait_for_disk(feed, number);
	}
	pthread_mutex_unlock(&feed->lock);
	MQTTAsync_freeMessage(&message);
	MQTTAsync_free(topic);
	return 1;
}

bool wt_feed_take(struct wt_feed *feed, struct wt_message *out, bool *must_commit)
{
	pthread_mutex_lock(&feed->lock);
	struct wt_feed_item *old = feed->lent;
	struct wt_feed_item *item = unlink_first(feed);
	feed->lent = item;
	if (item) {
		feed->n_taken = item->number;
		pthread_cond_broadcast(&feed->moved);
	}
	pthread_mutex_unlock(&feed->lock);
	item_free(old);
	if (!item)
		return false;
	*must_commit = item->waits;
	*out = (struct wt_message){.at_unix_ms = item->received_unix_ms,
				   .topic = item->topic,
				   .payload = item->payload,
				   .length = item->length,
				   .retained = item->retained,
				   .resent = item->resent,
				   .packet = item->packet};
	return true;
}

uint64_t wt_feed_mark(struct wt_feed *feed)
{
	pthread_mutex_lock(&feed->lock);
	uint64_t mark = feed->n_taken;
	pthread_mutex_unlock(&feed->lock);
	return mark;
}

void wt_feed_done(struct wt_feed *feed, uint64_t mark)
{
	pthread_mutex_lock(&feed->lock);
	if (mark > feed->n_done)
		feed->n_done = mark;
	if (feed->n_done >= feed->last_late)
		feed->status.late_now = 0;
	pthread_cond_broadcast(&feed->moved);
	pthread_mutex_unlock(&feed->lock);
}

bool wt_feed_wait(struct wt_feed *feed, int wait_ms)
{
	struct timespec end = wt_monotonic_in_ms(wait_ms);
	pthread_mutex_lock(&feed->lock);
	while (!feed->closed && feed->n_queue == 0)
		if (pthread_cond_timedwait(&feed->moved, &feed->lock, &end) == ETIMEDOUT)
			break;
	bool more = !feed->closed || feed->n_queue > 0;
	pthread_mutex_unlock(&feed->lock);
	return more;
}
