/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * Notices, and the waits of the outlook, at a real server on loopback, on a clock of the test's
 * own.
 */
#include <arpa/inet.h>
#include <event2/buffer.h>
#include <event2/bufferevent.h>
#include <event2/event.h>
#include <event2/listener.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>

#include <cmocka.h>
#include <jansson.h>

#include "daemon/notice.h"
#include "daemon/outlook.h"

/* 5 April 2026, 18:00 UTC. */
#define EVENING INT64_C(1775412000)
#define HOUR INT64_C(3600)

static struct {
	struct event_base *base;
	struct evconnlistener *listener;
	struct wt_http *http;
	struct wt_config config;
	char url[64];
	int status;                      /* that the server answers with */
	const char *header;              /* and a line of its head, with its end; NULL: none */
	int posts;                       /* requests */
	struct bufferevent *streams[64]; /* open ones; the others NULL */
	char last[4096];                 /* the last request, head and body */
} bench;

static void on_read(struct bufferevent *stream, void *context)
{
	struct evbuffer *input = bufferevent_get_input(stream);
	size_t length = evbuffer_get_length(input);
	char text[sizeof bench.last], *body, *told;

	(void)context;
	if (length >= sizeof text)
		fail_msg("%zu bytes", length);
	evbuffer_copyout(input, text, length);
	text[length] = '\0';
	body = strstr(text, "\r\n\r\n");
	told = strstr(text, "Content-Length: ");
	if (!body || (told && strlen(body + 4) < (size_t)atoi(told + 16)))
		return;
	evbuffer_drain(input, length);
	memcpy(bench.last, text, length + 1);
	bench.posts++;
	evbuffer_add_printf(bufferevent_get_output(stream),
			    "HTTP/1.1 %d x\r\n%sContent-Length: 0\r\nConnection: close\r\n\r\n",
			    bench.status, bench.header ? bench.header : "");
}

static void on_end(struct bufferevent *stream, short what, void *context)
{
	(void)what;
	(void)context;
	for (size_t i = 0; i < sizeof bench.streams / sizeof *bench.streams; i++)
		if (bench.streams[i] == stream)
			bench.streams[i] = NULL;
	bufferevent_free(stream);
}

static void on_accept(struct evconnlistener *listener, evutil_socket_t fd, struct sockaddr *from,
		      int length, void *context)
{
	struct bufferevent *stream = bufferevent_socket_new(bench.base, fd, BEV_OPT_CLOSE_ON_FREE);

	(void)listener;
	(void)from;
	(void)length;
	(void)context;
	for (size_t i = 0; i < sizeof bench.streams / sizeof *bench.streams; i++) {
		if (!bench.streams[i]) {
			bench.streams[i] = stream;
			break;
		}
	}
	bufferevent_setcb(stream, on_read, NULL, on_end, NULL);
	bufferevent_enable(stream, EV_READ | EV_WRITE);
}

/* Lets the loop run until so many posts came and were answered; false at the deadline. */
static bool posts_come(int count)
{
	time_t deadline = time(NULL) + 30;

	while (bench.posts < count && time(NULL) < deadline)
		event_base_loop(bench.base, EVLOOP_ONCE | EVLOOP_NONBLOCK);
	/* The answer must come back too. */
	for (int i = 0; i < 2000 && bench.posts >= count; i++)
		event_base_loop(bench.base, EVLOOP_NONBLOCK);
	return bench.posts == count;
}

static const char *garden = "creek";

static json_t *evening(const char *call)
{
	return json_pack("{s:[{s:i,s:s,s:s,s:s,s:{s:n}}]}", "loads", "load", 7, "origin", garden,
			 "call", call, "why", "it is \xe7\x86\x9f", "past_unix_s", "p50");
}

static void look(struct wt_notice *notice, const char *call, int64_t at_unix_s)
{
	json_t *tonight = evening(call), *concerns = json_array();

	wt_notice_look(notice, tonight, concerns, at_unix_s);
	json_decref(tonight);
	json_decref(concerns);
}

static struct wt_notice *begin(void)
{
	struct wt_notice *notice = wt_notice_new(bench.http, &bench.config);

	assert_non_null(notice);
	bench.posts = 0;
	bench.status = 200;
	look(notice, "wait", EVENING);
	return notice;
}

static void a_change_is_told_once(void **state)
{
	struct wt_notice *notice = begin();

	(void)state;
	look(notice, "tonight", EVENING + 60);
	look(notice, "tonight", EVENING + 120);
	assert_true(posts_come(1));
	assert_non_null(strstr(bench.last, "Content-Type: application/json"));
	assert_non_null(strstr(bench.last, "\"event\":\"call-changes\""));
	assert_int_equal(wt_notice_failures(notice), 0);
	wt_notice_free(&notice);
}

