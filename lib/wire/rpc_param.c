/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * Reading parameters: tolerant of how a value is written, strict in what it is.
 */
#include "lib/wire/rpc.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "lib/wire/text.h"

/* Iteration asks for a pointer that is not const; nothing is changed. */
static json_t *unconst(const json_t *value)
{
	union {
		const json_t *in;
		json_t *out;
	} alias = {.in = value};
	return alias.out;
}

const json_t *wt_rpc_param(const json_t *params, const char *name)
{
	const char *key;
	json_t *value;

	json_object_foreach(unconst(params), key, value)
	{
		if (wt_text_same_name(key, name))
			return json_is_null(value) ? NULL : value;
	}
	return NULL;
}

/* The refusal of a present or missing value. */
static bool refuse_value(struct wt_refusal *refusal, const char *name, const json_t *value,
			 const char *accepted)
{
	char *text = NULL;

	if (!value) {
		wt_rpc_refuse_param(refusal, name, NULL, accepted);
	} else if (json_is_string(value)) {
		wt_rpc_refuse_param(refusal, name, json_string_value(value), accepted);
	} else {
		text = json_dumps(value, JSON_ENCODE_ANY | JSON_COMPACT | JSON_REAL_PRECISION(15));
		wt_rpc_refuse_param(refusal, name, text ? text : "?", accepted);
		free(text);
	}
	return false;
}

static void describe_number(const struct wt_rpc_number *spec, char *out, size_t out_size)
{
	const char *units = wt_quantity_units(spec->quantity);
	char range[160];

	if (isfinite(spec->least) && isfinite(spec->most))
		(void)snprintf(range, sizeof range,
			       spec->above_least ? "more than %g and at most %g" : "%g to %g",
			       spec->least, spec->most);
	else if (isfinite(spec->least))
		(void)snprintf(range, sizeof range,
			       spec->above_least ? "more than %g" : "at least %g", spec->least);
	else if (isfinite(spec->most))
		(void)snprintf(range, sizeof range, "at most %g", spec->most);
	else
		(void)snprintf(range, sizeof range, "a number");
	(void)snprintf(out, out_size, *units ? "%s (%s)" : "%s%s", range, units);
}

bool wt_rpc_get_number(const json_t *params, const struct wt_rpc_number *spec, double *out,
		       struct wt_refusal *refusal)
{
	const json_t *value = wt_rpc_param(params, spec->name);
	double number = (double)NAN;
	char accepted[200];

	if (!value && !spec->needed)
		return true;
	if (json_is_number(value))
		number = json_number_value(value);
	else if (!json_is_string(value) ||
		 wt_quantity_parse(spec->quantity, json_string_value(value), &number))
		number = (double)NAN;
	if (number >= spec->least && number <= spec->most &&
	    !(spec->above_least && number <= spec->least)) {
		*out = number;
		return true;
	}
	describe_number(spec, accepted, sizeof accepted);
	return refuse_value(refusal, spec->name, value, accepted);
}

bool wt_rpc_get_integer(const json_t *params, const char *name, int64_t least, int64_t most,
			bool needed, int64_t *out, struct wt_refusal *refusal)
{
	const json_t *value = wt_rpc_param(params, name);
	double number = (double)NAN;
	char accepted[96];

	if (!value && !needed)
		return true;
	if (json_is_number(value))
		number = json_number_value(value);
	else if (!json_is_string(value) ||
		 wt_quantity_number(json_string_value(value), json_string_length(value), &number))
		number = (double)NAN;
	/* Whole numbers of a double are exact up to 2^53. */
	if (number == floor(number) && fabs(number) <= 9007199254740992.0 &&
	    (int64_t)number >= least && (int64_t)number <= most) {
		*out = (int64_t)number;
		return true;
	}
	(void)snprintf(accepted, sizeof accepted, "a whole number from %lld to %lld",
		       (long long)least, (long long)most);
	return refuse_value(refusal, name, value, accepted);
}

bool wt_rpc_get_text(const json_t *params, const char *name, size_t most, bool needed,
		     const char **out, struct wt_refusal *refusal)
{
	const json_t *value = wt_rpc_param(params, name);
	char accepted[96];

	if (!value && !needed)
		return true;
	if (json_is_string(value) && json_string_length(value) >= 1 &&
	    json_string_length(value) <= most &&
	    wt_text_is_clean(json_string_value(value), json_string_length(value))) {
		*out = json_string_value(value);
		return true;
	}
	(void)snprintf(accepted, sizeof accepted,
		       "text of 1 to %zu bytes without control characters", most);
	return refuse_value(refusal, name, value, accepted);
}

bool wt_rpc_get_word(const json_t *params, const char *name, enum wt_words list, bool needed,
		     int *out, struct wt_refusal *refusal)
{
	const json_t *value = wt_rpc_param(params, name);
	char accepted[160];

	if (!value && !needed)
		return true;
	if (json_is_string(value) && wt_words_parse(list, json_string_value(value), out) == WT_OK)
		return true;
	(void)snprintf(accepted, sizeof accepted, "one of %s", wt_words_accepted(list));
	return refuse_value(refusal, name, value, accepted);
}

bool wt_rpc_get_flag(const json_t *params, const char *name, bool needed, bool *out,
		     struct wt_refusal *refusal)
{
	static const char *const yes[] = {"on", "yes", "true"}, *const no[] = {"off", "no",
									       "false"};
	const json_t *value = wt_rpc_param(params, name);

	if (!value && !needed)
		return true;
	if (json_is_boolean(value)) {
		*out = json_is_true(value);
		return true;
	}
	for (size_t i = 0; json_is_string(value) && i < sizeof yes / sizeof yes[0]; i++) {
		bool is_yes = !strcmp(json_string_value(value), yes[i]);
		if (is_yes || !strcmp(json_string_value(value), no[i])) {
			*out = is_yes;
			return true;
		}
	}
	return refuse_value(refusal, name, value, "on or off");
}

bool wt_rpc_get_time(const json_t *params, const char *name, int64_t now_unix_s,
		     enum wt_timefmt_sense sense, bool needed, int64_t *unix_s,
		     struct wt_refusal *refusal)
{
	const json_t *value = wt_rpc_param(params, name);
	double number;

	if (!value && !needed)
		return true;
	if (json_is_number(value)) {
		number = json_number_value(value);
		if (number >= 0 && number <= (double)WT_TIMEFMT_LAST_UNIX_S) {
			*unix_s = (int64_t)llround(number);
			return true;
		}
	} else if (json_is_string(value) &&
		   wt_timefmt_user(json_string_value(value), now_unix_s, sense, unix_s) == WT_OK) {
		return true;
	}
	return refuse_value(refusal, name, value, wt_timefmt_user_accepted());
}

bool wt_rpc_check_names(const json_t *params, const char *const *known, struct wt_refusal *refusal)
{
	const char *key;
	json_t *value;

	json_object_foreach(unconst(params), key, value)
	{
		bool found = false;
		char accepted[256];
		size_t used;
		for (size_t i = 0; known[i]; i++)
			found |= wt_text_same_name(key, known[i]);
		if (found)
			continue;
		used = (size_t)snprintf(accepted, sizeof accepted, "one of");
		for (size_t i = 0; known[i] && used < sizeof accepted; i++)
			used += (size_t)snprintf(accepted + used, sizeof accepted - used, "%s %s",
						 i ? "," : "", known[i]);
		wt_rpc_refuse_param(refusal, "a parameter's name", key,
				    known[0] ? accepted : "left out: this takes no parameters");
		return false;
	}
	return true;
}
