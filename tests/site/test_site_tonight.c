/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * The evening at its edges: no load, one, forty; no wok; a silent room; midnight, the change of
 * the clocks; leaf of yesterday, leaf fired in part; what is said where there is no firing.
 */
#include "tests/site/fixture.h"

#include <stdio.h>
#include <time.h>

#include "lib/wire/pointer.h"

#define MINUTE 60

static size_t size_at(const json_t *document, const char *path)
{
	return json_array_size(value_at(document, path));
}

/* Three days of readings, then loads of `kg` spread at 10:00 of the fourth, asked at `hour` of it.
 */
static json_t *evening(struct workshop *w, const char *extra, int n_loads, double kg, double hour)
{
	workshop_open(w, extra);
	workshop_feed(w, DAY0 + 3 * 86400 + 10 * HOUR);
	for (int i = 0; i < n_loads; i++)
		json_decref(workshop_act(w, "spread", "{'origin':'Ravine','kg':%g,'area':%g}", kg,
					 kg / 0.8));
	workshop_feed(w, DAY0 + 3 * 86400 + (int64_t)(hour * HOUR));
	workshop_forecast(w);
	return workshop_query(w, "tonight", "{}");
}

/* Firings in order, each inside the hours, no wok holding two. */
static void check_firings(const json_t *plan)
{
	const json_t *firings = value_at(plan, "firings");
	double firing_s = 60 * number_at(plan, "hearth/minutes");
	double last = number_at(plan, "hearth/last_start_unix_s");
	double first = number_at(plan, "hearth/first_start_unix_s");
	size_t i, k;
	json_t *a, *b;

	json_array_foreach(firings, i, a)
	{
		double at = number_at(a, "start_unix_s");
		if (strcmp(text_at(a, "when"), "tonight") == 0)
			assert_true(at <= last);
		else
			assert_true(at >= first);
		json_array_foreach(firings, k, b)
		{
			if (k < i && number_at(a, "wok") == number_at(b, "wok"))
				assert_true(at - number_at(b, "start_unix_s") > firing_s - 1);
		}
	}
}

static double planned_kg(const json_t *plan, const char *when)
{
	double kg = 0;
	size_t i;
	json_t *firing;

	json_array_foreach(value_at(plan, "firings"), i, firing)
	{
		if (!when || strcmp(text_at(firing, "when"), when) == 0)
			kg += number_at(firing, "kg");
	}
	return kg;
}

static void no_load_one_and_forty(void **state)
{
	static const int counts[] = {0, 1, 40};

	(void)state;
	for (size_t i = 0; i < 3; i++) {
		struct workshop w;
		double missing = 0;
		json_t *tonight = evening(&w, NULL, counts[i], 2.5, 17);
		assert_int_equal(size_at(tonight, "loads"), counts[i]);
		assert_true((strcmp(text_at(tonight, "answer/code"), "nothing") == 0) ==
			    (counts[i] == 0));
		json_t *plan = workshop_query(&w, "plan", "{}");
		check_firings(plan);
		/* All leaf is planned or accounted for, a load being one firing. */
		for (size_t k = 0; k < size_at(plan, "given_up"); k++) {
			const json_t *row = json_array_get(value_at(plan, "given_up"), k);
			missing += number_at(row, "missing");
		}
		assert_near(planned_kg(plan, NULL) + 2.5 * missing, 2.5 * counts[i], 1e-6);
		if (counts[i] == 0)
			assert_string_equal(text_at(plan, "empty/code"), "nothing");
		json_decref(plan);
		json_decref(tonight);
		workshop_close(&w);
	}
}

