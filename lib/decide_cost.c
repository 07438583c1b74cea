/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "lib/decide_shop.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

/* Our choice: starts are considered at most this far apart. */
#define STEP_MAX_S 300.0
#define HOUR_S 3600.0
/* Our choice: a place is taken rather than leave leaf, all else being equal. */
#define LEAVE_LEAST 1e-3

void wt_costs_default(struct wt_costs *out)
{
	*out = (struct wt_costs){
		.under_per_h = 0.4,
		.under_most = 1.2,
		.over_per_h = 0.2,
		.over_most = 1.0,
		.outside = 0.1,
		.late_night_per_h = 0.02,
		.late_before_last_h = 2,
		.overnight = 0.08,
		.evening_when_morning = 0.1,
		.morning_when_evening = 0.1,
		.wrong_call = 0.3,
	};
}

static bool is_cost(double value)
{
	return isfinite(value) && value >= 0;
}

enum wt_status wt_costs_check(const struct wt_costs *c)
{
	if (!c || !is_cost(c->under_per_h) || !is_cost(c->under_most) || !is_cost(c->over_per_h) ||
	    !is_cost(c->over_most) || !is_cost(c->outside) || !is_cost(c->late_night_per_h) ||
	    !is_cost(c->late_before_last_h) || !is_cost(c->overnight) ||
	    !is_cost(c->evening_when_morning) || !is_cost(c->morning_when_evening) ||
	    !is_cost(c->wrong_call))
		return WT_ERR_ARG;
	return WT_OK;
}

size_t wt_decide_firings(double left_kg, double wok_kg)
{
	if (!(left_kg > 0) || !(wok_kg > 0))
		return 0;
	/* A gram over a full wok is no reason to light another fire. */
	double firings = ceil(left_kg / wok_kg - 1e-3);
	return firings < 1 ? 1 : firings > 1e6 ? 1000000 : (size_t)firings;
}

size_t wt_decide_load_firings(const struct wt_decide_load *load, double wok_kg)
{
	size_t least = wt_decide_firings(load->left_kg, wok_kg) > 0;
	size_t firings = wt_decide_firings(load->left_kg - load->over_kg, wok_kg);
	return firings > least ? firings : least;
}

static int steps_between(double from_s, double to_s, double step_s)
{
	return to_s < from_s ? 0 : (int)floor((to_s - from_s) / step_s + 1e-9) + 1;
}

enum wt_status wt_slots_of(const struct wt_hearth *hearth, int64_t now_unix_s, struct wt_slots *out)
{
	if (!hearth || hearth->woks < 0)
		return WT_ERR_ARG;
	if (hearth->woks > WT_DECIDE_WOKS_MAX)
		return WT_ERR_RANGE;
	if (!isfinite(hearth->firing_s) || !(hearth->firing_s > 0))
		return WT_ERR_ARG;
	int64_t furthest_s = now_unix_s + WT_DECIDE_SPAN_MAX_S;
	if (hearth->firing_s < 60 || hearth->firing_s > 86400 ||
	    hearth->last_start_unix_s > furthest_s || hearth->morning_until_unix_s > furthest_s)
		return WT_ERR_RANGE;

	struct wt_slots s = {0};
	s.firing_steps = (int)ceil(hearth->firing_s / STEP_MAX_S);
	s.step_s = hearth->firing_s / s.firing_steps;
	int64_t evening_s =
		hearth->evening_from_unix_s > now_unix_s ? hearth->evening_from_unix_s : now_unix_s;
	s.evening_unix_s = (double)evening_s;
	s.n_evening = steps_between(s.evening_unix_s, (double)hearth->last_start_unix_s, s.step_s);
	int64_t morning_s =
		hearth->first_start_unix_s > now_unix_s ? hearth->first_start_unix_s : now_unix_s;
	s.morning_unix_s = (double)morning_s;
	/* The last firing of a night must be done before the first of the morning begins. */
	if (s.n_evening) {
		double done_s = s.evening_unix_s + (s.n_evening - 1) * s.step_s + hearth->firing_s;
		if (done_s > s.morning_unix_s)
			s.morning_unix_s = done_s;
	}
	s.morning_at = s.n_evening ? s.n_evening + s.firing_steps - 1 : 0;
	s.n_steps = s.morning_at +
		    steps_between(s.morning_unix_s, (double)hearth->morning_until_unix_s, s.step_s);
	*out = s;
	return WT_OK;
}

double wt_slots_unix_s(const struct wt_slots *slots, int step)
{
	return step < slots->morning_at
		       ? slots->evening_unix_s + step * slots->step_s
		       : slots->morning_unix_s + (step - slots->morning_at) * slots->step_s;
}

