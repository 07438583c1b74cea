/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * Time to plan: 60 firings of few and many loads, an evening of 9 to 15, and the
 * hardest evenings that are still proved.  1024 members a load.  Fails above 100 ms
 * of processor time, or 15 ms up to 15 firings.
 */
#include <stdio.h>
#include <stdlib.h>
#include <time.h>

#include "decide/synthetic.h"

#define LIMIT_MS 100.0
#define LIMIT_FEW_MS 15.0
#define LOADS_MAX 60

static struct synthetic_load store[LOADS_MAX];
static struct wt_decide_load loads[LOADS_MAX];

static double plan_ms(const struct wt_hearth *hearth, size_t n, struct wt_plan **plan)
{
	struct wt_costs costs;
	wt_costs_default(&costs);
	clock_t from = clock();
	enum wt_status status = wt_decide_plan(hearth, &costs, loads, n, SYNTHETIC_NOW, plan);
	if (status) {
		fprintf(stderr, "plan: %s\n", wt_status_text(status));
		exit(1);
	}
	return 1e3 * (double)(clock() - from) / CLOCKS_PER_SEC;
}

static double run(const char *name, int woks, size_t n, int firings, double from_h, double to_h,
		  uint64_t seed)
{
	struct synthetic_random r = {seed};
	struct wt_hearth hearth = synthetic_hearth(woks);
	struct wt_plan *plan = NULL;
	for (size_t k = 0; k < n; k++) {
		int here = firings / (int)n + ((int)k < firings % (int)n);
		double ready_s = 3600 * synthetic_uniform(&r, from_h, to_h);
		synthetic_fill(&store[k], &r, (int)k + 1, here * hearth.wok_kg, 1024, ready_s, 2400,
			       3600 * synthetic_uniform(&r, 1, 12));
		loads[k] = store[k].load;
	}
	double ms = plan_ms(&hearth, n, &plan);
	printf("%-28s %d woks %2zu loads %2d firings: %6.1f ms  cost %.3f %s\n", name, woks, n,
	       firings, ms, plan->cost, plan->exact ? "proved" : "");
	wt_plan_free(&plan);
	return ms;
}

int main(void)
{
	double worst = 0, worst_few = 0;
	for (int woks = 1; woks <= 4; woks++) {
		for (size_t n = 3; n <= 60; n = n == 3 ? 12 : n == 12 ? 40 : n + 20) {
			double ms = run("60 firings", woks, n, 60, -1, 8, 1);
			worst = ms > worst ? ms : worst;
		}
		for (size_t n = 2; n <= 15; n = n == 2 ? 5 : n * 2 - n / 10 * 5) {
			for (int firings = 9; firings <= 15; firings += 3) {
				if ((int)n > firings)
					continue;
				double ms = run("an evening's firings", woks, n, firings, -1, 8, 1);
				worst_few = ms > worst_few ? ms : worst_few;
			}
		}
		for (uint64_t seed = 1; seed <= 3; seed++) {
			double ms = run("8 firings, all at once", woks, 8, 8, 2, 2.5, seed);
			worst_few = ms > worst_few ? ms : worst_few;
			ms = run("8 firings, spread", woks, 8, 8, 0, 9, seed);
			worst_few = ms > worst_few ? ms : worst_few;
		}
	}
	printf("worst %.1f ms, limit %.0f ms; up to 15 firings %.1f ms, limit %.0f ms\n", worst,
	       LIMIT_MS, worst_few, LIMIT_FEW_MS);
	return worst <= LIMIT_MS && worst_few <= LIMIT_FEW_MS ? 0 : 1;
}
