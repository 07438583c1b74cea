/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * What must hold of any leaf in any room: a few hundred random loads, the same at every run.
 */
#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdlib.h>

#include <cmocka.h>

#include "lib/air.h"
#include "lib/leaf.h"
#include "lib/style_table.h"
#include "lib/traits.h"
#include "tests/physics/cases.h"

enum { CASES = 300, MARKS = 72 };

/* At the ends of steps, between which there are only lines. */
static void run(const struct wt_load_case *load, const double theta[WT_DIM_COUNT],
		const struct case_room *room, int step_s, double *loss_pct, double *weight_kg)
{
	int64_t at[MARKS];
	struct wt_track track = case_track(room);
	for (int i = 0; i < MARKS; i++)
		at[i] = (load->spread_unix_s / WT_GRID_S + 1 + (i + 1) * 6) * WT_GRID_S;
	assert_int_equal(wt_leaf_run(load, theta, &track, step_s, at, MARKS, loss_pct, weight_kg),
			 WT_OK);
}

static void random_case(struct case_random *random, struct case_room *room,
			struct wt_bed_event events[4], struct wt_load_case *load,
			double theta[WT_DIM_COUNT])
{
	case_room_random(random, 450, room);
	case_load_random(random, events, load);
	case_theta(random, load, theta);
}

/* Water that left by the fluxes is the weight that is gone. */
static void test_mass_closes(void **state)
{
	(void)state;
	struct case_random random = {11};
	for (int k = 0; k < CASES; k++) {
		struct case_room room;
		struct wt_bed_event events[4];
		struct wt_load_case load;
		double theta[WT_DIM_COUNT];
		struct wt_leaf leaf;
		random_case(&random, &room, events, &load, theta);
		assert_int_equal(wt_leaf_from_theta(&load, theta, &leaf), WT_OK);
		assert_true(fabs(leaf.tissue_kg * (1.0 + leaf.surface * leaf.moisture_pct / 100.0) -
				 load.fresh_kg) < 1e-12 * load.fresh_kg);
		double dry_kg_m2 = leaf.dry_kg / load.area_m2, gone_kg = 0.0;
		struct wt_leaf_bed bed = {.fresh_kg_m2 = leaf.tissue_kg / load.area_m2};
		struct wt_leaf_path path;
		struct wt_leaf_state s = {1.0, leaf.surface, 0.0};
		assert_int_equal(wt_leaf_path(&bed, leaf.bed, &path), WT_OK);
		for (int i = 0; i < 432; i++) {
			struct wt_leaf_air air;
			struct wt_leaf_rate rate;
			assert_int_equal(wt_leaf_air((double)room.temp_c[i],
						     (double)room.vapour_pa[i], load.pressure_pa,
						     &air),
					 WT_OK);
			wt_leaf_rate(&leaf, &path, dry_kg_m2, 0.0, 1.0, &air, 300.0 * i, &s, &rate);
			s.y += 300.0 * rate.y_per_s;
			s.z += 300.0 * rate.z_per_s;
			s.breath += 300.0 * rate.breath_per_s;
			double water_kg = leaf.dry_kg * leaf.water_ratio;
			gone_kg -= 300.0 * water_kg * (rate.y_per_s + rate.z_per_s);
			gone_kg += 300.0 * leaf.dry_kg * rate.breath_per_s;
		}
		double lost_kg = load.fresh_kg - wt_leaf_weight_kg(&leaf, &s);
		assert_true(fabs(lost_kg - gone_kg) < 1e-9 * load.fresh_kg);
	}
}

static void test_loss_only_rises_and_stays_possible(void **state)
{
	(void)state;
	struct case_random random = {12};
	for (int k = 0; k < CASES; k++) {
		struct case_room room;
		struct wt_bed_event events[4];
		struct wt_load_case load;
		double theta[WT_DIM_COUNT], loss[MARKS], weight[MARKS], before = 0.0;
		random_case(&random, &room, events, &load, theta);
		run(&load, theta, &room, 300, loss, weight);
		for (int i = 0; i < MARKS; i++) {
			assert_true(loss[i] >= before && loss[i] <= 100.0);
			assert_true(weight[i] >= 0.0 && weight[i] <= load.fresh_kg);
			before = loss[i];
		}
	}
}