static void a_sentence_alone_where_that_is_wished(void **state)
{
	struct wt_notice *notice;

	(void)state;
	bench.config.notice_text = true;
	notice = begin();
	look(notice, "tonight", EVENING + 60);
	assert_true(posts_come(1));
	assert_non_null(strstr(bench.last, "Content-Type: text/plain; charset=utf-8"));
	assert_string_equal(strstr(bench.last, "\r\n\r\n") + 4,
			    "load 7 (creek): tonight: it is \xe7\x86\x9f");
	wt_notice_free(&notice);
	bench.config.notice_text = false;
}

/* A name may have 60 characters of three bytes each, more than a letter shows. */
static void a_long_name_is_cut_between_characters(void **state)
{
	char name[3 * 60 + 1] = "";
	struct wt_notice *notice;

	(void)state;
	for (size_t i = 0; i < 60; i++)
		memcpy(name + 3 * i, "\xe8\x8c\xb6", 4);
	garden = name;
	notice = begin();
	look(notice, "tonight", EVENING + 60);
	assert_true(posts_come(1));
	json_t *letter = json_loads(strstr(bench.last, "\r\n\r\n") + 4, 0, NULL);
	const char *text = json_string_value(json_object_get(letter, "text"));
	assert_non_null(text);
	assert_non_null(strstr(text, "load 7 (\xe8\x8c\xb6"));
	assert_non_null(strstr(text, "...): tonight: it is \xe7\x86\x9f"));
	json_decref(letter);
	wt_notice_free(&notice);
	garden = "creek";
}

/* What changed in the quiet hours is told when they are over, if it still holds. */
static void quiet_hours_are_kept(void **state)
{
	static const int hours[][2] = {{17, 21}, {17, 6}};

	(void)state;
	for (size_t i = 0; i < 2; i++) {
		struct wt_notice *notice = begin();

		bench.config.notice_quiet_from_min = hours[i][0] * 60;
		bench.config.notice_quiet_to_min = hours[i][1] * 60;
		look(notice, "tonight", EVENING + 60);
		look(notice, "tonight", EVENING + 2 * HOUR);
		assert_true(posts_come(0));
		look(notice, "tonight", EVENING + (i ? 13 : 4) * HOUR);
		assert_true(posts_come(1));
		bench.config.notice_quiet_from_min = bench.config.notice_quiet_to_min = 0;
		wt_notice_free(&notice);
	}
}

static void no_more_than_a_few_a_day(void **state)
{
	struct wt_notice *notice = begin();

	(void)state;
	bench.config.notice_most_a_day = 2;
	for (int i = 1; i <= 6; i++) {
		look(notice, i % 2 ? "tonight" : "wait", EVENING + i * HOUR);
		assert_true(posts_come(i < 2 ? i : 2));
	}
	/* A day after the first there is room for one again. */
	look(notice, "morning", EVENING + 25 * HOUR + 60);
	assert_true(posts_come(3));
	bench.config.notice_most_a_day = 6;
	wt_notice_free(&notice);
}

static void what_does_not_arrive_is_sent_again(void **state)
{
	struct wt_notice *notice = begin();

	(void)state;
	bench.status = 503;
	look(notice, "tonight", EVENING + 60);
	assert_true(posts_come(1));
	assert_int_equal(wt_notice_failures(notice), 1);
	assert_string_equal(wt_notice_fault(notice), "it answers 503");
	look(notice, "tonight", EVENING + 100);
	assert_true(posts_come(1));
	bench.status = 204;
	look(notice, "tonight", EVENING + 60 + 121);
	assert_true(posts_come(2));
	assert_int_equal(wt_notice_failures(notice), 0);
	look(notice, "tonight", EVENING + 5 * HOUR);
	assert_true(posts_come(2));
	/* After four tries it is given up. */
	bench.status = 500;
	for (int i = 6; i < 20; i++)
		look(notice, "wait", EVENING + i * HOUR), posts_come(2 + (i < 9 ? i - 5 : 4));
	assert_int_equal(bench.posts, 6);
	wt_notice_free(&notice);
}

/* A clock that ran a year ahead and was set right does not silence for a year. */
static void a_clock_set_back_does_not_silence(void **state)
{
	const int64_t ahead = EVENING + 365 * 24 * HOUR;
	struct wt_notice *notice = begin();

	(void)state;
	bench.config.notice_most_a_day = 1;
	bench.status = 503;
	look(notice, "tonight", ahead);
	assert_true(posts_come(1));
	bench.status = 204;
	look(notice, "tonight", EVENING + 60);
	assert_true(posts_come(2));
	look(notice, "morning", EVENING + 120);
	assert_true(posts_come(3));
	bench.config.notice_most_a_day = 6;
	wt_notice_free(&notice);
}

/* --- the outlook ---------------------------------------------------------------------------- */

static bool take_nothing(void *context, const json_t *document, char *why, size_t why_size)
{
	(void)context;
	(void)document;
	snprintf(why, why_size, "not asked for");
	return false;
}

static void keep_nothing(void *context, const char *name, const char *value)
{
	(void)context;
	(void)name;
	(void)value;
}

