/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * What would settle it: which load, when, and when nothing would.
 */
#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <string.h>

#include <cmocka.h>

#include "decide/synthetic.h"
#include "lib/decide_shop.h"

#define H 3600.0
#define N 512
#define AT 5

static struct synthetic_load store[2];
static struct wt_decide_load loads[2];
static float loss[2][AT * N];
static int64_t at[AT];
static struct wt_settle_candidate candidate[2];
static struct wt_hearth hearth;
static struct wt_costs costs;
static struct wt_settle settle;
static bool found;

/* Loss runs straight from spreading at 08:00 to 20 % at ready, so a weighing tells the time. */
static void load(int k, double ready_h, double sd_h, double window_h)
{
	struct synthetic_random r = {(uint64_t)k + 5};
	synthetic_fill(&store[k], &r, k + 1, 2, N, ready_h * H, sd_h * H, window_h * H);
	loads[k] = store[k].load;
	for (int j = 0; j < AT; j++) {
		at[j] = SYNTHETIC_NOW + (int64_t)((j + 0.5) * H);
		for (size_t i = 0; i < N; i++) {
			double spread = SYNTHETIC_NOW - 8 * H;
			loss[k][(size_t)j * N + i] = (float)(20 * ((double)at[j] - spread) /
							     (store[k].ready_unix_s[i] - spread));
		}
	}
	candidate[k] = (struct wt_settle_candidate){.load = k + 1,
						    .n_at = AT,
						    .at_unix_s = at,
						    .loss_pct = loss[k],
						    .sd_loss_pct = 0.3};
}

static void ask(size_t n)
{
	assert_int_equal(wt_decide_settle(&hearth, &costs, loads, n, candidate, n, SYNTHETIC_NOW,
					  &settle, &found),
			 WT_OK);
}

static int start(void **state)
{
	(void)state;
	hearth = synthetic_hearth(1);
	wt_costs_default(&costs);
	memset(&settle, 0, sizeof settle);
	found = true;
	return 0;
}

static void the_doubtful_load_is_weighed(void **state)
{
	(void)state;
	load(0, 3, 0.3, 4);
	load(1, 6, 1.2, 6);
	ask(2);
	assert_true(found);
	assert_int_equal(settle.load, 2);
	assert_true(settle.saves > 0.05 && settle.saves < 1);
	assert_in_range(settle.at_unix_s, SYNTHETIC_NOW, hearth.last_start_unix_s - 600);
	assert_false(settle.by_hand);
}

static void nothing_to_settle(void **state)
{
	(void)state;
	load(0, 3, 0.3, 4);
	load(1, 12, 0.5, 6);
	settle.load = 99;
	ask(2);
	assert_false(found);
	assert_int_equal(settle.load, 99);
	ask(0);
	assert_false(found);
}

static void a_blind_observation_is_worth_nothing(void **state)
{
	(void)state;
	load(0, 6, 1.2, 6);
	ask(1);
	assert_true(found);
	double sharp = settle.saves;
	candidate[0].sd_loss_pct = 3;
	ask(1);
	assert_true(!found || settle.saves < sharp);
	candidate[0].sd_loss_pct = 1000;
	ask(1);
	assert_false(found);
}

static void times_gone_by_are_passed_over(void **state)
{
	(void)state;
	load(0, 6, 1.2, 6);
	for (int j = 0; j < AT; j++)
		at[j] = SYNTHETIC_NOW - (AT - j) * 600;
	ask(1);
	assert_false(found);
	/* After the last start it is too late to choose tonight. */
	for (int j = 0; j < AT; j++)
		at[j] = hearth.last_start_unix_s + j * 600;
	ask(1);
	assert_false(found);
}

static void no_wok_nothing_to_decide(void **state)
{
	(void)state;
	load(0, 6, 1.2, 6);
	hearth.woks = 0;
	ask(1);
	assert_false(found);
}

static void bad_input_is_refused(void **state)
{
	(void)state;
	load(0, 6, 1.2, 6);
	settle.load = 99;
	candidate[0].load = 5;
	assert_int_equal(wt_decide_settle(&hearth, &costs, loads, 1, candidate, 1, SYNTHETIC_NOW,
					  &settle, &found),
			 WT_ERR_ARG);
	candidate[0].load = 1;
	candidate[0].sd_loss_pct = NAN;
	assert_int_equal(wt_decide_settle(&hearth, &costs, loads, 1, candidate, 1, SYNTHETIC_NOW,
					  &settle, &found),
			 WT_ERR_ARG);
	assert_int_equal(settle.load, 99);
}

static void sorts_as_comparison_would(void **state)
{
	enum { COUNT = 1500 };
	static struct wt_valued items[COUNT], spare[COUNT];
	(void)state;
	for (uint32_t i = 0; i < COUNT; i++) {
		double value = (double)(i * 2654435761u % 97) - 40.0;
		value = i % 2 ? value : 1.7e9 + value;
		value = i % 50 == 3 ? (double)INFINITY : i % 50 == 7 ? -0.0 : value;
		items[i] = (struct wt_valued){.value = value, .member = i, .half = i % 2 == 1};
	}
	wt_decide_sort(items, spare, COUNT);
	for (uint32_t i = 1; i < COUNT; i++) {
		assert_true(items[i].value >= items[i - 1].value);
		if (!(items[i].value > items[i - 1].value))
			assert_true(items[i].member > items[i - 1].member);
		assert_true(items[i].half == (items[i].member % 2 == 1));
	}
	wt_decide_sort(items, spare, 0);
}

int main(void)
{
	const struct CMUnitTest tests[] = {
		cmocka_unit_test(sorts_as_comparison_would),
		cmocka_unit_test_setup(the_doubtful_load_is_weighed, start),
		cmocka_unit_test_setup(nothing_to_settle, start),
		cmocka_unit_test_setup(a_blind_observation_is_worth_nothing, start),
		cmocka_unit_test_setup(times_gone_by_are_passed_over, start),
		cmocka_unit_test_setup(no_wok_nothing_to_decide, start),
		cmocka_unit_test_setup(bad_input_is_refused, start),
	};
	return cmocka_run_group_tests(tests, NULL, NULL);
}
