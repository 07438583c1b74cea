/* SPDX-License-Identifier: GPL-3.0-or-later */
#include <stdlib.h>
#include <string.h>

#include "fuzz.h"
#include "lib/wire/journal.h"

void fuzz_journal(const uint8_t *data, size_t size)
{
	struct wt_journal_entry entry, back;
	char why[256] = "", *line, *again;

	if (!wt_journal_parse((const char *)data, size, &entry, why, sizeof why)) {
		fuzz_require(why[0] != '\0', "a refused line is told why");
		fuzz_require_printable(why, 0);
		return;
	}
	line = wt_journal_format(&entry);
	fuzz_require(line && !strchr(line, '\n'), "an entry is written on one line");
	fuzz_require(wt_journal_parse(line, strlen(line), &back, why, sizeof why),
		     "what is written reads back");
	again = wt_journal_format(&back);
	fuzz_require(again && !strcmp(line, again), "and is the same");
	wt_journal_clear(&entry);
	wt_journal_clear(&back);
	free(line);
	free(again);
}
