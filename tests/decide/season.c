/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "decide/season.h"

#include <math.h>
#include <stdlib.h>

/* All of these are made up; they give withers of 5 to 16 hours. */
#define READY_LOSS_PCT 20.0
#define RATE_PCT_H 2.4
#define PACE_SD 0.22
#define MOOD_SD 0.25
#define MOOD_MEMORY_H 6.0

static double day_shape(int step)
{
	double hour = 6 + step * (SEASON_STEP_S / 3600.0);
	return 1 + 0.3 * cos((hour - 15) / 24 * 6.283185307179586);
}

static double air_loss(int step, double mood)
{
	return RATE_PCT_H * SEASON_STEP_S / 3600 * day_shape(step) * exp(mood);
}

static double next_mood(double mood, double normal)
{
	double keep = exp(-SEASON_STEP_S / 3600.0 / MOOD_MEMORY_H);
	return keep * mood + MOOD_SD * sqrt(1 - keep * keep) * normal;
}

static double crossing(const double *path, int from, double pace, double loss_pct)
{
	for (int k = from; k + 1 < SEASON_STEPS; k++) {
		double before = pace * (path[k] - path[from]);
		double after = pace * (path[k + 1] - path[from]);
		if (after >= loss_pct)
			return (double)SEASON_AT(k) +
			       SEASON_STEP_S * (loss_pct - before) / (after - before);
	}
	return HUGE_VAL;
}

static double window_pct(int number)
{
	/* Some styles are strict, some not: latest loss 4 to 12 points after ready. */
	return 4 + (number * 5) % 9;
}

void season_evening_draw(struct season_evening *e, struct synthetic_random *r, int woks,
			 struct season_error error)
{
	e->hearth = synthetic_hearth(woks);
	e->hearth.firing_s = SEASON_STEP_S;
	e->error = error;
	double mood = MOOD_SD * synthetic_normal(r), path[SEASON_STEPS] = {0};
	for (int k = 0; k < SEASON_STEPS; k++) {
		e->mood[k] = mood;
		e->air[k] = air_loss(k, mood);
		if (k + 1 < SEASON_STEPS)
			path[k + 1] = path[k] + e->air[k];
		mood = next_mood(mood, synthetic_normal(r));
	}
	e->n_leaf = 1 + synthetic_below(r, 4);
	for (int i = 0; i < e->n_leaf; i++) {
		struct season_leaf *l = &e->leaf[i];
		*l = (struct season_leaf){.number = i + 1 + 10 * synthetic_below(r, 9)};
		l->spread_step = synthetic_below(r, SEASON_STEP_OF(15.5));
		l->firings_left = 1 + synthetic_below(r, 2);
		l->kg = l->firings_left * e->hearth.wok_kg;
		l->pace = exp(PACE_SD * synthetic_normal(r));
		l->ready_unix_s = crossing(path, l->spread_step, l->pace, READY_LOSS_PCT);
		l->past_unix_s = crossing(path, l->spread_step, l->pace,
					  READY_LOSS_PCT + window_pct(l->number));
	}
}

static double true_loss(const struct season_evening *e, const struct season_leaf *l, int step)
{
	double loss_pct = 0;
	for (int k = l->spread_step; k < step; k++)
		loss_pct += l->pace * e->air[k];
	return loss_pct;
}

void season_weigh(struct season_evening *e, struct synthetic_random *r, int leaf, int step,
		  double sd_loss_pct)
{
	struct season_leaf *l = &e->leaf[leaf];
	if (l->n_weighings == SEASON_WEIGHINGS_MAX || step <= l->spread_step)
		return;
	l->weighing[l->n_weighings++] = (struct season_weighing){
		step, true_loss(e, l, step) + sd_loss_pct * synthetic_normal(r), sd_loss_pct};
}

/* Paces after the weighings: a quasi-random normal sample, weighted and resampled in order. */
static void draw_paces(const struct season_evening *e, const struct season_leaf *l,
		       const double *measured, double *pace)
{
	enum { TRIALS = 8 * SEASON_MEMBERS };
	static double trial[TRIALS], weight[TRIALS];
	double total = 0;
	for (int k = 0; k < TRIALS; k++) {
		/* Evenly over the middle of the distribution, weighted by its density. */
		double z = -4.0 + 8.0 * (k + 0.5) / TRIALS, log_weight = -z * z / 2;
		trial[k] = e->error.pace_factor * exp(PACE_SD * e->error.spread_factor * z);
		for (int w = 0; w < l->n_weighings; w++) {
			const struct season_weighing *x = &l->weighing[w];
			double expected = trial[k] * (measured[x->step] - measured[l->spread_step]);
			double off = (x->loss_pct - expected) / x->sd_loss_pct;
			log_weight -= off * off / 2;
		}
		weight[k] = log_weight;
	}
	double most = -HUGE_VAL;
	for (int k = 0; k < TRIALS; k++)
		most = fmax(most, weight[k]);
	for (int k = 0; k < TRIALS; k++)
		total += weight[k] = exp(weight[k] - most);
	double sum = 0;
	for (int k = 0, i = 0; i < SEASON_MEMBERS; i++) {
		while (k < TRIALS - 1 && sum + weight[k] < total * (i + 0.5) / SEASON_MEMBERS)
			sum += weight[k++];
		/* Members of all loads share the paths of air: spread paces over them. */
		pace[(i * 197 + 31 * l->number) % SEASON_MEMBERS] = trial[k];
	}
}

