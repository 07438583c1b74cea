/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * Every screen must stand documents that are damaged in any way JSON allows: a
 * daemon of another version, a station's name full of control characters.
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
#include <jansson.h>

#include "cli/page.h"
#include "cli/print.h"
#include "cli/print_jar.h"
#include "cli/when.h"

enum { HOSTILE_ROUNDS = 60, HOSTILE_WIDTHS = 3 };

static void print_guide(struct wt_page *page, const json_t *result)
{
	wt_print_jar_guide(page, json_array_get(json_object_get(result, "stations"), 0),
			   json_object_get(result, "rh_effect"));
}

static const struct {
	const char *fixture;
	void (*print)(struct wt_page *page, const json_t *result);
} screens[] = {
	{"tonight", wt_print_tonight},
	{"tonight_eight", wt_print_tonight},
	{"plan", wt_print_plan},
	{"act_spread", wt_print_act},
	{"act_undo", wt_print_act},
	{"show", wt_print_show},
	{"loads", wt_print_loads},
	{"air", wt_print_air},
	{"density", wt_print_density},
	{"what_if", wt_print_what_if},
	{"review", wt_print_review},
	{"ledger", wt_print_ledger},
	{"gardens", wt_print_gardens},
	{"stations", wt_print_stations},
	{"stations_learn", wt_print_stations},
	{"stations_salted", wt_print_stations},
	{"stations_guide", print_guide},
	{"show_after", wt_print_act_outlook},
	{"act_salt", wt_print_act},
	{"act_fix_part", wt_print_act},
	{"health_bad", wt_print_health},
	{"backup", wt_print_backup},
};

static uint64_t seed;

/* splitmix64, public domain (as open code has it): good enough to choose what to break. */
static uint64_t draw(void)
{
	uint64_t z = seed += UINT64_C(0x9E3779B97F4A7C15);

	z = (z ^ z >> 30) * UINT64_C(0xBF58476D1CE4E5B9);
	z = (z ^ z >> 27) * UINT64_C(0x94D049BB133111EB);
	return z ^ z >> 31;
}

static json_t *odd_value(void)
{
	static const double numbers[] = {0,
					 -1,
					 1e308,
					 -1e308,
					 1e-308,
					 9e15,
					 -9e15,
					 1e11,
					 -1e11,
					 4.5e9,
					 0.5,
					 1e10,
					 12345678901234567890.0};
	static const char *const texts[] = {
		"",
		"\033]0;x\007\033[2J",
		"a\nb\r\tc",
		"%s%n%d%%",
		"上坡老茶园靠近小溪的那一块地方",
		"\xe2\x80\xae reversed",
		"a very long name that goes on and on and on without an end in sight, and then "
		"some more "
		"of it, because somebody pasted a letter into the field, twice over, and saved it",
		"now",
	};

	switch (draw() % 7) {
	case 0:
		return json_null();
	case 1:
		return json_real(numbers[draw() % (sizeof numbers / sizeof *numbers)]);
	case 2:
		return json_string(texts[draw() % (sizeof texts / sizeof *texts)]);
	case 3:
		return json_array();
	case 4:
		return json_object();
	case 5:
		return json_boolean((int)(draw() % 2));
	default:
		return json_integer((json_int_t)draw());
	}
}

/* A copy in which about one value in `rarity` is another or gone. */
static json_t *damaged(const json_t *value, unsigned rarity)
{
	json_t *copy, *child;
	const char *key;
	size_t i;

	if (draw() % rarity == 0)
		return odd_value();
	if (json_is_object(value)) {
		copy = json_object();
		json_object_foreach((json_t *)(uintptr_t)value, key,
				    child) if (draw() % (2 * rarity) != 0)
			json_object_set_new(copy, key, damaged(child, rarity));
		return copy;
	}
	if (json_is_array(value)) {
		copy = json_array();
		json_array_foreach(value, i, child) if (draw() % (2 * rarity) != 0)
			json_array_append_new(copy, damaged(child, rarity));
		return copy;
	}
	return json_deep_copy(value);
}