/* No tissue falls below its equilibrium with the driest air it has met. */
static void test_never_below_equilibrium(void **state)
{
	(void)state;
	struct case_random random = {13};
	for (int k = 0; k < 60; k++) {
		struct case_room room;
		double rh = case_uniform(&random, 20.0, 90.0), theta[WT_DIM_COUNT], loss[MARKS];
		double temp_c = case_uniform(&random, 15.0, 38.0);
		struct wt_leaf_air air;
		case_room_constant(temp_c, rh, 450, &room);
		struct wt_load_case load = case_load_standard();
		load.fresh_kg = 0.3;
		load.fan = true;
		case_theta(&random, &load, theta);
		theta[WT_DIM_RH_BIAS] = 0.0;
		theta[WT_DIM_PACE] += 1.5;
		run(&load, theta, &room, 300, loss, NULL);
		struct wt_leaf leaf;
		assert_int_equal(wt_leaf_from_theta(&load, theta, &leaf), WT_OK);
		double least = WT_TRAIT_ISOTHERM_HALF * sqrt(rh / (100.0 - rh)) / leaf.water_ratio;
		assert_int_equal(wt_leaf_air(temp_c, 0.0, load.pressure_pa, &air), WT_OK);
		double breath_pct = (100.0 - leaf.moisture_pct) * 36.2 * WT_TRAIT_BREATH_PER_H *
				    pow(air.warm, 4.0);
		assert_true(loss[MARKS - 1] <=
			    leaf.moisture_pct * (1.0 - least) + breath_pct + 1e-4);
	}
}

static void test_no_drying_into_saturated_air(void **state)
{
	(void)state;
	struct case_random random = {14};
	for (int k = 0; k < CASES; k++) {
		struct case_room room;
		struct wt_bed_event events[4];
		struct wt_load_case load;
		double theta[WT_DIM_COUNT], loss[MARKS];
		random_case(&random, &room, events, &load, theta);
		case_room_constant(case_uniform(&random, 5.0, 35.0), 100.0, 450, &room);
		run(&load, theta, &room, 300, loss, NULL);
		/* What is left is breath: dry matter, not water. */
		assert_true(loss[MARKS - 1] < 1.0);
		for (int i = 0; i < 450; i++)
			room.vapour_pa[i] *= 1.02f;
		run(&load, theta, &room, 300, loss, NULL);
		assert_true(loss[MARKS - 1] < 1.0);
	}
}

/* a dries at least as fast as b at every mark. */
static void assert_not_slower(const double *a, const double *b, double tolerance_pct)
{
	for (int i = 0; i < MARKS; i++)
		assert_true(a[i] >= b[i] - tolerance_pct);
}

static void test_changes_move_the_right_way(void **state)
{
	(void)state;
	struct case_random random = {15};
	for (int k = 0; k < CASES; k++) {
		struct case_room room, other;
		struct wt_bed_event events[4];
		struct wt_load_case load, changed;
		double theta[WT_DIM_COUNT], base[MARKS], loss[MARKS];
		random_case(&random, &room, events, &load, theta);
		load.n_events = 0;
		load.fan = false;
		load.perforated = false;
		theta[WT_DIM_RH_BIAS] = 0.0;
		run(&load, theta, &room, 300, base, NULL);
		changed = load;
		changed.area_m2 *= 1.3;
		run(&changed, theta, &room, 300, loss, NULL);
		assert_not_slower(loss, base, 1e-9);
		changed = load;
		changed.fan = true;
		run(&changed, theta, &room, 300, loss, NULL);
		assert_not_slower(loss, base, 1e-9);
		changed = load;
		changed.perforated = true;
		run(&changed, theta, &room, 300, loss, NULL);
		assert_not_slower(loss, base, 1e-9);
		other = room;
		for (size_t i = 0; i < other.n; i++)
			other.vapour_pa[i] *= 0.9f;
		run(&load, theta, &other, 300, loss, NULL);
		assert_not_slower(loss, base, 1e-9);
		other = room;
		for (size_t i = 0; i < other.n; i++)
			other.temp_c[i] += 2.0f;
		run(&load, theta, &other, 300, loss, NULL);
		assert_not_slower(loss, base, 1e-9);
		struct wt_bed_event turn = {.at_unix_s = load.spread_unix_s + 9000,
					    .turned = true,
					    .area_m2 = NAN,
					    .fan = -1};
		changed = load;
		changed.events = &turn;
		changed.n_events = 1;
		run(&changed, theta, &room, 300, loss, NULL);
		/* Turning cuts a step in two, which changes its error. */
		assert_not_slower(loss, base, 5e-3);
	}
}