static void no_wok_is_said(void **state)
{
	struct workshop w;
	json_t *tonight, *plan;

	(void)state;
	workshop_open(&w, NULL);
	/* As `woks = 0` in the configuration would have it. */
	w.config->woks = 0;
	workshop_feed(&w, DAY0 + 3 * 86400 + 10 * HOUR);
	json_decref(workshop_act(&w, "spread", "{'origin':'Ravine','kg':3,'area':6}"));
	/* At every hour until long after it is spoiled, nobody is told to fire. */
	for (int hour = 0; hour < 40; hour += 3) {
		workshop_feed(&w, w.now_unix_s + 3 * HOUR);
		workshop_forecast(&w);
		tonight = workshop_query(&w, "tonight", "{}");
		assert_string_equal(text_at(tonight, "answer/code"), "no_wok");
		assert_non_null(strstr(text_at(tonight, "answer/text"), "woks = 0"));
		if (!json_is_null(value_at(tonight, "loads/0/call")))
			assert_string_equal(text_at(tonight, "loads/0/call"), "past");
		else
			assert_string_equal(text_at(tonight, "loads/0/reason/code"), "no_wok");
		assert_null(strstr(text_at(tonight, "loads/0/why"), "taken"));
		assert_int_equal(size_at(tonight, "settle"), 0);
		json_decref(tonight);
	}
	plan = workshop_query(&w, "plan", "{}");
	assert_int_equal(size_at(plan, "firings"), 0);
	assert_string_equal(text_at(plan, "empty/code"), "no_wok");
	assert_string_equal(text_at(plan, "given_up/0/code"), "no_wok");
	json_decref(plan);
	workshop_close(&w);
}

static void an_empty_plan_says_why(void **state)
{
	struct workshop w;
	json_t *plan;

	(void)state;
	workshop_open(&w, NULL);
	w.now_unix_s = DAY0 + 10 * HOUR;
	json_decref(workshop_act(&w, "spread", "{'origin':'Ravine','kg':3,'area':3}"));
	workshop_forecast(&w);
	plan = workshop_query(&w, "plan", "{}");
	assert_string_equal(text_at(plan, "empty/code"), "no_reading");
	json_decref(plan);
	workshop_close(&w);

	/* A bed so thick that it is not ready by tomorrow's end. */
	workshop_open(&w, NULL);
	w.wetter_pct = 30;
	workshop_feed(&w, DAY0 + 3 * 86400 + 21 * HOUR);
	json_decref(workshop_act(&w, "spread", "{'origin':'Ravine','kg':30,'area':5}"));
	workshop_forecast(&w);
	plan = workshop_query(&w, "plan", "{}");
	assert_int_equal(size_at(plan, "firings"), 0);
	assert_string_equal(text_at(plan, "empty/code"), "wait");
	assert_string_equal(text_at(plan, "given_up/0/code"), "not_ready");
	json_decref(plan);
	workshop_close(&w);

	/* Firings, and so nothing to excuse. */
	json_decref(evening(&w, NULL, 1, 6, 17));
	plan = workshop_query(&w, "plan", "{}");
	assert_int_equal(size_at(plan, "firings"), 2);
	assert_true(json_is_null(value_at(plan, "empty")));
	json_decref(plan);
	workshop_close(&w);
}

static void add_reading_of(struct workshop *w, size_t station, int64_t at_unix_s)
{
	struct wt_reading reading = {.station = station,
				     .at_unix_ms = at_unix_s * 1000,
				     .received_unix_ms = at_unix_s * 1000};

	workshop_air(w, at_unix_s, &reading.temp_c, &reading.rh_pct);
	wt_site_add_reading(w->site, &reading);
}

/* Two rooms; the cellar's station stops at noon. */
/* A daemon that has just started takes questions before its first forecast. */
static void before_the_first_forecast_it_is_said_that_one_is_made(void **state)
{
	struct workshop w;

	(void)state;
	workshop_open(&w, NULL);
	workshop_feed(&w, DAY0 + 86400 + 11 * HOUR);
	json_decref(workshop_act(&w, "spread", "{'origin':'A','kg':10,'area':7}"));
	json_t *tonight = workshop_query(&w, "tonight", "{}"),
	       *plan = workshop_query(&w, "plan", "{}");
	assert_string_equal(text_at(tonight, "answer/code"), "starting");
	assert_true(json_is_null(value_at(tonight, "loads/0/call")));
	assert_true(json_is_null(value_at(tonight, "forecast_unix_s")));
	assert_string_equal(text_at(plan, "empty/code"), "starting");
	json_decref(tonight);
	json_decref(plan);
	workshop_forecast(&w);
	tonight = workshop_query(&w, "tonight", "{}");
	assert_string_not_equal(text_at(tonight, "answer/code"), "starting");
	json_decref(tonight);
	workshop_close(&w);
}

