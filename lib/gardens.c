/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * What the gardens are like: best linear unbiased prediction of a load's pace and moisture.
 *
 * A quantity of load i, less what its grade and season are given in lib/traits.c, is
 *
 *     overall + origin + grade + season + the load's own
 *
 * each part normal with its own variance.  What a load says about it is its posterior without the
 * prior it started from (precisions subtract), so that nothing is counted twice and a load nobody
 * weighed says nothing.  The variances of origins and of loads are not known either: every pair on
 * a small grid is weighed by its likelihood and a wide log-normal prior, and the guess is the
 * mixture's mean and spread.
 */
#include <gsl/gsl_linalg.h>
#include <math.h>
#include <stdbool.h>
#include <stdlib.h>
#include <string.h>

#include "lib/learn.h"

enum quantity { PACE, MOISTURE, QUANTITIES };

/* Shares of the prior variance of a load of an unknown garden.  Our choice: a workshop's station,
 * trays and habits are common to its loads, and gardens differ more than days do. */
static const double share_overall = 0.38, share_origin = 0.30, share_grade = 0.06,
		    share_season = 0.06, share_load = 0.20;

/* Factors on the sd of the origins and of a load's own part, and the spread of their logs. */
static const double origin_factors[] = {0.4, 0.7, 1.0, 1.5, 2.2};
static const double load_factors[] = {0.35, 0.5, 0.7, 1.0, 1.4, 2.0};
enum { N_ORIGIN_FACTORS = 5, N_LOAD_FACTORS = 6, N_GRID = N_ORIGIN_FACTORS * N_LOAD_FACTORS };
static const double factor_ln_sd = 0.5;

/* A load must have narrowed its prior at least this much to be heard; the sampling error of a
 * posterior's sd is a few percent. */
static const double heard_below = 0.96;

struct fit {
	double weight;
	double var_origin, var_load;
	gsl_vector *effect;
	gsl_matrix *cov;
};

struct wt_gardens {
	int n_origins; /* highest origin number + 1 */
	int *loads;    /* heard loads per origin */
	double base[QUANTITIES][WT_GRADE_COUNT][WT_SEASON_COUNT];
	double prior_var[QUANTITIES];
	struct fit fits[QUANTITIES][N_GRID];
};

/* One load as heard by one quantity. */
struct heard {
	size_t column[4]; /* overall, origin, grade, season */
	double value;     /* less the base */
	double var;
};

static size_t columns(const struct wt_gardens *gardens)
{
	return 1 + (size_t)gardens->n_origins + WT_GRADE_COUNT + WT_SEASON_COUNT;
}

static void set_columns(const struct wt_gardens *gardens, int origin, enum wt_grade grade,
			enum wt_season season, size_t column[4])
{
	const size_t after = 1 + (size_t)gardens->n_origins;
	column[0] = 0;
	column[1] = 1 + (size_t)origin;
	column[2] = after + (size_t)grade;
	column[3] = after + WT_GRADE_COUNT + (size_t)season;
}

static enum wt_status prior_of(enum wt_grade grade, enum wt_season season, struct wt_gauss *out)
{
	const struct wt_load_case load = {
		.fresh_kg = 10.0,
		.area_m2 = 10.0,
		.grade = grade,
		.season = season,
		.wet = WT_WET_NONE,
		.moisture_pct = NAN,
		.pressure_pa = 101325.0,
		.latest_loss_pct = 30.0,
		.ready_from_loss_pct = 20.0,
		.most_hours = HUGE_VAL,
	};
	return wt_traits_prior(&load, out);
}

static enum wt_status read_bases(struct wt_gardens *gardens)
{
	for (int g = 0; g < WT_GRADE_COUNT; g++) {
		for (int s = 0; s < WT_SEASON_COUNT; s++) {
			struct wt_gauss prior;
			const enum wt_status status =
				prior_of((enum wt_grade)g, (enum wt_season)s, &prior);
			if (status != WT_OK)
				return status;
			gardens->base[PACE][g][s] = prior.mean[WT_DIM_PACE];
			gardens->base[MOISTURE][g][s] = prior.mean[WT_DIM_MOISTURE];
			gardens->prior_var[PACE] = prior.cov[WT_DIM_PACE][WT_DIM_PACE];
			gardens->prior_var[MOISTURE] = prior.cov[WT_DIM_MOISTURE][WT_DIM_MOISTURE];
		}
	}
	return WT_OK;
}

