/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * Hours of the evening, load cells, late readings, a changed configuration.
 */
#include "tests/site/fixture.h"

#include <stdio.h>
#include <time.h>

#include "daemon/site_inner.h"

static void the_night_belongs_to_the_evening_before(void **state)
{
	struct workshop w;
	struct wt_hearth evening, night, morning;

	(void)state;
	workshop_open(&w, NULL);
	site_hearth(w.site, DAY0 + 23 * HOUR, &evening);
	site_hearth(w.site, DAY0 + 26 * HOUR, &night);
	site_hearth(w.site, DAY0 + 31 * HOUR, &morning);
	assert_true(evening.last_start_unix_s == DAY0 + 22 * HOUR);
	assert_true(evening.first_start_unix_s == DAY0 + 30 * HOUR + 1800);
	assert_true(night.last_start_unix_s == evening.last_start_unix_s);
	assert_true(night.first_start_unix_s == evening.first_start_unix_s);
	assert_true(morning.last_start_unix_s == DAY0 + 46 * HOUR);
	assert_true(morning.morning_until_unix_s == DAY0 + 70 * HOUR);
	/* A last start after midnight is the same night's. */
	w.config->last_start_min = 60;
	site_hearth(w.site, DAY0 + 23 * HOUR, &evening);
	site_hearth(w.site, DAY0 + 24 * HOUR + 1800, &night);
	assert_true(evening.last_start_unix_s == DAY0 + 25 * HOUR);
	assert_true(night.last_start_unix_s == DAY0 + 25 * HOUR);
	workshop_close(&w);
}

static void the_night_of_summer_time_is_an_hour_shorter(void **state)
{
	struct workshop w;
	struct wt_hearth h;

	(void)state;
	workshop_open(&w, NULL);
	setenv("TZ", "Europe/Berlin", 1);
	tzset();
	/* 2026-03-28 18:00 CET; clocks go forward that night. */
	site_hearth(w.site, 1774717200, &h);
	assert_true(h.last_start_unix_s == 1774717200 + 4 * HOUR);
	assert_true(h.first_start_unix_s - h.last_start_unix_s == 7 * HOUR + 1800);
	/* 2026-10-24 18:00 CEST; they go back. */
	site_hearth(w.site, 1792857600, &h);
	assert_true(h.first_start_unix_s - h.last_start_unix_s == 9 * HOUR + 1800);
	workshop_close(&w);
}

static double width_of(struct workshop *w)
{
	json_t *shown = workshop_query(w, "show", "{'load':1}");
	double width = number_at(shown, "loss_pct/p90") - number_at(shown, "loss_pct/p10");

	json_decref(shown);
	return width;
}

static void a_load_cell_under_a_tray_narrows(void **state)
{
	struct workshop w, bare;

	(void)state;
	workshop_open(&w, NULL);
	workshop_open(&bare, NULL);
	workshop_feed(&w, DAY0 + 2 * 86400 + 11 * HOUR);
	workshop_feed(&bare, DAY0 + 2 * 86400 + 11 * HOUR);
	json_decref(workshop_act(&w, "spread", "{'origin':'A','kg':10,'area':7,'scale':'bench'}"));
	json_decref(workshop_act(&bare, "spread", "{'origin':'A','kg':10,'area':7}"));
	for (int i = 0; i <= 36; i++) {
		/* One tray of 1.4 kg that loses 3 % an hour, read to 2 g. */
		double kg = 1.4 * (1.0 - 0.03 * i / 12.0) + (i % 3 - 1) * 0.002;
		wt_site_add_scale_reading(w.site, 0, (w.now_unix_s + i * 300) * 1000, kg);
	}
	workshop_feed(&w, w.now_unix_s + 3 * HOUR);
	workshop_feed(&bare, bare.now_unix_s + 3 * HOUR);
	workshop_forecast(&w);
	workshop_forecast(&bare);
	assert_true(width_of(&w) < 0.4 * width_of(&bare));
	json_t *shown = workshop_query(&w, "show", "{'load':1}");
	assert_near(number_at(shown, "loss_pct/p50"), 9.0, 0.7);
	json_decref(shown);
	/* Another load on the same scale ends the first one's part in it. */
	struct site_observation *seen;
	size_t before =
		site_load_observations(w.site, &w.site->loads[0], w.now_unix_s + HOUR, &seen);
	free(seen);
	json_t *second =
		workshop_act(&w, "spread", "{'origin':'B','kg':10,'area':7,'scale':'bench'}");
	assert_string_equal(text_at(second, "notes/0/text"),
			    "Scale bench was under load 1: from now on it weighs load 2.");
	json_decref(second);
	for (int i = 1; i <= 12; i++)
		wt_site_add_scale_reading(w.site, 0, (w.now_unix_s + i * 300) * 1000, 1.5);
	assert_true(site_load_observations(w.site, &w.site->loads[0], w.now_unix_s + HOUR, &seen) <=
		    before + 1);
	free(seen);
	workshop_close(&w);
	workshop_close(&bare);
}

