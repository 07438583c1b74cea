/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * Exports: comma-separated values (RFC 4180 quoting, LF line ends) and JSON.
 */
#ifndef WT_CLI_CSV_H
#define WT_CLI_CSV_H

#include <jansson.h>
#include <stdio.h>

/* One line: the values of an array, empty for null, quoted where they must be, reals with the
 * digits they need. */
void wt_csv_row(FILE *out, const json_t *row);

#endif /* WT_CLI_CSV_H */