static bool record_is_sound(const struct wt_garden_record *r)
{
	const double numbers[] = {r->pace_mean,           r->moisture_mean,    r->prior_pace_mean,
				  r->prior_moisture_mean, r->pace_sd,          r->moisture_sd,
				  r->prior_pace_sd,       r->prior_moisture_sd};
	for (size_t i = 0; i < 8; i++) {
		if (!isfinite(numbers[i]) || (i >= 4 && numbers[i] < 0.0))
			return false;
	}
	return r->origin >= 0 && r->origin < 100000 && (unsigned)r->grade < WT_GRADE_COUNT &&
	       (unsigned)r->season < WT_SEASON_COUNT;
}

/* What a record says on one quantity apart from its prior; false when it says nothing. */
static bool hear(const struct wt_gardens *gardens, const struct wt_garden_record *r,
		 enum quantity q, struct heard *out)
{
	const bool pace = q == PACE;
	const double mean = pace ? r->pace_mean : r->moisture_mean;
	const double sd = pace ? r->pace_sd : r->moisture_sd;
	const double prior_mean = pace ? r->prior_pace_mean : r->prior_moisture_mean;
	const double prior_sd = pace ? r->prior_pace_sd : r->prior_moisture_sd;
	if (!(prior_sd > 0.0) || !(sd < heard_below * prior_sd))
		return false;
	/* A floor of a tenth of the prior's sd: no load tells its garden better than that. */
	const double floor_sd = 0.1 * sqrt(gardens->prior_var[q]);
	const double precision = 1.0 / fmax(sd * sd, 1e-12) - 1.0 / (prior_sd * prior_sd);
	const double away = (mean - prior_mean) / fmax(sd * sd, 1e-12) / precision;
	set_columns(gardens, r->origin, r->grade, r->season, out->column);
	out->value = prior_mean + away - gardens->base[q][r->grade][r->season];
	out->var = fmax(1.0 / precision, floor_sd * floor_sd);
	return true;
}

/* Posterior of all effects for given variances, and the log likelihood of what was heard. */
static enum wt_status fit_effects(const struct wt_gardens *gardens, double prior_var,
				  const struct heard *heard, size_t n, struct fit *fit,
				  double *log_likelihood)
{
	const size_t p = columns(gardens), n_origins = (size_t)gardens->n_origins;
	fit->cov = gsl_matrix_calloc(p, p);
	fit->effect = gsl_vector_calloc(p);
	if (fit->cov == NULL || fit->effect == NULL)
		return WT_ERR_NOMEM;
	double sum = 0.0;
	for (size_t c = 0; c < p; c++) {
		double var = c == 0                            ? share_overall * prior_var
			     : c <= n_origins                  ? fit->var_origin
			     : c <= n_origins + WT_GRADE_COUNT ? share_grade * prior_var
							       : share_season * prior_var;
		gsl_matrix_set(fit->cov, c, c, 1.0 / var);
		sum -= 0.5 * log(var);
	}
	for (size_t i = 0; i < n; i++) {
		const double var = heard[i].var + fit->var_load;
		for (size_t a = 0; a < 4; a++) {
			*gsl_vector_ptr(fit->effect, heard[i].column[a]) += heard[i].value / var;
			for (size_t b = 0; b < 4; b++)
				*gsl_matrix_ptr(fit->cov, heard[i].column[a], heard[i].column[b]) +=
					1.0 / var;
		}
		sum -= 0.5 * (log(var) + heard[i].value * heard[i].value / var);
	}
	if (gsl_linalg_cholesky_decomp1(fit->cov) != 0)
		return WT_ERR_NOCONV;
	gsl_vector *right = gsl_vector_alloc(p);
	if (right == NULL)
		return WT_ERR_NOMEM;
	gsl_vector_memcpy(right, fit->effect);
	gsl_linalg_cholesky_svx(fit->cov, fit->effect);
	for (size_t c = 0; c < p; c++)
		sum += 0.5 * gsl_vector_get(right, c) * gsl_vector_get(fit->effect, c) -
		       log(gsl_matrix_get(fit->cov, c, c));
	gsl_vector_free(right);
	gsl_linalg_cholesky_invert(fit->cov);
	*log_likelihood = sum;
	return WT_OK;
}

