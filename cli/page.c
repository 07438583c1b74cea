/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "cli/page.h"

#include <stdarg.h>
#include <stdlib.h>
#include <string.h>

enum { PAGE_TEXT = 2048 };

/* Our own choice of colours; each is beside a word that says the same. */
static const char *const mark_codes[] = {
	[WT_MARK_NONE] = NULL, [WT_MARK_HEAD] = "1",     [WT_MARK_FIRE] = "1;33",
	[WT_MARK_REST] = "36", [WT_MARK_ALARM] = "1;31", [WT_MARK_FAINT] = "2",
};

void wt_page_open(struct wt_page *page, FILE *out, const struct wt_term *term)
{
	memset(page, 0, sizeof *page);
	page->out = out;
	page->term = *term;
}

struct wt_page wt_page_dry(const struct wt_page *page)
{
	struct wt_page dry = *page;

	dry.dry = true;
	dry.rows = 0;
	return dry;
}

static void put_marked(struct wt_page *page, enum wt_mark mark, const char *text)
{
	if (!*text || page->dry)
		return;
	fprintf(page->out, "%*s", page->pending, "");
	page->pending = 0;
	if (page->term.colour && mark_codes[mark])
		fprintf(page->out, "\033[%sm%s\033[0m", mark_codes[mark], text);
	else
		fputs(text, page->out);
}

void wt_page_gap(struct wt_page *page, int cells)
{
	page->pending += cells;
	page->used += cells;
}

void wt_page_cell(struct wt_page *page, enum wt_mark mark, int cells, const char *text)
{
	char shown[PAGE_TEXT];
	int left = page->term.width - page->used;
	int wish = cells < 0 ? -cells : cells;
	int width;

	if (left <= 0)
		return;
	if (wish == 0 || wish > left)
		wish = left;
	width = wt_term_copy(&page->term, shown, sizeof shown, wish, text);
	if (cells < 0)
		wt_page_gap(page, wish - width);
	put_marked(page, mark, shown);
	page->used += width;
	if (cells > 0)
		wt_page_gap(page, wish - width);
}

void wt_page_cellf(struct wt_page *page, enum wt_mark mark, int cells, const char *format, ...)
{
	char text[PAGE_TEXT];
	va_list args;

	va_start(args, format);
	vsnprintf(text, sizeof text, format, args);
	va_end(args);
	wt_page_cell(page, mark, cells, text);
}

void wt_page_end(struct wt_page *page)
{
	if (!page->dry)
		fputc('\n', page->out);
	page->used = 0;
	page->pending = 0;
	page->rows++;
}

void wt_page_row(struct wt_page *page, enum wt_mark mark, const char *format, ...)
{
	char text[PAGE_TEXT];
	va_list args;

	va_start(args, format);
	vsnprintf(text, sizeof text, format, args);
	va_end(args);
	wt_page_text(page, mark, 2, text);
}

/* Bytes of text that fit into `cells`, broken where a line may be broken. */
static size_t fit(const struct wt_term *term, const char *text, int cells)
{
	const char *p = text;
	size_t break_at = 0;
	int width = 0;
	uint32_t c, before = 0;

	for (;;) {
		const char *start = p;
		int one;

		c = wt_term_next(&p);
		if (!c)
			return (size_t)(start - text);
		one = term->utf8 ? wt_term_char_cells(c) : 1;
		/* Closing marks of Chinese never begin a row. */
		bool closes = c == 0x3002 || c == 0xFF0C || c == 0x3001 || c == 0xFF1B ||
			      c == 0xFF1A || c == 0xFF09;

		if (c == ' ' || (before > 0x2E80 && !closes))
			break_at = (size_t)(start - text);
		if (width + one > cells)
			return break_at ? break_at : (size_t)(start - text);
		width += one;
		before = c;
	}
}

void wt_page_text(struct wt_page *page, enum wt_mark mark, int indent, const char *text)
{
	int rows = 0, first = page->used;

	do {
		char row[PAGE_TEXT];
		int margin = rows == 0 ? first : indent;
		int room = page->term.width - margin;
		size_t length = fit(&page->term, text, room > 4 ? room : 4);

		if (length == 0 && *text)
			length = 1;
		if (length >= sizeof row)
			length = sizeof row - 1;
		memcpy(row, text, length);
		row[length] = '\0';
		if (rows > 0)
			wt_page_gap(page, indent);
		wt_page_cell(page, mark, 0, row);
		wt_page_end(page);
		text += length;
		while (*text == ' ')
			text++;
		rows++;
	} while (*text);
}

void wt_page_textf(struct wt_page *page, enum wt_mark mark, int indent, const char *format, ...)
{
	char text[PAGE_TEXT];
	va_list args;

	va_start(args, format);
	vsnprintf(text, sizeof text, format, args);
	va_end(args);
	wt_page_text(page, mark, indent, text);
}

void wt_page_fact(struct wt_page *page, int cells, const char *label, const char *format, ...)
{
	char text[PAGE_TEXT];
	va_list args;

	va_start(args, format);
	vsnprintf(text, sizeof text, format, args);
	va_end(args);
	wt_page_cell(page, WT_MARK_FAINT, cells, label);
	wt_page_gap(page, 1);
	wt_page_text(page, WT_MARK_NONE, cells + 1, text);
}
