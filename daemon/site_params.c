/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * Every verb the site answers and every parameter it takes, in one table; the
 * refusals are made from it.
 */
#include <math.h>
#include <stdarg.h>
#include <stdio.h>
#include <string.h>
#include <strings.h>

#include "daemon/site_inner.h"
#include "lib/salt.h"
#include "lib/style_table.h"
#include "lib/wire/text.h"
#include "lib/wire/timefmt.h"

/* How far back an act may be dated: our choice, within what a room's series keeps. */
#define BACK_DATED_DAYS 30

/* clang-format off */
#define LOAD {.name = "load", .kind = SITE_PARAM_LOAD, .required = true}
#define AT {.name = "at", .kind = SITE_PARAM_TIME}
#define KG(given, is_required, most_kg) {.name = given, .kind = SITE_PARAM_NUMBER, .required = is_required, \
	.above = true, .least = 0, .most = most_kg, .quantity = WT_QUANTITY_KG}
#define AREA {.name = "area", .kind = SITE_PARAM_NUMBER, .above = true, .least = 0, .most = 1000, .quantity = WT_QUANTITY_M2}
#define TRAYS {.name = "trays", .kind = SITE_PARAM_NUMBER, .above = true, .least = 0, .most = 1000}
#define NEW {.name = "new", .kind = SITE_PARAM_SWITCH} /* a name is always taken as it comes here */
#define WORD(given, list) {.name = given, .kind = SITE_PARAM_WORD, .words = list}
#define MOISTURE {.name = "moisture", .kind = SITE_PARAM_NUMBER, .least = 50, .most = 90, .quantity = WT_QUANTITY_PCT}

const struct site_verb_rule site_verbs[SITE_VERB_COUNT] = {
	[SITE_SPREAD] = {"spread", SITE_VERB_ACT, {
		{.name = "origin", .kind = SITE_PARAM_NAME, .required = true},
		KG("kg", true, 500), AREA,
		TRAYS,
		{.name = "room", .kind = SITE_PARAM_ROOM}, {.name = "style", .kind = SITE_PARAM_STYLE},
		WORD("grade", WT_WORDS_GRADE), WORD("season", WT_WORDS_SEASON), WORD("wet", WT_WORDS_WET),
		MOISTURE,
		{.name = "price", .kind = SITE_PARAM_NUMBER, .least = 0, .most = 999999},
		{.name = "scale", .kind = SITE_PARAM_SCALE}, NEW, AT}},
	[SITE_WEIGH] = {"weigh", SITE_VERB_ACT, {LOAD, KG("kg", true, 500), KG("sample-fresh", false, 500), AT}},
	[SITE_FEEL] = {"feel", SITE_VERB_ACT, {LOAD,
		{.name = "step", .kind = SITE_PARAM_WORD, .required = true, .words = WT_WORDS_FEEL}, AT}},
	[SITE_TURN] = {"turn", SITE_VERB_ACT, {LOAD, AREA, TRAYS, {.name = "fan", .kind = SITE_PARAM_SWITCH}, AT}},
	[SITE_FIX] = {"fix", SITE_VERB_ACT, {LOAD, KG("kg", false, 500), KG("part", false, 500),
		{.name = "minutes", .kind = SITE_PARAM_NUMBER, .above = true, .least = 0, .most = 600,
		 .quantity = WT_QUANTITY_MIN}, AT}},
	[SITE_YIELD] = {"yield", SITE_VERB_ACT, {LOAD, KG("made", true, 500),
		{.name = "yellow", .kind = SITE_PARAM_NUMBER, .least = 0, .most = 500, .quantity = WT_QUANTITY_KG}, AT}},
	[SITE_DROP] = {"drop", SITE_VERB_ACT, {LOAD,
		{.name = "why", .kind = SITE_PARAM_TEXT, .required = true}, AT}},
	[SITE_UNDO] = {"undo", SITE_VERB_ACT, {{.name = NULL}}},
	[SITE_STYLE] = {"style", SITE_VERB_ACT, {
		{.name = "style", .kind = SITE_PARAM_STYLE, .required = true},
		{.name = "ready-from", .kind = SITE_PARAM_NUMBER, .least = WT_STYLE_LEAST_LOSS_PCT, .most = WT_STYLE_MOST_LOSS_PCT,
		 .quantity = WT_QUANTITY_PCT},
		{.name = "accept", .kind = SITE_PARAM_SWITCH}}},
	[SITE_SALT] = {"salt", SITE_VERB_ACT, {
		{.name = "station", .kind = SITE_PARAM_STATION, .required = true},
		{.name = "salt", .kind = SITE_PARAM_SALT, .required = true},
		{.name = "rh", .kind = SITE_PARAM_NUMBER, .above = true, .least = 0, .most = 100, .quantity = WT_QUANTITY_PCT}, AT}},
	[SITE_TONIGHT] = {"tonight", SITE_VERB_QUERY, {{.name = "brief", .kind = SITE_PARAM_SWITCH}}},
	[SITE_SHOW] = {"show", SITE_VERB_QUERY, {LOAD}},
	[SITE_LOADS] = {"loads", SITE_VERB_QUERY, {{.name = "all", .kind = SITE_PARAM_SWITCH}}},
	[SITE_AIR] = {"air", SITE_VERB_QUERY, {{.name = "room", .kind = SITE_PARAM_ROOM}}},
	[SITE_PLAN] = {"plan", SITE_VERB_QUERY, {{.name = NULL}}},
	[SITE_GARDENS] = {"gardens", SITE_VERB_QUERY, {{.name = NULL}}},
	[SITE_LEDGER] = {"ledger", SITE_VERB_QUERY, {{.name = NULL}}},
	[SITE_STATIONS] = {"stations", SITE_VERB_QUERY, {{.name = NULL}}},
	[SITE_WHAT_IF] = {"what-if", SITE_VERB_STUDY, {LOAD, AREA, {.name = "fan", .kind = SITE_PARAM_SWITCH},
		{.name = "warmer", .kind = SITE_PARAM_NUMBER, .least = -15, .most = 15, .quantity = WT_QUANTITY_C},
		{.name = "drier", .kind = SITE_PARAM_NUMBER, .least = -50, .most = 50, .quantity = WT_QUANTITY_PCT}}},
	[SITE_DENSITY] = {"density", SITE_VERB_STUDY, {
		{.name = "origin", .kind = SITE_PARAM_NAME, .required = true}, KG("kg", true, 500),
		{.name = "ready-by", .kind = SITE_PARAM_WISH},
		WORD("grade", WT_WORDS_GRADE), WORD("season", WT_WORDS_SEASON),
		{.name = "style", .kind = SITE_PARAM_STYLE}, {.name = "room", .kind = SITE_PARAM_ROOM},
		WORD("wet", WT_WORDS_WET), MOISTURE, NEW}},
};
/* clang-format on */

