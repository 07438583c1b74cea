/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * Between loads: gardens are told apart, shrunk when little is known, and hold.
 */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>
#include <gsl/gsl_blas.h>
#include <gsl/gsl_linalg.h>
#include <gsl/gsl_randist.h>
#include <gsl/gsl_rng.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <time.h>

#include "lib/learn.h"
#include "tests/learn/feel_fit.h"
#include "tests/physics/table.h"

/* A closed load that measured ln pace `value` with an sd of `sd`, and nothing else. */
static struct wt_garden_record record(int origin, double value, double sd)
{
	struct wt_garden_record r = {
		.origin = origin, .grade = WT_GRADE_YOUNG, .season = WT_SEASON_SPRING};
	r.word.info[wt_learn_at(WT_DIM_PACE, WT_DIM_PACE)] = 1 / (sd * sd);
	r.word.pull[WT_DIM_PACE] = value / (sd * sd);
	return r;
}

static enum wt_status fit(const struct wt_garden_record *r, size_t n, struct wt_gardens **out)
{
	const struct wt_garden_record **records = malloc((n + 1) * sizeof(*records));
	assert_non_null(records);
	for (size_t i = 0; r && i < n; i++)
		records[i] = &r[i];
	const enum wt_status status = wt_gardens_fit(r ? records : NULL, n, out);
	free(records);
	return status;
}

static struct wt_garden_guess guess(const struct wt_gardens *g, int origin)
{
	struct wt_garden_guess out;
	assert_int_equal(wt_gardens_guess(g, origin, WT_GRADE_YOUNG, WT_SEASON_SPRING, &out),
			 WT_OK);
	return out;
}

static void nothing_learned_is_the_prior(void **state)
{
	(void)state;
	struct wt_gardens *g = NULL;
	const struct wt_garden_guess none = guess(NULL, -1);
	assert_int_equal(fit(NULL, 0, &g), WT_OK);
	const struct wt_garden_guess empty = guess(g, -1);
	assert_true(fabs(none.pace_mean - empty.pace_mean) < 1e-9);
	/* About the same spread: the mixture over variances is a little wider. */
	assert_true(empty.pace_sd > 0.9 * none.pace_sd && empty.pace_sd < 1.3 * none.pace_sd);
	wt_gardens_free(&g);
	assert_null(g);
}

static void a_garden_narrows_with_its_loads(void **state)
{
	(void)state;
	struct wt_garden_record r[12];
	double sd = HUGE_VAL;
	for (size_t n = 0; n <= 12; n += 3) {
		struct wt_gardens *g = NULL;
		for (size_t i = 0; i < n; i++)
			r[i] = record(0, 0.4 + 0.05 * (double)((int)(i % 3) - 1), 0.12);
		assert_int_equal(fit(r, n, &g), WT_OK);
		const struct wt_garden_guess now = guess(g, 0);
		assert_true(now.pace_sd < sd);
		assert_int_equal(now.n_loads, (int)n);
		sd = now.pace_sd;
		if (n == 12) {
			assert_true(fabs(now.pace_mean - 0.4) < 0.06);
			assert_true(now.pace_sd < 0.2);
			/* A new garden leans to what is common, with a wider band. */
			const struct wt_garden_guess new_one = guess(g, -1);
			assert_true(new_one.pace_mean > 0.1 && new_one.pace_mean < 0.35);
			assert_true(new_one.pace_sd > 1.5 * now.pace_sd);
		}
		wt_gardens_free(&g);
	}
}

static void loads_nobody_weighed_say_nothing(void **state)
{
	(void)state;
	struct wt_garden_record r = {
		.origin = 0, .grade = WT_GRADE_YOUNG, .season = WT_SEASON_SPRING};
	struct wt_gardens *g = NULL;
	assert_int_equal(fit(&r, 1, &g), WT_OK);
	assert_int_equal(guess(g, 0).n_loads, 0);
	assert_true(guess(g, 0).pace_sd > 0.4);
	wt_gardens_free(&g);
}

/* Pace and the path through the bed cannot be told apart by weighing; what was learned must know
 * that, and still be sure of their sum. */
