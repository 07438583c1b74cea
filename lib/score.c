/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * Quantiles and proper scores: closed forms where there are any.
 *
 * Gneiting and Raftery 2007, Strictly proper scoring rules, prediction, and estimation,
 * J. Am. Stat. Assoc. 102:359-378 (from memory); Murphy 1973, A new vector partition of the
 * probability score, J. Appl. Meteorol. 12:595-600 (from memory); Hyndman and Fan 1996, Sample
 * quantiles in statistical packages, Am. Stat. 50:361-365 (from memory).  Tests hold them to values
 * that others print: tests/learn/test_score.c.
 */
#include "lib/score.h"
#include "lib/order.h"

#include <gsl/gsl_cdf.h>
#include <gsl/gsl_randist.h>
#include <math.h>
#include <stdbool.h>
#include <stdlib.h>
#include <string.h>

static int compare_doubles(const void *a, const void *b)
{
	const double x = *(const double *)a, y = *(const double *)b;
	return (x > y) - (x < y);
}

/* A sorted copy of values.  NaN cannot be put in order and is refused. */
static enum wt_status sorted_copy(const double *values, size_t n, double **out)
{
	if (values == NULL || n == 0)
		return WT_ERR_ARG;
	for (size_t i = 0; i < n; i++) {
		if (isnan(values[i]))
			return WT_ERR_ARG;
	}
	double *copy = malloc(n * sizeof(*copy));
	if (copy == NULL)
		return WT_ERR_NOMEM;
	memcpy(copy, values, n * sizeof(*copy));
	qsort(copy, n, sizeof(*copy), compare_doubles);
	*out = copy;
	return WT_OK;
}

static double between(double low, double high, double part)
{
	if (part <= 0.0)
		return low;
	if (isinf(low) || isinf(high))
		return isinf(low) ? low : high;
	return low + part * (high - low);
}

static bool probabilities_ascend(const double *probability, size_t n)
{
	if (probability == NULL)
		return false;
	for (size_t i = 0; i < n; i++) {
		if (!(probability[i] >= 0.0 && probability[i] <= 1.0))
			return false;
		if (i > 0 && probability[i] < probability[i - 1])
			return false;
	}
	return true;
}

/* Probabilities are taken so many at a time. */
#define AT_ONCE 8

/* values hold no NaN; as many more follow them for scratch. */
static void pick_quantiles(double *values, size_t n, const double *probability,
			   size_t n_probability, double *out)
{
	double picked[2 * AT_ONCE], part[AT_ONCE];
	size_t rank[2 * AT_ONCE];

	for (size_t done = 0; done < n_probability; done += AT_ONCE) {
		size_t some = n_probability - done < AT_ONCE ? n_probability - done : AT_ONCE;
		for (size_t i = 0; i < some; i++) {
			const double h = (double)(n - 1) * probability[done + i];
			const size_t low = (size_t)floor(h);
			part[i] = h - (double)low;
			rank[2 * i] = low < n - 1 ? low : n - 1;
			rank[2 * i + 1] = low + 1 < n - 1 ? low + 1 : n - 1;
		}
		wt_order_pick(values, n, rank, 2 * some, values + n, picked);
		for (size_t i = 0; i < some; i++)
			out[done + i] = between(picked[2 * i], picked[2 * i + 1], part[i]);
	}
}

/* Twice the room that n values need; NULL with *status when something is wrong. */
static double *start_quantiles(bool sound, size_t n, const double *probability,
			       size_t n_probability, const double *out, enum wt_status *status)
{
	*status = WT_ERR_ARG;
	if (!sound || n == 0 || out == NULL || !probabilities_ascend(probability, n_probability))
		return NULL;
	double *copy = malloc(2 * n * sizeof(*copy));
	*status = copy != NULL ? WT_OK : WT_ERR_NOMEM;
	return copy;
}

/* Takes the copy over. */
static enum wt_status end_quantiles(double *copy, size_t n, const double *probability,
				    size_t n_probability, double *out)
{
	int unordered = 0;
	for (size_t i = 0; i < n; i++)
		unordered += isnan(copy[i]) != 0;
	if (!unordered)
		pick_quantiles(copy, n, probability, n_probability, out);
	free(copy);
	return unordered ? WT_ERR_ARG : WT_OK;
}

enum wt_status wt_score_quantiles(const double *values, size_t n, const double *probability,
				  size_t n_probability, double *out)
{
	enum wt_status status;
	double *copy = start_quantiles(values != NULL, n, probability, n_probability, out, &status);
	if (copy == NULL)
		return status;
	memcpy(copy, values, n * sizeof(*copy));
	return end_quantiles(copy, n, probability, n_probability, out);
}

enum wt_status wt_score_quantiles_single(const float *values, size_t n, const double *probability,
					 size_t n_probability, double *out)
{
	enum wt_status status;
	double *copy = start_quantiles(values != NULL, n, probability, n_probability, out, &status);
	if (copy == NULL)
		return status;
	for (size_t i = 0; i < n; i++)
		copy[i] = (double)values[i];
	return end_quantiles(copy, n, probability, n_probability, out);
}