const struct site_verb_rule *site_verb_find(const char *name)
{
	for (size_t i = 0; name && i < SITE_VERB_COUNT; i++) {
		if (!strcmp(site_verbs[i].name, name))
			return &site_verbs[i];
	}
	return NULL;
}

bool site_refuse(struct wt_refusal *refusal, int code, const char *field, const char *given,
		 const char *format, ...)
{
	va_list arguments;

	if (!refusal)
		return false;
	*refusal = (struct wt_refusal){.code = code};
	snprintf(refusal->field, sizeof(refusal->field), "%s", field ? field : "");
	snprintf(refusal->given, sizeof(refusal->given), "%s", given ? given : "");
	va_start(arguments, format);
	wt_says_take(refusal->says, format, arguments);
	vsnprintf(refusal->text, sizeof(refusal->text), format, arguments);
	va_end(arguments);
	return false;
}

/* Adds what is accepted to a refusal just made, for those who do not read sentences. */
static bool accepting(struct wt_refusal *refusal, const char *format, ...)
	__attribute__((format(printf, 2, 3)));

static bool accepting(struct wt_refusal *refusal, const char *format, ...)
{
	va_list arguments;

	if (!refusal)
		return false;
	va_start(arguments, format);
	vsnprintf(refusal->accepted, sizeof(refusal->accepted), format, arguments);
	va_end(arguments);
	return false;
}

/* What was given, for quoting. */
static void quote(const json_t *value, char out[64])
{
	char *dumped = NULL, number[32];
	const char *text = json_string_value(value);
	size_t length = json_string_length(value);

	if (json_is_real(value)) { /* as it was typed: 0 and not 0.0 */
		length = (size_t)snprintf(number, sizeof(number), "%.10g", json_real_value(value));
		text = number;
	} else if (!text) {
		text = dumped =
			json_dumps(value, JSON_ENCODE_ANY | JSON_COMPACT | JSON_REAL_PRECISION(10));
		length = text ? strlen(text) : 0;
	}
	wt_text_clean(text ? text : "?", text ? length : 1, out, 64);
	free(dumped);
}

