/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * The linear start of the posterior: what is seen as a straight function of the coordinates, and
 * the normal posteriors that follow.
 */
#include <math.h>
#include <stdint.h>
#include <string.h>

#include "lib/learn_internal.h"

enum { D = WT_LEARN_DIMS, K = WT_LEARN_VIEWS };

bool wt_learn_cholesky(double *matrix, size_t n, size_t stride)
{
	for (size_t j = 0; j < n; j++) {
		double pivot = matrix[j * stride + j];
		const double scale = fabs(pivot);
		for (size_t k = 0; k < j; k++)
			pivot -= matrix[j * stride + k] * matrix[j * stride + k];
		if (!(pivot >= -1e-9 * scale))
			return false;
		const double root = pivot > 1e-14 * scale ? sqrt(pivot) : 0.0;
		matrix[j * stride + j] = root;
		for (size_t i = j + 1; i < n; i++) {
			double sum = matrix[i * stride + j];
			for (size_t k = 0; k < j; k++)
				sum -= matrix[i * stride + k] * matrix[j * stride + k];
			matrix[i * stride + j] = root > 0.0 ? sum / root : 0.0;
			matrix[j * stride + i] = 0.0;
		}
	}
	return true;
}

void wt_learn_solve_lower(const double *lower, size_t n, size_t stride, double *b)
{
	for (size_t i = 0; i < n; i++) {
		double sum = b[i];
		for (size_t k = 0; k < i; k++)
			sum -= lower[i * stride + k] * b[k];
		b[i] = sum / lower[i * stride + i];
	}
}

void wt_learn_solve_upper(const double *lower, size_t n, size_t stride, double *b)
{
	for (size_t i = n; i-- > 0;) {
		double sum = b[i];
		for (size_t k = i + 1; k < n; k++)
			sum -= lower[k * stride + i] * b[k];
		b[i] = sum / lower[i * stride + i];
	}
}

/* Most members of a sharp posterior weigh nothing: what follows costs only those that do. */
static void gather_near(struct wt_learn_sample *s)
{
	static const double nothing = 1e-9;
	s->n_near = 0;
	for (size_t i = 0; i < s->n; i++) {
		if (s->weight[i] < nothing)
			continue;
		for (size_t a = 0; a < D; a++)
			s->near_z[a * s->stride + s->n_near] = s->z[a * s->stride + i];
		s->near_weight[s->n_near] = s->weight[i];
		s->near[s->n_near++] = i;
	}
}

/* Weighted means of the coordinates and the factor of their scatter matrix. */
static bool scatter_of(const struct wt_learn_sample *s, double mean[D], double scatter[D][D])
{
	const size_t n = s->n_near, stride = s->stride;
	double *wz = s->scratch;
	memset(scatter, 0, sizeof(double[D][D]));
	for (size_t a = 0; a < D; a++) {
		mean[a] = 0.0;
		for (size_t i = 0; i < n; i++)
			mean[a] += s->near_weight[i] * s->near_z[a * stride + i];
	}
	for (size_t a = 0; a < D; a++) {
		for (size_t i = 0; i < n; i++)
			wz[i] = s->near_weight[i] * (s->near_z[a * stride + i] - mean[a]);
		for (size_t b = 0; b <= a; b++) {
			double sum = 0.0;
			for (size_t i = 0; i < n; i++)
				sum += wz[i] * s->near_z[b * stride + i];
			scatter[a][b] = scatter[b][a] = sum;
		}
	}
	/* A trace of ridge: a coordinate that hardly varies in the sample has no slope. */
	for (size_t a = 0; a < D; a++)
		scatter[a][a] += 1e-6;
	return wt_learn_cholesky(&scatter[0][0], D, D);
}