static char *forecast_text(struct workshop *w)
{
	workshop_forecast(w);
	json_t *rows = wt_site_forecast_rows(w->site);
	char *text = json_dumps(rows, JSON_SORT_KEYS);
	json_decref(rows);
	return text;
}

static void the_order_of_readings_does_not_matter(void **state)
{
	struct workshop a, b;

	(void)state;
	workshop_open(&a, NULL);
	workshop_open(&b, NULL);
	int64_t end = DAY0 + 2 * 86400;
	for (int64_t at = DAY0; at <= end; at += 300) {
		struct wt_reading x = {.at_unix_ms = at * 1000};
		workshop_air(&a, at, &x.temp_c, &x.rh_pct);
		wt_site_add_reading(a.site, &x);
	}
	/* Odd ones come late. */
	for (int odd = 0; odd < 2; odd++) {
		for (int64_t at = DAY0 + odd * 300; at <= end; at += 600) {
			struct wt_reading x = {.at_unix_ms = at * 1000};
			workshop_air(&b, at, &x.temp_c, &x.rh_pct);
			wt_site_add_reading(b.site, &x);
		}
	}
	a.now_unix_s = b.now_unix_s = end;
	json_decref(workshop_act(&a, "spread", "{'origin':'A','kg':10,'area':7,'at':'-3h'}"));
	json_decref(workshop_act(&b, "spread", "{'origin':'A','kg':10,'area':7,'at':'-3h'}"));
	char *x = forecast_text(&a), *y = forecast_text(&b);
	assert_string_equal(x, y);
	free(x);
	free(y);
	workshop_close(&a);
	workshop_close(&b);
}

/* Readings that come while a job is on its way are not seen by it, and not lost. */
static void a_job_holds_its_own_air(void **state)
{
	struct workshop w, plain;

	(void)state;
	workshop_open(&w, NULL);
	workshop_open(&plain, NULL);
	workshop_feed(&w, DAY0 + 86400);
	workshop_feed(&plain, DAY0 + 86400);
	json_decref(workshop_act(&w, "spread", "{'origin':'A','kg':10,'area':7}"));
	json_decref(workshop_act(&plain, "spread", "{'origin':'A','kg':10,'area':7}"));
	struct wt_job *job = wt_site_job(w.site, w.now_unix_s, true);
	workshop_feed(&w, w.now_unix_s + 4 * HOUR);
	json_decref(workshop_act(&w, "weigh", "{'load':1,'kg':9}"));
	wt_job_run(job);
	wt_site_adopt(w.site, &job);
	json_t *rows = wt_site_forecast_rows(w.site);
	char *late = json_dumps(rows, JSON_SORT_KEYS), *calm = forecast_text(&plain);
	assert_string_equal(late, calm);
	json_decref(rows);
	free(late);
	free(calm);
	workshop_feed(&plain, plain.now_unix_s + 4 * HOUR);
	json_decref(workshop_act(&plain, "weigh", "{'load':1,'kg':9}"));
	late = forecast_text(&w);
	calm = forecast_text(&plain);
	assert_string_equal(late, calm);
	free(late);
	free(calm);
	workshop_close(&w);
	workshop_close(&plain);
}