#define BAD (-32602)

static bool bad_text(const struct site_param_rule *rule, const char *given,
		     struct wt_refusal *refusal)
{
	return site_refuse(
		refusal, BAD, rule->name, given,
		"%s must be 1 to 60 characters, none of them a control character, not '%s'",
		rule->name, given);
}

static bool read_text(const struct site_param_rule *rule, const json_t *value, const char *given,
		      struct site_value *out, struct wt_refusal *refusal)
{
	const char *text = json_string_value(value);
	size_t characters = 0, bytes = text ? json_string_length(value) : 0;
	size_t most = rule->kind == SITE_PARAM_TEXT ? 240 : 60;

	if (!text || !wt_text_is_clean(text, bytes))
		return bad_text(rule, given, refusal);
	bool blank = true;
	for (size_t i = 0; i < bytes; i++) {
		characters += ((unsigned char)text[i] & 0xc0) != 0x80;
		blank = blank && text[i] == ' ';
	}
	if (blank || characters > most)
		return rule->kind == SITE_PARAM_TEXT
			       ? site_refuse(refusal, BAD, rule->name, given,
					     "%s must be 1 to 240 characters, not '%s'", rule->name,
					     given)
			       : bad_text(rule, given, refusal);
	out->text = text;
	return true;
}

/* A number, or text holding one, with the unit behind it or without. */
static bool to_number(const json_t *value, enum wt_quantity quantity, double *out)
{
	if (json_is_number(value)) {
		*out = json_number_value(value);
		return isfinite(*out);
	}
	const char *text = json_string_value(value);
	return text && wt_quantity_parse(quantity, text, out) == WT_OK;
}

static bool read_number(const struct site_param_rule *rule, const json_t *value, const char *given,
			struct site_value *out, struct wt_refusal *refusal)
{
	static const char *const units[WT_QUANTITY_COUNT] = {"", "kg", "m2", "%", "C", "min"};
	const char *unit = units[rule->quantity];
	double number = NAN;
	bool fine = to_number(value, rule->quantity, &number) && number <= rule->most &&
		    (rule->above ? number > rule->least : number >= rule->least);

	if (!fine) {
		const char *from =
			rule->above ? WT_SAYS_WORD("more than") : WT_SAYS_WORD("at least");
		(void)site_refuse(refusal, BAD, rule->name, given,
				  "%s must be %s %g and at most %g%s%s, not '%s'", rule->name, from,
				  rule->least, rule->most, *unit ? " " : "", unit, given);
		return accepting(refusal, "%s %g and at most %g%s%s", from, rule->least, rule->most,
				 *unit ? " " : "", unit);
	}
	out->number = number;
	return true;
}

static bool read_word(const struct site_param_rule *rule, const json_t *value, const char *given,
		      struct site_value *out, struct wt_refusal *refusal)
{
	const char *text = json_string_value(value);

	if (!text || wt_words_parse(rule->words, text, &out->word) != WT_OK) {
		(void)site_refuse(refusal, BAD, rule->name, given,
				  "there is no %s '%s'; accepted: %s", rule->name, given,
				  wt_words_accepted(rule->words));
		return accepting(refusal, "%s", wt_words_accepted(rule->words));
	}
	out->text = text;
	return true;
}

static bool read_switch(const struct site_param_rule *rule, const json_t *value, const char *given,
			struct site_value *out, struct wt_refusal *refusal)
{
	const char *text = json_string_value(value);

	if (json_is_boolean(value))
		out->number = json_is_true(value) ? 1.0 : 0.0;
	else if (text && (!strcasecmp(text, "on") || !strcasecmp(text, "yes") || !*text ||
			  !strcasecmp(text, "true")))
		out->number = 1.0;
	else if (text && (!strcasecmp(text, "off") || !strcasecmp(text, "no") ||
			  !strcasecmp(text, "false")))
		out->number = 0.0;
	else if (json_is_integer(value) && (json_integer_value(value) | 1) == 1)
		out->number = (double)json_integer_value(value);
	else {
		(void)site_refuse(refusal, BAD, rule->name, given, "%s must be on or off, not '%s'",
				  rule->name, given);
		return accepting(refusal, "on or off");
	}
	return true;
}

/* Names of one kind, "a, b, c", cut when there are too many for a sentence. */
static void add_name(char *list, size_t size, const char *name)
{
	size_t used = strlen(list);

	if (used + strlen(name) + 8 > size) {
		if (used >= 3 && strcmp(list + used - 3, "..."))
			snprintf(list + used, size - used, ", ...");
		return;
	}
	snprintf(list + used, size - used, "%s%s", used ? ", " : "", name);
}

