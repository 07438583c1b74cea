/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "lib/wire/payload.h"

#include <jansson.h>
#include <math.h>
#include <string.h>
#include <strings.h>

#include "lib/wire/pointer.h"
#include "lib/wire/quantity.h"
#include "lib/wire/text.h"
#include "lib/wire/timefmt.h"

enum { PAYLOAD_MAX = 64 * 1024 };

/* What a station in a room can mean; beyond it the unit or the sensor is wrong (our choice). */
static const double temp_least_c = -40, temp_most_c = 85;
static const double rh_most_pct = 105;
/* A source time is believed this far around the time of receipt (our choice). */
static const double time_before_s = 900, time_after_s = 120;

const char *wt_payload_fault_text(enum wt_payload_fault fault)
{
	switch (fault) {
#define X(name, text)                                                                              \
	case name:                                                                                 \
		return text;
		WT_PAYLOAD_FAULT_LIST(X)
#undef X
	}
	return "unknown fault";
}

bool wt_payload_filter_valid(const char *filter)
{
	if (!filter || !*filter || strlen(filter) > 65535)
		return false;
	for (const char *c = filter; *c; c++) {
		bool level_start = c == filter || c[-1] == '/';
		if (*c == '+' && (!level_start || (c[1] && c[1] != '/')))
			return false;
		if (*c == '#' && (!level_start || c[1]))
			return false;
	}
	return true;
}

bool wt_payload_topic_matches(const char *filter, const char *topic)
{
	if (!wt_payload_filter_valid(filter) || !topic || !*topic)
		return false;
	/* A wildcard in the first level does not match topics of the broker itself. */
	if (topic[0] == '$' && (filter[0] == '+' || filter[0] == '#'))
		return false;
	for (;;) {
		size_t topic_level = strcspn(topic, "/"), filter_level = strcspn(filter, "/");
		if (filter[0] == '#')
			return true;
		if (!(filter_level == 1 && filter[0] == '+') &&
		    (filter_level != topic_level || memcmp(filter, topic, topic_level)))
			return false;
		filter += filter_level;
		topic += topic_level;
		if (!*filter)
			return !*topic;
		filter++;
		if (!*topic) /* "a/#" matches its parent "a" too */
			return !strcmp(filter, "#");
		topic++;
	}
}

static bool no_reading_word(const char *text, size_t length)
{
	static const char *const words[] = {"null",    "nan",         "none", "unknown",
					    "offline", "unavailable", "n/a",  "-"};

	for (size_t i = 0; i < sizeof words / sizeof words[0]; i++) {
		if (strlen(words[i]) == length && !strncasecmp(words[i], text, length))
			return true;
	}
	return length == 0;
}

/* Number or "no reading" from text, blanks around it allowed. */
static enum wt_payload_fault number_from_text(const char *text, size_t length, double *out)
{
	while (length && strchr(" \t\r\n", text[0]) && text[0]) {
		text++;
		length--;
	}
	while (length && strchr(" \t\r\n", text[length - 1]) && text[length - 1])
		length--;
	if (no_reading_word(text, length))
		return WT_PAYLOAD_NO_READING;
	switch (wt_quantity_number(text, length, out)) {
	case WT_OK:
		return WT_PAYLOAD_FINE;
	case WT_ERR_RANGE:
		return WT_PAYLOAD_RANGE;
	default:
		return WT_PAYLOAD_NOT_NUMBER;
	}
}

static enum wt_payload_fault number_from_value(const json_t *value, double *out)
{
	if (!value)
		return WT_PAYLOAD_ABSENT;
	if (json_is_null(value))
		return WT_PAYLOAD_NO_READING;
	if (json_is_number(value)) {
		*out = json_number_value(value);
		return WT_PAYLOAD_FINE;
	}
	if (json_is_string(value))
		return number_from_text(json_string_value(value), json_string_length(value), out);
	return WT_PAYLOAD_NOT_NUMBER;
}

/* One message while it is read; the document is parsed once, when first needed. */
struct message {
	const char *payload;
	size_t length;
	json_t *document;
	bool parsed;
};

/* The fault of a message as a whole, before any value is looked for. */
static enum wt_payload_fault message_fault(const struct message *message)
{
	if (message->length == 0)
		return WT_PAYLOAD_EMPTY;
	return message->length > PAYLOAD_MAX ? WT_PAYLOAD_TOO_LONG : WT_PAYLOAD_FINE;
}

static const json_t *message_document(struct message *message)
{
	if (!message->parsed) {
		message->parsed = true;
		if (!message_fault(message))
			message->document =
				json_loadb(message->payload, message->length,
					   JSON_DECODE_ANY | JSON_REJECT_DUPLICATES, NULL);
	}
	return message->document;
}

static void quote_value(const json_t *value, char *quoted, size_t size)
{
	char text[256] = {0};
	size_t length = value ? json_dumpb(value, text, sizeof text,
					   JSON_ENCODE_ANY | JSON_COMPACT | JSON_REAL_PRECISION(15))
			      : 0;
	/* What did not fit was left out from a whole token on. */
	wt_text_clean(text, length > sizeof text ? strnlen(text, sizeof text) : length, quoted,
		      size);
}

static enum wt_payload_fault message_number(struct message *message, const char *pointer,
					    double *out, char *quoted, size_t quoted_size)
{
	enum wt_payload_fault fault = message_fault(message);
	const json_t *value;
	double number = 0;

	if (!fault && !pointer) {
		fault = number_from_text(message->payload, message->length, &number);
		if (fault)
			wt_text_clean(message->payload, message->length, quoted, quoted_size);
	} else if (!fault && !message_document(message)) {
		fault = WT_PAYLOAD_NOT_JSON;
		wt_text_clean(message->payload, message->length, quoted, quoted_size);
	} else if (!fault) {
		value = wt_pointer_get(message_document(message), pointer);
		fault = number_from_value(value, &number);
		if (fault)
			quote_value(value, quoted, quoted_size);
	}
	if (!fault)
		*out = number;
	return fault;
}

