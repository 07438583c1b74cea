/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * What a mistyped or shortened word was meant to be.
 */
#ifndef WT_CLI_SUGGEST_H
#define WT_CLI_SUGGEST_H

#include <stddef.h>

/* Edits between two words: one letter put in, left out, exchanged, or two neighbours swapped
 * (restricted Damerau-Levenshtein distance).  Words beyond 63 bytes count as far apart. */
int wt_suggest_distance(const char *a, const char *b);

/* Index of the word that `given` names: exactly, or as a beginning that no other word has.
 * WT_SUGGEST_NONE when no word begins so, WT_SUGGEST_MANY when several do. */
enum { WT_SUGGEST_NONE = -1, WT_SUGGEST_MANY = -2 };
int wt_suggest_prefix(const char *given, const char *const *words, size_t n);

/* Index of the nearest word, two edits away at most (one for words under five letters), or
 * WT_SUGGEST_NONE. */
int wt_suggest_nearest(const char *given, const char *const *words, size_t n);

#endif /* WT_CLI_SUGGEST_H */
