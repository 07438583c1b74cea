/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * Base64 with padding, RFC 4648 section 4.
 */
#ifndef WT_WIRE_BASE64_H
#define WT_WIRE_BASE64_H

#include <stddef.h>

/* Malloc'd text; NULL when out of memory. */
char *wt_base64_encode(const void *bytes, size_t length);

/* Malloc'd bytes with a 0 after them; NULL when text is not canonical base64 or out of memory. */
char *wt_base64_decode(const char *text, size_t *length);

#endif /* WT_WIRE_BASE64_H */
