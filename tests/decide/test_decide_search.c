/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * The search behind the plan: assignment against enumeration, search against
 * the proved optimum, published single-machine instances, several woks against
 * integer programming, and a long run.
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
#include "lib/decide_shop.h"

#define SEED 815
#define EFFORT 60000000u

static double assign_all_ways(const double *cost, size_t n, size_t m, size_t row, unsigned taken)
{
	if (row == n)
		return 0;
	double best = INFINITY;
	for (size_t k = 0; k < m; k++) {
		if (taken >> k & 1)
			continue;
		double rest = assign_all_ways(cost, n, m, row + 1, taken | 1u << k);
		best = fmin(best, cost[row * m + k] + rest);
	}
	return best;
}

static void assignment_is_least(void **state)
{
	(void)state;
	struct synthetic_random r = {SEED};
	print_message("seed %d\n", SEED);
	for (int i = 0; i < 300; i++) {
		size_t n = 1 + (size_t)synthetic_below(&r, 5);
		size_t m = n + (size_t)synthetic_below(&r, 3);
		double cost[64], total = 0;
		int column[8];
		for (size_t k = 0; k < n * m; k++)
			cost[k] = synthetic_uniform(&r, 0, 1);
		assert_int_equal(wt_shop_assign(n, m, cost, column), WT_OK);
		unsigned taken = 0;
		for (size_t k = 0; k < n; k++) {
			assert_in_range(column[k], 0, m - 1);
			assert_false(taken >> column[k] & 1);
			taken |= 1u << column[k];
			total += cost[k * m + (size_t)column[k]];
		}
		assert_true(fabs(total - assign_all_ways(cost, n, m, 0, 0)) < 1e-9);
	}
	int column[1];
	double cost[1] = {0};
	assert_int_equal(wt_shop_assign(2, 1, cost, column), WT_ERR_ARG);
}

static void check_starts(const struct wt_shop *shop, const struct wt_shop_plan *plan)
{
	double total = 0;
	for (size_t j = 0; j < plan->n; j++) {
		int c = plan->job_class[j], s = plan->start[j], running = 0;
		total += s < 0 ? shop->leave[c] : shop->cost[c * shop->n_steps + s];
		for (size_t k = 0; s >= 0 && k < plan->n; k++) {
			int other = plan->start[k];
			running += other >= 0 && other <= s &&
				   s < other + shop->duration_steps[plan->job_class[k]];
		}
		assert_true(running <= shop->woks);
	}
	assert_true(fabs(total - plan->cost) < 1e-6 * (1 + fabs(total)));
}

/* Loads with a window of their own each, wished at random times of a day of 80 starts. */
static void random_shop(struct synthetic_random *r, struct wt_shop *shop, int woks, int classes,
			int jobs)
{
	assert_int_equal(wt_shop_init(shop, woks, classes, 80), WT_OK);
	int duration = 2 + synthetic_below(r, 5);
	for (int c = 0; c < classes; c++) {
		double ready = synthetic_uniform(r, 0, 60), window = synthetic_uniform(r, 2, 30);
		shop->duration_steps[c] = duration;
		shop->count[c] = jobs / classes + (c < jobs % classes);
		shop->leave[c] = 1.2;
		for (int t = 0; t < 80; t++) {
			double cost = t < ready ? 0.02 * (ready - t) : 0;
			cost += t > ready + window ? 0.03 * (t - ready - window) : 0;
			shop->cost[c * 80 + t] = t >= 35 && t < 35 + duration - 1
							 ? INFINITY
							 : fmin(1, cost) + 0.001 * t;
		}
	}
}

static void search_is_near_the_proved_optimum(void **state)
{
	(void)state;
	struct synthetic_random r = {SEED};
	double worst = 0;
	int proved = 0;
	for (int i = 0; i < 60; i++) {
		struct wt_shop shop;
		int classes = 2 + synthetic_below(&r, 3);
		random_shop(&r, &shop, 1 + synthetic_below(&r, 2), classes,
			    classes + synthetic_below(&r, 12));
		struct wt_shop_plan found = {0};
		assert_int_equal(wt_shop_search(&shop, EFFORT / 10, 1, &found), WT_OK);
		check_starts(&shop, &found);
		double cost = found.cost;
		if (wt_shop_exact(&shop, 20000000, &found) == WT_OK) {
			check_starts(&shop, &found);
			assert_true(found.cost <= cost + 1e-9);
			worst = fmax(worst, cost / found.cost - 1);
			proved++;
		}
		wt_shop_plan_clear(&found);
		wt_shop_clear(&shop);
	}
	print_message("proved %d of 60, worst excess %.3f %%\n", proved, 100 * worst);
	assert_true(proved >= 50);
	assert_true(worst <= 0.02);
}

