/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * The firing plan: against brute force, and at the edges.
 */
#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include <cmocka.h>

#include "decide/synthetic.h"
#include "lib/decide.h"

#define CASES 500
#define SEED 4711
#define LOADS_MAX 40

static struct synthetic_load store[LOADS_MAX];
static struct wt_decide_load loads[LOADS_MAX];

/* Brute force: written apart from lib/, costs taken member by member from the definitions in
 * decide.h, every placing of every firing tried. */
struct brute {
	const struct wt_hearth *hearth;
	const struct wt_costs *costs;
	int64_t now;
	int n_jobs, job_load[8];
	int n_starts;
	double start[64];
	double cost[8][64], leave[8];
	int chosen[8];
	double best;
};

static double capped(double hours, double per_h, double most)
{
	return hours <= 0 ? 0 : fmin(hours * per_h, most);
}

static double brute_cost(const struct brute *b, const struct wt_decide_load *l, double at,
			 bool evening)
{
	const struct wt_costs *c = b->costs;
	double total = 0;
	for (size_t i = 0; i < l->n; i++) {
		total += capped((l->ready_unix_s[i] - at) / 3600, c->under_per_h, c->under_most);
		total += capped((at - l->past_unix_s[i]) / 3600, c->over_per_h, c->over_most);
		if (at < l->ready_unix_s[i])
			total += c->outside;
		if (at >= l->past_unix_s[i])
			total += c->outside;
		if (!evening && l->prefer != WT_PREFER_MORNING &&
		    l->ready_unix_s[i] <= (double)b->hearth->last_start_unix_s)
			total += c->overnight;
	}
	total /= (double)l->n;
	if (evening) {
		double late_h =
			(at - (double)b->hearth->last_start_unix_s) / 3600 + c->late_before_last_h;
		total += fmax(0, late_h) * c->late_night_per_h;
	}
	if (evening && l->prefer == WT_PREFER_MORNING)
		total += c->evening_when_morning;
	if (!evening && l->prefer == WT_PREFER_EVENING)
		total += c->morning_when_evening;
	return total;
}

static double brute_leave(const struct brute *b, const struct wt_decide_load *l)
{
	double total = 0, at = (double)b->hearth->first_start_unix_s + 86400;
	for (size_t i = 0; i < l->n; i++) {
		total += capped((at - l->past_unix_s[i]) / 3600, b->costs->over_per_h,
				b->costs->over_most);
		total += at >= l->past_unix_s[i] ? b->costs->outside : 0;
		total += b->costs->overnight *
			 ((l->ready_unix_s[i] <= (double)b->hearth->last_start_unix_s) +
			  (l->ready_unix_s[i] <= (double)b->hearth->morning_until_unix_s));
	}
	return total / (double)l->n + 1e-3;
}

static bool brute_room(const struct brute *b, int job, double at)
{
	/* Running firings are most at one of the starts inside the new one. */
	for (int k = -1; k < job; k++) {
		double moment = k < 0 ? at : b->chosen[k] < 0 ? -1 : b->start[b->chosen[k]];
		if (moment < at - 0.5 || moment > at + b->hearth->firing_s - 0.5)
			continue;
		int running = 1;
		for (int i = 0; i < job; i++) {
			double s = b->chosen[i] < 0 ? -1e18 : b->start[b->chosen[i]];
			running += s <= moment + 0.5 && moment < s + b->hearth->firing_s - 0.5;
		}
		if (running > b->hearth->woks)
			return false;
	}
	return true;
}

static void brute_try(struct brute *b, int job, double cost)
{
	if (cost >= b->best)
		return;
	if (job == b->n_jobs) {
		b->best = cost;
		return;
	}
	/* Firings of one load are alike: only in order of time. */
	int from = 0;
	if (job && b->job_load[job] == b->job_load[job - 1])
		from = b->chosen[job - 1] < 0 ? b->n_starts : b->chosen[job - 1];
	for (int k = from; k < b->n_starts; k++) {
		if (!brute_room(b, job, b->start[k]))
			continue;
		b->chosen[job] = k;
		brute_try(b, job + 1, cost + b->cost[job][k]);
	}
	b->chosen[job] = -1;
	brute_try(b, job + 1, cost + b->leave[job]);
}