/* Slopes and value at zero of one view; returns the weighted square of what is left. */
static double regress(const struct wt_learn_sample *s, const double mean[D], double scatter[D][D],
		      double slope[D], double *at_zero)
{
	const size_t n = s->n_near, stride = s->stride;
	double seen_mean = 0.0, rest = 0.0;
	for (size_t i = 0; i < n; i++)
		seen_mean += s->near_weight[i] * s->near_seen[i];
	for (size_t i = 0; i < n; i++)
		s->scratch[i] = s->near_weight[i] * (s->near_seen[i] - seen_mean);
	*at_zero = seen_mean;
	for (size_t a = 0; a < D; a++) {
		slope[a] = 0.0;
		for (size_t i = 0; i < n; i++)
			slope[a] += s->scratch[i] * s->near_z[a * stride + i];
	}
	wt_learn_solve_lower(&scatter[0][0], D, D, slope);
	wt_learn_solve_upper(&scatter[0][0], D, D, slope);
	for (size_t a = 0; a < D; a++)
		*at_zero -= slope[a] * mean[a];
	for (size_t i = 0; i < n; i++)
		s->scratch[i] = s->near_seen[i] - *at_zero;
	for (size_t a = 0; a < D; a++) {
		for (size_t i = 0; i < n; i++)
			s->scratch[i] -= slope[a] * s->near_z[a * stride + i];
	}
	for (size_t i = 0; i < n; i++)
		rest += s->near_weight[i] * s->scratch[i] * s->scratch[i];
	return rest;
}

bool wt_learn_fit_line(const struct wt_learn_view *views, size_t n_views,
		       struct wt_learn_sample *sample, struct wt_learn_line *out)
{
	double mean[D], scatter[D][D];
	gather_near(sample);
	if (!scatter_of(sample, mean, scatter))
		return false;
	for (size_t k = 0; k < n_views; k++) {
		const bool feel = views[k].kind == WT_OBSERVED_FEEL;
		const double *seen = feel ? sample->loss_pct : sample->seen;
		for (size_t i = 0; i < sample->n_near; i++)
			sample->near_seen[i] = seen[k * sample->stride + sample->near[i]];
		const double rest = regress(sample, mean, scatter, out->slope[k], &out->at_zero[k]);
		out->var[k] = views[k].sound_sd * views[k].sound_sd + 0.5 * rest;
	}
	return true;
}

/* Posterior of the linear model with view `without` left out: mean, factor of the precision, and
 * log evidence of the rest. */
static bool posterior_without(const struct wt_learn_view *views, size_t n_views,
			      const struct wt_learn_line *line, size_t without, double mean[D],
			      double precision[D][D], double *log_evidence)
{
	double sum = 0.0;
	memset(precision, 0, sizeof(double[D][D]));
	memset(mean, 0, sizeof(double[D]));
	for (size_t a = 0; a < D; a++)
		precision[a][a] = 1.0;
	for (size_t k = 0; k < n_views; k++) {
		if (k == without)
			continue;
		const double away = views[k].value - line->at_zero[k];
		for (size_t a = 0; a < D; a++) {
			const double scaled = line->slope[k][a] / line->var[k];
			mean[a] += scaled * away;
			for (size_t b = 0; b < D; b++)
				precision[a][b] += scaled * line->slope[k][b];
		}
		sum -= 0.5 * (away * away / line->var[k] + log(line->var[k])) +
		       0.918938533204672742;
	}
	double right[D];
	memcpy(right, mean, sizeof(right));
	if (!wt_learn_cholesky(&precision[0][0], D, D))
		return false;
	wt_learn_solve_lower(&precision[0][0], D, D, mean);
	wt_learn_solve_upper(&precision[0][0], D, D, mean);
	for (size_t a = 0; a < D; a++)
		sum += 0.5 * right[a] * mean[a] - log(precision[a][a]);
	*log_evidence = sum;
	return true;
}

/* Factor of the covariance from the factor of the precision: (P P')^-1 = P'^-1 P^-1, whose
 * Cholesky factor is found anew. */
