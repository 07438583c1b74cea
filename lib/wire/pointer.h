/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * JSON Pointer, RFC 6901.
 */
#ifndef WT_WIRE_POINTER_H
#define WT_WIRE_POINTER_H

#include <jansson.h>
#include <stdbool.h>

/* True when text is a well-formed pointer: empty, or starting with '/', '~' only as ~0 or ~1. */
bool wt_pointer_valid(const char *text);

/* The value a pointer leads to, borrowed from document, or NULL when there is none. */
const json_t *wt_pointer_get(const json_t *document, const char *pointer);

#endif /* WT_WIRE_POINTER_H */