/* 48 bytes are what a name may have. */
static void a_silent_room_of_a_long_name_is_named(void **state)
{
	static const char name[] = "\xe4\xb8\x9c\xe5\x8e\xa2\xe6\xa5\xbc\xe4\xb8\x8a\xe9\x9d\xa0"
				   "\xe5\x8c\x97\xe7\xaa\x97"
				   "\xe7\x9a\x84\xe6\x99\xbe\xe9\x9d\x92\xe5\xa4\xa7\xe5\xb1\x8b"
				   "\xe4\xb8\x9c\xe8\xbe\xb9"
				   "\xe7\x94\xb2\xe4\xb9\x99";
	struct workshop w;
	char extra[80];

	(void)state;
	assert_int_equal(strlen(name), 48);
	snprintf(extra, sizeof extra, "[room %s]\n", name);
	workshop_open(&w, extra);
	workshop_feed(&w, DAY0 + 86400);
	json_decref(workshop_act(&w, "spread", "{'origin':'Ravine','kg':6,'area':8,'room':'%s'}",
				 name));
	json_t *tonight = workshop_query(&w, "tonight", "{}");
	assert_non_null(strstr(text_at(tonight, "loads/0/why"), name));
	json_decref(tonight);
	workshop_close(&w);
}

static void a_silent_room_has_no_calls(void **state)
{
	struct workshop w;
	json_t *tonight, *plan, *firing;
	size_t i;

	(void)state;
	workshop_open(&w, "[station south]\nroom = cellar\ntopic = tea/south\ntemp_pointer = /t\n"
			  "rh_pointer = /h\nexpected_every_s = 300\n");
	for (int64_t at = DAY0; at < DAY0 + 3 * 86400 + 12 * HOUR; at += 300)
		add_reading_of(&w, 1, at);
	workshop_feed(&w, DAY0 + 3 * 86400 + 10 * HOUR);
	json_decref(
		workshop_act(&w, "spread", "{'origin':'Ravine','kg':6,'area':8,'room':'loft'}"));
	json_decref(
		workshop_act(&w, "spread", "{'origin':'Ravine','kg':6,'area':8,'room':'cellar'}"));
	/* A short silence is said, and the call stands. */
	workshop_feed(&w, DAY0 + 3 * 86400 + 12 * HOUR + 50 * MINUTE);
	workshop_forecast(&w);
	tonight = workshop_query(&w, "tonight", "{}");
	assert_true(json_is_true(value_at(tonight, "rooms/1/stale")));
	assert_true(strlen(text_at(tonight, "loads/1/call")) > 0);
	json_decref(tonight);
	/* A long one takes it away, at once and not only at the next forecast. */
	for (int round = 0; round < 2; round++) {
		workshop_feed(&w, DAY0 + 3 * 86400 + 17 * HOUR);
		if (round)
			workshop_forecast(&w);
		tonight = workshop_query(&w, "tonight", "{}");
		assert_true(strlen(text_at(tonight, "loads/0/call")) > 0);
		assert_true(json_is_null(value_at(tonight, "loads/1/call")));
		assert_true(json_is_null(value_at(tonight, "loads/1/p_call")));
		assert_true(json_is_null(value_at(tonight, "loads/1/p_ready_tonight")));
		assert_string_equal(text_at(tonight, "loads/1/reason/code"), "silent");
		/* What is known of the leaf stays. */
		assert_true(isfinite(number_at(tonight, "loads/1/loss_pct/p50")));
		for (i = 0; i < size_at(tonight, "settle"); i++)
			assert_true(number_at(tonight, "settle/0/load") == 1);
		assert_string_not_equal(text_at(tonight, "answer/code"), "stale");
		json_decref(tonight);
		plan = workshop_query(&w, "plan", "{}");
		assert_int_equal(size_at(plan, "firings"), 2);
		json_array_foreach(value_at(plan, "firings"), i, firing)
			assert_true(number_at(firing, "load") == 1);
		assert_string_equal(text_at(plan, "given_up/0/code"), "silent");
		assert_true(number_at(plan, "given_up/0/load") == 2);
		json_decref(plan);
		/* How thick to spread there is told, with what it rests on. */
		json_t *density =
			workshop_study(&w, "density", "{'origin':'Ravine','kg':6,'room':'cellar'}");
		assert_string_equal(text_at(density, "warnings/0/code"), "old_air");
		json_decref(density);
		density = workshop_study(&w, "density", "{'origin':'Ravine','kg':6,'room':'loft'}");
		assert_int_equal(size_at(density, "warnings"), 0);
		json_decref(density);
	}
	/* Heard again, called again. */
	for (int64_t at = w.now_unix_s - 10 * MINUTE; at < w.now_unix_s; at += 300)
		add_reading_of(&w, 1, at);
	workshop_forecast(&w);
	tonight = workshop_query(&w, "tonight", "{}");
	assert_true(strlen(text_at(tonight, "loads/1/call")) > 0);
	json_decref(tonight);
	/* What was not measured is not shown as if it had been; the ten minutes since are. */
	json_t *air = workshop_query(&w, "air", "{'room':'cellar'}");
	const json_t *past = value_at(air, "past/temp_c");
	double start = number_at(air, "past/start_unix_s"), step = number_at(air, "past/step_s");
	for (i = 0; i < json_array_size(past); i++) {
		double at = start + (double)i * step, noon = DAY0 + 3 * 86400 + 12 * HOUR;
		bool silent = at > noon + step && at < (double)w.now_unix_s - 10 * MINUTE - step;

		if (silent || at < noon - step || at >= (double)w.now_unix_s - step / 2)
			assert_true(json_is_null(json_array_get(past, i)) == silent);
	}
	json_decref(air);
	workshop_close(&w);
}

