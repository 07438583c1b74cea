/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * Every verb of the program: its words, options, printer, help and example.
 * The one table that parsing, help and completion read.
 */
#ifndef WT_CLI_VERBS_H
#define WT_CLI_VERBS_H

#include <jansson.h>
#include <stdbool.h>
#include <stddef.h>

#include "cli/page.h"
#include "cli/units.h"
#include "lib/words.h"

struct wt_command;

enum wt_arg_kind {
	WT_ARG_TEXT,
	WT_ARG_WORD,     /* from a closed list: `words`, or `list` of lib/words.h */
	WT_ARG_LOAD,     /* 7 or #7 */
	WT_ARG_QUANTITY, /* a number, perhaps with a unit */
	WT_ARG_BED,      /* 4m2 or 3trays: becomes the parameter area or trays */
	WT_ARG_TIME,
	WT_ARG_FILE,  /* made absolute */
	WT_ARG_FLAG,  /* takes no value */
	WT_ARG_LOCAL, /* a flag for this program alone, not sent */
};

struct wt_arg {
	const char *name;  /* parameter and long option */
	const char *shown; /* its value in help: KG, TIME, ...; NULL for flags */
	enum wt_arg_kind kind;
	enum wt_quantity quantity;
	const char *words; /* "a, b, c"; NULL: `list` holds */
	enum wt_words list;
	const char *help; /* translatable */
};

/* Which load is meant when none is named. */
enum wt_load_default {
	WT_LOAD_NAMED, /* it must be named */
	WT_LOAD_LAST,  /* a question: the load spread last that is still open */
	WT_LOAD_ONLY,  /* an act: the one open load, refused when there are several */
};

enum { WT_VERB_WORDS = 4, WT_VERB_OPTIONS = 16 };

struct wt_verb {
	const char *name;
	const struct wt_arg *words;   /* positional; ends with a NULL name */
	const struct wt_arg *options; /* ends with a NULL name */
	size_t least_words;
	const char *needs; /* options, "a, b", one of which must be given; NULL: none */
	enum wt_load_default load_default;
	double deadline_s;
	void (*print)(struct wt_page *page, const json_t *result);
	int (*run)(const struct wt_command *call); /* NULL: ask, then print */
	const char *summary;                       /* translatable, a few words */
	const char *help;                          /* translatable */
	const char *example;                       /* a command that works */
};

extern const struct wt_verb wt_verbs_table[];
size_t wt_verbs_count(void);

/* The verb named, exactly or by a beginning that no other has; NULL with a sentence in why. */
const struct wt_verb *wt_verbs_find(const char *name, char *why, size_t why_size);

#endif /* WT_CLI_VERBS_H */
