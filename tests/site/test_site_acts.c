/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * What the maker does, and what is refused: each refusal quotes what was given,
 * says what is accepted and changes nothing.
 */
#include "tests/site/fixture.h"

#include <stdio.h>

struct bad {
	const char *method, *params; /* ' for " */
	const char *says[3];         /* all of these stand in the sentence */
};

/* clang-format off */
static const struct bad bad_acts[] = {
	{"spread", "{'kg':10,'area':8}", {"spread needs origin"}},
	{"spread", "{'origin':'','kg':10,'area':8}", {"origin must be 1 to 60"}},
	{"spread", "{'origin':'   ','kg':10,'area':8}", {"origin must be 1 to 60"}},
	{"spread", "{'origin':'a\\nb','kg':10,'area':8}", {"origin must be", "control"}},
	{"spread", "{'origin':'0123456789012345678901234567890123456789012345678901234567890',"
		   "'kg':10,'area':8}", {"origin must be 1 to 60"}},
	{"spread", "{'origin':7,'kg':10,'area':8}", {"origin must be", "'7'"}},
	{"spread", "{'origin':'A','area':8}", {"spread needs kg"}},
	{"spread", "{'origin':'A','kg':0,'area':8}", {"kg must be more than 0 and at most 500", "'0'"}},
	{"spread", "{'origin':'A','kg':-3,'area':8}", {"kg must be", "'-3'"}},
	{"spread", "{'origin':'A','kg':501,'area':8}", {"at most 500 kg", "'501'"}},
	{"spread", "{'origin':'A','kg':-2.0,'area':8}", {"kg must be", "'-2'"}},
	{"spread", "{'origin':'A','kg':'ten','area':8}", {"kg must be", "'ten'"}},
	{"spread", "{'origin':'A','kg':'nan','area':8}", {"kg must be", "'nan'"}},
	{"spread", "{'origin':'A','kg':true,'area':8}", {"kg must be", "'true'"}},
	{"spread", "{'origin':'A','kg':10,'area':0}", {"area must be more than 0", "'0'"}},
	{"spread", "{'origin':'A','kg':10,'area':-1}", {"area must be", "'-1'"}},
	{"spread", "{'origin':'A','kg':10,'trays':0}", {"trays must be", "'0'"}},
	{"spread", "{'origin':'A','kg':10}", {"area in m2 or the number of trays"}},
	{"spread", "{'origin':'A','kg':10,'area':8,'style':'blue'}", {"no style 'blue'", "accepted: ", "green"}},
	{"spread", "{'origin':'A','kg':10,'area':8,'room':'attic'}", {"no room 'attic'", "loft, cellar"}},
	{"spread", "{'origin':'A','kg':10,'area':8,'grade':'old'}", {"no grade 'old'", "bud, young, mixed, mature"}},
	{"spread", "{'origin':'A','kg':10,'area':8,'season':'winter'}", {"no season 'winter'", "autumn"}},
	{"spread", "{'origin':'A','kg':10,'area':8,'wet':'soaked'}", {"no wet 'soaked'", "damp"}},
	{"spread", "{'origin':'A','kg':10,'area':8,'scale':'pan'}", {"no scale 'pan'", "bench"}},
	{"spread", "{'origin':'A','kg':10,'area':8,'moisture':20}", {"moisture must be at least 50", "'20'"}},
	{"spread", "{'origin':'A','kg':10,'area':8,'price':-1}", {"price must be at least 0", "'-1'"}},
	{"spread", "{'origin':'A','kg':10,'area':8,'at':'+2h'}", {"at must not lie in the future", "'+2h'"}},
	{"spread", "{'origin':'A','kg':10,'area':8,'at':99999999999}", {"at must"}},
	{"spread", "{'origin':'A','kg':10,'area':8,'at':'yesterday'}", {"at must be a time", "'yesterday'"}},
	{"spread", "{'origin':'A','kg':10,'area':8,'at':'-60d'}", {"at must lie within the last 30 days"}},
	{"spread", "{'origin':'A','kg':10,'area':8,'colour':'red'}", {"spread takes no 'colour'", "accepted: origin"}},
	{"weigh", "{'load':1}", {"weigh needs kg"}},
	{"weigh", "{'kg':5}", {"weigh needs load"}},
	{"weigh", "{'load':9,'kg':5}", {"no load '9'", "open loads: 1"}},
	{"weigh", "{'load':1.5,'kg':5}", {"no load '1.5'"}},
	{"weigh", "{'load':'one','kg':5}", {"no load 'one'"}},
	{"weigh", "{'load':1,'kg':10.5}", {"load 1 cannot weigh 10.5 kg", "10 kg"}},
	{"weigh", "{'load':1,'kg':0}", {"kg must be more than 0"}},
	{"weigh", "{'load':1,'kg':0.6,'sample-fresh':0.5}", {"0.5 kg fresh", "0.6 kg"}},
	{"weigh", "{'load':1,'kg':0.4,'sample-fresh':11}", {"11 kg", "10 kg"}},
	{"weigh", "{'load':1,'kg':9,'at':'-3h'}", {"at must not lie before load 1 was spread", "and that is "}},
	{"weigh", "{'load':2,'kg':5}", {"load 2 was fixed at", "already"}},
	{"feel", "{'load':1,'step':'crunchy'}", {"no step 'crunchy'", "crisp, soft, limp, slack, dry-edged"}},
	{"feel", "{'load':1}", {"feel needs step"}},
	{"turn", "{'load':1,'area':0}", {"area must be"}},
	{"turn", "{'load':1,'trays':0}", {"trays must be more than 0", "'0'"}},
	{"turn", "{'load':1,'fan':'fast'}", {"fan must be on or off", "'fast'"}},
	/* No figure in a refusal is in powers of ten. */
	{"spread", "{'origin':'A','kg':5,'area':5,'price':-3}", {"at most 999999", "'-3'"}},
	{"fix", "{'load':2}", {"load 2 was fixed"}},
	{"fix", "{'load':1,'kg':12}", {"load 1 cannot weigh 12 kg"}},
	{"fix", "{'load':1,'part':11}", {"part must be at most what is left of load 1", "'11'"}},
	{"fix", "{'load':1,'minutes':0}", {"minutes must be"}},
	{"fix", "{'load':3}", {"load 3 was dropped"}},
	{"yield", "{'load':1,'made':2}", {"load 1 is not fixed yet"}},
	{"yield", "{'load':3,'made':2}", {"load 3 was dropped"}},
	{"yield", "{'load':2,'made':7}", {"made must be at most the 6 kg"}},
	{"yield", "{'load':2,'made':1,'yellow':1.5}", {"yellow must be at most the 1 kg"}},
	{"drop", "{'load':1}", {"drop needs why"}},
	{"drop", "{'load':1,'why':''}", {"why must be"}},
	{"style", "{'style':'green'}", {"ready-from", "accept"}},
	{"style", "{'style':'blue','ready-from':20}", {"no style 'blue'"}},
	{"style", "{'style':'green','ready-from':60}", {"below the style's latest loss of", "'60'"}},
	/* The limit of the configuration's ready_from_loss_pct. */
	{"style", "{'style':'green','ready-from':86}", {"must be at least 1 and at most 85 %", "'86'"}},
	{"style", "{'style':'green','ready-from':0.5}", {"must be at least 1 and at most 85 %", "'0.5'"}},
	{"style", "{'style':'green','accept':true}", {"no proposal for green"}},
	{"salt", "{'station':'south','salt':'NaCl'}", {"no station 'south'", "north"}},
	{"salt", "{'station':'north','salt':'sugar'}", {"no salt 'sugar'", "NaCl"}},
	{"salt", "{'station':'north','salt':'NaCl','rh':20}", {"20.0%", "NaCl has 75."}},
	{"salt", "{'station':'north','salt':'NaCl'}", {"station north is not steady yet"}},
	{"undo", "{'what':1}", {"undo takes no 'what'"}},
	{"dance", "{}", {"no act 'dance'"}},
};
/* clang-format on */

