/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * What leaf is like: by grade, season and wetness, and what holds for all leaf.
 * Data with their sources; the code that uses them is short.
 */
#ifndef WT_LIB_TRAITS_H
#define WT_LIB_TRAITS_H

#include "lib/words.h"

/* Constants of all leaf.  Where no source is named the value is our choice. */

/* Minimum conductance of detached tea leaf, mol m-2 s-1 of projected area: mean of the clones 2023
 * (16.2) and T5/3 (7.78), Nagarajah 1979, Physiol. Plant. 46:89-92, Table 1, as listed in the open
 * minimum-conductance data base of Duursma et al. 2019, New Phytol. 221:693-705. */
#define WT_TRAIT_SKIN_MOL_M2_S 0.012
/* Rise of that conductance for 10 K.  Detached leaf of a eucalypt shows no trend up to 28 deg C
 * (open data of Duursma et al. 2019); 1.0-1.5 is defensible, 1.2 our choice. */
#define WT_TRAIT_SKIN_Q10 1.2
/* Oswin isotherm, exponent 1/2: moisture at water activity 0.5, kg/kg dry.  A modified Oswin form
 * fits fresh tea leaf best (Botheju et al., desorption 15-30 deg C, abstract); its coefficients
 * could not be read, 0.10 is from memory of dry tea. */
#define WT_TRAIT_ISOTHERM_HALF 0.10
/* Dry matter breathed away at 20 deg C, share per hour, as loss of weight: about 0.05 % of dry
 * matter an hour (0.5 W/kg, leafy greens, USDA Handbook 66 by way of an extension page), of which
 * two fifths leave the tray; the water made stays (glucose: 72 of 180 g).  Our choice. */
#define WT_TRAIT_BREATH_PER_H (0.0005 * 0.4)
/* Bulk density of loosely spread fresh leaf, kg m-3: 1 kg/m2 at 30 mm, common practice (attributed
 * to DB33/T 239-2023, not read). */
#define WT_TRAIT_BULK_KG_M3 33.0
/* One face of one leaf: resistance in still and in moved air, s m-1.  By Campbell and Norman 1998,
 * 0.147 (u/d)^1/2 forced (read in open code that quotes it) and 0.055 (dT/d)^1/4 free (from
 * memory), added as in Bonan's teaching code (2019); d 2 cm, which is 0.72 of the width of a leaf
 * 2.8 cm wide.  A 0.1 m/s room draught 0.33 and 1 K of cooling 0.15 mol m-2 s-1 are 85 s/m; 1 m/s
 * is 35 s/m.  Size and speeds are our choice. */
#define WT_TRAIT_LEAF_STILL_S_M 85.0
#define WT_TRAIT_LEAF_FAN_S_M 35.0
/* One face of a tray full of leaf.  Its air is not renewed at each leaf's edge: a smooth plate 1 m
 * long, 1 K cooler than the room (Incropera, horizontal plates, Nu 0.54 Ra^1/4 below and 0.27
 * Ra^1/4 above, and 0.664 Re^1/2 Sc^1/3 of the same draughts added; all from memory) has 390 to 470
 * s/m, by the length put in (area over perimeter, or side), and 200 to 220 s/m in moved air.  Loose
 * leaf is rougher: between leaf and plate, nearer to the leaf; our choice.  A load's bed factor
 * moves it. */
#define WT_TRAIT_FACE_STILL_S_M 140.0
#define WT_TRAIT_FACE_FAN_S_M 50.0
/* Long-wave radiation beside convection: rho cp / (4 sigma T^3) at 20 deg C, s m-1. */
#define WT_TRAIT_RADIATION_S_M 210.0
/* Spreading of vapour through the loose bed, m2 s-1: four times the molecular value in still air
 * (97 % of such a bed is air, stirred by the cool leaf and by draughts), three times more under
 * moved air.  Our choice. */
