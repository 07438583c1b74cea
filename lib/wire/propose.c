/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "lib/wire/propose.h"

#include <ctype.h>
#include <math.h>
#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <strings.h>

#include "lib/wire/payload.h"
#include "lib/wire/quantity.h"
#include "lib/wire/says.h"
#include "lib/wire/text.h"

enum { PAYLOAD_KEPT = 4096, SHOWN_SIZE = 204, POINTER_SIZE = 170, TEXT_SIZE = 1600, DEPTH_MAX = 8 };

struct heard {
	char *topic;
	char *payload;
	size_t length;
	long long n;
};

struct wt_propose {
	struct heard topics[WT_PROPOSE_TOPICS_MAX];
	size_t n_topics;
	size_t passed_over;
};

struct wt_propose *wt_propose_new(void)
{
	return calloc(1, sizeof(struct wt_propose));
}

void wt_propose_free(struct wt_propose **propose)
{
	if (!*propose)
		return;
	for (size_t i = 0; i < (*propose)->n_topics; i++) {
		free((*propose)->topics[i].topic);
		free((*propose)->topics[i].payload);
	}
	free(*propose);
	*propose = NULL;
}

void wt_propose_add(struct wt_propose *propose, const char *topic, const void *payload,
		    size_t length)
{
	size_t kept = length > PAYLOAD_KEPT ? PAYLOAD_KEPT : length, i = 0;
	struct heard *heard;
	char *copy;

	while (i < propose->n_topics && strcmp(propose->topics[i].topic, topic) != 0)
		i++;
	if (i == WT_PROPOSE_TOPICS_MAX) {
		propose->passed_over++;
		return;
	}
	heard = &propose->topics[i];
	copy = malloc(kept + 1);
	if (!copy)
		return;
	if (i == propose->n_topics) {
		heard->topic = strdup(topic);
		if (!heard->topic) {
			free(copy);
			return;
		}
		propose->n_topics++;
	}
	if (kept)
		memcpy(copy, payload, kept);
	copy[kept] = '\0';
	free(heard->payload);
	heard->payload = copy;
	heard->length = kept;
	heard->n++;
}

/* --- what a name means ----------------------------------------------------------------------- */

enum meaning { NOTHING, TEMP_C, TEMP_F, HUMIDITY, TIME, BATTERY, MEANINGS };

/* Names that firmwares use, in the order in which they are preferred; compared without regard to
 * case (common practice, no source). */
static const struct {
	enum meaning meaning;
	const char *name;
} names[] = {
	{TEMP_C, "temperature_C"},
	{TEMP_C, "temperature"},
	{TEMP_C, "tempc"},
	{TEMP_C, "tC"},
	{TEMP_C, "temp"},
	{TEMP_C, "t"},
	{TEMP_F, "temperature_F"},
	{TEMP_F, "tempf"},
	{TEMP_F, "tF"},
	{HUMIDITY, "humidity"},
	{HUMIDITY, "hum"},
	{HUMIDITY, "rh"},
	{HUMIDITY, "relative_humidity"},
	{HUMIDITY, "h"},
	{TIME, "time"},
	{TIME, "ts"},
	{TIME, "last_seen"},
	{TIME, "timestamp"},
	{BATTERY, "battery"},
	{BATTERY, "battery_ok"},
	{BATTERY, "batt"},
	{BATTERY, "percent"},
};

/* Rank of a name as that meaning, smaller is better; -1 when it has another. */
static int rank_of(const char *name, size_t length, enum meaning meaning)
{
	for (size_t i = 0; i < sizeof names / sizeof names[0]; i++) {
		if (names[i].meaning == meaning && strlen(names[i].name) == length &&
		    !strncasecmp(names[i].name, name, length))
			return (int)i;
	}
	return -1;
}

/* --- one JSON message ------------------------------------------------------------------------ */

struct found {
	char pointer[POINTER_SIZE];
	int rank;  /* -1: none */
	int count; /* how many bear a name of the meaning */
};

struct finding {
	struct found by[MEANINGS];
};

static bool number_like(const json_t *value)
{
	double number;

	return json_is_number(value) ||
	       (json_is_string(value) &&
		wt_quantity_number(json_string_value(value), json_string_length(value), &number) ==
			WT_OK);
}

static void note(struct finding *finding, const char *key, const json_t *value, const char *pointer)
{
	for (enum meaning meaning = TEMP_C; meaning < MEANINGS; meaning++) {
		struct found *found = &finding->by[meaning];
		int rank = rank_of(key, strlen(key), meaning);
		if (rank < 0 || !(number_like(value) || (meaning == TIME && json_is_string(value))))
			continue;
		found->count++;
		if (found->rank >= 0 && found->rank <= rank)
			continue;
		found->rank = rank;
		(void)snprintf(found->pointer, sizeof found->pointer, "%s", pointer);
	}
}

