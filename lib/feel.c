/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * What the hand feels: an ordered probit on the loss, its cut points learned with shrinkage.
 */
#include <gsl/gsl_cdf.h>
#include <gsl/gsl_multimin.h>
#include <math.h>
#include <stdbool.h>

#include "lib/learn.h"

enum { N_CUTS = WT_FEEL_COUNT - 1, N_FREE = N_CUTS + 2 };

/* How far hands differ from the default: all cuts together, each by itself, and the log of the
 * spread of one judgement.  Our choice. */
static const double shift_sd_pct = 3.0, cut_sd_pct = 1.5, spread_ln_sd = 0.3;
/* A slip of word or of load: any step is then as likely.  Our choice. */
static const double slip = 0.02;

void wt_feel_scale_default(struct wt_feel_scale *out)
{
	/* Common practice, no source. */
	static const struct wt_feel_scale scale = {{5.0, 11.0, 20.0, 32.0}, 3.0};
	*out = scale;
}

struct problem {
	const struct wt_feel_pair *pairs;
	size_t n;
	struct wt_feel_scale centre;
};

static void scale_at(const struct problem *problem, const gsl_vector *x, struct wt_feel_scale *out)
{
	for (size_t k = 0; k < N_CUTS; k++)
		out->cut_loss_pct[k] = problem->centre.cut_loss_pct[k] +
				       shift_sd_pct * gsl_vector_get(x, 0) +
				       cut_sd_pct * gsl_vector_get(x, 1 + k);
	out->sd_loss_pct =
		problem->centre.sd_loss_pct * exp(spread_ln_sd * gsl_vector_get(x, N_CUTS + 1));
}

static bool scale_ascends(const struct wt_feel_scale *scale)
{
	for (size_t k = 1; k < N_CUTS; k++) {
		if (!(scale->cut_loss_pct[k] > scale->cut_loss_pct[k - 1] + 0.2))
			return false;
	}
	return scale->cut_loss_pct[0] > 0.0;
}

static double cost(const gsl_vector *x, void *context)
{
	const struct problem *problem = context;
	struct wt_feel_scale scale;
	scale_at(problem, x, &scale);
	if (!scale_ascends(&scale))
		return 1e9;
	double sum = 0.0;
	for (size_t i = 0; i < N_FREE; i++)
		sum += 0.5 * gsl_vector_get(x, i) * gsl_vector_get(x, i);
	for (size_t i = 0; i < problem->n; i++) {
		const struct wt_feel_pair *pair = &problem->pairs[i];
		const double sd = hypot(scale.sd_loss_pct, pair->loss_sd_pct);
		const int step = (int)pair->step;
		const double above =
			step == N_CUTS ? 1.0
				       : gsl_cdf_ugaussian_P(
						 (scale.cut_loss_pct[step] - pair->loss_pct) / sd);
		const double below =
			step == 0 ? 0.0
				  : gsl_cdf_ugaussian_P(
					    (scale.cut_loss_pct[step - 1] - pair->loss_pct) / sd);
		sum -= log(slip / WT_FEEL_COUNT + (1.0 - slip) * (above - below));
	}
	return sum;
}

static enum wt_status minimise(struct problem *problem, gsl_vector *x)
{
	gsl_vector *step = gsl_vector_alloc(N_FREE);
	gsl_multimin_fminimizer *search =
		gsl_multimin_fminimizer_alloc(gsl_multimin_fminimizer_nmsimplex2, N_FREE);
	enum wt_status status = WT_ERR_NOMEM;
	if (step == NULL || search == NULL)
		goto out;
	gsl_vector_set_all(step, 0.5);
	gsl_multimin_function f = {cost, N_FREE, problem};
	status = WT_ERR_NOCONV;
	if (gsl_multimin_fminimizer_set(search, &f, x, step) != 0)
		goto out;
	for (int i = 0; i < 3000; i++) {
		if (gsl_multimin_fminimizer_iterate(search) != 0 ||
		    gsl_multimin_fminimizer_size(search) < 1e-4)
			break;
	}
	gsl_vector_memcpy(x, search->x);
	status = WT_OK;
out:
	gsl_vector_free(step);
	if (search != NULL)
		gsl_multimin_fminimizer_free(search);
	return status;
}

enum wt_status wt_feel_scale_fit(const struct wt_feel_pair *pairs, size_t n,
				 struct wt_feel_scale *out)
{
	if (out == NULL || (n > 0 && pairs == NULL))
		return WT_ERR_ARG;
	for (size_t i = 0; i < n; i++) {
		if (!isfinite(pairs[i].loss_pct) || !(pairs[i].loss_sd_pct >= 0.0) ||
		    isinf(pairs[i].loss_sd_pct) || (unsigned)pairs[i].step >= WT_FEEL_COUNT)
			return WT_ERR_ARG;
	}
	struct problem problem = {.pairs = pairs, .n = n};
	wt_feel_scale_default(&problem.centre);
	if (n == 0) {
		*out = problem.centre;
		return WT_OK;
	}
	gsl_vector *x = gsl_vector_calloc(N_FREE);
	if (x == NULL)
		return WT_ERR_NOMEM;
	const enum wt_status status = minimise(&problem, x);
	if (status == WT_OK)
		scale_at(&problem, x, out);
	gsl_vector_free(x);
	return status;
}
