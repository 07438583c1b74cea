/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "tests/cli/phone.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <string.h>

#include <cmocka.h>

#include "cli/term.h"

const struct phone phones[PHONES] = {
	{.name = "utf8",
	 .env = {"LC_ALL=C.UTF-8", "TERM=xterm-256color", "NO_COLOR=", NULL},
	 .colour = true},
	{.name = "no colour", .env = {"LC_ALL=C.UTF-8", "TERM=xterm-256color", "NO_COLOR=1", NULL}},
	{.name = "ascii",
	 .env = {"LC_ALL=C", "TERM=xterm-256color", "NO_COLOR=", NULL},
	 .ascii = true,
	 .colour = true},
	{.name = "dumb", .env = {"LC_ALL=C", "TERM=dumb", "NO_COLOR=", NULL}, .ascii = true},
	{.name = "chinese",
	 .env = {"LC_ALL=zh_CN.UTF-8", "LANGUAGE=", "TERM=xterm-256color", "NO_COLOR=1", NULL},
	 .chinese = true},
};

/* Removes colour codes; anything else that begins with an escape is a fault. */
static void plain(char *text, bool colour_allowed, const char *what)
{
	char *to = text;

	for (const char *p = text; *p; p++) {
		if (*p == '\r')
			continue;
		if (*p == '\033') {
			size_t length = p[1] == '[' ? strspn(p + 2, "0123456789;") : 0;

			if (!colour_allowed || p[1] != '[' || p[2 + length] != 'm')
				fail_msg("%s: an escape that is no colour", what);
			p += 2 + length;
			continue;
		}
		*to++ = *p;
	}
	*to = '\0';
}

int phone_check(char *text, const struct phone *phone, int width, const char *what)
{
	char *save = NULL;
	int rows = 0;

	plain(text, phone->colour, what);
	for (char *row = strtok_r(text, "\n", &save); row; row = strtok_r(NULL, "\n", &save)) {
		rows++;
		if (wt_term_cells(row) > width)
			fail_msg("%s, %s: %d cells: %s", what, phone->name, wt_term_cells(row),
				 row);
		for (const char *p = row; phone->ascii && *p; p++)
			if ((unsigned char)*p > 0x7E)
				fail_msg("%s, %s: not ASCII: %s", what, phone->name, row);
	}
	return rows;
}
