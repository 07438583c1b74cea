/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * Posterior of one load: it narrows, it holds, it is not led astray by one wrong reading.
 */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>
#include <gsl/gsl_cdf.h>
#include <gsl/gsl_randist.h>
#include <gsl/gsl_rng.h>
#include <stdio.h>
#include <string.h>

#include "tests/learn/learn_case.h"
#include "tests/physics/table.h"

enum { MEMBERS = 1024, MOST = 200 };

struct found {
	enum wt_status status;
	struct wt_learn_report report;
	struct wt_observation_report each[MOST];
	struct wt_members *members;
};

static void learn(const struct learn_case *c, const struct wt_observation *o, size_t n,
		  struct found *out)
{
	struct wt_feel_scale feel;
	wt_feel_scale_default(&feel);
	assert_int_equal(wt_members_new(MEMBERS, &out->members), WT_OK);
	out->status = wt_learn_posterior(&c->load, c->drive, &c->prior, &feel, o, n, 7,
					 out->members, &out->report, out->each);
}

static struct wt_observation weighing(const struct learn_case *c, double ln_pace, double hours,
				      double factor)
{
	double kg, loss;
	assert_int_equal(learn_case_truth(c, ln_pace, hours, &kg, &loss), 0);
	return (struct wt_observation){WT_OBSERVED_WEIGHT, CASE_START_S + (int64_t)(hours * 3600.0),
				       kg * factor};
}

/* Mean and sd over the members of the loss after some hours. */
static void loss_after(const struct learn_case *c, const struct wt_members *members, double hours,
		       double *mean, double *sd)
{
	float loss[MEMBERS];
	const int64_t at = CASE_START_S + (int64_t)(hours * 3600.0);
	assert_int_equal(wt_ensemble_observe(&c->load, c->drive, members, &at, 1, loss, NULL),
			 WT_OK);
	double first = 0, second = 0;
	for (size_t i = 0; i < members->n; i++) {
		first += loss[i];
		second += (double)loss[i] * loss[i];
	}
	*mean = first / (double)members->n;
	*sd = sqrt(fmax(second / (double)members->n - *mean * *mean, 0.0));
}

static void nothing_observed_gives_the_prior(void **state)
{
	(void)state;
	struct learn_case c;
	struct found f;
	assert_int_equal(learn_case_make(10, &c), 0);
	learn(&c, NULL, 0, &f);
	assert_int_equal(f.status, WT_OK);
	double sum = 0;
	for (size_t i = 0; i < MEMBERS; i++)
		sum += f.members->theta[WT_DIM_PACE][i];
	assert_true(fabs(sum / MEMBERS - c.prior.mean[WT_DIM_PACE]) < 0.02);
	assert_true(fabs(f.report.sd[WT_DIM_PACE] - sqrt(c.prior.cov[0][0])) < 1e-9);
	wt_members_free(&f.members);
	learn_case_free(&c);
}

static void weighings_narrow_and_hold_the_truth(void **state)
{
	(void)state;
	const double hours[] = {3, 5, 7, 10, 14};
	for (int turn = 0; turn < 3; turn++) {
		struct learn_case c;
		struct wt_observation o[5];
		double mean, sd, before, sd_before, kg, truth;
		struct found f, none;
		assert_int_equal(learn_case_make(20, &c), 0);
		const double pace = -0.5 + 0.5 * turn;
		for (size_t i = 0; i < 5; i++)
			o[i] = weighing(&c, pace, hours[i], 1.0);
		learn(&c, NULL, 0, &none);
		learn(&c, o, 5, &f);
		assert_int_equal(f.status, WT_OK);
		assert_true(f.report.ess >= 200);
		assert_int_equal(learn_case_truth(&c, pace, 18, &kg, &truth), 0);
		loss_after(&c, none.members, 18, &before, &sd_before);
		loss_after(&c, f.members, 18, &mean, &sd);
		assert_true(sd < 0.35 * sd_before);
		assert_true(fabs(mean - truth) < 2.0 * sd);
		for (size_t i = 0; i < 5; i++)
			assert_true(f.each[i].trust > 0.9 && fabs(f.each[i].surprise) < 1.5);
		wt_members_free(&none.members);
		wt_members_free(&f.members);
		learn_case_free(&c);
	}
}