static void confounded_coordinates_are_learned_together(void **state)
{
	(void)state;
	struct wt_garden_record r[20];
	for (size_t i = 0; i < 20; i++) {
		r[i] = record(0, 0.0, 1e6);
		const double slope[2] = {1.0, -0.5}, info = 1 / (0.1 * 0.1), seen = 0.3;
		const enum wt_dim dims[2] = {WT_DIM_PACE, WT_DIM_BED};
		for (size_t a = 0; a < 2; a++) {
			r[i].word.pull[dims[a]] += info * slope[a] * seen;
			for (size_t b = 0; b <= a; b++)
				r[i].word.info[wt_learn_at(dims[a], dims[b])] +=
					info * slope[a] * slope[b];
		}
	}
	struct wt_gardens *g = NULL;
	assert_int_equal(fit(r, 20, &g), WT_OK);
	const struct wt_gauss next = guess(g, 0).gauss;
	wt_gardens_free(&g);
	const double mean = next.mean[WT_DIM_PACE] - 0.5 * next.mean[WT_DIM_BED];
	const double sd =
		sqrt(next.cov[WT_DIM_PACE][WT_DIM_PACE] - next.cov[WT_DIM_PACE][WT_DIM_BED] +
		     0.25 * next.cov[WT_DIM_BED][WT_DIM_BED]);
	assert_true(fabs(mean - 0.3) < 0.05);
	assert_true(sd < 0.75 * sqrt(next.cov[WT_DIM_PACE][WT_DIM_PACE]));
	assert_true(sd > 0.03);
}

/* Loads that came in wet and turned out to carry more water than thought tell that of the next wet
 * load, in its own measure. */
static void surface_water_is_learned_by_its_wetness(void **state)
{
	(void)state;
	struct wt_load_case wet = {.wet = WT_WET_WET, .moisture_pct = NAN}, damp = wet;
	struct wt_gauss prior, of_damp;
	damp.wet = WT_WET_DAMP;
	assert_int_equal(wt_traits_prior(&wet, &prior), WT_OK);
	assert_int_equal(wt_traits_prior(&damp, &of_damp), WT_OK);
	const size_t w = WT_DIM_SURFACE;
	const double centre = prior.mean[w], sd = sqrt(prior.cov[w][w]);
	const double damp_centre = of_damp.mean[w], damp_sd = sqrt(of_damp.cov[w][w]);
	struct wt_garden_record r[15];
	for (size_t i = 0; i < 15; i++) {
		r[i] = record(0, 0.0, 1e6);
		r[i].wet = WT_WET_WET;
		r[i].word.info[wt_learn_at(w, w)] = 1 / (0.04 * sd * sd);
		r[i].word.pull[w] = (centre + sd) * r[i].word.info[wt_learn_at(w, w)];
	}
	struct wt_gardens *g = NULL;
	assert_int_equal(fit(r, 15, &g), WT_OK);
	const struct wt_garden_guess next = guess(g, 0);
	wt_gardens_free(&g);
	wt_gardens_apply(&next, &wet, &prior);
	wt_gardens_apply(&next, &damp, &of_damp);
	assert_true(prior.mean[w] > centre + 0.7 * sd && prior.mean[w] < centre + 1.05 * sd);
	assert_true(prior.cov[w][w] < sd * sd);
	assert_true(fabs((of_damp.mean[w] - damp_centre) / damp_sd -
			 (prior.mean[w] - centre) / sd) < 1e-6);
}

static void guesses_hold_their_spread(void **state)
{
	(void)state;
	/* Made gardens: overall 0.2, origins sd 0.25, loads sd 0.15, heard with sd 0.15.  The
	 * standardised error of the next load must look like a standard normal. */
	gsl_rng *rng = gsl_rng_alloc(gsl_rng_mt19937);
	double square = 0;
	int inside = 0, n = 0;
	for (int season = 0; season < 60; season++) {
		double origin[4];
		for (int o = 0; o < 4; o++)
			origin[o] = 0.2 + gsl_ran_gaussian(rng, 0.25);
		struct wt_garden_record r[24];
		for (int i = 0; i < 24; i++) {
			const double own = origin[i % 4] + gsl_ran_gaussian(rng, 0.15);
			r[i] = record(i % 4, own + gsl_ran_gaussian(rng, 0.15), 0.15);
		}
		struct wt_gardens *g = NULL;
		assert_int_equal(fit(r, 24, &g), WT_OK);
		for (int o = 0; o < 4; o++, n++) {
			const struct wt_garden_guess next = guess(g, o);
			const double own = origin[o] + gsl_ran_gaussian(rng, 0.15);
			const double z = (own - next.pace_mean) / next.pace_sd;
			square += z * z;
			inside += fabs(z) < 1.2816;
		}
		wt_gardens_free(&g);
	}
	gsl_rng_free(rng);
	assert_true(square / n > 0.7 && square / n < 1.3);
	assert_true(inside > 0.74 * n && inside < 0.87 * n);
}

