/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * The room's air: readings in, past and paths out.  All air here is generated.
 */
#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdlib.h>
#include <string.h>

#include <cmocka.h>

#include "lib/air.h"
#include "lib/room.h"

#define T0 1750000200 /* a multiple of 300 */
#define HOUR 3600
#define DAY 86400

static double day_temp_c(int64_t at)
{
	return 20.0 + 3.0 * sin(2.0 * M_PI * (double)(at % DAY - 9 * HOUR) / DAY);
}

static struct wt_room_series *series_of(int64_t from, int64_t to, int64_t step)
{
	struct wt_room_series *series = NULL;
	assert_int_equal(wt_room_series_new(0, &series), WT_OK);
	for (int64_t at = from; at <= to; at += step)
		assert_int_equal(wt_room_series_add(series, at, day_temp_c(at), 70.0, 1.0), WT_OK);
	return series;
}

static void bad_readings_are_refused_and_change_nothing(void **state)
{
	(void)state;
	struct wt_room_series *series = series_of(T0, T0, 1);
	struct wt_room_now before;
	struct wt_room_now after;
	assert_int_equal(wt_room_latest(series, T0, &before), WT_OK);
	assert_int_equal(wt_room_series_add(series, T0 + 60, NAN, 50, 1), WT_ERR_ARG);
	assert_int_equal(wt_room_series_add(series, T0 + 60, 20, INFINITY, 1), WT_ERR_ARG);
	assert_int_equal(wt_room_series_add(series, T0 + 60, 20, 50, 0), WT_ERR_ARG);
	assert_int_equal(wt_room_series_add(series, T0 + 60, 85, 50, 1), WT_ERR_RANGE);
	assert_int_equal(wt_room_series_add(series, T0 + 60, 20, -1, 1), WT_ERR_RANGE);
	assert_int_equal(wt_room_series_add(series, T0 - 41 * DAY, 20, 50, 1), WT_ERR_RANGE);
	assert_int_equal(wt_room_latest(series, T0 + 300, &after), WT_OK);
	assert_memory_equal(&before, &after, sizeof before);
	wt_room_series_free(&series);
	assert_null(series);
}

static void the_order_of_readings_does_not_matter(void **state)
{
	(void)state;
	struct wt_room_series *a = NULL;
	struct wt_room_series *b = NULL;
	assert_int_equal(wt_room_series_new(3600, &a), WT_OK);
	assert_int_equal(wt_room_series_new(3600, &b), WT_OK);
	enum { N = 2000 };
	for (int i = 0; i < N; i++) {
		int k = (i * 7) % N;
		assert_int_equal(wt_room_series_add(a, T0 + 97 * i, 20.0 + sin(i), 60.1, 0.7),
				 WT_OK);
		assert_int_equal(wt_room_series_add(b, T0 + 97 * k, 20.0 + sin(k), 60.1, 0.7),
				 WT_OK);
	}
	static float at[1000];
	static float ae[1000];
	static float bt[1000];
	static float be[1000];
	size_t n;
	double share;
	assert_int_equal(wt_room_fill(a, T0, T0 + 97 * N, 1000, at, ae, &n, &share), WT_OK);
	assert_int_equal(wt_room_fill(b, T0, T0 + 97 * N, 1000, bt, be, &n, &share), WT_OK);
	assert_memory_equal(at, bt, n * sizeof at[0]);
	assert_memory_equal(ae, be, n * sizeof ae[0]);
	wt_room_series_free(&a);
	wt_room_series_free(&b);
}

static void the_latest_reading_is_not_from_the_future(void **state)
{
	(void)state;
	struct wt_room_series *series = series_of(T0, T0 + HOUR, 60);
	struct wt_room_now now;
	assert_int_equal(wt_room_latest(series, T0 - 1, &now), WT_ERR_NODATA);
	assert_int_equal(wt_room_latest(series, T0 + 1800, &now), WT_OK);
	assert_true(now.at_unix_s <= T0 + 1800);
	assert_true(now.at_unix_s > T0 + 1500 - 300);
	assert_float_equal(now.rh_pct, 70.0, 1e-4);
	assert_int_equal(wt_room_latest(series, T0 + DAY, &now), WT_OK);
	assert_int_equal(now.at_unix_s, T0 + HOUR);
	wt_room_series_free(&series);
}

