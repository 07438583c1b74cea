/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "daemon/notice.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>

#include "daemon/version.h"
#include "lib/wire/text.h"

/* A load whose likeliest end lies nearer than this is soon past its best (our choice). */
#define SOON_S 7200
/* Notices under way at a time, and how often one that did not arrive is sent again, after how long,
 * doubled each time (our choice); more are dropped and counted. */
#define MOST_UNDER_WAY 8
#define MOST_TRIES 4
#define AGAIN_S 60
#define DAY_S 86400
/* As many as a day may have by configuration. */
#define MOST_A_DAY 24

/* One notice, kept until it has arrived or was given up. */
struct letter {
	struct wt_notice *notice;
	char *body; /* NULL: this place is free */
	bool sending;
	int tries;
	int64_t again_unix_s;
};

struct wt_notice {
	struct wt_http *http;
	const struct wt_config *config;
	json_t *calls;  /* load -> call last told */
	json_t *soon;   /* load -> true: told */
	json_t *silent; /* text -> true: told */
	bool looked;
	struct letter letters[MOST_UNDER_WAY];
	int64_t told_unix_s[MOST_A_DAY]; /* when the last ones were told, round and round */
	size_t n_told;
	int64_t now_unix_s; /* of the last look */
	unsigned failures;
	char fault[200];
};

struct wt_notice *wt_notice_new(struct wt_http *http, const struct wt_config *config)
{
	if (!config->notice_url)
		return NULL;
	struct wt_notice *notice = calloc(1, sizeof *notice);
	if (!notice)
		return NULL;
	*notice = (struct wt_notice){.http = http,
				     .config = config,
				     .calls = json_object(),
				     .soon = json_object(),
				     .silent = json_object()};
	return notice;
}

void wt_notice_free(struct wt_notice **notice)
{
	if (!*notice)
		return;
	json_decref((*notice)->calls);
	json_decref((*notice)->soon);
	json_decref((*notice)->silent);
	for (size_t i = 0; i < MOST_UNDER_WAY; i++)
		free((*notice)->letters[i].body);
	free(*notice);
	*notice = NULL;
}

static void sent(void *context, const struct wt_http_answer *answer)
{
	struct letter *letter = context;
	struct wt_notice *notice = letter->notice;

	letter->sending = false;
	if (!answer->fault && answer->status >= 200 && answer->status < 300) {
		notice->failures = 0;
		notice->fault[0] = '\0';
		free(letter->body);
		letter->body = NULL;
		return;
	}
	notice->failures++;
	if (answer->fault)
		wt_text_clean(answer->fault, strlen(answer->fault), notice->fault,
			      sizeof notice->fault);
	else
		snprintf(notice->fault, sizeof notice->fault, "it answers %ld", answer->status);
	if (letter->tries >= MOST_TRIES) {
		free(letter->body);
		letter->body = NULL;
		return;
	}
	letter->again_unix_s = notice->now_unix_s + (int64_t)AGAIN_S * (1 << letter->tries);
}

static void send_letter(struct letter *letter)
{
	struct wt_notice *notice = letter->notice;
	struct wt_http_request request = {.url = notice->config->notice_url,
					  .user_agent = "witherd/" WT_VERSION,
					  .post_body = letter->body,
					  .post_type = notice->config->notice_text
							       ? "text/plain; charset=utf-8"
							       : "application/json"};

	letter->tries++;
	letter->sending = wt_http_start(notice->http, &request, sent, letter);
	if (!letter->sending) {
		notice->failures++;
		letter->again_unix_s = notice->now_unix_s + AGAIN_S;
	}
}

/* Takes over document. */
static void post(struct wt_notice *notice, json_t *document)
{
	const char *text = json_string_value(json_object_get(document, "text"));
	struct letter *letter = NULL;
	char *body = notice->config->notice_text
			     ? strdup(text ? text : "")
			     : json_dumps(document, JSON_COMPACT | JSON_REAL_PRECISION(15));

	json_decref(document);
	for (size_t i = 0; i < MOST_UNDER_WAY && !letter; i++) {
		if (!notice->letters[i].body)
			letter = &notice->letters[i];
	}
	if (!body || !letter) {
		free(body);
		notice->failures++;
		return;
	}
	*letter = (struct letter){.notice = notice, .body = body};
	notice->told_unix_s[notice->n_told++ % MOST_A_DAY] = notice->now_unix_s;
	send_letter(letter);
}

/* In the quiet hours and beyond the day's number nothing is told; what then still holds is told
 * later, since it is not remembered as told. */
static bool may_tell(const struct wt_notice *notice)
{
	const struct wt_config *config = notice->config;
	int from_min = config->notice_quiet_from_min, to_min = config->notice_quiet_to_min, n = 0;
	time_t now = (time_t)notice->now_unix_s;
	struct tm local;

	/* What was told in the future was told by a clock that was set back. */
	for (size_t i = 0; i < MOST_A_DAY && i < notice->n_told; i++) {
		int64_t age_s = notice->now_unix_s - notice->told_unix_s[i];
		n += age_s >= 0 && age_s < DAY_S;
	}
	if (n >= config->notice_most_a_day)
		return false;
	if (from_min == to_min || !localtime_r(&now, &local))
		return true;
	int minute = local.tm_hour * 60 + local.tm_min;
	bool quiet = from_min < to_min ? minute >= from_min && minute < to_min
				       : minute >= from_min || minute < to_min;
	return !quiet;
}

