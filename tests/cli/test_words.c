/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * Numbers as typed, near misses, and whole command lines.
 */
#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include <cmocka.h>

#include "cli/args.h"
#include "cli/suggest.h"
#include "cli/units.h"

static void numbers_carry_units(void **state)
{
	static const struct {
		const char *text;
		enum wt_quantity quantity;
		double value;
		bool unit;
	} good[] = {
		{"12.4kg", WT_QUANTITY_KG, 12.4, true},  {"12.4", WT_QUANTITY_KG, 12.4, false},
		{"800g", WT_QUANTITY_KG, 0.8, true},     {"12,4", WT_QUANTITY_KG, 12.4, false},
		{"25jin", WT_QUANTITY_KG, 12.5, true},   {"25斤", WT_QUANTITY_KG, 12.5, true},
		{"12 KG", WT_QUANTITY_KG, 12.0, true},   {"-3", WT_QUANTITY_KG, -3.0, false},
		{"4m2", WT_QUANTITY_M2, 4.0, true},      {"4.5m²", WT_QUANTITY_M2, 4.5, true},
		{"9000cm2", WT_QUANTITY_M2, 0.9, true},  {"3trays", WT_QUANTITY_TRAYS, 3.0, true},
		{"1tray", WT_QUANTITY_TRAYS, 1.0, true}, {"76%", WT_QUANTITY_PCT, 76.0, true},
		{"2C", WT_QUANTITY_C, 2.0, true},        {"1.5h", WT_QUANTITY_MINUTES, 90.0, true},
		{".5", WT_QUANTITY_PLAIN, 0.5, false},   {"+2", WT_QUANTITY_PLAIN, 2.0, false},
	};

	(void)state;
	for (size_t i = 0; i < sizeof good / sizeof *good; i++) {
		double value = NAN;
		bool unit = !good[i].unit;

		if (!wt_units_read(good[i].text, good[i].quantity, &value, &unit))
			fail_msg("refused: %s", good[i].text);
		assert_float_equal(value, good[i].value, 1e-9);
		assert_int_equal(unit, good[i].unit);
	}
}

static void what_is_no_number_is_refused(void **state)
{
	static const struct {
		const char *text;
		enum wt_quantity quantity;
	} bad[] = {
		{"", WT_QUANTITY_KG},
		{"kg", WT_QUANTITY_KG},
		{"12lb", WT_QUANTITY_KG},
		{"4m2", WT_QUANTITY_KG},
		{"nan", WT_QUANTITY_KG},
		{"inf", WT_QUANTITY_KG},
		{"1e999", WT_QUANTITY_KG},
		{"0x10", WT_QUANTITY_KG},
		{"1,200", WT_QUANTITY_KG},
		{"1.2.3", WT_QUANTITY_KG},
		{"--3", WT_QUANTITY_KG},
		{"3kgkg", WT_QUANTITY_KG},
		{"3 kg x", WT_QUANTITY_KG},
		{"12.4kg", WT_QUANTITY_M2},
		{"2h", WT_QUANTITY_PLAIN},
		{"1111111111111111111111111111111111111111111", WT_QUANTITY_KG},
	};

	(void)state;
	for (size_t i = 0; i < sizeof bad / sizeof *bad; i++) {
		double value = 7.0;
		bool unit = true;

		if (wt_units_read(bad[i].text, bad[i].quantity, &value, &unit))
			fail_msg("taken: '%s' as %g", bad[i].text, value);
		assert_float_equal(value, 7.0, 0.0);
	}
}

static void near_misses_are_found(void **state)
{
	static const char *const words[] = {"spread", "show", "salt", "stations", "style"};

	(void)state;
	assert_int_equal(wt_suggest_distance("spread", "spread"), 0);
	assert_int_equal(wt_suggest_distance("sprad", "spread"), 1);
	assert_int_equal(wt_suggest_distance("sperad", "spread"), 1);
	assert_int_equal(wt_suggest_distance("", "abc"), 3);
	assert_int_equal(wt_suggest_distance("kitten", "sitting"), 3);
	assert_int_equal(wt_suggest_prefix("sp", words, 5), 0);
	assert_int_equal(wt_suggest_prefix("st", words, 5), WT_SUGGEST_MANY);
	assert_int_equal(wt_suggest_prefix("x", words, 5), WT_SUGGEST_NONE);
	assert_int_equal(wt_suggest_prefix("", words, 5), WT_SUGGEST_NONE);
	assert_int_equal(wt_suggest_nearest("sprat", words, 5), 0);
	assert_int_equal(wt_suggest_nearest("shw", words, 5), 1);
	assert_int_equal(wt_suggest_nearest("firing", words, 5), WT_SUGGEST_NONE);
	/* Two slips from both: the one that begins alike. */
	assert_int_equal(wt_suggest_nearest("gread", (const char *const[]){"area", "grade"}, 2), 1);
	assert_int_equal(wt_suggest_nearest("gread", (const char *const[]){"grade", "area"}, 2), 0);
}

