/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "cli/doc.h"

#include <math.h>

double wt_doc_number(const json_t *object, const char *key)
{
	const json_t *value = json_object_get(object, key);

	return json_is_number(value) ? json_number_value(value) : NAN;
}

long long wt_doc_integer(const json_t *object, const char *key, long long missing)
{
	double value = wt_doc_number(object, key);

	return isfinite(value) && fabs(value) < 9e15 ? llround(value) : missing;
}

const char *wt_doc_text(const json_t *object, const char *key)
{
	return json_string_value(json_object_get(object, key));
}

bool wt_doc_true(const json_t *object, const char *key)
{
	return json_is_true(json_object_get(object, key));
}

const json_t *wt_doc_object(const json_t *object, const char *key)
{
	const json_t *value = json_object_get(object, key);

	return json_is_object(value) ? value : NULL;
}

const json_t *wt_doc_list(const json_t *object, const char *key)
{
	const json_t *value = json_object_get(object, key);

	return json_is_array(value) ? value : NULL;
}

struct wt_doc_triple wt_doc_triple(const json_t *object, const char *key)
{
	const json_t *triple = wt_doc_object(object, key);

	return (struct wt_doc_triple){
		.p10 = wt_doc_number(triple, "p10"),
		.p50 = wt_doc_number(triple, "p50"),
		.p90 = wt_doc_number(triple, "p90"),
	};
}
