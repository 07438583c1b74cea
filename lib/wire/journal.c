/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "lib/wire/journal.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "lib/wire/base64.h"
#include "lib/wire/text.h"
#include "lib/wire/timefmt.h"

enum { QUOTE_MAX = 60 };

/* Writes "what: 'value'", the value cleaned and cut short. */
static bool refuse(char *why, size_t why_size, const char *what, const char *value, size_t length)
{
	char quoted[QUOTE_MAX + 4];

	wt_text_clean(value, length, quoted, sizeof quoted);
	(void)snprintf(why, why_size, "%s, not '%s'", what, quoted);
	return false;
}

static bool refuse_value(char *why, size_t why_size, const char *what, const json_t *value)
{
	char *text;

	if (!value) {
		(void)snprintf(why, why_size, "%s, which is missing", what);
		return false;
	}
	text = json_dumps(value, JSON_ENCODE_ANY | JSON_COMPACT | JSON_REAL_PRECISION(15));
	refuse(why, why_size, what, text ? text : "", text ? strlen(text) : 0);
	free(text);
	return false;
}

/* Every key must be known: a misspelt "retained" must not pass unseen. */
static bool check_keys(const json_t *line, const char *const *known, char *why, size_t why_size)
{
	union {
		const json_t *in;
		json_t *out;
	} alias = {.in = line};
	const char *key;
	json_t *value;
	char what[128] = "the keys there are";

	for (size_t i = 0; known[i]; i++)
		(void)snprintf(what + strlen(what), sizeof what - strlen(what), "%s %s",
			       i ? "," : "", known[i]);
	json_object_foreach(alias.out, key, value)
	{
		bool found = false;
		for (size_t i = 0; known[i]; i++)
			found |= !strcmp(known[i], key);
		if (!found)
			return refuse(why, why_size, what, key, strlen(key));
	}
	return true;
}

static bool read_payload(const json_t *line, struct wt_journal_entry *entry, char *why,
			 size_t why_size)
{
	const json_t *text = json_object_get(line, "payload");
	const json_t *base64 = json_object_get(line, "payload_base64");

	if (text && base64)
		return refuse_value(why, why_size,
				    "a message carries either payload or payload_base64", base64);
	if (base64) {
		if (json_is_string(base64))
			entry->payload =
				wt_base64_decode(json_string_value(base64), &entry->payload_length);
		return entry->payload ||
		       refuse_value(why, why_size, "payload_base64 must be base64 text", base64);
	}
	if (!json_is_string(text))
		return refuse_value(why, why_size, "payload must be a string", text);
	entry->payload_length = json_string_length(text);
	entry->payload = strdup(json_string_value(text));
	return entry->payload || refuse_value(why, why_size, "out of memory for payload", text);
}

static bool read_message(const json_t *line, struct wt_journal_entry *entry, char *why,
			 size_t why_size)
{
	static const char *const known[] = {"at",       "topic", "payload", "payload_base64",
					    "retained", NULL};
	const json_t *topic = json_object_get(line, "topic");
	const json_t *retained = json_object_get(line, "retained");

	if (!check_keys(line, known, why, why_size))
		return false;
	if (!json_is_string(topic) || json_string_length(topic) == 0)
		return refuse_value(why, why_size, "topic must be a string that is not empty",
				    topic);
	if (retained && !json_is_boolean(retained))
		return refuse_value(why, why_size, "retained must be true or false", retained);
	entry->kind = WT_JOURNAL_MESSAGE;
	entry->retained = json_is_true(retained);
	entry->topic = strdup(json_string_value(topic));
	if (!entry->topic)
		return refuse_value(why, why_size, "out of memory for topic", topic);
	return read_payload(line, entry, why, why_size);
}

static bool read_call(const json_t *line, const json_t *call, struct wt_journal_entry *entry,
		      char *why, size_t why_size)
{
	static const char *const known[] = {"at", "call", NULL};
	static const char *const call_known[] = {"method", "params", NULL};
	const json_t *method = json_object_get(call, "method");
	json_t *params = json_object_get(call, "params");

	if (!check_keys(line, known, why, why_size))
		return false;
	if (!json_is_object(call))
		return refuse_value(why, why_size, "call must be an object with method and params",
				    call);
	if (!check_keys(call, call_known, why, why_size))
		return false;
	if (!json_is_string(method) || json_string_length(method) == 0)
		return refuse_value(why, why_size, "method must be a string that is not empty",
				    method);
	if (params && !json_is_object(params))
		return refuse_value(why, why_size, "params must be an object", params);
	entry->kind = WT_JOURNAL_CALL;
	entry->method = strdup(json_string_value(method));
	entry->params = params ? json_incref(params) : json_object();
	return (entry->method && entry->params) ||
	       refuse_value(why, why_size, "out of memory for method", method);
}

