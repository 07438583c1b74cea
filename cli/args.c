/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "cli/args.h"

#include <ctype.h>
#include <limits.h>
#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "cli/memory.h"
#include "cli/suggest.h"
#include "cli/tongue.h"

enum { ARGS_WORDS = 64, ARGS_JOINED = 64 };

static const struct wt_arg global_options[] = {
	{.name = "socket", .shown = "PATH", .kind = WT_ARG_TEXT},
	{.name = "json", .kind = WT_ARG_LOCAL},
	{.name = "help", .kind = WT_ARG_LOCAL},
	{.name = "version", .kind = WT_ARG_LOCAL},
	{0},
};

struct reader {
	int argc;
	char **argv;
	int at;
	struct wt_command *call;
	const char *words[ARGS_WORDS];
	size_t n_words;
	char joined[ARGS_WORDS][ARGS_JOINED]; /* a number and the unit typed behind it */
	char *why;
	size_t why_size;
};

/* Writes the sentence that says what was wrong; always false. */
static bool fail(struct reader *reader, const char *format, ...)
	__attribute__((format(printf, 2, 3)));

static bool fail(struct reader *reader, const char *format, ...)
{
	va_list args;

	va_start(args, format);
	vsnprintf(reader->why, reader->why_size, format, args);
	va_end(args);
	return false;
}

/* Splits "a, b, c" into words; the copies live in store. */
static size_t split_list(const char *list, char *store, size_t size, const char **words,
			 size_t most)
{
	size_t n = 0;
	char *save = NULL;

	snprintf(store, size, "%s", list);
	for (char *word = strtok_r(store, ", ", &save); word && n < most;
	     word = strtok_r(NULL, ", ", &save))
		words[n++] = word;
	return n;
}

static bool set(struct reader *reader, const char *name, json_t *value)
{
	if (json_object_get(reader->call->params, name)) {
		json_decref(value);
		return fail(reader, _("%s is given twice"), name);
	}
	/* Only a text can be no value. */
	if (json_object_set_new(reader->call->params, name, value) != 0)
		return fail(reader, _("%s is not UTF-8 text"), name);
	return true;
}

static bool read_word(struct reader *reader, const struct wt_arg *arg, const char *given)
{
	const char *accepted = arg->words ? arg->words : wt_words_accepted(arg->list);
	char store[256];
	const char *words[16];
	size_t n = split_list(accepted, store, sizeof store, words, 16);
	int found = wt_suggest_prefix(given, words, n);

	if (found < 0)
		return fail(reader, _("%s is one of %s, not '%s'"), arg->name, accepted, given);
	return set(reader, arg->name, json_string(words[found]));
}

static bool read_load(struct reader *reader, const struct wt_arg *arg, const char *given)
{
	const char *digits = given + (*given == '#');
	char *end;
	long load = strtol(digits, &end, 10);

	if (!isdigit((unsigned char)*digits) || *end || load < 1 || load > INT_MAX)
		return fail(reader, _("%s is a load's number such as 7, not '%s'"), arg->name,
			    given);
	return set(reader, arg->name, json_integer(load));
}

static bool read_quantity(struct reader *reader, const struct wt_arg *arg, const char *given)
{
	double value;
	bool has_unit;
	const char *units = wt_units_accepted(arg->quantity);

	if (!wt_units_read(given, arg->quantity, &value, &has_unit)) {
		if (*units)
			return fail(reader,
				    _("%s is a number, with a unit if you like (%s), not '%s'"),
				    arg->name, units, given);
		return fail(reader, _("%s is a number, not '%s'"), arg->name, given);
	}
	return set(reader, arg->name, json_real(value));
}

static bool read_bed(struct reader *reader, const char *given)
{
	double value;
	bool has_unit;

	if (wt_units_read(given, WT_QUANTITY_M2, &value, &has_unit) && has_unit)
		return set(reader, "area", json_real(value));
	if (wt_units_read(given, WT_QUANTITY_TRAYS, &value, &has_unit) && has_unit)
		return set(reader, "trays", json_real(value));
	return fail(reader, _("how wide it lies is said as 4m2 or 3trays, not '%s'"), given);
}

static bool read_file(struct reader *reader, const struct wt_arg *arg, const char *given)
{
	char path[PATH_MAX], folder[PATH_MAX];
	int length;

	if (*given == '/')
		return set(reader, arg->name, json_string(given));
	if (!*given || !getcwd(folder, sizeof folder))
		return fail(reader, _("%s is a file to write, not '%s'"), arg->name, given);
	length = snprintf(path, sizeof path, "%s/%s", folder, given);
	if (length < 0 || (size_t)length >= sizeof path)
		return fail(reader, _("the path is too long: '%s'"), given);
	return set(reader, arg->name, json_string(path));
}

static bool read_text(struct reader *reader, const struct wt_arg *arg, const char *given)
{
	json_t *text = json_string(given);

	if (!text)
		return fail(reader, _("%s is not UTF-8 text"), arg->name);
	if (!*given) {
		json_decref(text);
		return fail(reader, _("%s is empty"), arg->name);
	}
	return set(reader, arg->name, text);
}

