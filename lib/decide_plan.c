/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "lib/decide_shop.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

/* Our choices: how long the search may go on, in its inner steps, before an exact run; up to how
 * many firings the plan is always proved; what an exact run may meet when there are more. */
#define EFFORT_FIRST 1000000u
#define SEED 20u
#define EXACT_FIRINGS 8
#define EXACT_STATES 2000
#define EXACT_NODES 8000000u
#define EXACT_NODES_MORE 1000000u

void wt_plan_free(struct wt_plan **plan)
{
	if (!plan || !*plan)
		return;
	free((*plan)->firings);
	free(*plan);
	*plan = NULL;
}

/* All that one planning works on. */
struct work {
	const struct wt_hearth *hearth;
	const struct wt_decide_load *loads;
	size_t n_loads;
	struct wt_slots slots;
	struct wt_shop shop;
	size_t *needed; /* firings per load, before the cut to what the woks could ever do */
	struct wt_shop_plan best;
	bool exact;
};

static bool can_fire(const struct wt_hearth *hearth)
{
	return hearth->woks > 0;
}

static enum wt_status arguments_check(const struct wt_hearth *hearth, const struct wt_costs *costs,
				      const struct wt_decide_load *loads, size_t n_loads)
{
	if (!hearth || !costs || (n_loads && !loads) || n_loads > 10000)
		return WT_ERR_ARG;
	if (can_fire(hearth) && (!isfinite(hearth->wok_kg) || !(hearth->wok_kg > 0)))
		return WT_ERR_ARG;
	return wt_costs_check(costs);
}

static enum wt_status fill_shop(struct work *w, const struct wt_costs *costs)
{
	struct wt_shop *shop = &w->shop;
	size_t steps = (size_t)w->slots.n_steps;
	size_t most = (size_t)shop->woks * (steps / (size_t)w->slots.firing_steps + 2);
	for (size_t k = 0; k < w->n_loads; k++) {
		const struct wt_decide_load *load = &w->loads[k];
		enum wt_status status =
			wt_slots_cost(&w->slots, w->hearth, costs, load, shop->cost + k * steps,
				      NULL, &shop->leave[k]);
		if (status)
			return status;
		/* Without a wok each load counts as one firing without a place. */
		w->needed[k] = can_fire(w->hearth) ? wt_decide_load_firings(load, w->hearth->wok_kg)
						   : load->left_kg > 0;
		shop->duration_steps[k] = w->slots.firing_steps;
		shop->count[k] = (int)(w->needed[k] < most ? w->needed[k] : most);
	}
	return WT_OK;
}

static enum wt_status solve(struct work *w)
{
	bool always = wt_shop_jobs(&w->shop) <= EXACT_FIRINGS;
	bool prove = always || wt_shop_exact_states(&w->shop) <= EXACT_STATES;
	enum wt_status status = wt_shop_search(
		&w->shop, prove ? EFFORT_FIRST : wt_shop_effort(&w->shop), SEED, &w->best);
	if (status || !prove)
		return status;
	status = wt_shop_exact(&w->shop, always ? EXACT_NODES : EXACT_NODES_MORE, &w->best);
	w->exact = status == WT_OK;
	return status == WT_ERR_NOCONV ? WT_OK : status;
}

static double share_between(const struct wt_decide_load *load, double at_unix_s)
{
	size_t in = 0;
	for (size_t i = 0; i < load->n; i++)
		in += load->ready_unix_s[i] <= at_unix_s && at_unix_s < load->past_unix_s[i];
	return (double)in / (double)load->n;
}

static int by_start(const void *a, const void *b)
{
	const struct wt_firing *x = a, *y = b;
	if (x->start_unix_s != y->start_unix_s)
		return x->start_unix_s < y->start_unix_s ? -1 : 1;
	return (x->load > y->load) - (x->load < y->load);
}

/* In order of start, each firing goes to the wok that last held the same load, else to the one
 * free the longest; equal firings always fit so when they fit at all. */
