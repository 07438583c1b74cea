/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * Candidates for a shell's completion: the words typed so far come in, one
 * candidate a line goes out.  Never complains: a shell that completes must not
 * be disturbed.
 */
#include <stdio.h>
#include <string.h>

#include "cli/doc.h"
#include "cli/run.h"
#include "cli/verbs.h"

static void offer(const char *candidate, const char *begun)
{
	if (strncmp(candidate, begun, strlen(begun)) == 0)
		puts(candidate);
}

static void offer_list(const char *list, const char *begun)
{
	char store[256];
	char *save = NULL;

	snprintf(store, sizeof store, "%s", list);
	for (char *word = strtok_r(store, ", ", &save); word; word = strtok_r(NULL, ", ", &save))
		offer(word, begun);
}

/* Numbers of open loads, or each origin once, asked of the daemon if it is there. */
static void offer_from_daemon(const char *key, bool all, const char *begun)
{
	struct wt_command call = {0};
	char why[256];
	struct wt_socket *socket = wt_socket_open(wt_run_socket_path(&call), why, sizeof why);
	json_t *params = json_pack("{s:b}", "all", all), *seen = json_object(), *load;
	struct wt_reply reply = {0};
	size_t i;

	if (socket && wt_socket_send(socket, "loads", params, why, sizeof why) &&
	    wt_socket_receive(socket, 1.0, &reply, why, sizeof why) && reply.result) {
		json_array_foreach(wt_doc_list(reply.result, "loads"), i, load)
		{
			char number[32];
			const char *word = wt_doc_text(load, key);

			snprintf(number, sizeof number, "%lld", wt_doc_integer(load, key, 0));
			word = word ? word : number;
			if (!json_object_get(seen, word))
				offer(word, begun);
			json_object_set_new(seen, word, json_true());
		}
	}
	wt_socket_reply_clear(&reply);
	wt_socket_close(&socket);
	json_decref(params);
	json_decref(seen);
}

static void offer_arg(const struct wt_arg *arg, const char *begun)
{
	if (arg->kind == WT_ARG_WORD)
		offer_list(arg->words ? arg->words : wt_words_accepted(arg->list), begun);
	else if (arg->kind == WT_ARG_LOAD)
		offer_from_daemon("load", false, begun);
	else if (strcmp(arg->name, "origin") == 0)
		offer_from_daemon("origin", true, begun);
	else if (strcmp(arg->name, "verb") == 0)
		for (size_t i = 0; i < wt_verbs_count(); i++)
			offer(wt_verbs_table[i].name, begun);
}

static void offer_options(const struct wt_verb *verb, const char *begun)
{
	static const char *const global[] = {"--json", "--socket", "--help", "--version"};
	char option[64];

	for (const struct wt_arg *arg = verb ? verb->options : NULL; arg && arg->name; arg++) {
		snprintf(option, sizeof option, "--%s", arg->name);
		offer(option, begun);
	}
	for (size_t i = 0; i < sizeof global / sizeof *global; i++)
		offer(global[i], begun);
}

static const struct wt_arg *option_named(const struct wt_verb *verb, const char *token)
{
	for (const struct wt_arg *arg = verb ? verb->options : NULL; arg && arg->name; arg++)
		if (strncmp(token, "--", 2) == 0 && strcmp(token + 2, arg->name) == 0 && arg->shown)
			return arg;
	return NULL;
}

int wt_run_complete(int argc, char **argv)
{
	const struct wt_verb *verb = NULL;
	const struct wt_arg *waiting = NULL;
	const char *begun = argc > 0 ? argv[argc - 1] : "";
	size_t words = 0;
	char why[256];

	for (int i = 0; i < argc - 1; i++) {
		if (waiting) {
			waiting = NULL;
		} else if (argv[i][0] == '-') {
			waiting = option_named(verb, argv[i]);
			if (strcmp(argv[i], "--socket") == 0)
				i++;
		} else if (!verb) {
			verb = wt_verbs_find(argv[i], why, sizeof why);
			if (!verb)
				return WT_EXIT_FINE;
		} else {
			words++;
		}
	}
	if (waiting)
		offer_arg(waiting, begun);
	else if (begun[0] == '-')
		offer_options(verb, begun);
	else if (!verb)
		for (size_t i = 0; i < wt_verbs_count(); i++)
			offer(wt_verbs_table[i].name, begun);
	else if (verb->words && words < WT_VERB_WORDS && verb->words[0].name)
		for (size_t i = 0; verb->words[i].name; i++)
			if (i == words)
				offer_arg(&verb->words[i], begun);
	return WT_EXIT_FINE;
}