static void gaps_are_filled_with_lines_and_the_daily_shape(void **state)
{
	(void)state;
	struct wt_room_series *series = NULL;
	assert_int_equal(wt_room_series_new(0, &series), WT_OK);
	for (int64_t at = T0; at <= T0 + 6 * DAY; at += 600) {
		int64_t into = at - (T0 + 4 * DAY);
		if ((into > 0 && into < 12 * HOUR) || (into > 20 * HOUR && into < 22 * HOUR))
			continue;
		assert_int_equal(wt_room_series_add(series, at, day_temp_c(at), 70.0, 1.0), WT_OK);
	}
	static float t[4000];
	static float e[4000];
	size_t n;
	double share;
	assert_int_equal(wt_room_fill(series, T0 + 4 * DAY, T0 + 5 * DAY, 4000, t, e, &n, &share),
			 WT_OK);
	assert_int_equal(n, 289);
	for (size_t i = 0; i < n; i++)
		assert_true(fabs((double)t[i] - day_temp_c(T0 + 4 * DAY + (int64_t)i * 300)) < 0.4);
	assert_true(share > 0.40 && share < 0.47);
	/* Before the first reading: its value. */
	assert_int_equal(wt_room_fill(series, T0 - HOUR, T0, 4000, t, e, &n, &share), WT_OK);
	assert_int_equal(n, 13);
	assert_true(fabsf(t[0] - t[12]) < 1e-6f);
	assert_int_equal(wt_room_fill(series, T0, T0 + DAY, 10, t, e, &n, &share), WT_ERR_RANGE);
	wt_room_series_free(&series);
}

static void a_shower_and_an_opened_door_are_seen(void **state)
{
	(void)state;
	struct wt_room_series *series = series_of(T0, T0 + 3 * DAY, 600);
	struct wt_room_event event;
	int64_t end = T0 + 3 * DAY;
	for (int64_t at = T0 + DAY; at <= end; at += 1800) {
		assert_int_equal(wt_room_recent_event(series, at, &event), WT_OK);
		assert_int_equal(event.kind, WT_ROOM_EVENT_NONE);
	}
	for (int64_t at = end + 600; at <= end + 3 * 600; at += 600)
		assert_int_equal(wt_room_series_add(series, at, day_temp_c(end) - 3.0, 92.0, 1.0),
				 WT_OK);
	assert_int_equal(wt_room_recent_event(series, end + 1800, &event), WT_OK);
	assert_int_equal(event.kind, WT_ROOM_EVENT_WETTER);
	assert_true(event.vpd_after_pa < event.vpd_before_pa);
	assert_in_range(event.since_unix_s, end - 1200, end + 600);
	/* And back again within the hour: no event is left standing. */
	assert_int_equal(wt_room_series_add(series, end + 4 * 600, day_temp_c(end), 70.0, 1.0),
			 WT_OK);
	assert_int_equal(wt_room_recent_event(series, end + 2400, &event), WT_OK);
	assert_int_not_equal(event.kind, WT_ROOM_EVENT_WETTER);
	wt_room_series_free(&series);
}

#define PATHS 256
#define STEPS 433

static void paths_are_sound_whatever_the_history(void **state)
{
	(void)state;
	static float t[STEPS * PATHS];
	static float e[STEPS * PATHS];
	static const int64_t history_s[] = {0, 1800, 6 * HOUR, 2 * DAY, 20 * DAY};
	static const int64_t step_s[] = {60, 900, 3600};
	for (size_t h = 0; h < sizeof history_s / sizeof history_s[0]; h++) {
		for (size_t s = 0; s < sizeof step_s / sizeof step_s[0]; s++) {
			int64_t now = T0 + history_s[h];
			struct wt_room_series *series = series_of(T0, now, step_s[s]);
			struct wt_room_fit *fit = NULL;
			assert_int_equal(wt_room_fit_new(series, now, &fit), WT_OK);
			assert_int_equal(wt_room_draw(series, fit, now, 7, PATHS, STEPS, t, e),
					 WT_OK);
			for (size_t i = 0; i < (size_t)STEPS * PATHS; i++) {
				assert_true(isfinite(t[i]) && isfinite(e[i]) && e[i] > 0.0f);
				double most =
					611.2 * exp(17.62 * (double)t[i] / (243.12 + (double)t[i]));
				assert_true((double)e[i] <= 1.003 * most);
			}
			wt_room_fit_free(&fit);
			wt_room_series_free(&series);
		}
	}
}