/* A load fixed while a job is on its way is not opened again by it. */
static void a_late_job_changes_no_load(void **state)
{
	struct workshop w;

	(void)state;
	workshop_open(&w, NULL);
	workshop_feed(&w, DAY0 + 86400);
	json_decref(workshop_act(&w, "spread", "{'origin':'A','kg':10,'area':7}"));
	workshop_feed(&w, w.now_unix_s + 4 * HOUR);
	struct wt_job *job = wt_site_job(w.site, w.now_unix_s, true);
	json_decref(workshop_act(&w, "fix", "{'load':1}"));
	wt_job_run(job);
	wt_site_adopt(w.site, &job);
	json_t *tonight = workshop_query(&w, "tonight", "{}");
	assert_int_equal((int)json_array_size(json_object_get(tonight, "loads")), 0);
	assert_string_equal(text_at(tonight, "answer/code"), "nothing");
	assert_int_equal((int)json_array_size(value_at(tonight, "plan/firings")), 0);
	json_decref(tonight);
	workshop_close(&w);
}

static void look(struct workshop *w)
{
	struct wt_job *job = wt_site_job(w->site, w->now_unix_s, false);

	wt_job_run(job);
	wt_site_adopt(w->site, &job);
}

/* The share left of a load of which a part was fired after some hours. */
static double share_left(struct workshop *w)
{
	json_t *result = workshop_act(w, "fix", "{'load':1,'part':2}");
	double left = number_at(result, "act/params/left_share");

	json_decref(result);
	workshop_close(w);
	return left;
}

static void open_for_hours(struct workshop *w)
{
	workshop_open(w, NULL);
	workshop_feed(w, DAY0 + 86400 + 9 * HOUR);
	json_decref(workshop_act(w, "spread", "{'origin':'A','kg':10,'area':9}"));
	workshop_feed(w, w->now_unix_s + 8 * HOUR);
}

/* Somebody looks in the very second of a tick, and knows of a weighing that the tick does not. */
static void a_look_in_the_second_of_a_tick_changes_no_act(void **state)
{
	struct workshop calm, looked;

	(void)state;
	for (int i = 0; i < 2; i++) {
		struct workshop *w = i ? &looked : &calm;
		open_for_hours(w);
		workshop_forecast(w);
		json_decref(workshop_act(w, "weigh", "{'load':1,'kg':6.5}"));
		if (i)
			look(w);
	}
	assert_true(share_left(&calm) == share_left(&looked));
}

/* Until the first tick after a start the first look is all that is known. */
static void a_part_fired_after_a_start_is_of_withered_leaf(void **state)
{
	struct workshop run_on, started;

	(void)state;
	open_for_hours(&run_on);
	workshop_forecast(&run_on);
	open_for_hours(&started);
	started.now_unix_s += 60;
	look(&started);
	assert_near(share_left(&run_on), share_left(&started), 0.005);
	/* One that no tick knew of yet, said long after it was spread, is no other for a look. */
	for (int i = 0; i < 2; i++) {
		struct workshop *w = i ? &started : &run_on;
		workshop_open(w, NULL);
		workshop_feed(w, DAY0 + 86400 + 17 * HOUR);
		w->now_unix_s += 60;
		json_decref(
			workshop_act(w, "spread", "{'origin':'A','kg':10,'area':9,'at':'-8h'}"));
		if (i)
			look(w);
	}
	assert_true(share_left(&run_on) == share_left(&started));
}

/* Days of spreading, weighing and fixing with a forecast each 5 minutes; when looked at, with
 * others at odd times between.  What is stored at the regular times, and what is taught. */
