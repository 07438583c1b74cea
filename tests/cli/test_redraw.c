/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * What the live screen sends, put into a small terminal: the cells must come
 * out as wished, whatever stood there, and little may be sent for a little change.
 * The seed is printed and may be set by WT_SEED.
 */
#include <locale.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include <cmocka.h>

#include "cli/screen.h"
#include "cli/term.h"

enum { WIDTH = 44, HEIGHT = 6, ROUNDS = 20000 };

/* A cell: its character (0: right half of a wide one) and whether it is coloured. */
struct cell {
	uint32_t character;
	char colour[12];
};
struct terminal {
	struct cell cells[HEIGHT][WIDTH];
	int row, column;
	char colour[12];
};

static void clear_from(struct terminal *terminal, int column)
{
	for (; column < WIDTH; column++)
		terminal->cells[terminal->row][column] = (struct cell){.character = ' '};
}

/* ECMA-48: CUP, EL and SGR are all that is sent. */
static const char *take_escape(struct terminal *terminal, const char *p)
{
	const char *begin = p + 2, *end = begin + strspn(begin, "0123456789;");

	assert_int_equal(p[1], '[');
	if (*end == 'H') {
		int row = atoi(begin), column = atoi(strchr(begin, ';') + 1);

		assert_in_range(row, 1, HEIGHT);
		assert_in_range(column, 1, WIDTH);
		terminal->row = row - 1;
		terminal->column = column - 1;
	} else if (*end == 'K') {
		clear_from(terminal, terminal->column);
	} else {
		assert_int_equal(*end, 'm');
		memset(terminal->colour, 0, sizeof terminal->colour);
		snprintf(terminal->colour, sizeof terminal->colour, "%.*s", (int)(end - begin),
			 begin);
		if (strcmp(terminal->colour, "0") == 0)
			memset(terminal->colour, 0, sizeof terminal->colour);
	}
	return end + 1;
}

static void feed(struct terminal *terminal, const char *p)
{
	while (*p) {
		uint32_t character;
		int width;

		if (*p == '\033') {
			p = take_escape(terminal, p);
			continue;
		}
		character = wt_term_next(&p);
		width = wt_term_char_cells(character);
		for (int i = 0; i < width; i++) {
			struct cell *cell = &terminal->cells[terminal->row][terminal->column++];

			cell->character = i ? 0 : character;
			memcpy(cell->colour, terminal->colour, sizeof cell->colour);
		}
	}
}

static uint64_t seed;

static unsigned draw(unsigned n)
{
	seed = seed * UINT64_C(6364136223846793005) + UINT64_C(1442695040888963407);
	return (unsigned)(seed >> 33) % n;
}

/* A row as a page writes it: words, some in colour, some wide; few different ones, so that rows are
 * often alike in parts. */
static void make_row(char *out)
{
	static const char *const words[] = {"wait", "now",        "茶园",  "19.5",  "19.6", " ",
					    "   ",  "upper-ter…", "18:42", "18:43", "°C",   "⠤⠔⠊"};
	int cells = 0;

	out[0] = '\0';
	for (unsigned n = draw(7); n > 0; n--) {
		const char *word = words[draw(sizeof words / sizeof *words)];
		bool coloured = draw(3) == 0;

		if (cells + wt_term_cells(word) > WIDTH - 4)
			break;
		cells += wt_term_cells(word);
		strcat(out, coloured ? (draw(2) ? "\033[1m" : "\033[1;31m") : "");
		strcat(out, word);
		strcat(out, coloured ? "\033[0m" : "");
	}
}

static void make_text(char *text)
{
	text[0] = '\0';
	for (int row = 0; row < HEIGHT; row++) {
		char line[400];

		make_row(line);
		strcat(text, line);
		strcat(text, "\n");
	}
}

static size_t show(struct wt_screen *screen, struct terminal *terminal, const char *text)
{
	char copy[4000], *sent = NULL;
	size_t size = 0;
	FILE *memory = open_memstream(&sent, &size);

	assert_non_null(memory);
	snprintf(copy, sizeof copy, "%s", text);
	wt_screen_show(screen, memory, copy, HEIGHT);
	fclose(memory);
	feed(terminal, sent);
	free(sent);
	return size;
}

static void the_cells_come_out_as_wished(void **state)
{
	static struct terminal kept;
	struct wt_screen screen = {0};
	char text[4000];

	(void)state;
	for (int round = 0; round < ROUNDS; round++) {
		static struct terminal fresh;
		struct wt_screen none = {0};

		make_text(text);
		memset(&fresh, 0, sizeof fresh);
		show(&none, &fresh, text);
		show(&screen, &kept, text);
		if (memcmp(kept.cells, fresh.cells, sizeof kept.cells) != 0)
			fail_msg("round %d: not as wished:\n%s", round, text);
		wt_screen_forget(&none);
	}
	wt_screen_forget(&screen);
}

static void a_minute_sends_a_few_bytes(void **state)
{
	static const char before[] =
		"Sun 5 Apr 18:42  hall 19.8°C 75%\n\033[1mWait\033[0m: nothing "
		"to fire\n 1 creek  14-18% 21:10 wait\n";
	static const char after[] = "Sun 5 Apr 18:43  hall 19.8°C 75%\n\033[1mWait\033[0m: nothing "
				    "to fire\n 1 creek  14-18% 21:10 wait\n";
	static struct terminal terminal;
	struct wt_screen screen = {0};

	(void)state;
	show(&screen, &terminal, before);
	assert_int_equal(show(&screen, &terminal, before), 0);
	/* "ESC [ 1 ; 15 H" and the one figure. */
	assert_in_range(show(&screen, &terminal, after), 1, 8);
	wt_screen_forget(&screen);
}

int main(void)
{
	const struct CMUnitTest tests[] = {
		cmocka_unit_test(the_cells_come_out_as_wished),
		cmocka_unit_test(a_minute_sends_a_few_bytes),
	};
	const char *given = getenv("WT_SEED");

	seed = given ? strtoull(given, NULL, 10) : 20260405;
	printf("WT_SEED=%llu\n", (unsigned long long)seed);
	setlocale(LC_CTYPE, "C.UTF-8");
	return cmocka_run_group_tests(tests, NULL, NULL);
}