static enum wt_status fit_quantity(struct wt_gardens *gardens, enum quantity q,
				   const struct heard *heard, size_t n)
{
	double log_weight[N_GRID], best = -HUGE_VAL, total = 0.0;
	for (size_t i = 0; i < N_GRID; i++) {
		const double fo = origin_factors[i / N_LOAD_FACTORS];
		const double fl = load_factors[i % N_LOAD_FACTORS];
		struct fit *fit = &gardens->fits[q][i];
		fit->var_origin = fo * fo * share_origin * gardens->prior_var[q];
		fit->var_load = fl * fl * share_load * gardens->prior_var[q];
		const enum wt_status status =
			fit_effects(gardens, gardens->prior_var[q], heard, n, fit, &log_weight[i]);
		if (status != WT_OK)
			return status;
		const double zo = log(fo) / factor_ln_sd, zl = log(fl) / factor_ln_sd;
		log_weight[i] -= 0.5 * (zo * zo + zl * zl);
		best = fmax(best, log_weight[i]);
	}
	for (size_t i = 0; i < N_GRID; i++)
		total += gardens->fits[q][i].weight = exp(log_weight[i] - best);
	for (size_t i = 0; i < N_GRID; i++)
		gardens->fits[q][i].weight /= total;
	return WT_OK;
}

static enum wt_status fit_all(struct wt_gardens *gardens, const struct wt_garden_record *records,
			      size_t n)
{
	enum wt_status status = read_bases(gardens);
	if (status != WT_OK)
		return status;
	struct heard *heard = calloc(n + 1, sizeof(*heard));
	if (heard == NULL)
		return WT_ERR_NOMEM;
	for (int q = 0; q < QUANTITIES && status == WT_OK; q++) {
		size_t n_heard = 0;
		for (size_t i = 0; i < n; i++) {
			if (!hear(gardens, &records[i], (enum quantity)q, &heard[n_heard]))
				continue;
			n_heard++;
			if (q == PACE)
				gardens->loads[records[i].origin]++;
		}
		status = fit_quantity(gardens, (enum quantity)q, heard, n_heard);
	}
	free(heard);
	return status;
}

enum wt_status wt_gardens_fit(const struct wt_garden_record *records, size_t n,
			      struct wt_gardens **out)
{
	if (out == NULL || (n > 0 && records == NULL))
		return WT_ERR_ARG;
	int n_origins = 0;
	for (size_t i = 0; i < n; i++) {
		if (!record_is_sound(&records[i]))
			return WT_ERR_ARG;
		if (records[i].origin >= n_origins)
			n_origins = records[i].origin + 1;
	}
	struct wt_gardens *gardens = calloc(1, sizeof(*gardens));
	if (gardens == NULL)
		return WT_ERR_NOMEM;
	gardens->n_origins = n_origins;
	gardens->loads = calloc((size_t)n_origins + 1, sizeof(*gardens->loads));
	const enum wt_status status =
		gardens->loads == NULL ? WT_ERR_NOMEM : fit_all(gardens, records, n);
	if (status != WT_OK) {
		wt_gardens_free(&gardens);
		return status;
	}
	*out = gardens;
	return WT_OK;
}

void wt_gardens_free(struct wt_gardens **gardens)
{
	if (gardens == NULL || *gardens == NULL)
		return;
	for (int q = 0; q < QUANTITIES; q++) {
		for (size_t i = 0; i < N_GRID; i++) {
			gsl_matrix_free((*gardens)->fits[q][i].cov);
			gsl_vector_free((*gardens)->fits[q][i].effect);
		}
	}
	free((*gardens)->loads);
	free(*gardens);
	*gardens = NULL;
}