/* Load 1 is open since 11:00, 2 was fixed, 3 was dropped; it is 13:00. */
static void open_three_loads(struct workshop *w)
{
	workshop_open(w, NULL);
	workshop_feed(w, DAY0 + 86400 + 11 * HOUR);
	json_decref(workshop_act(w, "spread", "{'origin':'Upper field','kg':10,'area':8}"));
	json_decref(workshop_act(w, "spread", "{'origin':'Ravine','kg':6,'area':6}"));
	json_decref(workshop_act(w, "spread", "{'origin':'Ravine','kg':5,'area':6}"));
	workshop_feed(w, w->now_unix_s + 2 * HOUR);
	json_decref(workshop_act(w, "fix", "{'load':2,'kg':5,'at':'-5min'}"));
	json_decref(workshop_act(w, "drop", "{'load':3,'why':'trodden on'}"));
	workshop_forecast(w);
}

static char *everything(struct workshop *w)
{
	json_t *all = json_array();

	json_array_append_new(all, workshop_query(w, "tonight", "{}"));
	json_array_append_new(all, workshop_query(w, "loads", "{'all':true}"));
	for (int load = 1; load <= 3; load++)
		json_array_append_new(all, workshop_query(w, "show", "{'load':%d}", load));
	json_array_append_new(all, workshop_query(w, "gardens", "{}"));
	json_array_append_new(all, workshop_query(w, "stations", "{}"));
	char *text = json_dumps(all, JSON_SORT_KEYS);
	json_decref(all);
	return text;
}