static void share_woks(struct wt_plan *plan, int woks, double firing_s)
{
	int64_t free_from[WT_DECIDE_WOKS_MAX] = {0};
	int held[WT_DECIDE_WOKS_MAX] = {0};
	for (size_t i = 0; i < plan->n; i++) {
		struct wt_firing *f = &plan->firings[i];
		int best = 0;
		for (int w = 0; w < woks; w++) {
			bool open = free_from[w] <= f->start_unix_s + 1;
			if (open && held[w] == f->load) {
				best = w;
				break;
			}
			if (free_from[w] < free_from[best])
				best = w;
		}
		f->wok = best + 1;
		free_from[best] = f->start_unix_s + (int64_t)firing_s;
		held[best] = f->load;
	}
}

static struct wt_firing firing_of(const struct work *w, size_t k, int step)
{
	const struct wt_decide_load *load = &w->loads[k];
	double at_s = wt_slots_unix_s(&w->slots, step);
	return (struct wt_firing){
		.load = load->load,
		.kg = load->left_kg / (double)w->needed[k],
		.start_unix_s = (int64_t)llround(at_s),
		.morning = step >= w->slots.morning_at,
		.p_in_window = share_between(load, at_s),
		.cost = w->shop.cost[k * (size_t)w->slots.n_steps + (size_t)step],
	};
}

static double cheapest(const struct work *w, size_t k)
{
	double least = INFINITY;
	for (int t = 0; t < w->slots.n_steps; t++) {
		double cost = w->shop.cost[k * (size_t)w->slots.n_steps + (size_t)t];
		least = cost < least ? cost : least;
	}
	return least;
}

static enum wt_status write_plan(const struct work *w, struct wt_plan *plan)
{
	plan->firings = calloc(w->best.n + 1, sizeof *plan->firings);
	if (!plan->firings)
		return WT_ERR_NOMEM;
	size_t job = 0;
	for (size_t k = 0; k < w->n_loads; k++) {
		size_t placed = 0;
		for (int i = 0; i < w->shop.count[k]; i++, job++) {
			if (w->best.start[job] < 0)
				continue;
			plan->firings[plan->n] = firing_of(w, k, w->best.start[job]);
			plan->cost += plan->firings[plan->n++].cost;
			placed++;
		}
		size_t left = w->needed[k] - placed;
		plan->cost += (double)left * w->shop.leave[k];
		if (!can_fire(w->hearth) || cheapest(w, k) < w->shop.leave[k])
			plan->unplaced += left;
		else
			plan->waiting += left;
	}
	qsort(plan->firings, plan->n, sizeof *plan->firings, by_start);
	share_woks(plan, w->hearth->woks, w->hearth->firing_s);
	plan->exact = w->exact;
	return WT_OK;
}

enum wt_status wt_decide_plan(const struct wt_hearth *hearth, const struct wt_costs *costs,
			      const struct wt_decide_load *loads, size_t n_loads,
			      int64_t now_unix_s, struct wt_plan **out)
{
	enum wt_status status = arguments_check(hearth, costs, loads, n_loads);
	if (status || !out)
		return status ? status : WT_ERR_ARG;
	struct work w = {.hearth = hearth, .loads = loads, .n_loads = n_loads};
	struct wt_plan *plan = calloc(1, sizeof *plan);
	w.needed = calloc(n_loads + 1, sizeof *w.needed);
	if (!plan || !w.needed) {
		status = WT_ERR_NOMEM;
		goto out;
	}
	status = wt_slots_of(hearth, now_unix_s, &w.slots);
	if (!status)
		status = wt_shop_init(&w.shop, hearth->woks, (int)n_loads, w.slots.n_steps);
	if (!status)
		status = fill_shop(&w, costs);
	if (!status)
		status = solve(&w);
	if (!status)
		status = wt_shop_tidy(&w.shop, &w.best);
	if (!status)
		status = write_plan(&w, plan);
	if (!status) {
		*out = plan;
		plan = NULL;
	}
out:
	wt_plan_free(&plan);
	wt_shop_plan_clear(&w.best);
	wt_shop_clear(&w.shop);
	free(w.needed);
	return status;
}
