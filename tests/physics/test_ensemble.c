/* SPDX-License-Identifier: GPL-3.0-or-later */
#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdlib.h>
#include <string.h>

#include <cmocka.h>

#include "lib/ensemble.h"
#include "lib/ensemble_kernel.h"
#include "lib/leaf.h"
#include "tests/physics/cases.h"

enum { HOURS = 36, MARKS = HOURS };

static struct wt_members *members_of(const struct wt_load_case *load, size_t n, uint64_t seed)
{
	struct wt_gauss prior;
	struct wt_members *members = NULL;
	assert_int_equal(wt_traits_prior(load, &prior), WT_OK);
	assert_int_equal(wt_members_new(n, &members), WT_OK);
	assert_int_equal(wt_members_draw(&prior, seed, members), WT_OK);
	return members;
}

static struct wt_drive *drive_of(const struct case_room *room, double pressure_pa)
{
	struct wt_track track = case_track(room);
	struct wt_drive *drive = NULL;
	assert_int_equal(wt_drive_from_track(&track, pressure_pa, &drive), WT_OK);
	return drive;
}

/* Paths that all equal the room from `from` on. */
static struct wt_drive *future_of(const struct case_room *room, size_t from, size_t n_paths,
				  double pressure_pa)
{
	size_t n = room->n - from;
	float *temp_c = malloc(n * n_paths * sizeof *temp_c);
	float *vapour_pa = malloc(n * n_paths * sizeof *vapour_pa);
	assert_true(temp_c && vapour_pa);
	for (size_t s = 0; s < n; s++)
		for (size_t p = 0; p < n_paths; p++) {
			temp_c[s * n_paths + p] = room->temp_c[from + s];
			vapour_pa[s * n_paths + p] = room->vapour_pa[from + s];
		}
	struct wt_paths paths = {CASE_START_S + (int64_t)from * WT_GRID_S, n, n_paths, temp_c,
				 vapour_pa};
	struct wt_drive *drive = NULL;
	assert_int_equal(wt_drive_from_paths(&paths, pressure_pa, &drive), WT_OK);
	free(temp_c);
	free(vapour_pa);
	return drive;
}

static void test_kernel_agrees_with_reference(void **state)
{
	(void)state;
	struct case_random random = {20260101};
	double worst_pct = 0.0, worst_kg = 0.0;
	for (int k = 0; k < 200; k++) {
		struct case_room room;
		struct wt_bed_event events[4];
		struct wt_load_case load;
		case_room_random(&random, 450, &room);
		case_load_random(&random, events, &load);
		struct wt_members *members = members_of(&load, 5, (uint64_t)k);
		struct wt_drive *past = drive_of(&room, load.pressure_pa);
		struct wt_track track = case_track(&room);
		int64_t at[MARKS];
		float loss[MARKS * 5], weight[MARKS * 5];
		for (int i = 0; i < MARKS; i++)
			at[i] = load.spread_unix_s + (i + 1) * 3600 - 777;
		assert_int_equal(wt_ensemble_observe(&load, past, members, at, MARKS, loss, weight),
				 WT_OK);
		for (size_t m = 0; m < 5; m++) {
			double theta[WT_DIM_COUNT], ref_loss[MARKS], ref_weight[MARKS];
			for (int d = 0; d < WT_DIM_COUNT; d++)
				theta[d] = (double)members->theta[d][m];
			assert_int_equal(wt_leaf_run(&load, theta, &track, WT_GRID_S, at, MARKS,
						     ref_loss, ref_weight),
					 WT_OK);
			for (size_t i = 0; i < MARKS; i++) {
				double miss = fabs((double)loss[i * 5 + m] - ref_loss[i]);
				double miss_kg = fabs((double)weight[i * 5 + m] - ref_weight[i]);
				worst_pct = fmax(worst_pct, miss);
				worst_kg = fmax(worst_kg, miss_kg / load.fresh_kg);
			}
		}
		wt_members_free(&members);
		wt_drive_free(&past);
	}
	print_message(
		"kernel (%s) against reference: worst %.4f points of loss, %.5f of the weight\n",
		wt_kernel_name(), worst_pct, worst_kg);
	assert_true(worst_pct < 0.02);
	assert_true(worst_kg < 0.0005);
}

