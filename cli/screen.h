/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * Rows as they stand on a terminal, so that only what changed in them is sent.
 */
#ifndef WT_CLI_SCREEN_H
#define WT_CLI_SCREEN_H

#include <stdio.h>

enum { WT_SCREEN_ROWS = 200 };

struct wt_screen {
	char *rows[WT_SCREEN_ROWS]; /* NULL: not known */
};

/* Forgets what stands there: the next time all is sent. */
void wt_screen_forget(struct wt_screen *screen);

/* Sends what must change for rows 1..height to hold text, rows ended by '\n' (cut at the newlines
 * in place).  Text may hold colours (ESC [ .. m) that end in a row with ESC [ 0 m. */
void wt_screen_show(struct wt_screen *screen, FILE *out, char *text, int height);

#endif /* WT_CLI_SCREEN_H */
