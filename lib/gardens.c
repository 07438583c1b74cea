/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * What the gardens are like: best linear unbiased prediction of a load's coordinates.
 *
 * The coordinates of load i, less what lib/traits.c gives its grade and season, are
 *
 *     overall + origin + grade + season + the load's own
 *
 * each part normal; origin, grade and season act on pace and moisture only.  A load speaks through
 * the likelihood of its observations, apart from any prior (struct wt_learn_word), so that nothing
 * is counted twice and a load nobody looked at says nothing.  The variances of origins and of loads
 * are not known either: every pair on a small grid is weighed by its likelihood and a wide
 * log-normal prior, and the guess is the mixture's mean and covariance.
 */
#include <math.h>
#include <stdbool.h>
#include <stdlib.h>
#include <string.h>

#include "lib/learn_internal.h"

enum { N = WT_DIM_COUNT, AREAL = 2 }; /* AREAL: pace and moisture, the first two */

/* Shares of a coordinate's prior variance: what all loads of a workshop have in common, and what
 * origins, grades and seasons differ by (pace and moisture only); the rest is the load's own.  Our
 * choice. */
static const double share_overall[N] = {
	[WT_DIM_SURFACE] = 0.35, [WT_DIM_PACE] = 0.38,    [WT_DIM_MOISTURE] = 0.30,
	[WT_DIM_OPEN] = 0.80,    [WT_DIM_CLOSE] = 0.80,   [WT_DIM_BED] = 0.80,
	[WT_DIM_SHRINK] = 0.85,  [WT_DIM_RH_BIAS] = 0.90, [WT_DIM_DRIFT0] = 0.40,
	[WT_DIM_DRIFT1] = 0.40,  [WT_DIM_DRIFT2] = 0.40,  [WT_DIM_DRIFT3] = 0.40,
};
static const double share_origin = 0.30, share_grade = 0.06, share_season = 0.06;

/* Factors on the sd of the origins and of a load's own part, and the spread of their logs. */
static const double origin_factors[] = {0.4, 0.7, 1.0, 1.5};
static const double own_factors[] = {0.35, 0.5, 0.7, 1.0, 1.4};
enum { N_ORIGIN_FACTORS = 4, N_OWN_FACTORS = 5, N_GRID = N_ORIGIN_FACTORS * N_OWN_FACTORS };
static const double factor_ln_sd = 0.5;

/* Posterior of all effects under one pair of variances. */
struct fit {
	double weight;
	double origin_factor, own_factor;
	double *effect; /* p */
	double *cov;    /* p by p */
};

struct wt_gardens {
	int n_origins; /* highest origin number + 1 */
	size_t p;      /* effects */
	int *loads;    /* heard loads per origin */
	double base[WT_GRADE_COUNT][WT_SEASON_COUNT][N];
	double var[N]; /* of the prior */
	/* Surface water is learned as so many sd more or less than its wetness gives. */
	double wet_mean[WT_WET_COUNT], wet_sd[WT_WET_COUNT];
	struct fit fits[N_GRID];
};

/* Effects are laid out: overall (N), then AREAL for each origin, grade and season.  An effect of a
 * load's coordinate d lies at the returned places; those beyond n are absent. */
struct places {
	size_t n[N];
	size_t at[N][4];
};

static void find_places(const struct wt_gardens *gardens, int origin, enum wt_grade grade,
			enum wt_season season, struct places *out)
{
	const size_t origins = N, grades = origins + AREAL * (size_t)gardens->n_origins;
	const size_t seasons = grades + AREAL * WT_GRADE_COUNT;
	for (size_t d = 0; d < N; d++) {
		out->n[d] = 0;
		out->at[d][out->n[d]++] = d;
		if (d >= AREAL)
			continue;
		out->at[d][out->n[d]++] = grades + AREAL * (size_t)grade + d;
		out->at[d][out->n[d]++] = seasons + AREAL * (size_t)season + d;
		if (origin >= 0)
			out->at[d][out->n[d]++] = origins + AREAL * (size_t)origin + d;
	}
}

