/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * Our steps of five minutes against an adaptive integrator of order 8 (GSL rk8pd, Prince and
 * Dormand 1981) on the same equations: the reference run and the kernel.
 */
#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>

#include <cmocka.h>
#include <gsl/gsl_errno.h>
#include <gsl/gsl_odeiv2.h>

#include "lib/leaf.h"
#include "lib/leaf_schedule.h"
#include "tests/physics/cases.h"
#include "tests/physics/table.h"

enum { CASES = 200, HOURS = 36 };
static const uint64_t seed = 20260501;

/* One piece of time in which nothing jumps. */
struct piece {
	const struct wt_leaf *leaf;
	struct wt_leaf_path path;
	double dry_kg_m2, drift, pressure_pa, radiation_w_m2;
	double grid_s, temp_c[2], vapour_pa[2];
	double spread_s;
};

static int slope(double t, const double y[], double dy[], void *params)
{
	const struct piece *p = params;
	double f = (t - p->grid_s) / WT_GRID_S;
	struct wt_leaf_air air;
	struct wt_leaf_rate rate;
	struct wt_leaf_state s = {fmax(y[0], 0.0), fmax(y[1], 0.0), y[2]};
	if (wt_leaf_air(p->temp_c[0] + f * (p->temp_c[1] - p->temp_c[0]),
			p->vapour_pa[0] + f * (p->vapour_pa[1] - p->vapour_pa[0]), p->pressure_pa,
			&air) != WT_OK)
		return GSL_EBADFUNC;
	wt_leaf_rate(p->leaf, &p->path, p->dry_kg_m2, p->radiation_w_m2, p->drift, &air,
		     t - p->spread_s, &s, &rate);
	dy[0] = rate.y_per_s;
	dy[1] = rate.z_per_s;
	dy[2] = rate.breath_per_s;
	return GSL_SUCCESS;
}

static void take(const struct wt_leaf *leaf, const struct wt_bed_event *event, const double y[3],
		 double *kept, struct wt_leaf_bed *bed, struct piece *piece, double *turned_s)
{
	struct wt_leaf_state s = {y[0], y[1], y[2]};
	if (event->taken_kg > 0.0)
		*kept *= fmax(1.0 - event->taken_kg / (*kept * wt_leaf_weight_kg(leaf, &s)), 0.0);
	if (event->area_m2 > 0.0)
		piece->dry_kg_m2 = leaf->dry_kg * *kept / event->area_m2;
	if (event->fan >= 0)
		bed->fan = event->fan > 0;
	if (event->turned)
		*turned_s = (double)event->at_unix_s;
}

/* Loss at each full hour after spreading. */
static void integrate(const struct wt_load_case *load, const double theta[WT_DIM_COUNT],
		      const struct case_room *room, double *loss_pct)
{
	struct wt_leaf leaf;
	assert_int_equal(wt_leaf_from_theta(load, theta, &leaf), WT_OK);
	struct piece p = {.leaf = &leaf,
			  .dry_kg_m2 = leaf.dry_kg / load->area_m2,
			  .pressure_pa = load->pressure_pa,
			  .radiation_w_m2 = load->net_radiation_w_m2,
			  .spread_s = (double)load->spread_unix_s};
	struct wt_leaf_bed bed = {.perforated = load->perforated, .fan = load->fan};
	gsl_odeiv2_system system = {slope, NULL, 3, &p};
	gsl_odeiv2_driver *driver =
		gsl_odeiv2_driver_alloc_y_new(&system, gsl_odeiv2_step_rk8pd, 10.0, 1e-9, 1e-9);
	double y[3] = {1.0, leaf.surface, 0.0}, kept = 1.0, turned_s = p.spread_s;
	int64_t t = load->spread_unix_s, end = t + HOURS * 3600;
	size_t event = 0;
	int hour = 0;
	while (t < end) {
		for (; event < load->n_events && load->events[event].at_unix_s <= t; event++)
			take(&leaf, &load->events[event], y, &kept, &bed, &p, &turned_s);
		int64_t grid = wt_leaf_floor(t, WT_GRID_S), to = grid + WT_GRID_S;
		int64_t mark = load->spread_unix_s + (hour + 1) * 3600;
		to = mark < to ? mark : to;
		if (event < load->n_events && load->events[event].at_unix_s < to)
			to = load->events[event].at_unix_s;
		size_t i = (size_t)((grid - CASE_START_S) / WT_GRID_S);
		double cell_s = (double)wt_leaf_cell_middle(t);
		p.grid_s = (double)grid;
		for (size_t k = 0; k < 2; k++) {
			p.temp_c[k] = (double)room->temp_c[i + k];
			p.vapour_pa[k] = (double)room->vapour_pa[i + k];
		}
		p.drift = wt_leaf_pace_drift(leaf.drift, cell_s - p.spread_s);
		bed.fresh_kg_m2 = p.dry_kg_m2 * (1.0 + leaf.water_ratio);
		bed.turned_s_ago = cell_s - turned_s;
		assert_int_equal(wt_leaf_path(&bed, leaf.bed, &p.path), WT_OK);
		double from_s = (double)t;
		gsl_odeiv2_driver_reset(driver);
		assert_int_equal(gsl_odeiv2_driver_apply(driver, &from_s, (double)to, y),
				 GSL_SUCCESS);
		t = to;
		if (t == mark)
			loss_pct[hour++] =
				wt_leaf_loss_pct(&leaf, &(struct wt_leaf_state){y[0], y[1], y[2]});
	}
	gsl_odeiv2_driver_free(driver);
}

