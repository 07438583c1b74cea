/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * Columns set from the rows shown: each as wide as its widest cell, and one
 * that gives way when the terminal is narrow.  Where that is not enough a row
 * goes on in a further line.
 */
#ifndef WT_CLI_TABLE_H
#define WT_CLI_TABLE_H

#include <stddef.h>

#include "cli/page.h"

enum { WT_TABLE_COLUMNS = 10 };

struct wt_table {
	size_t columns;
	char set[WT_TABLE_COLUMNS + 1]; /* 'l' left, 'r' right, 'F' left and giving way */
	size_t n;                       /* cells, row by row */
	struct wt_table_cell {
		enum wt_mark mark;
		char *text; /* owned; NULL when memory ran out, shown as nothing */
	} * cells;
};

/* set: one letter a column.  To be cleared. */
struct wt_table wt_table_new(const char *set);
void wt_table_clear(struct wt_table *table);

/* The next cell; text is copied, NULL is "-". */
void wt_table_add(struct wt_table *table, enum wt_mark mark, const char *text);
void wt_table_addf(struct wt_table *table, enum wt_mark mark, const char *format, ...)
	__attribute__((format(printf, 3, 4)));

size_t wt_table_rows(const struct wt_table *table);
/* Rows from..to-1, set by all rows of the table. */
void wt_table_print(const struct wt_table *table, struct wt_page *page, size_t from, size_t to);
/* The whole table, which is then cleared. */
void wt_table_finish(struct wt_table *table, struct wt_page *page);

#endif /* WT_CLI_TABLE_H */