static void a_draw_is_a_function_of_series_now_and_seed(void **state)
{
	(void)state;
	static float t[3][STEPS * PATHS];
	static float e[3][STEPS * PATHS];
	int64_t now = T0 + 5 * DAY + 120;
	struct wt_room_series *early = series_of(T0, now, 600);
	struct wt_room_series *late = series_of(T0, now + DAY, 600);
	struct wt_room_series *copy = NULL;
	assert_int_equal(wt_room_series_copy(early, &copy), WT_OK);
	struct wt_room_series *all[3] = {early, late, copy};
	for (size_t k = 0; k < 3; k++) {
		struct wt_room_fit *fit = NULL;
		assert_int_equal(wt_room_fit_new(all[k], now, &fit), WT_OK);
		assert_int_equal(wt_room_draw(all[k], fit, now, 9, PATHS, STEPS, t[k], e[k]),
				 WT_OK);
		wt_room_fit_free(&fit);
	}
	/* Later readings change nothing; a copy is as good. */
	assert_memory_equal(t[0], t[1], sizeof t[0]);
	assert_memory_equal(e[0], e[1], sizeof e[0]);
	assert_memory_equal(t[0], t[2], sizeof t[0]);
	assert_memory_equal(e[0], e[2], sizeof e[0]);
	struct wt_room_fit *fit = NULL;
	assert_int_equal(wt_room_fit_new(early, now, &fit), WT_OK);
	assert_int_equal(wt_room_draw(early, fit, now, 10, PATHS, STEPS, t[1], e[1]), WT_OK);
	assert_memory_not_equal(t[0], t[1], sizeof t[0]);
	assert_int_equal(wt_room_draw(early, fit, now + 13 * HOUR, 9, PATHS, STEPS, t[1], e[1]),
			 WT_ERR_NODATA);
	wt_room_fit_free(&fit);
	for (size_t k = 0; k < 3; k++)
		wt_room_series_free(&all[k]);
}

static void a_bad_outlook_is_refused_whole(void **state)
{
	(void)state;
	struct wt_room_series *series = series_of(T0, T0 + 3 * DAY, 900);
	int64_t now = T0 + 3 * DAY;
	int64_t at[3] = {now, now + HOUR, now + 2 * HOUR};
	double t[3] = {15, 16, 17};
	double h[3] = {80, 70, 60};
	struct wt_outlook good = {now, 3, at, t, h};
	struct wt_outlook bad = good;
	bad.n = 0;
	assert_int_equal(wt_room_series_add_outlook(series, &bad), WT_ERR_ARG);
	bad = good;
	bad.temp_c = NULL;
	assert_int_equal(wt_room_series_add_outlook(series, &bad), WT_ERR_ARG);
	t[1] = NAN;
	assert_int_equal(wt_room_series_add_outlook(series, &good), WT_ERR_ARG);
	t[1] = 288.0; /* kelvin */
	assert_int_equal(wt_room_series_add_outlook(series, &good), WT_ERR_RANGE);
	t[1] = 16.0;
	h[2] = -1.0;
	assert_int_equal(wt_room_series_add_outlook(series, &good), WT_ERR_RANGE);
	h[2] = 60.0;
	at[2] = at[1];
	assert_int_equal(wt_room_series_add_outlook(series, &good), WT_ERR_ARG);
	at[2] = now + 2 * HOUR;
	assert_int_equal(wt_room_series_add_outlook(series, &good), WT_OK);
	/* A single outlook has proved nothing yet. */
	struct wt_room_fit *fit = NULL;
	assert_int_equal(wt_room_fit_new(series, now, &fit), WT_OK);
	assert_float_equal(wt_room_outlook_weight(fit), 0.0, 0.0);
	wt_room_fit_free(&fit);
	wt_room_series_free(&series);
}

static double spread_at(const float *value, size_t step)
{
	double mean = 0.0;
	double square = 0.0;
	for (size_t i = 0; i < PATHS; i++)
		mean += (double)value[step * PATHS + i] / PATHS;
	for (size_t i = 0; i < PATHS; i++)
		square += pow((double)value[step * PATHS + i] - mean, 2.0) / PATHS;
	return sqrt(square);
}

