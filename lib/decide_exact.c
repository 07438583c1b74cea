/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * The best plan, proved: dynamic programming over the grid in order of time.
 * A state is how many jobs of each class are still to do and how long each wok
 * is still busy; states that cannot beat a plan already known are dropped.
 */
#include "lib/decide_shop.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#define WOKS_MAX 8 /* one byte of a state each */
#define DURATION_MAX 255
#define EPSILON 1e-9

struct state {
	uint64_t todo; /* jobs to do per class, in mixed radix */
	uint64_t busy; /* a byte per wok, ascending: steps until it is free */
	double cost;
	uint32_t node; /* the last start that led here */
};

struct node {
	uint32_t parent;
	int32_t job_class, start;
};

struct layer {
	size_t n, room;
	struct state *state;
	size_t slots;   /* power of two */
	uint32_t *slot; /* index + 1 into state, 0 free */
};

struct exact {
	const struct wt_shop *shop;
	int woks, duration;
	uint64_t *radix; /* per class */
	double *rest;    /* [t * classes + c]: least cost of one job of the class from t on */
	double known;    /* cost of the plan to beat */
	struct layer now, next;
	struct node *node;
	size_t n_nodes, node_room, max_nodes;
	bool failed;
	double best;
	uint32_t best_node;
	bool found;
};

static int todo_of(const struct exact *x, uint64_t todo, int class)
{
	return (int)(todo / x->radix[class] % (uint64_t)(x->shop->count[class] + 1));
}

static double rest_cost(const struct exact *x, uint64_t todo, int t)
{
	double total = 0;
	const double *rest = x->rest + (size_t)t * (size_t)x->shop->n_classes;
	for (int c = 0; todo && c < x->shop->n_classes; c++)
		total += todo_of(x, todo, c) * rest[c];
	return total;
}

/* One step later. */
static uint64_t busy_after(uint64_t busy)
{
	uint64_t after = 0;
	for (int w = 0; w < WOKS_MAX; w++) {
		uint64_t left = busy >> (8 * w) & 0xff;
		after |= (left ? left - 1 : 0) << (8 * w);
	}
	return after;
}

/* The lowest byte, free, becomes a full firing and moves to the top of the woks in use. */
static uint64_t busy_started(const struct exact *x, uint64_t busy)
{
	return busy >> 8 | (uint64_t)x->duration << (8 * (x->woks - 1));
}

static uint64_t hash_of(uint64_t todo, uint64_t busy)
{
	uint64_t h = todo * 0x9e3779b97f4a7c15u ^ (busy + 0x7f4a7c15u) * 0xbf58476d1ce4e5b9u;
	return h ^ h >> 29;
}

static bool layer_grow(struct layer *layer)
{
	size_t room = layer->room ? 2 * layer->room : 256, slots = 4 * room;
	struct state *state = realloc(layer->state, room * sizeof *state);
	if (!state)
		return false;
	layer->state = state;
	uint32_t *slot = calloc(slots, sizeof *slot);
	if (!slot)
		return false;
	free(layer->slot);
	layer->slot = slot;
	layer->slots = slots;
	layer->room = room;
	for (size_t i = 0; i < layer->n; i++) {
		size_t k = hash_of(state[i].todo, state[i].busy) & (slots - 1);
		while (slot[k])
			k = (k + 1) & (slots - 1);
		slot[k] = (uint32_t)i + 1;
	}
	return true;
}

/* Keeps the cheaper of two ways to the same state. */
static void layer_add(struct exact *x, struct layer *layer, const struct state *state)
{
	if (layer->n == layer->room && !layer_grow(layer)) {
		x->failed = true;
		return;
	}
	size_t k = hash_of(state->todo, state->busy) & (layer->slots - 1);
	for (; layer->slot[k]; k = (k + 1) & (layer->slots - 1)) {
		struct state *other = &layer->state[layer->slot[k] - 1];
		if (other->todo != state->todo || other->busy != state->busy)
			continue;
		if (state->cost < other->cost)
			*other = *state;
		return;
	}
	layer->state[layer->n] = *state;
	layer->slot[k] = (uint32_t)++layer->n;
}

static bool grow_nodes(struct exact *x)
{
	size_t room = x->node_room ? 2 * x->node_room : 1024;
	struct node *node =
		x->n_nodes < x->max_nodes ? realloc(x->node, room * sizeof *node) : NULL;
	if (!node)
		return false;
	x->node = node;
	x->node_room = room;
	return true;
}

static uint32_t add_node(struct exact *x, uint32_t parent, int class, int t)
{
	if (x->n_nodes == x->node_room && !grow_nodes(x)) {
		x->failed = true;
		return 0;
	}
	x->node[x->n_nodes] = (struct node){parent, class, t};
	return (uint32_t)x->n_nodes++;
}

/* From a state at t: waits, or starts one more job of this class or a later one. */
static void expand(struct exact *x, const struct state *from, int t, int first_class)
{
	if (x->failed)
		return;
	struct state wait = *from;
	wait.busy = busy_after(from->busy);
	if (wait.cost + rest_cost(x, wait.todo, t + 1) < x->known - EPSILON)
		layer_add(x, &x->next, &wait);
	if (from->busy & 0xff)
		return;
	for (int c = first_class; c < x->shop->n_classes; c++) {
		double cost = x->shop->cost[(size_t)c * (size_t)x->shop->n_steps + (size_t)t];
		if (!isfinite(cost) || !todo_of(x, from->todo, c))
			continue;
		struct state to = {.todo = from->todo - x->radix[c],
				   .busy = busy_started(x, from->busy),
				   .cost = from->cost + cost};
		if (to.cost + rest_cost(x, to.todo, t) >= x->known - EPSILON)
			continue;
		to.node = add_node(x, from->node, c, t);
		expand(x, &to, t, c);
	}
}

