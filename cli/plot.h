/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * A curve over time in a terminal: braille dots, or plain characters where the
 * terminal has no others.  Band sparse, middle solid, points marked, a range of
 * values shaded, now as an upright line, local hours below.
 */
#ifndef WT_CLI_PLOT_H
#define WT_CLI_PLOT_H

#include <stdbool.h>
#include <stddef.h>

#include "cli/page.h"

struct wt_plot;

/* A field for from..to (unix seconds) and low..high, as wide as the page, `rows` high; to be freed.
 * NULL when memory ran out, a range is empty or the time is longer than 60 days. */
struct wt_plot *wt_plot_new(const struct wt_page *page, int rows, double from_unix_s,
			    double to_unix_s, double low, double high);
void wt_plot_free(struct wt_plot **plot);

/* Curves are given as n values at times of which each is later than the one before.  Between two
 * known values the curve is straight; beside an unknown one (NAN) it has a gap. */
void wt_plot_line(struct wt_plot *plot, size_t n, const double *at_unix_s, const double *value);
void wt_plot_band(struct wt_plot *plot, size_t n, const double *at_unix_s, const double *low,
		  const double *high);
void wt_plot_point(struct wt_plot *plot, double at_unix_s, double value);
void wt_plot_shade(struct wt_plot *plot, double low, double high);
void wt_plot_now(struct wt_plot *plot, double at_unix_s);

/* Prints the field with labels of so many decimals; hours: with the row of local hours. */
void wt_plot_print(const struct wt_plot *plot, struct wt_page *page, int decimals, bool hours);

/* The value at a time by straight lines between the known ones; NAN outside or in a gap. */
double wt_plot_at(size_t n, const double *at_unix_s, const double *value, double when_unix_s);

#endif /* WT_CLI_PLOT_H */
