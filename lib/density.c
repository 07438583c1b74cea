/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "lib/density.h"

#include <math.h>

enum wt_density_note wt_density_judge(double kg_m2)
{
	if (kg_m2 > WT_DENSITY_HEATS_KG_M2)
		return WT_DENSITY_HEATS;
	return kg_m2 > WT_DENSITY_UNEVEN_KG_M2 ? WT_DENSITY_UNEVEN : WT_DENSITY_FINE;
}

static double between(const double *kg_m2, const double *ready_unix_s, size_t i, double wish_unix_s)
{
	/* Beyond the horizon there is nothing to divide by: the bed known to be ready. */
	if (!isfinite(ready_unix_s[i + 1]))
		return kg_m2[i];
	double share = (wish_unix_s - ready_unix_s[i]) / (ready_unix_s[i + 1] - ready_unix_s[i]);
	return kg_m2[i] * exp(share * log(kg_m2[i + 1] / kg_m2[i]));
}

enum wt_status wt_density_for_wish(const double *kg_m2, const double *ready_unix_s, size_t n,
				   double wish_unix_s, double *out_kg_m2,
				   enum wt_density_side *side)
{
	if (!kg_m2 || !ready_unix_s || !n || !out_kg_m2 || !side || !isfinite(wish_unix_s))
		return WT_ERR_ARG;
	for (size_t i = 0; i < n; i++) {
		if (!isfinite(kg_m2[i]) || kg_m2[i] <= 0 || isnan(ready_unix_s[i]) ||
		    (i && kg_m2[i] <= kg_m2[i - 1]))
			return WT_ERR_ARG;
	}
	if (ready_unix_s[n - 1] <= wish_unix_s) {
		*out_kg_m2 = kg_m2[n - 1];
		*side = ready_unix_s[n - 1] < wish_unix_s ? WT_DENSITY_LATER : WT_DENSITY_INSIDE;
		return WT_OK;
	}
	for (size_t i = n - 1; i-- > 0;) {
		if (ready_unix_s[i] <= wish_unix_s) {
			*out_kg_m2 = between(kg_m2, ready_unix_s, i, wish_unix_s);
			*side = WT_DENSITY_INSIDE;
			return WT_OK;
		}
	}
	*out_kg_m2 = kg_m2[0];
	*side = WT_DENSITY_SOONER;
	return WT_OK;
}