static void check_text(const char *fixture, int width, char *text)
{
	char *save = NULL;

	/* A proposal is for copying, so it is not cut. */
	bool cut = strcmp(fixture, "stations_learn") != 0;

	for (char *row = strtok_r(text, "\n", &save); row; row = strtok_r(NULL, "\n", &save)) {
		if (cut && wt_term_cells(row) > width)
			fail_msg("%s at %d: too wide: %s", fixture, width, row);
		for (const char *p = row; *p; p++)
			if ((unsigned char)*p < 0x20 || *p == 0x7F)
				fail_msg("%s at %d: byte 0x%02x", fixture, width,
					 (unsigned)(unsigned char)*p);
	}
}

static void print_damaged(const char *fixture, void (*print)(struct wt_page *, const json_t *),
			  const json_t *document)
{
	static const int widths[HOSTILE_WIDTHS] = {20, 40, 100};

	for (size_t i = 0; i < HOSTILE_WIDTHS; i++) {
		struct wt_term term = {widths[i], 20, draw() % 2 == 0, false};
		struct wt_page page;
		char *text = NULL;
		size_t size = 0;
		FILE *memory = open_memstream(&text, &size);

		assert_non_null(memory);
		wt_page_open(&page, memory, &term);
		print(&page, document);
		fclose(memory);
		check_text(fixture, widths[i], text);
		free(text);
	}
}

static void damaged_documents_are_shown_safely(void **state)
{
	(void)state;
	for (size_t s = 0; s < sizeof screens / sizeof *screens; s++) {
		char path[512];
		json_t *document;

		snprintf(path, sizeof path, "%s/fixtures/%s.json", WT_TEST_DIR, screens[s].fixture);
		document = json_load_file(path, 0, NULL);
		assert_non_null(document);
		for (int round = 0; round < HOSTILE_ROUNDS; round++) {
			json_t *broken = damaged(document, round % 2 ? 12 : 60);

			print_damaged(screens[s].fixture, screens[s].print, broken);
			json_decref(broken);
		}
		json_decref(document);
	}
}

/* What is no document at all: a printer is given an empty one, a list, a word. */
static void empty_documents_are_shown_safely(void **state)
{
	json_t *all[] = {json_object(), json_array(), json_string("x"), json_null()};

	(void)state;
	for (size_t s = 0; s < sizeof screens / sizeof *screens; s++)
		for (size_t i = 0; i < 4; i++)
			print_damaged(screens[s].fixture, screens[s].print, all[i]);
	for (size_t i = 0; i < 4; i++)
		json_decref(all[i]);
}

/* More loads than are ever sorted, on a terminal with a row for each. */
static void more_loads_than_are_looked_at_are_counted(void **state)
{
	struct wt_term term = {40, 3000, true, false};
	struct wt_page page;
	char *text = NULL;
	size_t size = 0;
	FILE *memory = open_memstream(&text, &size);
	json_t *loads = json_array(),
	       *document = json_pack("{s:i,s:o}", "now_unix_s", 1775404800, "loads", loads);

	(void)state;
	for (int i = 1; i <= 1100; i++)
		json_array_append_new(loads, json_pack("{s:i,s:s}", "load", i, "origin", "creek"));
	wt_page_open(&page, memory, &term);
	wt_print_tonight(&page, document);
	fclose(memory);
	assert_non_null(strstr(text, "1024 creek"));
	assert_non_null(strstr(text, "and 76 more: wither loads"));
	free(text);
	json_decref(document);
}

int main(void)
{
	const struct CMUnitTest tests[] = {
		cmocka_unit_test(damaged_documents_are_shown_safely),
		cmocka_unit_test(empty_documents_are_shown_safely),
		cmocka_unit_test(more_loads_than_are_looked_at_are_counted),
	};
	const char *given = getenv("WT_SEED");

	seed = given ? strtoull(given, NULL, 10) : 20260405;
	printf("WT_SEED=%llu\n", (unsigned long long)seed);
	setlocale(LC_CTYPE, "C.UTF-8");
	wt_when_zone("Asia/Shanghai");
	return cmocka_run_group_tests(tests, NULL, NULL);
}
