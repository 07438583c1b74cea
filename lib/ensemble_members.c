/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "lib/ensemble.h"

#include <gsl/gsl_cdf.h>
#include <gsl/gsl_errno.h>
#include <gsl/gsl_qrng.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

enum { MOST_MEMBERS = 1 << 20 };

enum wt_status wt_members_new(size_t n, struct wt_members **out)
{
	if (!out || n == 0)
		return WT_ERR_ARG;
	if (n > MOST_MEMBERS)
		return WT_ERR_RANGE;
	struct wt_members *members = calloc(1, sizeof *members);
	float *all = calloc(n * WT_DIM_COUNT, sizeof *all);
	if (!members || !all) {
		free(members);
		free(all);
		return WT_ERR_NOMEM;
	}
	members->n = n;
	for (size_t d = 0; d < WT_DIM_COUNT; d++)
		members->theta[d] = all + d * n;
	*out = members;
	return WT_OK;
}

void wt_members_free(struct wt_members **members)
{
	if (!members || !*members)
		return;
	free((*members)->theta[0]);
	free(*members);
	*members = NULL;
}

/* Lower root of a covariance matrix.  A dimension whose rest variance is nothing beside its own
 * gets a zero column: it is fixed, or follows the ones before it. */
static enum wt_status root_of(const double cov[WT_DIM_COUNT][WT_DIM_COUNT],
			      double root[WT_DIM_COUNT][WT_DIM_COUNT])
{
	memset(root, 0, sizeof(double) * WT_DIM_COUNT * WT_DIM_COUNT);
	for (int j = 0; j < WT_DIM_COUNT; j++) {
		double rest = cov[j][j];
		for (int k = 0; k < j; k++)
			rest -= root[j][k] * root[j][k];
		double small = 1e-10 * cov[j][j];
		if (cov[j][j] < 0.0 || rest < -1e-6 * cov[j][j])
			return WT_ERR_ARG;
		if (rest <= small)
			continue;
		root[j][j] = sqrt(rest);
		for (int i = j + 1; i < WT_DIM_COUNT; i++) {
			double sum = cov[i][j];
			for (int k = 0; k < j; k++)
				sum -= root[i][k] * root[j][k];
			root[i][j] = sum / root[j][j];
		}
	}
	return WT_OK;
}

static uint64_t next_random(uint64_t *state)
{
	/* SplitMix64 (Steele, Lea and Flood 2014; as open code has it). */
	uint64_t z = (*state += UINT64_C(0x9e3779b97f4a7c15));
	z = (z ^ (z >> 30)) * UINT64_C(0xbf58476d1ce4e5b9);
	z = (z ^ (z >> 27)) * UINT64_C(0x94d049bb133111eb);
	return z ^ (z >> 31);
}

static bool gauss_is_finite(const struct wt_gauss *gauss)
{
	for (int i = 0; i < WT_DIM_COUNT; i++) {
		if (!isfinite(gauss->mean[i]))
			return false;
		for (int j = 0; j < WT_DIM_COUNT; j++)
			if (!isfinite(gauss->cov[i][j]))
				return false;
	}
	return true;
}

enum wt_status wt_members_draw(const struct wt_gauss *gauss, uint64_t seed,
			       struct wt_members *members)
{
	if (!gauss || !members || members->n == 0 || !gauss_is_finite(gauss))
		return WT_ERR_ARG;
	double root[WT_DIM_COUNT][WT_DIM_COUNT];
	enum wt_status status = root_of(gauss->cov, root);
	if (status != WT_OK)
		return status;
	gsl_qrng *sobol = gsl_qrng_alloc(gsl_qrng_sobol, WT_DIM_COUNT);
	if (!sobol)
		return WT_ERR_NOMEM;
	double shift[WT_DIM_COUNT];
	uint64_t state = seed;
	for (int d = 0; d < WT_DIM_COUNT; d++)
		shift[d] = (double)(next_random(&state) >> 11) * 0x1p-53;
	for (size_t i = 0; i < members->n; i++) {
		double u[WT_DIM_COUNT], z[WT_DIM_COUNT];
		gsl_qrng_get(sobol, u);
		for (int d = 0; d < WT_DIM_COUNT; d++) {
			double p = u[d] + shift[d];
			p -= p >= 1.0 ? 1.0 : 0.0;
			z[d] = gsl_cdf_ugaussian_Pinv(fmin(fmax(p, 1e-9), 1.0 - 1e-9));
		}
		for (int d = 0; d < WT_DIM_COUNT; d++) {
			double x = gauss->mean[d];
			for (int k = 0; k <= d; k++)
				x += root[d][k] * z[k];
			members->theta[d][i] = (float)x;
		}
	}
	gsl_qrng_free(sobol);
	return WT_OK;
}

enum wt_status wt_outcome_new(size_t n, const int64_t *mark_unix_s, size_t n_marks,
			      struct wt_outcome **out)
{
	if (!out || n == 0 || (n_marks > 0 && !mark_unix_s))
		return WT_ERR_ARG;
	if (n > MOST_MEMBERS || n_marks > 100000)
		return WT_ERR_RANGE;
	for (size_t k = 1; k < n_marks; k++)
		if (mark_unix_s[k] < mark_unix_s[k - 1])
			return WT_ERR_ARG;
	struct wt_outcome *outcome = calloc(1, sizeof *outcome);
	if (!outcome)
		return WT_ERR_NOMEM;
	outcome->n = n;
	outcome->n_marks = n_marks;
	outcome->ready_unix_s = malloc(n * sizeof(double));
	outcome->past_unix_s = malloc(n * sizeof(double));
	outcome->loss_now_pct = malloc(n * sizeof(float));
	outcome->rate_now_pct_h = malloc(n * sizeof(float));
	outcome->mark_unix_s = malloc((n_marks + 1) * sizeof(int64_t));
	outcome->mark_loss_pct = malloc((n_marks * n + 1) * sizeof(float));
	if (!outcome->ready_unix_s || !outcome->past_unix_s || !outcome->loss_now_pct ||
	    !outcome->rate_now_pct_h || !outcome->mark_unix_s || !outcome->mark_loss_pct) {
		wt_outcome_free(&outcome);
		return WT_ERR_NOMEM;
	}
	if (n_marks > 0)
		memcpy(outcome->mark_unix_s, mark_unix_s, n_marks * sizeof(int64_t));
	for (size_t i = 0; i < n; i++) {
		outcome->ready_unix_s[i] = outcome->past_unix_s[i] = HUGE_VAL;
		outcome->loss_now_pct[i] = outcome->rate_now_pct_h[i] = NAN;
	}
	for (size_t i = 0; i < n_marks * n; i++)
		outcome->mark_loss_pct[i] = NAN;
	*out = outcome;
	return WT_OK;
}

void wt_outcome_free(struct wt_outcome **outcome)
{
	if (!outcome || !*outcome)
		return;
	free((*outcome)->ready_unix_s);
	free((*outcome)->past_unix_s);
	free((*outcome)->loss_now_pct);
	free((*outcome)->rate_now_pct_h);
	free((*outcome)->mark_unix_s);
	free((*outcome)->mark_loss_pct);
	free(*outcome);
	*outcome = NULL;
}
