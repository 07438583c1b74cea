/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * One workshop from the first reading to the answer of the evening.
 */
#include "tests/site/fixture.h"

#include <stdio.h>

#include "lib/wire/says.h"

static void no_reading_means_no_forecast(void **state)
{
	struct workshop w;

	(void)state;
	workshop_open(&w, NULL);
	w.now_unix_s = DAY0 + 12 * HOUR;
	/* Leaf in the rain as well as dry leaf. */
	json_t *act =
		workshop_act(&w, "spread", "{'origin':'Upper field','kg':10,'area':8,'wet':'wet'}");
	assert_string_equal(text_at(act, "notes/0/code"), "no_reading");
	json_decref(act);
	workshop_forecast(&w);
	json_t *tonight = workshop_query(&w, "tonight", "{}");
	assert_string_equal(text_at(tonight, "answer/code"), "no_reading");
	assert_true(isnan(number_at(tonight, "loads/0/ready_unix_s/p50")));
	assert_true(json_is_null(value_at(tonight, "loads/0/call")));
	assert_true(json_is_null(value_at(tonight, "rooms/0/temp_c")));
	json_decref(tonight);
	workshop_close(&w);
}

static void quantiles_are_ordered(const json_t *load, const char *name)
{
	char path[64];
	double p[3];
	static const char *const labels[] = {"p10", "p50", "p90"};

	for (int i = 0; i < 3; i++) {
		snprintf(path, sizeof(path), "%s/%s", name, labels[i]);
		p[i] = number_at(load, path);
		/* Null stands for beyond the horizon. */
		p[i] = isnan(p[i]) ? HUGE_VAL : p[i];
	}
	assert_true(p[0] <= p[1] && p[1] <= p[2]);
}

static void loads_get_a_forecast_and_a_call(void **state)
{
	struct workshop w;

	(void)state;
	workshop_open(&w, NULL);
	workshop_feed(&w, DAY0 + 3 * 86400 + 15 * HOUR);
	json_decref(workshop_act(&w, "spread", "{'origin':'Upper field','kg':10,'area':8}"));
	json_decref(workshop_act(&w, "spread", "{'origin':'Ravine','kg':6,'area':3,'at':'-2h'}"));
	workshop_feed(&w, w.now_unix_s + 3 * HOUR);
	workshop_forecast(&w);
	json_t *tonight = workshop_query(&w, "tonight", "{}");
	for (size_t i = 0; i < 2; i++) {
		const json_t *load = json_array_get(json_object_get(tonight, "loads"), i);
		quantiles_are_ordered(load, "loss_pct");
		quantiles_are_ordered(load, "ready_unix_s");
		quantiles_are_ordered(load, "past_unix_s");
		assert_true(strlen(text_at(load, "why")) > 10 &&
			    strlen(text_at(load, "why")) <= 110);
		assert_true(number_at(load, "p_ready_tonight") >= 0.0 &&
			    number_at(load, "p_ready_tonight") <= 1.0);
		assert_true(strlen(text_at(load, "call")) > 0);
	}
	assert_near(number_at(tonight, "loads/0/hours"), 3.0, 1e-9);
	assert_near(number_at(tonight, "loads/1/hours"), 5.0, 1e-9);
	json_decref(tonight);
	workshop_close(&w);
}

/* The sentence is all that it was made of, and ends where it ends: in a first morning each load
 * feels the air that turned. */
static void the_reason_is_a_whole_sentence(void **state)
{
	struct workshop w;
	size_t longest = 0;

	(void)state;
	workshop_open(&w, NULL);
	w.now_unix_s = DAY0 + 8 * HOUR;
	workshop_feed(&w, w.now_unix_s + 60);
	json_decref(workshop_act(&w, "spread", "{'origin':'Upper field','kg':20,'area':10}"));
	for (int hours = 1; hours <= 8; hours++) {
		char whole[600] = "", part[200];
		workshop_feed(&w, DAY0 + (8 + hours) * HOUR);
		workshop_forecast(&w);
		json_t *show = workshop_query(&w, "show", "{'load':1}"), *says;
		const char *why = text_at(show, "why");
		size_t i;
		json_array_foreach(json_object_get(show, "why_says"), i, says)
		{
			assert_true(wt_says_fill(says, json_string_value(json_array_get(says, 0)),
						 NULL, part, sizeof part));
			snprintf(whole + strlen(whole), sizeof whole - strlen(whole), "%s%s",
				 i ? "; " : "", part);
		}
		assert_string_equal(why, whole);
		if (i > 1 && strlen(part) > longest)
			longest = strlen(part);
		json_decref(show);
	}
	/* The case that matters was among them. */
	assert_true(longest > 60);
	workshop_close(&w);
}

