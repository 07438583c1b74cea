/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * Which garden was meant by a name that may be a beginning or a slip.
 */
#ifndef WT_CLI_ORIGIN_H
#define WT_CLI_ORIGIN_H

#include <jansson.h>
#include <stddef.h>

/* loads: rows of the verb `loads`.  Gives the one known origin that begins as `typed` does
 * (borrowed from loads), or `typed` itself: when it is known, when none or several begin so, or
 * when it ends in a digit, because hill 1 is not short for hill 10.  *near is set to a known origin
 * that differs by a slip, else NULL. */
const char *wt_origin_meant(const char *typed, const json_t *loads, const char **near);

#endif /* WT_CLI_ORIGIN_H */