static void finish(struct exact *x)
{
	int end = x->shop->n_steps;
	for (size_t i = 0; i < x->now.n; i++) {
		double cost = x->now.state[i].cost + rest_cost(x, x->now.state[i].todo, end);
		if (cost < x->best) {
			x->best = cost;
			x->best_node = x->now.state[i].node;
			x->found = true;
		}
	}
}

static void run(struct exact *x)
{
	uint64_t all = 0;
	for (int c = 0; c < x->shop->n_classes; c++)
		all += (uint64_t)x->shop->count[c] * x->radix[c];
	layer_add(x, &x->now, &(struct state){.todo = all});
	for (int t = 0; t < x->shop->n_steps && !x->failed; t++) {
		for (size_t i = 0; i < x->now.n; i++)
			expand(x, &x->now.state[i], t, 0);
		struct layer spent = x->now;
		x->now = x->next;
		spent.n = 0;
		if (spent.slot)
			memset(spent.slot, 0, spent.slots * sizeof *spent.slot);
		x->next = spent;
	}
	if (!x->failed)
		finish(x);
}

static void fill_rest(struct exact *x)
{
	const struct wt_shop *shop = x->shop;
	size_t classes = (size_t)shop->n_classes;
	for (int c = 0; c < shop->n_classes; c++) {
		double least = shop->leave[c];
		for (int t = shop->n_steps; t >= 0; t--) {
			if (t < shop->n_steps) {
				double here = shop->cost[c * shop->n_steps + t];
				least = here < least ? here : least;
			}
			x->rest[(size_t)t * classes + (size_t)c] = least;
		}
	}
}

double wt_shop_exact_states(const struct wt_shop *shop)
{
	double states = 1;
	int jobs = 0;
	for (int c = 0; c < shop->n_classes; c++) {
		states *= shop->count[c] + 1;
		jobs += shop->count[c];
		if (shop->duration_steps[c] != shop->duration_steps[0] ||
		    shop->duration_steps[c] > DURATION_MAX)
			return HUGE_VAL;
	}
	int woks = shop->woks < jobs ? shop->woks : jobs;
	if (woks > WOKS_MAX)
		return HUGE_VAL;
	/* Ways in which the woks in use can be busy: multisets of remaining times. */
	for (int w = 1; w <= woks; w++)
		states *= (double)(shop->duration_steps[0] - 1 + w) / w;
	return states > 1e15 ? HUGE_VAL : states;
}

static enum wt_status exact_init(struct exact *x, const struct wt_shop *shop, size_t max_nodes)
{
	size_t classes = (size_t)shop->n_classes;
	int jobs = 0;
	x->shop = shop;
	x->max_nodes = max_nodes + 1;
	x->radix = calloc(classes + 1, sizeof *x->radix);
	x->rest = calloc(classes * (size_t)(shop->n_steps + 1) + 1, sizeof *x->rest);
	if (!x->radix || !x->rest || !grow_nodes(x))
		return WT_ERR_NOMEM;
	uint64_t radix = 1;
	for (int c = 0; c < shop->n_classes; c++) {
		x->radix[c] = radix;
		radix *= (uint64_t)shop->count[c] + 1;
		jobs += shop->count[c];
	}
	x->woks = shop->woks < jobs ? shop->woks : jobs;
	x->duration = classes ? shop->duration_steps[0] : 1;
	x->n_nodes = 1; /* node 0: nothing started yet */
	fill_rest(x);
	return WT_OK;
}

/* Writes the starts on the way to a node into the plan, jobs of a class in order of time. */
static void unwind(const struct exact *x, struct wt_shop_plan *plan)
{
	int *start = plan->start;
	for (size_t j = 0; j < plan->n; j++)
		start[j] = -1;
	for (uint32_t k = x->best_node; k; k = x->node[k].parent) {
		size_t job = 0, last = 0;
		for (; job < plan->n; job++) {
			if (plan->job_class[job] == x->node[k].job_class && start[job] < 0)
				last = job;
		}
		start[last] = x->node[k].start;
	}
	plan->cost = x->best;
}

enum wt_status wt_shop_exact(const struct wt_shop *shop, size_t max_nodes,
			     struct wt_shop_plan *plan)
{
	if (wt_shop_exact_states(shop) >= HUGE_VAL)
		return WT_ERR_NOCONV;
	struct exact x = {.known = plan->cost, .best = plan->cost};
	enum wt_status status = exact_init(&x, shop, max_nodes);
	if (status)
		goto out;
	if (x.woks)
		run(&x);
	status = x.failed ? WT_ERR_NOCONV : WT_OK;
	if (x.found && !status)
		unwind(&x, plan);
out:
	free(x.radix);
	free(x.rest);
	free(x.node);
	free(x.now.state);
	free(x.now.slot);
	free(x.next.state);
	free(x.next.slot);
	return status;
}
