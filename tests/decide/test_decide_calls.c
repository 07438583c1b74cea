/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * The calls one by one: which word and which reason, and whether it was right.
 */
#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <string.h>

#include <cmocka.h>

#include "decide/synthetic.h"

#define H 3600.0

static struct synthetic_load store[20];
static struct wt_decide_load loads[20];
static struct wt_advice advice[20];
static struct wt_hearth hearth;
static struct synthetic_random source;

static void ask(size_t n)
{
	struct wt_costs costs;
	struct wt_plan *plan = NULL;
	wt_costs_default(&costs);
	for (size_t k = 0; k < n; k++)
		loads[k] = store[k].load;
	assert_int_equal(wt_decide_plan(&hearth, &costs, loads, n, SYNTHETIC_NOW, &plan), WT_OK);
	assert_int_equal(wt_decide_calls(&hearth, &costs, loads, n, plan, SYNTHETIC_NOW, advice),
			 WT_OK);
	wt_plan_free(&plan);
}

static void expect(double ready_h, double sd_h, double window_h, enum wt_prefer prefer,
		   enum wt_call call, enum wt_reason reason)
{
	synthetic_fill(&store[0], &source, 7, 2, 256, ready_h * H, sd_h * H, window_h * H);
	store[0].load.prefer = prefer;
	ask(1);
	assert_int_equal(advice[0].load, 7);
	assert_int_equal(advice[0].call, call);
	assert_int_equal(advice[0].reason, reason);
	assert_true(advice[0].p_call >= 0 && advice[0].p_call <= 1);
}

static int start(void **state)
{
	(void)state;
	hearth = synthetic_hearth(1);
	source = (struct synthetic_random){99};
	return 0;
}

/* It is 16:00; the last start is at 22:00, the first at 06:00, 14 hours away. */
static void one_load(void **state)
{
	(void)state;
	expect(3, 0.3, 3, WT_PREFER_NONE, WT_CALL_TONIGHT, WT_REASON_WILL_NOT_KEEP);
	expect(5, 0.3, 9.3, WT_PREFER_EVENING, WT_CALL_TONIGHT, WT_REASON_READY_IN_TIME);
	expect(3, 0.3, 20, WT_PREFER_NONE, WT_CALL_EITHER, WT_REASON_KEEPS);
	expect(3, 0.3, 20, WT_PREFER_MORNING, WT_CALL_MORNING, WT_REASON_KEEPS);
	expect(3, 0.3, 20, WT_PREFER_EVENING, WT_CALL_TONIGHT, WT_REASON_READY_IN_TIME);
	expect(11, 0.5, 8, WT_PREFER_NONE, WT_CALL_MORNING, WT_REASON_NOT_READY);
	expect(30, 1, 8, WT_PREFER_NONE, WT_CALL_WAIT, WT_REASON_NOT_BY_MORNING);
	expect(60, 1, 8, WT_PREFER_NONE, WT_CALL_WAIT, WT_REASON_NOT_BY_MORNING);
	expect(-3, 0.2, 3.1, WT_PREFER_NONE, WT_CALL_NOW, WT_REASON_READY_NOW);
	expect(-8, 0.2, 3, WT_PREFER_NONE, WT_CALL_PAST, WT_REASON_PAST_NOW);
}

static void unsure_is_said(void **state)
{
	(void)state;
	synthetic_fill(&store[0], &source, 7, 2, 256, 6 * H, 1 * H, 12 * H);
	ask(1);
	assert_int_equal(advice[0].reason, WT_REASON_TOO_UNSURE);
	assert_true(advice[0].p_ready_tonight > 0.4 && advice[0].p_ready_tonight < 0.6);
	assert_true(advice[0].p_call < 0.7);
}

/* Likelier unripe than not, and still better fired than kept: that is the reason, not the doubt. */
static void early_is_better_than_past(void **state)
{
	(void)state;
	expect(6.2, 1, 3, WT_PREFER_NONE, WT_CALL_TONIGHT, WT_REASON_WILL_NOT_KEEP);
	assert_true(advice[0].p_ready_tonight > 0.3 && advice[0].p_ready_tonight < 0.5);
}

static void woks_taken(void **state)
{
	(void)state;
	/* Twenty firings of leaf that spoils overnight, all ready at 21:00, three places. */
	for (int k = 0; k < 20; k++)
		synthetic_fill(&store[k], &source, k + 1, 2, 64, 5 * H, 0.05 * H, 20 * H);
	ask(20);
	size_t tonight = 0, morning = 0;
	for (int k = 0; k < 20; k++) {
		tonight += advice[k].firings_tonight;
		morning += advice[k].firings_morning;
		assert_true(advice[k].p_ready_tonight > 0.9);
		if (advice[k].firings_morning) {
			assert_int_equal(advice[k].reason, WT_REASON_NO_CAPACITY);
			assert_true(advice[k].p_fits_tonight < 0.01);
		}
	}
	assert_int_equal(tonight + morning, 20);
	assert_true(morning > 10);
}

