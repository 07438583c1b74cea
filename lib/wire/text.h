/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * Text from outside: made safe to print, compared with what was meant.
 */
#ifndef WT_WIRE_TEXT_H
#define WT_WIRE_TEXT_H

#include <stdbool.h>
#include <stddef.h>

/* Copies text of length bytes into out (always terminated).  Control characters (C0, DEL, C1),
 * bytes that are not UTF-8 and characters that turn the direction of writing become '?'.  What does
 * not fit is cut at a whole character and ends in "...".  out_size at least 8. */
void wt_text_clean(const char *text, size_t length, char *out, size_t out_size);

/* Drops the part of a character that a cut by bytes left at the end. */
void wt_text_mend_end(char *text);

/* True when text is UTF-8 that wt_text_clean() would leave as it is. */
bool wt_text_is_clean(const char *text, size_t length);

/* The entry of accepted (NULL-terminated) nearest to given, case ignored, or NULL when none is near
 * enough to be meant: one that begins with given (3 letters or more), else at most 1 edit for 3
 * letters or fewer and 2 for more (our choice). */
const char *wt_text_nearest(const char *given, const char *const *accepted);

/* Equal, '-' and '_' taken for the same. */
bool wt_text_same_name(const char *a, const char *b);

#endif /* WT_WIRE_TEXT_H */
