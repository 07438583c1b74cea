/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * What the ensemble refuses, and that it then leaves its outputs alone; determinism; marks.
 */
#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdlib.h>
#include <string.h>

#include <cmocka.h>

#include "lib/ensemble.h"
#include "tests/physics/cases.h"

enum { N = 130 };
static const double bad[] = {NAN, HUGE_VAL, -HUGE_VAL};

struct fixture {
	struct case_room room;
	struct wt_track track;
	struct wt_paths paths;
	float temp_c[120 * 3], vapour_pa[120 * 3];
	struct wt_load_case load;
	struct wt_gauss prior;
	struct wt_drive *past, *future;
	struct wt_members *members;
	struct wt_outcome *outcome;
	int64_t marks[3];
};

static int set_up(void **state)
{
	struct fixture *f = calloc(1, sizeof *f);
	struct case_random random = {5};
	case_room_random(&random, 300, &f->room);
	f->track = (struct wt_track){CASE_START_S, 100, f->room.temp_c, f->room.vapour_pa};
	for (size_t s = 0; s < 120; s++)
		for (size_t p = 0; p < 3; p++) {
			f->temp_c[s * 3 + p] = f->room.temp_c[99 + s] + 0.5f * (float)p;
			f->vapour_pa[s * 3 + p] = f->room.vapour_pa[99 + s];
		}
	f->paths =
		(struct wt_paths){CASE_START_S + 99 * WT_GRID_S, 120, 3, f->temp_c, f->vapour_pa};
	f->load = case_load_standard();
	f->marks[0] = CASE_START_S - 60;
	f->marks[1] = CASE_START_S + 50 * WT_GRID_S;
	f->marks[2] = CASE_START_S + 1000 * WT_GRID_S;
	assert_int_equal(wt_traits_prior(&f->load, &f->prior), WT_OK);
	assert_int_equal(wt_drive_from_track(&f->track, 101325.0, &f->past), WT_OK);
	assert_int_equal(wt_drive_from_paths(&f->paths, 101325.0, &f->future), WT_OK);
	assert_int_equal(wt_members_new(N, &f->members), WT_OK);
	assert_int_equal(wt_members_draw(&f->prior, 1, f->members), WT_OK);
	assert_int_equal(wt_outcome_new(N, f->marks, 3, &f->outcome), WT_OK);
	*state = f;
	return 0;
}

static int tear_down(void **state)
{
	struct fixture *f = *state;
	wt_drive_free(&f->past);
	wt_drive_free(&f->future);
	wt_members_free(&f->members);
	wt_outcome_free(&f->outcome);
	free(f);
	return 0;
}

static void test_prior_refuses(void **state)
{
	struct fixture *f = *state;
	struct wt_gauss out, before;
	memset(&out, 1, sizeof out);
	before = out;
	struct wt_load_case load = f->load;
	assert_int_equal(wt_traits_prior(NULL, &out), WT_ERR_ARG);
	assert_int_equal(wt_traits_prior(&load, NULL), WT_ERR_ARG);
	load.grade = (enum wt_grade)WT_GRADE_COUNT;
	assert_int_equal(wt_traits_prior(&load, &out), WT_ERR_ARG);
	load = f->load;
	load.moisture_pct = HUGE_VAL;
	assert_int_equal(wt_traits_prior(&load, &out), WT_ERR_ARG);
	load.moisture_pct = 49.9;
	assert_int_equal(wt_traits_prior(&load, &out), WT_ERR_RANGE);
	load.moisture_pct = 90.1;
	assert_int_equal(wt_traits_prior(&load, &out), WT_ERR_RANGE);
	assert_memory_equal(&out, &before, sizeof out);
	load.moisture_pct = 90.0;
	assert_int_equal(wt_traits_prior(&load, &out), WT_OK);
	assert_true(out.mean[WT_DIM_MOISTURE] == 90.0);
}

