/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * Outdoor forecasts as public weather services publish them: columns of hourly
 * values, or GeoJSON with a time series.  Only degrees Celsius and percent.
 */
#ifndef WT_WIRE_OUTLOOK_DOC_H
#define WT_WIRE_OUTLOOK_DOC_H

#include <jansson.h>
#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

/* More steps than any service sends; later ones are not needed (our choice). */
enum { WT_OUTLOOK_STEPS_MAX = 400 };

struct wt_outlook_doc {
	size_t n;
	int64_t at_unix_s[WT_OUTLOOK_STEPS_MAX]; /* ascending */
	double temp_c[WT_OUTLOOK_STEPS_MAX];
	double rh_pct[WT_OUTLOOK_STEPS_MAX];
};

/* Parses either form, told apart by its own keys:
 *   {"hourly":{"time":[unix s],"temperature_2m":[C],"relative_humidity_2m":[%]}}, "hourly_units"
 *   optional;
 *   {"properties":{"timeseries":[{"time":"RFC 3339","data":{"instant":{"details":
 *   {"air_temperature":C,"relative_humidity":%}}}}]}}, /properties/meta/units optional.
 * Steps whose temperature or humidity is null or missing are left out; humidity of 100..105 % is
 * taken as 100.  false: *out is unchanged and why holds a sentence. */
bool wt_outlook_doc_parse(const json_t *document, struct wt_outlook_doc *out, char *why,
			  size_t why_size) __attribute__((warn_unused_result));

#endif /* WT_WIRE_OUTLOOK_DOC_H */
