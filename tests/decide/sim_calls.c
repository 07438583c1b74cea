/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * Made-up seasons decided by the calls and by rules of thumb: what each costs,
 * how often the calls are right, what the proposed weighing is worth.
 */
#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include <cmocka.h>

#include "decide/season.h"

#define SEED 1603
#define ASKED SEASON_STEP_OF(16)
#define SCALE_SD_PCT 0.6
#define EVENINGS 800

static const struct season_error honest = {1, 1};
static struct season_evening evening, copy;
static struct wt_costs costs;

struct bill {
	double cost;
	int firings, outside;
};

static void pay(struct bill *bill, struct season_evening *e, int leaf, int step)
{
	struct season_leaf *l = &e->leaf[leaf];
	double at_s = (double)SEASON_AT(step);
	bill->cost += season_cost(e, &costs, leaf, step);
	bill->outside += at_s < l->ready_unix_s || at_s >= l->past_unix_s;
	bill->firings++;
	l->firings_left--;
}

static int leaf_left(const struct season_evening *e)
{
	int left = 0;
	for (int i = 0; i < e->n_leaf; i++)
		left += e->leaf[i].firings_left;
	return left;
}

/* The maker asks every quarter of an hour and starts what the plan starts within it. */
static void follow_calls(struct season_evening *e, struct synthetic_random *r, struct bill *bill)
{
	for (int step = SEASON_STEP_OF(10); step < SEASON_STEPS - 100 && leaf_left(e); step++) {
		int index[SEASON_LOADS_MAX], woks = e->hearth.woks;
		if (!season_open(step))
			continue;
		size_t n = season_forecast(e, r, step, index);
		struct wt_plan *plan = NULL;
		assert_int_equal(
			wt_decide_plan(&e->hearth, &costs, e->load, n, SEASON_AT(step), &plan),
			WT_OK);
		for (size_t k = 0; k < plan->n && woks; k++) {
			if (plan->firings[k].start_unix_s >= SEASON_AT(step + 1))
				break;
			pay(bill, e, plan->firings[k].load - 1, step);
			woks--;
		}
		wt_plan_free(&plan);
	}
	assert_int_equal(leaf_left(e), 0);
}

/* Fires each load when its time has come, loads in order of that time. */
static void follow_times(struct season_evening *e, const int *due_step, struct bill *bill)
{
	for (int step = 0; step < SEASON_STEPS && leaf_left(e); step++) {
		for (int woks = season_open(step) ? e->hearth.woks : 0; woks; woks--) {
			int next = -1;
			for (int i = 0; i < e->n_leaf; i++) {
				if (e->leaf[i].firings_left && due_step[i] <= step &&
				    (next < 0 || due_step[i] < due_step[next]))
					next = i;
			}
			if (next < 0)
				break;
			pay(bill, e, next, step);
		}
	}
}

static double median(const double *values, size_t n)
{
	double low = -1, below = -1;
	/* Selection by counting: few values, no order needed elsewhere. */
	for (size_t i = 0; i < n; i++) {
		size_t smaller = 0;
		for (size_t k = 0; k < n; k++)
			smaller += values[k] < values[i];
		if (smaller <= n / 2 && (low < 0 || values[i] > below)) {
			low = 1;
			below = values[i];
		}
	}
	return below;
}

static void thumb_rule(struct season_evening *e, struct synthetic_random *r, int rule,
		       struct bill *bill)
{
	int due[SEASON_LOADS_MAX], index[SEASON_LOADS_MAX], first = 96;
	size_t n = rule == 1 ? season_forecast(e, r, ASKED, index) : 0;
	for (int i = 0; i < e->n_leaf; i++)
		due[i] = rule == 0 ? e->leaf[i].spread_step + 32 : first;
	for (size_t k = 0; k < n; k++) {
		int step =
			(int)ceil((median(e->load[k].ready_unix_s, SEASON_MEMBERS) - SEASON_START) /
				  SEASON_STEP_S);
		if (step <= SEASON_STEP_OF(22))
			due[index[k]] = step < ASKED ? ASKED : step;
	}
	follow_times(e, due, bill);
}

