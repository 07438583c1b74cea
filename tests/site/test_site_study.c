/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * What if, how thick, and the ledger.
 */
#include "tests/site/fixture.h"

#include <stdio.h>

static void open_one(struct workshop *w)
{
	workshop_open(w, NULL);
	workshop_feed(w, DAY0 + 3 * 86400 + 15 * HOUR);
	json_decref(workshop_act(w, "spread", "{'origin':'Upper field','kg':10,'area':6}"));
	workshop_feed(w, w->now_unix_s + 2 * HOUR);
	workshop_forecast(w);
}

static double gained_h(struct workshop *w, const char *change)
{
	json_t *answer = workshop_study(w, "what-if", "{'load':1,%s}", change);

	assert_non_null(answer);
	double hours = number_at(answer, "difference_h/ready_p50");
	json_decref(answer);
	return hours;
}

static void what_if_moves_the_right_way(void **state)
{
	struct workshop w;

	(void)state;
	open_one(&w);
	assert_true(gained_h(&w, "'area':9") < -0.2);
	assert_true(gained_h(&w, "'area':4") > 0.2);
	assert_true(gained_h(&w, "'fan':'on'") <= 0.0);
	assert_true(gained_h(&w, "'warmer':3") < -0.1);
	assert_true(gained_h(&w, "'warmer':-3") > 0.1);
	assert_true(gained_h(&w, "'drier':10") < -0.1);
	assert_true(gained_h(&w, "'drier':-10") > 0.1);
	assert_near(gained_h(&w, "'warmer':0"), 0.0, 1e-3);
	workshop_close(&w);
}

static void what_if_starts_from_the_forecast_on_the_screen(void **state)
{
	struct workshop w;

	(void)state;
	open_one(&w);
	json_t *tonight = workshop_query(&w, "tonight", "{}");
	json_t *answer = workshop_study(&w, "what-if", "{'load':1,'area':9}");
	assert_true(number_at(answer, "now/ready_unix_s/p50") ==
		    number_at(tonight, "loads/0/ready_unix_s/p50"));
	assert_string_equal(text_at(answer, "now/call"), text_at(tonight, "loads/0/call"));
	assert_near(number_at(answer, "changed/loss_pct/p50"),
		    number_at(answer, "now/loss_pct/p50"), 1e-3);
	json_decref(tonight);
	json_decref(answer);
	workshop_close(&w);
}

static void expect_same_fire(struct workshop *w, int load)
{
	char path[64];
	json_t *tonight = workshop_query(w, "tonight", "{}");
	json_t *answer = workshop_study(w, "what-if", "{'load':%d,'warmer':0}", load);

	snprintf(path, sizeof path, "loads/%d/call", load - 1);
	assert_string_equal(text_at(answer, "now/call"), text_at(tonight, path));
	for (int end = 0; end < 2; end++) {
		char now[64];
		snprintf(path, sizeof path, "loads/%d/fire_unix_s/%d", load - 1, end);
		snprintf(now, sizeof now, "now/fire_unix_s/%d", end);
		assert_true(number_at(answer, now) == number_at(tonight, path));
	}
	json_decref(tonight);
	json_decref(answer);
}

/* What is left of a load fired in part goes into one wok less, there as here. */
static void what_if_plans_the_other_loads_as_the_screen_does(void **state)
{
	struct workshop w;

	(void)state;
	workshop_open(&w, NULL);
	workshop_feed(&w, DAY0 + 3 * 86400 + 10 * HOUR);
	json_decref(workshop_act(&w, "spread", "{'origin':'Ravine','kg':8,'area':10}"));
	json_decref(workshop_act(&w, "spread", "{'origin':'Ravine','kg':3,'area':4}"));
	workshop_feed(&w, w.now_unix_s + 11 * HOUR + 2700);
	workshop_forecast(&w);
	json_decref(workshop_act(&w, "fix", "{'load':1,'kg':6,'part':3.6}"));
	workshop_feed(&w, w.now_unix_s + 300);
	workshop_forecast(&w);
	expect_same_fire(&w, 2);
	workshop_close(&w);
}

/* The times are still told then, but no call stands on that air. */
static void what_if_calls_nothing_in_a_silent_room(void **state)
{
	struct workshop w;

	(void)state;
	open_one(&w);
	w.now_unix_s += 2 * HOUR;
	workshop_forecast(&w);
	json_t *tonight = workshop_query(&w, "tonight", "{}");
	json_t *answer = workshop_study(&w, "what-if", "{'load':1,'area':9}");
	assert_true(json_is_null(value_at(tonight, "loads/0/call")));
	assert_true(isfinite(number_at(answer, "changed/ready_unix_s/p50")));
	assert_true(json_is_null(value_at(answer, "now/call")));
	assert_true(json_is_null(value_at(answer, "changed/call")));
	assert_true(json_is_null(value_at(answer, "changed/p_ready_tonight")));
	json_decref(tonight);
	json_decref(answer);
	workshop_close(&w);
}