static void test_drive_refuses(void **state)
{
	struct fixture *f = *state;
	struct wt_drive *drive = NULL;
	struct wt_track track = f->track;
	struct wt_paths paths = f->paths;
	assert_int_equal(wt_drive_from_track(NULL, 1e5, &drive), WT_ERR_ARG);
	assert_int_equal(wt_drive_from_track(&track, 1e5, NULL), WT_ERR_ARG);
	for (size_t i = 0; i < 3; i++) {
		float keep = f->room.temp_c[7], path = f->temp_c[31], vapour = f->vapour_pa[32];
		assert_int_equal(wt_drive_from_track(&track, bad[i], &drive), WT_ERR_ARG);
		assert_int_equal(wt_drive_from_paths(&paths, bad[i], &drive), WT_ERR_ARG);
		f->room.temp_c[7] = (float)bad[i];
		assert_true(wt_drive_from_track(&track, 1e5, &drive) != WT_OK);
		f->room.temp_c[7] = keep;
		f->temp_c[31] = (float)bad[i];
		assert_true(wt_drive_from_paths(&paths, 1e5, &drive) != WT_OK);
		f->temp_c[31] = path;
		f->vapour_pa[32] = (float)bad[i];
		assert_true(wt_drive_from_paths(&paths, 1e5, &drive) != WT_OK);
		f->vapour_pa[32] = vapour;
	}
	f->temp_c[31] = 60.5f;
	assert_int_equal(wt_drive_from_paths(&paths, 1e5, &drive), WT_ERR_RANGE);
	f->temp_c[31] = 20.0f;
	assert_int_equal(wt_drive_from_track(&track, 39999.0, &drive), WT_ERR_RANGE);
	assert_int_equal(wt_drive_from_paths(&paths, 120001.0, &drive), WT_ERR_RANGE);
	track.start_unix_s += 1;
	paths.start_unix_s += 1;
	assert_int_equal(wt_drive_from_track(&track, 1e5, &drive), WT_ERR_ARG);
	assert_int_equal(wt_drive_from_paths(&paths, 1e5, &drive), WT_ERR_ARG);
	paths = f->paths;
	paths.n_steps = 1;
	assert_int_equal(wt_drive_from_paths(&paths, 1e5, &drive), WT_ERR_ARG);
	assert_null(drive);
	wt_drive_free(&drive);
	wt_drive_free(NULL);
}

static void test_members_refuse(void **state)
{
	struct fixture *f = *state;
	struct wt_members *members = NULL;
	struct wt_outcome *outcome = NULL;
	int64_t disorder[2] = {2, 1};
	assert_int_equal(wt_members_new(0, &members), WT_ERR_ARG);
	assert_int_equal(wt_members_new(5, NULL), WT_ERR_ARG);
	assert_int_equal(wt_members_new((size_t)1 << 21, &members), WT_ERR_RANGE);
	assert_int_equal(wt_outcome_new(0, NULL, 0, &outcome), WT_ERR_ARG);
	assert_int_equal(wt_outcome_new(4, NULL, 1, &outcome), WT_ERR_ARG);
	assert_int_equal(wt_outcome_new(4, disorder, 2, &outcome), WT_ERR_ARG);
	assert_true(members == NULL && outcome == NULL);
	float before = f->members->theta[WT_DIM_PACE][17];
	for (size_t i = 0; i < 3; i++) {
		struct wt_gauss gauss = f->prior;
		gauss.mean[3] = bad[i];
		assert_int_equal(wt_members_draw(&gauss, 9, f->members), WT_ERR_ARG);
		gauss = f->prior;
		gauss.cov[2][1] = bad[i];
		assert_int_equal(wt_members_draw(&gauss, 9, f->members), WT_ERR_ARG);
	}
	struct wt_gauss gauss = f->prior;
	gauss.cov[2][2] = -1.0;
	assert_int_equal(wt_members_draw(&gauss, 9, f->members), WT_ERR_ARG);
	assert_true(f->members->theta[WT_DIM_PACE][17] == before);
	/* A dimension without variance is fixed. */
	gauss = f->prior;
	gauss.cov[WT_DIM_SHRINK][WT_DIM_SHRINK] = 0.0;
	assert_int_equal(wt_members_draw(&gauss, 9, f->members), WT_OK);
	for (size_t i = 0; i < N; i++)
		assert_true(f->members->theta[WT_DIM_SHRINK][i] ==
			    (float)gauss.mean[WT_DIM_SHRINK]);
}