/* Normal numbers for the paths, drawn once: a path reads on from a place of its own. */
#define POOL 65536

static double pooled(int k)
{
	static double pool[POOL];
	static bool drawn;
	if (!drawn) {
		struct synthetic_random r = {77};
		for (int i = 0; i < POOL; i++)
			pool[i] = synthetic_normal(&r);
		drawn = true;
	}
	return pool[k % POOL];
}

static void draw_paths(struct season_evening *e, struct synthetic_random *r, int step)
{
	for (int i = 0; i < SEASON_MEMBERS; i++) {
		double mood = e->mood[step];
		int place = synthetic_below(r, POOL);
		e->path[i][0] = 0;
		for (int k = 0; k + 1 < SEASON_STEPS; k++) {
			double loss = e->air[k];
			if (k >= step) {
				loss = air_loss(k, mood);
				mood = next_mood(mood, pooled(place + k));
			}
			e->path[i][k + 1] = e->path[i][k] + loss;
		}
	}
}

static void move_hours(struct wt_hearth *h, int step)
{
	/* Until 06:00 the night before still counts. */
	int64_t day_s = step < 96 ? 0 : step / 96 * 86400;
	h->evening_from_unix_s = SEASON_AT(step);
	h->last_start_unix_s = SYNTHETIC_NOW + 6 * 3600 + day_s;
	h->first_start_unix_s = SYNTHETIC_NOW + 14 * 3600 + day_s;
	h->morning_until_unix_s = SYNTHETIC_NOW + 30 * 3600 + day_s;
}

size_t season_forecast(struct season_evening *e, struct synthetic_random *r, int step,
		       int index[SEASON_LOADS_MAX])
{
	size_t n = 0;
	move_hours(&e->hearth, step);
	draw_paths(e, r, step);
	for (int leaf = 0; leaf < e->n_leaf; leaf++) {
		const struct season_leaf *l = &e->leaf[leaf];
		if (!l->firings_left || l->spread_step > step)
			continue;
		draw_paces(e, l, e->path[0], e->pace[leaf]);
		for (int i = 0; i < SEASON_MEMBERS; i++) {
			e->ready_unix_s[leaf][i] = crossing(e->path[i], l->spread_step,
							    e->pace[leaf][i], READY_LOSS_PCT);
			e->past_unix_s[leaf][i] =
				crossing(e->path[i], l->spread_step, e->pace[leaf][i],
					 READY_LOSS_PCT + window_pct(l->number));
		}
		index[n] = leaf;
		e->load[n++] = (struct wt_decide_load){
			.load = leaf + 1,
			.left_kg = l->firings_left * e->hearth.wok_kg,
			.n = SEASON_MEMBERS,
			.ready_unix_s = e->ready_unix_s[leaf],
			.past_unix_s = e->past_unix_s[leaf],
		};
	}
	return n;
}

double season_loss(const struct season_evening *e, int leaf, int member, int step)
{
	return e->pace[leaf][member] *
	       (e->path[member][step] - e->path[member][e->leaf[leaf].spread_step]);
}

static double capped(double hours, double per_h, double most)
{
	return hours <= 0 ? 0 : fmin(hours * per_h, most);
}

double season_cost(const struct season_evening *e, const struct wt_costs *costs, int leaf, int step)
{
	const struct season_leaf *l = &e->leaf[leaf];
	double at_s = (double)SEASON_AT(step);
	double late_h = (step % 96) / 4.0 + 6 - (22 - costs->late_before_last_h);
	int last_step = (int)((l->ready_unix_s - SEASON_START) / SEASON_STEP_S);
	int nights = 0;
	for (int day = 0; day < 3; day++)
		nights += last_step <= 96 * day + SEASON_STEP_OF(22) && step >= 96 * (day + 1);
	return capped((l->ready_unix_s - at_s) / 3600, costs->under_per_h, costs->under_most) +
	       capped((at_s - l->past_unix_s) / 3600, costs->over_per_h, costs->over_most) +
	       (at_s < l->ready_unix_s || at_s >= l->past_unix_s ? costs->outside : 0) +
	       fmax(0, late_h) * costs->late_night_per_h + nights * costs->overnight;
}

bool season_open(int step)
{
	return step % 96 <= SEASON_STEP_OF(22);
}
