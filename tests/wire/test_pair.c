/* SPDX-License-Identifier: GPL-3.0-or-later */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <cmocka.h>
#include <math.h>

#include "lib/wire/pair.h"

static const int64_t start_unix_ms = 1775556300000;
static struct wt_pair pair;
static struct wt_pair_reading got;

/* One message at a number of seconds after the start; NAN for a value that it lacks. */
static bool send(double at_s, double temp_c, double rh_pct, unsigned flags)
{
	const struct wt_payload_values values = {.temp_c = temp_c,
						 .rh_pct = rh_pct,
						 .battery = (double)NAN,
						 .source_unix_s = (double)NAN,
						 .flags = flags};
	return wt_pair_add(&pair, &values, start_unix_ms + (int64_t)(at_s * 1000), &got);
}

static int fresh(void **state)
{
	(void)state;
	wt_pair_init(&pair, 60);
	return 0;
}

static const double none = (double)NAN;

static void both_in_one_message(void **state)
{
	(void)state;
	assert_true(send(0, 20.5, 63, 0));
	assert_int_equal(got.at_unix_ms, start_unix_ms);
	assert_true(got.temp_c == 20.5 && got.rh_pct == 63 && got.flags == 0);
	assert_true(send(60, 20.5, 63, 0)); /* the same values, a minute on: a new reading */
}

static void apart_in_two_messages(void **state)
{
	(void)state;
	assert_false(send(0, 20.5, none, 0));
	assert_true(send(0.2, none, 63, 0));
	assert_int_equal(got.at_unix_ms, start_unix_ms + 200);
	/* The old humidity is not used again with the next temperature. */
	assert_false(send(60, 20.6, none, 0));
	assert_true(send(60.2, none, 64, 0));
	assert_true(got.temp_c == 20.6 && got.rh_pct == 64);
}

static void alternating_messages(void **state)
{
	(void)state;
	assert_false(send(0, 20.5, none, 0));
	assert_true(send(60, none, 63, 0));
	assert_false(send(120, 20.7, none, 0));
	assert_true(send(180, none, 64, 0));
	assert_true(got.temp_c == 20.7 && got.rh_pct == 64);
}

static void too_far_apart_is_no_reading(void **state)
{
	(void)state;
	assert_false(send(0, 20.5, none, 0));
	assert_false(send(121, none, 63, 0));
	/* ... and the humidity waits for a temperature within its window. */
	assert_true(send(240, 20.6, none, 0));
	assert_true(got.temp_c == 20.6 && got.rh_pct == 63);
	wt_pair_init(&pair, 600);
	assert_false(send(0, 20.5, none, 0));
	assert_true(send(300, none, 63, 0));
}

static void repeats_collapse(void **state)
{
	(void)state;
	assert_true(send(0, 20.5, 63, 0));
	assert_false(send(0.5, 20.5, 63, 0));
	assert_false(send(2, 20.5, 63, 0));
	assert_true(send(2.1, 20.5, 63, 0));
	/* Another value in the same second is no repeat: the first carried an old one. */
	assert_true(send(60, 20.5, 63, 0));
	assert_true(send(60.3, 20.5, 64, 0));
	fresh(NULL);
	assert_false(send(0, 20.5, none, 0));
	assert_true(send(0.1, none, 63, 0));
	assert_false(send(0.4, 20.5, none, 0));
	assert_false(send(0.5, none, 63, 0));
	assert_false(send(60, none, 63, 0));
	assert_true(send(60, 20.5, none, 0));
}

static void retained_values_never_make_a_reading(void **state)
{
	(void)state;
	assert_false(send(0, 20.5, 63, WT_FLAG_RETAINED));
	assert_false(send(1, 20.5, none, WT_FLAG_RETAINED));
	assert_false(send(2, none, 63, 0));
	assert_true(send(3, 20.5, none, 0));
}

static void the_station_s_own_time_counts(void **state)
{
	struct wt_payload_values values = {
		.temp_c = 20.5, .rh_pct = 63, .source_unix_s = (double)start_unix_ms / 1000 - 30.5};

	(void)state;
	assert_true(wt_pair_add(&pair, &values, start_unix_ms, &got));
	assert_int_equal(got.at_unix_ms, start_unix_ms - 30500);
}

static void flags_of_the_halves_are_joined(void **state)
{
	(void)state;
	assert_false(send(0, 20.5, none, WT_FLAG_TIME_RECEIVED));
	assert_true(send(1, none, 100, WT_FLAG_RH_CLAMPED));
	assert_int_equal(got.flags, WT_FLAG_TIME_RECEIVED | WT_FLAG_RH_CLAMPED | WT_FLAG_SATURATED);
	assert_true(send(60, 20.5, 100, 0));
	assert_int_equal(got.flags, WT_FLAG_SATURATED);
}

static void a_jump_is_flagged_and_kept(void **state)
{
	(void)state;
	assert_true(send(0, 20, 63, 0));
	assert_true(send(60, 25.5, 63, 0)); /* 5 + 0.5 a minute */
	assert_int_equal(got.flags, 0);
	assert_true(send(120, 31.1, 63, 0));
	assert_int_equal(got.flags, WT_FLAG_JUMP);
	assert_true(got.temp_c == 31.1);
	assert_true(send(180, 31, 39, 0));
	assert_int_equal(got.flags, WT_FLAG_JUMP);
	/* After two hours of silence much may have happened. */
	assert_true(send(180 + 7200, 20, 90, 0));
	assert_int_equal(got.flags, 0);
}

static void a_frozen_sensor_is_flagged_after_three_hours(void **state)
{
	(void)state;
	for (int minute = 0; minute < 180; minute++) {
		assert_true(send(60.0 * minute, 20.5, 63, 0));
		assert_int_equal(got.flags, 0);
	}
	assert_true(send(60.0 * 180, 20.5, 63, 0));
	assert_int_equal(got.flags, WT_FLAG_STUCK);
	assert_true(send(60.0 * 181, 20.6, 63, 0));
	assert_int_equal(got.flags, 0);
	/* A slow station needs twelve readings. */
	wt_pair_init(&pair, 3600);
	for (int hour = 0; hour < 11; hour++) {
		assert_true(send(3600.0 * hour, 20.5, 63, 0));
		assert_int_equal(got.flags, 0);
	}
	assert_true(send(3600.0 * 11, 20.5, 63, 0));
	assert_int_equal(got.flags, WT_FLAG_STUCK);
}

int main(void)
{
	const struct CMUnitTest tests[] = {
		cmocka_unit_test_setup(both_in_one_message, fresh),
		cmocka_unit_test_setup(apart_in_two_messages, fresh),
		cmocka_unit_test_setup(alternating_messages, fresh),
		cmocka_unit_test_setup(too_far_apart_is_no_reading, fresh),
		cmocka_unit_test_setup(repeats_collapse, fresh),
		cmocka_unit_test_setup(retained_values_never_make_a_reading, fresh),
		cmocka_unit_test_setup(the_station_s_own_time_counts, fresh),
		cmocka_unit_test_setup(flags_of_the_halves_are_joined, fresh),
		cmocka_unit_test_setup(a_jump_is_flagged_and_kept, fresh),
		cmocka_unit_test_setup(a_frozen_sensor_is_flagged_after_three_hours, fresh),
	};
	return cmocka_run_group_tests(tests, NULL, NULL);
}
