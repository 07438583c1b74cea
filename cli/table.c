/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "cli/table.h"

#include <assert.h>
#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "cli/memory.h"

enum { TABLE_LEAST_FLEXIBLE = 4, TABLE_WIDE_TERMINAL = 60 };

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

/* Widths in cells, as this terminal shows the texts; gives the gap between columns. */
static int measure(const struct wt_table *table, const struct wt_page *page, int *widths)
{
	int total = 0, gap = page->term.width >= TABLE_WIDE_TERMINAL ? 2 : 1;
	size_t flexible = table->columns;

	memset(widths, 0, sizeof *widths * WT_TABLE_COLUMNS);
	for (size_t i = 0; i < table->n; i++) {
		char shown[512];
		int width = wt_term_copy(&page->term, shown, sizeof shown, page->term.width,
					 table->cells[i].text);

		if (width > widths[i % table->columns])
			widths[i % table->columns] = width;
	}
	for (size_t c = 0; c < table->columns; c++) {
		total += widths[c] + (c > 0 ? gap : 0);
		if (table->set[c] == 'F')
			flexible = c;
	}
	if (flexible < table->columns && total > page->term.width) {
		widths[flexible] -= total - page->term.width;
		if (widths[flexible] < TABLE_LEAST_FLEXIBLE)
			widths[flexible] = TABLE_LEAST_FLEXIBLE;
	}
	return gap;
}

void wt_table_print(const struct wt_table *table, struct wt_page *page, size_t from, size_t to)
{
	int widths[WT_TABLE_COLUMNS];
	int gap = measure(table, page, widths);

	for (size_t row = from; row < to && row < wt_table_rows(table); row++) {
		for (size_t c = 0; c < table->columns; c++) {
			const struct wt_table_cell *cell = &table->cells[row * table->columns + c];

			if (c > 0)
				wt_page_gap(page, gap);
			/* A column of no width at all would take what is left. */
			if (widths[c] > 0)
				wt_page_cell(page, cell->mark,
					     table->set[c] == 'r' ? -widths[c] : widths[c],
					     cell->text);
		}
		wt_page_end(page);
	}
}

void wt_table_finish(struct wt_table *table, struct wt_page *page)
{
	wt_table_print(table, page, 0, wt_table_rows(table));
	wt_table_clear(table);
}
