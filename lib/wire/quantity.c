/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "lib/wire/quantity.h"

#include <math.h>
#include <stdbool.h>
#include <stdlib.h>
#include <string.h>

static bool blank(char c)
{
	return c == ' ' || c == '\t' || c == '\r' || c == '\n';
}

static bool digit(char c)
{
	return c >= '0' && c <= '9';
}

static size_t skip_digits(const char *text, size_t length, size_t at)
{
	while (at < length && digit(text[at]))
		at++;
	return at;
}

/* Bytes of the decimal number at the start of text, 0 when there is none. */
static size_t number_span(const char *text, size_t length)
{
	size_t at = 0, start, exponent;

	if (at < length && (text[at] == '+' || text[at] == '-'))
		at++;
	start = at;
	at = skip_digits(text, length, at);
	if (at < length && text[at] == '.') {
		size_t point = at;
		at = skip_digits(text, length, at + 1);
		if (at == point + 1)
			return 0; /* "5." and "." are no numbers */
	}
	if (at == start)
		return 0;
	if (at < length && (text[at] == 'e' || text[at] == 'E')) {
		exponent = at + 1;
		if (exponent < length && (text[exponent] == '+' || text[exponent] == '-'))
			exponent++;
		if (skip_digits(text, length, exponent) > exponent)
			at = skip_digits(text, length, exponent);
	}
	return at;
}

enum { NUMBER_MAX = 64 };

static enum wt_status convert(const char *text, size_t length, double *out)
{
	char copy[NUMBER_MAX + 1];
	double value;

	if (length == 0 || length > NUMBER_MAX)
		return WT_ERR_ARG;
	memcpy(copy, text, length);
	copy[length] = '\0';
	value = strtod(copy, NULL);
	if (!isfinite(value))
		return WT_ERR_RANGE;
	*out = value;
	return WT_OK;
}

static void trim(const char **text, size_t *length)
{
	while (*length && blank((*text)[0])) {
		(*text)++;
		(*length)--;
	}
	while (*length && blank((*text)[*length - 1]))
		(*length)--;
}

enum wt_status wt_quantity_number(const char *text, size_t length, double *out)
{
	trim(&text, &length);
	if (number_span(text, length) != length)
		return WT_ERR_ARG;
	return convert(text, length, out);
}

static const struct {
	enum wt_quantity quantity;
	const char *unit;
	double factor;
} units[] = {
	{WT_QUANTITY_KG, "kg", 1},     {WT_QUANTITY_KG, "g", 1e-3},
	{WT_QUANTITY_M2, "m2", 1},     {WT_QUANTITY_M2, "m\u00b2", 1},
	{WT_QUANTITY_M2, "cm2", 1e-4}, {WT_QUANTITY_M2, "cm\u00b2", 1e-4},
	{WT_QUANTITY_PCT, "%", 1},     {WT_QUANTITY_PCT, "pct", 1},
	{WT_QUANTITY_C, "C", 1},       {WT_QUANTITY_C, "\u00b0C", 1},
	{WT_QUANTITY_C, "K", 1},       {WT_QUANTITY_MIN, "min", 1},
	{WT_QUANTITY_MIN, "h", 60},
};

enum wt_status wt_quantity_parse(enum wt_quantity quantity, const char *text, double *out)
{
	size_t length, span, unit_length;
	const char *unit;
	double factor = 1, value = 0;
	bool known;
	enum wt_status status;

	if (!text || !out)
		return WT_ERR_ARG;
	length = strlen(text);
	trim(&text, &length);
	span = number_span(text, length);
	if (span == 0)
		return WT_ERR_ARG;
	unit = text + span;
	unit_length = length - span;
	trim(&unit, &unit_length);
	known = unit_length == 0;
	for (size_t i = 0; !known && i < sizeof units / sizeof units[0]; i++) {
		if (units[i].quantity == quantity && strlen(units[i].unit) == unit_length &&
		    !memcmp(units[i].unit, unit, unit_length)) {
			factor = units[i].factor;
			known = true;
		}
	}
	if (!known)
		return WT_ERR_ARG;
	status = convert(text, span, &value);
	if (status)
		return status;
	if (!isfinite(value * factor))
		return WT_ERR_RANGE;
	*out = factor < 1 ? value / (1 / factor) : value * factor;
	return WT_OK;
}
