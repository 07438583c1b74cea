/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "cli/plot.h"

#include <math.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>

#include "cli/memory.h"
#include "cli/say.h"

enum { PLOT_LABEL = 5, PLOT_DOTS_X = 2, PLOT_DOTS_Y = 4, PLOT_ROW_TEXT = 2048 };

/* No load lies so long and no clock goes so far: beyond, a document is broken. */
#define PLOT_SPAN_MAX_S (60 * 86400.0)
#define PLOT_TIME_MAX_S 1e11

/* What one cell shows, the strongest first: point, line, band, now, shade. */
struct cell {
	uint8_t dots; /* as in the braille block, U+2800 plus these */
	bool line, band, point, now, shade;
};

struct wt_plot {
	int width, height; /* cells */
	double from_unix_s, to_unix_s, low, high;
	struct cell cells[];
};

struct wt_plot *wt_plot_new(const struct wt_page *page, int rows, double from_unix_s,
			    double to_unix_s, double low, double high)
{
	int width = page->term.width - PLOT_LABEL;
	struct wt_plot *plot;

	if (!(to_unix_s > from_unix_s) || !(high > low) || rows < 2 || width < 4)
		return NULL;
	if (fabs(from_unix_s) > PLOT_TIME_MAX_S || to_unix_s - from_unix_s > PLOT_SPAN_MAX_S)
		return NULL;
	plot = wt_memory_get(1, sizeof *plot + (size_t)(rows * width) * sizeof *plot->cells);
	plot->width = width;
	plot->height = rows;
	plot->from_unix_s = from_unix_s;
	plot->to_unix_s = to_unix_s;
	plot->low = low;
	plot->high = high;
	return plot;
}

void wt_plot_free(struct wt_plot **plot)
{
	free(*plot);
	*plot = NULL;
}

double wt_plot_at(size_t n, const double *at_unix_s, const double *value, double when_unix_s)
{
	size_t low = 0, high = n;
	double share;

	if (n == 0 || when_unix_s < at_unix_s[0] || when_unix_s > at_unix_s[n - 1])
		return NAN;
	while (high - low > 1) {
		size_t middle = low + (high - low) / 2;

		if (at_unix_s[middle] <= when_unix_s)
			low = middle;
		else
			high = middle;
	}
	if (low + 1 >= n || at_unix_s[low] == when_unix_s)
		return value[low];
	share = (when_unix_s - at_unix_s[low]) / (at_unix_s[low + 1] - at_unix_s[low]);
	return value[low] + share * (value[low + 1] - value[low]);
}

/* Time in the middle of a column of dots. */
static double time_of(const struct wt_plot *plot, int x)
{
	double columns = plot->width * PLOT_DOTS_X;

	return plot->from_unix_s + (plot->to_unix_s - plot->from_unix_s) * (x + 0.5) / columns;
}

/* Row of dots from the top; may lie outside the field. */
static int dot_row(const struct wt_plot *plot, double value)
{
	double rows = plot->height * PLOT_DOTS_Y;
	double share = (plot->high - value) / (plot->high - plot->low);

	return (int)floor(fmin(fmax(share, -1.0), 2.0) * (rows - 1) + 0.5);
}

static int dot_column(const struct wt_plot *plot, double at_unix_s)
{
	double share = (at_unix_s - plot->from_unix_s) / (plot->to_unix_s - plot->from_unix_s);

	return (int)floor(fmin(fmax(share, -1.0), 2.0) * plot->width * PLOT_DOTS_X);
}

static struct cell *cell_at(struct wt_plot *plot, int x, int y)
{
	int column = x / PLOT_DOTS_X, row = y / PLOT_DOTS_Y;

	if (x < 0 || y < 0 || column >= plot->width || row >= plot->height)
		return NULL;
	return &plot->cells[row * plot->width + column];
}

static void set_dot(struct wt_plot *plot, int x, int y, bool line)
{
	static const uint8_t bits[PLOT_DOTS_Y][PLOT_DOTS_X] = {
		{0x01, 0x08}, {0x02, 0x10}, {0x04, 0x20}, {0x40, 0x80}};
	struct cell *cell = cell_at(plot, x, y);

	if (!cell)
		return;
	cell->dots |= bits[y % PLOT_DOTS_Y][x % PLOT_DOTS_X];
	if (line)
		cell->line = true;
	else
		cell->band = true;
}

void wt_plot_line(struct wt_plot *plot, size_t n, const double *at_unix_s, const double *value)
{
	int before = 0;
	bool joined = false;

	for (int x = 0; x < plot->width * PLOT_DOTS_X; x++) {
		double here = wt_plot_at(n, at_unix_s, value, time_of(plot, x));
		int y;

		if (!isfinite(here)) {
			joined = false;
			continue;
		}
		y = dot_row(plot, here);
		/* A steep piece is filled so that the curve holds together. */
		for (int k = joined && before < y ? before + 1 : y; k <= y; k++)
			set_dot(plot, x, k, true);
		for (int k = joined && before > y ? before - 1 : y; k >= y; k--)
			set_dot(plot, x, k, true);
		before = y;
		joined = true;
	}
}

void wt_plot_band(struct wt_plot *plot, size_t n, const double *at_unix_s, const double *low,
		  const double *high)
{
	for (int x = 0; x < plot->width * PLOT_DOTS_X; x++) {
		double bottom = wt_plot_at(n, at_unix_s, low, time_of(plot, x));
		double top = wt_plot_at(n, at_unix_s, high, time_of(plot, x));

		if (!isfinite(bottom) || !isfinite(top))
			continue;
		for (int y = dot_row(plot, top); y <= dot_row(plot, bottom); y++)
			if (x % 2 == 0 && y % 2 == 0)
				set_dot(plot, x, y, false);
	}
}