/* Covariance of the ln pace of two loads, i == j: of one with itself, in shares of its prior's
 * variance. */
static double share(const struct wt_garden_record *a, const struct wt_garden_record *b,
		    double origin_factor, double own_factor, bool same)
{
	return 0.38 + 0.06 * (a->grade == b->grade) + 0.06 * (a->season == b->season) +
	       0.30 * origin_factor * origin_factor * (a->origin == b->origin) +
	       0.20 * own_factor * own_factor * same;
}

/* The next load under one pair of variances, from the covariances of all loads seen: no effects,
 * nothing eliminated.  Gives the log likelihood of what was seen. */
static double krige(const struct wt_garden_record *r, size_t n, const struct wt_garden_record *next,
		    double origin_factor, double own_factor, double *mean, double *var)
{
	gsl_matrix *k = gsl_matrix_alloc(n, n);
	gsl_vector *y = gsl_vector_alloc(n), *c = gsl_vector_alloc(n);
	struct wt_garden_guess prior;
	double v, mine, log_likelihood = 0, part;
	for (size_t i = 0; i <= n; i++) {
		const struct wt_garden_record *of = i < n ? &r[i] : next;
		assert_int_equal(wt_gardens_guess(NULL, -1, of->grade, of->season, &prior), WT_OK);
		v = prior.pace_sd * prior.pace_sd;
		mine = prior.pace_mean;
		if (i == n)
			break;
		const double info = of->word.info[wt_learn_at(WT_DIM_PACE, WT_DIM_PACE)];
		gsl_vector_set(y, i, of->word.pull[WT_DIM_PACE] / info - mine);
		gsl_vector_set(c, i, v * share(of, next, origin_factor, own_factor, false));
		for (size_t j = 0; j < n; j++)
			gsl_matrix_set(k, i, j,
				       v * share(of, &r[j], origin_factor, own_factor, i == j) +
					       (i == j ? 1 / info : 0));
	}
	assert_int_equal(gsl_linalg_cholesky_decomp1(k), 0);
	gsl_blas_dtrsv(CblasLower, CblasNoTrans, CblasNonUnit, k, y);
	gsl_blas_dtrsv(CblasLower, CblasNoTrans, CblasNonUnit, k, c);
	for (size_t i = 0; i < n; i++)
		log_likelihood -= 0.5 * gsl_vector_get(y, i) * gsl_vector_get(y, i) +
				  log(gsl_matrix_get(k, i, i));
	gsl_blas_ddot(y, c, &part);
	*mean = mine + part;
	gsl_blas_ddot(c, c, &part);
	*var = v * share(next, next, origin_factor, own_factor, true) - part;
	gsl_matrix_free(k);
	gsl_vector_free(y);
	gsl_vector_free(c);
	return log_likelihood;
}

/* Of pace alone, the guess is the textbook's: the normal distribution of the next load given those
 * seen, mixed over the variances. */
