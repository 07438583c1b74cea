/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * Numbers as a wet hand types them: 12.4, 12,4, 12.4kg, 800g, 25jin, 4m2, 3trays, 90min.
 */
#ifndef WT_CLI_UNITS_H
#define WT_CLI_UNITS_H

#include <stdbool.h>

enum wt_quantity {
	WT_QUANTITY_KG,      /* kg, g, jin (500 g, the market's pound) */
	WT_QUANTITY_M2,      /* m2, cm2 */
	WT_QUANTITY_TRAYS,   /* trays */
	WT_QUANTITY_PCT,     /* % */
	WT_QUANTITY_C,       /* C: a difference of temperature */
	WT_QUANTITY_MINUTES, /* min, h */
	WT_QUANTITY_PLAIN,   /* no unit */
	WT_QUANTITY_COUNT
};

/* Reads text as this quantity into *value, in kg, m2, count, %, C or minutes.  *has_unit tells
 * whether a unit was written.  false, outputs unchanged, when it is none such.  A comma is taken
 * for the decimal point when one or two digits follow it; with three it could mean thousands. */
bool wt_units_read(const char *text, enum wt_quantity quantity, double *value, bool *has_unit);

/* "kg, g, jin": the units a quantity may carry.  Static text; "" for none. */
const char *wt_units_accepted(enum wt_quantity quantity);

/* True when text is nothing but a unit of some quantity. */
bool wt_units_is_unit(const char *text);

#endif /* WT_CLI_UNITS_H */