static bool read_arg(struct reader *reader, const struct wt_arg *arg, const char *given)
{
	switch (arg->kind) {
	case WT_ARG_WORD:
		return read_word(reader, arg, given);
	case WT_ARG_LOAD:
		return read_load(reader, arg, given);
	case WT_ARG_QUANTITY:
		return read_quantity(reader, arg, given);
	case WT_ARG_BED:
		return read_bed(reader, given);
	case WT_ARG_FILE:
		return read_file(reader, arg, given);
	case WT_ARG_FLAG:
		return set(reader, arg->name, json_true());
	case WT_ARG_TIME:
		return strcmp(given, "now") == 0 ? true : read_text(reader, arg, given);
	case WT_ARG_TEXT:
	case WT_ARG_LOCAL:
		break;
	}
	return read_text(reader, arg, given);
}

/* Collects the options of the verb and the global ones, so that a beginning is looked up in both.
 */
static size_t collect_options(const struct wt_verb *verb, const struct wt_arg **args,
			      const char **names, size_t most)
{
	size_t n = 0;

	for (const struct wt_arg *arg = verb ? verb->options : NULL; arg && arg->name && n < most;
	     arg++)
		args[n++] = arg;
	for (const struct wt_arg *arg = global_options; arg->name && n < most; arg++)
		args[n++] = arg;
	for (size_t i = 0; i < n; i++)
		names[i] = args[i]->name;
	return n;
}

static const struct wt_arg *find_option(struct reader *reader, const char *name)
{
	const struct wt_arg *args[WT_VERB_OPTIONS + 4];
	const char *names[WT_VERB_OPTIONS + 4];
	size_t n = collect_options(reader->call->verb, args, names, WT_VERB_OPTIONS + 4);
	int found = wt_suggest_prefix(name, names, n);
	const char *verb = reader->call->verb ? reader->call->verb->name : "wither";

	if (found >= 0)
		return args[found];
	if (found == WT_SUGGEST_MANY) {
		fail(reader, _("--%s could mean several options; see: wither help %s"), name, verb);
		return NULL;
	}
	found = wt_suggest_nearest(name, names, n);
	if (found >= 0)
		fail(reader, _("%s has no option --%s; did you mean --%s?"), verb, name,
		     names[found]);
	else if (reader->call->verb && strcmp(verb, "wither") != 0)
		fail(reader, _("%s has no option --%s; see: wither help %s"), verb, name, verb);
	else
		fail(reader, _("%s has no option --%s; see: wither help"), verb, name);
	return NULL;
}

static bool take_global(struct reader *reader, const struct wt_arg *arg, const char *value)
{
	struct wt_command *call = reader->call;

	if (strcmp(arg->name, "socket") == 0)
		call->socket = value;
	else if (strcmp(arg->name, "json") == 0)
		call->json = true;
	else if (strcmp(arg->name, "help") == 0)
		call->help = true;
	else if (strcmp(arg->name, "version") == 0)
		call->version = true;
	else if (strcmp(arg->name, "csv") == 0)
		call->csv = true;
	else if (strcmp(arg->name, "new") == 0)
		call->new_garden = true;
	return true;
}

static bool read_option(struct reader *reader)
{
	const char *token = reader->argv[reader->at] + 2;
	const char *equals = strchr(token, '=');
	char name[64];
	const struct wt_arg *arg;
	const char *value = equals ? equals + 1 : NULL;
	bool flag;

	snprintf(name, sizeof name, "%.*s", equals ? (int)(equals - token) : 63, token);
	arg = find_option(reader, name);
	if (!arg)
		return false;
	flag = arg->kind == WT_ARG_FLAG || arg->kind == WT_ARG_LOCAL;
	if (flag && value)
		return fail(reader, _("--%s takes no value"), arg->name);
	if (!flag && !value) {
		if (reader->at + 1 >= reader->argc)
			return fail(reader, _("--%s needs a value: --%s %s"), arg->name, arg->name,
				    arg->shown);
		value = reader->argv[++reader->at];
	}
	if (arg->kind == WT_ARG_LOCAL ||
	    (arg >= global_options &&
	     arg < global_options + sizeof global_options / sizeof *global_options))
		return take_global(reader, arg, value);
	return read_arg(reader, arg, flag ? "" : value);
}

static bool is_plain_number(const char *text)
{
	double value;
	bool has_unit;

	return wt_units_read(text, WT_QUANTITY_PLAIN, &value, &has_unit);
}