/* Appends a key to a pointer, escaped; false when it does not fit. */
static bool append_key(char pointer[POINTER_SIZE], const char *key)
{
	size_t used = strlen(pointer);

	/* A ';' could begin a comment where the proposal is going to stand. */
	if (used + 2 * strlen(key) + 2 > POINTER_SIZE || strchr(key, ';') ||
	    (key[0] && key[strlen(key) - 1] == ' ') || !wt_text_is_clean(key, strlen(key)))
		return false;
	pointer[used++] = '/';
	for (; *key; key++) {
		if (*key == '~' || *key == '/') {
			pointer[used++] = '~';
			pointer[used++] = *key == '~' ? '0' : '1';
		} else {
			pointer[used++] = *key;
		}
	}
	pointer[used] = '\0';
	return true;
}

static void walk(struct finding *finding, json_t *value, const char *pointer, int depth)
{
	const char *key;
	json_t *item;

	if (!json_is_object(value) || depth == DEPTH_MAX)
		return;
	json_object_foreach(value, key, item)
	{
		char inner[POINTER_SIZE];
		(void)snprintf(inner, sizeof inner, "%s", pointer);
		if (!append_key(inner, key))
			continue;
		note(finding, key, item, inner);
		walk(finding, item, inner, depth + 1);
	}
}

/* --- sections -------------------------------------------------------------------------------- */

struct section {
	char text[TEXT_SIZE];
	size_t used;
};

static void line(struct section *section, const char *key, const char *value)
{
	if (section->used < sizeof section->text)
		section->used += (size_t)snprintf(section->text + section->used,
						  sizeof section->text - section->used, "%s = %s\n",
						  key, value);
}

/* A name from the topic: its last level that says more than what is measured. */
static void begin(struct section *section, const char *topic)
{
	static const char *const dull[] = {"temperature", "humidity", "state", "events",  "rpc",
					   "status",      "sensor",   "tele",  "devices", "SENSOR"};
	const char *best = topic;
	size_t best_length = strcspn(topic, "/");

	for (const char *at = topic; *at; at += *at == '/') {
		size_t length = strcspn(at, "/");
		bool plain = length > 0 && length <= 40 && at[0] != ' ' && at[length - 1] != ' ' &&
			     !memchr(at, ':', length) && !memchr(at, '"', length) &&
			     !memchr(at, ']', length);
		for (size_t i = 0; plain && i < sizeof dull / sizeof dull[0]; i++)
			plain = strlen(dull[i]) != length || strncasecmp(dull[i], at, length) != 0;
		if (plain) {
			best = at;
			best_length = length;
		}
		at += length;
	}
	if (best_length == 0 || best_length > 40 || best[0] == ' ' ||
	    best[best_length - 1] == ' ') {
		best = "new";
		best_length = 3;
	}
	section->used = (size_t)snprintf(section->text, sizeof section->text, "[station %.*s]\n",
					 (int)best_length, best);
	/* What a section's name must not hold. */
	for (char *c = section->text + 1; *c && c < section->text + section->used - 2; c++) {
		if (strchr("[]\"", *c))
			*c = '-';
	}
}

static void undecided(json_t *list, const char *format, ...) __attribute__((format(printf, 2, 3)));

static void undecided(json_t *list, const char *format, ...)
{
	char text[400], says[WT_SAYS_SIZE];
	va_list args;

	va_start(args, format);
	wt_says_take(says, format, args);
	(void)vsnprintf(text, sizeof text, format, args);
	va_end(args);
	json_array_append_new(list,
			      json_pack("{s:s, s:o}", "text", text, "says", wt_says_json(says)));
}

/* One member of each, in their order; */
static json_t *members(const json_t *list, const char *key)
{
	json_t *out = json_array(), *one;
	size_t i;

	json_array_foreach(list, i, one) json_array_append(out, json_object_get(one, key));
	return out;
}

/* Without the last line's end. */
static json_t *finished(const struct section *section)
{
	size_t length = section->used < sizeof section->text ? section->used : 0;
	return length ? json_stringn(section->text, length - 1) : json_null();
}

/* A temperature that no room has in C, but many in F. */
static bool rather_f(double number)
{
	return number > 45 && number < 120;
}