static double own_var(const struct wt_gardens *gardens, size_t d, double factor)
{
	double share = 1.0 - share_overall[d];
	if (d < AREAL)
		share -= share_origin + share_grade + share_season;
	/* Surface water is each load's own weather: nothing to scale. */
	return share * gardens->var[d] * (d == WT_DIM_SURFACE ? 1.0 : factor * factor);
}

static double effect_var(const struct wt_gardens *gardens, size_t effect, double origin_factor)
{
	if (effect < N)
		return share_overall[effect] * gardens->var[effect];
	const size_t d = (effect - N) % AREAL, group = (effect - N) / AREAL;
	if (group < (size_t)gardens->n_origins)
		return origin_factor * origin_factor * share_origin * gardens->var[d];
	if (group < (size_t)gardens->n_origins + WT_GRADE_COUNT)
		return share_grade * gardens->var[d];
	return share_season * gardens->var[d];
}

static enum wt_status prior_of(enum wt_grade grade, enum wt_season season, enum wt_wet wet,
			       struct wt_gauss *out)
{
	const struct wt_load_case load = {
		.fresh_kg = 10.0,
		.area_m2 = 10.0,
		.grade = grade,
		.season = season,
		.wet = wet,
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
				prior_of((enum wt_grade)g, (enum wt_season)s, WT_WET_NONE, &prior);
			if (status != WT_OK)
				return status;
			memcpy(gardens->base[g][s], prior.mean, sizeof(prior.mean));
			for (size_t d = 0; d < N; d++)
				gardens->var[d] = prior.cov[d][d];
			gardens->base[g][s][WT_DIM_SURFACE] = 0.0;
		}
	}
	for (int w = 0; w < WT_WET_COUNT; w++) {
		struct wt_gauss prior;
		const enum wt_status status =
			prior_of(WT_GRADE_YOUNG, WT_SEASON_SPRING, (enum wt_wet)w, &prior);
		if (status != WT_OK)
			return status;
		gardens->wet_mean[w] = prior.mean[WT_DIM_SURFACE];
		gardens->wet_sd[w] = sqrt(prior.cov[WT_DIM_SURFACE][WT_DIM_SURFACE]);
	}
	gardens->var[WT_DIM_SURFACE] = 1.0;
	return WT_OK;
}

static bool record_is_sound(const struct wt_garden_record *r)
{
	for (size_t d = 0; d < N; d++) {
		if (!isfinite(r->word.pull[d]) || !(r->word.info[d][d] >= 0.0))
			return false;
		for (size_t c = 0; c < N; c++) {
			if (!isfinite(r->word.info[d][c]))
				return false;
		}
	}
	return r->origin >= 0 && r->origin < 100000 && (unsigned)r->grade < WT_GRADE_COUNT &&
	       (unsigned)r->season < WT_SEASON_COUNT && (unsigned)r->wet < WT_WET_COUNT;
}

static bool says_something(const struct wt_garden_record *r)
{
	double trace = 0.0;
	for (size_t d = 0; d < N; d++)
		trace += r->word.info[d][d];
	return trace > 0.0;
}

/* The word with surface water in sd of its wetness. */
static void standardise(const struct wt_gardens *gardens, const struct wt_garden_record *r,
			struct wt_learn_word *out)
{
	const size_t w = WT_DIM_SURFACE;
	const double mean = gardens->wet_mean[r->wet], sd = gardens->wet_sd[r->wet];
	*out = r->word;
	for (size_t d = 0; d < N; d++)
		out->pull[d] -= out->info[d][w] * mean;
	out->pull[w] *= sd;
	for (size_t d = 0; d < N; d++) {
		out->info[w][d] *= sd;
		out->info[d][w] *= sd;
	}
}

/* The word of one load about its effects: its own part is integrated out.  With V the variances of
 * the own part, h = sqrt(V) and M = 1 + h info h:  info' = info - info h M^-1 h info and
 * pull' = pull - info h M^-1 h pull.  Returns the log of what is left over. */