/* Thick, for a style that leaves little time: its hours end first. */
static void leaf_too_slow_for_its_hours_is_said(void **state)
{
	struct workshop w;
	json_t *shown, *plan;

	(void)state;
	workshop_open(&w, "[style black]\nmost_hours = 9\n");
	workshop_feed(&w, DAY0 + 3 * 86400 + 8 * HOUR);
	json_decref(
		workshop_act(&w, "spread", "{'origin':'Ravine','kg':6,'area':6,'style':'black'}"));
	json_decref(
		workshop_act(&w, "spread", "{'origin':'Ravine','kg':6,'area':6,'style':'green'}"));
	for (int h = 10; h <= 22; h += 12) {
		workshop_feed(&w, DAY0 + 3 * 86400 + 8 * HOUR + h * HOUR);
		workshop_forecast(&w);
		shown = workshop_query(&w, "show", "{'load':1}");
		assert_true(number_at(shown, "ready_unix_s/p50") >
			    number_at(shown, "spread_unix_s") + 9.0 * HOUR);
		bool ready = number_at(shown, "ready_unix_s/p50") <= (double)w.now_unix_s;
		assert_int_equal(size_at(shown, "notes"), ready ? 0 : 1);
		if (!ready)
			assert_string_equal(text_at(shown, "notes/0/code"), "too_slow");
		json_decref(shown);
		shown = workshop_query(&w, "show", "{'load':2}");
		assert_int_equal(size_at(shown, "notes"), 0);
		json_decref(shown);
		plan = workshop_query(&w, "plan", "{}");
		assert_int_equal(size_at(plan, "given_up"), 1);
		assert_true(number_at(plan, "given_up/0/load") == 1);
		printf("plan: %s\n", text_at(plan, "given_up/0/text"));
		json_decref(plan);
	}
	workshop_close(&w);
}

/* The evening goes on until the morning's first start, whatever the date. */
static void midnight_changes_nothing(void **state)
{
	static const double hours[] = {23.5, 24.0, 24.5, 30.4};
	double first = 0, last = 0;

	(void)state;
	for (size_t i = 0; i < 4; i++) {
		struct workshop w;
		json_t *tonight = evening(&w, NULL, 1, 6, hours[i]);
		double now = number_at(tonight, "now_unix_s");
		if (i == 0) {
			first = number_at(tonight, "hearth/first_start_unix_s");
			last = number_at(tonight, "hearth/last_start_unix_s");
		}
		assert_true(number_at(tonight, "hearth/first_start_unix_s") == first);
		assert_true(number_at(tonight, "hearth/last_start_unix_s") == last);
		assert_true(first > now);
		/* The last start has gone by: nothing is planned for tonight, nothing "now". */
		assert_true(last < now);
		assert_near(planned_kg(value_at(tonight, "plan"), "tonight"), 0, 1e-9);
		assert_near(planned_kg(value_at(tonight, "plan"), "morning"), 6, 1e-6);
		assert_true(strcmp(text_at(tonight, "loads/0/call"), "tonight") != 0 &&
			    strcmp(text_at(tonight, "loads/0/call"), "now") != 0);
		check_firings(value_at(tonight, "plan"));
		json_decref(tonight);
		workshop_close(&w);
	}
	/* A first start later it is another day. */
	struct workshop w;
	json_t *tonight = evening(&w, NULL, 1, 6, 30.6);
	assert_true(number_at(tonight, "hearth/first_start_unix_s") == first + 86400);
	assert_true(number_at(tonight, "hearth/last_start_unix_s") == last + 86400);
	json_decref(tonight);
	workshop_close(&w);
}