static void brute_starts(struct brute *b, int64_t from, int64_t until, double step, int *n_evening)
{
	for (int k = 0; (double)from + k * step <= (double)until + 1e-6; k++)
		b->start[b->n_starts++] = (double)from + k * step;
	*n_evening = b->n_starts;
}

static double brute_force(const struct wt_hearth *hearth, const struct wt_costs *costs, size_t n)
{
	struct brute b = {.hearth = hearth, .costs = costs, .best = 1e9};
	int n_evening = 0, all;
	double step = hearth->firing_s / ceil(hearth->firing_s / 300);
	if (hearth->last_start_unix_s >= SYNTHETIC_NOW)
		brute_starts(&b, SYNTHETIC_NOW, hearth->last_start_unix_s, step, &n_evening);
	brute_starts(&b, hearth->first_start_unix_s, hearth->morning_until_unix_s, step, &all);
	for (size_t k = 0; k < n; k++) {
		int firings = (int)ceil(loads[k].left_kg / hearth->wok_kg);
		for (int i = 0; i < firings; i++) {
			int job = b.n_jobs++;
			b.job_load[job] = (int)k;
			for (int s = 0; s < b.n_starts; s++)
				b.cost[job][s] =
					brute_cost(&b, &loads[k], b.start[s], s < n_evening);
			b.leave[job] = brute_leave(&b, &loads[k]);
		}
	}
	brute_try(&b, 0, 0);
	return b.best;
}

static void random_case(struct synthetic_random *r, struct wt_hearth *hearth, size_t *n)
{
	int firings = 1 + synthetic_below(r, 8), left = firings;
	*hearth = synthetic_hearth(1 + synthetic_below(r, 3));
	hearth->firing_s = 60 * (4 + synthetic_below(r, 20));
	/* Fewer starts with more firings, so that brute force ends. */
	double span_min = firings <= 3 ? 60 : firings <= 5 ? 40 : 25;
	hearth->last_start_unix_s = SYNTHETIC_NOW + (int)(60 * synthetic_uniform(r, -5, span_min));
	hearth->morning_until_unix_s =
		hearth->first_start_unix_s + (int)(60 * synthetic_uniform(r, 0, span_min));
	for (*n = 0; left; ++*n) {
		int here = 1 + synthetic_below(r, left < 3 ? left : 3);
		left -= here;
		double ready_s = synthetic_below(r, 2) ? synthetic_uniform(r, -1, 2) * 3600
						       : synthetic_uniform(r, 12, 16) * 3600;
		synthetic_fill(&store[*n], r, (int)*n + 1, here * hearth->wok_kg - 0.5, 8, ready_s,
			       1800, synthetic_uniform(r, 0.2, 14) * 3600);
		store[*n].load.prefer = (enum wt_prefer)synthetic_below(r, WT_PREFER_COUNT);
		if (!synthetic_below(r, 6))
			store[*n].ready_unix_s[0] = store[*n].past_unix_s[0] = HUGE_VAL;
		loads[*n] = store[*n].load;
	}
}

static void check_feasible(const struct wt_plan *plan, const struct wt_hearth *hearth)
{
	for (size_t i = 0; i < plan->n; i++) {
		const struct wt_firing *f = &plan->firings[i];
		assert_in_range(f->wok, 1, hearth->woks);
		if (f->morning)
			assert_in_range(f->start_unix_s, hearth->first_start_unix_s,
					hearth->morning_until_unix_s);
		else
			assert_in_range(f->start_unix_s, hearth->evening_from_unix_s,
					hearth->last_start_unix_s);
		for (size_t k = 0; k < i; k++) {
			const struct wt_firing *g = &plan->firings[k];
			assert_true(g->start_unix_s <= f->start_unix_s);
			if (g->wok == f->wok)
				assert_true((double)(f->start_unix_s - g->start_unix_s) >
					    hearth->firing_s - 1);
		}
	}
}