static bool integrate_own(const struct wt_gardens *gardens, const struct wt_garden_record *r,
			  const struct wt_learn_word *word, double factor, double info[N][N],
			  double pull[N], double *log_rest)
{
	const double *base = gardens->base[r->grade][r->season];
	double h[N], m[N][N], shifted[N], half[N][N], right[N];
	for (size_t a = 0; a < N; a++) {
		h[a] = sqrt(own_var(gardens, a, factor));
		shifted[a] = word->pull[a];
		for (size_t b = 0; b < N; b++)
			shifted[a] -= word->info[a][b] * base[b];
	}
	for (size_t a = 0; a < N; a++) {
		for (size_t b = 0; b < N; b++)
			m[a][b] = (a == b) + h[a] * word->info[a][b] * h[b];
		right[a] = h[a] * shifted[a];
	}
	if (!wt_learn_cholesky(&m[0][0], N, N))
		return false;
	wt_learn_solve_lower(&m[0][0], N, N, right);
	*log_rest = 0.0;
	for (size_t a = 0; a < N; a++)
		*log_rest += 0.5 * right[a] * right[a] - log(m[a][a]);
	/* half[c] = M^-1/2 h info e_c */
	for (size_t c = 0; c < N; c++) {
		for (size_t a = 0; a < N; a++)
			half[c][a] = h[a] * word->info[a][c];
		wt_learn_solve_lower(&m[0][0], N, N, half[c]);
	}
	for (size_t a = 0; a < N; a++) {
		pull[a] = shifted[a];
		for (size_t k = 0; k < N; k++)
			pull[a] -= half[a][k] * right[k];
		for (size_t b = 0; b < N; b++) {
			info[a][b] = word->info[a][b];
			for (size_t k = 0; k < N; k++)
				info[a][b] -= half[a][k] * half[b][k];
		}
	}
	return true;
}

static void add_word(const struct wt_gardens *gardens, const struct wt_garden_record *r,
		     double info[N][N], const double pull[N], struct fit *fit)
{
	struct places places;
	find_places(gardens, r->origin, r->grade, r->season, &places);
	for (size_t a = 0; a < N; a++) {
		for (size_t i = 0; i < places.n[a]; i++) {
			const size_t row = places.at[a][i];
			fit->effect[row] += pull[a];
			for (size_t b = 0; b < N; b++) {
				for (size_t j = 0; j < places.n[b]; j++)
					fit->cov[row * gardens->p + places.at[b][j]] += info[a][b];
			}
		}
	}
}

/* From precision and pull to covariance and mean; adds the log determinant and square. */
static bool solve_fit(size_t p, struct fit *fit, double *log_likelihood)
{
	double *factor = malloc(p * p * sizeof(*factor)), *right = malloc(p * sizeof(*right));
	bool fine = factor != NULL && right != NULL;
	if (fine) {
		memcpy(factor, fit->cov, p * p * sizeof(*factor));
		memcpy(right, fit->effect, p * sizeof(*right));
		fine = wt_learn_cholesky(factor, p, p);
	}
	if (fine) {
		wt_learn_solve_lower(factor, p, p, fit->effect);
		for (size_t a = 0; a < p; a++)
			*log_likelihood +=
				0.5 * fit->effect[a] * fit->effect[a] - log(factor[a * p + a]);
		wt_learn_solve_upper(factor, p, p, fit->effect);
		for (size_t c = 0; c < p; c++) {
			double *column = &fit->cov[c * p];
			memset(column, 0, p * sizeof(*column));
			column[c] = 1.0;
			wt_learn_solve_lower(factor, p, p, column);
			wt_learn_solve_upper(factor, p, p, column);
		}
	}
	free(factor);
	free(right);
	return fine;
}