static void the_guess_is_the_best_linear_one(void **state)
{
	(void)state;
	static const double origin_factors[] = {0.4, 0.7, 1.0, 1.5};
	static const double own_factors[] = {0.35, 0.5, 0.7, 1.0, 1.4};
	struct wt_garden_record r[30];
	for (int i = 0; i < 30; i++) {
		r[i] = record(i * i % 11, 0.3 * sin(i) + 0.1 * (i % 11), 0.05 + 0.01 * (i % 5));
		r[i].grade = (enum wt_grade)(i % WT_GRADE_COUNT);
		r[i].season = (enum wt_season)(i / 10);
	}
	struct wt_gardens *g = NULL;
	assert_int_equal(fit(r, 30, &g), WT_OK);
	/* 2 was never heard of, 12 is beyond all. */
	for (int origin = 0; origin < 13; origin++) {
		const struct wt_garden_record next = {
			.origin = origin, .grade = WT_GRADE_MIXED, .season = WT_SEASON_SUMMER};
		struct wt_garden_guess got;
		double total = 0, mean = 0, square = 0, m, v, first = 0;
		for (size_t k = 0; k < 20; k++) {
			const double o = origin_factors[k / 5], l = own_factors[k % 5];
			double log_weight = krige(r, 30, &next, o, l, &m, &v) -
					    2 * (log(o) * log(o) + log(l) * log(l));
			first = k ? first : log_weight;
			const double weight = exp(log_weight - first);
			total += weight;
			mean += weight * m;
			square += weight * (v + m * m);
		}
		mean /= total;
		assert_int_equal(wt_gardens_guess(g, origin, next.grade, next.season, &got), WT_OK);
		assert_true(fabs(got.pace_mean - mean) < 1e-9);
		assert_true(fabs(got.pace_sd - sqrt(square / total - mean * mean)) < 1e-9);
	}
	wt_gardens_free(&g);
}

static double fit_many_s(int n)
{
	struct wt_garden_record *r = malloc((size_t)n * sizeof(*r));
	struct wt_gardens *g = NULL;
	assert_non_null(r);
	for (int i = 0; i < n; i++)
		r[i] = record(i, 0.3 * sin(i), 0.1);
	const clock_t begun = clock();
	assert_int_equal(fit(r, (size_t)n, &g), WT_OK);
	const double s = (double)(clock() - begun) / CLOCKS_PER_SEC;
	assert_int_equal(guess(g, n - 1).n_loads, 1);
	wt_gardens_free(&g);
	free(r);
	return s;
}

/* Who writes a new name for each load must not wait for it: ten times the gardens are ten times the
 * work, where solving for all effects at once is a thousand times. */
static void many_gardens_cost_no_more_than_their_number(void **state)
{
	(void)state;
	const double few_s = fit_many_s(300), many_s = fit_many_s(3000);
	assert_true(many_s < 40 * few_s);
}

static void guess_goes_into_a_prior(void **state)
{
	(void)state;
	struct wt_gauss prior = {.mean = {0, 76, -3}};
	for (int d = 0; d < WT_DIM_COUNT; d++)
		prior.cov[d][d] = 4;
	struct wt_gauss dry;
	struct wt_load_case load = {.moisture_pct = NAN};
	assert_int_equal(wt_traits_prior(&load, &dry), WT_OK);
	/* Nothing learned of surface water. */
	struct wt_garden_guess g = {.gauss = {.mean = {0.3, 78, dry.mean[WT_DIM_SURFACE]}}};
	g.gauss.cov[WT_DIM_SURFACE][WT_DIM_SURFACE] = dry.cov[WT_DIM_SURFACE][WT_DIM_SURFACE];
	g.gauss.cov[WT_DIM_PACE][WT_DIM_PACE] = 0.01;
	g.gauss.cov[WT_DIM_MOISTURE][WT_DIM_MOISTURE] = 1;
	g.gauss.cov[WT_DIM_PACE][WT_DIM_MOISTURE] = g.gauss.cov[WT_DIM_MOISTURE][WT_DIM_PACE] =
		0.05;
	load.moisture_pct = 75;
	struct wt_gauss told = prior, untold = prior;
	wt_gardens_apply(&g, &load, &told);
	assert_true(fabs(told.mean[WT_DIM_PACE] - 0.3) < 1e-12);
	assert_true(fabs(told.cov[WT_DIM_PACE][WT_DIM_PACE] - 0.01) < 1e-12);
	/* What the maker told stays, and so does the wetness. */
	assert_true(fabs(told.mean[WT_DIM_MOISTURE] - 76) < 1e-12);
	assert_true(fabs(told.cov[WT_DIM_PACE][WT_DIM_MOISTURE] - 0.1) < 1e-12);
	assert_true(fabs(told.mean[WT_DIM_SURFACE] + 3) < 1e-12);
	load.moisture_pct = NAN;
	wt_gardens_apply(&g, &load, &untold);
	assert_true(fabs(untold.mean[WT_DIM_MOISTURE] - 78) < 1e-12);
}

