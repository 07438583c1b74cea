/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * Every screen against its pinned picture, at 40 columns, in UTF-8 and ASCII,
 * with and without colour; plots at 60 and 100 columns too.  No row may be
 * wider than the terminal.  WT_GOLDEN_UPDATE=1 writes the pictures anew.
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
#include <jansson.h>

#include "cli/page.h"
#include "cli/print.h"
#include "cli/print_jar.h"
#include "cli/tongue.h"
#include "cli/when.h"

typedef void printer(struct wt_page *page, const json_t *result);

static void print_guide(struct wt_page *page, const json_t *result)
{
	const json_t *stations = json_object_get(result, "stations");

	wt_print_jar_guide(page, json_array_get(stations, 0), json_object_get(result, "rh_effect"));
}

static const struct screen {
	const char *fixture;
	printer *print;
	bool wide;     /* also at 60 and 100 columns */
	int most_rows; /* at 40 columns; 0: any */
} screens[] = {
	{"tonight", wt_print_tonight, true, 19},
	{"tonight_empty", wt_print_tonight, false, 19},
	{"tonight_no_reading", wt_print_tonight, false, 19},
	{"tonight_stale", wt_print_tonight, false, 19},
	{"tonight_one", wt_print_tonight, false, 19},
	{"tonight_eight", wt_print_tonight, false, 19},
	{"tonight_forty", wt_print_tonight, false, 19},
	{"tonight_after_midnight", wt_print_tonight, false, 19},
	{"tonight_dawn", wt_print_tonight, false, 19},
	{"tonight_late", wt_print_tonight, false, 19},
	{"tonight_slow", wt_print_tonight, false, 19},
	{"tonight_one_wok", wt_print_tonight, false, 19},
	{"tonight_no_wok", wt_print_tonight, false, 19},
	{"tonight_silent_room", wt_print_tonight, false, 19},
	{"tonight_hostile", wt_print_tonight, false, 19},
	{"plan", wt_print_plan, false, 0},
	{"plan_slow", wt_print_plan, false, 0},
	{"plan_none", wt_print_plan, false, 0},
	{"plan_dawn", wt_print_plan, false, 0},
	{"plan_no_load", wt_print_plan, false, 0},
	{"plan_no_reading", wt_print_plan, false, 0},
	{"plan_no_wok", wt_print_plan, false, 0},
	{"act_spread", wt_print_act, false, 19},
	{"act_weigh", wt_print_act, false, 19},
	{"act_fix", wt_print_act, false, 19},
	{"act_salt", wt_print_act, false, 19},
	{"act_turn", wt_print_act, false, 19},
	{"act_feel", wt_print_act, false, 19},
	{"act_fix_part", wt_print_act, false, 19},
	{"act_yield", wt_print_act, false, 19},
	{"act_drop", wt_print_act, false, 19},
	{"act_style", wt_print_act, false, 19},
	{"show_after", wt_print_act_outlook, false, 19},
	{"act_undo", wt_print_act, false, 19},
	{"show", wt_print_show, true, 0},
	{"show_bare", wt_print_show, true, 0},
	{"show_silent", wt_print_show, false, 0},
	{"show_fixed", wt_print_show, true, 0},
	{"loads", wt_print_loads, false, 19},
	{"loads_none", wt_print_loads, false, 19},
	{"air", wt_print_air, true, 0},
	{"air_stale", wt_print_air, false, 0},
	{"air_none", wt_print_air, true, 0},
	{"density", wt_print_density, false, 19},
	{"what_if", wt_print_what_if, false, 19},
	{"review", wt_print_review, true, 0},
	{"review_one", wt_print_review, false, 0},
	{"review_none", wt_print_review, false, 0},
	{"ledger", wt_print_ledger, false, 0},
	{"ledger_none", wt_print_ledger, false, 0},
	{"gardens", wt_print_gardens, false, 19},
	{"stations", wt_print_stations, false, 19},
	{"stations_none", wt_print_stations, false, 19},
	{"stations_salted", wt_print_stations, false, 19},
	{"stations_guide", print_guide, false, 0},
	{"stations_learn", wt_print_stations, false, 0},
	{"health", wt_print_health, false, 19},
	{"health_bad", wt_print_health, false, 19},
	{"backup", wt_print_backup, false, 19},
};