static enum wt_status fit_effects(const struct wt_gardens *gardens,
				  const struct wt_garden_record *records, size_t n, struct fit *fit,
				  double *log_likelihood)
{
	const size_t p = gardens->p;
	*log_likelihood = 0.0;
	fit->effect = calloc(p, sizeof(double));
	fit->cov = calloc(p * p, sizeof(double));
	if (fit->effect == NULL || fit->cov == NULL)
		return WT_ERR_NOMEM;
	for (size_t e = 0; e < p; e++) {
		/* An effect without variance is held at 0. */
		const double var = fmax(effect_var(gardens, e, fit->origin_factor), 1e-12);
		fit->cov[e * p + e] = 1.0 / var;
		*log_likelihood -= 0.5 * log(var);
	}
	for (size_t i = 0; i < n; i++) {
		double info[N][N], pull[N], rest;
		if (!says_something(&records[i]))
			continue;
		struct wt_learn_word word;
		standardise(gardens, &records[i], &word);
		if (!integrate_own(gardens, &records[i], &word, fit->own_factor, info, pull, &rest))
			return WT_ERR_NOCONV;
		add_word(gardens, &records[i], info, pull, fit);
		*log_likelihood += rest;
	}
	return solve_fit(p, fit, log_likelihood) ? WT_OK : WT_ERR_NOCONV;
}

static enum wt_status fit_all(struct wt_gardens *gardens, const struct wt_garden_record *records,
			      size_t n)
{
	double log_weight[N_GRID], best = -HUGE_VAL, total = 0.0;
	enum wt_status status = read_bases(gardens);
	for (size_t i = 0; i < N_GRID && status == WT_OK; i++) {
		struct fit *fit = &gardens->fits[i];
		fit->origin_factor = origin_factors[i / N_OWN_FACTORS];
		fit->own_factor = own_factors[i % N_OWN_FACTORS];
		status = fit_effects(gardens, records, n, fit, &log_weight[i]);
		const double zo = log(fit->origin_factor) / factor_ln_sd;
		const double zl = log(fit->own_factor) / factor_ln_sd;
		log_weight[i] -= 0.5 * (zo * zo + zl * zl);
		best = fmax(best, log_weight[i]);
	}
	if (status != WT_OK)
		return status;
	for (size_t i = 0; i < N_GRID; i++) {
		gardens->fits[i].weight = exp(log_weight[i] - best);
		total += gardens->fits[i].weight;
	}
	for (size_t i = 0; i < N_GRID; i++)
		gardens->fits[i].weight /= total;
	for (size_t i = 0; i < n; i++)
		gardens->loads[records[i].origin] += says_something(&records[i]);
	return WT_OK;
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
	gardens->p = N + AREAL * ((size_t)n_origins + WT_GRADE_COUNT + WT_SEASON_COUNT);
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
	for (size_t i = 0; i < N_GRID; i++) {
		free((*gardens)->fits[i].cov);
		free((*gardens)->fits[i].effect);
	}
	free((*gardens)->loads);
	free(*gardens);
	*gardens = NULL;
}

/* Mean and covariance of one more load under one pair of variances, less the base. */
static void predict(const struct wt_gardens *gardens, const struct fit *fit,
		    const struct places *places, bool known_origin, struct wt_gauss *out)
{
	for (size_t a = 0; a < N; a++) {
		out->mean[a] = 0.0;
		for (size_t i = 0; i < places->n[a]; i++)
			out->mean[a] += fit->effect[places->at[a][i]];
		for (size_t b = 0; b < N; b++) {
			double sum = 0.0;
			for (size_t i = 0; i < places->n[a]; i++) {
				for (size_t j = 0; j < places->n[b]; j++)
					sum += fit->cov[places->at[a][i] * gardens->p +
							places->at[b][j]];
			}
			out->cov[a][b] = sum;
		}
		out->cov[a][a] += own_var(gardens, a, fit->own_factor);
		if (a < AREAL && !known_origin)
			out->cov[a][a] += fit->origin_factor * fit->origin_factor * share_origin *
					  gardens->var[a];
	}
}

/* Surface water from standard units. */
static void scale_surface(struct wt_gauss *gauss, double mean, double sd)
{
	const size_t w = WT_DIM_SURFACE;
	gauss->mean[w] = mean + sd * gauss->mean[w];
	for (size_t d = 0; d < N; d++) {
		gauss->cov[w][d] *= sd;
		gauss->cov[d][w] *= sd;
	}
}