static double kernel_miss(const struct wt_load_case *load, const double theta[WT_DIM_COUNT],
			  const struct wt_track *track, const int64_t *at, const double *expected)
{
	float loss_pct[HOURS];
	double worst = 0.0;
	struct wt_members *members = NULL;
	struct wt_drive *drive = NULL;
	assert_int_equal(wt_members_new(1, &members), WT_OK);
	for (int d = 0; d < WT_DIM_COUNT; d++)
		members->theta[d][0] = (float)theta[d];
	assert_int_equal(wt_drive_from_track(track, load->pressure_pa, &drive), WT_OK);
	assert_int_equal(wt_ensemble_observe(load, drive, members, at, HOURS, loss_pct, NULL),
			 WT_OK);
	for (int h = 0; h < HOURS; h++)
		worst = fmax(worst, fabs((double)loss_pct[h] - expected[h]));
	wt_members_free(&members);
	wt_drive_free(&drive);
	return worst;
}

static void test_against_adaptive_integrator(void **state)
{
	(void)state;
	struct case_random random = {seed};
	double worst[3] = {0.0, 0.0, 0.0};
	for (int k = 0; k < CASES; k++) {
		struct case_room room;
		struct wt_bed_event events[4];
		struct wt_load_case load;
		double theta[WT_DIM_COUNT], expected[HOURS], ours[HOURS];
		int64_t at[HOURS];
		case_room_random(&random, 450, &room);
		case_load_random(&random, events, &load);
		case_theta(&random, &load, theta);
		load.net_radiation_w_m2 = k % 10 == 0 ? case_uniform(&random, 0.0, 80.0) : 0.0;
		for (int h = 0; h < HOURS; h++)
			at[h] = load.spread_unix_s + (h + 1) * 3600;
		struct wt_track track = case_track(&room);
		integrate(&load, theta, &room, expected);
		static const int step_s[2] = {300, 150};
		for (int s = 0; s < 2; s++) {
			assert_int_equal(
				wt_leaf_run(&load, theta, &track, step_s[s], at, HOURS, ours, NULL),
				WT_OK);
			for (int h = 0; h < HOURS; h++)
				worst[s] = fmax(worst[s], fabs(ours[h] - expected[h]));
		}
		worst[2] = fmax(worst[2], kernel_miss(&load, theta, &track, at, expected));
	}
	printf("seed %llu, %d loads, hourly over %d h\n", (unsigned long long)seed, CASES, HOURS);
	table_begin("Against an adaptive integrator, worst difference in points of loss");
	table_range("reference model, steps of 300 s", "GSL rk8pd, tolerance 1e-9", 0.0, 0.05,
		    worst[0]);
	table_range("reference model, steps of 150 s", "GSL rk8pd, tolerance 1e-9", 0.0, 0.05,
		    worst[1]);
	table_range("kernel, single precision", "GSL rk8pd, tolerance 1e-9", 0.0, 0.05, worst[2]);
	assert_int_equal(table_surprises(), 0);
}

int main(void)
{
	const struct CMUnitTest tests[] = {cmocka_unit_test(test_against_adaptive_integrator)};
	gsl_set_error_handler_off();
	return cmocka_run_group_tests_name("reference", tests, NULL, NULL);
}
