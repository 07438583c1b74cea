/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "tests/physics/cases.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "lib/air.h"

double case_uniform(struct case_random *random, double low, double high)
{
	uint64_t z = (random->state += UINT64_C(0x9e3779b97f4a7c15));
	z = (z ^ (z >> 30)) * UINT64_C(0xbf58476d1ce4e5b9);
	z = (z ^ (z >> 27)) * UINT64_C(0x94d049bb133111eb);
	z ^= z >> 31;
	return low + (high - low) * (double)(z >> 11) * 0x1p-53;
}

static double normal(struct case_random *random)
{
	double sum = -6.0;
	for (int i = 0; i < 12; i++)
		sum += case_uniform(random, 0.0, 1.0);
	return sum;
}

static void put(struct case_room *room, size_t i, double temp_c, double rh_pct)
{
	double vapour_pa;
	if (wt_air_vapour_pa(temp_c, rh_pct, &vapour_pa) != WT_OK)
		abort();
	room->temp_c[i] = (float)temp_c;
	room->vapour_pa[i] = (float)vapour_pa;
}

void case_room_random(struct case_random *random, size_t n, struct case_room *room)
{
	double temp_c = case_uniform(random, 10.0, 30.0), wave_c = case_uniform(random, 0.0, 6.0);
	double rh_pct = case_uniform(random, 45.0, 88.0),
	       wave_pct = case_uniform(random, 0.0, 12.0);
	double phase = case_uniform(random, 0.0, 6.28);
	double shower = case_uniform(random, 0.0, (double)n),
	       depth = case_uniform(random, 0.0, 12.0);
	room->n = n;
	for (size_t i = 0; i < n; i++) {
		double angle = 2.0 * M_PI * (double)i / 288.0 + phase;
		double since = (double)i - shower;
		double wet = since > 0.0 ? depth * exp(-since / 36.0) : 0.0;
		double t = temp_c + wave_c * sin(angle) - 0.2 * wet + 0.1 * normal(random);
		double h = rh_pct - wave_pct * sin(angle) + wet + 0.3 * normal(random);
		put(room, i, t, fmin(fmax(h, 15.0), 100.0));
	}
}

void case_room_constant(double temp_c, double rh_pct, size_t n, struct case_room *room)
{
	room->n = n;
	for (size_t i = 0; i < n; i++)
		put(room, i, temp_c, rh_pct);
}

struct wt_track case_track(const struct case_room *room)
{
	return (struct wt_track){CASE_START_S, room->n, room->temp_c, room->vapour_pa};
}

struct wt_load_case case_load_standard(void)
{
	return (struct wt_load_case){
		.spread_unix_s = CASE_START_S,
		.fresh_kg = 1.0,
		.area_m2 = 1.0,
		.perforated = true,
		.grade = WT_GRADE_YOUNG,
		.season = WT_SEASON_SUMMER,
		.wet = WT_WET_NONE,
		.moisture_pct = NAN,
		.pressure_pa = 101325.0,
		.ready_from_loss_pct = 14.0,
		.latest_loss_pct = 25.0,
		.least_hours = 0.0,
		.most_hours = HUGE_VAL,
	};
}

void case_load_random(struct case_random *random, struct wt_bed_event events[4],
		      struct wt_load_case *load)
{
	*load = case_load_standard();
	load->spread_unix_s += (int64_t)case_uniform(random, 0.0, 3600.0);
	load->fresh_kg = case_uniform(random, 1.0, 40.0);
	load->area_m2 = load->fresh_kg / exp(case_uniform(random, log(0.4), log(5.0)));
	load->perforated = case_uniform(random, 0.0, 1.0) < 0.5;
	load->fan = case_uniform(random, 0.0, 1.0) < 0.3;
	load->grade = (enum wt_grade)case_uniform(random, 0.0, WT_GRADE_COUNT);
	load->season = (enum wt_season)case_uniform(random, 0.0, WT_SEASON_COUNT);
	load->wet = (enum wt_wet)case_uniform(random, 0.0, WT_WET_COUNT);
	load->pressure_pa = case_uniform(random, 75000.0, 101325.0);
	load->n_events = (size_t)case_uniform(random, 0.0, 5.0);
	load->events = events;
	int64_t at = load->spread_unix_s;
	for (size_t k = 0; k < load->n_events; k++) {
		at += (int64_t)case_uniform(random, 600.0, 20000.0);
		events[k] = (struct wt_bed_event){.at_unix_s = at, .area_m2 = NAN, .fan = -1};
		switch ((int)case_uniform(random, 0.0, 4.0)) {
		case 0:
			events[k].turned = true;
			break;
		case 1:
			events[k].area_m2 = load->area_m2 * case_uniform(random, 0.6, 2.0);
			break;
		case 2:
			events[k].fan = case_uniform(random, 0.0, 1.0) < 0.5;
			break;
		default:
			events[k].taken_kg = load->fresh_kg * case_uniform(random, 0.05, 0.2);
			break;
		}
	}
}

void case_theta(struct case_random *random, const struct wt_load_case *load,
		double theta[WT_DIM_COUNT])
{
	struct wt_gauss prior;
	if (wt_traits_prior(load, &prior) != WT_OK)
		abort();
	for (int d = 0; d < WT_DIM_COUNT; d++) {
		double z = random ? normal(random) : 0.0;
		/* Through single precision, so that both models get the very same number. */
		theta[d] = (double)(float)(prior.mean[d] + z * sqrt(prior.cov[d][d]));
	}
}