static void weigh_in_the_afternoon(struct season_evening *e, struct synthetic_random *r)
{
	for (int i = 0; i < e->n_leaf; i++) {
		int step = SEASON_STEP_OF(14) + synthetic_below(r, 8);
		if (synthetic_below(r, 3) && step > e->leaf[i].spread_step + 4)
			season_weigh(e, r, i, step, SCALE_SD_PCT);
	}
}

static void season(int evenings, struct season_error error, uint64_t seed, struct bill bill[4])
{
	struct synthetic_random r = {seed};
	memset(bill, 0, 4 * sizeof *bill);
	for (int day = 0; day < evenings; day++) {
		season_evening_draw(&evening, &r, 1 + synthetic_below(&r, 2), error);
		weigh_in_the_afternoon(&evening, &r);
		copy = evening;
		follow_calls(&evening, &r, &bill[0]);
		for (int rule = 0; rule < 3; rule++) {
			evening = copy;
			thumb_rule(&evening, &r, rule, &bill[1 + rule]);
		}
	}
	static const char *const name[] = {"calls", "8 hours", "median at 16:00", "morning"};
	for (int k = 0; k < 4; k++)
		print_message("  %-16s cost %.3f a firing, %4.1f %% of %d outside the window\n",
			      name[k], bill[k].cost / bill[k].firings,
			      100.0 * bill[k].outside / bill[k].firings, bill[k].firings);
}

static void calls_cost_less(void **state)
{
	(void)state;
	struct bill bill[4];
	print_message("honest members, seed %d\n", SEED);
	season(50, honest, SEED, bill);
	for (int k = 1; k < 4; k++) {
		assert_true(bill[0].cost <= 0.6 * bill[k].cost);
		assert_true(bill[0].outside <= 0.6 * bill[k].outside);
	}
}

static void calls_hold_when_miscalibrated(void **state)
{
	(void)state;
	static const struct season_error errors[] = {{1.1, 1}, {0.9, 1}, {1, 0.5}, {1, 2}};
	double total[4] = {0};
	for (size_t i = 0; i < sizeof errors / sizeof *errors; i++) {
		struct bill bill[4];
		print_message("paces off by %.1f, scatter by %.1f, seed %zu\n",
			      errors[i].pace_factor, errors[i].spread_factor, SEED + i);
		season(25, errors[i], SEED + i, bill);
		for (int k = 0; k < 4; k++)
			total[k] += bill[k].cost;
	}
	for (int k = 1; k < 4; k++)
		assert_true(total[0] <= 0.8 * total[k]);
}

struct tally {
	int n, clear, right, by_rule;
	double brier, expected;
};

static void count_calls(struct season_evening *e, size_t n, const int *index,
			const struct wt_advice *advice, struct tally *t)
{
	double last_s = (double)e->hearth.last_start_unix_s;
	for (size_t k = 0; k < n; k++) {
		const struct season_leaf *l = &e->leaf[index[k]];
		const struct wt_advice *a = &advice[k];
		bool tonight = l->ready_unix_s <= last_s;
		t->brier += pow(a->p_ready_tonight - tonight, 2);
		t->n++;
		bool right = wt_decide_right(&e->hearth, a->call, a->reason, SEASON_AT(ASKED),
					     l->ready_unix_s, l->past_unix_s);
		t->by_rule += right;
		t->expected += a->p_call;
		if (fabs(l->ready_unix_s - last_s) <= 3600)
			continue;
		t->clear++;
		bool later = a->call == WT_CALL_MORNING || a->call == WT_CALL_WAIT;
		t->right += later ? !tonight || a->reason == WT_REASON_NO_CAPACITY : tonight;
	}
}

