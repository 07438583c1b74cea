/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "daemon/outlook.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <strings.h>
#include <sys/random.h>

#include "daemon/log.h"
#include "daemon/version.h"
#include "lib/wire/text.h"

/* Our choices. */
#define JITTER_S 600
#define FIRST_BACK_OFF_S 600
#define LAST_BACK_OFF_S (6 * 3600)
#define MOST_EXPIRY_S (24 * 3600)
/* No wait is longer: a time further ahead is left of a clock that was set back. */
#define MOST_WAIT_S (MOST_EXPIRY_S + JITTER_S)

struct wt_outlook_feed {
	struct wt_outlook_setup setup;
	char *user_agent;
	bool asking;
	int64_t now_unix_s; /* of the last beat */
	int64_t next_unix_s;
	int64_t good_unix_s;
	char *last_modified;
	unsigned failures;
	bool warned_deprecated;
	char fault[300];
};

static int64_t jitter(int64_t most_s)
{
	uint32_t random = 0;
	if (getrandom(&random, sizeof random, GRND_NONBLOCK) != (ssize_t)sizeof random)
		random = 0;
	return (int64_t)(random % (uint32_t)(most_s + 1));
}

static void remember(struct wt_outlook_feed *feed)
{
	json_t *state =
		json_pack("{s:s,s:I,s:I,s:s?}", "url", feed->setup.config->outlook_url, "next",
			  (json_int_t)feed->next_unix_s, "good", (json_int_t)feed->good_unix_s,
			  "last_modified", feed->last_modified);
	char *text = json_dumps(state, JSON_COMPACT);
	json_decref(state);
	if (text)
		feed->setup.keep(feed->setup.context, "outlook_http", text);
	free(text);
}

/* A restart does not ask again before it is time, unless another service was named. */
static void recall(struct wt_outlook_feed *feed, int64_t now_unix_s)
{
	char *text = wt_store_get(feed->setup.store, "outlook_http");
	json_t *state = text ? json_loads(text, 0, NULL) : NULL;
	const char *url = json_string_value(json_object_get(state, "url"));
	if (url && strcmp(url, feed->setup.config->outlook_url) == 0) {
		const char *modified = json_string_value(json_object_get(state, "last_modified"));
		int64_t next_unix_s = json_integer_value(json_object_get(state, "next"));
		feed->good_unix_s = json_integer_value(json_object_get(state, "good"));
		if (next_unix_s > now_unix_s && next_unix_s <= now_unix_s + MOST_WAIT_S)
			feed->next_unix_s = next_unix_s;
		feed->last_modified = modified ? strdup(modified) : NULL;
	}
	json_decref(state);
	free(text);
}

struct wt_outlook_feed *wt_outlook_feed_new(const struct wt_outlook_setup *setup,
					    int64_t now_unix_s)
{
	if (!setup->config->outlook_url)
		return NULL;
	struct wt_outlook_feed *feed = calloc(1, sizeof *feed);
	if (!feed)
		return NULL;
	feed->setup = *setup;
	if (asprintf(&feed->user_agent, "witherd/%s %s", wt_daemon_version(),
		     setup->config->outlook_contact ? setup->config->outlook_contact : "") < 0) {
		free(feed);
		return NULL;
	}
	recall(feed, now_unix_s);
	return feed;
}

void wt_outlook_feed_free(struct wt_outlook_feed **feed)
{
	if (!*feed)
		return;
	free((*feed)->user_agent);
	free((*feed)->last_modified);
	free(*feed);
	*feed = NULL;
}

static void fetch_failed(struct wt_outlook_feed *feed, int64_t least_s, const char *sentence)
{
	int64_t wait_s = FIRST_BACK_OFF_S;
	for (unsigned i = 0; i < feed->failures && wait_s < LAST_BACK_OFF_S; i++)
		wait_s *= 2;
	if (wait_s > LAST_BACK_OFF_S)
		wait_s = LAST_BACK_OFF_S;
	if (least_s > MOST_EXPIRY_S)
		least_s = MOST_EXPIRY_S;
	if (wait_s < least_s)
		wait_s = least_s;
	feed->failures++;
	feed->next_unix_s = feed->now_unix_s + wait_s + jitter(JITTER_S / 10);
	wt_text_clean(sentence, strlen(sentence), feed->fault, sizeof feed->fault);
	remember(feed);
}

