/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "fuzz.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

const struct fuzz_part fuzz_parts[] = {
	{"config", fuzz_config},
	{"payload", fuzz_payload},
	{"journal", fuzz_journal},
	{"rpc", fuzz_rpc},
	{"outlook", fuzz_outlook},
	{"times", fuzz_times},
	{NULL, NULL},
};

const struct fuzz_part *fuzz_find(const char *name)
{
	for (const struct fuzz_part *part = fuzz_parts; part->name; part++) {
		if (!strcmp(part->name, name))
			return part;
	}
	return NULL;
}

void fuzz_require(int holds, const char *what)
{
	if (holds)
		return;
	(void)fprintf(stderr, "does not hold: %s\n", what);
	abort();
}

void fuzz_require_printable(const char *text, int line_ends)
{
	for (const unsigned char *c = (const unsigned char *)text; *c; c++)
		fuzz_require((*c >= 0x20 && *c != 0x7f) || (line_ends && *c == '\n'),
			     "messages hold no control characters");
}