static void tell_choices(const struct finding *finding, const char *topic, json_t *list)
{
	static const char *const words[MEANINGS] = {[TEMP_C] = WT_SAYS_WORD("temperature"),
						    [TEMP_F] = WT_SAYS_WORD("temperature"),
						    [HUMIDITY] = WT_SAYS_WORD("humidity")};

	for (enum meaning meaning = TEMP_C; meaning <= HUMIDITY; meaning++) {
		if (finding->by[meaning].count > 1)
			undecided(list, "%s holds %d values named like a %s; %s was taken", topic,
				  finding->by[meaning].count, words[meaning],
				  finding->by[meaning].pointer);
	}
}

/* True when a rule of the finding reads the message; NULL pointers where nothing was found. */
static bool tried(const struct heard *heard, struct wt_payload_rule *rule,
		  struct wt_payload_values *values)
{
	rule->temp_topic = rule->temp_pointer ? heard->topic : NULL;
	rule->rh_topic = rule->rh_pointer ? heard->topic : NULL;
	wt_payload_read(rule, heard->topic, heard->payload, heard->length, false, 0, values);
	return isfinite(values->temp_c) || isfinite(values->rh_pct);
}

static void add_selector(struct section *section, const json_t *document, const char *topic,
			 json_t *list)
{
	const json_t *id = json_object_get(document, "id");
	char text[64];

	if (!json_object_get(document, "model") || !json_is_integer(id))
		return;
	(void)snprintf(text, sizeof text, "%lld", (long long)json_integer_value(id));
	line(section, "match_pointer", "/id");
	line(section, "match_value", text);
	undecided(list, "%s may carry several sensors; the section takes the one with id %s", topic,
		  text);
}

/* The section for a JSON message, or NULL. */
static json_t *propose_json(const struct heard *heard, json_t *document, json_t *list)
{
	struct finding finding;
	struct wt_payload_values values;
	struct section section;
	bool fahrenheit;

	for (size_t i = 0; i < MEANINGS; i++)
		finding.by[i] = (struct found){.rank = -1};
	walk(&finding, document, "", 0);
	fahrenheit = finding.by[TEMP_C].rank < 0 && finding.by[TEMP_F].rank >= 0;
	struct found *temp = &finding.by[fahrenheit ? TEMP_F : TEMP_C];
	struct found *rh = &finding.by[HUMIDITY];
	struct wt_payload_rule rule = {
		.temp_pointer = temp->rank >= 0 ? temp->pointer : NULL,
		.rh_pointer = rh->rank >= 0 ? rh->pointer : NULL,
		.temp_unit = fahrenheit ? WT_TEMP_UNIT_F : WT_TEMP_UNIT_C,
	};
	if ((!rule.temp_pointer && !rule.rh_pointer) || !tried(heard, &rule, &values))
		return json_null();
	if (!fahrenheit && isfinite(values.temp_c) && rather_f(values.temp_c)) {
		fahrenheit = true;
		undecided(list, "%s: is %g at %s in C or F? F was taken", heard->topic,
			  values.temp_c, temp->pointer);
	}
	begin(&section, heard->topic);
	line(&section,
	     !rule.rh_pointer     ? "temp_topic"
	     : !rule.temp_pointer ? "rh_topic"
				  : "topic",
	     heard->topic);
	if (rule.temp_pointer)
		line(&section, "temp_pointer", rule.temp_pointer);
	if (rule.temp_pointer && fahrenheit)
		line(&section, "temp_unit", "F");
	if (rule.rh_pointer)
		line(&section, "rh_pointer", rule.rh_pointer);
	if (finding.by[TIME].rank >= 0)
		line(&section, "time_pointer", finding.by[TIME].pointer);
	if (finding.by[BATTERY].rank >= 0)
		line(&section, "battery_pointer", finding.by[BATTERY].pointer);
	add_selector(&section, document, heard->topic, list);
	tell_choices(&finding, heard->topic, list);
	if (!rule.temp_pointer || !rule.rh_pointer)
		undecided(list, "%s: no %s was heard; where does it come?", heard->topic,
			  rule.temp_pointer ? "humidity" : "temperature");
	return finished(&section);
}

/* --- bare numbers ---------------------------------------------------------------------------- */

/* Finds the level, or the part of one, that names the meaning; false when none does. */
static bool level_of(const char *topic, enum meaning meaning, size_t *start, size_t *length)
{
	bool found = false;

	for (size_t at = 0; topic[at];) {
		size_t span = strcspn(topic + at, "/._-");
		if (span > 1 && rank_of(topic + at, span, meaning) >= 0) {
			*start = at;
			*length = span;
			found = true;
		}
		at += span + (topic[at + span] != '\0');
	}
	return found;
}

/* True when both topics are the same but for the words at these places.  A suffix such as "_C" may
 * follow the temperature's alone. */