static bool read_outlook(const json_t *line, json_t *document, struct wt_journal_entry *entry,
			 char *why, size_t why_size)
{
	static const char *const known[] = {"at", "outlook", NULL};

	if (!check_keys(line, known, why, why_size))
		return false;
	if (!json_is_object(document))
		return refuse_value(why, why_size, "outlook must be an object", document);
	entry->kind = WT_JOURNAL_OUTLOOK;
	entry->document = json_incref(document);
	return true;
}

static bool read_line(const json_t *line, struct wt_journal_entry *entry, char *why,
		      size_t why_size)
{
	const json_t *at = json_object_get(line, "at");
	json_t *call = json_object_get(line, "call"), *outlook = json_object_get(line, "outlook");
	int kinds = !!json_object_get(line, "topic") + !!call + !!outlook;

	if (!json_is_object(line))
		return refuse_value(why, why_size, "a journal line must be an object", line);
	if (wt_timefmt_journal(at, &entry->at_unix_ms))
		return refuse_value(why, why_size,
				    "at must be an RFC 3339 time with zone or unix seconds", at);
	if (kinds != 1)
		return refuse_value(why, why_size,
				    "a journal line has exactly one of topic, call, outlook", line);
	if (call)
		return read_call(line, call, entry, why, why_size);
	if (outlook)
		return read_outlook(line, outlook, entry, why, why_size);
	return read_message(line, entry, why, why_size);
}

bool wt_journal_parse(const char *line, size_t length, struct wt_journal_entry *out, char *why,
		      size_t why_size)
{
	struct wt_journal_entry entry = {0};
	json_error_t error;
	json_t *document;
	bool fine;

	if (length > WT_JOURNAL_LINE_MAX) {
		(void)snprintf(why, why_size, "a journal line is at most %d bytes long, not %zu",
			       WT_JOURNAL_LINE_MAX, length);
		return false;
	}
	document = json_loadb(line, length, JSON_REJECT_DUPLICATES, &error);
	if (!document)
		return refuse(why, why_size, "a journal line must be one JSON object", line,
			      length);
	fine = read_line(document, &entry, why, why_size);
	json_decref(document);
	if (fine)
		*out = entry;
	else
		wt_journal_clear(&entry);
	return fine;
}

void wt_journal_clear(struct wt_journal_entry *entry)
{
	free(entry->topic);
	free(entry->payload);
	free(entry->method);
	json_decref(entry->params);
	json_decref(entry->document);
	*entry = (struct wt_journal_entry){0};
}

static json_t *message_object(const struct wt_journal_entry *entry, const char *at)
{
	json_t *object = json_pack("{s:s, s:s}", "at", at, "topic", entry->topic);
	json_t *payload = NULL;
	char *base64;

	/* Not json_stringn with any bytes: it takes UTF-8 only, and a 0 byte would not parse. */
	if (!memchr(entry->payload, 0, entry->payload_length))
		payload = json_stringn(entry->payload, entry->payload_length);
	if (payload) {
		json_object_set_new(object, "payload", payload);
	} else {
		base64 = wt_base64_encode(entry->payload, entry->payload_length);
		if (!base64 || json_object_set_new(object, "payload_base64", json_string(base64)))
			json_object_clear(object);
		free(base64);
	}
	if (entry->retained)
		json_object_set_new(object, "retained", json_true());
	return object;
}

char *wt_journal_format(const struct wt_journal_entry *entry)
{
	char at[WT_TIMEFMT_SIZE];
	json_t *object = NULL;
	char *line;

	wt_timefmt_write(entry->at_unix_ms, at);
	switch (entry->kind) {
	case WT_JOURNAL_MESSAGE:
		object = message_object(entry, at);
		break;
	case WT_JOURNAL_CALL:
		object = json_pack("{s:s, s:{s:s, s:O}}", "at", at, "call", "method", entry->method,
				   "params", entry->params);
		break;
	case WT_JOURNAL_OUTLOOK:
		object = json_pack("{s:s, s:O}", "at", at, "outlook", entry->document);
		break;
	}
	line = json_object_size(object) ? json_dumps(object, JSON_COMPACT) : NULL;
	json_decref(object);
	return line;
}
