/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * Rows on a screen.  No row is ever wider than the terminal: a cell that does
 * not fit is closed by an ellipsis, a sentence is broken between words.  Colour
 * is added here, and only here, so that it never carries meaning alone.
 */
#ifndef WT_CLI_PAGE_H
#define WT_CLI_PAGE_H

#include <stdbool.h>
#include <stdio.h>

#include "cli/term.h"

enum wt_mark {
	WT_MARK_NONE,
	WT_MARK_HEAD,  /* headings, the answer */
	WT_MARK_FIRE,  /* fire it tonight, now */
	WT_MARK_REST,  /* it may rest until morning */
	WT_MARK_ALARM, /* stale, past, broken */
	WT_MARK_FAINT, /* asides */
};

struct wt_page {
	FILE *out;
	struct wt_term term;
	int rows;    /* rows written so far */
	int used;    /* cells of the row being built */
	int pending; /* spaces not yet written */
	bool dry;    /* counts rows, writes nothing */
};

void wt_page_open(struct wt_page *page, FILE *out, const struct wt_term *term);

/* A page like this one that writes nothing and counts its rows from 0. */
struct wt_page wt_page_dry(const struct wt_page *page);

/* Adds text to the row, `cells` wide: positive sets it left, negative right, 0 takes what the text
 * needs.  Cut to what is left of the row. */
void wt_page_cell(struct wt_page *page, enum wt_mark mark, int cells, const char *text);
void wt_page_cellf(struct wt_page *page, enum wt_mark mark, int cells, const char *format, ...)
	__attribute__((format(printf, 4, 5)));
void wt_page_gap(struct wt_page *page, int cells);
void wt_page_end(struct wt_page *page);

/* A whole row at once; it goes on below when the terminal is too narrow for it. */
void wt_page_row(struct wt_page *page, enum wt_mark mark, const char *format, ...)
	__attribute__((format(printf, 3, 4)));

/* A sentence, broken between words into as many rows as it needs; `indent` cells before each row
 * but the first.  Chinese is broken between any two characters. */
void wt_page_text(struct wt_page *page, enum wt_mark mark, int indent, const char *text);
void wt_page_textf(struct wt_page *page, enum wt_mark mark, int indent, const char *format, ...)
	__attribute__((format(printf, 4, 5)));

/* "Label   value" with the label set to `cells`. */
void wt_page_fact(struct wt_page *page, int cells, const char *label, const char *format, ...)
	__attribute__((format(printf, 4, 5)));

#endif /* WT_CLI_PAGE_H */