/* Mean and variance for one more load under one pair of variances. */
static void predict(const struct fit *fit, const size_t column[4], bool known_origin, double *mean,
		    double *var)
{
	*mean = 0.0;
	*var = fit->var_load + (known_origin ? 0.0 : fit->var_origin);
	for (size_t a = 0; a < 4; a++) {
		if (a == 1 && !known_origin)
			continue;
		*mean += gsl_vector_get(fit->effect, column[a]);
		for (size_t b = 0; b < 4; b++) {
			if (b == 1 && !known_origin)
				continue;
			*var += gsl_matrix_get(fit->cov, column[a], column[b]);
		}
	}
}

static void guess_quantity(const struct wt_gardens *gardens, enum quantity q, int origin,
			   enum wt_grade grade, enum wt_season season, double *mean, double *sd)
{
	const bool known = origin >= 0 && origin < gardens->n_origins;
	size_t column[4];
	set_columns(gardens, known ? origin : 0, grade, season, column);
	double first = 0.0, second = 0.0;
	for (size_t i = 0; i < N_GRID; i++) {
		double m, v;
		predict(&gardens->fits[q][i], column, known, &m, &v);
		first += gardens->fits[q][i].weight * m;
		second += gardens->fits[q][i].weight * (v + m * m);
	}
	*mean = first + gardens->base[q][grade][season];
	*sd = sqrt(fmax(second - first * first, 0.0));
}

enum wt_status wt_gardens_guess(const struct wt_gardens *gardens, int origin, enum wt_grade grade,
				enum wt_season season, struct wt_garden_guess *out)
{
	if (out == NULL || (unsigned)grade >= WT_GRADE_COUNT || (unsigned)season >= WT_SEASON_COUNT)
		return WT_ERR_ARG;
	struct wt_garden_guess guess = {0};
	if (gardens == NULL) {
		struct wt_gauss prior;
		const enum wt_status status = prior_of(grade, season, &prior);
		if (status != WT_OK)
			return status;
		guess.pace_mean = prior.mean[WT_DIM_PACE];
		guess.pace_sd = sqrt(prior.cov[WT_DIM_PACE][WT_DIM_PACE]);
		guess.moisture_mean = prior.mean[WT_DIM_MOISTURE];
		guess.moisture_sd = sqrt(prior.cov[WT_DIM_MOISTURE][WT_DIM_MOISTURE]);
	} else {
		guess_quantity(gardens, PACE, origin, grade, season, &guess.pace_mean,
			       &guess.pace_sd);
		guess_quantity(gardens, MOISTURE, origin, grade, season, &guess.moisture_mean,
			       &guess.moisture_sd);
		if (origin >= 0 && origin < gardens->n_origins)
			guess.n_loads = gardens->loads[origin];
	}
	*out = guess;
	return WT_OK;
}

/* Gives one dimension a new mean and sd and keeps its correlations. */
static void set_dimension(struct wt_gauss *prior, int dim, double mean, double sd)
{
	const double old_sd = sqrt(prior->cov[dim][dim]);
	const double factor = old_sd > 0.0 ? sd / old_sd : 0.0;
	prior->mean[dim] = mean;
	for (int d = 0; d < WT_DIM_COUNT; d++) {
		prior->cov[dim][d] *= factor;
		prior->cov[d][dim] *= factor;
	}
	prior->cov[dim][dim] = sd * sd;
}

void wt_gardens_apply(const struct wt_garden_guess *guess, const struct wt_load_case *load,
		      struct wt_gauss *prior)
{
	set_dimension(prior, WT_DIM_PACE, guess->pace_mean, guess->pace_sd);
	if (!isfinite(load->moisture_pct))
		set_dimension(prior, WT_DIM_MOISTURE, guess->moisture_mean, guess->moisture_sd);
}