static void agrees_with_brute_force(void **state)
{
	(void)state;
	struct wt_costs costs;
	wt_costs_default(&costs);
	struct synthetic_random r = {SEED};
	print_message("seed %d\n", SEED);
	for (int i = 0; i < CASES; i++) {
		struct wt_hearth hearth;
		size_t n;
		random_case(&r, &hearth, &n);
		struct wt_plan *plan = NULL;
		assert_int_equal(wt_decide_plan(&hearth, &costs, loads, n, SYNTHETIC_NOW, &plan),
				 WT_OK);
		double best = brute_force(&hearth, &costs, n);
		if (fabs(plan->cost - best) > 1e-6)
			fail_msg("case %d: plan %.9f, brute force %.9f", i, plan->cost, best);
		assert_true(plan->exact);
		check_feasible(plan, &hearth);
		wt_plan_free(&plan);
	}
}

static struct wt_plan *plan_for(const struct wt_hearth *hearth, size_t n)
{
	struct wt_costs costs;
	struct wt_plan *plan = NULL;
	wt_costs_default(&costs);
	for (size_t k = 0; k < n; k++)
		loads[k] = store[k].load;
	assert_int_equal(wt_decide_plan(hearth, &costs, loads, n, SYNTHETIC_NOW, &plan), WT_OK);
	check_feasible(plan, hearth);
	return plan;
}

static void no_load_and_no_wok(void **state)
{
	(void)state;
	struct synthetic_random r = {1};
	struct wt_hearth hearth = synthetic_hearth(2), cold = synthetic_hearth(0);
	struct wt_plan *plan = plan_for(&hearth, 0);
	assert_true(plan->n == 0 && plan->cost == 0 && plan->exact);
	wt_plan_free(&plan);
	assert_null(plan);
	synthetic_fill(&store[0], &r, 1, 5, 64, 3600, 600, 3 * 3600);
	cold.wok_kg = NAN;
	plan = plan_for(&cold, 1);
	assert_true(plan->n == 0 && plan->unplaced == 1);
	wt_plan_free(&plan);
	/* Fired already: nothing left to do. */
	store[0].load.left_kg = 0;
	plan = plan_for(&hearth, 1);
	assert_true(plan->n == 0 && plan->unplaced == 0 && plan->waiting == 0);
	wt_plan_free(&plan);
}

static void forty_loads(void **state)
{
	(void)state;
	struct synthetic_random r = {2};
	struct wt_hearth hearth = synthetic_hearth(3);
	for (int k = 0; k < 40; k++)
		synthetic_fill(&store[k], &r, k + 1, 2, 64, synthetic_uniform(&r, 0, 5) * 3600, 900,
			       6 * 3600);
	struct wt_plan *plan = plan_for(&hearth, 40);
	assert_int_equal(plan->n, 40);
	wt_plan_free(&plan);
}

static void too_big_for_the_evening_is_split(void **state)
{
	(void)state;
	struct synthetic_random r = {3};
	struct wt_hearth hearth = synthetic_hearth(1);
	/* Ready at 20:00, six firings end the evening; it holds 14 hours. */
	synthetic_fill(&store[0], &r, 1, 24, 64, 3.9 * 3600, 60, 14 * 3600);
	struct wt_plan *plan = plan_for(&hearth, 1);
	size_t tonight = 0;
	for (size_t i = 0; i < plan->n; i++) {
		tonight += !plan->firings[i].morning;
		assert_true(fabs(plan->firings[i].kg - 2) < 1e-12);
		assert_true(plan->firings[i].p_in_window > 0.5);
	}
	assert_int_equal(plan->n, 12);
	assert_in_range(tonight, 5, 7);
	wt_plan_free(&plan);
	/* More than a night and a day can take. */
	store[0].load.left_kg = 400;
	plan = plan_for(&hearth, 1);
	assert_int_equal(plan->n + plan->unplaced, 200);
	assert_true(plan->unplaced > 0);
	wt_plan_free(&plan);
}

