/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * Value of an observation before it is made (preposterior analysis: Raiffa and
 * Schlaifer 1961, from memory).  Members stand for what may be; each is given
 * the observation it would yield, error included.  Members of like observation
 * are judged together: the start that is best for them is what the maker would
 * choose on seeing it.  The start is chosen on one half of the members and paid
 * for by the other, so that chance in a small group is not taken for knowledge.
 */
#include "lib/decide_shop.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

/* Our choices. */
#define SAVES_LEAST 0.05
#define LEAD_S 600.0 /* from seeing the observation to the first firing */
#define ACTIONS_MAX 48
#define GROUPS 12
#define DRAWS 2      /* errors drawn per member */
#define CLEARLY 1.03 /* a later or other observation must save this much more */

struct seen {
	double value;
	uint32_t member;
	bool half;
};

struct question {
	const struct wt_hearth *hearth;
	const struct wt_costs *costs;
	const struct wt_slots *slots;
	const struct wt_decide_load *load;
	int n_actions;
	double at_unix_s[ACTIONS_MAX + 1];
	double *cost; /* [member * n_actions + action] */
	struct seen *seen;
	double without; /* cost of the best start chosen now */
};

static uint64_t mix(uint64_t z)
{
	/* The finisher of SplitMix64 (Steele, Lea and Flood 2014; from memory). */
	z += 0x9e3779b97f4a7c15u;
	z = (z ^ (z >> 30)) * 0xbf58476d1ce4e5b9u;
	z = (z ^ (z >> 27)) * 0x94d049bb133111ebu;
	return z ^ (z >> 31);
}

/* Standard normal number k of a fixed sequence (Box and Muller 1958). */
static double normal(uint64_t k)
{
	const double two_pi = 6.283185307179586;
	double u = ((double)(mix(2 * k) >> 11) + 1) / 9007199254740993.0;
	double v = (double)(mix(2 * k + 1) >> 11) / 9007199254740992.0;
	return sqrt(-2 * log(u)) * cos(two_pi * v);
}

static double capped(double hours, double per_h, double most)
{
	double cost = hours > 0 ? hours * per_h : 0;
	return cost < most ? cost : most;
}

static double member_cost(const struct question *q, size_t member, int step)
{
	double at_s = wt_slots_unix_s(q->slots, step);
	double ready_s = q->load->ready_unix_s[member], past_s = q->load->past_unix_s[member];
	double ready = ready_s <= (double)q->hearth->last_start_unix_s;
	return capped((ready_s - at_s) / 3600, q->costs->under_per_h, q->costs->under_most) +
	       capped((at_s - past_s) / 3600, q->costs->over_per_h, q->costs->over_most) +
	       wt_decide_start_cost(q->slots, q->hearth, q->costs, q->load->prefer, ready, step);
}

static double member_leave(const struct question *q, size_t member)
{
	double at_s = (double)q->hearth->first_start_unix_s + 86400;
	double ready_s = q->load->ready_unix_s[member], past_s = q->load->past_unix_s[member];
	int nights = (ready_s <= (double)q->hearth->last_start_unix_s) +
		     (ready_s <= (double)q->hearth->morning_until_unix_s);
	return capped((at_s - past_s) / 3600, q->costs->over_per_h, q->costs->over_most) +
	       nights * q->costs->overnight;
}

static bool is_start(const struct wt_slots *slots, int step)
{
	return step < slots->n_evening || step >= slots->morning_at;
}

/* The last start of the evening is always among the actions, and the first of the morning. */
static void choose_actions(struct question *q, int *step)
{
	const struct wt_slots *s = q->slots;
	int every = (s->n_steps + ACTIONS_MAX - 4) / (ACTIONS_MAX - 3);
	every = every < 1 ? 1 : every;
	for (int t = 0; t < s->n_steps; t++) {
		bool edge = t == s->n_evening - 1 || t == s->morning_at;
		if (!is_start(s, t) || (t % every && !edge) || q->n_actions == ACTIONS_MAX)
			continue;
		step[q->n_actions] = t;
		q->at_unix_s[q->n_actions++] = wt_slots_unix_s(s, t);
	}
	step[q->n_actions] = -1;
	q->at_unix_s[q->n_actions++] = HUGE_VAL;
}

static enum wt_status question_init(struct question *q)
{
	int step[ACTIONS_MAX + 1];
	choose_actions(q, step);
	size_t n = q->load->n, actions = (size_t)q->n_actions;
	q->cost = malloc(n * actions * sizeof *q->cost);
	q->seen = malloc(n * DRAWS * sizeof *q->seen);
	if (!q->cost || !q->seen)
		return WT_ERR_NOMEM;
	double total[ACTIONS_MAX + 1] = {0};
	for (size_t i = 0; i < n; i++) {
		for (size_t a = 0; a < actions; a++) {
			double cost = step[a] < 0 ? member_leave(q, i) : member_cost(q, i, step[a]);
			q->cost[i * actions + a] = cost;
			total[a] += cost;
		}
	}
	q->without = HUGE_VAL;
	for (size_t a = 0; a < actions; a++) {
		double mean = total[a] / (double)n;
		q->without = mean < q->without ? mean : q->without;
	}
	return WT_OK;
}

