/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * One screen for each verb's document (lib/wire/protocol.md).  All write to the
 * page only; times are shown in the zone set by wt_when_zone().
 */
#ifndef WT_CLI_PRINT_H
#define WT_CLI_PRINT_H

#include <jansson.h>

#include "cli/page.h"

void wt_print_tonight(struct wt_page *page, const json_t *result);
void wt_print_act(struct wt_page *page, const json_t *result);
/* What is known of the load now, from the document of `show`. */
void wt_print_act_outlook(struct wt_page *page, const json_t *load);
void wt_print_show(struct wt_page *page, const json_t *result);
void wt_print_loads(struct wt_page *page, const json_t *result);
void wt_print_air(struct wt_page *page, const json_t *result);
void wt_print_plan(struct wt_page *page, const json_t *result);
void wt_print_density(struct wt_page *page, const json_t *result);
void wt_print_what_if(struct wt_page *page, const json_t *result);
void wt_print_review(struct wt_page *page, const json_t *result);
void wt_print_ledger(struct wt_page *page, const json_t *result);
void wt_print_gardens(struct wt_page *page, const json_t *result);
void wt_print_stations(struct wt_page *page, const json_t *result);
void wt_print_health(struct wt_page *page, const json_t *result);
void wt_print_backup(struct wt_page *page, const json_t *result);

/* The event of a room ("air turned wetter at 15:20") as one sentence; nothing when there is none.
 * Returns the rows written. */
int wt_print_event(struct wt_page *page, const json_t *event, double now_unix_s);

#endif /* WT_CLI_PRINT_H */