static void paths_start_at_the_reading_and_spread_smoothly(void **state)
{
	(void)state;
	static float t[STEPS * PATHS];
	static float e[STEPS * PATHS];
	int64_t now = T0 + 20 * DAY;
	struct wt_room_series *series = NULL;
	struct wt_room_fit *fit = NULL;
	unsigned random = 1;
	double front = 0.0;
	assert_int_equal(wt_room_series_new(0, &series), WT_OK);
	for (int64_t at = T0; at <= now; at += 600) {
		random = random * 1664525u + 1013904223u;
		front = 0.99 * front + 0.3 * ((double)(random >> 8) / (1 << 24) - 0.5);
		assert_int_equal(wt_room_series_add(series, at, day_temp_c(at) + front, 70.0, 1.0),
				 WT_OK);
	}
	assert_int_equal(wt_room_fit_new(series, now, &fit), WT_OK);
	assert_int_equal(wt_room_draw(series, fit, now, 3, PATHS, STEPS, t, e), WT_OK);
	assert_true(spread_at(t, 0) < 1e-4);
	assert_true(fabs((double)t[0] - day_temp_c(now) - front) < 1e-4);
	assert_true(spread_at(t, 1) < spread_at(t, 12));
	assert_true(spread_at(t, 12) < spread_at(t, 72));
	assert_true(spread_at(t, 72) < 3.0);
	/* Humidity is steady here: warm paths must be moist ones. */
	double both = 0.0;
	for (size_t i = 0; i < PATHS; i++)
		both += ((double)t[72 * PATHS + i] - day_temp_c(now + 6 * HOUR)) *
			((double)e[72 * PATHS + i] - (double)e[72 * PATHS]) / PATHS;
	double mean_t = 0.0;
	double mean_e = 0.0;
	for (size_t i = 0; i < PATHS; i++) {
		mean_t += ((double)t[72 * PATHS + i] - day_temp_c(now + 6 * HOUR)) / PATHS;
		mean_e += ((double)e[72 * PATHS + i] - (double)e[72 * PATHS]) / PATHS;
	}
	double correlation = (both - mean_t * mean_e) / (spread_at(t, 72) * spread_at(e, 72));
	assert_true(correlation > 0.6 && correlation <= 1.0);
	/* A fit from long after now is a mistake of the caller. */
	struct wt_room_fit *kept = fit;
	assert_int_equal(wt_room_draw(series, kept, now - 3 * DAY, 3, PATHS, STEPS, t, e),
			 WT_ERR_ARG);
	wt_room_fit_free(&fit);
	wt_room_series_free(&series);
}

/* A drop of the drying power is news: the next hours are less sure than without it. */
static void a_shower_widens_the_band(void **state)
{
	(void)state;
	static float t[2][STEPS * PATHS];
	static float e[2][STEPS * PATHS];
	int64_t now = T0 + 20 * DAY + 8 * HOUR;
	for (size_t k = 0; k < 2; k++) {
		struct wt_room_series *series = NULL;
		struct wt_room_fit *fit = NULL;
		unsigned random = 1;
		double front = 0.0;
		assert_int_equal(wt_room_series_new(0, &series), WT_OK);
		for (int64_t at = T0; at <= now; at += 600) {
			random = random * 1664525u + 1013904223u;
			front = 0.99 * front + 0.3 * ((double)(random >> 8) / (1 << 24) - 0.5);
			bool wet = k == 1 && at > now - 1800;
			assert_int_equal(
				wt_room_series_add(series, at,
						   day_temp_c(at) + front - (wet ? 3.0 : 0.0),
						   wet ? 92.0 : 70.0, 1.0),
				WT_OK);
		}
		assert_int_equal(wt_room_fit_new(series, now, &fit), WT_OK);
		assert_int_equal(wt_room_draw(series, fit, now, 3, PATHS, STEPS, t[k], e[k]),
				 WT_OK);
		wt_room_fit_free(&fit);
		wt_room_series_free(&series);
	}
	for (size_t step = 12; step <= 36; step += 12) {
		print_message("%zu h: %.2f K and %.0f Pa dry, %.2f K and %.0f Pa after a shower\n",
			      step / 12, spread_at(t[0], step), spread_at(e[0], step),
			      spread_at(t[1], step), spread_at(e[1], step));
		assert_true(spread_at(t[1], step) > 1.1 * spread_at(t[0], step));
		assert_true(spread_at(e[1], step) > 1.1 * spread_at(e[0], step));
	}
}

