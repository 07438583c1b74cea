/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * Scores against published examples, closed forms and numerical integration by GSL.
 */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>
#include <gsl/gsl_cdf.h>
#include <gsl/gsl_integration.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>

#include "lib/score.h"
#include "tests/physics/table.h"

static void assert_near(double got, double want, double tolerance)
{
	if (!(fabs(got - want) <= tolerance))
		fail_msg("got %.9g, want %.9g within %g", got, want, tolerance);
}

static void quantiles_follow_definition_seven(void **state)
{
	(void)state;
	/* Hyndman and Fan 1996, definition 7: position (n - 1) p. */
	const double values[] = {40, 10, 30, 20};
	const double p[] = {0.0, 0.1, 0.5, 0.75, 1.0};
	double got[5];
	assert_int_equal(wt_score_quantiles(values, 4, p, 5, got), WT_OK);
	assert_near(got[0], 10, 1e-12);
	assert_near(got[1], 13, 1e-12);
	assert_near(got[2], 25, 1e-12);
	assert_near(got[3], 32.5, 1e-12);
	assert_near(got[4], 40, 1e-12);
	assert_near(values[0], 40, 0);
}

static void quantiles_carry_beyond_horizon(void **state)
{
	(void)state;
	const double values[] = {1, HUGE_VAL, 2, HUGE_VAL};
	const double p[] = {0.25, 1.0 / 3.0, 0.5, 0.9};
	double got[4];
	assert_int_equal(wt_score_quantiles(values, 4, p, 4, got), WT_OK);
	assert_near(got[0], 1.75, 1e-12);
	assert_near(got[1], 2, 1e-9);
	assert_true(isinf(got[2]) && isinf(got[3]));
}

static void wrong_input_changes_nothing(void **state)
{
	(void)state;
	const double bad[] = {1, NAN}, good[] = {1, 2}, p[] = {0.9, 0.1}, beyond[] = {1, HUGE_VAL};
	const int odd[] = {0, 2};
	double got[2] = {-7, -7};
	struct wt_brier brier = {.score = -7};
	assert_int_equal(wt_score_quantiles(good, 2, p, 2, got), WT_ERR_ARG);
	assert_int_equal(wt_score_median(bad, 2, got), WT_ERR_ARG);
	assert_int_equal(wt_score_median(good, 0, got), WT_ERR_ARG);
	assert_int_equal(wt_score_crps_sample(beyond, 2, 1, got), WT_ERR_RANGE);
	assert_int_equal(wt_score_crps_sample(good, 2, NAN, got), WT_ERR_ARG);
	assert_int_equal(wt_score_crps_normal(0, -1, 0, got), WT_ERR_ARG);
	assert_int_equal(wt_score_crps_quantiles(p, good, 2, 0, got), WT_ERR_ARG);
	assert_int_equal(wt_score_brier(good, odd, 2, 10, &brier), WT_ERR_ARG);
	assert_near(got[0], -7, 0);
	assert_near(brier.score, -7, 0);
}

struct crps_of_normal {
	double mean, sd, outcome;
};

static double squared_gap(double x, void *context)
{
	const struct crps_of_normal *c = context;
	const double gap = gsl_cdf_ugaussian_P((x - c->mean) / c->sd) - (x >= c->outcome);
	return gap * gap;
}

/* Definition of the score, integrated on both sides of the outcome. */
static double crps_by_integration(struct crps_of_normal *c)
{
	gsl_integration_workspace *work = gsl_integration_workspace_alloc(1000);
	gsl_function f = {squared_gap, c};
	double below, above, error;
	gsl_integration_qagil(&f, c->outcome - 1e-12, 1e-12, 1e-10, 1000, work, &below, &error);
	gsl_integration_qagiu(&f, c->outcome, 1e-12, 1e-10, 1000, work, &above, &error);
	gsl_integration_workspace_free(work);
	return below + above;
}

static void crps_of_normal_matches_integration(void **state)
{
	(void)state;
	/* Gneiting and Raftery 2007, sec. 4.2 (from memory), checked by the defining integral. */
	const double outcomes[] = {-3, -0.5, 0, 0.1, 2, 7};
	for (size_t i = 0; i < 6; i++) {
		struct crps_of_normal c = {0.4, 1.7, outcomes[i]};
		double got;
		assert_int_equal(wt_score_crps_normal(c.mean, c.sd, c.outcome, &got), WT_OK);
		assert_near(got, crps_by_integration(&c), 1e-7);
	}
	double got;
	/* At the centre: sd (sqrt 2 - 1) / sqrt pi; read in the manual of properscoring 0.1. */
	assert_int_equal(wt_score_crps_normal(0, 1, 0, &got), WT_OK);
	assert_near(got, 0.23369497725510913, 1e-12);
	assert_int_equal(wt_score_crps_normal(3, 0, 5, &got), WT_OK);
	assert_near(got, 2, 1e-12);
}