/* The same air, once measured and once as paths to come, gives the same forecast. */
static void test_past_and_future_are_one(void **state)
{
	(void)state;
	static const size_t counts[][2] = {{1024, 1024}, {100, 100}, {100, 7}, {64, 200}, {1, 1}};
	struct case_random random = {7};
	struct case_room room;
	case_room_random(&random, 500, &room);
	struct wt_load_case load = case_load_standard();
	load.spread_unix_s += 1234;
	double worst_s = 0.0;
	for (size_t c = 0; c < sizeof counts / sizeof counts[0]; c++) {
		size_t n = counts[c][0];
		struct case_room half = room;
		half.n = 60;
		struct wt_members *members = members_of(&load, n, 3);
		struct wt_drive *all = drive_of(&room, load.pressure_pa);
		struct wt_drive *past = drive_of(&half, load.pressure_pa);
		struct wt_drive *future = future_of(&room, 59, counts[c][1], load.pressure_pa);
		int64_t marks[2] = {load.spread_unix_s + 7200, CASE_START_S + 400 * WT_GRID_S};
		struct wt_outcome *a = NULL, *b = NULL;
		assert_int_equal(wt_outcome_new(n, marks, 2, &a), WT_OK);
		assert_int_equal(wt_outcome_new(n, marks, 2, &b), WT_OK);
		assert_int_equal(wt_ensemble_run(&load, all, NULL, members, a), WT_OK);
		assert_int_equal(wt_ensemble_run(&load, past, future, members, b), WT_OK);
		for (size_t i = 0; i < n; i++) {
			if (isinf(a->ready_unix_s[i]))
				assert_true(isinf(b->ready_unix_s[i]));
			else
				worst_s = fmax(worst_s,
					       fabs(a->ready_unix_s[i] - b->ready_unix_s[i]));
			assert_true(b->ready_unix_s[i] <= b->past_unix_s[i]);
			for (size_t k = 0; k < 2; k++)
				assert_true(fabsf(a->mark_loss_pct[k * n + i] -
						  b->mark_loss_pct[k * n + i]) < 1e-3f);
			assert_true(b->loss_now_pct[i] >= 0.0f && b->rate_now_pct_h[i] >= 0.0f);
		}
		wt_outcome_free(&a);
		wt_outcome_free(&b);
		wt_drive_free(&all);
		wt_drive_free(&past);
		wt_drive_free(&future);
		wt_members_free(&members);
	}
	/* Single precision: the two loops may round differently, most where the loss crawls. */
	print_message("measured against foretold air: ready differs by up to %.2f s\n", worst_s);
	assert_true(worst_s < 30.0);
}

static double median_ready_h(struct wt_load_case load, double temp_c, double rh_pct)
{
	struct case_room room;
	case_room_constant(temp_c, rh_pct, 600, &room);
	struct wt_drive *past = drive_of(&room, load.pressure_pa);
	struct wt_members *members = members_of(&load, 257, 1);
	struct wt_outcome *out = NULL;
	assert_int_equal(wt_outcome_new(257, NULL, 0, &out), WT_OK);
	assert_int_equal(wt_ensemble_run(&load, past, NULL, members, out), WT_OK);
	size_t below[257] = {0};
	double found = HUGE_VAL;
	for (size_t i = 0; i < 257; i++) {
		for (size_t j = 0; j < 257; j++)
			below[i] += out->ready_unix_s[j] < out->ready_unix_s[i] ||
				    (out->ready_unix_s[j] == out->ready_unix_s[i] && j < i);
		if (below[i] == 128)
			found = (out->ready_unix_s[i] - (double)load.spread_unix_s) / 3600.0;
	}
	wt_outcome_free(&out);
	wt_members_free(&members);
	wt_drive_free(&past);
	return found;
}

static void test_ready_moves_the_right_way(void **state)
{
	(void)state;
	struct wt_load_case load = case_load_standard();
	double base = median_ready_h(load, 20.0, 70.0);
	struct wt_load_case thin = load, fan = load, wet = load, solid = load, waits = load;
	thin.area_m2 = 1.5;
	fan.fan = true;
	wet.wet = WT_WET_WET;
	solid.perforated = false;
	waits.least_hours = 20.0;
	print_message("ready at 20 C, 70 %%: %.2f h; thin %.2f fan %.2f solid %.2f wet %.2f\n",
		      base, median_ready_h(thin, 20.0, 70.0), median_ready_h(fan, 20.0, 70.0),
		      median_ready_h(solid, 20.0, 70.0), median_ready_h(wet, 20.0, 70.0));
	assert_true(median_ready_h(load, 20.0, 80.0) > base);
	assert_true(median_ready_h(load, 20.0, 60.0) < base);
	assert_true(median_ready_h(load, 24.0, 70.0) < base);
	assert_true(median_ready_h(thin, 20.0, 70.0) < base);
	assert_true(median_ready_h(fan, 20.0, 70.0) < base);
	assert_true(median_ready_h(wet, 20.0, 70.0) > base);
	assert_true(median_ready_h(solid, 20.0, 70.0) > base);
	assert_true(median_ready_h(waits, 20.0, 70.0) == 20.0);
	assert_true(isinf(median_ready_h(load, 20.0, 100.0)));
}

static void test_draw_is_a_pure_function(void **state)
{
	(void)state;
	struct wt_load_case load = case_load_standard();
	struct wt_members *a = members_of(&load, 1024, 5), *b = members_of(&load, 1024, 5);
	struct wt_gauss prior;
	assert_int_equal(wt_traits_prior(&load, &prior), WT_OK);
	for (int d = 0; d < WT_DIM_COUNT; d++) {
		double sum = 0.0, square = 0.0;
		assert_memory_equal(a->theta[d], b->theta[d], 1024 * sizeof(float));
		for (size_t i = 0; i < 1024; i++) {
			double x = ((double)a->theta[d][i] - prior.mean[d]) / sqrt(prior.cov[d][d]);
			sum += x;
			square += x * x;
		}
		assert_true(fabs(sum / 1024.0) < 0.02);
		assert_true(fabs(square / 1024.0 - 1.0) < 0.03);
	}
	wt_members_free(&a);
	wt_members_free(&b);
}

int main(void)
{
	const struct CMUnitTest tests[] = {
		cmocka_unit_test(test_kernel_agrees_with_reference),
		cmocka_unit_test(test_past_and_future_are_one),
		cmocka_unit_test(test_ready_moves_the_right_way),
		cmocka_unit_test(test_draw_is_a_pure_function),
	};
	return cmocka_run_group_tests_name("ensemble", tests, NULL, NULL);
}