static void guess_from(const struct wt_gardens *gardens, int origin, enum wt_grade grade,
		       enum wt_season season, struct wt_gauss *out)
{
	const bool known = origin >= 0 && origin < gardens->n_origins;
	struct places places;
	struct wt_gauss all = {0};
	find_places(gardens, known ? origin : -1, grade, season, &places);
	for (size_t i = 0; i < N_GRID; i++) {
		struct wt_gauss one;
		const double weight = gardens->fits[i].weight;
		predict(gardens, &gardens->fits[i], &places, known, &one);
		for (size_t a = 0; a < N; a++) {
			all.mean[a] += weight * one.mean[a];
			for (size_t b = 0; b < N; b++)
				all.cov[a][b] +=
					weight * (one.cov[a][b] + one.mean[a] * one.mean[b]);
		}
	}
	for (size_t a = 0; a < N; a++) {
		for (size_t b = 0; b < N; b++)
			all.cov[a][b] -= all.mean[a] * all.mean[b];
	}
	for (size_t a = 0; a < N; a++)
		all.mean[a] += gardens->base[grade][season][a];
	scale_surface(&all, gardens->wet_mean[WT_WET_NONE], gardens->wet_sd[WT_WET_NONE]);
	*out = all;
}

enum wt_status wt_gardens_guess(const struct wt_gardens *gardens, int origin, enum wt_grade grade,
				enum wt_season season, struct wt_garden_guess *out)
{
	if (out == NULL || (unsigned)grade >= WT_GRADE_COUNT || (unsigned)season >= WT_SEASON_COUNT)
		return WT_ERR_ARG;
	struct wt_garden_guess guess = {0};
	if (gardens == NULL) {
		const enum wt_status status = prior_of(grade, season, WT_WET_NONE, &guess.gauss);
		if (status != WT_OK)
			return status;
	} else {
		guess_from(gardens, origin, grade, season, &guess.gauss);
		if (origin >= 0 && origin < gardens->n_origins)
			guess.n_loads = gardens->loads[origin];
	}
	guess.pace_mean = guess.gauss.mean[WT_DIM_PACE];
	guess.pace_sd = sqrt(fmax(guess.gauss.cov[WT_DIM_PACE][WT_DIM_PACE], 0.0));
	guess.moisture_mean = guess.gauss.mean[WT_DIM_MOISTURE];
	guess.moisture_sd = sqrt(fmax(guess.gauss.cov[WT_DIM_MOISTURE][WT_DIM_MOISTURE], 0.0));
	*out = guess;
	return WT_OK;
}

/* Gives one dimension another mean and variance and keeps its correlations. */
static void set_dimension(struct wt_gauss *gauss, size_t dim, double mean, double var)
{
	const double factor = gauss->cov[dim][dim] > 0.0 ? sqrt(var / gauss->cov[dim][dim]) : 0.0;
	gauss->mean[dim] = mean;
	for (size_t d = 0; d < N; d++) {
		gauss->cov[dim][d] *= factor;
		gauss->cov[d][dim] *= factor;
	}
	gauss->cov[dim][dim] = var;
}

void wt_gardens_apply(const struct wt_garden_guess *guess, const struct wt_load_case *load,
		      struct wt_gauss *prior)
{
	const size_t w = WT_DIM_SURFACE, m = WT_DIM_MOISTURE;
	struct wt_gauss gauss = guess->gauss, dry;
	/* What was learned of surface water, in sd of its own wetness, moves to this load's. */
	if (prior_of(load->grade, load->season, WT_WET_NONE, &dry) == WT_OK &&
	    dry.cov[w][w] > 0.0) {
		const double dry_sd = sqrt(dry.cov[w][w]), sd = sqrt(prior->cov[w][w]);
		const double shift = (gauss.mean[w] - dry.mean[w]) / dry_sd;
		set_dimension(&gauss, w, prior->mean[w] + sd * shift,
			      gauss.cov[w][w] / dry.cov[w][w] * prior->cov[w][w]);
	} else {
		set_dimension(&gauss, w, prior->mean[w], prior->cov[w][w]);
	}
	if (isfinite(load->moisture_pct))
		set_dimension(&gauss, m, prior->mean[m], prior->cov[m][m]);
	*prior = gauss;
}
