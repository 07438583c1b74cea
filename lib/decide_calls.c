/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "lib/decide_shop.h"

#include <math.h>
#include <stdlib.h>

/* Our choices, as told in decide.h. */
#define PAST_SHARE 0.5
#define READY_SHARE 0.5
#define NOW_SAVES 0.05
#define NOW_DELAY_S 3600
#define MORNING_LASTS_S (3 * 3600)
#define EITHER_READY 0.8
#define EITHER_PAST 0.1
#define EITHER_LEAF_COST 0.03
#define UNSURE_LOW 0.3
#define UNSURE_HIGH 0.7

/* One load's costs on the grid and chances. */
struct view {
	const struct wt_hearth *hearth;
	const struct wt_slots *slots;
	const struct wt_decide_load *load;
	int64_t now_unix_s;
	double *cost, *leaf;
	double leave;
	int firings; /* for the load alone */
};

/* Mean cost per firing when the load's firings follow each other from the step on; those that do
 * not fit are left out. */
static double block_cost(const struct view *v, int from, int until)
{
	int woks = v->hearth->woks, firings = v->firings;
	double total = 0;
	int n = 0;
	for (int t = from; t < until && firings > 0; t += v->slots->firing_steps) {
		int here = firings < woks ? firings : woks;
		total += here * v->cost[t];
		n += here;
		firings -= here;
	}
	return n ? total / n : HUGE_VAL;
}

static double best_block(const struct view *v, int from, int until)
{
	int rounds = v->hearth->woks ? (v->firings + v->hearth->woks - 1) / v->hearth->woks : 0;
	int last = until - 1 - (rounds - 1) * v->slots->firing_steps;
	double best = HUGE_VAL;
	if (!rounds || until <= from)
		return HUGE_VAL;
	last = last < from ? from : last;
	for (int t = from; t <= last; t++) {
		double cost = block_cost(v, t, until);
		best = cost < best ? cost : best;
	}
	return best;
}

static double least_from(const double *cost, int from, int until)
{
	double least = HUGE_VAL;
	for (int t = from; t < until; t++)
		least = cost[t] < least ? cost[t] : least;
	return least;
}

/* True when firing may begin at now and a delay costs the leaf noticeably. */
static bool is_now(const struct view *v)
{
	const struct wt_slots *s = v->slots;
	double now_s = (double)v->now_unix_s;
	int step = s->n_evening ? 0 : s->morning_at;
	if (!v->hearth->woks || step >= s->n_steps || wt_slots_unix_s(s, step) > now_s)
		return false;
	if (wt_decide_share_by(v->load->ready_unix_s, v->load->n, now_s) < READY_SHARE)
		return false;
	int later = step;
	while (later < s->n_steps &&
	       (!isfinite(v->leaf[later]) || wt_slots_unix_s(s, later) < now_s + NOW_DELAY_S))
		later++;
	return least_from(v->leaf, later, s->n_steps) >= v->leaf[step] + NOW_SAVES;
}

static void count_places(const struct wt_plan *plan, const struct view *v, struct wt_advice *a)
{
	double fits = 0;
	for (size_t i = 0; i < plan->n; i++) {
		const struct wt_firing *f = &plan->firings[i];
		if (f->load != v->load->load)
			continue;
		if (f->morning) {
			a->firings_morning++;
			continue;
		}
		a->firings_tonight++;
		fits += wt_decide_share_by(v->load->ready_unix_s, v->load->n,
					   (double)f->start_unix_s);
	}
	a->p_fits_tonight = v->firings ? fits / v->firings : 0;
}

static void set(struct wt_advice *a, enum wt_call call, enum wt_reason reason)
{
	a->call = call;
	a->reason = reason;
}

static bool is_unsure(const struct wt_advice *a)
{
	return a->p_ready_tonight > UNSURE_LOW && a->p_ready_tonight < UNSURE_HIGH;
}

static bool is_either(const struct view *v, const struct wt_advice *a)
{
	const struct wt_slots *s = v->slots;
	return v->load->prefer == WT_PREFER_NONE && a->p_ready_tonight >= EITHER_READY &&
	       a->p_past_by_morning <= EITHER_PAST &&
	       least_from(v->leaf, s->morning_at, s->n_steps) <= EITHER_LEAF_COST;
}

static void advise_tonight(const struct view *v, struct wt_advice *a)
{
	if (is_either(v, a))
		set(a, WT_CALL_EITHER, WT_REASON_KEEPS);
	else if (a->p_past_by_morning >= PAST_SHARE)
		set(a, WT_CALL_TONIGHT, WT_REASON_WILL_NOT_KEEP);
	else if (is_unsure(a))
		set(a, WT_CALL_TONIGHT, WT_REASON_TOO_UNSURE);
	else
		set(a, WT_CALL_TONIGHT, WT_REASON_READY_IN_TIME);
}

static void advise_morning(const struct view *v, struct wt_advice *a)
{
	double morning_s = v->slots->morning_unix_s + MORNING_LASTS_S;
	bool ready = a->p_ready_tonight >= UNSURE_HIGH;
	/* After the last start leaf goes on withering: what it is now counts. */
	double p_ready_now = wt_decide_share_by(
		v->load->ready_unix_s, v->load->n,
		fmax((double)v->now_unix_s, (double)v->hearth->last_start_unix_s));
	bool wants_tonight = a->cost_tonight < a->cost_morning;
	if (wt_decide_share_by(v->load->ready_unix_s, v->load->n, morning_s) < READY_SHARE)
		set(a, WT_CALL_WAIT, WT_REASON_NOT_BY_MORNING);
	else if (!v->slots->n_evening && p_ready_now >= READY_SHARE)
		set(a, WT_CALL_MORNING, WT_REASON_TOO_LATE);
	else if (v->slots->n_evening && wants_tonight)
		set(a, WT_CALL_MORNING, WT_REASON_NO_CAPACITY);
	else if (is_unsure(a) && v->slots->n_evening)
		set(a, WT_CALL_MORNING, WT_REASON_TOO_UNSURE);
	else if (ready)
		set(a, WT_CALL_MORNING, WT_REASON_KEEPS);
	else
		set(a, WT_CALL_MORNING, WT_REASON_NOT_READY);
}