struct instance {
	int number, n, duration[40], weight[40], due[40];
	double optimum;
};

static bool read_numbers(FILE *in, int *out)
{
	for (int i = 0; i < 40; i++) {
		if (fscanf(in, "%d", &out[i]) != 1)
			return false;
	}
	return true;
}

static bool read_instance(FILE *in, struct instance *x)
{
	int c;
	while ((c = fgetc(in)) == '#' || c == '\n') {
		while (c != '\n' && c != EOF)
			c = fgetc(in);
	}
	ungetc(c, in);
	x->n = 40;
	return fscanf(in, "%d %lf", &x->number, &x->optimum) == 2 &&
	       read_numbers(in, x->duration) && read_numbers(in, x->weight) &&
	       read_numbers(in, x->due);
}

static double solve_instance(const struct instance *x, int n, uint64_t effort)
{
	struct wt_shop shop;
	int total = 0;
	for (int j = 0; j < n; j++)
		total += x->duration[j];
	assert_int_equal(wt_shop_init(&shop, 1, n, total), WT_OK);
	for (int j = 0; j < n; j++) {
		shop.count[j] = 1;
		shop.duration_steps[j] = x->duration[j];
		shop.leave[j] = 1e9;
		for (int t = 0; t < total; t++) {
			int late = t + x->duration[j] - x->due[j];
			shop.cost[j * total + t] = late > 0 ? late * x->weight[j] : 0;
		}
	}
	struct wt_shop_plan plan = {0};
	assert_int_equal(wt_shop_search(&shop, effort, 1, &plan), WT_OK);
	check_starts(&shop, &plan);
	double cost = plan.cost;
	wt_shop_plan_clear(&plan);
	wt_shop_clear(&shop);
	return cost;
}

/* Published: OR-Library's instances and optima (see the head of the data file). */
static void published_tardiness(void **state)
{
	(void)state;
	FILE *in = fopen(WT_TEST_DATA "/tardiness40.txt", "r");
	assert_non_null(in);
	struct instance x;
	int read = 0;
	while (read_instance(in, &x)) {
		double cost = solve_instance(&x, x.n, 4u * EFFORT);
		print_message("instance %d: optimum %.0f, found %.0f (%.2f %%)\n", x.number,
			      x.optimum, cost, 100 * (cost / x.optimum - 1));
		assert_true(cost >= x.optimum - 1e-6);
		assert_true(cost <= 1.02 * x.optimum);
		read++;
	}
	assert_int_equal(read, 6);
	(void)fclose(in);
}

static bool read_parallel(FILE *in, struct wt_shop *shop, bool *alike, double *optimum)
{
	enum { STEPS = 72, MOST = 1000, LEAVE = 1300 };
	int woks, loads, night, morning, c;
	while ((c = fgetc(in)) == '#') {
		while (c != '\n' && c != EOF)
			c = fgetc(in);
	}
	ungetc(c, in);
	if (fscanf(in, "%d %d %d %d %lf", &woks, &loads, &night, &morning, optimum) != 5)
		return false;
	assert_int_equal(wt_shop_init(shop, woks, loads, STEPS), WT_OK);
	*alike = true;
	for (int i = 0; i < loads; i++) {
		int ready, past, early, late;
		assert_int_equal(fscanf(in, "%d %d %d %d %d %d\n", &shop->count[i],
					&shop->duration_steps[i], &ready, &past, &early, &late),
				 6);
		*alike = *alike && shop->duration_steps[i] == shop->duration_steps[0];
		shop->leave[i] = LEAVE;
		for (int t = 0; t < STEPS; t++) {
			int miss = t < ready  ? early * (ready - t)
				   : t > past ? late * (t - past)
					      : 0;
			bool rest = t + shop->duration_steps[i] > night && t < morning;
			shop->cost[i * STEPS + t] = rest ? INFINITY : fmin(miss, MOST) + t;
		}
	}
	return true;
}

/* Firings on two to four woks with a night between, against optima that HiGHS proved for the same
 * numbers (see the head of the data file). */