/* Bits of a number in an order that unsigned comparison keeps (IEEE 754). */
static uint64_t key_of(double value)
{
	uint64_t bits;
	value += 0.0; /* one zero only */
	memcpy(&bits, &value, sizeof bits);
	return bits >> 63 ? ~bits : bits | UINT64_C(1) << 63;
}

/* By bytes from the least on; a byte that is the same in all is passed over.  Several times as
 * fast as qsort(), and the evening's decision sorts a great deal. */
void wt_decide_sort(struct wt_valued *items, struct wt_valued *spare, size_t n)
{
	struct wt_valued *from = items, *to = spare;
	for (int shift = 0; shift < 64; shift += 8) {
		size_t place[256] = {0}, sum = 0;
		for (size_t i = 0; i < n; i++)
			place[key_of(from[i].value) >> shift & 255]++;
		if (n == 0 || place[key_of(from[0].value) >> shift & 255] == n)
			continue;
		for (int b = 0; b < 256; b++) {
			size_t count = place[b];
			place[b] = sum;
			sum += count;
		}
		for (size_t i = 0; i < n; i++)
			to[place[key_of(from[i].value) >> shift & 255]++] = from[i];
		struct wt_valued *kept = from;
		from = to;
		to = kept;
	}
	if (from != items)
		memcpy(items, from, n * sizeof *items);
}

/* Sorted members and their running sums, so that a capped ramp over all of them is two look-ups. */
struct ramp {
	size_t n;
	double base_s; /* sums are of (value - base_s), to keep digits */
	double *value, *sum;
};

static bool ramp_init(struct ramp *ramp, const double *unix_s, size_t n, double base_s)
{
	double *memory = malloc((2 * n + 1) * sizeof *memory);
	struct wt_valued *items = malloc((2 * n + 1) * sizeof *items);
	if (!memory || !items) {
		free(memory);
		free(items);
		return false;
	}
	*ramp = (struct ramp){.n = n, .base_s = base_s, .value = memory, .sum = memory + n};
	for (size_t i = 0; i < n; i++)
		items[i] = (struct wt_valued){.value = unix_s[i]};
	wt_decide_sort(items, items + n, n);
	for (size_t i = 0; i < n; i++)
		ramp->value[i] = items[i].value;
	free(items);
	ramp->sum[0] = 0;
	for (size_t i = 0; i < n; i++)
		ramp->sum[i + 1] =
			ramp->sum[i] + (isfinite(ramp->value[i]) ? ramp->value[i] - base_s : 0);
	return true;
}

/* Index of the first member > limit. */
static size_t ramp_after(const struct ramp *ramp, double limit)
{
	size_t low = 0, high = ramp->n;
	while (low < high) {
		size_t mid = low + (high - low) / 2;
		if (ramp->value[mid] > limit)
			high = mid;
		else
			low = mid + 1;
	}
	return low;
}

/* Mean over members of min(most, per_h * hours by which the member is later than t). */
static double ramp_early(const struct ramp *ramp, double t, double per_h, double most)
{
	if (per_h <= 0 || most <= 0)
		return 0;
	size_t from = ramp_after(ramp, t), to = ramp_after(ramp, t + most / per_h * HOUR_S);
	double hours =
		(ramp->sum[to] - ramp->sum[from] - (double)(to - from) * (t - ramp->base_s)) /
		HOUR_S;
	return (per_h * hours + most * (double)(ramp->n - to)) / (double)ramp->n;
}

/* The same for members earlier than t. */
static double ramp_late(const struct ramp *ramp, double t, double per_h, double most)
{
	if (per_h <= 0 || most <= 0)
		return 0;
	size_t from = ramp_after(ramp, t - most / per_h * HOUR_S), to = ramp_after(ramp, t);
	double hours =
		((double)(to - from) * (t - ramp->base_s) - (ramp->sum[to] - ramp->sum[from])) /
		HOUR_S;
	return (per_h * hours + most * (double)from) / (double)ramp->n;
}

static enum wt_status load_check(const struct wt_decide_load *load)
{
	if (!load->n || !load->ready_unix_s || !load->past_unix_s)
		return WT_ERR_ARG;
	if (!isfinite(load->left_kg) || load->left_kg < 0 || !isfinite(load->over_kg) ||
	    load->over_kg < 0)
		return WT_ERR_ARG;
	for (size_t i = 0; i < load->n; i++) {
		/* -HUGE_VAL has no meaning: leaf is not ready before it is spread. */
		if (isnan(load->ready_unix_s[i]) || isnan(load->past_unix_s[i]) ||
		    load->ready_unix_s[i] < -1e15 || load->past_unix_s[i] < -1e15)
			return WT_ERR_ARG;
	}
	return WT_OK;
}