static bool siblings(const char *a, size_t a_start, size_t a_length, const char *b, size_t b_start,
		     size_t b_length)
{
	const char *a_rest = a + a_start + a_length, *b_rest = b + b_start + b_length;

	if (a_start != b_start || strncmp(a, b, a_start) != 0)
		return false;
	if ((a_rest[0] == '_') && strchr("CFcf", a_rest[1]) && a_rest[1])
		a_rest += 2;
	return !strcmp(a_rest, b_rest);
}

static const struct heard *find_humidity(const struct wt_propose *propose, const char *temp_topic,
					 size_t start, size_t length)
{
	for (size_t i = 0; i < propose->n_topics; i++) {
		const struct heard *other = &propose->topics[i];
		size_t at = 0, span = 0;
		double number;
		if (level_of(other->topic, HUMIDITY, &at, &span) &&
		    siblings(temp_topic, start, length, other->topic, at, span) &&
		    wt_quantity_number(other->payload, other->length, &number) == WT_OK)
			return other;
	}
	return NULL;
}

static json_t *propose_bare(const struct wt_propose *propose, const struct heard *heard,
			    double number, json_t *list)
{
	const struct heard *humidity;
	struct section section;
	size_t start = 0, length = 0;
	bool fahrenheit;

	if (!level_of(heard->topic, TEMP_C, &start, &length))
		return json_null();
	fahrenheit = heard->topic[start + length] == '_' &&
		     toupper((unsigned char)heard->topic[start + length + 1]) == 'F';
	if (!fahrenheit && rather_f(number)) {
		fahrenheit = true;
		undecided(list, "%s: is %g in C or F? F was taken", heard->topic, number);
	}
	humidity = find_humidity(propose, heard->topic, start, length);
	begin(&section, heard->topic);
	line(&section, "temp_topic", heard->topic);
	if (fahrenheit)
		line(&section, "temp_unit", "F");
	if (humidity)
		line(&section, "rh_topic", humidity->topic);
	else
		undecided(list, "%s: no humidity was heard beside it; what is its topic?",
			  heard->topic);
	return finished(&section);
}

/* --- the document ---------------------------------------------------------------------------- */

static json_t *propose_one(const struct wt_propose *propose, const struct heard *heard,
			   json_t *list)
{
	json_t *document, *proposal;
	double number;

	/* What cannot stand in a configuration cannot be proposed; it cuts blanks at the ends. */
	if (!heard->topic[0] || heard->topic[0] == ' ' ||
	    heard->topic[strlen(heard->topic) - 1] == ' ' ||
	    !wt_text_is_clean(heard->topic, strlen(heard->topic)) || strlen(heard->topic) > 160 ||
	    strchr(heard->topic, ';') || !wt_payload_filter_valid(heard->topic))
		return json_null();
	if (wt_quantity_number(heard->payload, heard->length, &number) == WT_OK)
		return propose_bare(propose, heard, number, list);
	document = json_loadb(heard->payload, heard->length, JSON_REJECT_DUPLICATES, NULL);
	proposal = document ? propose_json(heard, document, list) : json_null();
	json_decref(document);
	return proposal;
}

static int by_topic(const void *a, const void *b)
{
	return strcmp((*(const struct heard *const *)a)->topic,
		      (*(const struct heard *const *)b)->topic);
}

json_t *wt_propose_document(const struct wt_propose *propose)
{
	const struct heard *sorted[WT_PROPOSE_TOPICS_MAX];
	json_t *topics = json_array(), *list = json_array(), *document;
	bool any = false;

	for (size_t i = 0; i < propose->n_topics; i++)
		sorted[i] = &propose->topics[i];
	qsort(sorted, propose->n_topics, sizeof sorted[0], by_topic);
	for (size_t i = 0; i < propose->n_topics; i++) {
		char topic[SHOWN_SIZE], payload[SHOWN_SIZE];
		json_t *proposal = propose_one(propose, sorted[i], list);
		any |= json_is_string(proposal);
		wt_text_clean(sorted[i]->topic, strlen(sorted[i]->topic), topic, sizeof topic);
		wt_text_clean(sorted[i]->payload, sorted[i]->length, payload, sizeof payload);
		json_array_append_new(topics, json_pack("{s:s, s:I, s:s, s:o}", "topic", topic, "n",
							(json_int_t)sorted[i]->n, "payload",
							payload, "proposal", proposal));
	}
	if (propose->passed_over)
		undecided(list,
			  "%zu messages of further topics were passed over; name the topic "
			  "more closely",
			  propose->passed_over);
	if (any)
		undecided(list, "which room it stands in (room =), and how often it sends "
				"(expected_every_s =)");
	document = json_pack("{s:o, s:o, s:o}", "topics", topics, "undecided",
			     members(list, "text"), "undecided_says", members(list, "says"));
	json_decref(list);
	return document;
}
