/* SPDX-License-Identifier: GPL-3.0-or-later */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <cmocka.h>
#include <math.h>
#include <stdint.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>

#include "lib/wire/timefmt.h"

static void set_zone(const char *zone)
{
	setenv("TZ", zone, 1);
	tzset();
}

/* A zone with summer time, by rule rather than by name: clocks go forward on the last Sunday of
 * March at 02:00 and back on the last Sunday of October at 03:00 (POSIX TZ form). */
static const char summer_zone[] = "CET-1CEST,M3.5.0,M10.5.0/3";

static double station(const char *text, double near_unix_s)
{
	double out = (double)NAN;
	if (wt_timefmt_station(text, near_unix_s, &out))
		return -1;
	return out;
}

static void station_times_of_every_form(void **state)
{
	/* 2026-04-07T10:05:00Z is 1775556300 (checked with date(1) of GNU coreutils). */
	static const struct {
		const char *text;
		double unix_s;
	} cases[] = {
		{"1775556300", 1775556300},
		{"1775556300.25", 1775556300.25},
		{"1775556300250", 1775556300.25},
		{"2026-04-07T10:05:00Z", 1775556300},
		{"2026-04-07T10:05Z", 1775556300},
		{"2026-04-07t10:05:00z", 1775556300},
		{"2026-04-07T10:05:00.5Z", 1775556300.5},
		{"2026-04-07T18:05:00+08:00", 1775556300},
		{"2026-04-07T18:05:00+0800", 1775556300},
		{"2026-04-07T06:05:00-04:00", 1775556300},
		{"2026-04-07T15:35:00+05:30", 1775556300},
		{"2026-04-07T18:05:00", 1775556300},
		{"2026-04-07 18:05:00", 1775556300},
		{"2026-04-07 18:05", 1775556300},
		{"1970-01-01T00:00:00Z", 0},
		{"2000-02-29T00:00:00Z", 951782400},
		{"2199-12-31T23:59:59Z", 7258118399},
		{"2016-12-31T23:59:60Z", 1483228800},
	};

	(void)state;
	set_zone("CST-8");
	for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++)
		assert_true(station(cases[i].text, (double)NAN) == cases[i].unix_s);
}

/* RFC 3339, section 5.8, with the seconds that Python's datetime gives; a leap second is the second
 * after it, and 1937 lies before what is accepted. */
static void examples_of_rfc_3339_section_5_8(void **state)
{
	static const struct {
		const char *text;
		int64_t unix_ms;
	} cases[] = {{"1985-04-12T23:20:50.52Z", 482196050520},
		     {"1996-12-19T16:39:57-08:00", 851042397000},
		     {"1990-12-31T23:59:60Z", 662688000000},
		     {"1990-12-31T15:59:60-08:00", 662688000000}};
	int64_t out = -7;

	(void)state;
	set_zone("CST-8");
	for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
		assert_int_equal(wt_timefmt_rfc3339(cases[i].text, &out), WT_OK);
		assert_int_equal(out, cases[i].unix_ms);
	}
	out = -7;
	assert_int_not_equal(wt_timefmt_rfc3339("1937-01-01T12:00:27.87+00:20", &out), WT_OK);
	assert_int_equal(out, -7);
}