static void bad_questions_are_refused(void **state)
{
	struct workshop w;

	(void)state;
	open_one(&w);
	assert_null(workshop_study(&w, "what-if", "{'load':1}"));
	assert_non_null(strstr(w.refusal.text, "area, fan, warmer or drier"));
	assert_null(workshop_study(&w, "what-if", "{'load':2,'area':3}"));
	assert_non_null(strstr(w.refusal.text, "no load '2'; open loads: 1"));
	assert_null(workshop_study(&w, "what-if", "{'load':1,'warmer':90}"));
	assert_non_null(strstr(w.refusal.text, "'90'"));
	assert_null(workshop_study(&w, "density", "{'origin':'A','kg':0}"));
	assert_null(workshop_study(&w, "density", "{'origin':'A','kg':5,'ready-by':'-2h'}"));
	assert_non_null(strstr(w.refusal.text, "coming 48 hours"));
	assert_null(workshop_study(&w, "density", "{'origin':'A','kg':5,'room':'cellar'}"));
	assert_int_equal(w.refusal.code, -32001);
	json_decref(workshop_act(&w, "fix", "{'load':1}"));
	assert_null(workshop_study(&w, "what-if", "{'load':1,'area':3}"));
	assert_int_equal(w.refusal.code, -32000);
	assert_null(workshop_query(&w, "ledger", "{'since':1}"));
	assert_null(workshop_query(&w, "air", "{'room':'cellar'}"));
	assert_int_equal(w.refusal.code, -32001);
	assert_null(workshop_query(&w, "show", "{}"));
	assert_null(workshop_query(&w, "nothing", "{}"));
	assert_int_equal(w.refusal.code, -32601);
	workshop_close(&w);
}

static void thicker_is_later_and_a_wish_is_met(void **state)
{
	struct workshop w;

	(void)state;
	open_one(&w);
	json_t *answer = workshop_study(&w, "density", "{'origin':'New','kg':6,'ready-by':'+8h'}");
	double before = 0.0;
	for (size_t i = 0; i < json_array_size(json_object_get(answer, "rows")); i++) {
		const json_t *row = json_array_get(json_object_get(answer, "rows"), i);
		double ready = number_at(row, "ready_unix_s/p50");
		ready = isnan(ready) ? HUGE_VAL : ready;
		assert_true(ready >= before);
		/* Both sides come in whole 1e-4: half of that times the other factor. */
		double area_m2 = number_at(row, "area_m2"), kg_m2 = number_at(row, "kg_m2");
		assert_near(area_m2 * kg_m2, 6.0, 0.51e-4 * (area_m2 + kg_m2));
		assert_near(number_at(row, "trays") * 1.2, area_m2, 0.51e-4 * (1.2 + 1.0));
		before = ready;
	}
	assert_near(number_at(answer, "for_wish/ready_unix_s/p50"),
		    (double)w.now_unix_s + 8.0 * HOUR, 900.0);
	assert_string_equal(text_at(answer, "warnings/0/code"), "new_garden");
	json_decref(answer);
	answer = workshop_study(&w, "density", "{'origin':'Upper field','kg':6}");
	assert_true(json_is_null(value_at(answer, "for_wish")));
	assert_true(json_is_true(value_at(answer, "known_origin")));
	json_decref(answer);
	workshop_close(&w);
}

static void the_ledger_reckons_cost_and_outturn(void **state)
{
	struct workshop w;

	(void)state;
	workshop_open(&w, NULL);
	workshop_feed(&w, DAY0 + 86400 + 10 * HOUR);
	json_decref(workshop_act(&w, "spread",
				 "{'origin':'A','kg':10,'area':7,'price':30,'season':'spring'}"));
	json_decref(workshop_act(&w, "spread", "{'origin':'A','kg':4,'area':3,'season':'spring'}"));
	workshop_feed(&w, w.now_unix_s + 6 * HOUR);
	json_decref(workshop_act(&w, "fix", "{'load':1}"));
	json_decref(workshop_act(&w, "fix", "{'load':2}"));
	json_decref(workshop_act(&w, "yield", "{'load':1,'made':2.4,'yellow':0.4}"));
	json_decref(workshop_act(&w, "yield", "{'load':2,'made':3}"));
	workshop_feed(&w, w.now_unix_s + HOUR);
	workshop_forecast(&w);
	json_t *ledger = workshop_query(&w, "ledger", "{}");
	assert_near(number_at(ledger, "rows/0/cost_per_kg"), 150.0, 1e-9);
	assert_near(number_at(ledger, "rows/0/yellow_pct"), 16.67, 1e-9);
	assert_near(number_at(ledger, "rows/0/outturn"), 4.1667, 1e-9);
	assert_near(number_at(ledger, "rows/0/hours"), 6.0, 1e-9);
	assert_true(number_at(ledger, "rows/0/loss_pct") > 5.0);
	assert_true(json_is_null(value_at(ledger, "rows/0/note")));
	assert_string_equal(text_at(ledger, "rows/1/note/code"), "outturn_high");
	assert_true(json_is_null(value_at(ledger, "rows/1/cost_per_kg")));
	assert_int_equal((int)number_at(ledger, "groups/0/n"), 2);
	json_decref(ledger);
	workshop_close(&w);
}

int main(void)
{
	const struct CMUnitTest tests[] = {
		cmocka_unit_test(what_if_moves_the_right_way),
		cmocka_unit_test(what_if_starts_from_the_forecast_on_the_screen),
		cmocka_unit_test(what_if_plans_the_other_loads_as_the_screen_does),
		cmocka_unit_test(what_if_calls_nothing_in_a_silent_room),
		cmocka_unit_test(bad_questions_are_refused),
		cmocka_unit_test(thicker_is_later_and_a_wish_is_met),
		cmocka_unit_test(the_ledger_reckons_cost_and_outturn),
	};

	return cmocka_run_group_tests_name("site_study", tests, NULL, NULL);
}