struct asker {
	char folder[64];
	struct wt_store *store;
	struct wt_outlook_feed *feed;
};

static void asker_open(struct asker *asker)
{
	char path[96], text[512];
	bool set_aside;

	strcpy(asker->folder, "/tmp/wither-outlook.XXXXXX");
	assert_non_null(mkdtemp(asker->folder));
	snprintf(path, sizeof path, "%s/w.db", asker->folder);
	assert_int_equal(wt_store_open(path, &asker->store, &set_aside, text, sizeof text),
			 WT_STORE_OK);
	bench.config.outlook_url = bench.url;
	bench.config.outlook_refresh_s = 3600;
	const struct wt_outlook_setup setup = {.http = bench.http,
					       .store = asker->store,
					       .config = &bench.config,
					       .take = take_nothing,
					       .keep = keep_nothing};
	asker->feed = wt_outlook_feed_new(&setup, EVENING);
	assert_non_null(asker->feed);
	bench.posts = 0;
}

static void asker_close(struct asker *asker)
{
	char command[96];

	wt_outlook_feed_free(&asker->feed);
	wt_store_close(&asker->store);
	bench.header = NULL;
	snprintf(command, sizeof command, "rm -r '%s'", asker->folder);
	assert_int_equal(system(command), 0);
}

/* RFC 9110, section 10.2.3: how long the service wishes to be left alone. */
static void a_service_is_left_alone_as_long_as_it_says(void **state)
{
	struct asker asker;

	(void)state;
	asker_open(&asker);
	bench.status = 503;
	bench.header = "Retry-After: 43200\r\n";
	wt_outlook_feed_beat(asker.feed, EVENING);
	assert_true(posts_come(1));
	wt_outlook_feed_beat(asker.feed, EVENING + 12 * HOUR - 1);
	assert_true(posts_come(1));
	wt_outlook_feed_beat(asker.feed, EVENING + 13 * HOUR);
	assert_true(posts_come(2));
	/* Longer than a day is taken for a mistake. */
	bench.header = "Retry-After: 999999999\r\n";
	wt_outlook_feed_beat(asker.feed, EVENING + 30 * HOUR);
	assert_true(posts_come(3));
	wt_outlook_feed_beat(asker.feed, EVENING + 55 * HOUR);
	assert_true(posts_come(4));
	asker_close(&asker);
}

static void a_clock_set_back_does_not_stop_the_asking(void **state)
{
	struct asker asker;

	(void)state;
	asker_open(&asker);
	bench.status = 503;
	wt_outlook_feed_beat(asker.feed, EVENING + 365 * 24 * HOUR);
	assert_true(posts_come(1));
	wt_outlook_feed_beat(asker.feed, EVENING);
	assert_true(posts_come(2));
	asker_close(&asker);
}

static int open_bench(void **state)
{
	struct sockaddr_in address = {.sin_family = AF_INET,
				      .sin_addr.s_addr = htonl(INADDR_LOOPBACK)};
	socklen_t length = sizeof address;

	(void)state;
	setenv("TZ", "UTC", 1);
	tzset();
	bench.base = event_base_new();
	bench.listener = evconnlistener_new_bind(bench.base, on_accept, NULL, LEV_OPT_CLOSE_ON_FREE,
						 -1, (struct sockaddr *)&address, sizeof address);
	if (!bench.listener || getsockname(evconnlistener_get_fd(bench.listener),
					   (struct sockaddr *)&address, &length) != 0)
		return -1;
	snprintf(bench.url, sizeof bench.url, "http://127.0.0.1:%d/n", ntohs(address.sin_port));
	bench.config = (struct wt_config){.notice_url = bench.url,
					  .site_name = "Mill house",
					  .notice_call_changes = true,
					  .notice_most_a_day = 6};
	bench.http = wt_http_new(bench.base);
	return bench.http ? 0 : -1;
}

static int close_bench(void **state)
{
	(void)state;
	wt_http_free(&bench.http);
	for (size_t i = 0; i < sizeof bench.streams / sizeof *bench.streams; i++)
		if (bench.streams[i])
			bufferevent_free(bench.streams[i]);
	evconnlistener_free(bench.listener);
	event_base_free(bench.base);
	return 0;
}

int main(void)
{
	const struct CMUnitTest tests[] = {
		cmocka_unit_test(a_change_is_told_once),
		cmocka_unit_test(a_sentence_alone_where_that_is_wished),
		cmocka_unit_test(a_long_name_is_cut_between_characters),
		cmocka_unit_test(quiet_hours_are_kept),
		cmocka_unit_test(no_more_than_a_few_a_day),
		cmocka_unit_test(what_does_not_arrive_is_sent_again),
		cmocka_unit_test(a_clock_set_back_does_not_silence),
		cmocka_unit_test(a_service_is_left_alone_as_long_as_it_says),
		cmocka_unit_test(a_clock_set_back_does_not_stop_the_asking),
	};

	return cmocka_run_group_tests(tests, open_bench, close_bench);
}