static void advise(const struct view *v, struct wt_advice *a)
{
	double now_s = (double)v->now_unix_s;
	size_t placed = a->firings_tonight + a->firings_morning;
	if (wt_decide_share_by(v->load->past_unix_s, v->load->n, now_s) > PAST_SHARE)
		set(a, WT_CALL_PAST, WT_REASON_PAST_NOW);
	else if (!v->hearth->woks)
		set(a, WT_CALL_WAIT, WT_REASON_NO_WOK);
	else if (is_now(v))
		set(a, WT_CALL_NOW, WT_REASON_READY_NOW);
	else if (!placed && least_from(v->cost, 0, v->slots->n_steps) >= v->leave)
		set(a, WT_CALL_WAIT, WT_REASON_NOT_BY_MORNING);
	else if (!placed)
		set(a, WT_CALL_WAIT, WT_REASON_NO_CAPACITY);
	else if (2 * a->firings_tonight >= placed)
		advise_tonight(v, a);
	else
		advise_morning(v, a);
}

bool wt_decide_right(const struct wt_hearth *hearth, enum wt_call call, enum wt_reason reason,
		     int64_t now_unix_s, double ready_unix_s, double past_unix_s)
{
	double now_s = (double)now_unix_s;
	bool tonight = ready_unix_s <= (double)hearth->last_start_unix_s;
	bool keeps = past_unix_s > (double)hearth->first_start_unix_s;
	switch (call) {
	case WT_CALL_TONIGHT:
		return tonight;
	case WT_CALL_MORNING:
		if (reason == WT_REASON_NOT_READY || reason == WT_REASON_TOO_UNSURE)
			return !tonight;
		return keeps;
	case WT_CALL_EITHER:
		return tonight && keeps;
	case WT_CALL_WAIT:
		return reason == WT_REASON_NO_CAPACITY || reason == WT_REASON_NO_WOK ||
		       ready_unix_s > (double)hearth->first_start_unix_s;
	case WT_CALL_NOW:
		return ready_unix_s <= now_s && now_s < past_unix_s;
	case WT_CALL_PAST:
		return past_unix_s <= now_s;
	case WT_CALL_COUNT:
		break;
	}
	return false;
}

static double chance_right(const struct view *v, const struct wt_advice *a)
{
	size_t right = 0;
	for (size_t i = 0; i < v->load->n; i++)
		right += wt_decide_right(v->hearth, a->call, a->reason, v->now_unix_s,
					 v->load->ready_unix_s[i], v->load->past_unix_s[i]);
	return (double)right / (double)v->load->n;
}

static enum wt_status advise_load(struct view *v, const struct wt_costs *costs,
				  const struct wt_plan *plan, struct wt_advice *out)
{
	const struct wt_decide_load *load = v->load;
	const struct wt_hearth *hearth = v->hearth;
	enum wt_status status =
		wt_slots_cost(v->slots, hearth, costs, load, v->cost, v->leaf, &v->leave);
	if (status)
		return status;
	struct wt_advice a = {.load = load->load};
	size_t firings = hearth->woks ? wt_decide_load_firings(load, hearth->wok_kg) : 0;
	v->firings = firings < 1000 ? (int)firings : 1000;
	a.p_ready_tonight =
		wt_decide_share_by(load->ready_unix_s, load->n, (double)hearth->last_start_unix_s);
	a.p_past_by_morning =
		wt_decide_share_by(load->past_unix_s, load->n, (double)hearth->first_start_unix_s);
	a.cost_tonight = best_block(v, 0, v->slots->n_evening);
	a.cost_morning = best_block(v, v->slots->morning_at, v->slots->n_steps);
	count_places(plan, v, &a);
	advise(v, &a);
	a.p_call = chance_right(v, &a);
	*out = a;
	return WT_OK;
}

enum wt_status wt_decide_calls(const struct wt_hearth *hearth, const struct wt_costs *costs,
			       const struct wt_decide_load *loads, size_t n_loads,
			       const struct wt_plan *plan, int64_t now_unix_s,
			       struct wt_advice *out)
{
	if (!hearth || !plan || (n_loads && (!loads || !out)))
		return WT_ERR_ARG;
	enum wt_status status = wt_costs_check(costs);
	if (status)
		return status;
	struct wt_slots slots;
	status = wt_slots_of(hearth, now_unix_s, &slots);
	if (status)
		return status;
	size_t steps = (size_t)slots.n_steps + 1;
	struct wt_advice *advice = calloc(n_loads + 1, sizeof *advice);
	double *cost = malloc(2 * steps * sizeof *cost);
	status = advice && cost ? WT_OK : WT_ERR_NOMEM;
	for (size_t k = 0; !status && k < n_loads; k++) {
		struct view v = {.hearth = hearth,
				 .slots = &slots,
				 .load = &loads[k],
				 .now_unix_s = now_unix_s,
				 .cost = cost,
				 .leaf = cost + steps};
		status = advise_load(&v, costs, plan, &advice[k]);
	}
	for (size_t k = 0; !status && k < n_loads; k++)
		out[k] = advice[k];
	free(advice);
	free(cost);
	return status;
}