/* What is left after a part is an estimate: a little more than full woks is no further firing. */
static void a_little_over_is_shared(void **state)
{
	(void)state;
	struct synthetic_random r = {13};
	struct wt_hearth hearth = synthetic_hearth(2);
	static const struct {
		double left_kg, over_kg;
		size_t firings;
	} row[] = {{4, 0, 2},     {4.3, 0, 3}, {4.3, 0.4, 2}, {4.5, 0.4, 3},
		   {0.1, 0.4, 1}, {0, 0.4, 0}, {2.4, 0.4, 1}, {1.9, 0.4, 1}};
	for (size_t i = 0; i < sizeof row / sizeof *row; i++) {
		synthetic_fill(&store[0], &r, 1, row[i].left_kg, 64, 3600, 60, 10 * 3600);
		store[0].load.over_kg = row[i].over_kg;
		struct wt_plan *plan = plan_for(&hearth, 1);
		assert_int_equal(plan->n, row[i].firings);
		double kg = 0;
		for (size_t k = 0; k < plan->n; k++)
			kg += plan->firings[k].kg;
		assert_true(fabs(kg - row[i].left_kg) < 1e-9);
		wt_plan_free(&plan);
	}
	store[0].load.over_kg = 0;
}

static void the_last_start_has_gone_by(void **state)
{
	(void)state;
	struct synthetic_random r = {4};
	struct wt_hearth hearth = synthetic_hearth(1);
	hearth.last_start_unix_s = SYNTHETIC_NOW - 600;
	synthetic_fill(&store[0], &r, 1, 4, 64, -3600, 600, 20 * 3600);
	struct wt_plan *plan = plan_for(&hearth, 1);
	assert_int_equal(plan->n, 2);
	assert_true(plan->firings[0].morning && plan->firings[1].morning);
	assert_int_equal(plan->firings[0].start_unix_s, hearth.first_start_unix_s);
	wt_plan_free(&plan);
	/* No hour left at all. */
	hearth.morning_until_unix_s = hearth.first_start_unix_s = SYNTHETIC_NOW - 60;
	plan = plan_for(&hearth, 1);
	assert_true(plan->n == 0 && plan->unplaced + plan->waiting == 2);
	wt_plan_free(&plan);
}

static void leaf_of_yesterday(void **state)
{
	(void)state;
	struct synthetic_random r = {5};
	struct wt_hearth hearth = synthetic_hearth(1);
	/* Past its best since noon: at once.  Its neighbour is ready at 18:00. */
	synthetic_fill(&store[0], &r, 1, 2, 64, -12 * 3600, 600, 8 * 3600);
	synthetic_fill(&store[1], &r, 2, 2, 64, 2 * 3600, 600, 5 * 3600);
	struct wt_plan *plan = plan_for(&hearth, 2);
	assert_int_equal(plan->n, 2);
	assert_int_equal(plan->firings[0].load, 1);
	assert_int_equal(plan->firings[0].start_unix_s, SYNTHETIC_NOW);
	assert_false(plan->firings[1].morning);
	wt_plan_free(&plan);
}

/* Leaf long past its best costs the same whenever it is fired: no reason for a wok to stand idle.
 */