static json_t *describe(struct wt_notice *notice, const char *event, const json_t *row,
			const char *said, int64_t now_unix_s)
{
	char text[600];
	/* Long names are cut, and the cut may have gone through a character. */
	wt_text_clean(said, strlen(said), text, sizeof text);
	json_t *load = json_object_get(row, "load"), *origin = json_object_get(row, "origin");
	json_t *call = json_object_get(row, "call");
	return json_pack("{s:i,s:s,s:s,s:I,s:s,s:O*,s:O*,s:O*}", "format", 1, "event", event,
			 "site", notice->config->site_name, "at_unix_s", (json_int_t)now_unix_s,
			 "text", text, "load", load, "origin", origin, "call", call);
}

static void look_at_load(struct wt_notice *notice, const json_t *row, int64_t now_unix_s)
{
	char number[32], text[400], garden[80], because[200] = "";
	const char *origin = json_string_value(json_object_get(row, "origin"));
	const char *call = json_string_value(json_object_get(row, "call"));
	const char *why = json_string_value(json_object_get(row, "why"));
	snprintf(number, sizeof number, "%lld",
		 (long long)json_integer_value(json_object_get(row, "load")));
	wt_text_clean(origin ? origin : "?", origin ? strlen(origin) : 1, garden, sizeof garden);
	if (why)
		wt_text_clean(why, strlen(why), because, sizeof because);
	const char *was = json_string_value(json_object_get(notice->calls, number));
	bool tell = notice->looked && notice->config->notice_call_changes;
	if (call && (!was || strcmp(was, call) != 0) && (!tell || may_tell(notice))) {
		if (tell) {
			snprintf(text, sizeof text, "load %s (%s): %s%s%s", number, garden, call,
				 why ? ": " : "", because);
			post(notice, describe(notice, "call-changes", row, text, now_unix_s));
		}
		json_object_set_new(notice->calls, number, json_string(call));
	}
	const json_t *past = json_object_get(json_object_get(row, "past_unix_s"), "p50");
	if (!json_is_number(past) || json_object_get(notice->soon, number) ||
	    json_number_value(past) - (double)now_unix_s > SOON_S)
		return;
	tell = notice->looked && notice->config->notice_past_soon;
	if (tell && !may_tell(notice))
		return;
	json_object_set_new(notice->soon, number, json_true());
	if (tell) {
		snprintf(text, sizeof text, "load %s (%s) will be past its best within 2 h", number,
			 garden);
		post(notice, describe(notice, "past-soon", row, text, now_unix_s));
	}
}

static void look_at_silence(struct wt_notice *notice, const json_t *concerns, int64_t now_unix_s)
{
	json_t *silent = json_object();
	size_t index, n_silent = 0;
	json_t *item;
	json_array_foreach(concerns, index, item)
	{
		const char *code = json_string_value(json_object_get(item, "code"));
		const char *text = json_string_value(json_object_get(item, "text"));
		char key[32];
		if (!code || !text || strcmp(code, "station_silent") != 0)
			continue;
		/* The text holds the time of silence and changes: their number is what counts. */
		snprintf(key, sizeof key, "%zu", n_silent++);
		bool tell = notice->looked && notice->config->notice_station_silent &&
			    !json_object_get(notice->silent, key);
		if (tell && !may_tell(notice))
			continue;
		if (tell)
			post(notice, describe(notice, "station-silent", NULL, text, now_unix_s));
		json_object_set_new(silent, key, json_true());
	}
	json_decref(notice->silent);
	notice->silent = silent;
}

void wt_notice_look(struct wt_notice *notice, const json_t *tonight, const json_t *concerns,
		    int64_t now_unix_s)
{
	size_t index;
	json_t *row;
	notice->now_unix_s = now_unix_s;
	for (size_t i = 0; i < MOST_UNDER_WAY; i++) {
		struct letter *letter = &notice->letters[i];
		int64_t left_s = letter->again_unix_s - now_unix_s;
		/* One that waits longer than any would has its time of a clock set back. */
		if (letter->body && !letter->sending &&
		    (left_s <= 0 || left_s > (int64_t)AGAIN_S * (1 << MOST_TRIES)))
			send_letter(letter);
	}
	json_array_foreach(json_object_get(tonight, "loads"), index, row)
		look_at_load(notice, row, now_unix_s);
	look_at_silence(notice, concerns, now_unix_s);
	notice->looked = true;
}

unsigned wt_notice_failures(const struct wt_notice *notice)
{
	return notice->failures;
}

const char *wt_notice_fault(const struct wt_notice *notice)
{
	return notice->fault;
}