static size_t find_named(const struct wt_site *site, enum site_param_kind kind, const char *text,
			 char *list, size_t size)
{
	const struct wt_config *config = site->config;
	size_t n = kind == SITE_PARAM_STYLE   ? config->n_styles
		   : kind == SITE_PARAM_SCALE ? config->n_scales
		   : kind == SITE_PARAM_ROOM  ? config->n_rooms
					      : config->n_stations;
	size_t found = SIZE_MAX;

	for (size_t i = 0; i < n; i++) {
		const char *name = kind == SITE_PARAM_STYLE   ? config->styles[i].name
				   : kind == SITE_PARAM_SCALE ? config->scales[i].name
				   : kind == SITE_PARAM_ROOM  ? config->rooms[i].name
							      : config->stations[i].name;
		add_name(list, size, name);
		if (text && !strcmp(text, name))
			found = i;
	}
	return found;
}

static bool read_named(const struct wt_site *site, const struct site_param_rule *rule,
		       const json_t *value, const char *given, struct site_value *out,
		       struct wt_refusal *refusal)
{
	char list[300] = "";
	const char *text = json_string_value(value);
	size_t found = find_named(site, rule->kind, text, list, sizeof(list));

	if (found == SIZE_MAX) {
		const char *accepted = *list ? list : WT_SAYS_WORD("none is configured");
		(void)site_refuse(refusal, BAD, rule->name, given,
				  "there is no %s '%s'; accepted: %s", rule->name, given, accepted);
		return accepting(refusal, "%s", accepted);
	}
	out->index = found;
	out->text = text;
	return true;
}

static bool read_salt(const struct site_param_rule *rule, const json_t *value, const char *given,
		      struct site_value *out, struct wt_refusal *refusal)
{
	const char *text = json_string_value(value);

	enum wt_salt salt;

	if (!text || wt_salt_parse(text, &salt) != WT_OK) {
		(void)site_refuse(refusal, BAD, rule->name, given,
				  "there is no salt '%s'; accepted: %s", given, wt_salt_accepted());
		return accepting(refusal, "%s", wt_salt_accepted());
	}
	out->word = (int)salt;
	out->text = text;
	return true;
}

static bool read_load(const struct wt_site *site, const struct site_param_rule *rule,
		      const json_t *value, const char *given, struct site_value *out,
		      struct wt_refusal *refusal)
{
	char list[200] = "";
	double number;

	if (to_number(value, WT_QUANTITY_PLAIN, &number) && site_load_get(site, number)) {
		out->number = number;
		return true;
	}
	for (size_t i = 0; i < site->n_loads; i++) {
		char name[16];
		snprintf(name, sizeof(name), "%d", site->loads[i].number);
		if (!site->loads[i].gone && site->loads[i].state == SITE_OPEN)
			add_name(list, sizeof(list), name);
	}
	(void)site_refuse(refusal, BAD, rule->name, given, "there is no load '%s'; open loads: %s",
			  given, *list ? list : WT_SAYS_WORD("none"));
	return accepting(refusal, "%s", *list ? list : WT_SAYS_WORD("none"));
}

static bool read_time(const struct site_param_rule *rule, const json_t *value, const char *given,
		      int64_t now_unix_s, struct site_value *out, struct wt_refusal *refusal)
{
	bool wish = rule->kind == SITE_PARAM_WISH;
	int64_t at;

	if (!site_clock_parse(value, now_unix_s, wish, &at)) {
		(void)site_refuse(refusal, BAD, rule->name, given,
				  "%s must be a time (%s), not '%s'", rule->name,
				  wt_timefmt_user_accepted(), given);
		return accepting(refusal, "%s", wt_timefmt_user_accepted());
	}
	/* The caller's clock may run a little before the daemon's. */
	if (!wish && at > now_unix_s && at <= now_unix_s + 5)
		at = now_unix_s;
	if (!wish && at > now_unix_s)
		return site_refuse(refusal, BAD, rule->name, given,
				   "%s must not lie in the future, and '%s' does", rule->name,
				   given);
	if (!wish && at < now_unix_s - BACK_DATED_DAYS * (int64_t)SITE_DAY_S)
		return site_refuse(refusal, BAD, rule->name, given,
				   "%s must lie within the last %d days, not '%s'", rule->name,
				   BACK_DATED_DAYS, given);
	if (wish && (at <= now_unix_s || at > now_unix_s + WT_HORIZON_S))
		return site_refuse(refusal, BAD, rule->name, given,
				   "%s must lie within the coming 48 hours, not '%s'", rule->name,
				   given);
	out->unix_s = at;
	return true;
}