static void no_wok_is_idle_before_spoiled_leaf(void **state)
{
	(void)state;
	struct synthetic_random r = {12};
	for (int woks = 1; woks <= 3; woks++) {
		struct wt_hearth hearth = synthetic_hearth(woks);
		for (int k = 0; k < 3; k++)
			synthetic_fill(&store[k], &r, k + 1, 2 * (k + 1), 64, -30 * 3600, 600,
				       8 * 3600);
		struct wt_plan *plan = plan_for(&hearth, 3);
		assert_int_equal(plan->n, 6);
		for (int i = 0; i < 6; i++) {
			double at_s = SYNTHETIC_NOW + i / woks * hearth.firing_s;
			assert_true(fabs((double)plan->firings[i].start_unix_s - at_s) < 1);
		}
		wt_plan_free(&plan);
	}
}

static void beyond_the_horizon(void **state)
{
	(void)state;
	struct synthetic_random r = {6};
	struct wt_hearth hearth = synthetic_hearth(1);
	synthetic_fill(&store[0], &r, 1, 4, 64, 2 * 3600, 600, 5 * 3600);
	for (size_t i = 0; i < 64; i++)
		store[0].ready_unix_s[i] = store[0].past_unix_s[i] = HUGE_VAL;
	struct wt_plan *plan = plan_for(&hearth, 1);
	assert_true(plan->n == 0 && plan->waiting == 2 && plan->unplaced == 0);
	wt_plan_free(&plan);
	/* A third of them never get there: the rest decide. */
	synthetic_fill(&store[0], &r, 1, 4, 64, 2 * 3600, 600, 5 * 3600);
	for (size_t i = 0; i < 20; i++)
		store[0].ready_unix_s[i] = store[0].past_unix_s[i] = HUGE_VAL;
	plan = plan_for(&hearth, 1);
	assert_int_equal(plan->n, 2);
	assert_true(isfinite(plan->cost));
	wt_plan_free(&plan);
}

/* The night of a change of clocks has 7 hours of fire or 9, and the hearth's times say so; the
 * plan only ever sees seconds.  First start soon after the last: firings must not overlap. */
static void short_night(void **state)
{
	(void)state;
	struct synthetic_random r = {7};
	struct wt_hearth hearth = synthetic_hearth(1);
	hearth.first_start_unix_s = hearth.last_start_unix_s + 300;
	synthetic_fill(&store[0], &r, 1, 60, 64, -3600, 600, 40 * 3600);
	struct wt_plan *plan = plan_for(&hearth, 1);
	assert_int_equal(plan->n, 30);
	wt_plan_free(&plan);
}

/* From the first start of a load's firings to the last. */
static int64_t spread_of_load(const struct wt_plan *plan, int load)
{
	int64_t first = INT64_MAX, last = 0;
	for (size_t i = 0; i < plan->n; i++) {
		int64_t at = plan->firings[i].start_unix_s;
		if (plan->firings[i].load != load)
			continue;
		first = at < first ? at : first;
		last = at > last ? at : last;
	}
	return last - first;
}

static void a_load_is_fired_in_one_go(void **state)
{
	(void)state;
	struct synthetic_random r = {10};
	struct wt_hearth hearth = synthetic_hearth(2);
	for (int k = 0; k < 4; k++)
		synthetic_fill(&store[k], &r, k + 1, 6, 64, -2 * 3600, 300, 12 * 3600);
	struct wt_plan *plan = plan_for(&hearth, 4);
	assert_int_equal(plan->n, 12);
	/* Three firings on two woks: two rounds, one after the other. */
	for (int k = 0; k < 4; k++)
		assert_int_equal(spread_of_load(plan, k + 1), (int64_t)hearth.firing_s);
	assert_true(2 * (plan->firings[11].start_unix_s - SYNTHETIC_NOW) <
		    11 * (int64_t)hearth.firing_s);
	wt_plan_free(&plan);
}

