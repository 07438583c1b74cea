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
 *
 * Two origins have no load in common, so the precision of all effects is a few rows that all loads
 * share (the core) and, beside them, a small block for each origin.  Origins are eliminated one by
 * one, and put back where a guess is of one: the cost grows with the loads and with the origins, no
 * faster.
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

/* Factors on the sd of the origins and of a load's own part, and the spread of their logs: our
 * choice. */
static const double origin_factors[] = {0.4, 0.7, 1.0, 1.5};
static const double own_factors[] = {0.35, 0.5, 0.7, 1.0, 1.4};
enum { N_ORIGIN_FACTORS = 4, N_OWN_FACTORS = 5, N_GRID = N_ORIGIN_FACTORS * N_OWN_FACTORS };
static const double factor_ln_sd = 0.5;

/* Effects in the core: overall (N), then AREAL for each grade and season. */
enum { CORE = N + AREAL * (WT_GRADE_COUNT + WT_SEASON_COUNT) };

/* What loads say of effects, their own parts integrated out under one variance. */
struct core_word {
	double info[CORE][CORE];
	double pull[CORE];
	double log_rest;
};
struct origin_word {
	double info[AREAL][AREAL];
	double pull[AREAL];
	double cross[AREAL][CORE]; /* information shared with the core */
};

/* Posterior of the core under one pair of variances. */
struct fit {
	double weight;
	double origin_factor;
	size_t own; /* of own_factors */
	double effect[CORE];
	double cov[CORE][CORE];
};

struct wt_gardens {
	int n_origins; /* highest origin number + 1 */
	int *loads;    /* heard loads per origin */
	struct origin_word *origins[N_OWN_FACTORS];
	double base[WT_GRADE_COUNT][WT_SEASON_COUNT][N];
	double var[N]; /* of the prior */
	/* Surface water is learned as so many sd more or less than its wetness gives. */
	double wet_mean[WT_WET_COUNT], wet_sd[WT_WET_COUNT];
	struct fit fits[N_GRID];
};

/* Where in the core the effects of a load's coordinate d lie; the first is d itself. */
struct places {
	size_t n[N];
	size_t at[N][3];
};

