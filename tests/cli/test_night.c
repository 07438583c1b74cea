/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * What the hours of the fire are called at each hour of the day.
 */
#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <string.h>

#include <cmocka.h>

#include "cli/night.h"
#include "cli/when.h"

#define DAY0 1775404800.0 /* 2026-04-06 00:00 at UTC+8 */
#define H 3600.0

static const char *word(bool morning, double now_h, double first_h, double last_h)
{
	struct wt_night night = {2, DAY0 + first_h * H, DAY0 + last_h * H};

	return wt_night_word(night, morning, DAY0 + now_h * H);
}

static void the_evening_is_named_by_its_hours(void **state)
{
	(void)state;
	assert_string_equal(word(false, 16, 17, 22), "tonight");
	assert_string_equal(word(false, 6, 20, 22), "tonight");
	assert_string_equal(word(false, 6, 6.5, 9), "this morning");
	assert_string_equal(word(false, 6, 6.5, 15), "today");
	assert_string_equal(word(false, 6, 6.5, 24.5), "today");
	assert_string_equal(word(false, 13, 14, 15), "today");
	/* After midnight it is still the night before. */
	assert_string_equal(word(false, 23.5, 24.2, 25), "tonight");
	assert_string_equal(word(false, 24.1, 24.2, 25), "tonight");
}

static void the_morning_is_named_by_its_day(void **state)
{
	(void)state;
	assert_string_equal(word(true, 16, 30, 33), "morning");
	assert_string_equal(word(true, 16, 30, 37), "tomorrow");
	assert_string_equal(word(true, 16, 36.5, 38), "tomorrow");
	/* At 06:00 "morning" would be taken for this one. */
	assert_string_equal(word(true, 6, 30, 33), "tomorrow");
	/* At 02:00 it is the one to come. */
	assert_string_equal(word(true, 26, 30, 33), "this morning");
	assert_string_equal(word(true, 30.2, 30.5, 33), "this morning");
	assert_string_equal(word(true, 26, 37, 38), "today");
}

static void without_a_start_the_clock_decides(void **state)
{
	const struct wt_night none = {0, NAN, NAN};

	(void)state;
	assert_string_equal(wt_night_word(none, false, DAY0 + 20 * H), "tonight");
	assert_string_equal(wt_night_word(none, false, DAY0 + 2 * H), "tonight");
	assert_string_equal(wt_night_word(none, false, DAY0 + 9 * H), "today");
	assert_string_equal(wt_night_word(none, true, DAY0 + 20 * H), "morning");
	assert_string_equal(wt_night_word(none, true, DAY0 + 9 * H), "tomorrow");
	assert_string_equal(wt_night_word(none, true, NAN), "tomorrow");
}

/* What the call column says at an hour; first and last start in hours of the day, NAN when no
 * firing is planned. */
static void check_call(const char *call, double now_h, double first_h, double last_h,
		       const char *expected)
{
	json_t *load = json_pack("{s:s?}", "call", call);
	const char *word;

	assert_non_null(load);
	if (isfinite(first_h))
		json_object_set_new(load, "fire_unix_s",
				    json_pack("[f,f]", DAY0 + first_h * H, DAY0 + last_h * H));
	word = wt_night_call(load, DAY0 + now_h * H);
	if (expected)
		assert_string_equal(word, expected);
	else
		assert_null(word);
	json_decref(load);
}

static void a_call_alone_goes_by_the_clock(void **state)
{
	(void)state;
	check_call("tonight", 6, NAN, NAN, "today");
	check_call("morning", 6, NAN, NAN, "tomorrow");
	check_call("wait", 6, NAN, NAN, "wait");
	check_call("tonight", 20, NAN, NAN, "tonight");
	check_call("morning", 20, NAN, NAN, "morning");
	/* At 02:00 the morning to come is today's, in Chinese no more "tomorrow's". */
	check_call("morning", 2, NAN, NAN, "today");
	check_call(NULL, 6, NAN, NAN, NULL);
}

/* All screens say it by the same firings: in the afternoon a fire at 16:51 is today's. */
static void a_call_goes_by_its_firings(void **state)
{
	(void)state;
	check_call("tonight", 16, 16.85, 17.3, "today");
	check_call("tonight", 16, 19, 22, "tonight");
	check_call("morning", 16, 30, 33, "morning");
	check_call("morning", 16, 34.5, 37, "tomorrow");
	check_call("morning", 25, 32, 33, "today");
	check_call("now", 16, 16, 16, "now");
}

static void firings_are_picked_by_load_and_side(void **state)
{
	json_t *list = json_loads(
		"[{\"load\":1,\"when\":\"tonight\",\"start_unix_s\":100},"
		"{\"load\":2,\"when\":\"tonight\",\"start_unix_s\":50},"
		"{\"load\":1,\"when\":\"tonight\",\"start_unix_s\":300},"
		"{\"load\":1,\"when\":\"morning\",\"start_unix_s\":900},"
		"{\"load\":1,\"when\":\"tonight\",\"start_unix_s\":null},{\"load\":1},7]",
		0, NULL);

	(void)state;
	assert_non_null(list);
	struct wt_night night = wt_night_of(list, "tonight", 1);
	assert_int_equal(night.n, 2);
	assert_true(night.first_unix_s == 100 && night.last_unix_s == 300);
	night = wt_night_of(list, "tonight", 0);
	assert_int_equal(night.n, 3);
	assert_true(night.first_unix_s == 50 && night.last_unix_s == 300);
	night = wt_night_of(list, "morning", 2);
	assert_int_equal(night.n, 0);
	assert_true(isnan(night.first_unix_s));
	assert_int_equal(wt_night_of(NULL, "tonight", 0).n, 0);
	json_decref(list);
}

int main(void)
{
	const struct CMUnitTest tests[] = {
		cmocka_unit_test(the_evening_is_named_by_its_hours),
		cmocka_unit_test(the_morning_is_named_by_its_day),
		cmocka_unit_test(without_a_start_the_clock_decides),
		cmocka_unit_test(a_call_alone_goes_by_the_clock),
		cmocka_unit_test(a_call_goes_by_its_firings),
		cmocka_unit_test(firings_are_picked_by_load_and_side),
	};

	wt_when_zone("Asia/Shanghai");
	return cmocka_run_group_tests(tests, NULL, NULL);
}