static void crps_of_sample_matches_its_pairs_and_the_normal(void **state)
{
	(void)state;
	enum { n = 2000 };
	double values[n], p[n], got, want;
	for (size_t i = 0; i < n; i++) {
		p[i] = ((double)i + 0.5) / n;
		values[n - 1 - i] = 2.0 + 3.0 * gsl_cdf_ugaussian_Pinv(p[i]);
	}
	assert_int_equal(wt_score_crps_sample(values, n, 4.5, &got), WT_OK);
	assert_int_equal(wt_score_crps_normal(2, 3, 4.5, &want), WT_OK);
	assert_near(got, want, 0.003);
	double pairs = 0, distance = 0;
	for (size_t i = 0; i < 50; i++) {
		distance += fabs(values[i * 40] - 4.5) / 50;
		for (size_t j = 0; j < 50; j++)
			pairs += fabs(values[i * 40] - values[j * 40]) / 2500;
	}
	double some[50];
	for (size_t i = 0; i < 50; i++)
		some[i] = values[i * 40];
	assert_int_equal(wt_score_crps_sample(some, 50, 4.5, &got), WT_OK);
	assert_near(got, distance - pairs / 2, 1e-9);
}

static void crps_of_quantiles_matches_normal_when_fine(void **state)
{
	(void)state;
	enum { n = 999 };
	double p[n], q[n];
	for (size_t i = 0; i < n; i++) {
		p[i] = ((double)i + 1) / (n + 1);
		q[i] = 5.0 + 2.0 * gsl_cdf_ugaussian_Pinv(p[i]);
	}
	const double outcomes[] = {-4, 1, 5, 6.3, 14};
	for (size_t i = 0; i < 5; i++) {
		double got, want;
		assert_int_equal(wt_score_crps_quantiles(p, q, n, outcomes[i], &got), WT_OK);
		assert_int_equal(wt_score_crps_normal(5, 2, outcomes[i], &want), WT_OK);
		assert_near(got, want, 2e-3);
	}
	/* One certain value: the distance. */
	const double one = 1.0, at = 3.0;
	double got;
	assert_int_equal(wt_score_crps_quantiles(&one, &at, 1, 7.0, &got), WT_OK);
	assert_near(got, 4, 1e-12);
	/* Even spread on 0..1, outcome in the middle: 1/12. */
	const double ends[] = {0, 1};
	assert_int_equal(wt_score_crps_quantiles(ends, ends, 2, 0.5, &got), WT_OK);
	assert_near(got, 1.0 / 12.0, 1e-12);
}

static void quantiles_as_numpy_gives_them(void **state)
{
	(void)state;
	static const double values[] = {812.5, 3.25, -17, 44, 44, 0.5, 1e4, 96.75, -2.125, 63, 7};
	static const double p[] = {0, 0.01, 0.1, 0.25, 1.0 / 3.0, 0.5, 0.75, 0.95, 1};
	static const double numpy[] = {-17,  -15.5125, -2.125,  1.875, 4.5,
				       44.0, 79.875,   5406.25, 10000};
	double got[9];
	char name[60];
	table_begin("Quantiles of eleven values");
	assert_int_equal(wt_score_quantiles(values, 11, p, 9, got), WT_OK);
	for (size_t i = 0; i < 9; i++) {
		snprintf(name, sizeof name, "at %.3g", p[i]);
		table_value(name, "NumPy 1.24.2, numpy.quantile", numpy[i],
			    1e-12 * fabs(numpy[i]) + 1e-12, got[i]);
	}
	assert_int_equal(table_surprises(), 0);
}

/* Of members 1, 2, 3 the distribution function is 1/3 from 1, 2/3 from 2 and 1 from 3, so that the
 * integral of its square before the outcome and of its complement's after it can be done by hand.
 */
static void crps_of_three_members_by_hand(void **state)
{
	(void)state;
	static const double members[] = {3, 1, 2};
	static const double cases[][2] = {
		{2, 2.0 / 9}, {0, 1 + 4.0 / 9 + 1.0 / 9}, {5, 1.0 / 9 + 4.0 / 9 + 2}};
	double got;
	for (size_t i = 0; i < 3; i++) {
		assert_int_equal(wt_score_crps_sample(members, 3, cases[i][0], &got), WT_OK);
		assert_near(got, cases[i][1], 1e-12);
	}
}

