/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * How often the log hears of the broker, on a clock that is an argument; and what
 * refusals mean.
 */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>
#include <string.h>

#include <cmocka.h>

#include "daemon/feed_inner.h"

enum { LINES_AN_HOUR = 20, DAY_S = 86400, HOUR_S = 3600 };

/* A line wanted every period_s for two days: the most that any hour holds, and how many in all. */
static int most_in_an_hour(double period_s, int *all)
{
	static double said_at_s[4 * DAY_S];
	struct wt_feed_voice voice = {0};
	unsigned unsaid = 0;
	int n = 0, most = 0;

	for (double now_s = 12345.0; now_s < 12345.0 + 2 * DAY_S; now_s += period_s)
		if (wt_feed_may_say(&voice, now_s, &unsaid))
			said_at_s[n++] = now_s;
	for (int i = 0, first = 0; i < n; i++) {
		while (said_at_s[i] - said_at_s[first] >= HOUR_S)
			first++;
		if (i - first + 1 > most)
			most = i - first + 1;
	}
	*all = n;
	return most;
}

static void a_broker_that_comes_and_goes_does_not_fill_the_log(void **state)
{
	static const double periods_s[] = {0.5, 1, 15, 30, 60, 200, 359, 361};
	int all;

	(void)state;
	for (size_t i = 0; i < sizeof periods_s / sizeof *periods_s; i++) {
		int most = most_in_an_hour(periods_s[i], &all);

		print_message("a line wanted every %.1f s: at most %d in an hour\n", periods_s[i],
			      most);
		assert_in_range(most, 1, LINES_AN_HOUR - 1);
		/* It does not fall silent for good either. */
		assert_true(all > 2 * 24 * 8);
	}
}

static void a_rare_line_is_always_said(void **state)
{
	struct wt_feed_voice voice = {0};
	unsigned unsaid = 7;

	(void)state;
	for (int i = 0; i < 1000; i++) {
		assert_true(wt_feed_may_say(&voice, 5.0 + 400.0 * i, &unsaid));
		assert_int_equal(unsaid, 0);
	}
}

static void what_was_not_said_is_counted(void **state)
{
	struct wt_feed_voice voice = {0};
	unsigned unsaid = 0, said = 0;

	(void)state;
	for (int i = 0; i < 100; i++)
		said += wt_feed_may_say(&voice, 1000.0 + i, &unsaid);
	assert_int_equal(said, 8);
	assert_true(wt_feed_may_say(&voice, 5000.0, &unsaid));
	assert_int_equal(unsaid, 92);
	assert_true(wt_feed_may_say(&voice, 5001.0, &unsaid));
	assert_int_equal(unsaid, 0);
}

/* MQTT 3.1.1 (OASIS 2014), table 3.1; MQTT 5.0 (OASIS 2019), sections 3.2.2.2 and 3.14.2.1: codes
 * as open libraries list them, section numbers from memory. */
static void refusal_text(const struct wt_feed *feed, int code, bool version5, char *out,
			 size_t size)
{
	char says[WT_SAYS_SIZE];

	wt_feed_refusal_says(feed, code, version5, says);
	wt_says_text(says, out, size);
}

static void refusals_have_words(void **state)
{
	static char uri[] = "tcp://broker:1883";
	struct wt_feed feed = {.uri = uri};
	char text[300];

	(void)state;
	for (int code = 1; code <= 5; code++) {
		refusal_text(&feed, code, false, text, sizeof text);
		assert_non_null(strstr(text, "tcp://broker:1883 refuses us: "));
	}
	for (int code = 0x80; code <= 0xff; code++) {
		refusal_text(&feed, code, true, text, sizeof text);
		assert_non_null(strstr(text, "refuses us"));
	}
	refusal_text(&feed, 5, false, text, sizeof text);
	assert_non_null(strstr(text, "not authorised"));
	refusal_text(&feed, 0x8e, true, text, sizeof text);
	assert_non_null(strstr(text, "client_id"));
	refusal_text(&feed, 0x97, true, text, sizeof text);
	assert_non_null(strstr(text, "code 0x97"));
}

int main(void)
{
	const struct CMUnitTest tests[] = {
		cmocka_unit_test(a_broker_that_comes_and_goes_does_not_fill_the_log),
		cmocka_unit_test(a_rare_line_is_always_said),
		cmocka_unit_test(what_was_not_said_is_counted),
		cmocka_unit_test(refusals_have_words),
	};

	return cmocka_run_group_tests(tests, NULL, NULL);
}