/* Splits at spaces; a word in ' ' may hold them. */
static bool parse(const char *line, struct wt_command *out, char *why, size_t size)
{
	static char store[1024];
	char *argv[32], *p = store;
	int argc = 0;

	snprintf(store, sizeof store, "%s", line);
	while (*p && argc < 32) {
		char stop = ' ';

		while (*p == ' ')
			p++;
		if (*p == '\'') {
			stop = '\'';
			p++;
		}
		if (!*p && stop == ' ')
			break;
		argv[argc++] = p;
		while (*p && *p != stop)
			p++;
		if (*p)
			*p++ = '\0';
	}
	return wt_args_parse(argc, argv, out, why, size);
}

static void lines_become_calls(void **state)
{
	static const struct {
		const char *line, *verb, *params;
		bool needs_load;
	} good[] = {
		{"", "tonight", "{}", false},
		{"ton", "tonight", "{}", false},
		{"spread creek 12.4 4m2", "spread",
		 "{\"origin\":\"creek\",\"kg\":12.4,\"area\":4.0}", false},
		{"spr creek 12.4 kg 4 m2", "spread",
		 "{\"origin\":\"creek\",\"kg\":12.4,\"area\":4.0}", false},
		{"spread 'old dike' 800g 3trays --grade y --wet d --at 14:05", "spread",
		 "{\"origin\":\"old "
		 "dike\",\"kg\":0.8,\"trays\":3.0,\"grade\":\"young\",\"wet\":\"damp\","
		 "\"at\":\"14:05\"}",
		 false},
		{"spread creek 12.4 --area=4 --sea sp", "spread",
		 "{\"origin\":\"creek\",\"kg\":12.4,\"area\":4.0,\"season\":\"spring\"}", false},
		{"weigh 7 10.9", "weigh", "{\"load\":7,\"kg\":10.9}", false},
		{"weigh #7 10.9kg --at -30min", "weigh",
		 "{\"load\":7,\"kg\":10.9,\"at\":\"-30min\"}", false},
		{"weigh 10.9kg", "weigh", "{\"kg\":10.9}", true},
		{"feel limp", "feel", "{\"step\":\"limp\"}", true},
		{"feel 7 dry", "feel", "{\"load\":7,\"step\":\"dry-edged\"}", false},
		{"turn", "turn", "{}", true},
		{"turn 5m2", "turn", "{\"area\":5.0}", true},
		{"turn 7 --fan on", "turn", "{\"load\":7,\"fan\":\"on\"}", false},
		{"turn 7 5m2", "turn", "{\"load\":7,\"area\":5.0}", false},
		{"fix 7 --kg 8.1 --minutes 1.5h", "fix", "{\"load\":7,\"kg\":8.1,\"minutes\":90.0}",
		 false},
		{"drop 7 --why 'rained on'", "drop", "{\"load\":7,\"why\":\"rained on\"}", false},
		{"show", "show", "{}", true},
		{"show 7", "show", "{\"load\":7}", false},
		{"loads --all", "loads", "{\"all\":true}", false},
		{"what-if 7 --fan --warmer -2", "what-if",
		 "{\"load\":7,\"fan\":true,\"warmer\":-2.0}", false},
		{"export air --csv --since -2h", "export",
		 "{\"what\":\"air-forecasts\",\"since\":\"-2h\"}", false},
		{"density creek 12 --ready-by 21:00", "density",
		 "{\"origin\":\"creek\",\"kg\":12.0,\"ready-by\":\"21:00\"}", false},
		{"style green --accept", "style", "{\"style\":\"green\",\"accept\":true}", false},
		{"salt loft NaCl --rh 77%", "salt",
		 "{\"station\":\"loft\",\"salt\":\"NaCl\",\"rh\":77.0}", false},
		{"stations --learn sheds/#", "stations", "{\"learn\":\"sheds/#\"}", false},
		{"backup /var/x.db", "backup", "{\"file\":\"/var/x.db\"}", false},
		{"spread -- --odd 3 1tray", "spread",
		 "{\"origin\":\"--odd\",\"kg\":3.0,\"trays\":1.0}", false},
		{"weigh 7 -3", "weigh", "{\"load\":7,\"kg\":-3.0}", false},
	};

	(void)state;
	for (size_t i = 0; i < sizeof good / sizeof *good; i++) {
		struct wt_command call;
		char why[512] = "";
		json_t *wish = json_loads(good[i].params, 0, NULL);

		assert_non_null(wish);
		if (!parse(good[i].line, &call, why, sizeof why))
			fail_msg("'%s': %s", good[i].line, why);
		assert_string_equal(call.verb->name, good[i].verb);
		if (!json_equal(call.params, wish))
			fail_msg("'%s' became %s", good[i].line, json_dumps(call.params, 0));
		assert_int_equal(call.needs_load, good[i].needs_load);
		json_decref(wish);
		wt_args_clear(&call);
	}
}