static void one_wrong_reading_is_named_and_barely_moves(void **state)
{
	(void)state;
	const double hours[] = {3, 5, 7, 10};
	struct learn_case c;
	struct wt_observation o[4];
	struct found right, wrong;
	double mean, sd, mean_wrong, sd_wrong;
	assert_int_equal(learn_case_make(20, &c), 0);
	for (size_t i = 0; i < 4; i++)
		o[i] = weighing(&c, 0.2, hours[i], 1.0);
	learn(&c, o, 4, &right);
	o[2].value *= 1.08;
	learn(&c, o, 4, &wrong);
	loss_after(&c, right.members, 18, &mean, &sd);
	loss_after(&c, wrong.members, 18, &mean_wrong, &sd_wrong);
	assert_true(fabs(mean - mean_wrong) < 0.3 * sd);
	assert_true(wrong.each[2].trust < 0.1 && wrong.each[2].surprise > 3.0);
	/* Said in kilograms: what it should have read. */
	assert_true(fabs(wrong.each[2].expected - o[2].value / 1.08) < 0.1);
	assert_true(wrong.each[0].trust > 0.9 && wrong.each[3].trust > 0.9);
	wt_members_free(&right.members);
	wt_members_free(&wrong.members);
	learn_case_free(&c);
}

static void a_lone_contradiction_widens(void **state)
{
	(void)state;
	struct learn_case c;
	struct found f, sound;
	double mean, sd, sd_wrong;
	assert_int_equal(learn_case_make(20, &c), 0);
	/* A garden known well: the reading is doubted more than the leaf. */
	c.prior.cov[WT_DIM_PACE][WT_DIM_PACE] = 0.15 * 0.15;
	struct wt_observation o = weighing(&c, 0.0, 4, 1.0);
	learn(&c, &o, 1, &sound);
	o.value *= 1.12;
	learn(&c, &o, 1, &f);
	assert_int_equal(f.status, WT_OK);
	loss_after(&c, sound.members, 12, &mean, &sd);
	loss_after(&c, f.members, 12, &mean, &sd_wrong);
	assert_true(sd_wrong > 1.05 * sd);
	assert_true(fabs(f.report.mean[WT_DIM_PACE]) < 0.15);
	assert_true(f.each[0].trust < 0.3 && f.each[0].surprise > 3.0);
	wt_members_free(&f.members);
	wt_members_free(&sound.members);
	learn_case_free(&c);
}

static void cell_tells_the_loss_closely(void **state)
{
	(void)state;
	struct learn_case c;
	struct wt_observation o[MOST];
	size_t n = 0;
	double mean, sd, kg, truth;
	struct found f;
	assert_int_equal(learn_case_make(20, &c), 0);
	for (double h = 0.25; h < 10.0; h += 1.0 / 12.0, n++) {
		o[n] = weighing(&c, 0.3, h, 1.0 / c.load.fresh_kg);
		o[n].kind = WT_OBSERVED_CELL;
		o[n].value *= 1.0 + 0.001 * sin((double)(n * n));
	}
	learn(&c, o, n, &f);
	assert_int_equal(f.status, WT_OK);
	assert_true(f.report.ess >= 200);
	assert_int_equal(learn_case_truth(&c, 0.3, 12, &kg, &truth), 0);
	loss_after(&c, f.members, 12, &mean, &sd);
	assert_true(sd < 1.0 && fabs(mean - truth) < 1.5 * sd);
	wt_members_free(&f.members);
	learn_case_free(&c);
}

/* Rain leaf whose water goes otherwise than any member's: much of it evenly within four hours, the
 * leaf's own in waves. Such readings widen; they must not leave a handful of members. */
static void a_cell_no_member_follows_leaves_members_enough(void **state)
{
	(void)state;
	struct learn_case c;
	struct wt_observation o[MOST];
	struct found f;
	double mean, sd;
	assert_int_equal(learn_case_make(20, &c), 0);
	c.load.wet = WT_WET_WET;
	assert_int_equal(wt_traits_prior(&c.load, &c.prior), WT_OK);
	for (int last_h = 5; last_h <= 14; last_h += 3) {
		size_t n = 0;
		for (double h = 0.25; h < last_h && n < MOST; h += 1.0 / 12.0, n++) {
			const double surface = 0.14 * fmax(1.0 - h / 4.0, 0.0);
			const double tissue = 1.0 - 0.011 * h + 0.004 * sin(h);
			o[n] = (struct wt_observation){
				WT_OBSERVED_CELL, CASE_START_S + (int64_t)(h * 3600.0),
				(tissue + surface) / 1.14 + 0.0005 * sin((double)(n * n))};
		}
		learn(&c, o, n, &f);
		assert_int_equal(f.status, WT_OK);
		assert_true(f.report.ess >= 200);
		loss_after(&c, f.members, last_h, &mean, &sd);
		assert_true(sd > 0.1 && fabs(mean - 1.1 * last_h) < 3.0);
		wt_members_free(&f.members);
	}
	learn_case_free(&c);
}