static char *season_text(bool looked_at)
{
	struct workshop w;
	json_t *kept = json_array();

	workshop_open(&w, NULL);
	w.config->members = 32;
	workshop_feed(&w, DAY0 + 86400 + 9 * HOUR);
	for (int step = 0; step < 3 * 288; step++) {
		int tod = step % 288;
		int load = 1 + step / 288;
		if (tod == 24)
			json_decref(workshop_act(&w, "spread", "{'origin':'A','kg':10,'area':7}"));
		if (tod == 60)
			json_decref(workshop_act(&w, "weigh", "{'load':%d,'kg':9.2}", load));
		if (tod == 90)
			json_decref(workshop_act(&w, "fix", "{'load':%d,'part':3}", load));
		if (tod == 100)
			json_decref(workshop_act(&w, "fix", "{'load':%d,'kg':5.1}", load));
		if (looked_at && tod % 3 == 0) {
			w.now_unix_s += 77;
			workshop_forecast(&w);
			w.now_unix_s -= 77;
		}
		workshop_feed(&w, w.now_unix_s + 300);
		workshop_forecast(&w);
		json_array_append_new(kept, wt_site_forecast_rows(w.site));
		json_array_append_new(kept, wt_site_take_closings(w.site));
	}
	char *text = json_dumps(kept, JSON_SORT_KEYS);
	json_decref(kept);
	workshop_close(&w);
	return text;
}

static void looking_changes_nothing(void **state)
{
	(void)state;
	char *quiet = season_text(false), *watched = season_text(true);
	assert_true(strlen(quiet) > 100000);
	assert_string_equal(quiet, watched);
	free(quiet);
	free(watched);
}

static void a_new_configuration_keeps_the_past(void **state)
{
	struct workshop w, other;

	(void)state;
	workshop_open(&w, NULL);
	workshop_open(&other, "[room attic]\n[station east]\nroom = attic\ntopic = tea/east\n"
			      "temp_pointer = /t\nrh_pointer = /h\n");
	workshop_feed(&w, DAY0 + 86400);
	json_decref(workshop_act(&w, "spread", "{'origin':'A','kg':10,'area':7}"));
	json_t *before = workshop_query(&w, "tonight", "{}");
	wt_site_reconfigure(w.site, other.config);
	json_t *after = workshop_query(&w, "tonight", "{}");
	assert_int_equal((int)json_array_size(json_object_get(after, "rooms")), 3);
	assert_true(number_at(after, "rooms/0/temp_c") == number_at(before, "rooms/0/temp_c"));
	assert_int_equal((int)number_at(after, "loads/0/load"), 1);
	/* An offset applies to what was measured before, too. */
	other.config->stations[0].rh_offset_pct = -5.0;
	wt_site_reconfigure(w.site, other.config);
	json_t *shifted = workshop_query(&w, "tonight", "{}");
	assert_near(number_at(shifted, "rooms/0/rh_pct"), number_at(before, "rooms/0/rh_pct") - 5.0,
		    0.01);
	json_decref(before);
	json_decref(after);
	json_decref(shifted);
	wt_site_free(&w.site);
	wt_config_free(&w.config);
	workshop_close(&other);
}