static void bad_acts_are_refused_in_words_and_change_nothing(void **state)
{
	struct workshop w;

	(void)state;
	open_three_loads(&w);
	char *before = everything(&w);
	uint64_t generation = wt_site_generation(w.site);
	for (size_t i = 0; i < sizeof(bad_acts) / sizeof(bad_acts[0]); i++) {
		const struct bad *bad = &bad_acts[i];
		json_t *result = workshop_act(&w, bad->method, "%s", bad->params);
		if (result)
			fail_msg("%s %s was taken", bad->method, bad->params);
		assert_true(w.refusal.code < 0);
		for (size_t k = 0; k < 3 && bad->says[k]; k++) {
			if (!strstr(w.refusal.text, bad->says[k]))
				fail_msg("%s %s: '%s' lacks '%s'", bad->method, bad->params,
					 w.refusal.text, bad->says[k]);
		}
	}
	char *after = everything(&w);
	assert_string_equal(before, after);
	assert_true(wt_site_generation(w.site) == generation);
	free(before);
	free(after);
	workshop_close(&w);
}

/* Who does not read sentences finds in the data which parameter it was and what is accepted. */
static void refusals_name_what_is_accepted(void **state)
{
	static const struct {
		const char *method, *params, *field, *accepted;
	} cases[] = {
		{"weigh", "{'load':1,'kg':0}", "kg", "more than 0 and at most 500 kg"},
		{"weigh", "{'load':9,'kg':1}", "load", "1"},
		{"feel", "{'load':1}", "step", "crisp, soft, limp, slack, dry-edged"},
		{"feel", "{'load':1,'step':'x'}", "step", "crisp, soft, limp, slack, dry-edged"},
		{"turn", "{'load':1,'fan':'x'}", "fan", "on or off"},
		{"turn", "{'load':1,'x':1}", "params", "load, area, trays, fan, at"},
		{"undo", "{'x':1}", "params", "no parameter"},
		{"spread", "{'origin':'A','kg':1,'area':1,'room':'x'}", "room", "loft, cellar"},
	};
	struct workshop w;

	(void)state;
	open_three_loads(&w);
	for (size_t i = 0; i < sizeof(cases) / sizeof(cases[0]); i++) {
		assert_null(workshop_act(&w, cases[i].method, "%s", cases[i].params));
		assert_string_equal(w.refusal.field, cases[i].field);
		assert_string_equal(w.refusal.accepted, cases[i].accepted);
	}
	/* `style` only asks without parameters; a style alone says too little. */
	assert_null(workshop_query(&w, "style", "%s", "{'style':'green'}"));
	assert_non_null(strstr(w.refusal.text, "style needs ready-from"));
	workshop_close(&w);
}

