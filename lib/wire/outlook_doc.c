/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "lib/wire/outlook_doc.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "lib/wire/pointer.h"
#include "lib/wire/text.h"
#include "lib/wire/timefmt.h"

/* Outdoor air where tea is made; outside it the unit is wrong (our choice). */
static const double temp_least_c = -60, temp_most_c = 60;
static const double rh_most_pct = 105;

struct reader {
	struct wt_outlook_doc *out;
	char *why;
	size_t why_size;
};

static bool refuse(const struct reader *reader, const char *what, const json_t *value)
{
	char *text =
		value ? json_dumps(value, JSON_ENCODE_ANY | JSON_COMPACT | JSON_REAL_PRECISION(15))
		      : NULL;
	char quoted[64];

	wt_text_clean(text ? text : "", text ? strlen(text) : 0, quoted, sizeof quoted);
	if (value)
		(void)snprintf(reader->why, reader->why_size, "%s, not '%s'", what, quoted);
	else
		(void)snprintf(reader->why, reader->why_size, "%s, which is missing", what);
	free(text);
	return false;
}

/* A unit, where the document tells it, must be the one we read; *what says so. */
static bool check_unit(const struct reader *reader, const json_t *units, const char *key,
		       const char *const *accepted, const char *what)
{
	const json_t *unit = json_object_get(units, key);

	if (!unit)
		return true;
	for (size_t i = 0; accepted[i]; i++) {
		if (json_is_string(unit) && !strcmp(json_string_value(unit), accepted[i]))
			return true;
	}
	return refuse(reader, what, unit);
}

static bool check_units(const struct reader *reader, const json_t *units, const char *temp_key,
			const char *rh_key)
{
	static const char *const temp_units[] = {"\u00b0C", "C", "celsius", NULL};
	static const char *const rh_units[] = {"%", NULL};

	return check_unit(reader, units, temp_key, temp_units,
			  "the outlook's temperatures must be in degrees Celsius") &&
	       check_unit(reader, units, rh_key, rh_units, "the outlook's humidities must be in %");
}

/* Adds one step.  Null or missing values leave it out; wrong ones refuse the document. */
static bool add_step(const struct reader *reader, int64_t at_unix_s, const json_t *temp,
		     const json_t *rh)
{
	struct wt_outlook_doc *out = reader->out;
	double temp_c, rh_pct;

	if (out->n > 0 && at_unix_s <= out->at_unix_s[out->n - 1]) {
		json_t *given = json_integer(at_unix_s);
		(void)refuse(reader, "the outlook's times must ascend", given);
		json_decref(given);
		return false;
	}
	if (!temp || !rh || json_is_null(temp) || json_is_null(rh))
		return true;
	if (!json_is_number(temp))
		return refuse(reader, "an outlook's temperature must be a number", temp);
	if (!json_is_number(rh))
		return refuse(reader, "an outlook's humidity must be a number", rh);
	temp_c = json_number_value(temp);
	rh_pct = json_number_value(rh);
	if (!(temp_c >= temp_least_c && temp_c <= temp_most_c))
		return refuse(reader, "an outlook's temperature must be -60 to 60 C", temp);
	if (!(rh_pct >= 0 && rh_pct <= rh_most_pct))
		return refuse(reader, "an outlook's humidity must be 0 to 100 %", rh);
	if (out->n == WT_OUTLOOK_STEPS_MAX)
		return true;
	out->at_unix_s[out->n] = at_unix_s;
	out->temp_c[out->n] = temp_c;
	out->rh_pct[out->n] = fmin(rh_pct, 100);
	out->n++;
	return true;
}

static bool read_columns(const struct reader *reader, const json_t *document, const json_t *hourly)
{
	const json_t *time = json_object_get(hourly, "time");
	const json_t *temp = json_object_get(hourly, "temperature_2m");
	const json_t *rh = json_object_get(hourly, "relative_humidity_2m");

	if (!check_units(reader, json_object_get(document, "hourly_units"), "temperature_2m",
			 "relative_humidity_2m"))
		return false;
	if (!json_is_array(time))
		return refuse(reader, "hourly/time must be an array", time);
	if (!json_is_array(temp) || json_array_size(temp) != json_array_size(time))
		return refuse(reader,
			      "hourly/temperature_2m must be an array as long as hourly/time",
			      temp);
	if (!json_is_array(rh) || json_array_size(rh) != json_array_size(time))
		return refuse(reader,
			      "hourly/relative_humidity_2m must be an array as long as hourly/time",
			      rh);
	for (size_t i = 0; i < json_array_size(time); i++) {
		const json_t *at = json_array_get(time, i);
		double at_unix_s = json_number_value(at);
		if (!json_is_number(at) || !(at_unix_s >= 0) ||
		    at_unix_s > (double)WT_TIMEFMT_LAST_UNIX_S)
			return refuse(reader,
				      "hourly/time must hold unix seconds (ask the service for "
				      "timeformat=unixtime)",
				      at);
		if (!add_step(reader, (int64_t)at_unix_s, json_array_get(temp, i),
			      json_array_get(rh, i)))
			return false;
	}
	return true;
}

static bool read_timeseries(const struct reader *reader, const json_t *document,
			    const json_t *timeseries)
{
	const json_t *units = wt_pointer_get(document, "/properties/meta/units");

	if (!check_units(reader, units, "air_temperature", "relative_humidity"))
		return false;
	if (!json_is_array(timeseries))
		return refuse(reader, "properties/timeseries must be an array", timeseries);
	for (size_t i = 0; i < json_array_size(timeseries); i++) {
		const json_t *step = json_array_get(timeseries, i);
		const json_t *at = json_object_get(step, "time");
		const json_t *details = wt_pointer_get(step, "/data/instant/details");
		int64_t at_unix_ms;
		if (!json_is_string(at) || wt_timefmt_rfc3339(json_string_value(at), &at_unix_ms))
			return refuse(reader, "a step's time must be RFC 3339 with its zone", at);
		if (!add_step(reader, at_unix_ms / 1000,
			      json_object_get(details, "air_temperature"),
			      json_object_get(details, "relative_humidity")))
			return false;
	}
	return true;
}

bool wt_outlook_doc_parse(const json_t *document, struct wt_outlook_doc *out, char *why,
			  size_t why_size)
{
	struct wt_outlook_doc *doc = calloc(1, sizeof *doc);
	const struct reader reader = {.out = doc, .why = why, .why_size = why_size};
	const json_t *hourly = json_object_get(document, "hourly");
	const json_t *timeseries = wt_pointer_get(document, "/properties/timeseries");
	bool fine = false;

	if (!doc)
		return refuse(&reader, "memory for an outlook is needed", NULL);
	if (json_is_true(json_object_get(document, "error")))
		refuse(&reader, "the service must send an outlook",
		       json_object_get(document, "reason"));
	else if (hourly)
		fine = read_columns(&reader, document, hourly);
	else if (timeseries)
		fine = read_timeseries(&reader, document, timeseries);
	else
		refuse(&reader,
		       "an outlook must be an object with hourly or with properties/timeseries",
		       document);
	if (fine && doc->n == 0)
		fine = refuse(&reader, "an outlook must hold at least one step with both values",
			      document);
	if (fine)
		*out = *doc;
	free(doc);
	return fine;
}
