/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * What a wrong humidity does to a forecast, in hours of withering, so that a maker may judge
 * whether a salt jar is worth the evening.
 */
#ifndef WT_LIB_SALT_EFFECT_H
#define WT_LIB_SALT_EFFECT_H

#include "lib/status.h"

/* The standard case: green leaf of 76 % water, 1 kg/m2 on an open tray, withered to 70 %, wet basis
 * (a loss of 20 %), in still air that does not change; the leaf of the prior's middle.  Our choice;
 * the same case as stands in tests/physics/published_leaf.c. */
struct wt_salt_effect {
	double temp_c, rh_pct; /* of that air */
	double error_pct;      /* by which the station is wrong */
	double hours;          /* until it is withered */
	double hours_high;     /* as forecast when the station shows error_pct too much */
	double hours_low;      /* ... too little */
};

/* error_pct in (0, 10], at 20 deg C and 75 %. */
enum wt_status wt_salt_effect_hours(double error_pct, struct wt_salt_effect *out) WT_MUST_CHECK;

#endif /* WT_LIB_SALT_EFFECT_H */