static void test_runs_refuse(void **state)
{
	struct fixture *f = *state;
	float loss_pct[2 * N];
	int64_t at[2] = {CASE_START_S, CASE_START_S + 3600};
	memset(loss_pct, 0, sizeof loss_pct);
	for (size_t i = 0; i < 3; i++) {
		struct wt_load_case load = f->load;
		load.fresh_kg = bad[i];
		assert_int_equal(
			wt_ensemble_observe(&load, f->past, f->members, at, 2, loss_pct, NULL),
			WT_ERR_ARG);
		assert_int_equal(wt_ensemble_run(&load, f->past, f->future, f->members, f->outcome),
				 WT_ERR_ARG);
		load = f->load;
		load.area_m2 = bad[i];
		assert_int_equal(wt_ensemble_run(&load, f->past, f->future, f->members, f->outcome),
				 WT_ERR_ARG);
		float keep = f->members->theta[WT_DIM_BED][3];
		f->members->theta[WT_DIM_BED][3] = (float)bad[i];
		assert_int_equal(
			wt_ensemble_observe(&f->load, f->past, f->members, at, 2, loss_pct, NULL),
			WT_ERR_ARG);
		f->members->theta[WT_DIM_BED][3] = keep;
		struct wt_bed_event event = {at[1], false, NAN, -1, bad[i]};
		load = f->load;
		load.events = &event;
		load.n_events = 1;
		assert_int_equal(
			wt_ensemble_observe(&load, f->past, f->members, at, 2, loss_pct, NULL),
			WT_ERR_ARG);
	}
	struct wt_load_case load = f->load;
	load.fresh_kg = 0.0;
	assert_int_equal(wt_ensemble_run(&load, f->past, NULL, f->members, f->outcome),
			 WT_ERR_RANGE);
	load = f->load;
	load.ready_from_loss_pct = NAN;
	assert_int_equal(wt_ensemble_run(&load, f->past, NULL, f->members, f->outcome), WT_ERR_ARG);
	load = f->load;
	load.spread_unix_s = CASE_START_S - 1;
	assert_int_equal(wt_ensemble_run(&load, f->past, NULL, f->members, f->outcome),
			 WT_ERR_RANGE);
	/* Paths do not make a past, nor a future that starts elsewhere. */
	assert_int_equal(wt_ensemble_run(&f->load, f->future, NULL, f->members, f->outcome),
			 WT_ERR_ARG);
	assert_int_equal(wt_ensemble_run(&f->load, f->past, f->past, f->members, f->outcome),
			 WT_ERR_ARG);
	at[0] = CASE_START_S - 1;
	assert_int_equal(wt_ensemble_observe(&f->load, f->past, f->members, at, 2, loss_pct, NULL),
			 WT_ERR_RANGE);
	at[0] = at[1] + 1;
	assert_int_equal(wt_ensemble_observe(&f->load, f->past, f->members, at, 2, loss_pct, NULL),
			 WT_ERR_ARG);
	at[0] = at[1] = CASE_START_S + 101 * WT_GRID_S;
	assert_int_equal(wt_ensemble_observe(&f->load, f->past, f->members, at, 2, loss_pct, NULL),
			 WT_ERR_RANGE);
	for (size_t i = 0; i < N; i++)
		assert_true(loss_pct[i] == 0.0f && isnan(f->outcome->loss_now_pct[i]) &&
			    isinf(f->outcome->ready_unix_s[i]));
}