static void several_woks_by_integer_programming(void **state)
{
	(void)state;
	FILE *in = fopen(WT_TEST_DATA "/parallel.txt", "r");
	assert_non_null(in);
	struct wt_shop shop;
	double optimum;
	bool alike;
	int read = 0, proved = 0;
	for (; read_parallel(in, &shop, &alike, &optimum); read++) {
		struct wt_shop_plan plan = {0};
		assert_int_equal(wt_shop_search(&shop, wt_shop_effort(&shop), 1, &plan), WT_OK);
		check_starts(&shop, &plan);
		print_message("%d woks, %d firings: optimum %.0f, found %.0f (%.2f %%)\n",
			      shop.woks, wt_shop_jobs(&shop), optimum, plan.cost,
			      100 * (plan.cost / optimum - 1));
		assert_true(plan.cost >= optimum - 1e-6);
		assert_true(plan.cost <= 1.02 * optimum);
		/* Set out from a worse plan, so that what was found is not handed on. */
		for (size_t j = 0; j < plan.n; j += plan.n - 1) {
			int class = plan.job_class[j];
			plan.cost +=
				plan.start[j] < 0
					? 0
					: shop.leave[class] -
						  shop.cost[class * shop.n_steps + plan.start[j]];
			plan.start[j] = -1;
		}
		check_starts(&shop, &plan);
		if (alike && wt_shop_exact(&shop, 20000000, &plan) == WT_OK) {
			check_starts(&shop, &plan);
			assert_true(fabs(plan.cost - optimum) < 1e-6);
			proved++;
		}
		wt_shop_plan_clear(&plan);
		wt_shop_clear(&shop);
	}
	assert_int_equal(read, 16);
	print_message("%d of them proved here too\n", proved);
	assert_true(proved >= 7);
	(void)fclose(in);
}

/* Same scheme of making (Potts and Van Wassenhove 1985), small enough to prove by dynamic
 * programming over subsets (Held and Karp 1962; from memory). */
static double prove_tardiness(const struct instance *x)
{
	size_t all = (size_t)1 << x->n;
	double *best = malloc(all * sizeof *best);
	assert_non_null(best);
	best[0] = 0;
	for (size_t set = 1; set < all; set++) {
		int done = 0;
		best[set] = INFINITY;
		for (int j = 0; j < x->n; j++)
			done += set >> j & 1 ? x->duration[j] : 0;
		for (int j = 0; j < x->n; j++) {
			if (!(set >> j & 1))
				continue;
			double late = fmax(0, done - x->due[j]) * x->weight[j];
			best[set] = fmin(best[set], best[set ^ (size_t)1 << j] + late);
		}
	}
	double least = best[all - 1];
	free(best);
	return least;
}

static void proved_tardiness(void **state)
{
	(void)state;
	struct synthetic_random r = {SEED};
	for (int i = 0; i < 20; i++) {
		struct instance x = {.n = 12};
		double factor = 0.2 * (1 + i % 5), range = 0.2 * (1 + i / 5 % 5), total = 0;
		for (int j = 0; j < x.n; j++) {
			x.duration[j] = 1 + synthetic_below(&r, 100);
			x.weight[j] = 1 + synthetic_below(&r, 10);
			total += x.duration[j];
		}
		for (int j = 0; j < x.n; j++)
			x.due[j] =
				(int)fmax(0, total * synthetic_uniform(&r, 1 - factor - range / 2,
								       1 - factor + range / 2));
		double optimum = prove_tardiness(&x), cost = solve_instance(&x, x.n, EFFORT);
		assert_true(cost >= optimum - 1e-6);
		assert_true(cost <= 1.02 * optimum + 1e-6);
	}
}

/* 15, 30 and 60 firings: what planning allows itself against the best of longer runs from other
 * seeds. */
static void near_the_best_of_a_long_run(void **state)
{
	static const int firings[] = {60, 60, 60, 60, 15, 15, 15, 15, 30, 30, 30};
	(void)state;
	struct synthetic_random r = {SEED + 1};
	for (int i = 0; i < (int)(sizeof firings / sizeof firings[0]); i++) {
		struct wt_shop shop;
		random_shop(&r, &shop, 2 + i % 3, firings[i] / 3, firings[i]);
		struct wt_shop_plan quick = {0};
		assert_int_equal(wt_shop_search(&shop, wt_shop_effort(&shop), 20, &quick), WT_OK);
		double best = quick.cost;
		for (uint64_t seed = 1; seed <= 3; seed++) {
			struct wt_shop_plan slow = {0};
			assert_int_equal(wt_shop_search(&shop, 3u * EFFORT, seed, &slow), WT_OK);
			best = fmin(best, slow.cost);
			wt_shop_plan_clear(&slow);
		}
		print_message("%d firings: %.4f, long run %.4f (%.2f %%)\n", firings[i], quick.cost,
			      best, 100 * (quick.cost / best - 1));
		assert_true(quick.cost <= 1.02 * best);
		wt_shop_plan_clear(&quick);
		wt_shop_clear(&shop);
	}
}

int main(void)
{
	const struct CMUnitTest tests[] = {
		cmocka_unit_test(assignment_is_least),
		cmocka_unit_test(search_is_near_the_proved_optimum),
		cmocka_unit_test(published_tardiness),
		cmocka_unit_test(several_woks_by_integer_programming),
		cmocka_unit_test(proved_tardiness),
		cmocka_unit_test(near_the_best_of_a_long_run),
	};
	return cmocka_run_group_tests(tests, NULL, NULL);
}