static const struct look {
	const char *name;
	struct wt_term term;
	bool only_wide;
	const char *language;
} looks[] = {
	{"40-utf8", {40, 20, true, false}, false, NULL},
	{"40-ascii", {40, 20, false, false}, false, NULL},
	{"40-colour", {40, 20, true, true}, false, NULL},
	{"40-chinese", {40, 20, true, false}, false, "zh_CN"},
	{"60-utf8", {60, 20, true, false}, true, NULL},
	{"60-ascii", {60, 20, false, false}, true, NULL},
	{"100-utf8", {100, 30, true, false}, true, NULL},
	{"100-ascii", {100, 30, false, false}, true, NULL},
};

static char *read_file(const char *path)
{
	FILE *file = fopen(path, "rb");
	char *text = NULL;
	size_t size = 0;

	if (!file || getdelim(&text, &size, '\0', file) < 0) {
		free(text);
		text = NULL;
	}
	if (file)
		fclose(file);
	return text;
}

/* gettext looks at the environment anew only when it is told that something changed. */
static void speak(const char *language)
{
	setenv("LANGUAGE", language ? language : "en", 1);
	setlocale(LC_MESSAGES, "C.UTF-8");
	bindtextdomain("wither", WT_TEST_PO);
	bind_textdomain_codeset("wither", "UTF-8");
	textdomain(language ? "wither" : "wither-plain");
}

static char *render(const struct screen *screen, const struct look *look)
{
	char path[512], *text = NULL;
	size_t size = 0;
	json_error_t error;
	json_t *document;
	struct wt_page page;
	FILE *memory;

	snprintf(path, sizeof path, "%s/fixtures/%s.json", WT_TEST_DIR, screen->fixture);
	document = json_load_file(path, 0, &error);
	if (!document)
		fail_msg("%s: %s", path, error.text);
	wt_when_zone(json_string_value(json_object_get(document, "timezone")));
	speak(look->language);
	memory = open_memstream(&text, &size);
	assert_non_null(memory);
	wt_page_open(&page, memory, &look->term);
	screen->print(&page, document);
	fclose(memory);
	json_decref(document);
	return text;
}

/* Takes colours away, and nothing else: any other control character is a fault. */
static void strip_colours(char *text)
{
	char *to = text;

	for (const char *p = text; *p; p++) {
		if (p[0] == '\033' && p[1] == '[') {
			p += strcspn(p, "m");
			continue;
		}
		*to++ = *p;
	}
	*to = '\0';
}

static void check_rows(const struct screen *screen, const struct look *look, const char *picture)
{
	char *text = strdup(picture), *save = NULL;
	bool free_form = strcmp(screen->fixture, "stations_learn") == 0;
	int rows = 0;

	assert_non_null(text);
	strip_colours(text);
	for (char *row = strtok_r(text, "\n", &save); row; row = strtok_r(NULL, "\n", &save)) {
		rows++;
		if (!free_form && wt_term_cells(row) > look->term.width)
			fail_msg("%s %s: wider than %d cells: %s", screen->fixture, look->name,
				 look->term.width, row);
		for (const char *p = row; *p; p++)
			if ((unsigned char)*p < 0x20 ||
			    (!look->term.utf8 && (unsigned char)*p > 0x7E))
				fail_msg("%s %s: byte 0x%02x in: %s", screen->fixture, look->name,
					 (unsigned)(unsigned char)*p, row);
		if (*row && row[strlen(row) - 1] == ' ')
			fail_msg("%s %s: space at the end of: '%s'", screen->fixture, look->name,
				 row);
	}
	if (look->term.width == 40 && screen->most_rows && rows > screen->most_rows)
		fail_msg("%s %s: %d rows, at most %d", screen->fixture, look->name, rows,
			 screen->most_rows);
	free(text);
}