static void wrong_records_are_refused(void **state)
{
	(void)state;
	struct wt_gardens *g = NULL;
	struct wt_garden_record r = record(-1, 0, 0.1);
	assert_int_equal(fit(&r, 1, &g), WT_ERR_ARG);
	r = record(0, NAN, 0.1);
	assert_int_equal(fit(&r, 1, &g), WT_ERR_ARG);
	assert_int_equal(fit(NULL, 1, &g), WT_ERR_ARG);
	assert_null(g);
}

static void hand_is_learned_with_shrinkage(void **state)
{
	(void)state;
	struct wt_feel_scale first, got;
	wt_feel_scale_default(&first);
	assert_int_equal(wt_feel_scale_fit(NULL, 0, &got), WT_OK);
	assert_true(got.cut_loss_pct[2] == first.cut_loss_pct[2]);
	/* A hand that feels every change four points later. */
	struct wt_feel_pair pairs[60];
	for (size_t i = 0; i < 60; i++) {
		const double loss = 0.7 * (double)i;
		int step = 0;
		while (step < WT_FEEL_COUNT - 1 && loss > first.cut_loss_pct[step] + 4.0)
			step++;
		pairs[i] = (struct wt_feel_pair){loss, 1.0, (enum wt_feel)step};
	}
	assert_int_equal(wt_feel_scale_fit(pairs, 3, &got), WT_OK);
	assert_true(fabs(got.cut_loss_pct[2] - first.cut_loss_pct[2]) < 2.0);
	assert_int_equal(wt_feel_scale_fit(pairs, 60, &got), WT_OK);
	for (size_t k = 0; k < WT_FEEL_COUNT - 1; k++)
		assert_true(fabs(got.cut_loss_pct[k] - first.cut_loss_pct[k] - 4.0) < 1.5);
	assert_true(got.sd_loss_pct < first.sd_loss_pct);
	pairs[0].step = (enum wt_feel)9;
	assert_int_equal(wt_feel_scale_fit(pairs, 60, &got), WT_ERR_ARG);
}

/* The same model, written anew in feel_fit.py and searched by SciPy. */
static void the_hand_s_scale_is_the_best(void **state)
{
	(void)state;
	static const char source[] = "SciPy 1.10.1, BFGS from eight starts";
	table_begin("Scale of the hand, loss %");
	for (size_t i = 0; i < sizeof feel_fits / sizeof feel_fits[0]; i++) {
		struct wt_feel_scale got;
		char name[80];
		assert_int_equal(wt_feel_scale_fit(feel_fits[i].pairs, feel_fits[i].n, &got),
				 WT_OK);
		for (size_t k = 0; k < WT_FEEL_COUNT - 1; k++) {
			snprintf(name, sizeof name, "%zu judgements, cut %zu", feel_fits[i].n,
				 k + 1);
			table_value(name, source, feel_fits[i].best.cut_loss_pct[k], 0.01,
				    got.cut_loss_pct[k]);
		}
		snprintf(name, sizeof name, "%zu judgements, spread", feel_fits[i].n);
		table_value(name, source, feel_fits[i].best.sd_loss_pct, 0.01, got.sd_loss_pct);
	}
	assert_int_equal(table_surprises(), 0);
}

int main(void)
{
	const struct CMUnitTest tests[] = {
		cmocka_unit_test(nothing_learned_is_the_prior),
		cmocka_unit_test(a_garden_narrows_with_its_loads),
		cmocka_unit_test(loads_nobody_weighed_say_nothing),
		cmocka_unit_test(confounded_coordinates_are_learned_together),
		cmocka_unit_test(surface_water_is_learned_by_its_wetness),
		cmocka_unit_test(guesses_hold_their_spread),
		cmocka_unit_test(the_guess_is_the_best_linear_one),
		cmocka_unit_test(many_gardens_cost_no_more_than_their_number),
		cmocka_unit_test(guess_goes_into_a_prior),
		cmocka_unit_test(wrong_records_are_refused),
		cmocka_unit_test(hand_is_learned_with_shrinkage),
		cmocka_unit_test(the_hand_s_scale_is_the_best),
	};
	return cmocka_run_group_tests(tests, NULL, NULL);
}
