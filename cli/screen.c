/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "cli/screen.h"

#include <stdbool.h>
#include <stdlib.h>
#include <string.h>

#include "cli/term.h"

void wt_screen_forget(struct wt_screen *screen)
{
	for (size_t i = 0; i < WT_SCREEN_ROWS; i++) {
		free(screen->rows[i]);
		screen->rows[i] = NULL;
	}
}

/* One step through a row: a colour or a character.  plain: no colour is on behind it. */
static const char *step(const char *p, int *cells, bool *plain)
{
	if (p[0] == '\033' && p[1] == '[') {
		const char *end = p + 2 + strspn(p + 2, "0123456789;");

		*plain = end - p == 3 && p[2] == '0';
		return *end ? end + 1 : end;
	}
	*cells += wt_term_char_cells(wt_term_next(&p));
	return p;
}

static int cells_of(const char *row)
{
	int cells = 0;
	bool plain = true;

	while (*row)
		row = step(row, &cells, &plain);
	return cells;
}

/* How much of both rows is the same at their beginning, up to a place where no colour is on and
 * whole characters end; its cells. */
static size_t same_begin(const char *a, const char *b, int *cells)
{
	const char *p = a;
	size_t same = 0;
	int width = 0;
	bool plain = true;

	*cells = 0;
	while (*p) {
		const char *next = step(p, &width, &plain);
		size_t length = (size_t)(next - a);

		if (strncmp(a, b, length) != 0)
			break;
		if (plain) {
			same = length;
			*cells = width;
		}
		p = next;
	}
	return same;
}

/* How much of b, from `begin` on, must be sent: what follows is the same in a and stands at the
 * same cell, with no colour on. */
static size_t needed(const char *a, const char *b, size_t begin)
{
	const char *p = b + begin;
	size_t need = strlen(p), length_a = strlen(a);
	int cells = 0;
	bool plain = true;

	/* Only rows of the same width have an end that stays where it was. */
	if (cells_of(a) != cells_of(b))
		return need;
	while (*p) {
		size_t rest;

		p = step(p, &cells, &plain);
		rest = strlen(p);
		if (plain && rest <= length_a - begin && strcmp(a + length_a - rest, p) == 0)
			return (size_t)(p - (b + begin));
	}
	return need;
}

static void change_row(FILE *out, size_t row, const char *before, const char *after)
{
	int column = 0;
	size_t begin = before ? same_begin(before, after, &column) : 0;
	size_t length = before ? needed(before, after, begin) : strlen(after);
	bool shorter = !before || cells_of(after) < cells_of(before);

	fprintf(out, "\033[%zu;%dH%.*s%s", row, column + 1, (int)length, after + begin,
		shorter ? "\033[K" : "");
}

void wt_screen_show(struct wt_screen *screen, FILE *out, char *text, int height)
{
	char *row = text;

	for (size_t i = 0; i < WT_SCREEN_ROWS && (int)i < height; i++) {
		char *end = row ? strchr(row, '\n') : NULL;

		if (end)
			*end = '\0';
		const char *wish = row && *row ? row : "";

		if (!screen->rows[i] || strcmp(screen->rows[i], wish) != 0) {
			change_row(out, i + 1, screen->rows[i], wish);
			free(screen->rows[i]);
			screen->rows[i] = strdup(wish);
		}
		row = end ? end + 1 : NULL;
	}
	fflush(out);
}