/* An outlook of two days, taken at the clock, by a configured source; the words of `tonight`. */
static void words_for(const char *extra, const char *wanted)
{
	struct workshop w;
	char why[200] = "";

	workshop_open(&w, extra);
	workshop_feed(&w, DAY0 + 86400);
	json_t *tonight = workshop_query(&w, "tonight", "{}");
	assert_true(json_is_null(value_at(tonight, "attribution")));
	json_decref(tonight);
	json_t *time = json_array(), *temp = json_array(), *rh = json_array();
	for (int h = 0; h < 48; h++) {
		json_array_append_new(time, json_integer(w.now_unix_s + h * HOUR));
		json_array_append_new(temp, json_real(15.0));
		json_array_append_new(rh, json_real(80.0));
	}
	json_t *document = json_pack("{s:{s:o,s:o,s:o}}", "hourly", "time", time, "temperature_2m",
				     temp, "relative_humidity_2m", rh);
	assert_true(wt_site_add_outlook(w.site, document, w.now_unix_s, why, sizeof(why)));
	tonight = workshop_query(&w, "tonight", "{}");
	json_t *air = workshop_query(&w, "air", "{}");
	assert_string_equal(text_at(tonight, "attribution"), wanted);
	assert_string_equal(text_at(air, "outlook/attribution"), wanted);
	json_decref(tonight);
	json_decref(air);
	/* It has run out: nothing of it is used. */
	w.now_unix_s += 3 * 86400;
	tonight = workshop_query(&w, "tonight", "{}");
	assert_true(json_is_null(value_at(tonight, "attribution")));
	json_decref(tonight);
	json_decref(document);
	workshop_close(&w);
}

static void whose_outlook_it_is_is_said(void **state)
{
	(void)state;
	words_for("[outlook]\nurl = https://api.open-meteo.com/v1/forecast\n"
		  "contact = a@b.example\n",
		  "Weather data by Open-Meteo.com");
	words_for("[outlook]\nurl = https://api.met.no/x\nformat = timeseries\n"
		  "contact = a@b.example\n",
		  "Data from MET Norway");
	/* Only a name that ends like it. */
	words_for("[outlook]\nurl = https://notopen-meteo.com/v1\n"
		  "contact = a@b.example\n",
		  "outdoor forecast: notopen-meteo.com");
	words_for("[outlook]\nurl = http://127.0.0.1:8080/hours\n"
		  "contact = a@b.example\n",
		  "outdoor forecast: 127.0.0.1");
}

/* A forecast 1 C too warm and 20 Pa too wet, its band 2 C wide and 100 Pa, at leads of 1 and 3 h;
 * the second has not come yet. */
static void the_skill_of_the_air_is_what_was_measured(void **state)
{
	struct workshop w;
	float temp_c[2], vapour_pa[2];
	double share;
	size_t n;

	(void)state;
	workshop_open(&w, NULL);
	workshop_feed(&w, DAY0 + 86400);
	int64_t issued = w.now_unix_s - 2 * HOUR, at = issued + HOUR;
	assert_int_equal(wt_room_fill(w.site->rooms[0].series->series, at, at, 2, temp_c, vapour_pa,
				      &n, &share),
			 WT_OK);
	double t = (double)temp_c[0] + 1.0, v = (double)vapour_pa[0] + 20.0;
	json_t *rows = json_array();
	for (int lead_s = 3600; lead_s <= 10800; lead_s += 7200)
		json_array_append_new(rows, json_pack("{s:I,s:s,s:i,s:f,s:f,s:f,s:f,s:f,s:f}",
						      "issued_unix_s", (json_int_t)issued, "room",
						      "loft", "lead_s", lead_s, "temp_p10_c",
						      t - 0.5, "temp_p50_c", t, "temp_p90_c",
						      t + 0.5, "vapour_p10_pa", v - 50,
						      "vapour_p50_pa", v, "vapour_p90_pa", v + 50));
	json_t *skill = wt_site_air_skill(w.site, "loft", rows, w.now_unix_s);
	assert_int_equal(json_array_size(skill), 1);
	const json_t *one = json_array_get(skill, 0);
	assert_near(number_at(one, "lead_s"), 3600, 0);
	assert_near(number_at(one, "n"), 1, 0);
	assert_near(number_at(one, "temp_mae_c"), 1.0, 1e-9);
	assert_near(number_at(one, "vapour_mae_pa"), 20.0, 1e-9);
	/* The temperature lies outside, the vapour pressure inside. */
	assert_near(number_at(one, "coverage_80_pct"), 50.0, 1e-9);
	json_decref(skill);
	/* Another room's forecasts say nothing. */
	skill = wt_site_air_skill(w.site, "cellar", rows, w.now_unix_s);
	assert_int_equal(json_array_size(skill), 0);
	json_decref(skill);
	json_decref(rows);
	workshop_close(&w);
}