static void fetch_went_well(struct wt_outlook_feed *feed, const struct wt_http_answer *answer)
{
	int64_t next_unix_s =
		feed->now_unix_s + feed->setup.config->outlook_refresh_s + jitter(JITTER_S);
	int64_t expires_unix_s = answer->expires_unix_s;
	if (expires_unix_s > feed->now_unix_s + MOST_EXPIRY_S)
		expires_unix_s = feed->now_unix_s + MOST_EXPIRY_S;
	if (next_unix_s < expires_unix_s)
		next_unix_s = expires_unix_s + jitter(JITTER_S);
	feed->failures = 0;
	feed->fault[0] = '\0';
	feed->good_unix_s = feed->now_unix_s;
	feed->next_unix_s = next_unix_s;
	if (answer->last_modified) {
		char *copy = strdup(answer->last_modified);
		free(feed->last_modified);
		feed->last_modified = copy;
	}
	remember(feed);
}

static void take_document(struct wt_outlook_feed *feed, const struct wt_http_answer *answer)
{
	char why[256], sentence[400];
	json_error_t error;
	const char *type = answer->content_type;
	if (type && !strcasestr(type, "json")) {
		snprintf(sentence, sizeof sentence, "the outlook is '%.60s', not JSON", type);
		fetch_failed(feed, 0, sentence);
		return;
	}
	json_t *document = json_loadb(answer->body, answer->length, 0, &error);
	if (!document) {
		snprintf(sentence, sizeof sentence, "the outlook is not JSON: %s", error.text);
		fetch_failed(feed, 0, sentence);
		return;
	}
	if (feed->setup.take(feed->setup.context, document, why, sizeof why)) {
		fetch_went_well(feed, answer);
	} else {
		snprintf(sentence, sizeof sentence, "the outlook cannot be used: %s", why);
		fetch_failed(feed, 0, sentence);
	}
	json_decref(document);
}

/* Services tell why in {"reason": "..."}. */
static void refused(struct wt_outlook_feed *feed, const struct wt_http_answer *answer)
{
	char sentence[400];
	json_t *document = json_loadb(answer->body, answer->length, 0, NULL);
	const char *reason = json_string_value(json_object_get(document, "reason"));
	const char *hint = answer->status == 403
				   ? "; is contact = set, are there at most 4 decimals?"
			   : answer->status == 429 ? "; too many requests"
						   : "";
	snprintf(sentence, sizeof sentence, "the weather service answers %ld%s%s%.150s",
		 answer->status, hint, reason ? ": " : "", reason ? reason : "");
	/* Told to stop: we stop for long. */
	int64_t least_s = answer->status == 429 || answer->status == 403 ? LAST_BACK_OFF_S : 0;
	fetch_failed(feed, answer->retry_after_s > least_s ? answer->retry_after_s : least_s,
		     sentence);
	json_decref(document);
}

static void fetched(void *context, const struct wt_http_answer *answer)
{
	struct wt_outlook_feed *feed = context;
	char sentence[400];
	feed->asking = false;
	if (answer->fault) {
		snprintf(sentence, sizeof sentence, "the weather service cannot be asked: %s",
			 answer->fault);
		fetch_failed(feed, 0, sentence);
	} else if (answer->status == 304 && feed->good_unix_s) {
		fetch_went_well(feed, answer);
	} else if (answer->status == 200 || answer->status == 203) {
		if (answer->status == 203 && !feed->warned_deprecated)
			wt_log(WT_LOG_NOTICE,
			       "the weather service says that this address is going away (203)");
		feed->warned_deprecated |= answer->status == 203;
		take_document(feed, answer);
	} else {
		refused(feed, answer);
	}
}

void wt_outlook_feed_beat(struct wt_outlook_feed *feed, int64_t now_unix_s)
{
	feed->now_unix_s = now_unix_s;
	if (feed->asking ||
	    (now_unix_s < feed->next_unix_s && feed->next_unix_s <= now_unix_s + MOST_WAIT_S))
		return;
	struct wt_http_request request = {
		.url = feed->setup.config->outlook_url,
		.user_agent = feed->user_agent,
		.if_modified_since = feed->good_unix_s ? feed->last_modified : NULL,
	};
	feed->asking = wt_http_start(feed->setup.http, &request, fetched, feed);
	if (!feed->asking)
		feed->next_unix_s = now_unix_s + FIRST_BACK_OFF_S;
}

const char *wt_outlook_feed_fault(const struct wt_outlook_feed *feed)
{
	return feed->fault[0] ? feed->fault : NULL;
}

int64_t wt_outlook_feed_good_unix_s(const struct wt_outlook_feed *feed)
{
	return feed->good_unix_s;
}