void wt_plot_point(struct wt_plot *plot, double at_unix_s, double value)
{
	struct cell *cell =
		isfinite(value) && isfinite(at_unix_s)
			? cell_at(plot, dot_column(plot, at_unix_s), dot_row(plot, value))
			: NULL;

	if (cell)
		cell->point = true;
}

void wt_plot_shade(struct wt_plot *plot, double low, double high)
{
	if (!(high > low))
		return;
	for (int row = 0; row < plot->height; row++) {
		double step = (plot->high - plot->low) / plot->height;
		double middle = plot->high - (row + 0.5) * step;

		for (int column = 0; column < plot->width && middle >= low && middle <= high;
		     column++)
			plot->cells[row * plot->width + column].shade = true;
	}
}

void wt_plot_now(struct wt_plot *plot, double at_unix_s)
{
	int column = dot_column(plot, at_unix_s) / PLOT_DOTS_X;

	for (int row = 0; row < plot->height && column >= 0 && column < plot->width; row++)
		plot->cells[row * plot->width + column].now = true;
}

static const char *cell_text(const struct cell *cell, bool utf8, char out[static 8])
{
	uint32_t c = 0x2800u + cell->dots;

	if (cell->point)
		return utf8 ? "●" : "o";
	if (cell->dots && !utf8)
		return cell->line ? "*" : ":";
	if (cell->dots) {
		out[0] = (char)(0xE0 | c >> 12);
		out[1] = (char)(0x80 | (c >> 6 & 0x3F));
		out[2] = (char)(0x80 | (c & 0x3F));
		out[3] = '\0';
		return out;
	}
	if (cell->now)
		return utf8 ? "│" : "|";
	if (cell->shade)
		return utf8 ? "░" : ".";
	return " ";
}

static enum wt_mark cell_mark(const struct cell *cell)
{
	if (cell->point)
		return WT_MARK_ALARM;
	if (cell->line)
		return WT_MARK_HEAD;
	if (cell->dots)
		return WT_MARK_NONE;
	return cell->now ? WT_MARK_REST : WT_MARK_FAINT;
}

/* Cells of one look go out together, so that a thin link carries few colour codes. */
static void print_row(const struct wt_plot *plot, struct wt_page *page, int row)
{
	const struct cell *cells = plot->cells + row * plot->width;
	int last = plot->width;

	while (last > 0 && !cells[last - 1].dots && !cells[last - 1].point &&
	       !cells[last - 1].now && !cells[last - 1].shade)
		last--;
	for (int column = 0; column < last;) {
		char text[PLOT_ROW_TEXT] = "";
		size_t used = 0;
		enum wt_mark mark = cell_mark(&cells[column]);

		do {
			char one[8];
			const char *shown = cell_text(&cells[column], page->term.utf8, one);

			used += (size_t)snprintf(text + used, sizeof text - used, "%s", shown);
			column++;
		} while (column < last && cell_mark(&cells[column]) == mark &&
			 used + 8 < sizeof text);
		wt_page_cell(page, mark, 0, text);
	}
	wt_page_end(page);
}

/* Hours between labels: the fewest that leave room for "06h" and a space. */
static int hour_step(const struct wt_plot *plot)
{
	static const int steps[] = {1, 2, 3, 4, 6, 12, 24};
	double cells_an_hour = plot->width * 3600.0 / (plot->to_unix_s - plot->from_unix_s);

	for (size_t i = 0; i < sizeof steps / sizeof *steps; i++)
		if (steps[i] * cells_an_hour >= 5.0)
			return steps[i];
	return 24;
}

static void print_hours(const struct wt_plot *plot, struct wt_page *page)
{
	char row[PLOT_ROW_TEXT];
	int step = hour_step(plot);
	int end = 0;

	memset(row, ' ', (size_t)plot->width);
	row[plot->width] = '\0';
	for (double at = ceil(plot->from_unix_s / 900.0) * 900.0; at < plot->to_unix_s;
	     at += 900.0) {
		time_t moment = (time_t)at;
		struct tm local;
		int column = dot_column(plot, at) / PLOT_DOTS_X;
		char label[16];

		/* Quarter hours, because some zones are off by thirty or forty-five minutes. */
		if (!localtime_r(&moment, &local) || local.tm_min != 0 || local.tm_hour % step != 0)
			continue;
		if (column < end || column + 2 > plot->width)
			continue;
		snprintf(label, sizeof label, "%02d", local.tm_hour);
		memcpy(row + column, label, 2);
		end = column + 3;
	}
	while (plot->width > 0 && row[0] && row[strlen(row) - 1] == ' ')
		row[strlen(row) - 1] = '\0';
	wt_page_gap(page, PLOT_LABEL);
	wt_page_cell(page, WT_MARK_FAINT, 0, row);
	wt_page_end(page);
}

void wt_plot_print(const struct wt_plot *plot, struct wt_page *page, int decimals, bool hours)
{
	for (int row = 0; row < plot->height; row++) {
		double step = (plot->high - plot->low) / plot->height;
		char label[WT_SAY_SIZE] = "";

		/* Labels on every second row, which name the middle of the row. */
		if (row % 2 == 0)
			wt_say_number(label, plot->high - (row + 0.5) * step, decimals, "");
		wt_page_cell(page, WT_MARK_FAINT, -(PLOT_LABEL - 1), label);
		wt_page_gap(page, 1);
		print_row(plot, page, row);
	}
	if (hours)
		print_hours(plot, page);
}
