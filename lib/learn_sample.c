/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * Quasi-random normals and mixtures of normals to propose members from.
 */
#include <gsl/gsl_cdf.h>
#include <gsl/gsl_qrng.h>
#include <math.h>
#include <string.h>

#include "lib/learn_internal.h"

enum { D = WT_LEARN_DIMS };

/* Steele, Lea and Flood 2014, SplitMix64 (as open code has it). */
static uint64_t mix64(uint64_t *state)
{
	uint64_t z = *state += 0x9e3779b97f4a7c15u;
	z = (z ^ (z >> 30)) * 0xbf58476d1ce4e5b9u;
	z = (z ^ (z >> 27)) * 0x94d049bb133111ebu;
	return z ^ (z >> 31);
}

enum wt_status wt_learn_normals(size_t n, uint64_t seed, double *out)
{
	gsl_qrng *sobol = gsl_qrng_alloc(gsl_qrng_sobol, D + 1);
	if (sobol == NULL)
		return WT_ERR_NOMEM;
	double turn[D + 1], point[D + 1];
	for (size_t d = 0; d <= D; d++)
		turn[d] = (double)(mix64(&seed) >> 11) * 0x1.0p-53;
	for (size_t i = 0; i < n; i++) {
		gsl_qrng_get(sobol, point);
		for (size_t d = 0; d <= D; d++) {
			double u = point[d] + turn[d];
			u -= floor(u);
			u = fmin(fmax(u, 1e-9), 1.0 - 1e-9);
			out[d * n + i] = d < D ? gsl_cdf_ugaussian_Pinv(u) : u;
		}
	}
	gsl_qrng_free(sobol);
	return WT_OK;
}

void wt_learn_standard(struct wt_learn_normal *out)
{
	memset(out, 0, sizeof(*out));
	out->weight = 1.0;
	for (size_t d = 0; d < D; d++)
		out->lower[d][d] = 1.0;
}

void wt_learn_draw(const struct wt_learn_mixture *mixture, const double *normals, size_t from,
		   size_t n, struct wt_learn_sample *sample)
{
	for (size_t i = 0; i < n; i++) {
		double left = normals[D * n + i];
		size_t c = 0;
		while (c + 1 < mixture->n && left >= mixture->part[c].weight)
			left -= mixture->part[c++].weight;
		const struct wt_learn_normal *part = &mixture->part[c];
		for (size_t d = 0; d < D; d++) {
			double z = part->mean[d];
			for (size_t k = 0; k <= d; k++)
				z += part->lower[d][k] * normals[k * n + i];
			sample->z[d * sample->stride + from + i] = z;
		}
	}
}

/* Members done side by side, so that the compiler can use wide registers. */
enum { LANES = 32 };

static void part_log(const struct wt_learn_normal *part, const struct wt_learn_sample *sample,
		     size_t from, size_t n, double out[LANES])
{
	double away[D][LANES], square[LANES] = {0};
	for (size_t d = 0; d < D; d++) {
		const double *z = &sample->z[d * sample->stride + from];
		for (size_t i = 0; i < LANES; i++)
			away[d][i] = (i < n ? z[i] : 0.0) - part->mean[d];
		for (size_t k = 0; k < d; k++) {
			const double l = part->lower[d][k];
			for (size_t i = 0; i < LANES; i++)
				away[d][i] -= l * away[k][i];
		}
		const double over = 1.0 / part->lower[d][d];
		for (size_t i = 0; i < LANES; i++) {
			away[d][i] *= over;
			square[i] += away[d][i] * away[d][i];
		}
	}
	const double constant = log(part->weight) - part->log_det;
	for (size_t i = 0; i < n; i++)
		out[i] = constant - 0.5 * square[i];
}

static double log_sum(double a, double b)
{
	const double most = fmax(a, b);
	return isinf(most) ? most : most + log1p(exp(fmin(a, b) - most));
}

void wt_learn_add_proposal(const struct wt_learn_mixture *mixture, size_t n_drawn, size_t from,
			   size_t to, struct wt_learn_sample *sample)
{
	const double count = log((double)n_drawn);
	for (size_t start = from; start < to; start += LANES) {
		const size_t n = to - start < LANES ? to - start : LANES;
		for (size_t c = 0; c < mixture->n; c++) {
			double logs[LANES];
			part_log(&mixture->part[c], sample, start, n, logs);
			for (size_t i = 0; i < n; i++)
				sample->log_proposal[start + i] =
					log_sum(sample->log_proposal[start + i], count + logs[i]);
		}
	}
}
