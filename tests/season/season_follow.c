/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * Plays a synthetic season again under a rule of decision and writes what came of it.
 *
 * usage: season_follow FOLDER RULE      FOLDER as make_season wrote it
 *
 * calls    starts each firing when the plan says
 * hours8   fixes when 8 h have passed
 * weighed  at 17:00: if the last weighing, or else the median forecast, has the leaf ready before
 *          the last start, it is fixed in the evening when it should have reached its aim, else in
 *          the morning
 * median   the same by the median alone
 * morning  always the first start of the next day
 * known    by the plan of somebody who knows when the leaf will be ready and past its best: what
 * the hours and the woks cost in any case lines fire,RULE,LOAD,UNIX_S,COST,-1|0|1 (before ready,
 * inside the window, past its best)
 *
 * none, proposed, random, proposed3, random3: loads are fixed as the journal says; at 16:00 the
 * tool may propose a weighing, which is made as proposed, or of any load at any time, or not at
 * all; with 3 it is asked again, up to three times; an hour before the last start calls are judged
 *   lines judge,RULE,DAY,LOADS,WRONG,WEIGHINGS,PROPOSED
 */
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "follow.h"

#define H 3600.0
#define READY_PCT 18.0
#define AIM_PCT 21.0
#define SCALE_SD 0.01 /* of the weight, as of the weighings of the journal */

static struct follow follow;

/* --- the calls ------------------------------------------------------------------------------- */

static int firings_left(const json_t *firings, int number)
{
	int n = 0;
	size_t i;
	json_t *firing;
	json_array_foreach(firings, i, firing) n +=
		json_integer_value(json_object_get(firing, "load")) == number;
	return n;
}

/* The maker weighs what is on the trays and what goes into the wok.  The last firing of a load
 * takes the rest. */
static void fix_part(struct follow *f, int64_t at_unix_s, int number, double fresh_kg, bool last)
{
	struct follow_load *load = &f->loads[number];
	double share = follow_kg(load, (double)at_unix_s) / load->kg[0];
	double rest_kg = (load->said_kg - load->fired_kg) * share;
	json_t *params = json_pack("{s:i,s:f}", "load", number, "kg", rest_kg);
	load->fired_kg += fresh_kg;
	if (!last)
		json_object_set_new(params, "part", json_real(fresh_kg * share));
	if (!follow_act(f, at_unix_s, "fix", params) && last)
		(void)follow_act(f, at_unix_s, "fix", json_pack("{s:i}", "load", number));
}

static void look_calls(struct follow *f, int64_t at_unix_s)
{
	if (!follow_hearth_open(f, (double)at_unix_s))
		return;
	json_t *plan = follow_ask(f, "plan", at_unix_s), *firing;
	const json_t *firings = json_object_get(plan, "firings");
	int started[FOLLOW_LOADS] = {0};
	size_t i;
	json_array_foreach(firings, i, firing)
	{
		int number = (int)json_integer_value(json_object_get(firing, "load"));
		double start_s = json_number_value(json_object_get(firing, "start_unix_s"));
		int wok = 0;
		for (int k = 1; k < f->config->woks; k++)
			wok = f->wok_free_unix_s[k] < f->wok_free_unix_s[wok] ? k : wok;
		start_s = fmax(start_s, f->wok_free_unix_s[wok]);
		if (start_s >= (double)at_unix_s + FOLLOW_LOOK_S || !follow_hearth_open(f, start_s))
			continue;
		follow_fire(f, number, wok, start_s);
		fix_part(f, at_unix_s, number, json_number_value(json_object_get(firing, "kg")),
			 ++started[number] == firings_left(firings, number));
	}
	json_decref(plan);
}

/* --- foreknowledge --------------------------------------------------------------------------- */

static double or_never(int64_t unix_s)
{
	return unix_s ? (double)unix_s : HUGE_VAL;
}

static struct wt_hearth hearth_at(const struct follow *f, int64_t at_unix_s)
{
	int64_t first_s = 60 * f->config->first_start_min, last_s = 60 * f->config->last_start_min;
	int64_t day_s = (at_unix_s - first_s) / 86400 * 86400;
	return (struct wt_hearth){
		.woks = f->config->woks,
		.wok_kg = f->config->wok_kg,
		.firing_s = 60 * f->config->minutes_by_season[WT_SEASON_SPRING],
		.evening_from_unix_s = at_unix_s,
		.last_start_unix_s = day_s + last_s,
		.first_start_unix_s = day_s + 86400 + first_s,
		.morning_until_unix_s = day_s + 86400 + last_s,
	};
}

