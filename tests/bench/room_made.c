/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "room_made.h"

#include <math.h>
#include <stdbool.h>

const char *const made_name[MADE_KINDS] = {"hill", "summer", "attic", "heated", "stone"};

#define STEP_H (1.0 / 12.0)

struct traits {
	double mean_c, trend_c, swing_k, front_k, front_h;
	double shower_per_h, shower_k, dew_gap_k;
	double air_h, walls_h, walls_share, sun_k, people_k, people_pa, changes_per_h, buffer;
	double set_c; /* heated to, or below -90 */
};

static const struct traits traits_of[MADE_KINDS] = {
	[MADE_HILL] = {21, -3, 4.0, 1.4, 70, 0.28, 4.0, 1.5, 2.2, 60, 0.35, 1.5, 0, 0, 2.0, 0.1,
		       -99},
	[MADE_SUMMER] = {19, 3, 5.0, 2.2, 80, 0.06, 3.0, 5.0, 3.5, 90, 0.6, 2, 1.2, 90, 0.7, 0.4,
			 -99},
	[MADE_ATTIC] = {14, 3, 5.5, 2.5, 80, 0.05, 3.0, 4.0, 1.6, 30, 0.2, 6, 0, 0, 1.5, 0.3, -99},
	[MADE_HEATED] = {6, 6, 3.5, 2.6, 75, 0.04, 2.0, 3.0, 4.0, 80, 0.5, 1.5, 1.0, 110, 0.4, 0.4,
			 20},
	[MADE_STONE] = {17, 4, 4.5, 2.0, 80, 0.08, 3.0, 3.5, 8.0, 160, 0.85, 0.3, 0.3, 20, 0.3, 0.5,
			-99},
};

struct weather {
	uint64_t random;
	double front, wiggle, cloud, cover, wet, dew, window;
	double shower_left_h, shower_size;
	double people_left_h, steam_left_h;
	double out_c, out_pa, room_c, walls_c, room_pa, store_pa;
};

static double uniform(struct weather *w)
{
	w->random ^= w->random << 13;
	w->random ^= w->random >> 7;
	w->random ^= w->random << 17;
	return (double)(w->random >> 11) * 0x1p-53;
}

static double normal(struct weather *w)
{
	double sum = -6.0;
	for (int i = 0; i < 12; i++)
		sum += uniform(w);
	return sum;
}

/* Unit normal that forgets in tau_h. */
static void drift(struct weather *w, double *x, double tau_h)
{
	double keep = exp(-STEP_H / tau_h);
	*x = keep * *x + sqrt(1.0 - keep * keep) * normal(w);
}

static double saturation_pa(double temp_c)
{
	return 611.2 * exp(17.62 * temp_c / (243.12 + temp_c));
}

static void outdoors(const struct traits *t, struct weather *w, double hour, double part,
		     double sun)
{
	drift(w, &w->front, t->front_h);
	drift(w, &w->wiggle, 10.0);
	drift(w, &w->cloud, 12.0);
	drift(w, &w->cover, 50.0);
	drift(w, &w->wet, 40.0);
	drift(w, &w->dew, 60.0);
	double cloud = 1.0 / (1.0 + exp(-(1.3 * w->cloud + 0.9 * w->cover + 0.3 - 0.4 * w->front)));
	double likely =
		t->shower_per_h * (exp(-pow((hour - 16.0) / 2.8, 2.0)) + 0.08) * exp(0.8 * w->wet);
	w->shower_left_h -= STEP_H;
	if (w->shower_left_h <= 0.0) {
		w->shower_size = 0.0;
		if (uniform(w) < likely * STEP_H) {
			w->shower_left_h = 0.3 - 1.1 * log(uniform(w) + 1e-9);
			w->shower_size = 0.4 + 0.6 * uniform(w);
		}
	}
	double base = t->mean_c + t->trend_c * part + t->front_k * w->front;
	double aim = base + 0.5 * w->wiggle - t->swing_k * 0.55 * (1.0 - 0.5 * cloud) +
		     t->swing_k * 2.0 * sun * (1.0 - 0.65 * cloud) - t->shower_k * w->shower_size;
	bool rain = w->shower_size > 0.0;
	w->out_c += STEP_H / (rain ? 0.5 : 2.2) * (aim - w->out_c);
	double dew_c = base - 0.3 * t->front_k * w->front - t->dew_gap_k + 1.2 * w->dew;
	double aim_pa =
		rain ? 0.97 * saturation_pa(w->out_c) : saturation_pa(dew_c) * (1.0 + 0.04 * sun);
	w->out_pa += STEP_H / (rain ? 0.6 : 5.0) * (aim_pa - w->out_pa);
	w->out_pa = fmin(w->out_pa, 0.99 * saturation_pa(w->out_c));
}