enum wt_payload_fault wt_payload_number(const char *pointer, const void *payload, size_t length,
					double *out, char *quoted)
{
	struct message message = {.payload = payload, .length = length};
	enum wt_payload_fault fault;

	quoted[0] = '\0';
	fault = message_number(&message, pointer, out, quoted,
			       sizeof((struct wt_payload_values *)0)->quoted);
	json_decref(message.document);
	return fault;
}

static void quote_number(double number, char *quoted, size_t size)
{
	json_t *value = json_real(number);
	quote_value(value, quoted, size);
	json_decref(value);
}

static void read_temp(const struct wt_payload_rule *rule, struct message *message,
		      struct wt_payload_values *out)
{
	double number, temp_c;

	out->temp_fault = message_number(message, rule->temp_pointer, &number, out->quoted,
					 sizeof out->quoted);
	if (out->temp_fault)
		return;
	temp_c = rule->temp_unit == WT_TEMP_UNIT_F   ? (number - 32) / 1.8
		 : rule->temp_unit == WT_TEMP_UNIT_K ? number - 273.15
						     : number;
	if (!(temp_c >= temp_least_c && temp_c <= temp_most_c)) {
		out->temp_fault = WT_PAYLOAD_RANGE;
		quote_number(number, out->quoted, sizeof out->quoted);
		return;
	}
	out->temp_c = temp_c;
}

static void read_rh(const struct wt_payload_rule *rule, struct message *message,
		    struct wt_payload_values *out)
{
	double rh_pct;

	out->rh_fault =
		message_number(message, rule->rh_pointer, &rh_pct, out->quoted, sizeof out->quoted);
	if (out->rh_fault)
		return;
	if (!(rh_pct >= 0 && rh_pct <= rh_most_pct)) {
		out->rh_fault = WT_PAYLOAD_RANGE;
		quote_number(rh_pct, out->quoted, sizeof out->quoted);
		return;
	}
	if (rh_pct > 100) {
		rh_pct = 100;
		out->flags |= WT_FLAG_RH_CLAMPED;
	}
	out->rh_pct = rh_pct;
}

static void read_time(const struct wt_payload_rule *rule, struct message *message,
		      double received_unix_s, struct wt_payload_values *out)
{
	const json_t *value = wt_pointer_get(message_document(message), rule->time_pointer);
	double source_unix_s;

	if (!value || json_is_null(value)) {
		out->time_fault = WT_PAYLOAD_ABSENT;
	} else if (wt_timefmt_station_value(value, received_unix_s, &source_unix_s) ||
		   !(source_unix_s >= received_unix_s - time_before_s &&
		     source_unix_s <= received_unix_s + time_after_s)) {
		out->time_fault = WT_PAYLOAD_TIME;
		if (!out->quoted[0])
			quote_value(value, out->quoted, sizeof out->quoted);
	} else {
		out->source_unix_s = source_unix_s;
		return;
	}
	out->flags |= WT_FLAG_TIME_RECEIVED;
}

/* True when the rule has no selector or the message carries the selected value; numbers and truth
 * values are compared as JSON writes them. */
static bool selected(const struct wt_payload_rule *rule, struct message *message)
{
	const json_t *value;
	char text[64];
	size_t length;

	if (!rule->match_pointer)
		return true;
	value = wt_pointer_get(message_document(message), rule->match_pointer);
	if (!value || !rule->match_value)
		return false;
	if (json_is_string(value))
		return !strcmp(json_string_value(value), rule->match_value);
	length = json_dumpb(value, text, sizeof text,
			    JSON_ENCODE_ANY | JSON_COMPACT | JSON_REAL_PRECISION(15));
	return length && length <= sizeof text && strlen(rule->match_value) == length &&
	       !memcmp(text, rule->match_value, length);
}

static void read_values(const struct wt_payload_rule *rule, bool for_temp, bool for_rh,
			struct message *message, double received_unix_s,
			struct wt_payload_values *out)
{
	char unused[sizeof out->quoted];

	if (rule->match_pointer && !message_fault(message) && message_document(message) &&
	    !selected(rule, message))
		return;
	if (for_temp)
		read_temp(rule, message, out);
	if (for_rh)
		read_rh(rule, message, out);
	if (rule->battery_pointer && message_document(message))
		(void)message_number(message, rule->battery_pointer, &out->battery, unused,
				     sizeof unused);
	if (rule->time_pointer && (isfinite(out->temp_c) || isfinite(out->rh_pct)))
		read_time(rule, message, received_unix_s, out);
}

void wt_payload_read(const struct wt_payload_rule *rule, const char *topic, const void *payload,
		     size_t length, bool retained, double received_unix_s,
		     struct wt_payload_values *out)
{
	struct wt_payload_values values = {
		.temp_c = (double)NAN,
		.rh_pct = (double)NAN,
		.battery = (double)NAN,
		.source_unix_s = (double)NAN,
		.flags = retained ? WT_FLAG_RETAINED : 0,
		.temp_fault = WT_PAYLOAD_OTHER,
		.rh_fault = WT_PAYLOAD_OTHER,
	};
	bool for_temp = wt_payload_topic_matches(rule->temp_topic, topic);
	bool for_rh = wt_payload_topic_matches(rule->rh_topic, topic);
	struct message message = {.payload = payload, .length = length};

	if (for_temp || for_rh)
		read_values(rule, for_temp, for_rh, &message, received_unix_s, &values);
	json_decref(message.document);
	*out = values;
}
