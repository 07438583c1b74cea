/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * How well the bands of a replayed season held, and the noise that would have
 * made them right.
 */
#ifndef WT_DAEMON_CALIBRATE_H
#define WT_DAEMON_CALIBRATE_H

#include <jansson.h>
#include <stdio.h>

#include "daemon/store.h"

/* forecast_rows: rows with the keys of the export, in order of issue; closings: records of closed
 * loads, later ones of a load replace earlier ones.  Outcomes are the final posterior's; loads
 * nobody weighed are left out.  New reference:
 * {"loads","groups":[{"name","n","median_abs_err_min","bias_min","coverage_50_pct",
 *   "coverage_80_pct","band_factor"}],"drift_per_sqrt_h":{"now","right"}}.
 * band_factor: what the half widths of the 80 % bands must be multiplied by so that they cover
 * 80 %; null with fewer than 20 forecasts.  Forecasts lie 2 to 14 h before the outcome. */
json_t *wt_calibrate_rows(const json_t *forecast_rows, const json_t *closings);

/* Prints such a report as a table. */
void wt_calibrate_print(const json_t *report, FILE *out);

/* Both from a database.  0, or -1 when it cannot be read. */
int wt_calibrate_store(struct wt_store *store, FILE *out);

#endif /* WT_DAEMON_CALIBRATE_H */