static void indoors(const struct traits *t, struct weather *w, double hour, double sun)
{
	drift(w, &w->window, 5.0);
	bool awake = hour > 7.0 && hour < 22.0;
	w->people_left_h -= STEP_H;
	w->steam_left_h -= STEP_H;
	if (w->people_left_h <= 0.0 && uniform(w) < STEP_H * (awake ? 0.25 : 0.02))
		w->people_left_h = -1.2 * log(uniform(w) + 1e-9);
	if (w->steam_left_h <= 0.0 && uniform(w) < STEP_H * (awake ? 0.2 : 0.01))
		w->steam_left_h = -0.5 * log(uniform(w) + 1e-9);
	bool open = w->window > 1.0 && hour > 8.0 && hour < 20.0 && w->out_c > 12.0;
	double cloud = 1.0 / (1.0 + exp(-(1.3 * w->cloud + 0.9 * w->cover + 0.3)));
	double outer = (1.0 - t->walls_share) * w->out_c + t->walls_share * w->walls_c +
		       t->sun_k * sun * (1.0 - 0.6 * cloud) +
		       t->people_k * (w->people_left_h > 0.0);
	w->room_c += STEP_H * (open ? 1.6 : 1.0) / t->air_h * (outer - w->room_c);
	double set = t->set_c - (hour < 6.0 || hour > 22.0 ? 1.5 : 0.0);
	w->room_c += STEP_H * 1.2 * fmin(fmax(set - w->room_c, 0.0), 1.5);
	w->walls_c += STEP_H / t->walls_h *
		      (0.5 * w->room_c + 0.5 * w->out_c + 0.3 * t->sun_k * sun - w->walls_c);
	w->room_pa += STEP_H * fmin(5.0, t->changes_per_h * (open ? 4.0 : 1.0)) *
		      (w->out_pa - w->room_pa);
	w->room_pa += STEP_H * (2.0 * t->people_pa * (w->steam_left_h > 0.0) +
				2.0 * t->buffer * (w->store_pa - w->room_pa));
	w->store_pa += STEP_H / 15.0 * (w->room_pa - w->store_pa);
	w->room_pa = fmin(w->room_pa, 0.99 * saturation_pa(w->room_c));
}

int made_room(enum made_kind kind, unsigned seed, int days, int step_s, struct record *out)
{
	const struct traits *t = &traits_of[kind];
	struct weather w = {.random = 0x9e3779b97f4a7c15u ^
				      ((uint64_t)seed * 7919u + (uint64_t)kind)};
	int warm = 20 * 288;
	int n = warm + days * 288;
	for (int i = 0; i < 20; i++)
		uniform(&w);
	w.out_c = w.walls_c = t->mean_c;
	w.room_c = fmax(t->mean_c, t->set_c);
	w.out_pa = w.room_pa = w.store_pa = saturation_pa(t->mean_c - t->dew_gap_k);
	for (int i = 0; i < n; i++) {
		double hour = fmod((double)i * STEP_H, 24.0);
		double sun = hour > 5.5 && hour < 18.5 ? sin((hour - 5.5) / 13.0 * M_PI) : 0.0;
		outdoors(t, &w, hour, (double)i / n, sun);
		indoors(t, &w, hour, sun);
		int64_t at = 1717200000 + (int64_t)(i - warm) * 300;
		if (i < warm || (at - 1717200000) % step_s != 0)
			continue;
		double rh = 100.0 * w.room_pa / saturation_pa(w.room_c) + 0.3 * normal(&w);
		double values[4] = {round((w.room_c + 0.04 * normal(&w)) * 20.0) / 20.0,
				    fmin(fmax(round(rh * 10.0) / 10.0, 1.0), 100.0), w.out_c,
				    fmin(100.0, 100.0 * w.out_pa / saturation_pa(w.out_c))};
		if (record_push(out, at, values))
			return -1;
	}
	return 0;
}
