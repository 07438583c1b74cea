/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * The terminals a maker may have, and what every screen must keep to on each.
 */
#ifndef WT_TESTS_CLI_PHONE_H
#define WT_TESTS_CLI_PHONE_H

#include <stdbool.h>

struct phone {
	const char *name;
	const char *env[6];
	bool ascii, colour, chinese;
};
enum { PHONES = 5 };
extern const struct phone phones[PHONES];

/* Checks what stood on a terminal: no row wider, ASCII where only that is shown, no escape but
 * colours where those are allowed.  Takes the colours out of text; gives the number of rows. */
int phone_check(char *text, const struct phone *phone, int width, const char *what);

#endif /* WT_TESTS_CLI_PHONE_H */