static void test_half_the_step(void **state)
{
	(void)state;
	struct case_random random = {16};
	double worst = 0.0;
	for (int k = 0; k < CASES; k++) {
		struct case_room room;
		struct wt_bed_event events[4];
		struct wt_load_case load;
		double theta[WT_DIM_COUNT], whole[MARKS], half[MARKS];
		random_case(&random, &room, events, &load, theta);
		run(&load, theta, &room, 300, whole, NULL);
		run(&load, theta, &room, 150, half, NULL);
		for (int i = 0; i < MARKS; i++)
			worst = fmax(worst, fabs(whole[i] - half[i]));
	}
	print_message("half the step: worst %.4f points of loss\n", worst);
	assert_true(worst < 0.02);
}

/* The part of a load that is left dries on as it did. */
static void test_taking_leaf_away(void **state)
{
	(void)state;
	struct case_room room;
	double theta[WT_DIM_COUNT], base[MARKS], loss[MARKS], whole[MARKS], rest[MARKS];
	struct wt_load_case load = case_load_standard();
	case_room_constant(20.0, 70.0, 450, &room);
	case_theta(NULL, &load, theta);
	run(&load, theta, &room, 300, base, whole);
	struct wt_bed_event taken = {.at_unix_s = load.spread_unix_s + 6 * 3600 + WT_GRID_S,
				     .area_m2 = NAN,
				     .fan = -1,
				     .taken_kg = 0.5 * whole[11]};
	load.events = &taken;
	load.n_events = 1;
	run(&load, theta, &room, 300, loss, rest);
	for (int i = 0; i < MARKS; i++) {
		assert_true(fabs(loss[i] - base[i]) < 1e-9);
		assert_true(fabs(rest[i] - (i > 11 ? 0.5 : 1.0) * whole[i]) < 1e-9);
	}
}

static const double bad[] = {NAN, HUGE_VAL, -HUGE_VAL};