static bool covariance_factor(double precision[D][D], struct wt_learn_normal *part)
{
	double inverse[D][D];
	for (size_t c = 0; c < D; c++) {
		double unit[D] = {0};
		unit[c] = 1.0;
		wt_learn_solve_lower(&precision[0][0], D, D, unit);
		wt_learn_solve_upper(&precision[0][0], D, D, unit);
		for (size_t r = 0; r < D; r++)
			inverse[r][c] = unit[r];
	}
	memcpy(part->lower, inverse, sizeof(inverse));
	if (!wt_learn_cholesky(&part->lower[0][0], D, D))
		return false;
	part->log_det = 0.0;
	for (size_t a = 0; a < D; a++)
		part->log_det += log(part->lower[a][a]);
	return true;
}

struct candidate {
	double log_evidence;
	size_t without;
	double mean[D];
	double precision[D][D];
};

static bool try_candidate(const struct wt_learn_view *views, size_t n_views,
			  const struct wt_learn_line *line, size_t without, struct candidate *out)
{
	if (!posterior_without(views, n_views, line, without, out->mean, out->precision,
			       &out->log_evidence))
		return false;
	out->without = without;
	if (without < n_views)
		out->log_evidence += wt_learn_unsound_log(&views[without]);
	return true;
}

void wt_learn_candidates(const struct wt_learn_view *views, size_t n_views,
			 const struct wt_learn_line *line, struct wt_learn_mixture *out,
			 size_t out_of[WT_LEARN_CANDIDATES])
{
	struct candidate kept[WT_LEARN_CANDIDATES], next;
	size_t n = 0;
	/* SIZE_MAX + 1 is 0: all sound first, then each view left out in turn. */
	for (size_t turn = 0; turn <= n_views; turn++) {
		if (!try_candidate(views, n_views, line, turn == 0 ? SIZE_MAX : turn - 1, &next))
			continue;
		size_t place = n;
		while (place > 0 && kept[place - 1].log_evidence < next.log_evidence)
			place--;
		if (place == WT_LEARN_CANDIDATES)
			continue;
		if (n < WT_LEARN_CANDIDATES)
			n++;
		for (size_t c = n - 1; c > place; c--)
			kept[c] = kept[c - 1];
		kept[place] = next;
	}
	out->n = 0;
	double total = 0.0;
	for (size_t c = 0; c < n; c++) {
		struct wt_learn_normal *part = &out->part[out->n];
		const double weight = exp(kept[c].log_evidence - kept[0].log_evidence);
		if (weight < 0.02 || !covariance_factor(kept[c].precision, part))
			continue;
		memcpy(part->mean, kept[c].mean, sizeof(part->mean));
		part->weight = weight;
		total += weight;
		out_of[out->n++] = kept[c].without;
	}
	for (size_t c = 0; c < out->n; c++)
		out->part[c].weight /= total;
}

void wt_learn_expect(const struct wt_learn_view *views, size_t n_views,
		     const struct wt_learn_line *line, const double *trust, double *expected,
		     double *sd)
{
	/* Views that are not believed lose their weight, so that they do not shift the others. */
	struct wt_learn_line softened = *line;
	for (size_t k = 0; k < n_views; k++)
		softened.var[k] /= fmax(trust[k] * trust[k], 1e-4);
	double mean[D], precision[D][D], log_evidence;
	for (size_t k = 0; k < n_views; k++) {
		expected[k] = sd[k] = NAN;
		if (!posterior_without(views, n_views, &softened, k, mean, precision,
				       &log_evidence))
			continue;
		double half[D], var = line->var[k];
		memcpy(half, line->slope[k], sizeof(half));
		wt_learn_solve_lower(&precision[0][0], D, D, half);
		expected[k] = line->at_zero[k];
		for (size_t a = 0; a < D; a++) {
			expected[k] += line->slope[k][a] * mean[a];
			var += half[a] * half[a];
		}
		sd[k] = sqrt(var);
	}
}