static int by_seen(const void *a, const void *b)
{
	const struct seen *x = a, *y = b;
	return (x->value > y->value) - (x->value < y->value);
}

/* Total cost over one group of like observations, each half paying for the other's choice. */
static double group_cost(const struct question *q, size_t from, size_t until, int first_action)
{
	double total[2][ACTIONS_MAX + 1] = {0};
	size_t n[2] = {0}, actions = (size_t)q->n_actions;
	for (size_t k = from; k < until; k++) {
		const struct seen *seen = &q->seen[k];
		const double *cost = q->cost + (size_t)seen->member * actions;
		double *sum = total[seen->half];
		n[seen->half]++;
		for (size_t a = (size_t)first_action; a < actions; a++)
			sum[a] += cost[a];
	}
	double paid = 0;
	for (int half = 0; half < 2; half++) {
		int best = q->n_actions - 1, chooser = n[!half] ? !half : half;
		for (int a = first_action; a < q->n_actions; a++)
			best = total[chooser][a] < total[chooser][best] ? a : best;
		paid += total[half][best];
	}
	return paid;
}

/* Expected cost per firing when the start is chosen after seeing the loss at this time. */
static double cost_with(struct question *q, const float *loss_pct, double sd_loss_pct,
			double at_unix_s)
{
	size_t n = q->load->n, n_seen = n * DRAWS;
	for (size_t k = 0; k < n_seen; k++) {
		size_t i = k % n;
		q->seen[k] = (struct seen){.value = (double)loss_pct[i] + sd_loss_pct * normal(k),
					   .member = (uint32_t)i,
					   .half = mix(i) & 1};
	}
	qsort(q->seen, n_seen, sizeof *q->seen, by_seen);
	int first = 0;
	while (first < q->n_actions - 1 && q->at_unix_s[first] < at_unix_s + LEAD_S)
		first++;
	double paid = 0;
	for (size_t g = 0; g < GROUPS; g++)
		paid += group_cost(q, g * n_seen / GROUPS, (g + 1) * n_seen / GROUPS, first);
	return paid / (double)n_seen;
}

static bool losses_known(const float *loss_pct, size_t n)
{
	for (size_t i = 0; i < n; i++) {
		if (!isfinite(loss_pct[i]))
			return false;
	}
	return true;
}

static enum wt_status weigh_up(struct question *q, const struct wt_settle_candidate *c,
			       int64_t now_unix_s, struct wt_settle *best)
{
	double firings = (double)wt_decide_firings(q->load->left_kg, q->hearth->wok_kg);
	enum wt_status status = firings > 0 ? question_init(q) : WT_OK;
	for (size_t k = 0; !status && firings > 0 && k < c->n_at; k++) {
		const float *loss_pct = c->loss_pct + k * q->load->n;
		if (c->at_unix_s[k] < now_unix_s || !losses_known(loss_pct, q->load->n))
			continue;
		double with = cost_with(q, loss_pct, c->sd_loss_pct, (double)c->at_unix_s[k]);
		double saves = firings * (q->without - with);
		if (saves > best->saves * CLEARLY)
			*best = (struct wt_settle){.load = c->load,
						   .at_unix_s = c->at_unix_s[k],
						   .by_hand = c->by_hand,
						   .saves = saves};
	}
	free(q->cost);
	free(q->seen);
	return status;
}

static const struct wt_decide_load *find_load(const struct wt_decide_load *loads, size_t n_loads,
					      int load)
{
	for (size_t k = 0; k < n_loads; k++) {
		if (loads[k].load == load)
			return &loads[k];
	}
	return NULL;
}

static bool is_candidate(const struct wt_settle_candidate *c)
{
	return (!c->n_at || (c->at_unix_s && c->loss_pct)) && isfinite(c->sd_loss_pct) &&
	       c->sd_loss_pct >= 0;
}

enum wt_status wt_decide_settle(const struct wt_hearth *hearth, const struct wt_costs *costs,
				const struct wt_decide_load *loads, size_t n_loads,
				const struct wt_settle_candidate *candidates, size_t n_candidates,
				int64_t now_unix_s, struct wt_settle *out, bool *found)
{
	if (!hearth || !out || !found || (n_loads && !loads) || (n_candidates && !candidates))
		return WT_ERR_ARG;
	enum wt_status status = wt_costs_check(costs);
	if (status)
		return status;
	struct wt_slots slots;
	status = wt_slots_of(hearth, now_unix_s, &slots);
	if (status)
		return status;
	struct wt_settle best = {.saves = SAVES_LEAST / CLEARLY};
	bool any = false;
	for (size_t k = 0; !status && k < n_candidates && hearth->woks && slots.n_steps; k++) {
		const struct wt_settle_candidate *c = &candidates[k];
		struct question q = {.hearth = hearth, .costs = costs, .slots = &slots};
		q.load = find_load(loads, n_loads, c->load);
		if (!q.load || !q.load->n || !is_candidate(c))
			return WT_ERR_ARG;
		double before = best.saves;
		status = weigh_up(&q, c, now_unix_s, &best);
		any = any || best.saves > before;
	}
	if (status)
		return status;
	*found = any;
	if (any)
		*out = best;
	return WT_OK;
}
