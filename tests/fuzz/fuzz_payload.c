/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * Up to eight lines of rule (topic filter, pointers, selector, unit and topic), then the payload.
 */
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "daemon/config.h"
#include "fuzz.h"
#include "lib/wire/pair.h"
#include "lib/wire/payload.h"
#include "lib/wire/pointer.h"
#include "lib/wire/propose.h"

/* The next line as a string of its own; a lone '*' stands for unset. */
static char *line(const uint8_t **data, size_t *size)
{
	const uint8_t *end = *size ? memchr(*data, '\n', *size) : NULL;
	size_t length = end ? (size_t)(end - *data) : *size;
	char *text = strndup((const char *)*data, length);

	*data += length + (end != NULL);
	*size -= length + (end != NULL);
	if (text && !strcmp(text, "*")) {
		free(text);
		text = NULL;
	}
	return text;
}

static void check(const struct wt_payload_values *values)
{
	fuzz_require(isnan(values->temp_c) || (values->temp_c >= -40 && values->temp_c <= 85),
		     "temperature in range or unknown");
	fuzz_require(isnan(values->rh_pct) || (values->rh_pct >= 0 && values->rh_pct <= 100),
		     "humidity in range or unknown");
	fuzz_require(isnan(values->temp_c) == (values->temp_fault != WT_PAYLOAD_FINE),
		     "a temperature or a fault");
	fuzz_require(isnan(values->rh_pct) == (values->rh_fault != WT_PAYLOAD_FINE),
		     "a humidity or a fault");
	fuzz_require(isnan(values->source_unix_s) ||
			     fabs(values->source_unix_s - 1792888200) <= 900,
		     "a source time near the receipt or none");
	fuzz_require_printable(values->quoted, 0);
}

/* A proposal of a whole station is accepted as configuration. */
static void check_proposals(const char *topic, const void *payload, size_t size)
{
	struct wt_propose *propose = wt_propose_new();
	json_t *document, *item;
	size_t i;

	wt_propose_add(propose, topic, payload, size);
	document = wt_propose_document(propose);
	json_array_foreach(json_object_get(document, "topics"), i, item)
	{
		const char *text = json_string_value(json_object_get(item, "proposal"));
		struct wt_config *config = NULL;
		char whole[2000];
		fuzz_require_printable(json_string_value(json_object_get(item, "payload")), 0);
		if (!text || !strstr(text, "\ntopic ="))
			continue;
		(void)snprintf(whole, sizeof whole, "[room r]\n%s", text);
		if (wt_config_parse("p", whole, strlen(whole), stderr, &config))
			fuzz_require(0, whole);
		wt_config_free(&config);
	}
	json_decref(document);
	wt_propose_free(&propose);
}

void fuzz_payload(const uint8_t *data, size_t size)
{
	char *unit = line(&data, &size), *filter = line(&data, &size), *topic = line(&data, &size);
	struct wt_payload_rule rule = {
		.temp_topic = filter,
		.rh_topic = filter,
		.temp_pointer = line(&data, &size),
		.rh_pointer = line(&data, &size),
		.time_pointer = line(&data, &size),
		.match_pointer = line(&data, &size),
		.match_value = line(&data, &size),
	};
	struct wt_payload_values values;
	struct wt_pair_reading reading;
	struct wt_pair pair;

	rule.battery_pointer = rule.rh_pointer;
	rule.temp_unit = unit && unit[0] == 'F'   ? WT_TEMP_UNIT_F
			 : unit && unit[0] == 'K' ? WT_TEMP_UNIT_K
						  : WT_TEMP_UNIT_C;
	wt_payload_read(&rule, topic, data, size, false, 1792888200, &values);
	check(&values);
	if (topic)
		check_proposals(topic, data, size);
	wt_pair_init(&pair, 60);
	if (wt_pair_add(&pair, &values, 1792888200000, &reading))
		fuzz_require(isfinite(reading.temp_c) && isfinite(reading.rh_pct),
			     "a reading has both values");
	free(unit);
	free(topic);
	free(filter);
	free(rule.temp_pointer);
	free(rule.rh_pointer);
	free(rule.time_pointer);
	free(rule.match_pointer);
	free(rule.match_value);
}
