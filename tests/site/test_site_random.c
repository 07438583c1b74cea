/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * Questions and acts of random make: each is answered or refused in words, and
 * edges of the evening are sensible.
 */
#include "tests/site/fixture.h"

#include <stdio.h>

#include "daemon/site_inner.h"

static uint64_t seed = 20260406;

static unsigned draw(unsigned n)
{
	seed = seed * 6364136223846793005ULL + 1442695040888963407ULL;
	return (unsigned)(seed >> 33) % n;
}

static json_t *random_value(void)
{
	static const char *const texts[] = {"",       "A",     "green",      "loft", "on",
					    "12:00",  "-2h",   "NaCl",       "soft", "bench",
					    "-1",     "1e309", "0x10",       "1 kg", "\xe8\x8c\xb6",
					    "a\x01b", "now",   "2026-04-06", "+9h",  "potassium"};
	static const double numbers[] = {0,     1,     2,     3,    -1,  0.5,     10, 1e9,
					 1e308, -1e30, 1e-30, 72.5, 100, 499.999, 20, 1775404800};
	switch (draw(8)) {
	case 0:
		return json_null();
	case 1:
		return json_boolean(draw(2));
	case 2:
		return json_integer((json_int_t)draw(12) - 3);
	case 3:
		return json_pack("[i]", 1);
	case 4:
		return json_pack("{s:i}", "kg", 1);
	case 5:
		return json_string(texts[draw(sizeof(texts) / sizeof(texts[0]))]);
	default:
		return json_real(numbers[draw(sizeof(numbers) / sizeof(numbers[0]))]);
	}
}

static json_t *likely_value(const struct site_param_rule *rule)
{
	switch (rule->kind) {
	case SITE_PARAM_NUMBER:
		return json_real(rule->least +
				 0.01 * draw(100) * fmin(rule->most - rule->least, 10.0));
	case SITE_PARAM_TIME:
		return json_string(draw(2) ? "-5min" : "-2h");
	case SITE_PARAM_WISH:
		return json_string("+5h");
	case SITE_PARAM_WORD:
		return json_string(wt_words_text(rule->words, (int)draw(3)));
	case SITE_PARAM_ROOM:
		return json_string(draw(2) ? "loft" : "cellar");
	case SITE_PARAM_STYLE:
		return json_string(draw(2) ? "green" : "white");
	case SITE_PARAM_STATION:
		return json_string("north");
	case SITE_PARAM_SCALE:
		return json_string("bench");
	case SITE_PARAM_SALT:
		return json_string("NaCl");
	case SITE_PARAM_LOAD:
		return json_integer(1 + (json_int_t)draw(6));
	case SITE_PARAM_SWITCH:
		return json_boolean(draw(2));
	default:
		return json_string("A");
	}
}

/* Mostly what the verb takes, sometimes something else, sometimes nonsense. */
static json_t *random_params(const char *method)
{
	const struct site_verb_rule *verb = site_verb_find(method);
	json_t *params = json_object();

	for (size_t i = 0; verb && i < SITE_PARAMS_MAX && verb->params[i].name; i++) {
		const struct site_param_rule *rule = &verb->params[i];
		if (draw(100) < (rule->required ? 97u : 20u))
			json_object_set_new(params, rule->name,
					    draw(10) ? likely_value(rule) : random_value());
	}
	if (draw(20) == 0)
		json_object_set_new(params, "nonsense", random_value());
	return params;
}

/* One call; true when it was answered. */
static bool call(struct workshop *w, const char *method, const json_t *params)
{
	struct wt_refusal refusal = {0};
	struct wt_act act = {0};
	json_t *result = NULL;

	if (wt_site_is_act(method) &&
	    wt_site_prepare(w->site, method, params, w->now_unix_s, &act, &refusal)) {
		act.id = w->next_act++;
		wt_site_apply(w->site, &act);
		result = wt_site_act_result(w->site, &act, w->now_unix_s);
		wt_act_clear(&act);
	} else if (wt_site_is_study(method)) {
		struct wt_job *job =
			wt_site_study(w->site, method, params, w->now_unix_s, &refusal);
		if (job) {
			wt_job_run(job);
			result = wt_job_result(job);
			wt_job_free(&job);
		}
	} else if (!wt_site_is_act(method)) {
		result = wt_site_query(w->site, method, params, w->now_unix_s, &refusal);
	}
	if (!result)
		assert_true(refusal.code < 0 && strlen(refusal.text) > 10);
	else
		assert_true(json_is_object(result));
	bool answered = result != NULL;
	json_decref(result);
	return answered;
}