#define WT_TRAIT_BED_M2_S 1.0e-4
#define WT_TRAIT_BED_FAN_FACTOR 3.0
/* Heat passes the bed more easily than vapour (radiation from leaf to leaf).  Our choice. */
#define WT_TRAIT_BED_HEAT_RATIO 0.6
/* A bed packs as the leaf goes limp: its path grows by this share, with this e-fold time, until it
 * is turned.  Our choice. */
#define WT_TRAIT_PACK_SHARE 0.5
#define WT_TRAIT_PACK_S (3.0 * 3600.0)
/* Surface water at which half of the leaf is covered, kg per m2 of leaf: 40 um.  Our choice. */
#define WT_TRAIT_FILM_HALF_KG_M2 0.04
/* Slow drift of ln pace: a Brownian path with this sd after one hour (so 0.15 after 24 h), as four
 * terms of its Karhunen-Loeve expansion over the span below.  Our choice, set by replays. */
#define WT_TRAIT_DRIFT_PER_SQRT_H 0.03
#define WT_TRAIT_DRIFT_SPAN_H 72

/* Spread of the prior, in the coordinates of enum wt_dim.  Our choice unless said. */
#define WT_TRAIT_PACE_SD 0.45 /* clones 7.8 to 16.2 (above), leaf area 25 %, places of plucking */
#define WT_TRAIT_MOISTURE_SD 2.2 /* 73-84 % wet basis in the texts, typical 75-78 */
#define WT_TRAIT_MOISTURE_TOLD_SD 0.8
#define WT_TRAIT_OPEN_LN_SD 0.5  /* 40-70 against 8-16 mmol m-2 s-1 at plucking */
#define WT_TRAIT_CLOSE_LN_SD 0.5 /* 30-60 min */
#define WT_TRAIT_BED_LN_SD 0.6
#define WT_TRAIT_SHRINK_LN_SD 0.5
#define WT_TRAIT_RH_BIAS_SD 2.0 /* % RH: what makers of cheap sensors state, common practice */

/* Centres of the same. */
/* Stomata still partly open when the leaf reaches the tray; 55/12 at plucking, some of it gone on
 * the way in.  Our choice: detached kohlrabi of moist soil begins at 62-88 mmol m-2 s-1, as
 * tests/physics/published_detached.c fits it. */
#define WT_TRAIT_OPEN_RATIO 4.0

/* Mean closing time: cut tea leaf is steady by about 45 min (Nagarajah 1979), cut forage takes 30
 * min to 2 h (extension text); our choice between. */
#define WT_TRAIT_CLOSE_S 2700.0
/* Share of water left at which the skin passes half: the density of stomata rises by half over a
 * white wither (286 to 424 per mm2, cv. Fuding Dabaicha, abstract at
 * cyxb.fjnyxb.cn/cn/article/id/112), so area alone gives 0.04; cells falling dry give more.  Our
 * choice. */
#define WT_TRAIT_SHRINK_HALF 0.08

/* What a grade sets. */
struct wt_grade_trait {
	double leaf_m2_kg_dry; /* one-sided area of a kg of dry matter */
	double moisture_pct;   /* tissue at spreading, wet basis */
	double pace;           /* factor on the skin's conductance */
	const char *source;
};
struct wt_season_trait {
	double moisture_add_pct;
	double pace;
	const char *source;
};
struct wt_wet_trait {
	double surface_kg_kg; /* per kg of fresh leaf without it: centre */
	double ln_sd;
	const char *source;
};

/* Rows of the tables; value must be a member of the enum, else NULL. */
const struct wt_grade_trait *wt_traits_grade(enum wt_grade grade);
const struct wt_season_trait *wt_traits_season(enum wt_season season);
const struct wt_wet_trait *wt_traits_wet(enum wt_wet wet);

/* Term `term` (0..3) of the drift of ln pace, t_h hours after spreading, for a coefficient of 1. */
double wt_traits_drift(int term, double t_h);

#endif /* WT_LIB_TRAITS_H */