/* What `wither turn 7 5trays` and `wither spread ... --new` ask for. */
static void every_long_option_is_a_parameter(void **state)
{
	struct workshop w;
	json_t *act;

	(void)state;
	workshop_open(&w, NULL);
	workshop_feed(&w, DAY0 + 11 * HOUR);
	act = workshop_act(&w, "spread", "%s",
			   "{'origin':'A','kg':10,'trays':10,'new':true,'at':'-1h'}");
	assert_near(number_at(act, "act/params/area_m2"), 12.0, 1e-9);
	json_decref(act);
	act = workshop_act(&w, "turn", "%s", "{'load':1,'trays':20}");
	assert_near(number_at(act, "act/params/area_m2"), 24.0, 1e-9);
	json_decref(act);
	act = workshop_act(&w, "turn", "%s", "{'load':1}");
	assert_true(json_is_null(value_at(act, "act/params/area_m2")));
	json_decref(act);
	workshop_close(&w);
}

static void defaults_are_written_out(void **state)
{
	struct workshop w;

	(void)state;
	workshop_open(&w, NULL);
	workshop_feed(&w, DAY0 + 12 * HOUR);
	json_t *result =
		workshop_act(&w, "spread", "{'origin':'New garden','kg':'800 g','trays':3}");
	assert_string_equal(text_at(result, "act/params/style"), "green");
	assert_string_equal(text_at(result, "act/params/room"), "loft");
	assert_string_equal(text_at(result, "act/params/grade"), "young");
	assert_string_equal(text_at(result, "act/params/season"), "spring");
	assert_string_equal(text_at(result, "act/params/wet"), "none");
	assert_near(number_at(result, "act/params/kg"), 0.8, 1e-9);
	assert_near(number_at(result, "act/params/area_m2"), 3.6, 1e-9);
	assert_true(json_is_null(value_at(result, "act/params/price")));
	assert_int_equal((int)number_at(result, "act/load"), 1);
	assert_true(number_at(result, "act/at_unix_s") == (double)w.now_unix_s);
	assert_string_equal(text_at(result, "load/state"), "open");
	json_decref(result);
	workshop_close(&w);
}

static void the_first_style_of_the_file_is_the_usual_one(void **state)
{
	struct workshop w;

	(void)state;
	workshop_open(&w, "[style misty]\nready_from_loss_pct = 18\nlatest_loss_pct = 28\n");
	w.now_unix_s = DAY0 + 12 * HOUR;
	json_t *result = workshop_act(&w, "spread", "{'origin':'A','kg':5,'area':3}");
	assert_string_equal(text_at(result, "act/params/style"), "misty");
	json_decref(result);
	workshop_close(&w);
}

/* A weighing noted late, of before a part was fired: then all of it was on the trays. */
static void a_weighing_counts_what_was_there_then(void **state)
{
	struct workshop w;

	(void)state;
	open_three_loads(&w);
	workshop_feed(&w, w.now_unix_s + 4 * HOUR);
	workshop_forecast(&w);
	json_decref(workshop_act(&w, "fix", "{'load':1,'kg':8,'part':4}"));
	workshop_feed(&w, w.now_unix_s + HOUR);
	assert_null(workshop_act(&w, "weigh", "{'load':1,'kg':8.5}"));
	assert_non_null(strstr(w.refusal.text, "5 kg of fresh leaf"));
	json_t *result = workshop_act(&w, "weigh", "{'load':1,'kg':8.5,'at':'-2h'}");
	assert_non_null(result);
	json_decref(result);
	assert_null(workshop_act(&w, "weigh", "{'load':1,'kg':10.5,'at':'-2h'}"));
	workshop_close(&w);
}

