/* SPDX-License-Identifier: GPL-3.0-or-later */
#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <string.h>

#include <cmocka.h>

#include "lib/ledger.h"

#define NEAR(a, b, tolerance) assert_true(fabs((a) - (b)) <= (tolerance))

static const struct wt_ledger_entry nothing = {NAN, NAN, NAN, NAN, NAN, NAN};

static void published_outturn(void **state)
{
	(void)state;
	struct wt_ledger_sum sum;
	struct wt_ledger_entry e = nothing;
	/* Sri Lanka Tea Board circular MF/BL 66 of 1985: 4.5 to 1 is 22.22 %, 4.65 to 1 is 21.5 %.
	 * The quotients are arithmetic; what the circular tells is that neither is out of the way.
	 */
	e.fresh_kg = 100;
	e.made_kg = 22.22;
	assert_int_equal(wt_ledger_reckon(&e, &sum), WT_OK);
	NEAR(sum.outturn, 4.5, 0.001);
	assert_int_equal(sum.note, WT_LEDGER_FINE);
	e.made_kg = 21.5;
	assert_int_equal(wt_ledger_reckon(&e, &sum), WT_OK);
	NEAR(sum.outturn, 4.65, 0.002);
	assert_int_equal(sum.note, WT_LEDGER_FINE);
	/* Dry matter by hand: 76 % leaf made at 5 % is (1 - 0.05) / (1 - 0.76) = 3.958. */
	e.made_kg = 100 * (1 - 0.76) / (1 - 0.05);
	assert_int_equal(wt_ledger_reckon(&e, &sum), WT_OK);
	NEAR(sum.outturn, 3.958, 0.001);
	assert_int_equal(sum.note, WT_LEDGER_FINE);
}

static void by_hand(void **state)
{
	(void)state;
	/* 20 kg at 8 paid, 5 kg made, 0.5 kg yellow: 160 / 4.5 = 35.56 a kilogram, 10 % yellow. */
	struct wt_ledger_entry e = {20, 5, 0.5, 8, 18.5, 9.5};
	struct wt_ledger_sum sum;
	assert_int_equal(wt_ledger_reckon(&e, &sum), WT_OK);
	NEAR(sum.outturn, 4, 1e-12);
	NEAR(sum.yellow_pct, 10, 1e-12);
	NEAR(sum.cost_per_kg, 35.5555556, 1e-6);
	NEAR(sum.loss_pct, 18.5, 1e-12);
	NEAR(sum.hours, 9.5, 1e-12);
	/* Not sorted: yellow unknown, all of it counted as tea. */
	e.yellow_kg = NAN;
	assert_int_equal(wt_ledger_reckon(&e, &sum), WT_OK);
	assert_true(isnan(sum.yellow_pct));
	NEAR(sum.cost_per_kg, 32, 1e-12);
}

static void groups_weigh_by_leaf(void **state)
{
	(void)state;
	struct wt_ledger_entry e[3] = {
		{10, 2, 0.2, 5, 20, 10},
		{30, 7, 0.4, 7, 16, 6},
		{50, NAN, NAN, NAN, NAN, NAN},
	};
	struct wt_ledger_sum sum;
	assert_int_equal(wt_ledger_total(e, 3, &sum), WT_OK);
	assert_int_equal(sum.n, 2);
	NEAR(sum.outturn, 40.0 / 9, 1e-12);
	NEAR(sum.yellow_pct, 100 * 0.6 / 9, 1e-12);
	NEAR(sum.cost_per_kg, (50 + 210) / 8.4, 1e-12);
	NEAR(sum.loss_pct, 17, 1e-12);
	NEAR(sum.hours, 7, 1e-12);
}

static void unknown_stays_unknown(void **state)
{
	(void)state;
	struct wt_ledger_sum sum;
	assert_int_equal(wt_ledger_reckon(&nothing, &sum), WT_OK);
	assert_int_equal(sum.n, 0);
	assert_true(isnan(sum.outturn) && isnan(sum.yellow_pct) && isnan(sum.cost_per_kg) &&
		    isnan(sum.loss_pct) && isnan(sum.hours));
	assert_int_equal(sum.note, WT_LEDGER_UNKNOWN);
	assert_int_equal(wt_ledger_total(NULL, 0, &sum), WT_OK);
	assert_int_equal(sum.n, 0);
	/* All sorted out: no tea left to carry the cost. */
	struct wt_ledger_entry all_yellow = {4, 1, 1, 5, NAN, NAN};
	assert_int_equal(wt_ledger_reckon(&all_yellow, &sum), WT_OK);
	assert_true(isnan(sum.cost_per_kg));
}

static void implausible_is_said(void **state)
{
	(void)state;
	struct wt_ledger_entry e = nothing;
	struct wt_ledger_sum sum;
	e.fresh_kg = 10;
	e.made_kg = 4;
	assert_int_equal(wt_ledger_reckon(&e, &sum), WT_OK);
	assert_int_equal(sum.note, WT_LEDGER_TOO_MUCH_TEA);
	e.made_kg = 1;
	assert_int_equal(wt_ledger_reckon(&e, &sum), WT_OK);
	assert_int_equal(sum.note, WT_LEDGER_TOO_LITTLE_TEA);
}

static void bad_input_changes_nothing(void **state)
{
	(void)state;
	struct wt_ledger_sum sum = {.n = 77};
	struct wt_ledger_entry e = {10, 2, 3, NAN, NAN, NAN};
	assert_int_equal(wt_ledger_reckon(&e, &sum), WT_ERR_RANGE);
	e = (struct wt_ledger_entry){0, 2, 0, NAN, NAN, NAN};
	assert_int_equal(wt_ledger_reckon(&e, &sum), WT_ERR_RANGE);
	e = (struct wt_ledger_entry){10, -2, 0, NAN, NAN, NAN};
	assert_int_equal(wt_ledger_reckon(&e, &sum), WT_ERR_RANGE);
	e = (struct wt_ledger_entry){HUGE_VAL, 2, 0, NAN, NAN, NAN};
	assert_int_equal(wt_ledger_reckon(&e, &sum), WT_ERR_ARG);
	assert_int_equal(wt_ledger_reckon(NULL, &sum), WT_ERR_ARG);
	assert_int_equal(wt_ledger_reckon(&e, NULL), WT_ERR_ARG);
	assert_int_equal(sum.n, 77);
}

int main(void)
{
	const struct CMUnitTest tests[] = {
		cmocka_unit_test(published_outturn),    cmocka_unit_test(by_hand),
		cmocka_unit_test(groups_weigh_by_leaf), cmocka_unit_test(unknown_stays_unknown),
		cmocka_unit_test(implausible_is_said),  cmocka_unit_test(bad_input_changes_nothing),
	};
	return cmocka_run_group_tests(tests, NULL, NULL);
}