static void no_wok_and_too_late(void **state)
{
	(void)state;
	hearth.woks = 0;
	expect(3, 0.3, 3, WT_PREFER_NONE, WT_CALL_WAIT, WT_REASON_NO_WOK);
	expect(-1, 0.3, 3, WT_PREFER_NONE, WT_CALL_WAIT, WT_REASON_NO_WOK);
	expect(40, 0.3, 3, WT_PREFER_NONE, WT_CALL_WAIT, WT_REASON_NO_WOK);
	expect(-8, 0.2, 3, WT_PREFER_NONE, WT_CALL_PAST, WT_REASON_PAST_NOW);
	assert_true(isinf(advice[0].cost_tonight) && isinf(advice[0].cost_morning));
	hearth = synthetic_hearth(1);
	hearth.last_start_unix_s = SYNTHETIC_NOW - 60;
	expect(-1, 0.2, 30, WT_PREFER_NONE, WT_CALL_MORNING, WT_REASON_TOO_LATE);
	expect(3, 0.2, 30, WT_PREFER_NONE, WT_CALL_MORNING, WT_REASON_NOT_READY);
	/* Not ready by the last start, four hours ago, but by now. */
	hearth.last_start_unix_s = SYNTHETIC_NOW - 4 * 3600;
	expect(-1, 0.2, 30, WT_PREFER_NONE, WT_CALL_MORNING, WT_REASON_TOO_LATE);
}

static void beyond_the_horizon(void **state)
{
	(void)state;
	synthetic_fill(&store[0], &source, 7, 2, 256, 3 * H, 1, 1);
	for (size_t i = 0; i < 256; i++)
		store[0].ready_unix_s[i] = store[0].past_unix_s[i] = HUGE_VAL;
	ask(1);
	assert_int_equal(advice[0].call, WT_CALL_WAIT);
	assert_true(advice[0].p_ready_tonight == 0 && advice[0].p_past_by_morning == 0);
	assert_true(isfinite(advice[0].cost_tonight));
	/* Nothing to advise on is no error. */
	ask(0);
}

static void right_and_wrong(void **state)
{
	(void)state;
	double now = SYNTHETIC_NOW;
	struct {
		enum wt_call call;
		enum wt_reason reason;
		double ready_h, past_h;
		bool right;
	} row[] = {
		{WT_CALL_TONIGHT, WT_REASON_READY_IN_TIME, 6, 9, true},
		{WT_CALL_TONIGHT, WT_REASON_READY_IN_TIME, 6.1, 9, false},
		{WT_CALL_MORNING, WT_REASON_NOT_READY, 6.1, 9, true},
		{WT_CALL_MORNING, WT_REASON_NOT_READY, 5, 20, false},
		{WT_CALL_MORNING, WT_REASON_KEEPS, 5, 20, true},
		{WT_CALL_MORNING, WT_REASON_KEEPS, 5, 13, false},
		{WT_CALL_MORNING, WT_REASON_NO_CAPACITY, 5, 15, true},
		{WT_CALL_EITHER, WT_REASON_KEEPS, 5, 15, true},
		{WT_CALL_EITHER, WT_REASON_KEEPS, 7, 15, false},
		{WT_CALL_EITHER, WT_REASON_KEEPS, 5, 12, false},
		{WT_CALL_WAIT, WT_REASON_NOT_BY_MORNING, 15, 30, true},
		{WT_CALL_WAIT, WT_REASON_NOT_BY_MORNING, 13, 30, false},
		{WT_CALL_WAIT, WT_REASON_NO_CAPACITY, 3, 30, true},
		{WT_CALL_WAIT, WT_REASON_NO_WOK, 3, 30, true},
		{WT_CALL_NOW, WT_REASON_READY_NOW, -1, 1, true},
		{WT_CALL_NOW, WT_REASON_READY_NOW, 1, 2, false},
		{WT_CALL_NOW, WT_REASON_READY_NOW, -2, -1, false},
		{WT_CALL_PAST, WT_REASON_PAST_NOW, -2, -1, true},
		{WT_CALL_PAST, WT_REASON_PAST_NOW, -2, 1, false},
	};
	for (size_t i = 0; i < sizeof row / sizeof *row; i++)
		assert_int_equal(wt_decide_right(&hearth, row[i].call, row[i].reason, SYNTHETIC_NOW,
						 now + row[i].ready_h * H, now + row[i].past_h * H),
				 row[i].right);
}

static void bad_input_changes_nothing(void **state)
{
	(void)state;
	struct wt_costs costs;
	struct wt_plan empty = {0};
	wt_costs_default(&costs);
	synthetic_fill(&store[0], &source, 7, 2, 8, 3 * H, 1, 1);
	loads[0] = store[0].load;
	memset(advice, 0x5a, sizeof advice);
	store[0].past_unix_s[3] = NAN;
	assert_int_equal(wt_decide_calls(&hearth, &costs, loads, 1, &empty, SYNTHETIC_NOW, advice),
			 WT_ERR_ARG);
	assert_int_equal(wt_decide_calls(&hearth, &costs, loads, 1, NULL, SYNTHETIC_NOW, advice),
			 WT_ERR_ARG);
	assert_int_equal(advice[0].load, 0x5a5a5a5a);
}

int main(void)
{
	const struct CMUnitTest tests[] = {
		cmocka_unit_test_setup(one_load, start),
		cmocka_unit_test_setup(unsure_is_said, start),
		cmocka_unit_test_setup(early_is_better_than_past, start),
		cmocka_unit_test_setup(woks_taken, start),
		cmocka_unit_test_setup(no_wok_and_too_late, start),
		cmocka_unit_test_setup(beyond_the_horizon, start),
		cmocka_unit_test_setup(right_and_wrong, start),
		cmocka_unit_test_setup(bad_input_changes_nothing, start),
	};
	return cmocka_run_group_tests(tests, NULL, NULL);
}