/* It is shown cut short, and the cut may fall within a character. */
static void a_long_reason_does_not_hide_the_act(void **state)
{
	struct workshop w;

	(void)state;
	open_three_loads(&w);
	for (int ascii = 0; ascii < 3; ascii++) {
		json_decref(workshop_act(
			&w, "drop",
			"{'load':1,'why':'%.*s\u9709\u9709\u9709\u9709\u9709\u9709\u9709\u9709"
			"\u9709\u9709\u9709\u9709\u9709\u9709\u9709\u9709\u9709\u9709\u9709"
			"\u9709\u9709\u9709\u9709\u9709'}",
			ascii, "ab"));
		json_t *show = workshop_query(&w, "show", "{'load':1}");
		assert_int_equal(json_array_size(value_at(show, "acts")), 2 + ascii);
		json_decref(show);
		json_decref(workshop_act(&w, "undo", "{}"));
	}
	workshop_close(&w);
}

/* 10 kg, two hours on its trays, 9.1 kg by the forecast: 9.3 kg may be so, 7.3 kg is a slip. */
static void a_slip_at_fixing_is_doubted(void **state)
{
	static const struct {
		const char *fix;
		size_t notes;
	} fixed[] = {{"{'load':1,'kg':9.3}", 0},
		     {"{'load':1,'kg':7.3}", 1},
		     {"{'load':1,'part':3,'kg':9.3}", 0},
		     {"{'load':1}", 0}};
	struct workshop w;

	(void)state;
	for (size_t i = 0; i < sizeof(fixed) / sizeof(fixed[0]); i++) {
		open_three_loads(&w);
		json_t *done = workshop_act(&w, "fix", "%s", fixed[i].fix);
		assert_non_null(done);
		assert_int_equal(json_array_size(value_at(done, "notes")), fixed[i].notes);
		if (fixed[i].notes) {
			assert_string_equal(text_at(done, "notes/0/code"), "far_off");
			printf("%s\n", text_at(done, "notes/0/text"));
		}
		json_decref(done);
		workshop_close(&w);
	}
}

static void undo_takes_back_the_last_act_and_keeps_the_trace(void **state)
{
	struct workshop w;

	(void)state;
	open_three_loads(&w);
	json_t *result = workshop_act(&w, "undo", "{}");
	assert_string_equal(text_at(result, "act/params/undone/verb"), "drop");
	assert_string_equal(text_at(result, "load/state"), "open");
	json_decref(result);
	json_decref(workshop_act(&w, "undo", "{}"));
	result = workshop_query(&w, "show", "{'load':2}");
	assert_string_equal(text_at(result, "state"), "open");
	assert_true(json_is_true(value_at(result, "acts/1/undone")));
	assert_string_equal(text_at(result, "acts/1/verb"), "fix");
	json_decref(result);
	/* The third spreading: its number is not given again. */
	json_decref(workshop_act(&w, "undo", "{}"));
	assert_null(workshop_query(&w, "show", "{'load':3}"));
	result = workshop_act(&w, "spread", "{'origin':'A','kg':5,'area':3}");
	assert_int_equal((int)number_at(result, "act/load"), 4);
	json_decref(result);
	for (int i = 0; i < 3; i++)
		json_decref(workshop_act(&w, "undo", "{}"));
	assert_null(workshop_act(&w, "undo", "{}"));
	assert_string_equal(w.refusal.text, "there is nothing to take back");
	workshop_close(&w);
}

static void a_part_leaves_the_rest_open(void **state)
{
	struct workshop w;

	(void)state;
	open_three_loads(&w);
	json_t *result = workshop_act(&w, "fix", "{'load':1,'kg':9,'part':3}");
	assert_string_equal(text_at(result, "load/state"), "open");
	assert_near(number_at(result, "load/left_share"), 0.6667, 1e-9);
	json_decref(result);
	workshop_forecast(&w);
	assert_null(workshop_act(&w, "weigh", "{'load':1,'kg':7}"));
	json_decref(workshop_act(&w, "fix", "{'load':1,'kg':5.9}"));
	result = workshop_query(&w, "loads", "{'all':true}");
	assert_string_equal(text_at(result, "loads/0/state"), "fixed");
	assert_near(number_at(result, "loads/0/fixed_kg"), 8.9, 1e-9);
	json_decref(result);
	workshop_close(&w);
}

