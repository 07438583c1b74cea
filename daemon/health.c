/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * What is wrong, in words: for `wither health`, the log and the service manager.
 */
#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "daemon/log.h"
#include "daemon/sdnotify.h"
#include "daemon/service_inner.h"
#include "daemon/version.h"
#include "lib/wire/text.h"

/* Bounds, our choice. */
#define LOOK_EVERY_S 5.0
#define LEAST_FREE_BYTES (INT64_C(100) * 1024 * 1024)
#define BROKER_PATIENCE_S 60
#define WORKER_PATIENCE_S 60.0
#define STALL_S 5.0
/* A restart does not mend a disk, and loses what waits in memory: the dog waits long. */
#define STALL_PATIENCE_S 600.0

static void add(json_t *items, const char *code, const char *severity, const char *format, ...)
	__attribute__((format(printf, 4, 5)));

static void add_said(json_t *items, const char *code, const char *severity, const char *says)
{
	char text[600], clean[600];
	wt_says_text(says, text, sizeof text);
	/* Others have a say in it, and a cut may have gone through a character. */
	wt_text_clean(text, strlen(text), clean, sizeof clean);
	json_array_append_new(items,
			      json_pack("{s:s,s:s,s:s,s:o,s:b}", "code", code, "severity", severity,
					"text", clean, "says", wt_says_json(says), "daemon", 1));
}

static void add(json_t *items, const char *code, const char *severity, const char *format, ...)
{
	char says[WT_SAYS_SIZE];
	va_list arguments;
	va_start(arguments, format);
	wt_says_take(says, format, arguments);
	va_end(arguments);
	add_said(items, code, severity, says);
}

static void store_items(struct wt_service *service, json_t *items)
{
	struct wt_spool_facts spool;
	struct wt_store_facts store;
	double stalled_s = wt_service_stalled_s(service);
	wt_engine_spool_facts(service->engine, &spool);
	wt_service_store_facts(service, &store);
	if (spool.state == WT_STORE_DAMAGED)
		add(items, "store_damaged", "err",
		    "the database is damaged (%s); restart witherd: it sets the file aside and "
		    "begins "
		    "a fresh one",
		    spool.error);
	else if (spool.state != WT_STORE_OK)
		add(items, "store_busy", "err",
		    "nothing can be written: %s; %zu rows wait in memory and acts are refused",
		    spool.error, spool.waiting);
	else if (stalled_s >= STALL_S)
		add(items, "store_stalled", "err",
		    "the disk has not answered for %.0f s; %zu rows wait in memory and acts are "
		    "refused",
		    stalled_s, spool.waiting);
	if (spool.dropped)
		add(items, "rows_dropped", "err",
		    "%llu rows were lost: the database took none for too long",
		    (unsigned long long)spool.dropped);
	if (store.free_bytes >= 0 && store.free_bytes < LEAST_FREE_BYTES)
		add(items, "disk_low", "warning", "only %lld MB are free where the database lies",
		    (long long)(store.free_bytes / 1000000));
	if (service->set_aside[0])
		add(items, "set_aside", "err", "%s", service->set_aside);
}

static void feed_items(struct wt_service *service, json_t *items)
{
	struct wt_feed_status feed;
	if (service->setup.frozen)
		return;
	if (!service->feed) {
		add(items, "no_broker", "warning", "no broker is configured: no readings come in");
		return;
	}
	wt_feed_status(service->feed, &feed);
	int64_t away_s = wt_service_now_ms(service) / 1000 - feed.since_unix_s;
	if (feed.state == WT_FEED_REFUSED)
		add_said(items, "broker_refused", "err", feed.says);
	else if (feed.state == WT_FEED_CONNECTING && away_s >= BROKER_PATIENCE_S)
		add_said(items, "broker_lost", "err", feed.says);
	else if (feed.state == WT_FEED_CONNECTING)
		add_said(items, "broker_connecting", "notice", feed.says);
	if (feed.dropped)
		add(items, "messages_dropped", "err", "%llu messages were lost: too many waited",
		    (unsigned long long)feed.dropped);
	if (feed.late_now)
		add(items, "not_durable", "warning",
		    "%llu messages were acknowledged to the broker and are only in memory yet",
		    (unsigned long long)feed.late_now);
}