static void calls_are_right(void **state)
{
	(void)state;
	struct synthetic_random r = {SEED};
	struct tally t = {0};
	for (int day = 0; day < 250; day++) {
		int index[SEASON_LOADS_MAX];
		struct wt_advice advice[SEASON_LOADS_MAX];
		struct wt_plan *plan = NULL;
		season_evening_draw(&evening, &r, 2, honest);
		weigh_in_the_afternoon(&evening, &r);
		size_t n = season_forecast(&evening, &r, ASKED, index);
		assert_int_equal(wt_decide_plan(&evening.hearth, &costs, evening.load, n,
						SEASON_AT(ASKED), &plan),
				 WT_OK);
		assert_int_equal(wt_decide_calls(&evening.hearth, &costs, evening.load, n, plan,
						 SEASON_AT(ASKED), advice),
				 WT_OK);
		count_calls(&evening, n, index, advice, &t);
		wt_plan_free(&plan);
	}
	print_message(
		"asked at 16:00, seed %d: %d loads, Brier %.3f; of %d clear ones %.1f %% right\n",
		SEED, t.n, t.brier / t.n, t.clear, 100.0 * t.right / t.clear);
	print_message("by its own rule %.1f %% right, %.1f %% expected\n", 100.0 * t.by_rule / t.n,
		      100 * t.expected / t.n);
	assert_true(t.right >= 0.9 * t.clear);
	assert_true(t.brier <= 0.10 * t.n);
	assert_true(fabs(t.by_rule - t.expected) <= 0.05 * t.n);
}

/* Calls at an hour before the last start, after one weighing. */
static int wrong_calls(struct season_evening *e, struct synthetic_random *r)
{
	int index[SEASON_LOADS_MAX], wrong = 0, step = SEASON_STEP_OF(21);
	struct wt_advice advice[SEASON_LOADS_MAX];
	struct wt_plan *plan = NULL;
	size_t n = season_forecast(e, r, step, index);
	assert_int_equal(wt_decide_plan(&e->hearth, &costs, e->load, n, SEASON_AT(step), &plan),
			 WT_OK);
	assert_int_equal(
		wt_decide_calls(&e->hearth, &costs, e->load, n, plan, SEASON_AT(step), advice),
		WT_OK);
	for (size_t k = 0; k < n; k++) {
		const struct season_leaf *l = &e->leaf[index[k]];
		bool tonight = l->ready_unix_s <= (double)e->hearth.last_start_unix_s;
		bool later = advice[k].call == WT_CALL_MORNING || advice[k].call == WT_CALL_WAIT;
		wrong += later == tonight && advice[k].reason != WT_REASON_NO_CAPACITY;
	}
	wt_plan_free(&plan);
	return wrong;
}

/* What is proposed at a step, among weighings of every load at each quarter of an hour until 20:45.
 */
static bool proposal(struct season_evening *e, struct synthetic_random *r, int step,
		     struct wt_settle *settle)
{
	enum { AT = 19 };
	static float loss[SEASON_LOADS_MAX][AT * SEASON_MEMBERS];
	int index[SEASON_LOADS_MAX], n_at = SEASON_STEP_OF(21) - step - 1;
	int64_t at[AT];
	struct wt_settle_candidate candidate[SEASON_LOADS_MAX];
	size_t n = season_forecast(e, r, step, index);
	for (int j = 0; j < n_at; j++)
		at[j] = SEASON_AT(step + 1 + j);
	for (size_t k = 0; k < n; k++) {
		for (int j = 0; j < n_at; j++) {
			for (int i = 0; i < SEASON_MEMBERS; i++)
				loss[k][j * SEASON_MEMBERS + i] =
					(float)season_loss(e, index[k], i, step + 1 + j);
		}
		candidate[k] = (struct wt_settle_candidate){.load = e->load[k].load,
							    .n_at = (size_t)n_at,
							    .at_unix_s = at,
							    .loss_pct = loss[k],
							    .sd_loss_pct = SCALE_SD_PCT};
	}
	bool found = false;
	assert_int_equal(wt_decide_settle(&e->hearth, &costs, e->load, n, candidate, n,
					  SEASON_AT(step), settle, &found),
			 WT_OK);
	return found;
}