static bool read_value(const struct wt_site *site, const struct site_param_rule *rule,
		       const json_t *value, int64_t now_unix_s, struct site_value *out,
		       struct wt_refusal *refusal)
{
	char given[64];

	quote(value, given);
	out->given = true;
	switch (rule->kind) {
	case SITE_PARAM_TEXT:
	case SITE_PARAM_NAME:
		return read_text(rule, value, given, out, refusal);
	case SITE_PARAM_NUMBER:
		return read_number(rule, value, given, out, refusal);
	case SITE_PARAM_TIME:
	case SITE_PARAM_WISH:
		return read_time(rule, value, given, now_unix_s, out, refusal);
	case SITE_PARAM_WORD:
		return read_word(rule, value, given, out, refusal);
	case SITE_PARAM_SALT:
		return read_salt(rule, value, given, out, refusal);
	case SITE_PARAM_LOAD:
		return read_load(site, rule, value, given, out, refusal);
	case SITE_PARAM_SWITCH:
		return read_switch(rule, value, given, out, refusal);
	case SITE_PARAM_ROOM:
	case SITE_PARAM_STYLE:
	case SITE_PARAM_STATION:
	case SITE_PARAM_SCALE:
		return read_named(site, rule, value, given, out, refusal);
	case SITE_PARAM_END:
		break;
	}
	return true;
}

static size_t find_rule(const struct site_verb_rule *verb, const char *name)
{
	for (size_t i = 0; i < SITE_PARAMS_MAX && verb->params[i].name; i++) {
		if (wt_text_same_name(name, verb->params[i].name))
			return i;
	}
	return SIZE_MAX;
}

static bool refuse_unknown(const struct site_verb_rule *verb, const char *name,
			   struct wt_refusal *refusal)
{
	char list[300] = "", given[64];

	wt_text_clean(name, strlen(name), given, sizeof(given));
	for (size_t i = 0; i < SITE_PARAMS_MAX && verb->params[i].name; i++)
		add_name(list, sizeof(list), verb->params[i].name);
	if (!*list)
		snprintf(list, sizeof(list), WT_SAYS_WORD("no parameter"));
	(void)site_refuse(refusal, BAD, "params", given, "%s takes no '%s'; accepted: %s",
			  verb->name, given, list);
	return accepting(refusal, "%s", list);
}

bool site_params_read(const struct wt_site *site, const struct site_verb_rule *verb,
		      const json_t *params, int64_t now_unix_s, struct site_value *values,
		      struct wt_refusal *refusal)
{
	const char *name;
	json_t *value;

	for (size_t i = 0; i < SITE_PARAMS_MAX; i++)
		values[i] = (struct site_value){.number = NAN, .word = -1, .index = SIZE_MAX};
	if (params && !json_is_null(params) && !json_is_object(params))
		return site_refuse(refusal, BAD, "params", "",
				   "the parameters of %s must be an object of names and values",
				   verb->name);
	json_object_foreach((json_t *)(uintptr_t)params, name, value)
	{
		size_t rule = find_rule(verb, name);
		if (rule == SIZE_MAX)
			return refuse_unknown(verb, name, refusal);
		if (json_is_null(value))
			continue;
		if (!read_value(site, &verb->params[rule], value, now_unix_s, &values[rule],
				refusal))
			return false;
	}
	for (size_t i = 0; i < SITE_PARAMS_MAX && verb->params[i].name; i++) {
		if (!verb->params[i].required || values[i].given)
			continue;
		(void)site_refuse(refusal, BAD, verb->params[i].name, "", "%s needs %s", verb->name,
				  verb->params[i].name);
		return verb->params[i].kind == SITE_PARAM_WORD
			       ? accepting(refusal, "%s", wt_words_accepted(verb->params[i].words))
			       : false;
	}
	return true;
}

const struct site_value *site_value(const struct site_verb_rule *verb,
				    const struct site_value *values, const char *name)
{
	static const struct site_value absent = {.number = NAN, .word = -1, .index = SIZE_MAX};
	size_t rule = find_rule(verb, name);

	return rule == SIZE_MAX ? &absent : &values[rule];
}
