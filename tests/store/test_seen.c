/* SPDX-License-Identifier: GPL-3.0-or-later */
#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdlib.h>

#include <cmocka.h>

#include "daemon/seen.h"

static struct wt_reading reading(size_t station, int64_t at_ms, double temp_c, double rh_pct)
{
	return (struct wt_reading){.station = station,
				   .at_unix_ms = at_ms,
				   .received_unix_ms = at_ms + 700,
				   .temp_c = temp_c,
				   .rh_pct = rh_pct};
}

static bool add(struct wt_seen *seen, size_t station, int64_t at_ms, double temp_c, double rh_pct)
{
	struct wt_reading r = reading(station, at_ms, temp_c, rh_pct);
	return wt_seen_add(seen, &r);
}

static void the_same_is_known_again(void **state)
{
	struct wt_seen *seen = wt_seen_new(64);
	(void)state;
	assert_true(add(seen, 0, 1000, 20.0, 60.0));
	assert_false(add(seen, 0, 1000, 20.0, 60.0));
	assert_true(add(seen, 1, 1000, 20.0, 60.0));
	assert_true(add(seen, 0, 1001, 20.0, 60.0));
	assert_true(add(seen, 0, 1000, 20.5, 60.0));
	assert_true(add(seen, 0, 1000, 20.0, 60.5));
	assert_true(add(seen, 0, 1000, NAN, 60.0));
	assert_false(add(seen, 0, 1000, NAN, 60.0));
	wt_seen_free(&seen);
	assert_null(seen);
}

static void without_a_time_of_its_own_all_are_new(void **state)
{
	struct wt_seen *seen = wt_seen_new(64);
	struct wt_reading r = reading(0, 1000, 20.0, 60.0);
	(void)state;
	r.received_unix_ms = r.at_unix_ms;
	assert_true(wt_seen_add(seen, &r));
	assert_true(wt_seen_add(seen, &r));
	wt_seen_free(&seen);
}

/* Against the plain rule: known are the newest `limit` of the different ones. */
static void the_oldest_are_forgotten_in_turn(void **state)
{
	enum { LIMIT = 2048, N = 20000 };
	struct wt_seen *seen = wt_seen_new(LIMIT);
	(void)state;
	for (int i = 0; i < N; i++) {
		assert_true(add(seen, 0, i * 60000, 20.0, 60.0));
		/* A sample of those that are to be known, the oldest of them too. */
		for (int back = 0; back < LIMIT; back += back < 4 ? 1 : 511)
			if (back <= i)
				assert_false(add(seen, 0, (i - back) * 60000, 20.0, 60.0));
		if (i >= LIMIT - 1)
			assert_false(add(seen, 0, (i - LIMIT + 1) * 60000, 20.0, 60.0));
	}
	/* The one before the oldest is new again. */
	assert_true(add(seen, 0, (N - LIMIT - 1) * 60000, 20.0, 60.0));
	wt_seen_free(&seen);
}

int main(void)
{
	const struct CMUnitTest tests[] = {
		cmocka_unit_test(the_same_is_known_again),
		cmocka_unit_test(without_a_time_of_its_own_all_are_new),
		cmocka_unit_test(the_oldest_are_forgotten_in_turn),
	};
	return cmocka_run_group_tests(tests, NULL, NULL);
}
