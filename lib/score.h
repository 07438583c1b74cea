/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * Quantiles and proper scores.
 */
#ifndef WT_LIB_SCORE_H
#define WT_LIB_SCORE_H

#include <stddef.h>

#include "lib/status.h"

/* Quantiles (probabilities ascending in 0..1) of n equally weighted values, linear between order
 * statistics (Hyndman and Fan 1996, definition 7).  values are not changed; may hold HUGE_VAL:
 * a quantile that would touch one is HUGE_VAL. */
enum wt_status wt_score_quantiles(const double *values, size_t n, const double *probability,
				  size_t n_probability, double *out) WT_MUST_CHECK;
/* The same of values in single precision. */
enum wt_status wt_score_quantiles_single(const float *values, size_t n, const double *probability,
					 size_t n_probability, double *out) WT_MUST_CHECK;

/* CRPS of n equally weighted values against an outcome (Gneiting and Raftery 2007, eq. 21, from
 * memory). */
enum wt_status wt_score_crps_sample(const double *values, size_t n, double outcome,
				    double *out) WT_MUST_CHECK;

/* CRPS of a distribution given by quantiles (piecewise linear distribution function, tails cut at
 * the outer quantiles). */
enum wt_status wt_score_crps_quantiles(const double *probability, const double *quantile, size_t n,
				       double outcome, double *out) WT_MUST_CHECK;

/* CRPS of a normal distribution (Gneiting and Raftery 2007, sec. 4.2, from memory). */
enum wt_status wt_score_crps_normal(double mean, double sd, double outcome,
				    double *out) WT_MUST_CHECK;

/* Brier score of n probabilities against outcomes 0/1, and Murphy's (1973) parts over the given
 * number of equal bins. */
struct wt_brier {
	double score, reliability, resolution, uncertainty;
};
enum wt_status wt_score_brier(const double *probability, const int *happened, size_t n, int bins,
			      struct wt_brier *out) WT_MUST_CHECK;

/* Median of n values; values are not changed. */
enum wt_status wt_score_median(const double *values, size_t n, double *out) WT_MUST_CHECK;

#endif /* WT_LIB_SCORE_H */