static void look_known(struct follow *f, int64_t at_unix_s)
{
	static struct wt_decide_load loads[FOLLOW_LOADS];
	static double ready_s[FOLLOW_LOADS], past_s[FOLLOW_LOADS];
	struct wt_hearth hearth = hearth_at(f, at_unix_s);
	struct wt_plan *plan = NULL;
	size_t n = 0;
	if (!follow_hearth_open(f, (double)at_unix_s))
		return;
	for (int i = 1; i <= f->n_loads; i++) {
		const struct follow_load *load = &f->loads[i];
		if (load->spread_unix_s > at_unix_s || load->fired >= load->firings)
			continue;
		ready_s[n] = or_never(load->ready_unix_s);
		past_s[n] = or_never(load->past_unix_s);
		loads[n] = (struct wt_decide_load){.load = i,
						   .left_kg = (load->firings - load->fired) *
							      f->config->wok_kg,
						   .n = 1,
						   .ready_unix_s = &ready_s[n],
						   .past_unix_s = &past_s[n]};
		n++;
	}
	if (n && wt_decide_plan(&hearth, &f->costs, loads, n, at_unix_s, &plan) != WT_OK)
		exit(1);
	for (size_t k = 0; plan && k < plan->n; k++) {
		int wok = plan->firings[k].wok - 1;
		double start_s =
			fmax((double)plan->firings[k].start_unix_s, f->wok_free_unix_s[wok]);
		if (start_s < (double)at_unix_s + FOLLOW_LOOK_S && follow_hearth_open(f, start_s))
			follow_fire(f, plan->firings[k].load, wok, start_s);
	}
	wt_plan_free(&plan);
}

/* --- rules of thumb -------------------------------------------------------------------------- */

static double next_first_start(const struct follow *f, double at_s)
{
	double day_s = at_s - fmod(at_s, 86400), first_s = 60.0 * f->config->first_start_min;
	return day_s + first_s > at_s ? day_s + first_s : day_s + 86400 + first_s;
}

static void look_clock(struct follow *f, int64_t at_unix_s)
{
	for (int i = 1; i <= f->n_loads; i++) {
		struct follow_load *load = &f->loads[i];
		if (load->spread_unix_s > at_unix_s)
			continue;
		load->due_unix_s = strcmp(f->rule, "hours8") == 0
					   ? (double)load->spread_unix_s + 8 * H
					   : next_first_start(f, (double)load->spread_unix_s);
	}
	follow_due(f, at_unix_s);
}

static const json_t *row_of(const json_t *tonight, int number)
{
	size_t i;
	json_t *row;
	json_array_foreach(json_object_get(tonight, "loads"), i,
			   row) if (json_integer_value(json_object_get(row, "load")) ==
				    number) return row;
	return NULL;
}

/* When the leaf should lose a share of its weight, by the last weighing at an even pace, or by the
 * median forecast; the aim as much later as the leaf's rate has it. */
static double guess(const struct follow *f, const struct follow_load *load, const json_t *row,
		    double *aim_s)
{
	double spread_s = (double)load->spread_unix_s;
	if (strcmp(f->rule, "weighed") == 0 && load->weighed_unix_s) {
		double lost_pct = 100 * (1 - load->weighed_kg / load->said_kg);
		double per_pct_s = ((double)load->weighed_unix_s - spread_s) / fmax(lost_pct, 0.1);
		*aim_s = spread_s + AIM_PCT * per_pct_s;
		return spread_s + READY_PCT * per_pct_s;
	}
	const json_t *p50 = json_object_get(json_object_get(row, "ready_unix_s"), "p50");
	double ready_s = json_is_number(p50) ? json_number_value(p50) : HUGE_VAL;
	double since_h = (ready_s - spread_s) / H;
	*aim_s = ready_s + (AIM_PCT - READY_PCT) * since_h / READY_PCT * H;
	return ready_s;
}

static void look_evening(struct follow *f, int64_t at_unix_s)
{
	if (follow_hour((double)at_unix_s) == 17) {
		json_t *tonight = follow_ask(f, "tonight", at_unix_s);
		double last_s = (double)follow_last_start(f, at_unix_s), aim_s = 0;
		for (int i = 1; i <= f->n_loads; i++) {
			struct follow_load *load = &f->loads[i];
			if (load->spread_unix_s > at_unix_s || load->asked)
				continue;
			double ready_s = guess(f, load, row_of(tonight, i), &aim_s);
			load->asked = true;
			load->due_unix_s = ready_s <= last_s
						   ? fmax((double)at_unix_s, fmin(aim_s, last_s))
						   : next_first_start(f, (double)at_unix_s);
		}
		json_decref(tonight);
	}
	follow_due(f, at_unix_s);
}

/* --- what a proposed weighing is worth ------------------------------------------------------- */

static struct {
	int load; /* to be weighed; 0: none */
	int64_t at_unix_s;
	int done;
	bool proposed;
} today;

static void weigh(struct follow *f, int number, int64_t now_unix_s, int64_t at_unix_s)
{
	const struct follow_load *load = &f->loads[number];
	double kg = follow_kg(load, (double)at_unix_s) * (1 + SCALE_SD * follow_normal(f));
	kg = round(100 * fmin(kg, load->said_kg)) / 100;
	today.done++;
	(void)follow_act(
		f, now_unix_s, "weigh",
		json_pack("{s:i,s:f,s:I}", "load", number, "kg", kg, "at", (json_int_t)at_unix_s));
}

