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
