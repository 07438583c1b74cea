/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * How thick to spread: from ready times worked out at a few densities to the
 * density that meets a wish, and what is wrong with a bed too thick or too thin.
 */
#ifndef WT_LIB_DENSITY_H
#define WT_LIB_DENSITY_H

#include <stddef.h>

#include "lib/status.h"

/* A bed above this warms by its own breath and withers unevenly (common practice, no source). */
#define WT_DENSITY_HEATS_KG_M2 8.0
/* Above this the lower leaf dries far behind the upper: about 15 cm of loose leaf at 33 kg/m3, the
 * thickest spreading of the green-tea standards (common practice, attributed to DB52/T 995-2015,
 * not read). */
#define WT_DENSITY_UNEVEN_KG_M2 5.0

enum wt_density_side {
	WT_DENSITY_INSIDE,
	WT_DENSITY_SOONER, /* the wish is sooner than even the thinnest bed: that one is given */
	WT_DENSITY_LATER,  /* the wish is later than the thickest bed: that one is given */
};

enum wt_density_note {
	WT_DENSITY_FINE,
	WT_DENSITY_UNEVEN,
	WT_DENSITY_HEATS,
};
enum wt_density_note wt_density_judge(double kg_m2);

/* kg_m2 ascending and positive, n at least 1; ready_unix_s the ready time of each (a median, or
 * any one quantile), HUGE_VAL beyond the horizon.  Between two densities the time is taken linear
 * in the logarithm of density; where it falls as the bed thickens (it should not) the thickest
 * bed that meets the wish is given.  WT_ERR_ARG: malformed, NAN. */
enum wt_status wt_density_for_wish(const double *kg_m2, const double *ready_unix_s, size_t n,
				   double wish_unix_s, double *out_kg_m2,
				   enum wt_density_side *side) WT_MUST_CHECK;

#endif /* WT_LIB_DENSITY_H */
