/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * The engine on a real database: what is kept live is what a replay of the recording keeps, in
 * whatever order messages and calls reach the loop.
 */
#include <event2/event.h>
#include <event2/thread.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include <cmocka.h>

#include "daemon/engine.h"
#include "daemon/replay.h"

#define NOON_MS INT64_C(1775044800000) /* 2026-04-01 12:00 UTC */

static const char config_text[] =
	"[site]\nname = Test House\ntimezone = UTC\naltitude_m = 900\n"
	"latitude = 27\nlongitude = 100\n"
	"[daemon]\ndatabase = %s/w.db\nsocket = %s/w.sock\nseed = 1\n"
	"members = 64\nforecast_every_s = 10\n"
	"[room north]\n[station shelf]\nroom = north\ntopic = shed/north\n"
	"temp_pointer = /t\nrh_pointer = /h\nexpected_every_s = 60\n"
	"[tray]\narea_m2 = 1\n";

struct place {
	char folder[64];
	char journal[96];
	struct wt_config *config;
	struct wt_store *store;
	struct wt_engine *engine;
};

static void run_tick(void *context, struct wt_job *job, int64_t tick_unix_s)
{
	struct place *place = context;
	wt_job_run(job);
	wt_engine_adopt(place->engine, &job, tick_unix_s);
}

static void open_place(struct place *place)
{
	char path[96], text[512];
	bool set_aside;
	strcpy(place->folder, "/tmp/wither-engine.XXXXXX");
	assert_non_null(mkdtemp(place->folder));
	snprintf(path, sizeof path, "%s/w.conf", place->folder);
	FILE *file = fopen(path, "we");
	assert_non_null(file);
	fprintf(file, config_text, place->folder, place->folder);
	fclose(file);
	assert_int_equal(wt_config_read(path, stderr, &place->config), 0);
	assert_int_equal(wt_store_open(place->config->database, &place->store, &set_aside, text,
				       sizeof text),
			 WT_STORE_OK);
	snprintf(place->journal, sizeof place->journal, "%s/journal.jsonl", place->folder);
}

static void start(struct place *place)
{
	char why[200];
	const struct wt_engine_setup setup = {
		.config = place->config, .store = place->store, .tick = run_tick, .context = place};
	place->engine = wt_engine_new(&setup);
	assert_non_null(place->engine);
	assert_true(wt_engine_record(place->engine, place->journal, why, sizeof why));
}

static void close_place(struct place *place)
{
	char command[128];
	wt_engine_free(&place->engine);
	wt_store_close(&place->store);
	wt_config_free(&place->config);
	snprintf(command, sizeof command, "rm -rf '%s'", place->folder);
	assert_int_equal(system(command), 0);
}

static void hear(struct place *place, int64_t at_unix_ms, const char *payload)
{
	const struct wt_message message = {.at_unix_ms = at_unix_ms,
					   .topic = "shed/north",
					   .payload = payload,
					   .length = strlen(payload)};
	wt_engine_message(place->engine, &message);
}

static void hear_for_a_while(struct place *place)
{
	for (int i = 41; i > 0; i--) {
		hear(place, NOON_MS - i * 60000,
		     i % 2 ? "{\"t\":20,\"h\":60}" : "{\"t\":20.5,\"h\":62}");
		for (int j = 1; j <= 6; j++) /* as the loop's timer does */
			wt_engine_advance(place->engine, NOON_MS - i * 60000 + j * 10000);
	}
}

static void spread(struct place *place, int64_t at_unix_ms)
{
	struct wt_refusal refusal = {0};
	json_t *result = NULL,
	       *params = json_pack("{s:s,s:i,s:i}", "origin", "creek", "kg", 8, "area", 8);
	assert_true(wt_engine_call(place->engine, at_unix_ms, "spread", params, &result, &refusal));
	json_decref(params);
	json_decref(result);
}

static json_t *rows(struct place *place, enum wt_store_table table)
{
	const struct wt_store_span span = {INT64_MIN, INT64_MAX};
	struct wt_store_cursor cursor;
	bool more;
	json_t *out = json_array();
	wt_store_cursor_first(&cursor);
	assert_int_equal(wt_store_page(place->store, table, &span, &cursor, 10000, out, &more),
			 WT_STORE_OK);
	assert_false(more);
	return out;
}

static void told(void *context, json_t *result, const struct wt_refusal *refusal)
{
	(void)refusal;
	*(bool *)context = result != NULL;
	json_decref(result);
}