/* Forecasts of rain: Wilks 1995, Statistical Methods in the Atmospheric Sciences, table 7.3, p.
 * 246, as quoted by the R package verification: forecasts and frequencies in its
 * reliability.plot(), base rate in its manual.  The parts are Murphy's, worked from them apart from
 * this code. */
static void published_forecasts_of_rain(void **state)
{
	(void)state;
	enum { ALL = 10000, CLASSES = 12 };
	static const double said[CLASSES] = {0,   0.05, 0.1, 0.2, 0.3, 0.4,
					     0.5, 0.6,  0.7, 0.8, 0.9, 1};
	static const int of_all[CLASSES] = {4112, 671, 1833, 986, 616, 366,
					    303,  275, 245,  220, 170, 203};
	static const double rained[CLASSES] = {0.006, 0.019, 0.059, 0.15,  0.277, 0.377,
					       0.511, 0.587, 0.723, 0.779, 0.934, 0.933};
	static double probability[ALL];
	static int happened[ALL];
	static const char source[] = "Wilks 1995, table 7.3 (as R verification quotes it)";
	size_t n = 0;
	for (size_t c = 0; c < CLASSES; c++) {
		for (int i = 0; i < of_all[c]; i++, n++) {
			probability[n] = said[c];
			happened[n] = i < (int)lround(rained[c] * of_all[c]);
		}
	}
	assert_int_equal(n, ALL);
	struct wt_brier b;
	assert_int_equal(wt_score_brier(probability, happened, n, 20, &b), WT_OK);
	table_begin("Brier score of forecasts of rain and its parts");
	const double base = 0.5 - sqrt(0.25 - b.uncertainty);
	table_value("base rate", "Wilks 1995, as printed there", 0.162, 0.0005, base);
	table_value("score", source, 0.0735, 0.0002, b.score);
	table_value("reliability", source, 0.00083, 0.00002, b.reliability);
	table_value("resolution", source, 0.0628, 0.0002, b.resolution);
	table_value("uncertainty", source, 0.1354, 0.0002, b.uncertainty);
	const double score_of[] = {0.1, 0.9, 0.8, 0.3};
	const int was[] = {0, 1, 1, 0};
	assert_int_equal(wt_score_brier(score_of, was, 4, 10, &b), WT_OK);
	table_value("score of 0.1 0.9 0.8 0.3 for 0 1 1 0",
		    "scikit-learn, manual of brier_score_loss (from memory)", 0.0375, 1e-12,
		    b.score);
	assert_int_equal(table_surprises(), 0);
}

static void brier_parts_add_up(void **state)
{
	(void)state;
	/* Murphy 1973 (from memory): score = reliability - resolution + uncertainty when the
	 * probabilities within a bin are equal. */
	enum { n = 200 };
	double p[n];
	int happened[n];
	for (size_t i = 0; i < n; i++) {
		p[i] = (double)(i % 5) / 5.0 + 0.1;
		happened[i] = (i * 7919) % 100 < (size_t)(80 * p[i]);
	}
	struct wt_brier b;
	assert_int_equal(wt_score_brier(p, happened, n, 5, &b), WT_OK);
	assert_near(b.score, b.reliability - b.resolution + b.uncertainty, 1e-12);
	assert_true(b.resolution > 0.01 && b.reliability >= 0);
	/* By hand: two sure and right, one sure and wrong, one undecided. */
	const double q[] = {1, 0, 1, 0.5};
	const int h[] = {1, 0, 0, 1};
	assert_int_equal(wt_score_brier(q, h, 4, 10, &b), WT_OK);
	assert_near(b.score, 1.25 / 4, 1e-12);
	assert_near(b.uncertainty, 0.25, 1e-12);
}

int main(void)
{
	const struct CMUnitTest tests[] = {
		cmocka_unit_test(quantiles_follow_definition_seven),
		cmocka_unit_test(quantiles_carry_beyond_horizon),
		cmocka_unit_test(wrong_input_changes_nothing),
		cmocka_unit_test(crps_of_normal_matches_integration),
		cmocka_unit_test(crps_of_sample_matches_its_pairs_and_the_normal),
		cmocka_unit_test(crps_of_quantiles_matches_normal_when_fine),
		cmocka_unit_test(quantiles_as_numpy_gives_them),
		cmocka_unit_test(crps_of_three_members_by_hand),
		cmocka_unit_test(published_forecasts_of_rain),
		cmocka_unit_test(brier_parts_add_up),
	};
	return cmocka_run_group_tests(tests, NULL, NULL);
}