static void faults_are_quoted(void **state)
{
	static const struct {
		const char *line, *part;
	} bad[] = {
		{"sprad creek 3 4m2", "did you mean 'spread'"},
		{"brew", "no verb 'brew'"},
		{"s", "'s' could be spread show style stations salt"},
		{"spread", "needs ORIGIN"},
		{"spread creek", "needs KG"},
		{"spread creek lots 4m2", "'lots'"},
		{"spread creek 3 4", "not '4'"},
		{"spread creek 3 4m2 5m2", "does not take '5m2'"},
		{"spread creek 3 4m2 --area 5", "given twice"},
		{"spread creek 3 4m2 --grde young", "did you mean --grade"},
		{"spread creek 3 4m2 --s", "several options"},
		{"spread creek 3 4m2 --grade old", "bud, young, mixed, mature, not 'old'"},
		{"spread creek 3 4m2 --at", "--at needs a value"},
		{"spread '' 3 4m2", "origin is empty"},
		{"weigh 7", "needs KG"},
		{"weigh seven 3", "not 'seven'"},
		{"weigh 0 3", "not '0'"},
		{"weigh 99999999999 3", "not '99999999999'"},
		{"feel 7 crunchy", "crisp, soft, limp, slack, dry-edged, not 'crunchy'"},
		{"fix", "fix needs LOAD"},
		{"export", "needs WHAT (readings, loads, forecasts, air-forecasts); for instance"},
		{"--nonsense", "wither has no option --nonsense; see: wither help"},
		{"loads --all=yes", "takes no value"},
		{"loads -a", "not '-a'"},
		{"plan tomorrow", "does not take 'tomorrow'"},
		{"export everything", "not 'everything'"},
		{"--sokcet x", "did you mean --socket"},
	};

	(void)state;
	for (size_t i = 0; i < sizeof bad / sizeof *bad; i++) {
		struct wt_command call;
		char why[512] = "";

		if (parse(bad[i].line, &call, why, sizeof why))
			fail_msg("taken: '%s'", bad[i].line);
		if (!strstr(why, bad[i].part))
			fail_msg("'%s' says: %s", bad[i].line, why);
	}
}

static void global_options_stand_anywhere(void **state)
{
	struct wt_command call;
	char why[512];

	(void)state;
	assert_true(parse("--socket /tmp/a --json loads --all", &call, why, sizeof why));
	assert_string_equal(call.socket, "/tmp/a");
	assert_true(call.json);
	wt_args_clear(&call);
	assert_true(parse("weigh 7 3kg --json --socket=/tmp/b", &call, why, sizeof why));
	assert_string_equal(call.socket, "/tmp/b");
	assert_true(call.json);
	wt_args_clear(&call);
	assert_true(parse("spread --help", &call, why, sizeof why));
	assert_true(call.help);
	wt_args_clear(&call);
	assert_true(parse("--version", &call, why, sizeof why));
	assert_true(call.version);
	wt_args_clear(&call);
}

static void files_become_absolute(void **state)
{
	struct wt_command call;
	char why[512], folder[4096], wish[5000];

	(void)state;
	assert_non_null(getcwd(folder, sizeof folder));
	snprintf(wish, sizeof wish, "%s/x.db", folder);
	assert_true(parse("backup x.db", &call, why, sizeof why));
	assert_string_equal(json_string_value(json_object_get(call.params, "file")), wish);
	wt_args_clear(&call);
}

/* Each verb's own example must be understood by the program that prints it. */
static void every_example_is_understood(void **state)
{
	(void)state;
	for (size_t i = 0; i < wt_verbs_count(); i++) {
		const struct wt_verb *verb = &wt_verbs_table[i];
		struct wt_command call;
		char why[512] = "", line[256];

		assert_non_null(verb->example);
		assert_true(strncmp(verb->example, "wither", 6) == 0);
		snprintf(line, sizeof line, "%s", verb->example + 6);
		for (char *p = line; *p; p++)
			if (*p == '"')
				*p = '\'';
		if (!parse(line, &call, why, sizeof why))
			fail_msg("%s: %s", verb->example, why);
		assert_ptr_equal(call.verb, verb);
		assert_false(call.needs_load);
		wt_args_clear(&call);
	}
}

int main(void)
{
	const struct CMUnitTest tests[] = {
		cmocka_unit_test(numbers_carry_units),
		cmocka_unit_test(what_is_no_number_is_refused),
		cmocka_unit_test(near_misses_are_found),
		cmocka_unit_test(lines_become_calls),
		cmocka_unit_test(faults_are_quoted),
		cmocka_unit_test(global_options_stand_anywhere),
		cmocka_unit_test(files_become_absolute),
		cmocka_unit_test(every_example_is_understood),
	};

	return cmocka_run_group_tests(tests, NULL, NULL);
}
