/* SPDX-License-Identifier: GPL-3.0-or-later */
#include <math.h>
#include <stdarg.h>
#include <stdio.h>
#include <string.h>

#include "daemon/site_inner.h"

json_t *site_number(double value)
{
	return isfinite(value) ? json_real(value) : json_null();
}

double site_real(const json_t *object, const char *name)
{
	const json_t *value = json_object_get(object, name);

	return json_is_number(value) ? json_number_value(value) : NAN;
}

/* --- precision ------------------------------------------------------------------------------- */

#define AS_IT_IS (-1)
#define DIGITS_ELSE 4

static bool ends_with(const char *text, const char *end)
{
	size_t n = strlen(text), m = strlen(end);

	return n >= m && !strcmp(text + n - m, end);
}

/* Decimals for a member; quantiles and elements of lists take those of what holds them. */
static int digits_of(const char *key, int around)
{
	static const struct {
		const char *end;
		int digits;
	} rules[] = {
		{"loss_pct", 3}, {"_unix_s", AS_IT_IS}, {"_pct_h", 3}, {"_pct", 2}, {"temp_c", 2},
		{"_c", 2},       {"_kpa", 4},           {"_pa", 1},    {"_min", 2}, {"curve", 3},
	};

	if (key[0] == 'p' && key[1] >= '0' && key[1] <= '9')
		return around;
	if (!strncmp(key, "loss_", 5))
		return 3;
	for (size_t i = 0; i < sizeof(rules) / sizeof(rules[0]); i++) {
		if (ends_with(key, rules[i].end))
			return rules[i].digits;
	}
	return DIGITS_ELSE;
}

static double rounded(double value, int digits)
{
	double scale = 1.0;

	if (digits == AS_IT_IS)
		return value;
	for (int i = 0; i < digits; i++)
		scale *= 10.0;
	/* No minus before a zero. */
	return nearbyint(value * scale) / scale + 0.0;
}

static json_t *round_copy(json_t *value, int digits)
{
	const char *key;
	json_t *member, *copy;
	size_t i;

	if (json_is_real(value))
		return json_real(rounded(json_real_value(value), digits));
	if (json_is_array(value)) {
		copy = json_array();
		json_array_foreach(value, i, member)
			json_array_append_new(copy, round_copy(member, digits));
		return copy;
	}
	if (!json_is_object(value))
		return json_incref(value);
	copy = json_object();
	json_object_foreach(value, key, member)
	{
		bool kept = !strcmp(key, "params") || !strcmp(key, "closing");
		json_object_set_new(copy, key,
				    kept ? json_incref(member)
					 : round_copy(member, digits_of(key, digits)));
	}
	return copy;
}

json_t *site_rounded(json_t *document)
{
	json_t *copy = document ? round_copy(document, DIGITS_ELSE) : NULL;

	json_decref(document);
	return copy;
}

json_t *site_time(double unix_s)
{
	return isfinite(unix_s) ? json_integer((json_int_t)llround(unix_s)) : json_null();
}

json_t *site_document(const struct wt_site *site, int64_t now_unix_s)
{
	return json_pack("{s:i,s:I,s:s,s:s}", "format", 1, "now_unix_s", (json_int_t)now_unix_s,
			 "timezone", site->config->timezone ? site->config->timezone : "UTC",
			 "site", site->config->site_name ? site->config->site_name : "");
}

json_t *site_triple(double p10, double p50, double p90)
{
	return json_pack("{s:o,s:o,s:o}", "p10", site_number(p10), "p50", site_number(p50), "p90",
			 site_number(p90));
}

json_t *site_time_triple(double p10, double p50, double p90)
{
	return json_pack("{s:o,s:o,s:o}", "p10", site_time(p10), "p50", site_time(p50), "p90",
			 site_time(p90));
}

json_t *site_note(const char *code, const char *format, ...)
{
	char text[256], says[WT_SAYS_SIZE];
	va_list arguments;

	va_start(arguments, format);
	wt_says_take(says, format, arguments);
	vsnprintf(text, sizeof(text), format, arguments);
	va_end(arguments);
	return json_pack("{s:s,s:s,s:o}", "code", code, "text", text, "says", wt_says_json(says));
}