static void tell_items(struct wt_service *service, json_t *items)
{
	const char *fault = service->outlook ? wt_outlook_feed_fault(service->outlook) : NULL;
	if (fault) {
		int64_t good_unix_s = wt_outlook_feed_good_unix_s(service->outlook);
		if (good_unix_s)
			add(items, "outlook", "warning",
			    "%s; the last good outlook is %lld min old", fault,
			    (long long)(wt_service_now_ms(service) / 1000 - good_unix_s) / 60);
		else
			add(items, "outlook", "warning", "%s", fault);
	}
	if (service->notice && wt_notice_failures(service->notice))
		add(items, "notice", "warning", "%u notices could not be sent: %s",
		    wt_notice_failures(service->notice), wt_notice_fault(service->notice));
}

/* Worst first; within a severity in the order found. */
static json_t *sorted(json_t *items)
{
	static const char *const order[] = {"err", "warning", "notice"};
	json_t *out = json_array(), *item;
	size_t index;
	for (size_t i = 0; i < 3; i++)
		json_array_foreach(items, index, item)
		{
			const char *severity = json_string_value(json_object_get(item, "severity"));
			if (strcmp(severity, order[i]) == 0)
				json_array_append(out, item);
		}
	json_decref(items);
	return out;
}

/* "station_silent", "station_silent#2": the texts hold ages and change, so a concern is known by
 * its code and its place among those of the same code. */
static const char *item_key(const json_t *items, size_t index, char key[64])
{
	const char *code = json_string_value(json_object_get(json_array_get(items, index), "code"));
	int number = 1;
	for (size_t i = 0; i < index; i++)
		number +=
			strcmp(json_string_value(json_object_get(json_array_get(items, i), "code")),
			       code) == 0;
	if (number == 1)
		snprintf(key, 64, "%s", code);
	else
		snprintf(key, 64, "%s#%d", code, number);
	return key;
}

json_t *wt_health_items(struct wt_service *service)
{
	int64_t now_ms = wt_service_now_ms(service);
	json_t *items = json_array(), *item;
	json_t *seen = wt_site_concerns(wt_engine_site(service->engine), now_ms / 1000);
	size_t index;
	double running_s = wt_worker_running_s(service->worker);
	store_items(service, items);
	feed_items(service, items);
	tell_items(service, items);
	if (now_ms < WT_CLOCK_FLOOR_UNIX_MS && !service->setup.frozen)
		add(items, "clock_unset", "err",
		    "the clock of this machine is not set: it says a time before 2025");
	if (running_s > WORKER_PATIENCE_S)
		add(items, "worker_stuck", "err", "a forecast has been running for %.0f s",
		    running_s);
	if (service->reload_fault[0])
		add(items, "configuration", "warning",
		    "the configuration was not taken at the last reload: %s",
		    service->reload_fault);
	json_array_extend(items, seen);
	json_decref(seen);
	items = sorted(items);
	json_array_foreach(items, index, item)
	{
		char key[64];
		json_t *since = json_object_get(service->since, item_key(items, index, key));
		json_object_set_new(item, "since_unix_s",
				    since ? json_integer(json_integer_value(
						    json_object_get(since, "since_unix_s")))
					  : json_integer(now_ms / 1000));
	}
	return items;
}

static json_t *facts(struct wt_service *service)
{
	struct wt_store_facts store;
	struct wt_spool_facts spool;
	struct wt_feed_status feed = {.state = WT_FEED_OFF};
	struct wt_site *site = wt_engine_site(service->engine);
	int64_t now_unix_s = wt_service_now_ms(service) / 1000;
	int64_t issued_unix_s = wt_site_forecast_unix_s(site);
	size_t open = 0, index;
	json_t *loads = wt_site_loads_rows(site), *load;
	json_array_foreach(loads, index, load)
	{
		if (json_is_null(json_object_get(load, "fixed_unix_s")))
			open++;
	}
	json_decref(loads);
	wt_service_store_facts(service, &store);
	wt_engine_spool_facts(service->engine, &spool);
	if (service->feed)
		wt_feed_status(service->feed, &feed);
	return json_pack("{s:s,s:I,s:I,s:I,s:I,s:I,s:o,s:I,s:I,s:s,s:b}", "version",
			 wt_daemon_version(), "started_unix_s", (json_int_t)service->started_unix_s,
			 "database_bytes", (json_int_t)store.database_bytes, "free_bytes",
			 (json_int_t)store.free_bytes, "readings", (json_int_t)store.readings,
			 "loads_open", (json_int_t)open, "forecast_age_s",
			 issued_unix_s ? json_integer(now_unix_s - issued_unix_s) : json_null(),
			 "queue", (json_int_t)(spool.waiting + feed.queue), "not_durable",
			 (json_int_t)feed.late_now, "broker", wt_feed_state_text(feed.state),
			 "frozen", (int)service->setup.frozen);
}