/* The median ready time of one load of `kg` on 8 m2 after four hours of air so changed. */
static double ready_with(double warmer_c, double wetter_pct, double kg)
{
	struct workshop w;

	workshop_open(&w, NULL);
	w.warmer_c = warmer_c;
	w.wetter_pct = wetter_pct;
	workshop_feed(&w, DAY0 + 3 * 86400 + 15 * HOUR);
	json_decref(workshop_act(&w, "spread", "{'origin':'Upper field','kg':%g,'area':8}", kg));
	workshop_feed(&w, w.now_unix_s + 2 * HOUR);
	workshop_forecast(&w);
	json_t *tonight = workshop_query(&w, "tonight", "{}");
	double ready = number_at(tonight, "loads/0/ready_unix_s/p50");
	json_decref(tonight);
	workshop_close(&w);
	return isnan(ready) ? HUGE_VAL : ready;
}

static void wetter_is_later_and_thinner_is_earlier(void **state)
{
	(void)state;
	double as_is = ready_with(0, 0, 12);
	assert_true(ready_with(0, 12, 12) > as_is);
	assert_true(ready_with(0, -12, 12) < as_is);
	assert_true(ready_with(4, 0, 12) < as_is);
	assert_true(ready_with(0, 0, 8) < as_is);
	assert_true(ready_with(0, 0, 20) > as_is);
}

/* The same acts and readings give the same document, to the last digit. */
static char *replayed(void)
{
	struct workshop w;

	workshop_open(&w, NULL);
	workshop_feed(&w, DAY0 + 2 * 86400 + 11 * HOUR);
	json_decref(workshop_act(&w, "spread", "{'origin':'Upper field','kg':10,'area':8}"));
	workshop_feed(&w, w.now_unix_s + 3 * HOUR);
	json_decref(workshop_act(&w, "weigh", "{'load':1,'kg':8.9}"));
	workshop_forecast(&w);
	workshop_feed(&w, w.now_unix_s + HOUR);
	workshop_forecast(&w);
	json_t *rows = wt_site_forecast_rows(w.site);
	char *text = json_dumps(rows, JSON_SORT_KEYS);
	json_decref(rows);
	workshop_close(&w);
	return text;
}

static void same_journal_same_forecast(void **state)
{
	(void)state;
	char *a = replayed(), *b = replayed();
	assert_string_equal(a, b);
	free(a);
	free(b);
}

static void a_silent_station_is_said(void **state)
{
	struct workshop w;

	(void)state;
	workshop_open(&w, NULL);
	workshop_feed(&w, DAY0 + 2 * 86400 + 11 * HOUR);
	json_decref(workshop_act(&w, "spread", "{'origin':'Upper field','kg':10,'area':8}"));
	w.now_unix_s += 16 * 60;
	workshop_forecast(&w);
	json_t *tonight = workshop_query(&w, "tonight", "{}");
	assert_true(json_is_true(value_at(tonight, "rooms/0/stale")));
	assert_string_equal(text_at(tonight, "concerns/0/code"), "station_silent");
	assert_string_not_equal(text_at(tonight, "answer/code"), "stale");
	json_decref(tonight);
	w.now_unix_s += HOUR;
	tonight = workshop_query(&w, "tonight", "{}");
	assert_string_equal(text_at(tonight, "answer/code"), "stale");
	json_decref(tonight);
	/* Half a day later nothing is forecast any more. */
	w.now_unix_s += 13 * HOUR;
	workshop_forecast(&w);
	tonight = workshop_query(&w, "tonight", "{}");
	assert_true(isnan(number_at(tonight, "loads/0/ready_unix_s/p50")));
	json_decref(tonight);
	workshop_close(&w);
}

int main(void)
{
	const struct CMUnitTest tests[] = {
		cmocka_unit_test(no_reading_means_no_forecast),
		cmocka_unit_test(loads_get_a_forecast_and_a_call),
		cmocka_unit_test(the_reason_is_a_whole_sentence),
		cmocka_unit_test(wetter_is_later_and_thinner_is_earlier),
		cmocka_unit_test(same_journal_same_forecast),
		cmocka_unit_test(a_silent_station_is_said),
	};

	return cmocka_run_group_tests_name("site_evening", tests, NULL, NULL);
}