static void hand_feel_moves_gently(void **state)
{
	(void)state;
	struct learn_case c;
	struct found f;
	double slack, crisp, sd, sd_none;
	assert_int_equal(learn_case_make(20, &c), 0);
	struct wt_observation o = {WT_OBSERVED_FEEL, CASE_START_S + 6 * 3600, WT_FEEL_LIMP};
	learn(&c, NULL, 0, &f);
	loss_after(&c, f.members, 6, &slack, &sd_none);
	wt_members_free(&f.members);
	learn(&c, &o, 1, &f);
	loss_after(&c, f.members, 6, &slack, &sd);
	wt_members_free(&f.members);
	assert_true(sd < 0.9 * sd_none);
	o.value = WT_FEEL_SLACK;
	learn(&c, &o, 1, &f);
	loss_after(&c, f.members, 6, &slack, &sd);
	wt_members_free(&f.members);
	o.value = WT_FEEL_CRISP;
	learn(&c, &o, 1, &f);
	assert_true(isnan(f.each[0].expected));
	loss_after(&c, f.members, 6, &crisp, &sd);
	wt_members_free(&f.members);
	assert_true(slack > crisp + 4.0);
	learn_case_free(&c);
}

/* A sample tray and a load cell are not lessened by leaf taken from the load for a firing. */
static void leaf_taken_does_not_lessen_a_sample(void **state)
{
	(void)state;
	struct learn_case c;
	struct found whole, part;
	double mean, mean_part, sd, kg, loss;
	assert_int_equal(learn_case_make(20, &c), 0);
	assert_int_equal(learn_case_truth(&c, 0.2, 9, &kg, &loss), 0);
	const struct wt_observation o = {WT_OBSERVED_SAMPLE, CASE_START_S + 9 * 3600,
					 kg / c.load.fresh_kg};
	learn(&c, &o, 1, &whole);
	const struct wt_bed_event taken = {
		.at_unix_s = CASE_START_S + 8 * 3600, .area_m2 = NAN, .fan = -1, .taken_kg = 3.0};
	c.load.events = &taken;
	c.load.n_events = 1;
	learn(&c, &o, 1, &part);
	assert_int_equal(part.status, WT_OK);
	assert_true(part.each[0].trust > 0.9);
	loss_after(&c, whole.members, 9, &mean, &sd);
	loss_after(&c, part.members, 9, &mean_part, &sd);
	assert_true(fabs(mean - mean_part) < 0.7);
	assert_true(fabs(mean_part - loss) < 2.0 * sd);
	wt_members_free(&whole.members);
	wt_members_free(&part.members);
	learn_case_free(&c);
}

/* More weighings than the likelihood takes singly: put in blocks, none refused, each reported. */
static void very_many_weighings_are_taken(void **state)
{
	(void)state;
	struct learn_case c;
	struct wt_observation o[MOST];
	struct found f;
	assert_int_equal(learn_case_make(20, &c), 0);
	for (size_t i = 0; i < MOST; i++)
		o[i] = weighing(&c, 0.2, 1.0 + 0.08 * (double)i, 1.0 + 0.01 * sin(7.0 * (double)i));
	learn(&c, o, MOST, &f);
	assert_int_equal(f.status, WT_OK);
	for (size_t i = 0; i < MOST; i++)
		assert_true(f.each[i].trust > 0.8 && isfinite(f.each[i].expected));
	double mean, sd, kg, loss;
	assert_int_equal(learn_case_truth(&c, 0.2, 17, &kg, &loss), 0);
	loss_after(&c, f.members, 17, &mean, &sd);
	assert_true(sd < 1.5 && fabs(mean - loss) < 2.0 * sd);
	wt_members_free(&f.members);
	learn_case_free(&c);
}

static void same_inputs_same_members(void **state)
{
	(void)state;
	struct learn_case c;
	struct found a, b;
	assert_int_equal(learn_case_make(12, &c), 0);
	struct wt_observation o = weighing(&c, 0.1, 4, 1.01);
	learn(&c, &o, 1, &a);
	learn(&c, &o, 1, &b);
	for (int d = 0; d < WT_DIM_COUNT; d++)
		assert_memory_equal(a.members->theta[d], b.members->theta[d],
				    MEMBERS * sizeof(float));
	/* No member stands twice. */
	for (size_t i = 1; i < MEMBERS; i++)
		assert_true(a.members->theta[0][i] != a.members->theta[0][i - 1]);
	wt_members_free(&a.members);
	wt_members_free(&b.members);
	learn_case_free(&c);
}

