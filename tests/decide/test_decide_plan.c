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

int main(void)
{
	const struct CMUnitTest tests[] = {
		cmocka_unit_test(agrees_with_brute_force),
	};
	return cmocka_run_group_tests(tests, NULL, NULL);
}
