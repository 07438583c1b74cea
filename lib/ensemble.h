/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * The ensemble of one load: members that differ in leaf and bed, driven by the
 * room's measured air up to now and by one path of coming air each.
 *
 * A forecast is a pure function: the members are run from the moment of
 * spreading each time.  The physics is lib/leaf_physics.h, compiled once in
 * double (reference, lib/leaf.c) and once in single precision (here).
 *
 * Time is cut at the grid of WT_GRID_S seconds counted from the Unix epoch; the
 * first step of a load is the part of a step left after spreading, and acts on
 * the bed (turning, thinning) split a step.
 */
#ifndef WT_LIB_ENSEMBLE_H
#define WT_LIB_ENSEMBLE_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "lib/status.h"
#include "lib/words.h"

#define WT_GRID_S 300
#define WT_HORIZON_S (48 * 3600)

/* What members differ in.  All are carried in coordinates in which the prior is
 * normal (logs, or as they are). */
enum wt_dim {
	WT_DIM_PACE,     /* ln of the load's pace m, multiplies conductance */
	WT_DIM_MOISTURE, /* tissue moisture at spreading, % wet basis */
	WT_DIM_SURFACE,  /* ln of surface water, kg per kg of fresh leaf without it */
	WT_DIM_OPEN,     /* ln of the ratio open to minimum conductance */
	WT_DIM_CLOSE,    /* ln of the mean closing time of the stomata, s */
	WT_DIM_BED,      /* ln of the factor on the path from leaf to room: bed and faces */
	WT_DIM_SHRINK,   /* ln of the share of water left at which the skin passes half */
	WT_DIM_RH_BIAS,  /* true less measured relative humidity of the room, % */
	WT_DIM_DRIFT0,   /* slow drift of ln pace: coefficients of an expansion, unit normal */
	WT_DIM_DRIFT1,
	WT_DIM_DRIFT2,
	WT_DIM_DRIFT3,
	WT_DIM_COUNT
};

/* A normal distribution over the dimensions.  A dimension of zero variance is fixed. */
struct wt_gauss {
	double mean[WT_DIM_COUNT];
	double cov[WT_DIM_COUNT][WT_DIM_COUNT];
};

/* An act that changes the bed.  Unchanged quantities are NAN or -1. */
struct wt_bed_event {
	int64_t at_unix_s;
	bool turned;
	double area_m2;  /* new area, or NAN */
	int fan;         /* 1 moved air, 0 still, -1 unchanged */
	double taken_kg; /* leaf taken away (part of the load fixed), weight as then, or 0 */
};

/* One load as the model sees it. */
struct wt_load_case {
	int64_t spread_unix_s;
	double fresh_kg; /* as weighed on arrival, surface water included */
	double area_m2;
	bool perforated;
	bool fan;
	double net_radiation_w_m2; /* on the tray, 0 indoors */
	enum wt_grade grade;
	enum wt_season season;
	enum wt_wet wet;
	double moisture_pct; /* told by the maker, % wet basis, or NAN */
	double pressure_pa;
	const struct wt_bed_event *events; /* borrowed, in order of time */
	size_t n_events;
	double ready_from_loss_pct;
	double latest_loss_pct;
	double least_hours;
	double most_hours; /* HUGE_VAL when the style sets none */
};

/* Air measured: one instant every WT_GRID_S from start_unix_s (a multiple of it).
 * Gaps are already filled; no NAN.  Arrays are borrowed. */
struct wt_track {
	int64_t start_unix_s;
	size_t n;
	const float *temp_c;
	const float *vapour_pa;
};

/* Air to come: element [step * n_paths + path]; step 0 is the last instant of the track. */
struct wt_paths {
	int64_t start_unix_s;
	size_t n_steps;
	size_t n_paths;
	const float *temp_c;
	const float *vapour_pa;
};

/* Air made ready for the kernel: computed once per room and pressure, shared by its loads.
 * Read-only after making; may be shared between threads. */
struct wt_drive;

enum wt_status wt_drive_from_track(const struct wt_track *track, double pressure_pa,
				   struct wt_drive **out) WT_MUST_CHECK;
enum wt_status wt_drive_from_paths(const struct wt_paths *paths, double pressure_pa,
				   struct wt_drive **out) WT_MUST_CHECK;
void wt_drive_free(struct wt_drive **drive);

/* A set of members, all of equal weight.  theta[d][i] is coordinate d of member i. */
struct wt_members {
	size_t n;
	float *theta[WT_DIM_COUNT];
};

enum wt_status wt_members_new(size_t n, struct wt_members **out) WT_MUST_CHECK;
void wt_members_free(struct wt_members **members);

/* Fills members with a quasi-random (Sobol) sample of *gauss, shifted by seed.  Same inputs,
 * same members. */
enum wt_status wt_members_draw(const struct wt_gauss *gauss, uint64_t seed,
			       struct wt_members *members) WT_MUST_CHECK;

/* What is known of a load before anything is observed, from its grade, season, wetness and the
 * moisture told.  Sources of every entry: lib/traits.c. */
enum wt_status wt_traits_prior(const struct wt_load_case *load, struct wt_gauss *out) WT_MUST_CHECK;

/* Runs members over measured air from spreading to the last instant of *past, and writes at each
 * of at_unix_s (ascending, between spreading and that instant) the loss in % of fresh weight and
 * the weight of the load in kg (surface water included, taken leaf removed); either may be NULL.
 * Layout [k * members->n + i]. */
enum wt_status wt_ensemble_observe(const struct wt_load_case *load, const struct wt_drive *past,
				   const struct wt_members *members, const int64_t *at_unix_s,
				   size_t n_at, float *loss_pct, float *weight_kg) WT_MUST_CHECK;

/* What a run gives, per member.  Times are unix seconds, HUGE_VAL beyond the horizon. */
struct wt_outcome {
	size_t n;
	double *ready_unix_s;
	double *past_unix_s;
	float *loss_now_pct;   /* at the last instant of the measured air */
	float *rate_now_pct_h; /* loss per hour over the last half hour of measured air */
	int64_t *mark_unix_s;  /* hours at which loss is kept: n_marks of them */
	size_t n_marks;
	float *mark_loss_pct; /* [mark * n + i] */
};

/* marks may lie in the past or the future of the load. */
enum wt_status wt_outcome_new(size_t n, const int64_t *mark_unix_s, size_t n_marks,
			      struct wt_outcome **out) WT_MUST_CHECK;
void wt_outcome_free(struct wt_outcome **outcome);

/* The whole forecast of a load: past air from spreading, then future air, member i on path
 * (i * k) mod n_paths with k coprime, so that leaf and air are independent.  future may be NULL
 * (hindcast: stops at the end of the track). */
enum wt_status wt_ensemble_run(const struct wt_load_case *load, const struct wt_drive *past,
			       const struct wt_drive *future, const struct wt_members *members,
			       struct wt_outcome *outcome) WT_MUST_CHECK;

#endif /* WT_LIB_ENSEMBLE_H */