enum wt_status wt_decide_leaf_cost(const struct wt_costs *costs, const struct wt_decide_load *load,
				   const double *at_unix_s, size_t n, double *out)
{
	enum wt_status status = load_check(load);
	if (status)
		return status;
	struct ramp ready = {0}, past = {0};
	double base_s = n ? at_unix_s[0] : 0;
	if (!ramp_init(&ready, load->ready_unix_s, load->n, base_s) ||
	    !ramp_init(&past, load->past_unix_s, load->n, base_s)) {
		status = WT_ERR_NOMEM;
		goto out;
	}
	for (size_t k = 0; k < n; k++) {
		double t = at_unix_s[k];
		double outside = (double)(load->n - ramp_after(&ready, t) + ramp_after(&past, t)) /
				 (double)load->n;
		out[k] = ramp_early(&ready, t, costs->under_per_h, costs->under_most) +
			 ramp_late(&past, t, costs->over_per_h, costs->over_most) +
			 costs->outside * outside;
	}
out:
	free(ready.value);
	free(past.value);
	return status;
}

double wt_decide_share_by(const double *unix_s, size_t n, double limit_unix_s)
{
	size_t count = 0;
	for (size_t i = 0; i < n; i++)
		count += unix_s[i] <= limit_unix_s;
	return n ? (double)count / (double)n : NAN;
}

double wt_decide_start_cost(const struct wt_slots *slots, const struct wt_hearth *hearth,
			    const struct wt_costs *costs, enum wt_prefer prefer, double p_ready,
			    int step)
{
	if (step >= slots->morning_at) {
		double kept = prefer == WT_PREFER_MORNING ? 0 : costs->overnight * p_ready;
		return kept + (prefer == WT_PREFER_EVENING ? costs->morning_when_evening : 0);
	}
	double late_s = wt_slots_unix_s(slots, step) - (double)hearth->last_start_unix_s +
			costs->late_before_last_h * HOUR_S;
	return (late_s > 0 ? costs->late_night_per_h * late_s / HOUR_S : 0) +
	       (prefer == WT_PREFER_MORNING ? costs->evening_when_morning : 0);
}

enum wt_status wt_slots_cost(const struct wt_slots *slots, const struct wt_hearth *hearth,
			     const struct wt_costs *costs, const struct wt_decide_load *load,
			     double *cost, double *leaf, double *leave)
{
	size_t n = (size_t)slots->n_steps;
	double *at = malloc((n + 1) * sizeof *at), *raw = malloc((n + 1) * sizeof *raw);
	enum wt_status status = WT_ERR_NOMEM;
	if (!at || !raw)
		goto out;
	for (size_t k = 0; k < n; k++)
		at[k] = wt_slots_unix_s(slots, (int)k);
	/* Leaf that is left meets the next fire a day after tomorrow's first. */
	at[n] = (double)hearth->first_start_unix_s + 86400;
	if (n && at[n] < at[n - 1])
		at[n] = at[n - 1];
	status = wt_decide_leaf_cost(costs, load, at, n + 1, raw);
	if (status)
		goto out;
	double p_ready =
		wt_decide_share_by(load->ready_unix_s, load->n, (double)hearth->last_start_unix_s);
	for (size_t k = 0; k < n; k++) {
		int step = (int)k;
		bool gap = step >= slots->n_evening && step < slots->morning_at;
		if (leaf)
			leaf[k] = gap ? INFINITY : raw[k];
		cost[k] = gap ? INFINITY
			      : raw[k] + wt_decide_start_cost(slots, hearth, costs, load->prefer,
							      p_ready, step);
	}
	/* Leaf not ready tomorrow either is left at no cost: it is only too early to say when. */
	double p_by_then = wt_decide_share_by(load->ready_unix_s, load->n,
					      (double)hearth->morning_until_unix_s);
	struct wt_costs only_late = *costs;
	only_late.under_most = only_late.outside = 0;
	status = wt_decide_leaf_cost(&only_late, load, at + n, 1, raw + n);
	if (status)
		goto out;
	double p_past = wt_decide_share_by(load->past_unix_s, load->n, at[n]);
	*leave = raw[n] + costs->outside * p_past + costs->overnight * (p_ready + p_by_then) +
		 LEAVE_LEAST;
out:
	free(at);
	free(raw);
	return status;
}