json_t *wt_health_report(struct wt_service *service)
{
	json_t *items = wt_health_items(service), *item;
	bool fine = true;
	size_t index;
	json_array_foreach(items, index, item)
	{
		fine = fine &&
		       strcmp(json_string_value(json_object_get(item, "severity")), "notice") == 0;
		json_object_del(item, "daemon");
	}
	return json_pack("{s:b,s:o,s:o}", "ok", (int)fine, "items", items, "facts", facts(service));
}

static enum wt_log_level level_of(const char *severity)
{
	return strcmp(severity, "err") == 0       ? WT_LOG_ERR
	       : strcmp(severity, "warning") == 0 ? WT_LOG_WARNING
						  : WT_LOG_NOTICE;
}

/* The feed says for itself how it fares with the broker. */
static bool said_elsewhere(const char *code)
{
	return strncmp(code, "broker_", 7) == 0;
}

/* Remembers what is wrong now, says what is new and what has ended. */
static void note_changes(struct wt_service *service, json_t *items)
{
	json_t *now = json_object(), *item, *was;
	const char *code;
	size_t index;
	json_array_foreach(items, index, item)
	{
		char key[64];
		const char *severity = json_string_value(json_object_get(item, "severity"));
		code = item_key(items, index, key);
		if (!json_object_get(service->since, code) && !said_elsewhere(code))
			wt_log(level_of(severity), "%s",
			       json_string_value(json_object_get(item, "text")));
		json_object_set(now, code, item);
	}
	json_object_foreach(service->since, code, was)
	{
		if (!json_object_get(now, code) && !said_elsewhere(code))
			wt_log(WT_LOG_NOTICE, "over after %lld s: %s",
			       (long long)(wt_service_now_ms(service) / 1000 -
					   json_integer_value(
						   json_object_get(was, "since_unix_s"))),
			       json_string_value(json_object_get(was, "text")));
	}
	json_decref(service->since);
	service->since = now;
}

static void tell_manager(struct wt_service *service, json_t *items)
{
	char text[sizeof service->status_text];
	const json_t *worst = json_array_get(items, 0);
	struct wt_store_facts store;
	wt_service_store_facts(service, &store);
	if (worst)
		snprintf(text, sizeof text, "STATUS=%.110s",
			 json_string_value(json_object_get(worst, "text")));
	else
		snprintf(text, sizeof text, "STATUS=well: %lld readings",
			 (long long)store.readings);
	text[strcspn(text, "\n")] = '\0';
	wt_text_mend_end(text);
	if (strcmp(text, service->status_text) != 0) {
		memcpy(service->status_text, text, sizeof text);
		wt_sdnotify(text);
	}
}

/* The dog is fed from the loop, and only while the worker and the store move. */
static void feed_watchdog(struct wt_service *service, double now_s)
{
	if (service->watchdog_us == 0 || now_s < service->watchdog_at_s)
		return;
	if (wt_worker_running_s(service->worker) < WORKER_PATIENCE_S &&
	    wt_service_stalled_s(service) < STALL_PATIENCE_S)
		wt_sdnotify("WATCHDOG=1");
	service->watchdog_at_s = now_s + 1e-6 * (double)service->watchdog_us;
}

void wt_health_beat(struct wt_service *service)
{
	double now_s = wt_monotonic_s();
	feed_watchdog(service, now_s);
	if (now_s < service->health_at_s)
		return;
	service->health_at_s = now_s + LOOK_EVERY_S;
	json_t *items = wt_health_items(service);
	note_changes(service, items);
	tell_manager(service, items);
	json_decref(items);
}