static int64_t local_unix_s(int year, int month, int day, int hour, int minute)
{
	struct tm fields = {.tm_year = year - 1900,
			    .tm_mon = month - 1,
			    .tm_mday = day,
			    .tm_hour = hour,
			    .tm_min = minute,
			    .tm_isdst = -1};

	return (int64_t)mktime(&fields);
}

/* The hours of the fire are those of the clock on the wall; the night between them is an hour
 * shorter or longer.  Rule of the zone written out, as POSIX has it. */
static void the_clocks_change(void **state)
{
	static const struct {
		int month, day;
		double night_h; /* 22:00 to 06:30 */
	} nights[] = {{3, 7, 7.5}, {3, 8, 8.5}, {10, 31, 9.5}, {11, 1, 8.5}};

	(void)state;
	for (size_t i = 0; i < 4; i++) {
		struct workshop w;
		workshop_open(&w, NULL);
		setenv("TZ", "EST5EDT,M3.2.0,M11.1.0", 1);
		tzset();
		int64_t evening = local_unix_s(2026, nights[i].month, nights[i].day, 20, 0);
		w.now_unix_s = evening - 3 * 86400;
		workshop_feed(&w, evening - 9 * HOUR);
		json_decref(workshop_act(&w, "spread", "{'origin':'Ravine','kg':60,'area':75}"));
		workshop_feed(&w, evening);
		/* Asked in the evening and again through the night, the hours are the same. */
		int64_t last = local_unix_s(2026, nights[i].month, nights[i].day, 22, 0);
		int64_t first = local_unix_s(2026, nights[i].month, nights[i].day + 1, 6, 30);
		assert_near((double)(first - last) / HOUR, nights[i].night_h, 1e-9);
		for (; w.now_unix_s < first; workshop_feed(&w, w.now_unix_s + HOUR)) {
			workshop_forecast(&w);
			json_t *plan = workshop_query(&w, "plan", "{}");
			assert_true(number_at(plan, "hearth/last_start_unix_s") == (double)last);
			assert_true(number_at(plan, "hearth/first_start_unix_s") == (double)first);
			check_firings(plan);
			json_decref(plan);
		}
		workshop_close(&w);
	}
	setenv("TZ", "Asia/Shanghai", 1);
	tzset();
}

/* What was fired in part is not planned again, and a wok takes less by then. */
static void a_part_fired_is_not_planned_again(void **state)
{
	struct workshop w;
	double before_kg, after_kg, left_share;

	(void)state;
	json_decref(evening(&w, NULL, 1, 12, 19));
	json_t *plan = workshop_query(&w, "plan", "{}");
	before_kg = planned_kg(plan, NULL);
	assert_int_equal(size_at(plan, "firings"), 4);
	json_decref(plan);
	json_t *result = workshop_act(&w, "fix", "{'load':1,'part':2.4,'at':'-5min'}");
	assert_non_null(result);
	left_share = number_at(result, "load/left_share");
	json_decref(result);
	assert_true(left_share > 0.5 && left_share < 0.9);
	workshop_forecast(&w);
	plan = workshop_query(&w, "plan", "{}");
	after_kg = planned_kg(plan, NULL);
	assert_near(before_kg, 12, 1e-6);
	assert_near(after_kg, 12 * left_share, 1e-2);
	assert_int_equal(size_at(plan, "firings"), (int)ceil(12 * left_share / 3 - 1e-3));
	check_firings(plan);
	json_decref(plan);
	workshop_close(&w);
}

/* Leaf that would be ready tonight and is more than the woks can take is shared out. */
static void too_much_for_the_evening_is_split(void **state)
{
	struct workshop w;

	(void)state;
	json_t *tonight = evening(&w, NULL, 1, 120, 19);
	json_t *plan = workshop_query(&w, "plan", "{}");
	double at_night = planned_kg(plan, "tonight"), later = planned_kg(plan, "morning");
	assert_true(at_night >= 9 && later >= 9);
	assert_near(at_night + later, 120, 1e-6);
	check_firings(plan);
	json_decref(plan);
	json_decref(tonight);
	workshop_close(&w);
}