static void test_air_refuses_what_it_cannot(void **state)
{
	(void)state;
	double out = 12345.0;
	for (size_t i = 0; i < 3; i++) {
		assert_int_equal(wt_air_saturation_pa(bad[i], &out), WT_ERR_ARG);
		assert_int_equal(wt_air_saturation_slope_pa_k(bad[i], &out), WT_ERR_ARG);
		assert_int_equal(wt_air_vapour_pa(bad[i], 50.0, &out), WT_ERR_ARG);
		assert_int_equal(wt_air_vapour_pa(20.0, bad[i], &out), WT_ERR_ARG);
		assert_int_equal(wt_air_rh_pct(bad[i], 1000.0, &out), WT_ERR_ARG);
		assert_int_equal(wt_air_rh_pct(20.0, bad[i], &out), WT_ERR_ARG);
		assert_int_equal(wt_air_deficit_pa(bad[i], 1000.0, &out), WT_ERR_ARG);
		assert_int_equal(wt_air_deficit_pa(20.0, bad[i], &out), WT_ERR_ARG);
		assert_int_equal(wt_air_dew_point_c(bad[i], &out), WT_ERR_ARG);
		assert_int_equal(wt_air_pressure_pa(bad[i], &out), WT_ERR_ARG);
		assert_int_equal(wt_air_latent_heat_j_kg(bad[i], &out), WT_ERR_ARG);
		assert_int_equal(wt_air_psychrometric_pa_k(bad[i], &out), WT_ERR_ARG);
	}
	assert_int_equal(wt_air_saturation_pa(20.0, NULL), WT_ERR_ARG);
	assert_int_equal(wt_air_saturation_pa(-40.1, &out), WT_ERR_RANGE);
	assert_int_equal(wt_air_saturation_slope_pa_k(100.1, &out), WT_ERR_RANGE);
	assert_int_equal(wt_air_vapour_pa(20.0, -0.1, &out), WT_ERR_RANGE);
	assert_int_equal(wt_air_vapour_pa(20.0, 110.1, &out), WT_ERR_RANGE);
	assert_int_equal(wt_air_rh_pct(20.0, -1.0, &out), WT_ERR_RANGE);
	assert_int_equal(wt_air_deficit_pa(101.0, 1000.0, &out), WT_ERR_RANGE);
	assert_int_equal(wt_air_dew_point_c(0.0, &out), WT_ERR_RANGE);
	assert_int_equal(wt_air_dew_point_c(2e5, &out), WT_ERR_RANGE);
	assert_int_equal(wt_air_pressure_pa(-501.0, &out), WT_ERR_RANGE);
	assert_int_equal(wt_air_pressure_pa(5001.0, &out), WT_ERR_RANGE);
	assert_int_equal(wt_air_psychrometric_pa_k(39999.0, &out), WT_ERR_RANGE);
	assert_true(out == 12345.0);
	/* Both ends are still inside, and the dew point takes the vapour pressure back. */
	static const double ends[] = {-40.0, -20.0, 0.0, 20.0, 60.0, 100.0};
	for (size_t i = 0; i < sizeof ends / sizeof ends[0]; i++) {
		double pa, back;
		assert_int_equal(wt_air_saturation_pa(ends[i], &pa), WT_OK);
		assert_int_equal(wt_air_dew_point_c(pa, &back), WT_OK);
		assert_true(fabs(back - ends[i]) < 1e-6);
	}
}