static void station_times_that_are_none(void **state)
{
	static const char *const malformed[] = {"",
						"today",
						"2026-04-07",
						"18:05",
						"2026-4-7 18:05:00",
						"2026/04/07 18:05:00",
						"2026-04-07T18:05:00 +0800",
						"2026-04-07T18:05:00+8",
						"2026-04-07T18:05:00Zx",
						"2026-04-07T18:05:",
						"2026-04-07T18:05:00.Z",
						"20260407T180500",
						"2026-04-07T18:05:00+08:00:00",
						"0x5",
						"nan",
						"2026-04-07T18:05:00.1234567890Z",
						"2026-04-07T18:05:00+24:00"};
	static const char *const impossible[] = {"2026-02-29T00:00:00Z",
						 "2100-02-29T00:00:00Z",
						 "2026-13-01T00:00:00Z",
						 "2026-00-10T00:00:00Z",
						 "2026-04-31T00:00:00Z",
						 "2026-04-07T24:00:00Z",
						 "2026-04-07T10:60:00Z",
						 "2026-04-07T10:05:61Z",
						 "1969-12-31T23:59:59Z",
						 "2200-01-01T00:00:00Z",
						 "-1",
						 "99999999999",
						 "1e300",
						 "1970-01-01T00:00:00+08:00"};

	(void)state;
	set_zone("UTC0");
	for (size_t i = 0; i < sizeof malformed / sizeof malformed[0]; i++) {
		double out = -7;
		assert_int_equal(wt_timefmt_station(malformed[i], (double)NAN, &out), WT_ERR_ARG);
		assert_true(out == -7);
	}
	for (size_t i = 0; i < sizeof impossible / sizeof impossible[0]; i++) {
		double out = -7;
		assert_int_equal(wt_timefmt_station(impossible[i], (double)NAN, &out),
				 WT_ERR_RANGE);
		assert_true(out == -7);
	}
}

static void an_hour_that_comes_twice_is_the_nearer_one(void **state)
{
	/* 2026-10-25: 02:30 CEST is 00:30Z, 02:30 CET is 01:30Z. */
	const double first = 1792888200, second = first + 3600;

	(void)state;
	set_zone(summer_zone);
	assert_true(station("2026-10-25T00:30:00Z", (double)NAN) == first);
	assert_true(station("2026-10-25 02:30:00", first + 20) == first);
	assert_true(station("2026-10-25 02:30:00", second + 20) == second);
	assert_true(station("2026-10-25 02:30:00", (double)NAN) == first);
	/* 2026-03-29: 02:30 does not exist. */
	assert_true(station("2026-03-29 02:30:00", (double)NAN) == -1);
}

static void journal_times(void **state)
{
	json_t *values = json_loads("[\"2026-04-07T10:05:00.125Z\", 1775556300.125, 1775556300,"
				    "\"2026-04-07T10:05:00\", true, -1, 1e11, null, \"1775556300\","
				    "\"2026-04-07T10:05Z\"]",
				    0, NULL);
	int64_t out = -7;

	(void)state;
	assert_int_equal(wt_timefmt_journal(json_array_get(values, 0), &out), WT_OK);
	assert_int_equal(out, 1775556300125);
	assert_int_equal(wt_timefmt_journal(json_array_get(values, 1), &out), WT_OK);
	assert_int_equal(out, 1775556300125);
	assert_int_equal(wt_timefmt_journal(json_array_get(values, 2), &out), WT_OK);
	assert_int_equal(out, 1775556300000);
	out = -7;
	for (size_t i = 3; i < json_array_size(values); i++)
		assert_int_not_equal(wt_timefmt_journal(json_array_get(values, i), &out), WT_OK);
	assert_int_not_equal(wt_timefmt_journal(NULL, &out), WT_OK);
	assert_int_equal(out, -7);
	json_decref(values);
}

static int64_t user(const char *text, int64_t now, enum wt_timefmt_sense sense)
{
	int64_t out = -7;
	return wt_timefmt_user(text, now, sense, &out) ? -1 : out;
}