static void a_style_shift_moves_the_window_and_undo_moves_it_back(void **state)
{
	struct workshop w;

	(void)state;
	open_three_loads(&w);
	json_t *before = workshop_query(&w, "tonight", "{}");
	json_decref(workshop_act(&w, "style", "{'style':'green','ready-from':18}"));
	workshop_forecast(&w);
	json_t *after = workshop_query(&w, "tonight", "{}");
	assert_near(number_at(after, "loads/0/ready_from_loss_pct"), 18.0, 1e-9);
	assert_true(number_at(after, "loads/0/ready_unix_s/p50") >
		    number_at(before, "loads/0/ready_unix_s/p50"));
	json_decref(workshop_act(&w, "undo", "{}"));
	workshop_forecast(&w);
	json_t *back = workshop_query(&w, "tonight", "{}");
	assert_true(number_at(back, "loads/0/ready_unix_s/p50") ==
		    number_at(before, "loads/0/ready_unix_s/p50"));
	json_decref(before);
	json_decref(after);
	json_decref(back);
	workshop_close(&w);
}

static void a_salt_test_corrects_the_air(void **state)
{
	struct workshop w;

	(void)state;
	workshop_open(&w, NULL);
	workshop_feed(&w, DAY0 + 86400 + 11 * HOUR);
	json_t *before = workshop_query(&w, "tonight", "{}");
	json_decref(workshop_act(&w, "salt", "{'station':'north','salt':'NaCl','rh':80}"));
	json_t *after = workshop_query(&w, "tonight", "{}");
	/* Shown 80 where 75.4 is true: all of its readings come down by that. */
	assert_near(number_at(after, "rooms/0/rh_pct") - number_at(before, "rooms/0/rh_pct"), -4.6,
		    0.2);
	double temp_c = 20.3, rh_pct = 70.0;
	wt_site_correct(w.site, "north", &temp_c, &rh_pct);
	assert_near(rh_pct,
		    70.0 + number_at(after, "rooms/0/rh_pct") - number_at(before, "rooms/0/rh_pct"),
		    0.06);
	wt_site_correct(w.site, "no such", &temp_c, &rh_pct);
	json_decref(workshop_act(&w, "undo", "{}"));
	json_t *back = workshop_query(&w, "tonight", "{}");
	assert_true(number_at(back, "rooms/0/rh_pct") == number_at(before, "rooms/0/rh_pct"));
	json_decref(before);
	json_decref(after);
	json_decref(back);
	workshop_close(&w);
}

static void air_of_the_jar_is_not_air_of_the_room(void **state)
{
	struct workshop w;

	(void)state;
	workshop_open(&w, NULL);
	workshop_feed(&w, DAY0 + 86400 + 11 * HOUR);
	json_t *before = workshop_query(&w, "tonight", "{}");
	for (int i = 1; i <= 36; i++) {
		struct wt_reading jar = {.at_unix_ms = (w.now_unix_s + i * 300) * 1000,
					 .received_unix_ms = (w.now_unix_s + i * 300) * 1000,
					 .temp_c = 20.0,
					 .rh_pct = 77.5};
		wt_site_add_reading(w.site, &jar);
	}
	w.now_unix_s += 36 * 300;
	json_t *done = workshop_act(&w, "salt", "{'station':'north','salt':'table salt'}");
	assert_true(json_is_true(json_object_get(
		json_object_get(json_object_get(done, "station"), "hour"), "steady")));
	assert_near(number_at(done, "station/salt/offset_pct"), -2.1, 0.2);
	assert_near(number_at(done, "station/salt/gain"), 1.0, 1e-9);
	/* What an error of 3 % does is said in hours, of the model's standard case. */
	assert_true(number_at(done, "rh_effect/hours_high") > number_at(done, "rh_effect/hours"));
	assert_true(number_at(done, "rh_effect/hours_low") < number_at(done, "rh_effect/hours"));
	json_decref(done);
	json_t *after = workshop_query(&w, "tonight", "{}");
	/* The newest air of the room is three hours old again, and two points lower. */
	assert_near(number_at(after, "rooms/0/age_s"), 3.0 * HOUR, 400.0);
	assert_near(number_at(after, "rooms/0/rh_pct"), number_at(before, "rooms/0/rh_pct") - 2.1,
		    0.3);
	json_decref(before);
	json_decref(after);
	workshop_close(&w);
}

