/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * What the daemon says in plain English, in the user's language.
 */
#ifndef WT_CLI_WORDED_H
#define WT_CLI_WORDED_H

#include <jansson.h>
#include <stdbool.h>
#include <stddef.h>

enum { WT_WORDED_SIZE = 700 };

/* The sentence of a note, a concern, a refusal's data: by its "says" where the catalogue knows
 * that, else by its "text", else a sentence for its "code".  text NULL: the member "text".  "-"
 * when there is nothing. */
void wt_worded(char out[static WT_WORDED_SIZE], const json_t *item, const char *text);

/* A note that may be a bare code. */
void wt_worded_note(char out[static WT_WORDED_SIZE], const json_t *note);

/* Several clauses in one sentence ("why_says"); false when the catalogue does not have them all. */
bool wt_worded_clauses(char out[static WT_WORDED_SIZE], const json_t *clauses);

#endif /* WT_CLI_WORDED_H */
