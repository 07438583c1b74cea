/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * Parts of the salt jar's screens.
 */
#ifndef WT_CLI_PRINT_JAR_H
#define WT_CLI_PRINT_JAR_H

#include <jansson.h>

#include "cli/page.h"

/* How a jar is made and what the station (a row of `stations`) shows now; effect: "rh_effect". */
void wt_print_jar_guide(struct wt_page *page, const json_t *station, const json_t *effect);
/* What it showed in the last hour, and whether that is steady. */
void wt_print_jar_hour(struct wt_page *page, const json_t *station);
/* The line it is corrected by, when there is one; salt: of a station's row. */
void wt_print_jar_line(struct wt_page *page, const json_t *salt);
/* What follows the act of a check. */
void wt_print_jar_result(struct wt_page *page, const json_t *result);
/* Food hygiene, and what the room lacks meanwhile. */
void wt_print_jar_cautions(struct wt_page *page);

#endif /* WT_CLI_PRINT_JAR_H */
