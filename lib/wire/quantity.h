/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * Numbers as people and devices write them, with or without a unit.
 */
#ifndef WT_WIRE_QUANTITY_H
#define WT_WIRE_QUANTITY_H

#include <stddef.h>

#include "lib/status.h"

/* A decimal number and nothing else, blanks around it allowed: "20.5", "-3", "1e3".  No "inf", no
 * "nan", no hexadecimal, no comma.  WT_ERR_ARG when it is not one, WT_ERR_RANGE when it is too
 * large for a double. */
enum wt_status wt_quantity_number(const char *text, size_t length, double *out) WT_MUST_CHECK;

/* What a value measures; it decides the units that may follow the number. */
enum wt_quantity {
	WT_QUANTITY_PLAIN, /* no unit */
	WT_QUANTITY_KG,    /* kg, g */
	WT_QUANTITY_M2,    /* m2, m², cm2, cm² */
	WT_QUANTITY_PCT,   /* %, pct */
	WT_QUANTITY_C,     /* C, °C, K (as difference) */
	WT_QUANTITY_MIN,   /* min, h */
	WT_QUANTITY_COUNT
};

/* "12.4kg", "800 g", "4m2", "62 %": the value in the unit of the quantity's name.  A missing unit
 * means that unit.  WT_ERR_ARG when the text is not a number or the unit is not of the quantity. */
enum wt_status wt_quantity_parse(enum wt_quantity quantity, const char *text,
				 double *out) WT_MUST_CHECK;

#endif /* WT_WIRE_QUANTITY_H */