static void anything_is_answered_or_refused(void **state)
{
	static const char *const methods[] = {
		"spread", "weigh",   "feel",   "turn",     "fix",     "yield",   "drop",
		"undo",   "style",   "salt",   "tonight",  "show",    "loads",   "air",
		"plan",   "gardens", "ledger", "stations", "what-if", "density", "dance"};
	struct workshop w;
	int answered = 0;

	(void)state;
	printf("seed %llu\n", (unsigned long long)seed);
	workshop_open(&w, NULL);
	w.config->members = 16;
	workshop_feed(&w, DAY0 + 86400 + 9 * HOUR);
	for (int i = 0; i < 4; i++)
		json_decref(workshop_act(&w, "spread", "{'origin':'A','kg':9,'area':8}"));
	for (int i = 0; i < 2000; i++) {
		const char *method = methods[draw(sizeof(methods) / sizeof(methods[0]))];
		json_t *params = random_params(method);
		answered += call(&w, method, params);
		json_decref(params);
		if (i % 100 == 0) {
			workshop_feed(&w, w.now_unix_s + 1200);
			workshop_forecast(&w);
			json_decref(wt_site_forecast_rows(w.site));
			json_decref(wt_site_loads_rows(w.site));
		}
	}
	printf("%d answered\n", answered);
	assert_true(answered > 700);
	workshop_close(&w);
}

static void an_empty_evening_is_said(void **state)
{
	struct workshop w;

	(void)state;
	workshop_open(&w, NULL);
	workshop_feed(&w, DAY0 + 86400 + 18 * HOUR);
	workshop_forecast(&w);
	json_t *tonight = workshop_query(&w, "tonight", "{}");
	assert_string_equal(text_at(tonight, "answer/code"), "nothing");
	assert_int_equal((int)json_array_size(value_at(tonight, "plan/firings")), 0);
	assert_int_equal((int)json_array_size(value_at(tonight, "settle")), 0);
	json_decref(tonight);
	workshop_close(&w);
}

static void without_a_wok_nothing_is_planned(void **state)
{
	struct workshop w;

	(void)state;
	workshop_open(&w, NULL);
	w.config->woks = 0;
	workshop_feed(&w, DAY0 + 86400 + 12 * HOUR);
	json_decref(workshop_act(&w, "spread", "{'origin':'A','kg':10,'area':8}"));
	workshop_feed(&w, w.now_unix_s + 5 * HOUR);
	workshop_forecast(&w);
	json_t *tonight = workshop_query(&w, "tonight", "{}");
	assert_int_equal((int)json_array_size(value_at(tonight, "plan/firings")), 0);
	assert_string_equal(text_at(tonight, "plan/given_up/0/code"), "no_wok");
	assert_true(number_at(tonight, "loads/0/ready_unix_s/p50") > 0.0);
	json_decref(tonight);
	workshop_close(&w);
}

static void after_the_last_start_nothing_is_fired_tonight(void **state)
{
	struct workshop w;

	(void)state;
	workshop_open(&w, NULL);
	workshop_feed(&w, DAY0 + 86400 + 16 * HOUR);
	json_decref(workshop_act(&w, "spread", "{'origin':'A','kg':5,'area':5}"));
	workshop_feed(&w, DAY0 + 86400 + 23 * HOUR);
	workshop_forecast(&w);
	json_t *tonight = workshop_query(&w, "tonight", "{}");
	for (size_t i = 0; i < json_array_size(value_at(tonight, "plan/firings")); i++)
		assert_string_equal(
			text_at(json_array_get(value_at(tonight, "plan/firings"), i), "when"),
			"morning");
	assert_string_not_equal(text_at(tonight, "loads/0/call"), "tonight");
	assert_string_not_equal(text_at(tonight, "loads/0/call"), "now");
	json_decref(tonight);
	/* After midnight, too. */
	workshop_feed(&w, DAY0 + 2 * 86400 + 2 * HOUR);
	workshop_forecast(&w);
	tonight = workshop_query(&w, "tonight", "{}");
	assert_true(number_at(tonight, "hearth/last_start_unix_s") < (double)w.now_unix_s);
	assert_string_not_equal(text_at(tonight, "loads/0/call"), "tonight");
	json_decref(tonight);
	workshop_close(&w);
}

static void forty_loads_are_answered(void **state)
{
	struct workshop w;

	(void)state;
	workshop_open(&w, NULL);
	w.config->members = 64;
	workshop_feed(&w, DAY0 + 86400 + 13 * HOUR);
	for (int i = 0; i < 40; i++)
		json_decref(workshop_act(&w, "spread", "{'origin':'G%d','kg':%d,'area':8}", i % 6,
					 4 + i % 9));
	workshop_feed(&w, w.now_unix_s + 4 * HOUR);
	workshop_forecast(&w);
	json_t *tonight = workshop_query(&w, "tonight", "{}");
	assert_int_equal((int)json_array_size(json_object_get(tonight, "loads")), 40);
	for (size_t i = 0; i < 40; i++)
		assert_true(strlen(text_at(json_array_get(json_object_get(tonight, "loads"), i),
					   "call")) > 0);
	assert_true(strlen(text_at(tonight, "answer/text")) < 240);
	json_decref(tonight);
	workshop_close(&w);
}

int main(void)
{
	const struct CMUnitTest tests[] = {
		cmocka_unit_test(anything_is_answered_or_refused),
		cmocka_unit_test(an_empty_evening_is_said),
		cmocka_unit_test(without_a_wok_nothing_is_planned),
		cmocka_unit_test(after_the_last_start_nothing_is_fired_tonight),
		cmocka_unit_test(forty_loads_are_answered),
	};

	return cmocka_run_group_tests_name("site_random", tests, NULL, NULL);
}