/* A station that reads 0 % is broken or in an oven; the forecast must still be numbers. */
static void bone_dry_air_has_a_forecast(void **state)
{
	(void)state;
	static float t[STEPS * PATHS];
	static float e[STEPS * PATHS];
	struct wt_room_series *series = NULL;
	struct wt_room_fit *fit = NULL;
	assert_int_equal(wt_room_series_new(0, &series), WT_OK);
	for (int64_t at = T0; at <= T0 + 6 * HOUR; at += 600)
		assert_int_equal(wt_room_series_add(series, at, 20.0, 0.0, 1.0), WT_OK);
	assert_int_equal(wt_room_fit_new(series, T0 + 6 * HOUR, &fit), WT_OK);
	assert_int_equal(wt_room_draw(series, fit, T0 + 6 * HOUR, 1, PATHS, STEPS, t, e), WT_OK);
	for (size_t i = 0; i < (size_t)STEPS * PATHS; i++) {
		assert_true(isfinite(t[i]) && isfinite(e[i]));
		assert_true(e[i] >= 0.0f);
	}
	wt_room_fit_free(&fit);
	wt_room_series_free(&series);
}

/* The height of the day is read off a morning's rise before a day has been seen. */
static void a_steep_morning_tells_a_high_day(void **state)
{
	(void)state;
	static float t[2][STEPS * PATHS];
	static float e[STEPS * PATHS];
	static const double height_k[2] = {0.5, 8.0};
	/* 03:00 to 10:00, the top at 15:00. */
	int64_t start = T0 - T0 % DAY + DAY + 3 * HOUR;
	int64_t now = start + 7 * HOUR;
	double top[2] = {0};
	for (size_t k = 0; k < 2; k++) {
		struct wt_room_series *series = NULL;
		struct wt_room_fit *fit = NULL;
		assert_int_equal(wt_room_series_new(0, &series), WT_OK);
		for (int64_t at = start; at <= now; at += 600) {
			double angle = 2.0 * M_PI * (double)(at % DAY - 15 * HOUR) / DAY;
			assert_int_equal(wt_room_series_add(series, at,
							    20.0 + height_k[k] * cos(angle), 60.0,
							    1.0),
					 WT_OK);
		}
		assert_int_equal(wt_room_fit_new(series, now, &fit), WT_OK);
		assert_int_equal(wt_room_draw(series, fit, now, 1, PATHS, STEPS, t[k], e), WT_OK);
		for (size_t i = 0; i < PATHS; i++)
			top[k] += (double)t[k][60 * PATHS + i] / PATHS;
		wt_room_fit_free(&fit);
		wt_room_series_free(&series);
	}
	print_message("five hours on: %.1f and %.1f deg C\n", top[0], top[1]);
	assert_true(top[0] < 22.0);
	assert_true(top[1] > 24.5 && top[1] < 30.0);
}

static void an_empty_room_has_no_air(void **state)
{
	(void)state;
	struct wt_room_series *series = NULL;
	struct wt_room_fit *fit = NULL;
	struct wt_room_event event;
	assert_int_equal(wt_room_series_new(0, &series), WT_OK);
	assert_int_equal(wt_room_fit_new(series, T0, &fit), WT_ERR_NODATA);
	assert_null(fit);
	assert_int_equal(wt_room_recent_event(series, T0, &event), WT_ERR_NODATA);
	assert_int_equal(wt_room_series_new(100000, &series), WT_ERR_RANGE);
	wt_room_series_free(&series);
}

int main(void)
{
	const struct CMUnitTest tests[] = {
		cmocka_unit_test(bad_readings_are_refused_and_change_nothing),
		cmocka_unit_test(the_order_of_readings_does_not_matter),
		cmocka_unit_test(the_latest_reading_is_not_from_the_future),
		cmocka_unit_test(gaps_are_filled_with_lines_and_the_daily_shape),
		cmocka_unit_test(a_shower_and_an_opened_door_are_seen),
		cmocka_unit_test(paths_are_sound_whatever_the_history),
		cmocka_unit_test(a_draw_is_a_function_of_series_now_and_seed),
		cmocka_unit_test(a_bad_outlook_is_refused_whole),
		cmocka_unit_test(paths_start_at_the_reading_and_spread_smoothly),
		cmocka_unit_test(a_shower_widens_the_band),
		cmocka_unit_test(bone_dry_air_has_a_forecast),
		cmocka_unit_test(a_steep_morning_tells_a_high_day),
		cmocka_unit_test(an_empty_room_has_no_air),
	};
	return cmocka_run_group_tests(tests, NULL, NULL);
}