/* Of the coming two days, an hour apart. */
static json_t *outlook(void)
{
	json_t *time = json_array(), *temp = json_array(), *rh = json_array();
	for (int i = 0; i < 48; i++) {
		json_array_append_new(time, json_integer(NOON_MS / 1000 + i * 3600));
		json_array_append_new(temp, json_real(18.0 + i % 24 / 4.0));
		json_array_append_new(rh, json_real(60.0));
	}
	return json_pack("{s:{s:o,s:o,s:o}}", "hourly", "time", time, "temperature_2m", temp,
			 "relative_humidity_2m", rh);
}

static void expect_same(struct place *live, struct place *again)
{
	for (int table = WT_STORE_READINGS; table <= WT_STORE_AIR_FORECASTS; table++) {
		json_t *one = rows(live, (enum wt_store_table)table);
		json_t *other = rows(again, (enum wt_store_table)table);
		/* Ticks after the last entry are not the journal's. */
		while (table != WT_STORE_READINGS && json_array_size(one) > json_array_size(other))
			json_array_remove(one, json_array_size(one) - 1);
		assert_true(json_array_size(other) > 0);
		assert_true(json_equal(one, other));
		json_decref(one);
		json_decref(other);
	}
}

/* The weather service answers while an act is on its way to a slow disk. */
static void an_outlook_waits_for_the_act_before_it(void **state)
{
	struct place live = {0}, again = {0};
	char why[200];
	bool noted = false;
	(void)state;
	open_place(&live);
	open_place(&again);
	start(&live);
	hear_for_a_while(&live);
	assert_int_equal(evthread_use_pthreads(), 0);
	struct event_base *base = event_base_new();
	struct wt_keeper *keeper = wt_keeper_new(base, live.store);
	assert_non_null(keeper);
	wt_engine_use(live.engine, keeper);
	json_t *params = json_pack("{s:s,s:i,s:i}", "origin", "creek", "kg", 8, "area", 8);
	json_t *document = outlook();
	wt_engine_begin_call(live.engine, NOON_MS + 500, "spread", params, told, &noted);
	assert_true(wt_engine_is_calling(live.engine));
	assert_true(wt_engine_outlook(live.engine, NOON_MS + 12000, document, why, sizeof why));
	while (!noted)
		wt_keeper_turn(keeper, 1000);
	wt_engine_use(live.engine, NULL);
	wt_keeper_free(&keeper);
	event_base_free(base);
	json_decref(params);
	json_decref(document);
	wt_engine_advance(live.engine, NOON_MS + 30001);
	hear(&live, NOON_MS + 30002, "{\"t\":21,\"h\":63}");
	assert_int_equal(wt_engine_commit(live.engine, true), WT_STORE_OK);
	assert_int_equal(wt_replay_run(again.config, again.store, live.journal), 0);
	expect_same(&live, &again);
	close_place(&live);
	close_place(&again);
}

/* Calls and ticks overtake messages that wait for the loop. */
static void overtaken_messages_replay_the_same(void **state)
{
	struct place live = {0}, again = {0};
	(void)state;
	open_place(&live);
	open_place(&again);
	start(&live);
	hear_for_a_while(&live);
	spread(&live, NOON_MS + 500);
	hear(&live, NOON_MS + 320, "{\"t\":21,\"h\":63}");    /* came before the call */
	wt_engine_advance(live.engine, NOON_MS + 10001);      /* the tick of 12:00:10 */
	hear(&live, NOON_MS + 9990, "{\"t\":21.5,\"h\":64}"); /* came before the tick */
	wt_engine_advance(live.engine, NOON_MS + 30001);
	assert_int_equal(wt_engine_commit(live.engine, true), WT_STORE_OK);
	assert_int_equal(wt_replay_run(again.config, again.store, live.journal), 0);
	expect_same(&live, &again);
	close_place(&live);
	close_place(&again);
}

/* An hour back is a clock that was set, not a message that waited. */
static void a_clock_set_back_is_believed(void **state)
{
	struct place place = {0};
	(void)state;
	open_place(&place);
	start(&place);
	hear(&place, NOON_MS, "{\"t\":20,\"h\":60}");
	hear(&place, NOON_MS - 3600000, "{\"t\":21,\"h\":61}");
	assert_int_equal(wt_engine_commit(place.engine, true), WT_STORE_OK);
	json_t *kept = rows(&place, WT_STORE_READINGS);
	assert_int_equal(json_array_size(kept), 2);
	double received_unix_s = json_number_value(json_array_get(json_array_get(kept, 0), 3));
	assert_int_equal(received_unix_s, (NOON_MS - 3600000) / 1000);
	json_decref(kept);
	close_place(&place);
}

int main(void)
{
	const struct CMUnitTest tests[] = {
		cmocka_unit_test(an_outlook_waits_for_the_act_before_it),
		cmocka_unit_test(overtaken_messages_replay_the_same),
		cmocka_unit_test(a_clock_set_back_is_believed),
	};
	return cmocka_run_group_tests(tests, NULL, NULL);
}