static void test_leaf_refuses_what_it_cannot(void **state)
{
	(void)state;
	struct wt_leaf_air air = {7.0, 7.0, 7.0, 7.0};
	struct wt_leaf_path path = {7.0, 7.0, 7.0};
	struct wt_leaf leaf = {.moisture_pct = 7.0};
	struct wt_load_case load = case_load_standard();
	double theta[WT_DIM_COUNT], out = 7.0;
	case_theta(NULL, &load, theta);
	for (size_t i = 0; i < 3; i++) {
		struct wt_leaf_bed bed = {.fresh_kg_m2 = bad[i]};
		assert_int_equal(wt_leaf_air(bad[i], 1e3, 1e5, &air), WT_ERR_ARG);
		assert_int_equal(wt_leaf_air(20.0, bad[i], 1e5, &air), WT_ERR_ARG);
		assert_int_equal(wt_leaf_air(20.0, 1e3, bad[i], &air), WT_ERR_ARG);
		assert_int_equal(wt_leaf_path(&bed, 1.0, &path), WT_ERR_ARG);
		bed.fresh_kg_m2 = 1.0;
		assert_int_equal(wt_leaf_path(&bed, bad[i], &path), WT_ERR_ARG);
		struct wt_leaf_combination in = {145.0, 67.0, 0.0, 1200.0, 700.0, 100.0, bad[i]};
		assert_int_equal(wt_leaf_latent_w_m2(&in, &out), WT_ERR_ARG);
		for (int d = 0; d < WT_DIM_COUNT; d++) {
			double keep = theta[d];
			theta[d] = bad[i];
			assert_int_equal(wt_leaf_from_theta(&load, theta, &leaf), WT_ERR_ARG);
			theta[d] = keep;
		}
		struct wt_load_case other = load;
		other.fresh_kg = bad[i];
		assert_int_equal(wt_leaf_from_theta(&other, theta, &leaf), WT_ERR_ARG);
	}
	assert_int_equal(wt_leaf_air(60.1, 1e3, 1e5, &air), WT_ERR_RANGE);
	assert_int_equal(wt_leaf_air(20.0, -1.0, 1e5, &air), WT_ERR_RANGE);
	assert_int_equal(wt_leaf_air(20.0, 1e3, 1.3e5, &air), WT_ERR_RANGE);
	struct wt_leaf_combination in = {145.0, 67.0, 0.0, 1200.0, 700.0, 0.0, 70.0};
	assert_int_equal(wt_leaf_latent_w_m2(&in, &out), WT_ERR_RANGE);
	struct wt_load_case other = load;
	other.area_m2 = 0.0;
	assert_int_equal(wt_leaf_from_theta(&other, theta, &leaf), WT_ERR_RANGE);
	struct case_room room;
	struct wt_track track;
	int64_t at = load.spread_unix_s + 60;
	case_room_constant(20.0, 70.0, 10, &room);
	track = case_track(&room);
	assert_int_equal(wt_leaf_run(&load, theta, &track, 7, &at, 1, &out, NULL), WT_ERR_ARG);
	room.temp_c[3] = NAN;
	assert_int_equal(wt_leaf_run(&load, theta, &track, 300, &at, 1, &out, NULL), WT_ERR_ARG);
	room.temp_c[3] = 20.0f;
	at = load.spread_unix_s - 1;
	assert_int_equal(wt_leaf_run(&load, theta, &track, 300, &at, 1, &out, NULL), WT_ERR_RANGE);
	assert_true(out == 7.0 && air.warm == 7.0 && path.heat_s_m == 7.0 &&
		    leaf.moisture_pct == 7.0);
}

static void test_tables_are_whole(void **state)
{
	(void)state;
	for (int g = 0; g < WT_GRADE_COUNT; g++)
		assert_non_null(wt_traits_grade((enum wt_grade)g)->source);
	for (int s = 0; s < WT_SEASON_COUNT; s++)
		assert_non_null(wt_traits_season((enum wt_season)s)->source);
	for (int w = 0; w < WT_WET_COUNT; w++)
		assert_true(wt_traits_wet((enum wt_wet)w)->surface_kg_kg > 0.0);
	assert_null(wt_traits_grade((enum wt_grade)WT_GRADE_COUNT));
	assert_null(wt_style_table_find("unheard-of"));
	assert_null(wt_style_table_at(wt_style_table_count()));
	for (size_t i = 0; i < wt_style_table_count(); i++) {
		const struct wt_style *s = wt_style_table_at(i);
		assert_ptr_equal(wt_style_table_find(s->name), s);
		assert_true(0.0 < s->ready_from_loss_pct &&
			    s->ready_from_loss_pct < s->aim_loss_pct &&
			    s->aim_loss_pct < s->latest_loss_pct && s->latest_loss_pct < 76.0);
		assert_true(s->least_hours < s->most_hours);
	}
}

int main(void)
{
	const struct CMUnitTest tests[] = {
		cmocka_unit_test(test_mass_closes),
		cmocka_unit_test(test_loss_only_rises_and_stays_possible),
		cmocka_unit_test(test_never_below_equilibrium),
		cmocka_unit_test(test_no_drying_into_saturated_air),
		cmocka_unit_test(test_changes_move_the_right_way),
		cmocka_unit_test(test_half_the_step),
		cmocka_unit_test(test_taking_leaf_away),
		cmocka_unit_test(test_air_refuses_what_it_cannot),
		cmocka_unit_test(test_leaf_refuses_what_it_cannot),
		cmocka_unit_test(test_tables_are_whole),
	};
	return cmocka_run_group_tests_name("leaf", tests, NULL, NULL);
}