/* The text of the concern about the jar at a time; "" when there is none. */
static void jar_reminder(const struct workshop *w, int64_t at_unix_s, char out[120])
{
	json_t *concerns = wt_site_concerns(w->site, at_unix_s), *one;
	size_t i;

	out[0] = '\0';
	json_array_foreach(concerns, i, one)
	{
		if (strcmp(json_string_value(json_object_get(one, "code")), "salt_due") == 0) {
			assert_string_equal(json_string_value(json_object_get(one, "severity")),
					    "notice");
			snprintf(out, 120, "%s", json_string_value(json_object_get(one, "text")));
		}
	}
	json_decref(concerns);
}

static void a_year_after_the_jar_it_is_said(void **state)
{
	const int64_t day_s = 24 * HOUR;
	struct workshop w;
	char text[120];

	(void)state;
	workshop_open(&w, NULL);
	workshop_feed(&w, DAY0 + 86400 + 11 * HOUR);
	jar_reminder(&w, DAY0 + 364 * day_s, text);
	assert_string_equal(text, "");
	jar_reminder(&w, DAY0 + 367 * day_s, text);
	assert_non_null(strstr(text, "north has never been checked"));
	json_decref(workshop_act(&w, "salt", "{'station':'north','salt':'NaCl','rh':77}"));
	jar_reminder(&w, w.now_unix_s + 365 * day_s, text);
	assert_string_equal(text, "");
	jar_reminder(&w, w.now_unix_s + 366 * day_s, text);
	assert_non_null(strstr(text, "366 days ago"));
	workshop_close(&w);
}

static void the_season_turns_with_the_hemisphere(void **state)
{
	struct workshop w;

	(void)state;
	workshop_open(&w, NULL);
	w.config->latitude_deg = -7.0;
	w.now_unix_s = DAY0 + 12 * HOUR;
	json_t *result = workshop_act(&w, "spread", "{'origin':'A','kg':5,'area':3}");
	assert_string_equal(text_at(result, "act/params/season"), "autumn");
	json_decref(result);
	workshop_close(&w);
}

int main(void)
{
	const struct CMUnitTest tests[] = {
		cmocka_unit_test(bad_acts_are_refused_in_words_and_change_nothing),
		cmocka_unit_test(refusals_name_what_is_accepted),
		cmocka_unit_test(every_long_option_is_a_parameter),
		cmocka_unit_test(defaults_are_written_out),
		cmocka_unit_test(the_first_style_of_the_file_is_the_usual_one),
		cmocka_unit_test(a_weighing_counts_what_was_there_then),
		cmocka_unit_test(a_long_reason_does_not_hide_the_act),
		cmocka_unit_test(a_slip_at_fixing_is_doubted),
		cmocka_unit_test(undo_takes_back_the_last_act_and_keeps_the_trace),
		cmocka_unit_test(a_part_leaves_the_rest_open),
		cmocka_unit_test(a_style_shift_moves_the_window_and_undo_moves_it_back),
		cmocka_unit_test(a_salt_test_corrects_the_air),
		cmocka_unit_test(a_year_after_the_jar_it_is_said),
		cmocka_unit_test(air_of_the_jar_is_not_air_of_the_room),
		cmocka_unit_test(the_season_turns_with_the_hemisphere),
	};

	return cmocka_run_group_tests_name("site_acts", tests, NULL, NULL);
}
