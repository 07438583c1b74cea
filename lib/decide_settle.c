/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * Value of an observation before it is made (preposterior analysis: Raiffa and
 * Schlaifer 1961, from memory).  Members stand for what may be; each is given
 * the observation it would yield, error included.  Members of like observation
 * are judged together: the call that is best for them is the one the maker would
 * get on seeing it.  It is chosen on one half of the members and paid for by the
 * other, so that chance in a small group is not taken for knowledge.
 */
#include "lib/decide_shop.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

/* Our choices. */
#define SAVES_LEAST 0.02
#define LEAD_S 600.0   /* from seeing the observation to the first firing */
#define GROUPS_MOST 16 /* of at least GROUP_LEAST observations each */
#define GROUP_LEAST 64
#define DRAWS 2      /* errors drawn per member */
#define CLEARLY 1.03 /* a later or other observation must save this much more */

enum answer { TONIGHT, MORNING, LEAVE, ANSWERS };

struct question {
	const struct wt_hearth *hearth;
	const struct wt_costs *costs;
	const struct wt_slots *slots;
	const struct wt_decide_load *load;
	double firings;
	double (*cost)[ANSWERS]; /* of the load, per member */
	struct wt_valued *seen;
};

static uint64_t mix(uint64_t z)
{
	/* The finisher of SplitMix64 (Steele, Lea and Flood 2014; as open code has it). */
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

static double start_cost(const struct question *q, size_t member, double at_s, int step)
{
	double ready_s = q->load->ready_unix_s[member], past_s = q->load->past_unix_s[member];
	double ready = ready_s <= (double)q->hearth->last_start_unix_s;
	return capped((ready_s - at_s) / 3600, q->costs->under_per_h, q->costs->under_most) +
	       capped((at_s - past_s) / 3600, q->costs->over_per_h, q->costs->over_most) +
	       (at_s < ready_s || at_s >= past_s ? q->costs->outside : 0) +
	       wt_decide_start_cost(q->slots, q->hearth, q->costs, q->load->prefer, ready, step);
}

static int nearest_step(double from_unix_s, int from_step, int steps, double step_s, double wish_s)
{
	double k = ceil((wish_s - from_unix_s) / step_s);
	k = k < 0 || isnan(k) ? 0 : k;
	return from_step + (k > steps - 1 ? steps - 1 : (int)k);
}

/* The start of a block at or next after the moment the member is ready, not before `from_s`. */
static double block_cost(const struct question *q, size_t member, bool morning, double from_s)
{
	const struct wt_slots *s = q->slots;
	double wish_s = fmax(q->load->ready_unix_s[member], from_s);
	int step = morning ? nearest_step(s->morning_unix_s, s->morning_at,
					  s->n_steps - s->morning_at, s->step_s, wish_s)
			   : nearest_step(s->evening_unix_s, 0, s->n_evening, s->step_s, wish_s);
	return start_cost(q, member, wt_slots_unix_s(s, step), step);
}

static double leave_cost(const struct question *q, size_t member)
{
	double at_s = (double)q->hearth->first_start_unix_s + 86400;
	double ready_s = q->load->ready_unix_s[member], past_s = q->load->past_unix_s[member];
	int nights = (ready_s <= (double)q->hearth->last_start_unix_s) +
		     (ready_s <= (double)q->hearth->morning_until_unix_s);
	return capped((at_s - past_s) / 3600, q->costs->over_per_h, q->costs->over_most) +
	       (at_s >= past_s ? q->costs->outside : 0) + nights * q->costs->overnight;
}

/* What each answer costs each member when it is given at from_s: a firing at the member's own best
 * moment, for that can be seen by then, and the charge for an answer that proves wrong. */
static void fill_costs(struct question *q, double from_s)
{
	const struct wt_slots *s = q->slots;
	bool tonight = s->n_evening && wt_slots_unix_s(s, s->n_evening - 1) >= from_s;
	bool morning = s->n_steps > s->morning_at;
	for (size_t i = 0; i < q->load->n; i++) {
		double ready_s = q->load->ready_unix_s[i], wrong = q->costs->wrong_call;
		bool by_night = ready_s <= (double)q->hearth->last_start_unix_s;
		double *cost = q->cost[i];
		cost[TONIGHT] = tonight ? q->firings * block_cost(q, i, false, from_s) +
						  (by_night ? 0 : wrong)
					: 1e6;
		cost[MORNING] = morning ? q->firings * block_cost(q, i, true, from_s) +
						  (by_night ? wrong : 0)
					: 1e6;
		cost[LEAVE] = q->firings * leave_cost(q, i) +
			      (ready_s <= (double)q->hearth->morning_until_unix_s ? wrong : 0);
	}
}

/* Cost of the answer that is best without looking. */
static double cost_without(const struct question *q)
{
	double total[ANSWERS] = {0};
	for (size_t i = 0; i < q->load->n; i++) {
		for (int a = 0; a < ANSWERS; a++)
			total[a] += q->cost[i][a];
	}
	return fmin(total[TONIGHT], fmin(total[MORNING], total[LEAVE])) / (double)q->load->n;
}

/* Total cost over one group of like observations, each half paying for the other's choice. */
static double group_cost(const struct question *q, size_t from, size_t until)
{
	double total[2][ANSWERS] = {0};
	size_t n[2] = {0};
	for (size_t k = from; k < until; k++) {
		const struct wt_valued *seen = &q->seen[k];
		n[seen->half]++;
		for (int a = 0; a < ANSWERS; a++)
			total[seen->half][a] += q->cost[seen->member][a];
	}
	double paid = 0;
	for (int half = 0; half < 2; half++) {
		int best = 0, chooser = n[!half] ? !half : half;
		for (int a = 1; a < ANSWERS; a++)
			best = total[chooser][a] < total[chooser][best] ? a : best;
		paid += total[half][best];
	}
	return paid;
}

/* Expected cost when the answer is given after seeing the loss. */
static double cost_with(struct question *q, const float *loss_pct, double sd_loss_pct)
{
	size_t n = q->load->n, n_seen = n * DRAWS;
	for (size_t k = 0; k < n_seen; k++) {
		size_t i = k % n;
		q->seen[k] =
			(struct wt_valued){.value = (double)loss_pct[i] + sd_loss_pct * normal(k),
					   .member = (uint32_t)i,
					   .half = mix(i) & 1};
	}
	wt_decide_sort(q->seen, q->seen + n_seen, n_seen);
	double paid = 0;
	size_t groups = n_seen / GROUP_LEAST;
	groups = groups < 1 ? 1 : groups > GROUPS_MOST ? GROUPS_MOST : groups;
	for (size_t g = 0; g < groups; g++)
		paid += group_cost(q, g * n_seen / groups, (g + 1) * n_seen / groups);
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
	size_t n = q->load->n;
	q->firings = (double)wt_decide_load_firings(q->load, q->hearth->wok_kg);
	if (q->firings <= 0)
		return WT_OK;
	enum wt_status status = WT_ERR_NOMEM;
	q->cost = malloc(n * sizeof *q->cost);
	q->seen = malloc(2 * n * DRAWS * sizeof *q->seen); /* the second half to sort in */
	if (!q->cost || !q->seen)
		goto out;
	fill_costs(q, (double)now_unix_s);
	double without = cost_without(q);
	for (size_t k = 0; k < c->n_at; k++) {
		const float *loss_pct = c->loss_pct + k * n;
		if (c->at_unix_s[k] < now_unix_s || !losses_known(loss_pct, n))
			continue;
		fill_costs(q, (double)c->at_unix_s[k] + LEAD_S);
		double saves = without - cost_with(q, loss_pct, c->sd_loss_pct);
		if (saves > best->saves * CLEARLY)
			*best = (struct wt_settle){.load = c->load,
						   .at_unix_s = c->at_unix_s[k],
						   .by_hand = c->by_hand,
						   .saves = saves};
	}
	status = WT_OK;
out:
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