static void minutes_follow_the_season(void **state)
{
	static const struct {
		int64_t days;
		double minutes;
	} seasons[] = {{0, 20}, {75, 25}, {240, 25}};

	(void)state;
	for (size_t i = 0; i < 3; i++) {
		struct workshop w;
		workshop_open(&w, NULL);
		w.now_unix_s = DAY0 + seasons[i].days * 86400;
		workshop_feed(&w, w.now_unix_s + 2 * 86400 + 10 * HOUR);
		json_decref(workshop_act(&w, "spread", "{'origin':'Ravine','kg':12,'area':15}"));
		workshop_feed(&w, w.now_unix_s + 8 * HOUR);
		workshop_forecast(&w);
		json_t *plan = workshop_query(&w, "plan", "{}");
		assert_near(number_at(plan, "hearth/minutes"), seasons[i].minutes, 1e-9);
		assert_int_equal(size_at(plan, "firings"), 4);
		check_firings(plan);
		json_decref(plan);
		workshop_close(&w);
	}
}

static void leaf_of_yesterday_holds_nobody_up(void **state)
{
	struct workshop w;

	(void)state;
	workshop_open(&w, NULL);
	w.warmer_c = 6;
	w.wetter_pct = -15;
	workshop_feed(&w, DAY0 + 2 * 86400 + 10 * HOUR);
	json_decref(workshop_act(&w, "spread", "{'origin':'Ravine','kg':6,'area':9}"));
	workshop_feed(&w, DAY0 + 3 * 86400 + 13 * HOUR);
	json_decref(workshop_act(&w, "spread", "{'origin':'Upper field','kg':6,'area':7}"));
	workshop_feed(&w, DAY0 + 3 * 86400 + 15 * HOUR);
	workshop_forecast(&w);
	json_t *tonight = workshop_query(&w, "tonight", "{}");
	assert_string_equal(text_at(tonight, "loads/0/call"), "past");
	assert_string_equal(text_at(tonight, "answer/code"), "fire_now");
	/* First what can still be saved, then what is lost anyway; no wok stands idle for that. */
	assert_int_equal(size_at(tonight, "plan/firings"), 4);
	for (int i = 0; i < 4; i++) {
		const json_t *firing = json_array_get(value_at(tonight, "plan/firings"), (size_t)i);
		assert_true(number_at(firing, "load") == (i < 2 ? 2 : 1));
		assert_near(number_at(firing, "start_unix_s"),
			    (double)w.now_unix_s + i / 2 * 20 * MINUTE, 1);
	}
	/* What the fire takes is what is left of the leaf by then. */
	for (int i = 0; i < 4; i++) {
		const json_t *firing = json_array_get(value_at(tonight, "plan/firings"), (size_t)i);
		const json_t *load = json_array_get(value_at(tonight, "loads"), i < 2 ? 1 : 0);
		double kg = number_at(firing, "kg"), left_kg = number_at(firing, "withered_kg");
		double loss_pct = 100.0 * (1.0 - left_kg / kg);
		assert_near(kg, 3, 1e-6);
		assert_true(loss_pct > number_at(load, "loss_pct/p50") - 0.1 &&
			    loss_pct < number_at(load, "loss_pct/p90") + 3);
	}
	/* The answer names them in the order of the fire. */
	assert_true(number_at(tonight, "answer/loads_tonight/0") == 2);
	assert_true(number_at(tonight, "answer/loads_tonight/1") == 1);
	json_decref(tonight);
	workshop_close(&w);
}

/* Leaf that is lost already calls nobody to the fire after the last start: the answer puts it where
 * the plan has it. */
static void leaf_past_its_best_waits_for_the_morning(void **state)
{
	static const double hours[] = {16, 22.7, 24.7, 29.6};

	(void)state;
	for (size_t i = 0; i < 4; i++) {
		struct workshop w;
		workshop_open(&w, NULL);
		w.warmer_c = 6;
		w.wetter_pct = -15;
		workshop_feed(&w, DAY0 + 2 * 86400 + 10 * HOUR);
		json_decref(workshop_act(&w, "spread", "{'origin':'Ravine','kg':6,'area':9}"));
		workshop_feed(&w, DAY0 + 3 * 86400 + (int64_t)(hours[i] * HOUR));
		workshop_forecast(&w);
		json_t *tonight = workshop_query(&w, "tonight", "{}");
		bool fire = number_at(tonight, "now_unix_s") <=
			    number_at(tonight, "hearth/last_start_unix_s");
		assert_string_equal(text_at(tonight, "loads/0/call"), "past");
		assert_string_equal(text_at(tonight, "plan/firings/0/when"),
				    fire ? "tonight" : "morning");
		assert_string_equal(text_at(tonight, "answer/code"), fire ? "fire_now" : "morning");
		assert_int_equal(size_at(tonight, "answer/loads_tonight"), fire ? 1 : 0);
		assert_int_equal(size_at(tonight, "answer/loads_morning"), fire ? 0 : 1);
		json_decref(tonight);
		workshop_close(&w);
	}
}