static void numbers_are_rounded_by_their_names(void **state)
{
	(void)state;
	json_t *document = site_rounded(
		json_pack("{s:f,s:f,s:f,s:f,s:f,s:{s:f,s:[f]},s:{s:f},s:[f]}", "temp_c",
			  (double)19.4f, "vapour_pa", 1234.5678, "vpd_kpa", 0.123456, "p_call",
			  0.123456, "ready_unix_s", 1775404800.25, "loss_pct", "p10", 12.34567,
			  "p50", 1.00049, "params", "kg", 1.23456789, "rh_pct", -0.001));
	assert_true(number_at(document, "temp_c") == 19.4);
	assert_true(number_at(document, "vapour_pa") == 1234.6);
	assert_true(number_at(document, "vpd_kpa") == 0.1235);
	assert_true(number_at(document, "p_call") == 0.1235);
	assert_true(number_at(document, "ready_unix_s") == 1775404800.25);
	assert_true(number_at(document, "loss_pct/p10") == 12.346);
	assert_true(number_at(document, "loss_pct/p50/0") == 1.0);
	/* What was asked for stays to the last digit; a zero has no minus. */
	assert_true(number_at(document, "params/kg") == 1.23456789);
	assert_false(signbit(number_at(document, "rh_pct/0")));
	json_decref(document);
}

static void an_outlook_is_taken_or_refused_in_words(void **state)
{
	struct workshop w;
	char why[200] = "";

	(void)state;
	workshop_open(&w, NULL);
	workshop_feed(&w, DAY0 + 86400);
	json_t *document = json_object();
	assert_false(wt_site_add_outlook(w.site, document, w.now_unix_s, why, sizeof(why)));
	assert_true(strlen(why) > 10);
	json_decref(document);
	json_t *time = json_array(), *temp = json_array(), *rh = json_array();
	for (int h = 0; h < 48; h++) {
		json_array_append_new(time, json_integer(w.now_unix_s + h * HOUR));
		json_array_append_new(temp, json_real(15.0));
		json_array_append_new(rh, json_real(80.0));
	}
	document = json_pack("{s:{s:o,s:o,s:o}}", "hourly", "time", time, "temperature_2m", temp,
			     "relative_humidity_2m", rh);
	assert_true(wt_site_add_outlook(w.site, document, w.now_unix_s, why, sizeof(why)));
	json_t *air = workshop_query(&w, "air", "{}");
	assert_near(number_at(air, "outlook/age_s"), 0.0, 0.0);
	assert_true(json_array_size(value_at(air, "vpd_pa/p50")) > 100);
	json_decref(air);
	json_decref(document);
	workshop_close(&w);
}

int main(void)
{
	const struct CMUnitTest tests[] = {
		cmocka_unit_test(the_night_belongs_to_the_evening_before),
		cmocka_unit_test(the_night_of_summer_time_is_an_hour_shorter),
		cmocka_unit_test(a_load_cell_under_a_tray_narrows),
		cmocka_unit_test(the_order_of_readings_does_not_matter),
		cmocka_unit_test(a_job_holds_its_own_air),
		cmocka_unit_test(whose_outlook_it_is_is_said),
		cmocka_unit_test(the_skill_of_the_air_is_what_was_measured),
		cmocka_unit_test(numbers_are_rounded_by_their_names),
		cmocka_unit_test(a_late_job_changes_no_load),
		cmocka_unit_test(a_look_in_the_second_of_a_tick_changes_no_act),
		cmocka_unit_test(a_part_fired_after_a_start_is_of_withered_leaf),
		cmocka_unit_test(looking_changes_nothing),
		cmocka_unit_test(a_new_configuration_keeps_the_past),
		cmocka_unit_test(an_outlook_is_taken_or_refused_in_words),
	};

	return cmocka_run_group_tests_name("site_state", tests, NULL, NULL);
}
