/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * Coverage of made forecasts whose errors are known, and the factor that mends it.
 */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>
#include <gsl/gsl_cdf.h>
#include <math.h>

#include "daemon/calibrate.h"

enum { LOADS = 400 };

/* One forecast 4 h before a load's outcome.  The error takes every level of a normal of the given
 * sd once; the bands say 60 min. */
static void fill(json_t *rows, json_t *closings, double sd_min)
{
	for (int i = 0; i < LOADS; i++) {
		const double level = ((i * 149) % LOADS + 0.5) / LOADS;
		const double outcome = 1.8e9 + 7200.0 * i, issued = outcome - 4 * 3600.0;
		const double p50 = outcome + 60.0 * sd_min * gsl_cdf_ugaussian_Pinv(level);
		const double q80 = 3600.0 * 1.2816, q50 = 3600.0 * 0.6745;
		json_array_append_new(rows,
				      json_pack("{s:f,s:i,s:f,s:f,s:f,s:f,s:f}", "issued_unix_s",
						issued, "load", i + 1, "ready_p10_unix_s",
						p50 - q80, "ready_p25_unix_s", p50 - q50,
						"ready_p50_unix_s", p50, "ready_p75_unix_s",
						p50 + q50, "ready_p90_unix_s", p50 + q80));
		json_array_append_new(closings,
				      json_pack("{s:i,s:f,s:i,s:f}", "load", i + 1, "ready_unix_s",
						outcome, "n_weighings", 1, "first_observed_unix_s",
						i % 2 ? issued + 60 : issued - 60));
	}
}

static double of(const json_t *report, size_t group, const char *name)
{
	const json_t *row = json_array_get(json_object_get(report, "groups"), group);
	const json_t *value = json_object_get(row, name);
	return json_is_number(value) ? json_number_value(value) : NAN;
}

static json_t *report_of(double sd_min)
{
	json_t *rows = json_array(), *closings = json_array();
	fill(rows, closings, sd_min);
	json_t *report = wt_calibrate_rows(rows, closings);
	json_decref(rows);
	json_decref(closings);
	assert_non_null(report);
	return report;
}

static void right_bands_need_no_factor(void **state)
{
	(void)state;
	json_t *report = report_of(60.0);
	assert_true(fabs(of(report, 0, "coverage_80_pct") - 80) < 1);
	assert_true(fabs(of(report, 0, "coverage_50_pct") - 50) < 1);
	assert_true(fabs(of(report, 0, "band_factor") - 1) < 0.02);
	assert_true(fabs(of(report, 0, "median_abs_err_min") - 60 * 0.6745) < 1);
	assert_true(fabs(of(report, 0, "bias_min")) < 1);
	assert_int_equal((int)of(report, 1, "n"), LOADS / 2);
	assert_int_equal((int)of(report, 2, "n"), LOADS / 2);
	assert_int_equal((int)of(report, 3, "n"), LOADS);
	assert_int_equal((int)of(report, 5, "n"), 0);
	assert_true(isnan(of(report, 5, "band_factor")));
	json_decref(report);
}

static void narrow_bands_are_told_by_how_much(void **state)
{
	(void)state;
	json_t *report = report_of(90.0);
	assert_true(of(report, 0, "coverage_80_pct") < 65);
	assert_true(fabs(of(report, 0, "band_factor") - 1.5) < 0.03);
	const json_t *drift = json_object_get(report, "drift_per_sqrt_h");
	assert_true(fabs(json_number_value(json_object_get(drift, "right")) /
				 json_number_value(json_object_get(drift, "now")) -
			 1.5) < 0.03);
	json_decref(report);
}

static void loads_nobody_weighed_do_not_count(void **state)
{
	(void)state;
	json_t *rows = json_array(), *closings = json_array();
	fill(rows, closings, 60.0);
	for (size_t i = 0; i < LOADS; i += 2)
		json_object_set_new(json_array_get(closings, i), "n_weighings", json_integer(0));
	json_t *report = wt_calibrate_rows(rows, closings);
	assert_int_equal((int)of(report, 0, "n"), LOADS / 2);
	assert_int_equal(json_integer_value(json_object_get(report, "loads")), LOADS / 2);
	json_decref(report);
	json_decref(rows);
	json_decref(closings);
}

int main(void)
{
	const struct CMUnitTest tests[] = {
		cmocka_unit_test(right_bands_need_no_factor),
		cmocka_unit_test(narrow_bands_are_told_by_how_much),
		cmocka_unit_test(loads_nobody_weighed_do_not_count),
	};
	return cmocka_run_group_tests(tests, NULL, NULL);
}