static void a_fixed_load_tells_its_loss(void **state)
{
	struct workshop w;
	json_t *tonight, *show;

	(void)state;
	tonight = evening(&w, NULL, 1, 3, 20);
	double loss_pct = number_at(tonight, "loads/0/loss_pct/p50");
	json_decref(tonight);
	json_decref(workshop_act(&w, "fix", "{'load':1,'kg':2.3}"));
	/* By the forecast before, until the last word is spoken. */
	show = workshop_query(&w, "show", "{'load':1}");
	assert_near(number_at(show, "loss_pct/p50"), loss_pct, 0.01);
	assert_near(number_at(show, "hours"), 10, 1e-6);
	json_decref(show);
	workshop_feed(&w, w.now_unix_s + 2 * HOUR);
	workshop_forecast(&w);
	show = workshop_query(&w, "show", "{'load':1}");
	/* 2.3 kg of 3 kg were seen. */
	assert_near(number_at(show, "loss_pct/p50"), 100 * (1 - 2.3 / 3), 3);
	assert_near(number_at(show, "loss_pct/p50"), number_at(show, "closing/loss_closed_pct"),
		    1e-3);
	assert_near(number_at(show, "hours"), 10, 1e-6);
	json_decref(show);
	workshop_close(&w);
}

/* What a screen asks for is the same, only less. */
static void brief_keeps_what_a_row_holds(void **state)
{
	struct workshop w;
	json_t *tonight, *brief, *whole, *row, *value;
	const char *key;
	size_t i;

	(void)state;
	tonight = evening(&w, NULL, 3, 3, 20);
	brief = workshop_query(&w, "tonight", "{'brief':true}");
	assert_int_equal(json_array_size(json_object_get(brief, "loads")), 3);
	json_array_foreach(json_object_get(brief, "loads"), i, row)
	{
		whole = json_array_get(json_object_get(tonight, "loads"), i);
		assert_int_equal(json_object_size(row), 7);
		json_object_foreach(row, key, value)
		{
			if (strcmp(key, "reason") != 0)
				assert_true(json_equal(value, json_object_get(whole, key)));
		}
		assert_true(json_equal(json_object_get(json_object_get(row, "reason"), "code"),
				       json_object_get(json_object_get(whole, "reason"), "code")));
	}
	/* All else is the same. */
	json_object_del(brief, "loads");
	json_object_del(tonight, "loads");
	assert_true(json_equal(brief, tonight));
	json_decref(brief);
	json_decref(tonight);
	workshop_close(&w);
}

int main(void)
{
	const struct CMUnitTest tests[] = {
		cmocka_unit_test(no_load_one_and_forty),
		cmocka_unit_test(no_wok_is_said),
		cmocka_unit_test(an_empty_plan_says_why),
		cmocka_unit_test(before_the_first_forecast_it_is_said_that_one_is_made),
		cmocka_unit_test(a_silent_room_of_a_long_name_is_named),
		cmocka_unit_test(a_silent_room_has_no_calls),
		cmocka_unit_test(leaf_too_slow_for_its_hours_is_said),
		cmocka_unit_test(midnight_changes_nothing),
		cmocka_unit_test(the_clocks_change),
		cmocka_unit_test(a_part_fired_is_not_planned_again),
		cmocka_unit_test(too_much_for_the_evening_is_split),
		cmocka_unit_test(minutes_follow_the_season),
		cmocka_unit_test(leaf_of_yesterday_holds_nobody_up),
		cmocka_unit_test(leaf_past_its_best_waits_for_the_morning),
		cmocka_unit_test(a_fixed_load_tells_its_loss),
		cmocka_unit_test(brief_keeps_what_a_row_holds),
	};

	return cmocka_run_group_tests_name("site_tonight", tests, NULL, NULL);
}
