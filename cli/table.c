/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "cli/table.h"

#include <assert.h>
#include <stdarg.h>
#include <stdbool.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "cli/memory.h"

enum {
	TABLE_LEAST_FLEXIBLE = 4,
	TABLE_LEAST_BROKEN = 8,
	TABLE_INDENT = 2,
	TABLE_WIDE_TERMINAL = 60
};

struct wt_table wt_table_new(const char *set)
{
	struct wt_table table = {.columns = strlen(set)};

	assert(table.columns <= WT_TABLE_COLUMNS);
	memcpy(table.set, set, table.columns);
	return table;
}

void wt_table_clear(struct wt_table *table)
{
	for (size_t i = 0; i < table->n; i++)
		free(table->cells[i].text);
	free(table->cells);
	table->cells = NULL;
	table->n = 0;
}

void wt_table_add(struct wt_table *table, enum wt_mark mark, const char *text)
{
	table->cells = wt_memory_grow(table->cells, (table->n + 1) * sizeof *table->cells);
	table->cells[table->n].mark = mark;
	table->cells[table->n].text = wt_memory_copy(text ? text : "-");
	table->n++;
}

void wt_table_addf(struct wt_table *table, enum wt_mark mark, const char *format, ...)
{
	char text[512];
	va_list args;

	va_start(args, format);
	vsnprintf(text, sizeof text, format, args);
	va_end(args);
	wt_table_add(table, mark, text);
}

size_t wt_table_rows(const struct wt_table *table)
{
	return table->n / table->columns;
}

/* How the rows are set on a terminal. */
struct layout {
	int widths[WT_TABLE_COLUMNS], gap;
	bool begins[WT_TABLE_COLUMNS]; /* that column begins a further line of its row */
};

/* Where even the column that gives way leaves no room, a row goes on below itself: a figure that is
 * cut says something else.  Gives how much of the first line's width is left. */
static int break_rows(const struct wt_table *table, int width, struct layout *set)
{
	int used = 0, left = 0;
	bool first = true;

	for (size_t c = 0; c < table->columns; c++) {
		int wish = set->widths[c] + (used > 0 ? set->gap : 0);

		set->begins[c] = c > 0 && used + wish > width;
		if (set->begins[c]) {
			first = false;
			used = TABLE_INDENT + set->widths[c];
		} else {
			used += wish;
		}
		if (first)
			left = width - used;
	}
	return left;
}

/* Widths in cells, as this terminal shows the texts. */
static struct layout measure(const struct wt_table *table, const struct wt_page *page)
{
	int width = page->term.width, total = 0, natural = 0;
	struct layout set = {.gap = width >= TABLE_WIDE_TERMINAL ? 2 : 1};
	size_t flexible = table->columns;

	for (size_t i = 0; i < table->n; i++) {
		char shown[512];
		int cells =
			wt_term_copy(&page->term, shown, sizeof shown, width, table->cells[i].text);

		if (cells > set.widths[i % table->columns])
			set.widths[i % table->columns] = cells;
	}
	for (size_t c = 0; c < table->columns; c++) {
		total += set.widths[c] + (c > 0 ? set.gap : 0);
		if (table->set[c] == 'F')
			flexible = c;
	}
	if (flexible < table->columns && total > width) {
		natural = set.widths[flexible];
		set.widths[flexible] -= total - width;
		if (set.widths[flexible] < TABLE_LEAST_FLEXIBLE)
			set.widths[flexible] =
				natural < TABLE_LEAST_BROKEN ? natural : TABLE_LEAST_BROKEN;
	}
	/* What the broken rows leave free in the first line is the garden's again. */
	int left = break_rows(table, width, &set);
	if (natural > 0 && left > 0 && !set.begins[flexible]) {
		set.widths[flexible] += left;
		if (set.widths[flexible] > natural)
			set.widths[flexible] = natural;
	}
	return set;
}

static void print_row(const struct wt_table *table, struct wt_page *page, size_t row,
		      const struct layout *set)
{
	for (size_t c = 0; c < table->columns; c++) {
		const struct wt_table_cell *cell = &table->cells[row * table->columns + c];

		if (set->begins[c]) {
			wt_page_end(page);
			wt_page_gap(page, TABLE_INDENT);
		} else if (c > 0) {
			wt_page_gap(page, set->gap);
		}
		/* A column of no width at all would take what is left. */
		if (set->widths[c] > 0)
			wt_page_cell(page, cell->mark,
				     table->set[c] == 'r' ? -set->widths[c] : set->widths[c],
				     cell->text);
	}
	wt_page_end(page);
}

void wt_table_print(const struct wt_table *table, struct wt_page *page, size_t from, size_t to)
{
	struct layout set = measure(table, page);

	for (size_t row = from; row < to && row < wt_table_rows(table); row++)
		print_row(table, page, row, &set);
}

void wt_table_finish(struct wt_table *table, struct wt_page *page)
{
	wt_table_print(table, page, 0, wt_table_rows(table));
	wt_table_clear(table);
}