static bool take_word(struct reader *reader, const char *word)
{
	size_t n = reader->n_words;

	if (!reader->call->verb) {
		reader->call->verb = wt_verbs_find(word, reader->why, reader->why_size);
		return reader->call->verb != NULL;
	}
	if (n > 0 && wt_units_is_unit(word) && is_plain_number(reader->words[n - 1]) &&
	    strlen(reader->words[n - 1]) + strlen(word) < ARGS_JOINED) {
		char *joined = reader->joined[n - 1];

		if (joined != reader->words[n - 1])
			memcpy(joined, reader->words[n - 1], strlen(reader->words[n - 1]) + 1);
		memcpy(joined + strlen(joined), word, strlen(word) + 1);
		reader->words[n - 1] = joined;
		return true;
	}
	if (n >= ARGS_WORDS)
		return fail(reader, _("too many words: '%s'"), word);
	reader->words[reader->n_words++] = word;
	return true;
}

static bool read_tokens(struct reader *reader)
{
	bool only_words = false;

	for (reader->at = 0; reader->at < reader->argc; reader->at++) {
		const char *token = reader->argv[reader->at];

		if (only_words || token[0] != '-' || token[1] == '\0' ||
		    isdigit((unsigned char)token[1]) || token[1] == '.') {
			if (!take_word(reader, token))
				return false;
		} else if (strcmp(token, "--") == 0) {
			only_words = true;
		} else if (strcmp(token, "-h") == 0) {
			reader->call->help = true;
		} else if (token[1] != '-') {
			return fail(reader, _("options are long words such as --json, not '%s'"),
				    token);
		} else if (!read_option(reader)) {
			return false;
		}
	}
	return true;
}

static size_t count_words(const struct wt_verb *verb)
{
	size_t n = 0;

	while (verb->words && verb->words[n].name)
		n++;
	return n;
}

static bool too_few(struct reader *reader)
{
	const struct wt_verb *verb = reader->call->verb;
	const struct wt_arg *arg = &verb->words[reader->n_words];

	if (arg->kind == WT_ARG_WORD)
		return fail(reader, _("%s needs %s (%s); for instance: %s"), verb->name, arg->shown,
			    arg->words ? arg->words : wt_words_accepted(arg->list), verb->example);
	return fail(reader, _("%s needs %s; for instance: %s"), verb->name, arg->shown,
		    verb->example);
}

/* LOAD may be left out where that is safe.  A bare number stays the load then: `weigh 7` is a
 * weighing that lacks its weight, not 7 kg of the only load. */
static bool load_left_out(const struct reader *reader)
{
	const struct wt_verb *verb = reader->call->verb;
	bool quantity_follows = verb->least_words > 1 && verb->words[1].kind == WT_ARG_QUANTITY;

	if (verb->load_default == WT_LOAD_NAMED || reader->n_words + 1 < verb->least_words)
		return false;
	if (reader->n_words >= verb->least_words && verb->least_words > 0)
		return verb->words[1].kind == WT_ARG_BED && !is_plain_number(reader->words[0]) &&
		       reader->words[0][0] != '#';
	return !(quantity_follows && is_plain_number(reader->words[0]));
}

static bool read_words(struct reader *reader)
{
	const struct wt_verb *verb = reader->call->verb;
	size_t most = count_words(verb), first = 0;

	if (most > 0 && load_left_out(reader)) {
		reader->call->needs_load = true;
		first = 1;
	} else if (reader->n_words < verb->least_words) {
		return too_few(reader);
	}
	if (reader->n_words + first > most)
		return fail(reader, _("%s does not take '%s'; for instance: %s"), verb->name,
			    reader->words[most - first], verb->example);
	for (size_t i = 0; i < reader->n_words; i++)
		if (!read_arg(reader, &verb->words[first + i], reader->words[i]))
			return false;
	return true;
}

/* One of the options without which the verb says too little. */
static bool check_needs(struct reader *reader)
{
	const struct wt_verb *verb = reader->call->verb;
	char store[128], list[160] = "";
	const char *names[8];
	size_t n = verb->needs ? split_list(verb->needs, store, sizeof store, names, 8) : 0;

	for (size_t i = 0; i < n; i++) {
		size_t used = strlen(list);

		if (json_object_get(reader->call->params, names[i]))
			return true;
		snprintf(list + used, sizeof list - used, "%s--%s", used ? _(" or ") : "",
			 names[i]);
	}
	return n == 0 ||
	       fail(reader, _("%s needs %s; for instance: %s"), verb->name, list, verb->example);
}

bool wt_args_parse(int argc, char **argv, struct wt_command *out, char *why, size_t why_size)
{
	struct wt_command call = {.params = json_object()};
	struct reader *reader = wt_memory_get(1, sizeof *reader);
	bool done = false;

	if (!call.params)
		wt_memory_end();
	reader->argc = argc;
	reader->argv = argv;
	reader->call = &call;
	reader->why = why;
	reader->why_size = why_size;
	if (!read_tokens(reader))
		goto out;
	if (!call.verb && !call.help)
		call.verb = wt_verbs_find("tonight", why, why_size);
	done = call.help || call.version || (read_words(reader) && check_needs(reader));
out:
	free(reader);
	if (done)
		*out = call;
	else
		json_decref(call.params);
	return done;
}

void wt_args_clear(struct wt_command *call)
{
	json_decref(call->params);
	call->params = NULL;
}
