/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * Humidity over saturated salt solutions, to check a station in a closed jar.
 *
 * L. Greenspan, Humidity fixed points of binary saturated aqueous solutions, Journal of Research of
 * the National Bureau of Standards 81A (1977) 89-96: polynomials in temperature.  Where the
 * coefficients come from is said beside them in lib/salt.c.
 */
#ifndef WT_LIB_SALT_H
#define WT_LIB_SALT_H

#include <stddef.h>
#include <stdint.h>

#include "lib/status.h"

/* From dry to moist. */
#define WT_SALT_LIST(X)                                                                            \
	X(WT_SALT_LICL, "LiCl", "lithium chloride")                                                \
	X(WT_SALT_MGCL2, "MgCl2", "magnesium chloride")                                            \
	X(WT_SALT_MGNO32, "Mg(NO3)2", "magnesium nitrate")                                         \
	X(WT_SALT_NACL, "NaCl", "table salt")                                                      \
	X(WT_SALT_KCL, "KCl", "potassium chloride")                                                \
	X(WT_SALT_K2SO4, "K2SO4", "potassium sulfate")

enum wt_salt {
#define X(name, formula, text) name,
	WT_SALT_LIST(X)
#undef X
		WT_SALT_COUNT
};

/* Formula and English name.  Static text. */
const char *wt_salt_formula(enum wt_salt salt);
const char *wt_salt_name(enum wt_salt salt);
/* "LiCl, MgCl2, Mg(NO3)2, NaCl, KCl, K2SO4": what wt_salt_parse() accepts beside names. */
const char *wt_salt_accepted(void);

/* By formula or name, upper and lower case alike, '-' for a blank, brackets left out or not. */
enum wt_status wt_salt_parse(const char *text, enum wt_salt *out) WT_MUST_CHECK;

/* Relative humidity over the saturated solution, 0 to 50 deg C; WT_ERR_RANGE outside. */
enum wt_status wt_salt_rh_pct(enum wt_salt salt, double temp_c, double *out) WT_MUST_CHECK;

/* Mean of the last hour when it is steady: at least 6 readings over at least 50 of its 60 min, and
 * from lowest to highest no more than 0.5 % (our choice).  Times ascending.  WT_ERR_NODATA when it
 * is not steady yet. */
enum wt_status wt_salt_steady_rh_pct(size_t n, const int64_t *at_unix_s, const double *rh_pct,
				     double *out) WT_MUST_CHECK;

/* Straight line from what the station shows to what is true, through one or more jars: true = gain
 * x shown + offset.  One jar, or jars less than 20 % apart (our choice), give gain 1 and the mean
 * offset.  WT_ERR_RANGE when the result would be no station to mend: gain outside 0.7..1.4 or a
 * correction of more than 20 % at any jar. */
enum wt_status wt_salt_line(size_t n, const double *shown_rh_pct, const double *true_rh_pct,
			    double *gain, double *offset_pct) WT_MUST_CHECK;

#endif /* WT_LIB_SALT_H */
