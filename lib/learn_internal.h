/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * Inside of the posterior of one load (lib/learn.c and its parts).
 *
 * Everything is done in coordinates in which the prior is a standard normal: the load's own
 * (enum wt_dim, whitened) and a few nuisances of the weighing itself.
 */
#ifndef WT_LIB_LEARN_INTERNAL_H
#define WT_LIB_LEARN_INTERNAL_H

#include <stdbool.h>

#include "lib/learn.h"

enum wt_learn_extra {
	WT_LEARN_FRESH = WT_DIM_COUNT, /* error of the weight on arrival */
	WT_LEARN_CELL_BASE,            /* error of the cell's weight at spreading */
	WT_LEARN_CELL_SHARE,           /* the cell's tray against the load */
	WT_LEARN_SAMPLE_SHARE,         /* the sample tray against the load */
	WT_LEARN_DIMS,
};

/* Most observations in the likelihood; more of a kind are put together in blocks of time. */
enum { WT_LEARN_VIEWS = 96, WT_LEARN_CANDIDATES = 5 };

/* One observation or a block of them as the likelihood sees it.  Units: 100 times the natural log
 * of weight over fresh weight (so about % of weight); hand feel in loss %. */
struct wt_learn_view {
	enum wt_observation_kind kind;
	int64_t at_unix_s;
	double value;
	double sd;          /* of the reading itself */
	int feel;           /* step, for WT_OBSERVED_FEEL */
	size_t first, last; /* observations it stands for: same kind between these */
	double sound_sd;    /* reading and model error together, at the loss it tells of */
	double unsound_sd;
	double sound_log, unsound_log; /* log of chance over sd */
};

/* Linear normal model of the views around some members. */
struct wt_learn_line {
	double at_zero[WT_LEARN_VIEWS];
	double slope[WT_LEARN_VIEWS][WT_LEARN_DIMS];
	double var[WT_LEARN_VIEWS]; /* reading, model error and curvature */
};

/* Normal distribution in whitened coordinates: z = mean + lower g. */
struct wt_learn_normal {
	double weight;
	double mean[WT_LEARN_DIMS];
	double lower[WT_LEARN_DIMS][WT_LEARN_DIMS];
	double log_det; /* of lower */
};

struct wt_learn_mixture {
	size_t n;
	struct wt_learn_normal part[WT_LEARN_CANDIDATES + 1];
};

/* All members tried so far with what the views would read on each: [d * stride + i],
 * [k * stride + i]. */
struct wt_learn_sample {
	size_t n, stride;
	double *z;
	double *seen;
	double *loss_pct;     /* loss % at each view */
	double *weight;       /* normalised */
	double *log_target;   /* likelihood times prior */
	double *log_proposal; /* of all rounds, each by its number of members */
	/* Members that carry weight, put together for the regression. */
	size_t n_near;
	size_t *near;
	double *near_z, *near_weight, *near_seen, *scratch;
};

/* Cholesky factor of the leading n of a symmetric matrix with rows of `stride`; zero pivots give
 * zero columns; false when it is not positive semidefinite. */
bool wt_learn_cholesky(double *matrix, size_t n, size_t stride);
/* In place: solves lower x = b, and transpose(lower) x = b. */
void wt_learn_solve_lower(const double *lower, size_t n, size_t stride, double *b);
void wt_learn_solve_upper(const double *lower, size_t n, size_t stride, double *b);

/* Puts observations in order into views; returns their number. */
size_t wt_learn_make_views(const struct wt_load_case *load, const struct wt_feel_scale *feel,
			   const struct wt_observation *observations, size_t n,
			   struct wt_learn_view views[WT_LEARN_VIEWS]);
/* Log likelihood of one view, and the probability that it is sound. */
double wt_learn_view_log(const struct wt_learn_view *view, const struct wt_feel_scale *feel,
			 double seen, double loss_pct, double *trust);
/* Log odds against a view being unsound, for the linear model. */
double wt_learn_unsound_log(const struct wt_learn_view *view);

/* Standard normals [d * n + i] from a Sobol sequence turned by seed; one more row of even numbers
 * 0..1 at the end. */
enum wt_status wt_learn_normals(size_t n, uint64_t seed, double *out) WT_MUST_CHECK;
/* Fills members from..from + n - 1 of the sample. */
void wt_learn_draw(const struct wt_learn_mixture *mixture, const double *normals, size_t from,
		   size_t n, struct wt_learn_sample *sample);
/* Adds n_drawn times the mixture's density to the proposals of members from..to - 1. */
void wt_learn_add_proposal(const struct wt_learn_mixture *mixture, size_t n_drawn, size_t from,
			   size_t to, struct wt_learn_sample *sample);
void wt_learn_standard(struct wt_learn_normal *out);

/* Regression of what is seen on z under the sample's weights. */
bool wt_learn_fit_line(const struct wt_learn_view *views, size_t n_views,
		       struct wt_learn_sample *sample, struct wt_learn_line *out);
/* Posteriors of the linear model with all views sound and with single ones left out, weighed by
 * their evidence. out_of[c] is the view left out of part c, or SIZE_MAX. */
void wt_learn_candidates(const struct wt_learn_view *views, size_t n_views,
			 const struct wt_learn_line *line, struct wt_learn_mixture *out,
			 size_t out_of[WT_LEARN_CANDIDATES]);
/* What each view was expected to read from the others, and the sd of that, reading included. */
void wt_learn_expect(const struct wt_learn_view *views, size_t n_views,
		     const struct wt_learn_line *line, const double *trust, double *expected,
		     double *sd);

#endif /* WT_LIB_LEARN_INTERNAL_H */