static void wrong_input_is_refused(void **state)
{
	(void)state;
	struct learn_case c;
	struct found f;
	assert_int_equal(learn_case_make(12, &c), 0);
	struct wt_observation o[2] = {{WT_OBSERVED_WEIGHT, CASE_START_S + 7200, NAN},
				      {WT_OBSERVED_WEIGHT, CASE_START_S + 3600, 7.0}};
	learn(&c, o, 1, &f);
	assert_int_equal(f.status, WT_ERR_ARG);
	wt_members_free(&f.members);
	o[0].value = 7.0;
	learn(&c, o, 2, &f);
	assert_int_equal(f.status, WT_ERR_ARG);
	wt_members_free(&f.members);
	o[0].value = -1.0;
	learn(&c, o, 1, &f);
	assert_int_equal(f.status, WT_ERR_RANGE);
	wt_members_free(&f.members);
	o[0] = (struct wt_observation){WT_OBSERVED_WEIGHT, CASE_START_S + 40 * 3600, 7.0};
	learn(&c, o, 1, &f);
	assert_int_not_equal(f.status, WT_OK);
	wt_members_free(&f.members);
	learn_case_free(&c);
}

/* --- the posterior by brute force ---------------------------------------------------------- */

enum { MANY = 200000 };

/* The likelihood as lib/learn.h and its constants have it, written anew: sound readings and others.
 */
static double two_normals(double away, double reading_sd, double model_sd, double chance)
{
	double sd = hypot(reading_sd, model_sd), wide = hypot(12.0, sd);
	return (1.0 - chance) * gsl_ran_gaussian_pdf(away, sd) +
	       chance * gsl_ran_gaussian_pdf(away, wide);
}

static double likelihood(const struct learn_case *c, const struct wt_observation *o,
			 double loss_pct, double weight_kg, double fresh_error_pct,
			 double tray_error)
{
	struct wt_feel_scale feel;
	wt_feel_scale_default(&feel);
	if (o->kind == WT_OBSERVED_FEEL) {
		/* A step between two cuts. */
		const size_t k = (size_t)o->value;
		const double middle = 0.5 * (feel.cut_loss_pct[k - 1] + feel.cut_loss_pct[k]);
		const double sd = hypot(feel.sd_loss_pct, hypot(0.15, 0.03 * middle));
		return 0.05 / WT_FEEL_COUNT +
		       0.95 * (gsl_cdf_ugaussian_P((feel.cut_loss_pct[k] - loss_pct) / sd) -
			       gsl_cdf_ugaussian_P((feel.cut_loss_pct[k - 1] - loss_pct) / sd));
	}
	const bool tray = o->kind == WT_OBSERVED_SAMPLE;
	const double read = tray ? o->value : o->value / c->load.fresh_kg;
	const double share = weight_kg / c->load.fresh_kg;
	const double seen = tray ? 100.0 * log(1.0 - (1.0 - share) * exp(0.04 * tray_error))
				 : 100.0 * log(share) + 0.7 * fresh_error_pct;
	const double model = hypot(0.15, 3.0 * (1.0 - read)) / read;
	return two_normals(100.0 * log(read) - seen, tray ? 0.5 : hypot(1.0, 1.0 / o->value), model,
			   0.08);
}

/* Mean and sd, under prior times likelihood, of ln pace and of the loss after 18 h: members drawn
 * from the prior by GSL's Mersenne twister, each weighed by its likelihood.  Returns the effective
 * number of them. */
static double by_brute_force(const struct learn_case *c, const struct wt_observation *o, size_t n,
			     double mean[2], double sd[2])
{
	static float loss[5 * MANY], weight[5 * MANY];
	gsl_rng *random = gsl_rng_alloc(gsl_rng_mt19937);
	struct wt_members *members;
	int64_t at[5];
	double sums[6] = {0}, squares = 0.0;
	assert_int_equal(wt_members_new(MANY, &members), WT_OK);
	for (size_t i = 0; i < MANY; i++)
		for (int d = 0; d < WT_DIM_COUNT; d++)
			members->theta[d][i] =
				(float)(c->prior.mean[d] +
					gsl_ran_gaussian(random, sqrt(c->prior.cov[d][d])));
	for (size_t k = 0; k < n; k++)
		at[k] = o[k].at_unix_s;
	at[n] = CASE_START_S + 18 * 3600;
	assert_int_equal(wt_ensemble_observe(&c->load, c->drive, members, at, n + 1, loss, weight),
			 WT_OK);
	for (size_t i = 0; i < MANY; i++) {
		const double fresh = gsl_ran_ugaussian(random), tray = gsl_ran_ugaussian(random);
		double w = 1.0;
		for (size_t k = 0; k < n; k++)
			w *= likelihood(c, &o[k], loss[k * MANY + i], weight[k * MANY + i], fresh,
					tray);
		const double x[2] = {members->theta[WT_DIM_PACE][i], loss[n * MANY + i]};
		sums[0] += w;
		squares += w * w;
		for (size_t j = 0; j < 2; j++) {
			sums[1 + j] += w * x[j];
			sums[3 + j] += w * x[j] * x[j];
		}
	}
	for (size_t j = 0; j < 2; j++) {
		mean[j] = sums[1 + j] / sums[0];
		sd[j] = sqrt(sums[3 + j] / sums[0] - mean[j] * mean[j]);
	}
	gsl_rng_free(random);
	wt_members_free(&members);
	return sums[0] * sums[0] / squares;
}

