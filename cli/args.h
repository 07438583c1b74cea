/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * From the words typed to a call: the verb and its parameters as JSON.
 */
#ifndef WT_CLI_ARGS_H
#define WT_CLI_ARGS_H

#include <jansson.h>
#include <stdbool.h>
#include <stddef.h>

#include "cli/verbs.h"

struct wt_command {
	const struct wt_verb *verb;
	json_t *params;     /* owned */
	const char *socket; /* borrowed; NULL when not given */
	bool json, csv, help, version;
	bool new_garden; /* the origin is taken as typed */
	bool needs_load; /* LOAD was left out; the verb's load_default says which is meant */
};

/* Reads argv (without the program's name).  false with a sentence in why; *out then needs no
 * clearing. */
bool wt_args_parse(int argc, char **argv, struct wt_command *out, char *why, size_t why_size);
void wt_args_clear(struct wt_command *call);

#endif /* WT_CLI_ARGS_H */