static void times_as_people_write_them(void **state)
{
	const int64_t now = 1775556300; /* 2026-04-07 18:05 in +08:00 */

	(void)state;
	set_zone("CST-8");
	assert_int_equal(user("now", now, WT_TIMEFMT_PAST), now);
	assert_int_equal(user("-2h", now, WT_TIMEFMT_PAST), now - 7200);
	assert_int_equal(user("-1.5h", now, WT_TIMEFMT_PAST), now - 5400);
	assert_int_equal(user("-30min", now, WT_TIMEFMT_PAST), now - 1800);
	assert_int_equal(user("-30m", now, WT_TIMEFMT_PAST), now - 1800);
	assert_int_equal(user("-14d", now, WT_TIMEFMT_PAST), now - 14 * 86400);
	assert_int_equal(user("+3h", now, WT_TIMEFMT_NEXT), now + 10800);
	assert_int_equal(user("18:05", now, WT_TIMEFMT_PAST), now);
	assert_int_equal(user("18:05", now, WT_TIMEFMT_NEXT), now);
	assert_int_equal(user("18:06", now, WT_TIMEFMT_PAST), now + 60 - 86400);
	assert_int_equal(user("18:06", now, WT_TIMEFMT_NEXT), now + 60);
	assert_int_equal(user("06:00", now, WT_TIMEFMT_PAST), now - 5 * 60 - 12 * 3600);
	assert_int_equal(user("06:00", now, WT_TIMEFMT_NEXT), now - 5 * 60 + 12 * 3600);
	assert_int_equal(user("00:00", now, WT_TIMEFMT_PAST), now - 5 * 60 - 18 * 3600);
	assert_int_equal(user("1775556300", now, WT_TIMEFMT_PAST), now);
	assert_int_equal(user("2026-04-07T10:05:00Z", now, WT_TIMEFMT_PAST), now);
	assert_int_equal(user("2026-04-07 18:05", now, WT_TIMEFMT_PAST), now);
	assert_int_equal(user("2026-04-07", now, WT_TIMEFMT_PAST), now - 5 * 60 - 18 * 3600);
}

static void times_that_people_mistype(void **state)
{
	static const char *const cases[] = {"",         "yesterday",  "8:05",        "24:00",
					    "18:60",    "18.05",      "-2",          "-h",
					    "-2x",      "--2h",       "2h",          "18:05:00",
					    "-999999d", "2026-02-30", "2026-04-07T", "-2h "};
	(void)state;
	set_zone("CST-8");
	for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++)
		assert_int_equal(user(cases[i], 1775556300, WT_TIMEFMT_PAST), -1);
	assert_int_equal(user(NULL, 0, WT_TIMEFMT_PAST), -1);
}

static void an_hour_of_the_clock_in_the_nights_of_change(void **state)
{
	const int64_t first = 1792888200, second = first + 3600; /* 02:30 twice, 2026-10-25 */
	const int64_t spring_noon = 1774778400;                  /* 2026-03-29 12:00 CEST */

	(void)state;
	set_zone(summer_zone);
	assert_int_equal(user("02:30", second + 60, WT_TIMEFMT_PAST), second);
	assert_int_equal(user("02:30", second - 60, WT_TIMEFMT_PAST), first);
	assert_int_equal(user("02:30", first + 60, WT_TIMEFMT_NEXT), second);
	/* Not on that day: the day before, 02:30 CET. */
	assert_int_equal(user("02:30", spring_noon, WT_TIMEFMT_PAST),
			 spring_noon - 12 * 3600 + 3600 - 24 * 3600 + 9000);
}

static void written_times_read_back(void **state)
{
	static const int64_t cases[] = {
		0, 1, 999, 1775556300000, 1775556300125, 951782400000, 7258118399000};
	char text[WT_TIMEFMT_SIZE];
	int64_t back;

	(void)state;
	for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
		wt_timefmt_write(cases[i], text);
		assert_int_equal(wt_timefmt_rfc3339(text, &back), WT_OK);
		assert_int_equal(back, cases[i]);
	}
	wt_timefmt_write(1775556300125, text);
	assert_string_equal(text, "2026-04-07T10:05:00.125Z");
	wt_timefmt_write(-5, text);
	assert_string_equal(text, "0000-00-00T00:00:00Z");
}

int main(void)
{
	const struct CMUnitTest tests[] = {
		cmocka_unit_test(station_times_of_every_form),
		cmocka_unit_test(examples_of_rfc_3339_section_5_8),
		cmocka_unit_test(station_times_that_are_none),
		cmocka_unit_test(an_hour_that_comes_twice_is_the_nearer_one),
		cmocka_unit_test(journal_times),
		cmocka_unit_test(times_as_people_write_them),
		cmocka_unit_test(times_that_people_mistype),
		cmocka_unit_test(an_hour_of_the_clock_in_the_nights_of_change),
		cmocka_unit_test(written_times_read_back),
	};
	return cmocka_run_group_tests(tests, NULL, NULL);
}