/* All looks of one screen, one below the other. */
static char *render_all(const struct screen *screen)
{
	char *text = NULL;
	size_t size = 0;
	FILE *memory = open_memstream(&text, &size);

	assert_non_null(memory);
	for (size_t k = 0; k < sizeof looks / sizeof *looks; k++) {
		char *picture;

		if (looks[k].only_wide && !screen->wide)
			continue;
		picture = render(screen, &looks[k]);
		check_rows(screen, &looks[k], picture);
		fprintf(memory, "=== %s\n%s", looks[k].name, picture);
		free(picture);
	}
	fclose(memory);
	return text;
}

static void check_picture(const struct screen *screen)
{
	char path[512], *picture = render_all(screen), *pinned;

	snprintf(path, sizeof path, "%s/golden/%s.txt", WT_TEST_DIR, screen->fixture);
	if (getenv("WT_GOLDEN_UPDATE")) {
		FILE *file = fopen(path, "wb");

		assert_non_null(file);
		fputs(picture, file);
		assert_int_equal(fclose(file), 0);
	}
	pinned = read_file(path);
	if (!pinned)
		fail_msg("%s is missing", path);
	if (strcmp(picture, pinned) != 0)
		fail_msg("%s differs; now:\n%s", screen->fixture, picture);
	free(pinned);
	free(picture);
}

static void screens_are_as_pinned(void **state)
{
	(void)state;
	for (size_t i = 0; i < sizeof screens / sizeof *screens; i++)
		check_picture(&screens[i]);
}

/* Colour never carries meaning alone: the same text stands without it. */
static void colour_changes_no_text(void **state)
{
	const struct look plain = {"plain", {40, 20, true, false}, false, NULL};
	const struct look colour = {"colour", {40, 20, true, true}, false, NULL};

	(void)state;
	for (size_t i = 0; i < sizeof screens / sizeof *screens; i++) {
		char *a = render(&screens[i], &plain), *b = render(&screens[i], &colour);

		strip_colours(b);
		assert_string_equal(a, b);
		free(a);
		free(b);
	}
}

/* Any width from 20 to 120 must hold, not only those pinned. */
static void no_row_is_too_wide_at_any_width(void **state)
{
	static const char *const languages[] = {NULL, "zh_CN"};

	(void)state;
	for (size_t i = 0; i < sizeof screens / sizeof *screens; i++)
		for (int width = 20; width <= 120; width++)
			for (size_t k = 0; k < 2; k++) {
				struct look look = {
					"any", {width, 20, true, false}, false, languages[k]};
				struct screen screen = screens[i];
				char *picture = render(&screen, &look);

				screen.most_rows = 0;
				check_rows(&screen, &look, picture);
				free(picture);
			}
}

/* On a phone held upright with large letters: words may be cut, a figure never, for what is left of
 * it says something else. */
static void no_figure_is_cut_from_30_cells_up(void **state)
{
	static const char *const languages[] = {NULL, "zh_CN"};

	(void)state;
	for (size_t i = 0; i < sizeof screens / sizeof *screens; i++)
		/* The names of that one hold figures. */
		for (int width = strstr(screens[i].fixture, "hostile") ? 61 : 30; width <= 60;
		     width++)
			for (size_t k = 0; k < 2; k++) {
				struct look look = {
					"any", {width, 20, true, false}, false, languages[k]};
				char *picture = render(&screens[i], &look);

				for (char *p = strstr(picture, "…"); p; p = strstr(p + 1, "…")) {
					char *before = p;

					while (before > picture && before[-1] == ' ')
						before--;
					if (before > picture && before[-1] >= '0' &&
					    before[-1] <= '9')
						fail_msg("%s, %d cells: a figure is cut: %s",
							 screens[i].fixture, width, picture);
				}
				free(picture);
			}
}

int main(void)
{
	const struct CMUnitTest tests[] = {
		cmocka_unit_test(screens_are_as_pinned),
		cmocka_unit_test(colour_changes_no_text),
		cmocka_unit_test(no_row_is_too_wide_at_any_width),
		cmocka_unit_test(no_figure_is_cut_from_30_cells_up),
	};

	setlocale(LC_CTYPE, "C.UTF-8");
	return cmocka_run_group_tests(tests, NULL, NULL);
}