enum wt_status wt_score_median(const double *values, size_t n, double *out)
{
	const double half = 0.5;
	return wt_score_quantiles(values, n, &half, 1, out);
}

enum wt_status wt_score_crps_sample(const double *values, size_t n, double outcome, double *out)
{
	if (out == NULL || !isfinite(outcome))
		return WT_ERR_ARG;
	double *sorted;
	const enum wt_status status = sorted_copy(values, n, &sorted);
	if (status != WT_OK)
		return status;
	if (isinf(sorted[0]) || isinf(sorted[n - 1])) {
		free(sorted);
		return WT_ERR_RANGE;
	}
	/* Mean distance to the outcome less half the mean distance between members; the latter
	 * from the order statistics, so that the cost is that of sorting. */
	double distance = 0.0, spread = 0.0;
	const double count = (double)n;
	for (size_t i = 0; i < n; i++) {
		const double d = sorted[i] - outcome;
		distance += fabs(d);
		spread += (2.0 * (double)i + 1.0 - count) * d;
	}
	free(sorted);
	*out = distance / count - spread / (count * count);
	return WT_OK;
}

/* Integral of (a + (b - a) t / width)^2 over 0..width. */
static double square_of_line(double a, double b, double width)
{
	return width * (a * a + a * b + b * b) / 3.0;
}

enum wt_status wt_score_crps_quantiles(const double *probability, const double *quantile, size_t n,
				       double outcome, double *out)
{
	if (out == NULL || quantile == NULL || n == 0 || !isfinite(outcome) ||
	    !probabilities_ascend(probability, n))
		return WT_ERR_ARG;
	for (size_t i = 0; i < n; i++) {
		if (!isfinite(quantile[i]) || (i > 0 && quantile[i] < quantile[i - 1]))
			return WT_ERR_ARG;
	}
	double sum = fmax(quantile[0] - outcome, 0.0) + fmax(outcome - quantile[n - 1], 0.0);
	for (size_t i = 0; i + 1 < n; i++) {
		const double from = quantile[i], to = quantile[i + 1];
		const double p = probability[i], q = probability[i + 1];
		if (outcome >= to) {
			sum += square_of_line(p, q, to - from);
		} else if (outcome <= from) {
			sum += square_of_line(p - 1.0, q - 1.0, to - from);
		} else {
			const double at = p + (q - p) * (outcome - from) / (to - from);
			sum += square_of_line(p, at, outcome - from) +
			       square_of_line(at - 1.0, q - 1.0, to - outcome);
		}
	}
	*out = sum;
	return WT_OK;
}

enum wt_status wt_score_crps_normal(double mean, double sd, double outcome, double *out)
{
	if (out == NULL || !isfinite(mean) || !isfinite(outcome) || !(sd >= 0.0) || isinf(sd))
		return WT_ERR_ARG;
	if (sd == 0.0) {
		*out = fabs(outcome - mean);
		return WT_OK;
	}
	const double z = (outcome - mean) / sd;
	*out = sd * (z * (2.0 * gsl_cdf_ugaussian_P(z) - 1.0) + 2.0 * gsl_ran_ugaussian_pdf(z) -
		     1.0 / sqrt(M_PI));
	return WT_OK;
}

enum wt_status wt_score_brier(const double *probability, const int *happened, size_t n, int bins,
			      struct wt_brier *out)
{
	if (probability == NULL || happened == NULL || out == NULL || n == 0 || bins < 1 ||
	    bins > 1000)
		return WT_ERR_ARG;
	for (size_t i = 0; i < n; i++) {
		if (!(probability[i] >= 0.0 && probability[i] <= 1.0) ||
		    (happened[i] != 0 && happened[i] != 1))
			return WT_ERR_ARG;
	}
	double *sums = calloc((size_t)bins * 3, sizeof(*sums));
	if (sums == NULL)
		return WT_ERR_NOMEM;
	struct wt_brier brier = {0};
	double all_happened = 0.0;
	for (size_t i = 0; i < n; i++) {
		const double miss = probability[i] - happened[i];
		brier.score += miss * miss;
		all_happened += happened[i];
		const int bin = (int)fmin(floor(probability[i] * bins), bins - 1);
		double *row = &sums[3 * (size_t)bin];
		row[0] += 1.0;
		row[1] += probability[i];
		row[2] += happened[i];
	}
	const double count = (double)n, base = all_happened / count;
	brier.score /= count;
	brier.uncertainty = base * (1.0 - base);
	for (size_t b = 0; b < (size_t)bins; b++) {
		const double *row = &sums[3 * b];
		if (row[0] <= 0.0)
			continue;
		const double said = row[1] / row[0], was = row[2] / row[0];
		brier.reliability += row[0] / count * (said - was) * (said - was);
		brier.resolution += row[0] / count * (was - base) * (was - base);
	}
	free(sums);
	*out = brier;
	return WT_OK;
}
