/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * Synthetic seasons with a truth of another build than the model: beds in layers, stems that feed
 * the blades, stomata of several kinds, sensors and scales with faults, humid hill weather.
 */
#ifndef WT_TESTS_SEASON_H
#define WT_TESTS_SEASON_H

#include <gsl/gsl_rng.h>
#include <stdbool.h>
#include <stdint.h>
#include <stdio.h>

enum { SEASON_STEP_S = 60, SEASON_LAYERS = 4, SEASON_KINDS = 4 };

struct season_options {
	long seed, days;
	long structure;   /* 0 layers and stems, 1 one well-mixed bed with wandering pace */
	long wet_climate; /* 1: more showers */
	bool calm;        /* every day the same: what is left is the leaf */
	bool wrong_scale; /* the first weighing of every load reads 8 % off */
	bool cells;       /* a load cell under a tray of every load */
	bool outlook;     /* an outdoor forecast every 3 h */
	bool no_weighing; /* nothing but the weight at fixing */
	bool biased;      /* the station reads 3 % RH off, up or down */
	bool noisy_scale; /* 2 % instead of 1 */
	bool stress;      /* stomata close as the blade loses water, not as time goes by */
	int station_every_s;
	long forecast_every_s;
};

/* Air each SEASON_STEP_S from start: outdoors and in the room. */
struct season_air {
	int64_t start_unix_s;
	size_t n;
	double *out_temp_c, *out_vapour_pa;
	double *temp_c, *vapour_pa;
};

struct season_leaf {
	double kg, area_m2, moisture_pct, pace;
	double surface_kg_kg;
	long structure;
	bool stress;
	/* state per m2 of tray */
	double dry_blade[SEASON_LAYERS], dry_stem[SEASON_LAYERS];
	double blade[SEASON_LAYERS], stem[SEASON_LAYERS]; /* kg water */
	double blade_full, stem_full;                     /* kg water per kg dry, fresh */
	double surface[SEASON_LAYERS];
	double fresh_tissue, breathed, cooling_k, age_s, turned_s, wander;
	double kind_share[SEASON_KINDS], kind_s[SEASON_KINDS];
	double open_ratio;
	double opening[SEASON_LAYERS]; /* of the stomata, when they close by stress */
};

struct season_load {
	int number, garden, pattern;
	int64_t spread_unix_s, ready_unix_s, fix_unix_s;
	int64_t past_unix_s; /* had it been left, whatever the maker did; 0: never */
	const char *grade, *wet;
	struct season_leaf leaf;
	double said_kg; /* on the arrival scale */
	int cell;       /* number of its cell, or -1 */
};

double season_normal(gsl_rng *rng, double mean, double sd);
double season_saturation_pa(double temp_c);

void season_make_air(const struct season_options *options, gsl_rng *rng, int64_t start_unix_s,
		     struct season_air *air);
void season_free_air(struct season_air *air);

/* Sets the state from kg, area, moisture, pace, surface and structure. */
void season_leaf_start(struct season_leaf *leaf, gsl_rng *rng);
void season_leaf_step(struct season_leaf *leaf, double temp_c, double vapour_pa, gsl_rng *rng);
void season_leaf_turn(struct season_leaf *leaf);
double season_leaf_loss_pct(const struct season_leaf *leaf);
double season_leaf_weight_kg(const struct season_leaf *leaf);

#endif /* WT_TESTS_SEASON_H */
