/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "lib/traits.h"

#include <math.h>
#include <string.h>

#include "lib/ensemble.h"

static const struct wt_grade_trait grades[WT_GRADE_COUNT] = {
	[WT_GRADE_BUD] =
		{20.0, 77.0, 0.9,
		 "leaf area from memory (40-60 g/m2 young); moisture 75-78 common practice; "
		 "pace our choice: a closed bud hides part of its skin"},
	[WT_GRADE_YOUNG] =
		{20.0, 76.0, 1.0,
		 "leaf area from memory (40-60 g/m2 young); moisture 75-78 common practice"},
	[WT_GRADE_MIXED] = {16.0, 75.5, 1.05, "between young and mature: our choice"},
	[WT_GRADE_MATURE] = {12.0, 74.0, 1.2,
			     "leaf area from memory (80-120 g/m2 mature, with young stems); "
			     "conductance rises with age (Duursma et al. 2019); size our choice"},
};

static const struct wt_season_trait seasons[WT_SEASON_COUNT] = {
	[WT_SEASON_SPRING] = {0.5, 1.0, "wetter in spring: common practice; size our choice"},
	[WT_SEASON_SUMMER] = {0.0, 1.0, "reference: our choice"},
	[WT_SEASON_AUTUMN] = {-1.0, 1.0, "drier in autumn: common practice; size our choice"},
};

static const struct wt_wet_trait wets[WT_WET_COUNT] = {
	[WT_WET_NONE] = {0.002, 0.7, "our choice: never quite none"},
	[WT_WET_DAMP] = {0.03, 0.6, "dew: our choice, below the 5-20 % of rain leaf"},
	[WT_WET_WET] = {0.10, 0.5, "5-20 % of fresh weight on rain leaf: common practice"},
};

const struct wt_grade_trait *wt_traits_grade(enum wt_grade grade)
{
	return (unsigned)grade < WT_GRADE_COUNT ? &grades[grade] : NULL;
}

const struct wt_season_trait *wt_traits_season(enum wt_season season)
{
	return (unsigned)season < WT_SEASON_COUNT ? &seasons[season] : NULL;
}

const struct wt_wet_trait *wt_traits_wet(enum wt_wet wet)
{
	return (unsigned)wet < WT_WET_COUNT ? &wets[wet] : NULL;
}

double wt_traits_drift(int term, double t_h)
{
	double t = fmin(fmax(t_h, 0.0), WT_TRAIT_DRIFT_SPAN_H) / WT_TRAIT_DRIFT_SPAN_H;
	double w = (term + 0.5) * M_PI;
	return WT_TRAIT_DRIFT_PER_SQRT_H * sqrt(2.0 * WT_TRAIT_DRIFT_SPAN_H) * sin(w * t) / w;
}

enum wt_status wt_traits_prior(const struct wt_load_case *load, struct wt_gauss *out)
{
	if (!load || !out)
		return WT_ERR_ARG;
	const struct wt_grade_trait *grade = wt_traits_grade(load->grade);
	const struct wt_season_trait *season = wt_traits_season(load->season);
	const struct wt_wet_trait *wet = wt_traits_wet(load->wet);
	if (!grade || !season || !wet || isinf(load->moisture_pct))
		return WT_ERR_ARG;
	bool told = !isnan(load->moisture_pct);
	if (told && (load->moisture_pct < 50.0 || load->moisture_pct > 90.0))
		return WT_ERR_RANGE;
	double mean[WT_DIM_COUNT] = {
		[WT_DIM_PACE] = log(grade->pace * season->pace),
		[WT_DIM_MOISTURE] =
			told ? load->moisture_pct : grade->moisture_pct + season->moisture_add_pct,
		[WT_DIM_SURFACE] = log(wet->surface_kg_kg),
		[WT_DIM_OPEN] = log(WT_TRAIT_OPEN_RATIO),
		[WT_DIM_CLOSE] = log(WT_TRAIT_CLOSE_S),
		[WT_DIM_SHRINK] = log(WT_TRAIT_SHRINK_HALF),
	};
	double sd[WT_DIM_COUNT] = {
		[WT_DIM_PACE] = WT_TRAIT_PACE_SD,
		[WT_DIM_MOISTURE] = told ? WT_TRAIT_MOISTURE_TOLD_SD : WT_TRAIT_MOISTURE_SD,
		[WT_DIM_SURFACE] = wet->ln_sd,
		[WT_DIM_OPEN] = WT_TRAIT_OPEN_LN_SD,
		[WT_DIM_CLOSE] = WT_TRAIT_CLOSE_LN_SD,
		[WT_DIM_BED] = WT_TRAIT_BED_LN_SD,
		[WT_DIM_SHRINK] = WT_TRAIT_SHRINK_LN_SD,
		[WT_DIM_RH_BIAS] = WT_TRAIT_RH_BIAS_SD,
		[WT_DIM_DRIFT0] = 1.0,
		[WT_DIM_DRIFT1] = 1.0,
		[WT_DIM_DRIFT2] = 1.0,
		[WT_DIM_DRIFT3] = 1.0,
	};
	struct wt_gauss gauss;
	memset(&gauss, 0, sizeof gauss);
	for (int d = 0; d < WT_DIM_COUNT; d++) {
		gauss.mean[d] = mean[d];
		gauss.cov[d][d] = sd[d] * sd[d];
	}
	*out = gauss;
	return WT_OK;
}
