/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "cli/units.h"

#include <ctype.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <strings.h>

/* The jin is the market's pound of 500 g (common practice, no source). */
static const struct {
	enum wt_quantity quantity;
	const char *unit;
	double factor;
} units[] = {
	{WT_QUANTITY_KG, "kg", 1.0},       {WT_QUANTITY_KG, "g", 0.001},
	{WT_QUANTITY_KG, "jin", 0.5},      {WT_QUANTITY_KG, "斤", 0.5},
	{WT_QUANTITY_KG, "公斤", 1.0},     {WT_QUANTITY_KG, "千克", 1.0},
	{WT_QUANTITY_KG, "克", 0.001},     {WT_QUANTITY_M2, "m2", 1.0},
	{WT_QUANTITY_M2, "m²", 1.0},       {WT_QUANTITY_M2, "cm2", 1e-4},
	{WT_QUANTITY_M2, "平米", 1.0},     {WT_QUANTITY_TRAYS, "trays", 1.0},
	{WT_QUANTITY_TRAYS, "tray", 1.0},  {WT_QUANTITY_TRAYS, "匾", 1.0},
	{WT_QUANTITY_PCT, "%", 1.0},       {WT_QUANTITY_C, "C", 1.0},
	{WT_QUANTITY_C, "°C", 1.0},        {WT_QUANTITY_C, "K", 1.0},
	{WT_QUANTITY_MINUTES, "min", 1.0}, {WT_QUANTITY_MINUTES, "h", 60.0},
};

static const char *const accepted[WT_QUANTITY_COUNT] = {
	[WT_QUANTITY_KG] = "kg, g, jin", [WT_QUANTITY_M2] = "m2, cm2",
	[WT_QUANTITY_TRAYS] = "trays",   [WT_QUANTITY_PCT] = "%",
	[WT_QUANTITY_C] = "C",           [WT_QUANTITY_MINUTES] = "min, h",
	[WT_QUANTITY_PLAIN] = "",
};

const char *wt_units_accepted(enum wt_quantity quantity)
{
	return accepted[quantity];
}

bool wt_units_is_unit(const char *text)
{
	for (size_t i = 0; i < sizeof units / sizeof *units; i++)
		if (strcasecmp(text, units[i].unit) == 0)
			return true;
	return false;
}

static bool unit_factor(const char *unit, enum wt_quantity quantity, double *factor)
{
	for (size_t i = 0; i < sizeof units / sizeof *units; i++) {
		if (units[i].quantity == quantity && strcasecmp(unit, units[i].unit) == 0) {
			*factor = units[i].factor;
			return true;
		}
	}
	return false;
}

/* Copies the number's part with its decimal point; NULL when it is no number.  Gives where the
 * unit begins. */
static const char *copy_number(const char *text, char *out, size_t size)
{
	size_t n = 0, points = 0, digits = 0;
	const char *p = text;

	if (*p == '-' || *p == '+')
		out[n++] = *p++;
	for (; isdigit((unsigned char)*p) || *p == '.' || *p == ','; p++) {
		if (n + 1 >= size)
			return NULL;
		if (isdigit((unsigned char)*p)) {
			digits++;
			out[n++] = *p;
			continue;
		}
		points++;
		if (*p == ',' && strspn(p + 1, "0123456789") - 1 > 1)
			return NULL;
		out[n++] = '.';
	}
	out[n] = '\0';
	return digits > 0 && points <= 1 ? p : NULL;
}

bool wt_units_read(const char *text, enum wt_quantity quantity, double *value, bool *has_unit)
{
	char number[40];
	const char *unit = copy_number(text, number, sizeof number);
	double factor = 1.0, read;

	if (!unit)
		return false;
	while (*unit == ' ')
		unit++;
	if (*unit && !unit_factor(unit, quantity, &factor))
		return false;
	read = strtod(number, NULL) * factor;
	if (!isfinite(read))
		return false;
	*value = read;
	*has_unit = *unit != '\0';
	return true;
}