/* Any open load, at any time since half an hour after it was spread. */
static void choose_at_random(struct follow *f, const json_t *tonight, int64_t until_unix_s)
{
	const json_t *rows = json_object_get(tonight, "loads");
	size_t n = json_array_size(rows);
	const json_t *row = json_array_get(rows, (size_t)(follow_uniform(f) * (double)n));
	today.load = (int)json_integer_value(json_object_get(row, "load"));
	int64_t from = f->loads[today.load].spread_unix_s + 1800;
	today.at_unix_s = from + (int64_t)(follow_uniform(f) * (double)(until_unix_s - from));
}

static void ask(struct follow *f, int64_t at_unix_s, int64_t until_unix_s)
{
	json_t *tonight = follow_ask(f, "tonight", at_unix_s);
	const json_t *settle = json_array_get(json_object_get(tonight, "settle"), 0);
	int64_t at = json_integer_value(json_object_get(settle, "at_unix_s"));
	today.load = 0;
	if (settle && at <= until_unix_s) {
		today.proposed = true;
		if (strncmp(f->rule, "random", 6) == 0)
			choose_at_random(f, tonight, until_unix_s);
		else if (strncmp(f->rule, "proposed", 8) == 0) {
			today.load = (int)json_integer_value(json_object_get(settle, "load"));
			today.at_unix_s = at;
		}
	}
	json_decref(tonight);
}

/* Whether a call of this hour sent the maker the wrong way. */
static bool is_wrong(const struct follow_load *load, const json_t *row, int64_t last_unix_s)
{
	const char *call = json_string_value(json_object_get(row, "call"));
	const char *code =
		json_string_value(json_object_get(json_object_get(row, "reason"), "code"));
	bool tonight = load->ready_unix_s && load->ready_unix_s <= last_unix_s;
	bool later = call && (strcmp(call, "morning") == 0 || strcmp(call, "wait") == 0);
	return call && later == tonight && !(code && strcmp(code, "no_capacity") == 0);
}

static void judge(struct follow *f, int64_t at_unix_s)
{
	json_t *tonight = follow_ask(f, "tonight", at_unix_s), *row;
	int loads = 0, wrong = 0;
	size_t i;
	json_array_foreach(json_object_get(tonight, "loads"), i, row)
	{
		int number = (int)json_integer_value(json_object_get(row, "load"));
		loads++;
		wrong += is_wrong(&f->loads[number], row, follow_last_start(f, at_unix_s));
	}
	printf("judge,%s,%lld,%d,%d,%d,%d\n", f->rule, (long long)(at_unix_s / 86400), loads, wrong,
	       today.done, (int)today.proposed);
	json_decref(tonight);
	memset(&today, 0, sizeof today);
}

static void look_settle(struct follow *f, int64_t at_unix_s)
{
	int64_t last = follow_last_start(f, at_unix_s), until = last - 30 * 60;
	int most = strchr(f->rule, '3') ? 3 : 1;
	if (follow_hour((double)at_unix_s) == 16)
		ask(f, at_unix_s, until);
	while (today.load && today.at_unix_s <= at_unix_s) {
		weigh(f, today.load, at_unix_s, today.at_unix_s);
		today.load = 0;
	}
	/* Asked again once the weighing is in the forecast, a look later. */
	if (!today.load && today.done && today.done < most && at_unix_s < until &&
	    follow_hour((double)at_unix_s) > 16)
		ask(f, at_unix_s, until);
	if (at_unix_s == last - 900)
		judge(f, at_unix_s);
}

int main(int argc, char **argv)
{
	static const struct {
		const char *rule;
		void (*look)(struct follow *follow, int64_t at_unix_s);
		bool engine, keeps_fixes;
	} rules[] = {
		{"calls", look_calls, true, false},     {"hours8", look_clock, false, false},
		{"weighed", look_evening, true, false}, {"median", look_evening, true, false},
		{"morning", look_clock, false, false},  {"known", look_known, false, false},
		{"none", look_settle, true, true},      {"proposed", look_settle, true, true},
		{"random", look_settle, true, true},    {"proposed3", look_settle, true, true},
		{"random3", look_settle, true, true},
	};
	size_t k = 0, n = sizeof rules / sizeof *rules;
	while (argc == 3 && k < n && strcmp(rules[k].rule, argv[2]) != 0)
		k++;
	if (argc != 3 || k == n) {
		fputs("usage: season_follow FOLDER calls|hours8|weighed|median|morning|known|none|"
		      "proposed|random|proposed3|random3\n",
		      stderr);
		return 2;
	}
	follow_open(&follow, argv[1], argv[2], rules[k].engine);
	follow.look = rules[k].look;
	follow.keeps_fixes = rules[k].keeps_fixes;
	follow_play(&follow);
	int left = 0;
	for (int i = 1; i <= follow.n_loads; i++)
		left += !follow.keeps_fixes && follow.loads[i].fired < follow.loads[i].firings;
	printf("end,%s,%d,%d,%d\n", follow.rule, follow.n_loads, left, follow.refused);
	follow_close(&follow);
	return 0;
}