/* Does what is proposed, and asks again, at most three times; returns how often. */
static int take_proposals(struct season_evening *e, struct synthetic_random *r,
			  const struct wt_settle *first, int *after_first)
{
	struct wt_settle settle = *first;
	int taken = 0;
	do {
		int step = (int)((settle.at_unix_s - SEASON_START) / SEASON_STEP_S);
		season_weigh(e, r, settle.load - 1, step, SCALE_SD_PCT);
		if (!taken++) {
			static struct season_evening kept;
			kept = *e;
			*after_first = wrong_calls(&kept, r);
		}
		if (step >= SEASON_STEP_OF(21) - 1 || !proposal(e, r, step, &settle))
			break;
	} while (taken < 3);
	return taken;
}

/* The same number of weighings of any load at any time since it was spread. */
static void weigh_at_random(struct season_evening *e, struct synthetic_random *r, int times)
{
	for (int k = 0; k < times; k++) {
		int leaf = synthetic_below(r, e->n_leaf);
		int from = e->leaf[leaf].spread_step + 1;
		season_weigh(e, r, leaf, from + synthetic_below(r, SEASON_STEP_OF(21) - from),
			     SCALE_SD_PCT);
	}
}

static void proposed_weighing_settles(void **state)
{
	(void)state;
	struct synthetic_random r = {SEED + 7};
	int loads = 0, evenings = 0, weighings = 0, quiet = 0;
	int none = 0, one_random = 0, one_proposed = 0, all_random = 0, all_proposed = 0;
	for (int day = 0; day < EVENINGS; day++) {
		struct wt_settle settle;
		season_evening_draw(&evening, &r, 2, honest);
		copy = evening;
		if (!proposal(&evening, &r, ASKED, &settle)) {
			quiet += wrong_calls(&evening, &r);
			continue;
		}
		evenings++;
		loads += evening.n_leaf;
		none += wrong_calls(&evening, &r);
		evening = copy;
		int first = 0, times = take_proposals(&evening, &r, &settle, &first);
		weighings += times;
		one_proposed += first;
		all_proposed += wrong_calls(&evening, &r);
		evening = copy;
		weigh_at_random(&evening, &r, 1);
		one_random += wrong_calls(&evening, &r);
		evening = copy;
		weigh_at_random(&evening, &r, times);
		all_random += wrong_calls(&evening, &r);
	}
	print_message("seed %d: a weighing proposed on %d of %d evenings, %d loads; wrong calls at "
		      "21:00, none weighed: %d\n",
		      SEED + 7, evenings, EVENINGS, loads, none);
	print_message("  one weighing: at random %d, proposed %d (%+.1f %%)\n", one_random,
		      one_proposed, 100.0 * one_proposed / one_random - 100);
	print_message("  all proposed, %.2f an evening: at random %d, proposed %d (%+.1f %%)\n",
		      1.0 * weighings / evenings, all_random, all_proposed,
		      100.0 * all_proposed / all_random - 100);
	print_message("  evenings without a proposal: %d wrong calls\n", quiet);
	assert_true(all_proposed <= 0.75 * all_random);
	/* One alone cannot do much more than this where several loads hang in the balance. */
	assert_true(one_proposed <= 0.85 * one_random);
}

int main(void)
{
	const struct CMUnitTest tests[] = {
		cmocka_unit_test(calls_are_right),
		cmocka_unit_test(proposed_weighing_settles),
		cmocka_unit_test(calls_cost_less),
		cmocka_unit_test(calls_hold_when_miscalibrated),
	};
	wt_costs_default(&costs);
	return cmocka_run_group_tests(tests, NULL, NULL);
}