static void same_inputs_same_plan(void **state)
{
	(void)state;
	struct synthetic_random r = {8};
	struct wt_hearth hearth = synthetic_hearth(2);
	for (int k = 0; k < 12; k++)
		synthetic_fill(&store[k], &r, k + 1, 5, 64, synthetic_uniform(&r, 0, 7) * 3600,
			       1800, 4 * 3600);
	struct wt_plan *one = plan_for(&hearth, 12), *two = plan_for(&hearth, 12);
	assert_int_equal(one->n, two->n);
	for (size_t i = 0; i < one->n; i++) {
		assert_int_equal(one->firings[i].load, two->firings[i].load);
		assert_int_equal(one->firings[i].start_unix_s, two->firings[i].start_unix_s);
		assert_int_equal(one->firings[i].wok, two->firings[i].wok);
	}
	wt_plan_free(&one);
	wt_plan_free(&two);
}

static enum wt_status refusal(struct wt_hearth hearth, struct wt_costs costs)
{
	struct wt_plan *plan = NULL;
	enum wt_status status = wt_decide_plan(&hearth, &costs, loads, 1, SYNTHETIC_NOW, &plan);
	assert_null(plan);
	return status;
}

static void bad_input_is_refused(void **state)
{
	(void)state;
	struct synthetic_random r = {9};
	struct wt_hearth hearth = synthetic_hearth(1), h = hearth;
	struct wt_costs costs, c;
	wt_costs_default(&costs);
	synthetic_fill(&store[0], &r, 1, 4, 64, 3600, 600, 3600);
	loads[0] = store[0].load;
	h.woks = -1;
	assert_int_equal(refusal(h, costs), WT_ERR_ARG);
	h.woks = 65;
	assert_int_equal(refusal(h, costs), WT_ERR_RANGE);
	h = hearth;
	h.firing_s = NAN;
	assert_int_equal(refusal(h, costs), WT_ERR_ARG);
	h.firing_s = 1;
	assert_int_equal(refusal(h, costs), WT_ERR_RANGE);
	h = hearth;
	h.wok_kg = 0;
	assert_int_equal(refusal(h, costs), WT_ERR_ARG);
	h = hearth;
	h.morning_until_unix_s += 10 * 86400;
	assert_int_equal(refusal(h, costs), WT_ERR_RANGE);
	c = costs;
	c.over_per_h = -1;
	assert_int_equal(refusal(hearth, c), WT_ERR_ARG);
	c.over_per_h = HUGE_VAL;
	assert_int_equal(refusal(hearth, c), WT_ERR_ARG);
	loads[0].over_kg = -1;
	assert_int_equal(refusal(hearth, costs), WT_ERR_ARG);
	loads[0].over_kg = 0;
	loads[0].left_kg = NAN;
	assert_int_equal(refusal(hearth, costs), WT_ERR_ARG);
	loads[0].left_kg = 4;
	store[0].ready_unix_s[5] = NAN;
	assert_int_equal(refusal(hearth, costs), WT_ERR_ARG);
	loads[0].n = 0;
	assert_int_equal(refusal(hearth, costs), WT_ERR_ARG);
}

int main(void)
{
	const struct CMUnitTest tests[] = {
		cmocka_unit_test(agrees_with_brute_force),
		cmocka_unit_test(no_load_and_no_wok),
		cmocka_unit_test(forty_loads),
		cmocka_unit_test(too_big_for_the_evening_is_split),
		cmocka_unit_test(a_little_over_is_shared),
		cmocka_unit_test(the_last_start_has_gone_by),
		cmocka_unit_test(leaf_of_yesterday),
		cmocka_unit_test(no_wok_is_idle_before_spoiled_leaf),
		cmocka_unit_test(beyond_the_horizon),
		cmocka_unit_test(short_night),
		cmocka_unit_test(a_load_is_fired_in_one_go),
		cmocka_unit_test(same_inputs_same_plan),
		cmocka_unit_test(bad_input_is_refused),
	};
	return cmocka_run_group_tests(tests, NULL, NULL);
}