static void find_places(enum wt_grade grade, enum wt_season season, struct places *out)
{
	const size_t grades = N, seasons = grades + AREAL * WT_GRADE_COUNT;
	for (size_t d = 0; d < N; d++) {
		out->n[d] = d < AREAL ? 3 : 1;
		out->at[d][0] = d;
		out->at[d][1] = grades + AREAL * (size_t)grade + d;
		out->at[d][2] = seasons + AREAL * (size_t)season + d;
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

static double core_var(const struct wt_gardens *gardens, size_t effect)
{
	if (effect < N)
		return share_overall[effect] * gardens->var[effect];
	const size_t d = (effect - N) % AREAL, group = (effect - N) / AREAL;
	return (group < WT_GRADE_COUNT ? share_grade : share_season) * gardens->var[d];
}

static double origin_var(const struct wt_gardens *gardens, size_t d, double factor)
{
	return factor * factor * share_origin * gardens->var[d];
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
		if (!isfinite(r->word.pull[d]) || !(r->word.info[wt_learn_at(d, d)] >= 0.0))
			return false;
		for (size_t c = 0; c <= d; c++) {
			if (!isfinite(r->word.info[wt_learn_at(d, c)]))
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
		trace += r->word.info[wt_learn_at(d, d)];
	return trace > 0.0;
}

/* A word with the whole of its matrix. */
struct whole_word {
	double info[N][N];
	double pull[N];
};

/* The word with surface water in sd of its wetness. */
static void standardise(const struct wt_gardens *gardens, const struct wt_garden_record *r,
			struct whole_word *out)
{
	const size_t w = WT_DIM_SURFACE;
	const double mean = gardens->wet_mean[r->wet], sd = gardens->wet_sd[r->wet];
	for (size_t d = 0; d < N; d++) {
		out->pull[d] = r->word.pull[d];
		for (size_t c = 0; c < N; c++)
			out->info[d][c] = r->word.info[wt_learn_at(d, c)];
	}
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
			  const struct whole_word *word, double factor, double info[N][N],
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

static void add_word(const struct wt_garden_record *r, double info[N][N], const double pull[N],
		     struct core_word *core, struct origin_word *origin)
{
	struct places places;
	find_places(r->grade, r->season, &places);
	for (size_t a = 0; a < N; a++) {
		for (size_t i = 0; i < places.n[a]; i++) {
			const size_t row = places.at[a][i];
			core->pull[row] += pull[a];
			for (size_t b = 0; b < N; b++) {
				for (size_t j = 0; j < places.n[b]; j++)
					core->info[row][places.at[b][j]] += info[a][b];
			}
		}
	}
	for (size_t a = 0; a < AREAL; a++) {
		origin->pull[a] += pull[a];
		for (size_t b = 0; b < AREAL; b++)
			origin->info[a][b] += info[a][b];
		for (size_t b = 0; b < N; b++) {
			for (size_t j = 0; j < places.n[b]; j++)
				origin->cross[a][places.at[b][j]] += info[a][b];
		}
	}
}

/* All loads' words under one variance of their own part. */
static enum wt_status gather(struct wt_gardens *gardens,
			     const struct wt_garden_record *const *records, size_t n, size_t own,
			     struct core_word *core)
{
	*core = (struct core_word){.log_rest = 0.0};
	for (size_t i = 0; i < n; i++) {
		double info[N][N], pull[N], rest;
		struct whole_word word;
		if (!says_something(records[i]))
			continue;
		standardise(gardens, records[i], &word);
		if (!integrate_own(gardens, records[i], &word, own_factors[own], info, pull, &rest))
			return WT_ERR_NOCONV;
		add_word(records[i], info, pull, core, &gardens->origins[own][records[i]->origin]);
		core->log_rest += rest;
	}
	return WT_OK;
}

/* Cholesky factor of the precision of an origin's effects when the core is known. */
static bool factor_origin(const struct wt_gardens *gardens, const struct fit *fit,
			  const struct origin_word *origin, double lower[AREAL][AREAL])
{
	memcpy(lower, origin->info, sizeof(origin->info));
	for (size_t a = 0; a < AREAL; a++)
		lower[a][a] += 1.0 / origin_var(gardens, a, fit->origin_factor);
	return wt_learn_cholesky(&lower[0][0], AREAL, AREAL);
}

/* What an origin says of the core, its own effects integrated out. */
static bool eliminate(const struct wt_gardens *gardens, const struct origin_word *origin,
		      struct fit *fit, double *log_likelihood)
{
	double lower[AREAL][AREAL], right[AREAL], half[CORE][AREAL];
	if (!factor_origin(gardens, fit, origin, lower))
		return false;
	memcpy(right, origin->pull, sizeof(right));
	wt_learn_solve_lower(&lower[0][0], AREAL, AREAL, right);
	for (size_t a = 0; a < AREAL; a++)
		*log_likelihood += 0.5 * right[a] * right[a] - log(lower[a][a]) -
				   0.5 * log(origin_var(gardens, a, fit->origin_factor));
	for (size_t c = 0; c < CORE; c++) {
		for (size_t a = 0; a < AREAL; a++)
			half[c][a] = origin->cross[a][c];
		wt_learn_solve_lower(&lower[0][0], AREAL, AREAL, half[c]);
		for (size_t a = 0; a < AREAL; a++)
			fit->effect[c] -= half[c][a] * right[a];
		for (size_t b = 0; b <= c; b++) {
			for (size_t a = 0; a < AREAL; a++)
				fit->cov[c][b] -= half[c][a] * half[b][a];
		}
	}
	return true;
}

/* From precision (its lower half) and pull to covariance and mean; adds the log determinant and
 * square. */
static bool solve_fit(struct fit *fit, double *log_likelihood)
{
	double factor[CORE][CORE];
	memcpy(factor, fit->cov, sizeof(factor));
	if (!wt_learn_cholesky(&factor[0][0], CORE, CORE))
		return false;
	wt_learn_solve_lower(&factor[0][0], CORE, CORE, fit->effect);
	for (size_t a = 0; a < CORE; a++)
		*log_likelihood += 0.5 * fit->effect[a] * fit->effect[a] - log(factor[a][a]);
	wt_learn_solve_upper(&factor[0][0], CORE, CORE, fit->effect);
	memset(fit->cov, 0, sizeof(fit->cov));
	for (size_t c = 0; c < CORE; c++) {
		fit->cov[c][c] = 1.0;
		wt_learn_solve_lower(&factor[0][0], CORE, CORE, fit->cov[c]);
		wt_learn_solve_upper(&factor[0][0], CORE, CORE, fit->cov[c]);
	}
	return true;
}

static enum wt_status fit_effects(const struct wt_gardens *gardens, const struct core_word *core,
				  struct fit *fit, double *log_likelihood)
{
	*log_likelihood = core->log_rest;
	memcpy(fit->effect, core->pull, sizeof(fit->effect));
	memcpy(fit->cov, core->info, sizeof(fit->cov));
	for (size_t e = 0; e < CORE; e++) {
		/* An effect without variance is held at 0. */
		const double var = fmax(core_var(gardens, e), 1e-12);
		fit->cov[e][e] += 1.0 / var;
		*log_likelihood -= 0.5 * log(var);
	}
	for (int o = 0; o < gardens->n_origins; o++) {
		if (gardens->loads[o] > 0 &&
		    !eliminate(gardens, &gardens->origins[fit->own][o], fit, log_likelihood))
			return WT_ERR_NOCONV;
	}
	return solve_fit(fit, log_likelihood) ? WT_OK : WT_ERR_NOCONV;
}

static enum wt_status fit_all(struct wt_gardens *gardens,
			      const struct wt_garden_record *const *records, size_t n)
{
	double log_weight[N_GRID], best = -HUGE_VAL, total = 0.0;
	struct core_word cores[N_OWN_FACTORS];
	enum wt_status status = read_bases(gardens);
	for (size_t i = 0; i < n; i++)
		gardens->loads[records[i]->origin] += says_something(records[i]);
	for (size_t own = 0; own < N_OWN_FACTORS && status == WT_OK; own++)
		status = gather(gardens, records, n, own, &cores[own]);
	for (size_t i = 0; i < N_GRID && status == WT_OK; i++) {
		struct fit *fit = &gardens->fits[i];
		fit->origin_factor = origin_factors[i / N_OWN_FACTORS];
		fit->own = i % N_OWN_FACTORS;
		status = fit_effects(gardens, &cores[fit->own], fit, &log_weight[i]);
		const double zo = log(fit->origin_factor) / factor_ln_sd;
		const double zl = log(own_factors[fit->own]) / factor_ln_sd;
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
	return WT_OK;
}

static bool make_room(struct wt_gardens *gardens)
{
	const size_t n = (size_t)gardens->n_origins + 1;
	bool fine = (gardens->loads = calloc(n, sizeof(*gardens->loads))) != NULL;
	for (size_t i = 0; i < N_OWN_FACTORS && fine; i++) {
		gardens->origins[i] = calloc(n, sizeof(*gardens->origins[i]));
		fine = gardens->origins[i] != NULL;
	}
	return fine;
}

enum wt_status wt_gardens_fit(const struct wt_garden_record *const *records, size_t n,
			      struct wt_gardens **out)
{
	if (out == NULL || (n > 0 && records == NULL))
		return WT_ERR_ARG;
	int n_origins = 0;
	for (size_t i = 0; i < n; i++) {
		if (!record_is_sound(records[i]))
			return WT_ERR_ARG;
		if (records[i]->origin >= n_origins)
			n_origins = records[i]->origin + 1;
	}
	struct wt_gardens *gardens = calloc(1, sizeof(*gardens));
	if (gardens == NULL)
		return WT_ERR_NOMEM;
	gardens->n_origins = n_origins;
	const enum wt_status status =
		make_room(gardens) ? fit_all(gardens, records, n) : WT_ERR_NOMEM;
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
	for (size_t i = 0; i < N_OWN_FACTORS; i++)
		free((*gardens)->origins[i]);
	free((*gardens)->loads);
	free(*gardens);
	*gardens = NULL;
}

/* Pace and moisture of a load of an origin, less the base, are row.x + shift + e: x the core's
 * effects, e the rest of the origin's, normal with covariance rest.  An origin that nothing was
 * heard of has a word of zeros. */
struct areal {
	double row[AREAL][CORE];
	double shift[AREAL];
	double rest[AREAL][AREAL];
};

static void find_areal(const struct wt_gardens *gardens, const struct fit *fit,
		       const struct origin_word *origin, const struct places *places,
		       struct areal *out)
{
	double lower[AREAL][AREAL];
	*out = (struct areal){0};
	/* The same succeeded when it was eliminated. */
	(void)factor_origin(gardens, fit, origin, lower);
	for (size_t a = 0; a < AREAL; a++) {
		out->rest[a][a] = 1.0;
		wt_learn_solve_lower(&lower[0][0], AREAL, AREAL, out->rest[a]);
		wt_learn_solve_upper(&lower[0][0], AREAL, AREAL, out->rest[a]);
	}
	for (size_t a = 0; a < AREAL; a++) {
		for (size_t i = 0; i < places->n[a]; i++)
			out->row[a][places->at[a][i]] = 1.0;
		for (size_t b = 0; b < AREAL; b++) {
			out->shift[a] += out->rest[a][b] * origin->pull[b];
			for (size_t c = 0; c < CORE; c++)
				out->row[a][c] -= out->rest[a][b] * origin->cross[b][c];
		}
	}
}

/* Mean and covariance of one more load under one pair of variances, less the base. */
static void predict(const struct wt_gardens *gardens, const struct fit *fit,
		    const struct origin_word *origin, const struct places *places,
		    struct wt_gauss *out)
{
	struct areal areal;
	find_areal(gardens, fit, origin, places, &areal);
	for (size_t a = 0; a < N; a++) {
		out->mean[a] = fit->effect[a];
		memcpy(out->cov[a], fit->cov[a], sizeof(out->cov[a]));
	}
	for (size_t a = 0; a < AREAL; a++) {
		double half[CORE] = {0};
		out->mean[a] = areal.shift[a];
		for (size_t c = 0; c < CORE; c++) {
			out->mean[a] += areal.row[a][c] * fit->effect[c];
			for (size_t e = 0; e < CORE; e++)
				half[e] += areal.row[a][c] * fit->cov[c][e];
		}
		for (size_t b = AREAL; b < N; b++)
			out->cov[a][b] = out->cov[b][a] = half[b];
		for (size_t b = 0; b <= a; b++) {
			out->cov[a][b] = areal.rest[a][b];
			for (size_t c = 0; c < CORE; c++)
				out->cov[a][b] += half[c] * areal.row[b][c];
			out->cov[b][a] = out->cov[a][b];
		}
	}
	for (size_t a = 0; a < N; a++)
		out->cov[a][a] += own_var(gardens, a, own_factors[fit->own]);
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
	static const struct origin_word unheard;
	const bool known = origin >= 0 && origin < gardens->n_origins;
	struct places places;
	struct wt_gauss all = {0};
	find_places(grade, season, &places);
	for (size_t i = 0; i < N_GRID; i++) {
		struct wt_gauss one;
		const struct fit *fit = &gardens->fits[i];
		const double weight = fit->weight;
		predict(gardens, fit, known ? &gardens->origins[fit->own][origin] : &unheard,
			&places, &one);
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
