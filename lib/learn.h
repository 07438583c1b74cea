/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * Learning: within one load (weighings, hand feel, a load cell) and between
 * loads (what a garden, a grade, a season is like).
 */
#ifndef WT_LIB_LEARN_H
#define WT_LIB_LEARN_H

#include <stddef.h>
#include <stdint.h>

#include "lib/ensemble.h"

enum wt_observation_kind {
	WT_OBSERVED_WEIGHT, /* whole load, kg */
	WT_OBSERVED_SAMPLE, /* weight of a tagged sample tray over its fresh weight, ratio */
	WT_OBSERVED_FEEL,   /* enum wt_feel */
	WT_OBSERVED_CELL,   /* load cell under one tray: ratio to its weight at spreading */
};

struct wt_observation {
	enum wt_observation_kind kind;
	int64_t at_unix_s;
	double value; /* kg, ratio or enum wt_feel */
};

/* Where the hand feels a change, in loss % of fresh weight: cut k lies between feel step k and
 * k + 1; sd is the spread of one judgement. */
struct wt_feel_scale {
	double cut_loss_pct[WT_FEEL_COUNT - 1];
	double sd_loss_pct;
};
/* Cuts before anything is learned (common practice, no source). */
void wt_feel_scale_default(struct wt_feel_scale *out);

/* What became of each observation, for words and for review. */
struct wt_observation_report {
	double expected; /* by the load's forecast without this observation, same unit; NAN for feel
			  */
	double surprise; /* (value - expected) / predictive sd; for feel a two-sided z-like score */
	double trust;    /* posterior probability that it is sound, 0..1 */
};

/* What observations say of a load's coordinates apart from any prior, as a normal likelihood: its
 * log is pull.x - x'info x / 2, with x the coordinates of enum wt_dim.  All zero: nothing. */
struct wt_learn_word {
	double pull[WT_DIM_COUNT];
	double info[WT_DIM_COUNT * (WT_DIM_COUNT + 1) / 2]; /* see wt_learn_at() */
};
/* Where an element of a symmetric matrix lies: the lower half is kept, row by row. */
static inline size_t wt_learn_at(size_t row, size_t column)
{
	return row < column ? column * (column + 1) / 2 + row : row * (row + 1) / 2 + column;
}

struct wt_learn_report {
	double ess; /* effective sample size of the final weights */
	int rounds; /* proposals used */
	double mean[WT_DIM_COUNT];
	double sd[WT_DIM_COUNT];
	struct wt_learn_word word;
};

/* Posterior of a load given its observations up to the end of *past: members (equal weight,
 * deterministic in the inputs) drawn from it.  observations in order of time; reports may be NULL,
 * else n_observations of them.  With none, members are the prior's. */
enum wt_status wt_learn_posterior(const struct wt_load_case *load, const struct wt_drive *past,
				  const struct wt_gauss *prior, const struct wt_feel_scale *feel,
				  const struct wt_observation *observations, size_t n_observations,
				  uint64_t seed, struct wt_members *members,
				  struct wt_learn_report *report,
				  struct wt_observation_report *observation_reports) WT_MUST_CHECK;

/* One closed load as seen by the gardens. */
struct wt_garden_record {
	int origin; /* number given by the caller, >= 0 */
	enum wt_grade grade;
	enum wt_season season;
	enum wt_wet wet;
	struct wt_learn_word word; /* of its last posterior */
};

struct wt_gardens;

/* Shrinkage estimates (best linear unbiased prediction).  Pace and moisture: overall + origin +
 * grade + season + the load's own.  What is common to a workshop's loads (how its leaf closes, what
 * its trays and its station do, how the model drifts): overall + the load's own.  All together, so
 * that what is uncertain for the same reason in every load is counted once. */
enum wt_status wt_gardens_fit(const struct wt_garden_record *const *records, size_t n,
			      struct wt_gardens **out) WT_MUST_CHECK;
void wt_gardens_free(struct wt_gardens **gardens);

struct wt_garden_guess {
	double pace_mean, pace_sd; /* of ln pace, for the next load */
	double moisture_mean, moisture_sd;
	int n_loads;           /* closed loads of that origin behind it */
	struct wt_gauss gauss; /* the whole of it; surface water is that of leaf spread dry */
};
/* gardens may be NULL (nothing learned); origin -1 for a new one. */
enum wt_status wt_gardens_guess(const struct wt_gardens *gardens, int origin, enum wt_grade grade,
				enum wt_season season, struct wt_garden_guess *out) WT_MUST_CHECK;
/* Puts a guess into a prior made by wt_traits_prior(): surface water keeps to how wet the leaf
 * came, a moisture told by the maker stays. */
void wt_gardens_apply(const struct wt_garden_guess *guess, const struct wt_load_case *load,
		      struct wt_gauss *prior);

/* Cut points of the hand learned from (loss % by the final posterior, its sd, step) pairs. */
struct wt_feel_pair {
	double loss_pct, loss_sd_pct;
	enum wt_feel step;
};
enum wt_status wt_feel_scale_fit(const struct wt_feel_pair *pairs, size_t n,
				 struct wt_feel_scale *out) WT_MUST_CHECK;

#endif /* WT_LIB_LEARN_H */
