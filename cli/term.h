/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * The terminal as it is: how wide, which characters, colour or not.  Also the
 * width of text in terminal cells, where a Chinese character takes two.
 */
#ifndef WT_CLI_TERM_H
#define WT_CLI_TERM_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>

struct wt_term {
	int width;   /* cells in a row, 20 at least */
	int height;  /* rows; 0: no limit, the output is no terminal */
	bool utf8;   /* else plain ASCII only */
	bool colour; /* a terminal, NO_COLOR unset, TERM not "dumb" */
};

/* Takes the user's locale for characters and messages (never for numbers).  A UTF-8 locale that
 * the machine lacks is replaced by C.UTF-8, so that text still comes out right.  Call once. */
void wt_term_locale(void);

/* Looks at the stream: size by ioctl, else COLUMNS and LINES, else 80 columns without limit. */
void wt_term_detect(struct wt_term *out, FILE *stream);

/* Reads one character of UTF-8 and moves *text behind it; 0xFFFD for a malformed byte, a space for
 * a control character (its sense is lost, its harm too).  0 at the end. */
uint32_t wt_term_next(const char **text);

/* Cells one character takes: 0, 1 or 2. */
int wt_term_char_cells(uint32_t character);

/* Cells the text takes on a row. */
int wt_term_cells(const char *text);

/* Copies text as this terminal may show it: control characters replaced, non-ASCII put into ASCII
 * where it must be, at most `cells` wide and closed by an ellipsis when cut.  Returns its cells.
 * The result always fits in size and is terminated. */
int wt_term_copy(const struct wt_term *term, char *out, size_t size, int cells, const char *text);

#endif /* WT_CLI_TERM_H */
