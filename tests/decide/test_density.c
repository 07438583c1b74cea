/* SPDX-License-Identifier: GPL-3.0-or-later */
#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>

#include <cmocka.h>

#include "lib/density.h"

static const double kg_m2[] = {0.5, 1, 2, 4};
static const double ready_s[] = {3600, 7200, 14400, HUGE_VAL};

static double wish(double at_s, enum wt_density_side *side)
{
	double out = NAN;
	assert_int_equal(wt_density_for_wish(kg_m2, ready_s, 4, at_s, &out, side), WT_OK);
	return out;
}

static void meets_the_wish(void **state)
{
	(void)state;
	enum wt_density_side side;
	assert_true(fabs(wish(7200, &side) - 1) < 1e-12);
	assert_int_equal(side, WT_DENSITY_INSIDE);
	/* Half way between 1 and 2 by time is the geometric mean. */
	assert_true(fabs(wish(10800, &side) - sqrt(2)) < 1e-12);
	assert_int_equal(side, WT_DENSITY_INSIDE);
	/* Beyond the bed that never gets ready there is no interpolating. */
	assert_true(fabs(wish(20000, &side) - 2) < 1e-12);
	assert_int_equal(side, WT_DENSITY_INSIDE);
}

static void outside_is_said(void **state)
{
	(void)state;
	enum wt_density_side side;
	assert_true(fabs(wish(3000, &side) - 0.5) < 1e-12);
	assert_int_equal(side, WT_DENSITY_SOONER);
	double out;
	assert_int_equal(wt_density_for_wish(kg_m2, ready_s, 3, 20000, &out, &side), WT_OK);
	assert_true(fabs(out - 2) < 1e-12);
	assert_int_equal(side, WT_DENSITY_LATER);
	assert_int_equal(wt_density_for_wish(kg_m2, ready_s, 1, 3600, &out, &side), WT_OK);
	assert_int_equal(side, WT_DENSITY_INSIDE);
}

static void thickness_is_judged(void **state)
{
	(void)state;
	assert_int_equal(wt_density_judge(1), WT_DENSITY_FINE);
	assert_int_equal(wt_density_judge(5), WT_DENSITY_FINE);
	assert_int_equal(wt_density_judge(6), WT_DENSITY_UNEVEN);
	assert_int_equal(wt_density_judge(8), WT_DENSITY_UNEVEN);
	assert_int_equal(wt_density_judge(8.1), WT_DENSITY_HEATS);
}

static void malformed_changes_nothing(void **state)
{
	(void)state;
	enum wt_density_side side = WT_DENSITY_LATER;
	double out = 7, falling[] = {2, 1}, times[] = {1, NAN};
	assert_int_equal(wt_density_for_wish(falling, ready_s, 2, 5, &out, &side), WT_ERR_ARG);
	assert_int_equal(wt_density_for_wish(kg_m2, times, 2, 5, &out, &side), WT_ERR_ARG);
	assert_int_equal(wt_density_for_wish(kg_m2, ready_s, 0, 5, &out, &side), WT_ERR_ARG);
	assert_int_equal(wt_density_for_wish(kg_m2, ready_s, 3, NAN, &out, &side), WT_ERR_ARG);
	assert_int_equal(wt_density_for_wish(NULL, ready_s, 3, 5, &out, &side), WT_ERR_ARG);
	assert_true(out == 7 && side == WT_DENSITY_LATER);
}

int main(void)
{
	const struct CMUnitTest tests[] = {
		cmocka_unit_test(meets_the_wish),
		cmocka_unit_test(outside_is_said),
		cmocka_unit_test(thickness_is_judged),
		cmocka_unit_test(malformed_changes_nothing),
	};
	return cmocka_run_group_tests(tests, NULL, NULL);
}