static void members_are_those_of_brute_force(void **state)
{
	(void)state;
	static const char *const names[] = {"two weighings", "three, the second 8 % off",
					    "a tray of its own, then the hand"};
	static const char source[] = "plain importance sampling, 200 000 members of GSL's mt19937";
	struct learn_case c;
	assert_int_equal(learn_case_make(20, &c), 0);
	table_begin("Posterior of a load: our 1024 members against brute force");
	for (int turn = 0; turn < 3; turn++) {
		struct wt_observation o[4];
		struct found f;
		double mean[2], sd[2], pace = 0.0, pace_square = 0.0, ours[2], ours_sd[2], kg, loss;
		size_t n = 0;
		char name[80];
		if (turn < 2) {
			o[n++] = weighing(&c, 0.3, 4.0, 1.0);
			if (turn == 1)
				o[n++] = weighing(&c, 0.3, 6.5, 1.08);
			o[n++] = weighing(&c, 0.3, 9.0, 1.0);
		} else {
			assert_int_equal(learn_case_truth(&c, -0.4, 6.0, &kg, &loss), 0);
			o[n++] = (struct wt_observation){
				WT_OBSERVED_SAMPLE, CASE_START_S + 6 * 3600, kg / c.load.fresh_kg};
			o[n++] = (struct wt_observation){WT_OBSERVED_FEEL, CASE_START_S + 10 * 3600,
							 WT_FEEL_LIMP};
		}
		learn(&c, o, n, &f);
		assert_int_equal(f.status, WT_OK);
		const double ess = by_brute_force(&c, o, n, mean, sd);
		assert_true(ess > 2000.0);
		for (size_t i = 0; i < MEMBERS; i++) {
			pace += f.members->theta[WT_DIM_PACE][i] / MEMBERS;
			pace_square += f.members->theta[WT_DIM_PACE][i] *
				       f.members->theta[WT_DIM_PACE][i] / MEMBERS;
		}
		ours[0] = pace;
		ours_sd[0] = sqrt(pace_square - pace * pace);
		loss_after(&c, f.members, 18, &ours[1], &ours_sd[1]);
		printf("%s: effective number of brute force %.0f\n", names[turn], ess);
		for (int j = 0; j < 2; j++) {
			const char *what = j ? "loss after 18 h, %" : "ln pace";
			snprintf(name, sizeof name, "%s: mean of %s", names[turn], what);
			table_value(name, source, mean[j], 0.1 * sd[j], ours[j]);
			snprintf(name, sizeof name, "%s: sd of %s", names[turn], what);
			table_value(name, source, sd[j], 0.1 * sd[j], ours_sd[j]);
		}
		wt_members_free(&f.members);
	}
	learn_case_free(&c);
	assert_int_equal(table_surprises(), 0);
}

int main(void)
{
	const struct CMUnitTest tests[] = {
		cmocka_unit_test(nothing_observed_gives_the_prior),
		cmocka_unit_test(members_are_those_of_brute_force),
		cmocka_unit_test(weighings_narrow_and_hold_the_truth),
		cmocka_unit_test(one_wrong_reading_is_named_and_barely_moves),
		cmocka_unit_test(a_lone_contradiction_widens),
		cmocka_unit_test(cell_tells_the_loss_closely),
		cmocka_unit_test(a_cell_no_member_follows_leaves_members_enough),
		cmocka_unit_test(hand_feel_moves_gently),
		cmocka_unit_test(leaf_taken_does_not_lessen_a_sample),
		cmocka_unit_test(very_many_weighings_are_taken),
		cmocka_unit_test(same_inputs_same_members),
		cmocka_unit_test(wrong_input_is_refused),
	};
	return cmocka_run_group_tests(tests, NULL, NULL);
}
