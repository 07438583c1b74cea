/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * An evening of work on a phone, in each kind of terminal: every verb, what it
 * answers and what it refuses, with the real programs.  No row may be too wide,
 * and where Chinese is spoken, Chinese must come.
 */
#include <locale.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include <cmocka.h>

#include "cli/verbs.h"
#include "tests/cli/phone.h"
#include "tests/cli/workshop.h"

static struct workshop workshop;

/* In order.  %1$d and %2$d are the two loads that the evening begins with. */
static const struct {
	const char *words;
	int code;
} evening[] = {
	{"spread 'ridge garden of the upper terrace' 12.4kg 4m2 --grade young --price 60", 0},
	{"spread creek 9kg 2m2 --wet damp", 0},
	{"weigh %1$d 12.1", 0},
	{"feel %1$d crisp", 0},
	{"turn %1$d 5m2 --fan on", 0},
	{"undo", 0},
	{"tonight", 0},
	{"show %1$d", 0},
	{"loads", 0},
	{"air", 0},
	{"plan", 0},
	{"density creek 12kg --ready-by 23:00", 0},
	{"what-if %1$d --area 9m2 --fan --warmer 2", 0},
	{"fix %1$d --part 3kg --minutes 20", 0},
	{"fix %1$d --kg 8.1", 0},
	{"yield %1$d --made 2.6kg --yellow 90g", 0},
	{"drop %2$d --why 'rain came through the roof and it soured over night'", 0},
	{"show %2$d", 0},
	{"style green --ready-from 15", 0},
	{"undo", 0},
	{"salt loft", 0},
	{"salt loft NaCl --rh 78", 0},
	{"stations", 0},
	{"loads --all", 0},
	{"review", 0},
	{"ledger", 0},
	{"gardens", 0},
	{"backup %3$s/copy-%1$d.db", 0},
	{"help", 0},
	{"help density", 0},
	{"--version", 0},
	{"health", 0},
	/* What is refused. */
	{"wiegh 7 10", 2},
	{"weigh 9999 10", 2},
	{"weigh %1$d 10", 1},
	{"spread creek lots 4m2", 2},
	{"spread creek 12", 2},
	{"spread creek -1 4m2", 2},
	{"spread creek 5 4m2 --room attic", 2},
	{"spread creek 5 4m2 --at 2199-01-01T00:00:00Z", 2},
	{"spread creek 5 4m2 --flavour strong", 2},
	{"feel %1$d happy", 2},
	{"show 9999", 2},
	{"drop %1$d", 2},
	{"style jam --accept", 2},
	{"style green --accept", 1},
	{"salt nowhere", 2},
	{"salt loft sugar --rh 70", 2},
	{"salt loft NaCl --rh 20", 1},
	{"air --room attic", 2},
	{"export everything", 2},
	{"backup /nowhere/at/all/copy.db", 2},
	{"stations --learn 'a/#/b'", 2},
	{"tonight please", 2},
	{"--socket /nowhere/at/all/s", 1},
};

static void say(char *out, size_t size, const char *words, int first)
{
	char text[300], *to = text;

	/* Only the two numbers and the folder are put in. */
	for (const char *p = words; *p && to < text + sizeof text - 80; p++) {
		if (strncmp(p, "%1$d", 4) == 0 || strncmp(p, "%2$d", 4) == 0) {
			to += sprintf(to, "%d", first + (p[1] == '2'));
			p += 3;
		} else if (strncmp(p, "%3$s", 4) == 0) {
			to += sprintf(to, "%s", workshop.folder);
			p += 3;
		} else {
			*to++ = *p;
		}
	}
	*to = '\0';
	snprintf(out, size, "wither %s%s %s", strstr(text, "--socket") ? "" : "--socket ",
		 strstr(text, "--socket") ? "" : workshop.socket, text);
}

static void an_evening(const struct phone *phone, int first)
{
	for (size_t i = 0; i < sizeof evening / sizeof *evening; i++) {
		char line[512];
		struct run run;

		say(line, sizeof line, evening[i].words, first);
		run_terminal(line, phone->env, 40, 20, &run);
		if (run.code != evening[i].code)
			fail_msg("%s (%s): exit %d, not %d: %s", line, phone->name, run.code,
				 evening[i].code, run.out);
		if (*run.out == '\0')
			fail_msg("%s (%s): nothing is said", line, phone->name);
		/* Every character of the catalogue's Chinese begins with one of these bytes. */
		if (phone->chinese && strcmp(evening[i].words, "--version") != 0 &&
		    !strpbrk(run.out, "\xe4\xe5\xe6\xe7\xe8\xe9"))
			fail_msg("%s: no Chinese in: %s", line, run.out);
		phone_check(run.out, phone, 40, line);
		run_clear(&run);
	}
}

static void an_evening_on_each_phone(void **state)
{
	(void)state;
	assert_true(workshop_reading(&workshop, 19.5, 66));
	for (int k = 0; k < PHONES; k++)
		an_evening(&phones[k], 1 + 2 * k);
}

/* A verb that is added must be added to the evening; the two left out are no screens of 40 columns:
 * a table for a spreadsheet, and the live screen (tests/cli/test_live.c). */
static void no_verb_is_left_out(void **state)
{
	(void)state;
	for (size_t v = 0; v < wt_verbs_count(); v++) {
		const char *name = wt_verbs_table[v].name;
		bool found = strcmp(name, "watch") == 0;

		for (size_t i = 0; i < sizeof evening / sizeof *evening; i++)
			found |= strncmp(evening[i].words, name, strlen(name)) == 0 &&
				 strchr(" ", evening[i].words[strlen(name)]) != NULL;
		if (!found)
			fail_msg("'%s' is done on no phone", name);
	}
}

static int open_workshop(void **state)
{
	(void)state;
	setlocale(LC_CTYPE, "C.UTF-8");
	return workshop_live(&workshop) ? 0 : -1;
}

static int close_workshop(void **state)
{
	(void)state;
	workshop_close(&workshop);
	return 0;
}

int main(void)
{
	const struct CMUnitTest tests[] = {
		cmocka_unit_test(no_verb_is_left_out),
		cmocka_unit_test(an_evening_on_each_phone),
	};

	return cmocka_run_group_tests(tests, open_workshop, close_workshop);
}