static void test_marks_and_order(void **state)
{
	struct fixture *f = *state;
	f->load.least_hours = 3.0;
	f->load.most_hours = 9.0;
	assert_int_equal(wt_ensemble_run(&f->load, f->past, f->future, f->members, f->outcome),
			 WT_OK);
	double spread = (double)f->load.spread_unix_s;
	for (size_t i = 0; i < N; i++) {
		const struct wt_outcome *o = f->outcome;
		/* Before spreading and beyond the horizon nothing is known. */
		assert_true(isnan(o->mark_loss_pct[i]) && isnan(o->mark_loss_pct[2 * N + i]));
		assert_true(o->mark_loss_pct[N + i] > 0.0f &&
			    o->mark_loss_pct[N + i] <= o->loss_now_pct[i]);
		assert_true(o->ready_unix_s[i] >= spread + 3.0 * 3600.0);
		assert_true(o->past_unix_s[i] >= o->ready_unix_s[i]);
		if (isfinite(o->ready_unix_s[i]))
			assert_true(o->past_unix_s[i] <=
				    fmax(o->ready_unix_s[i], spread + 9.0 * 3600.0));
	}
}

static void test_same_inputs_same_bits(void **state)
{
	struct fixture *f = *state;
	struct wt_outcome *again = NULL;
	assert_int_equal(wt_outcome_new(N, f->marks, 3, &again), WT_OK);
	assert_int_equal(wt_ensemble_run(&f->load, f->past, f->future, f->members, f->outcome),
			 WT_OK);
	assert_int_equal(wt_ensemble_run(&f->load, f->past, f->future, f->members, again), WT_OK);
	assert_memory_equal(f->outcome->ready_unix_s, again->ready_unix_s, N * sizeof(double));
	assert_memory_equal(f->outcome->past_unix_s, again->past_unix_s, N * sizeof(double));
	assert_memory_equal(f->outcome->loss_now_pct, again->loss_now_pct, N * sizeof(float));
	assert_memory_equal(f->outcome->mark_loss_pct, again->mark_loss_pct, 3 * N * sizeof(float));
	wt_outcome_free(&again);
}

/* A load spread after the last instant of measured air, as right after `spread`. */
static void test_spread_after_the_last_reading(void **state)
{
	struct fixture *f = *state;
	f->load.spread_unix_s = CASE_START_S + 99 * WT_GRID_S + 140;
	float loss_pct[N], weight_kg[N];
	assert_int_equal(wt_ensemble_run(&f->load, f->past, f->future, f->members, f->outcome),
			 WT_OK);
	int64_t at = f->load.spread_unix_s;
	assert_int_equal(
		wt_ensemble_observe(&f->load, f->past, f->members, &at, 1, loss_pct, weight_kg),
		WT_OK);
	for (size_t i = 0; i < N; i++) {
		assert_true(f->outcome->loss_now_pct[i] == 0.0f);
		assert_true(isnan(f->outcome->rate_now_pct_h[i]));
		assert_true(loss_pct[i] == 0.0f && fabsf(weight_kg[i] - 1.0f) < 1e-6f);
	}
}

int main(void)
{
	const struct CMUnitTest tests[] = {
		cmocka_unit_test_setup_teardown(test_prior_refuses, set_up, tear_down),
		cmocka_unit_test_setup_teardown(test_drive_refuses, set_up, tear_down),
		cmocka_unit_test_setup_teardown(test_members_refuse, set_up, tear_down),
		cmocka_unit_test_setup_teardown(test_runs_refuse, set_up, tear_down),
		cmocka_unit_test_setup_teardown(test_marks_and_order, set_up, tear_down),
		cmocka_unit_test_setup_teardown(test_same_inputs_same_bits, set_up, tear_down),
		cmocka_unit_test_setup_teardown(test_spread_after_the_last_reading, set_up,
						tear_down),
	};
	return cmocka_run_group_tests_name("ensemble arguments", tests, NULL, NULL);
}
