/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * A sentence and what it was made of, so that whoever reads it may put it into another language:
 * the daemon's format as it stands in the source, and each thing said in it as text.
 */
#ifndef WT_WIRE_SAYS_H
#define WT_WIRE_SAYS_H

#include <jansson.h>
#include <stdarg.h>
#include <stdbool.h>
#include <stddef.h>

/* Room for one sentence taken apart (our choice); what does not fit is cut at its end. */
enum { WT_SAYS_SIZE = 900, WT_SAYS_MOST = 9 };

/* A format of printf and its values, taken apart.  Conversions: d i u x c s g f e, with flags,
 * width, precision and the lengths l ll z; '*' too.  Control characters in values become '?'. */
void wt_says_take(char says[static WT_SAYS_SIZE], const char *format, va_list values);
void wt_says_make(char says[static WT_SAYS_SIZE], const char *format, ...)
	__attribute__((format(printf, 2, 3)));

/* The sentence as printf would have written it. */
void wt_says_text(const char *says, char *out, size_t size);

/* [format, value, ...]; NULL when out of memory or when nothing was taken. */
json_t *wt_says_json(const char *says);

/* The sentence again, by a format of the same conversions in any language; "%2$s" takes the second
 * value.  Each value stands as it was written, whatever the conversion says, or as word() puts it;
 * quoted tells it that the value stands in quotation marks: it is then the user's own and not to be
 * translated.  word may be NULL.  false when says is no such list or the format asks for a value
 * that is not there; out is "" then. */
typedef void wt_says_word(const char *value, bool quoted, char out[static WT_SAYS_SIZE]);
bool wt_says_fill(const json_t *says, const char *format, wt_says_word *word, char *out,
		  size_t size);

/* Marks a word or sentence that is said as a value, so that it can be translated too. */
#define WT_SAYS_WORD(text) text

#endif /* WT_WIRE_SAYS_H */
