/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * Scores against closed forms and against numerical integration by GSL.
 */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>
#include <gsl/gsl_cdf.h>
#include <gsl/gsl_integration.h>
#include <math.h>
#include <stdlib.h>

#include "lib/score.h"

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
	/* At the centre: sd (sqrt 2 - 1) / sqrt pi. */
	assert_int_equal(wt_score_crps_normal(0, 1, 0, &got), WT_OK);
	assert_near(got, (sqrt(2) - 1) / sqrt(M_PI), 1e-12);
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
		cmocka_unit_test(brier_parts_add_up),
	};
	return cmocka_run_group_tests(tests, NULL, NULL);
}
