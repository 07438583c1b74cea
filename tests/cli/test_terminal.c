/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * The real wither, in a real pseudo-terminal of a phone's size, against the
 * real witherd standing at one spring evening.
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
#include <jansson.h>

#include "cli/term.h"
#include "cli/verbs.h"
#include "tests/cli/phone.h"
#include "tests/cli/workshop.h"

static struct workshop three, forty, empty;

static const char *const questions[] = {
	"tonight",
	"show 1",
	"show",
	"loads",
	"loads --all",
	"air",
	"plan",
	"density creek 12kg --ready-by 23:00",
	"what-if 1 --area 9m2 --fan",
	"review",
	"ledger",
	"gardens",
	"stations",
	"health",
	"help",
};

static void ask_in_terminal(const struct workshop *workshop, const char *question,
			    const struct phone *look, int width, int height, struct run *run)
{
	char line[512];

	snprintf(line, sizeof line, "wither --socket %s %s", workshop->socket, question);
	run_terminal(line, look->env, width, height, run);
	if (run->code != 0)
		fail_msg("%s (%s): exit %d: %s", question, look->name, run->code, run->out);
}

static void every_screen_fits_a_phone(void **state)
{
	(void)state;
	for (size_t q = 0; q < sizeof questions / sizeof *questions; q++)
		for (size_t k = 0; k < PHONES; k++) {
			struct run run;

			ask_in_terminal(&three, questions[q], &phones[k], 40, 20, &run);
			phone_check(run.out, &phones[k], 40, questions[q]);
			run_clear(&run);
		}
}

/* One row stays for the prompt. */
static void the_evening_fits_in_twenty_rows(void **state)
{
	const struct workshop *all[] = {&three, &forty, &empty};

	(void)state;
	for (size_t w = 0; w < 3; w++)
		for (size_t k = 0; k < PHONES; k++) {
			struct run run;

			ask_in_terminal(all[w], "", &phones[k], 40, 20, &run);
			assert_in_range(phone_check(run.out, &phones[k], 40, "tonight"), 1, 19);
			run_clear(&run);
		}
}

static void many_loads_are_counted(void **state)
{
	struct run run;

	(void)state;
	ask_in_terminal(&forty, "", &phones[1], 40, 20, &run);
	assert_non_null(strstr(run.out, "more: wither loads"));
	run_clear(&run);
	ask_in_terminal(&forty, "loads", &phones[1], 40, 20, &run);
	assert_non_null(strstr(run.out, "\n40 "));
	run_clear(&run);
}

static void wider_terminals_are_used(void **state)
{
	static const int widths[] = {60, 100};

	(void)state;
	for (size_t i = 0; i < 2; i++)
		for (size_t k = 0; k < PHONES; k++) {
			struct run run;

			ask_in_terminal(&three, "show 1", &phones[k], widths[i], 30, &run);
			phone_check(run.out, &phones[k], widths[i], "show");
			run_clear(&run);
			ask_in_terminal(&three, "air", &phones[k], widths[i], 30, &run);
			phone_check(run.out, &phones[k], widths[i], "air");
			run_clear(&run);
		}
}

static void every_verb_explains_itself(void **state)
{
	(void)state;
	for (size_t i = 0; i < wt_verbs_count(); i++)
		for (size_t k = 0; k < PHONES; k++) {
			char question[64];
			struct run run;

			snprintf(question, sizeof question, "help %s", wt_verbs_table[i].name);
			ask_in_terminal(&three, question, &phones[k], 40, 20, &run);
			phone_check(run.out, &phones[k], 40, question);
			assert_non_null(strstr(run.out, "wither"));
			run_clear(&run);
		}
}

/* Everything is said in Chinese where Chinese is asked for. */
static void chinese_reaches_the_screen(void **state)
{
	struct run run;

	(void)state;
	ask_in_terminal(&three, "", &phones[4], 40, 20, &run);
	assert_non_null(strstr(run.out, "茶园"));
	assert_null(strstr(run.out, "tonight"));
	run_clear(&run);
}

static void ask(const char *words, struct run *run)
{
	char line[512];

	snprintf(line, sizeof line, "wither --socket %s %s", three.socket, words);
	run_line(line, NULL, run);
}

static void check_ask(const char *words, int code, const char *out_part, const char *err_part)
{
	struct run run;

	ask(words, &run);
	if (run.code != code)
		fail_msg("'%s' ended with %d, not %d: %s%s", words, run.code, code, run.out,
			 run.err);
	if (out_part ? !strstr(run.out, out_part) : *run.out != '\0')
		fail_msg("'%s' printed: %s", words, run.out);
	if (err_part ? !strstr(run.err, err_part) : *run.err != '\0')
		fail_msg("'%s' complained: %s", words, run.err);
	run_clear(&run);
}

static void exit_codes_are_as_documented(void **state)
{
	struct run run;

	(void)state;
	check_ask("--version", 0, "wither ", NULL);
	check_ask("--help", 0, "tonight", NULL);
	check_ask("help spread", 0, "for instance: wither spread", NULL);
	check_ask("spread --help", 0, "for instance: wither spread", NULL);
	check_ask("loads", 0, "creek", NULL);
	check_ask("health", 0, "witherd", NULL);
	check_ask("brew", 2, NULL, "no verb 'brew'");
	check_ask("spread creek lots 4m2", 2, NULL, "'lots'");
	check_ask("help brew", 2, NULL, "no verb 'brew'");
	check_ask("show 99", 2, NULL, "99");
	check_ask("spread creek 12", 2, NULL, "spread needs --area or --trays");
	check_ask("drop 1", 2, NULL, "drop needs --why");
	check_ask("yield 1", 2, NULL, "yield needs --made");
	check_ask("style green", 2, NULL, "style needs --ready-from or --accept");
	check_ask("spread creek -3 4m2", 1, NULL, "notes nothing");
	check_ask("weigh 1 5kg", 1, NULL, "wither: ");
	run_line("wither --socket /tmp/there-is-no-daemon-here tonight", NULL, &run);
	assert_int_equal(run.code, 1);
	assert_string_equal(run.out, "");
	assert_non_null(strstr(run.err, "/tmp/there-is-no-daemon-here"));
	run_clear(&run);
}

static json_t *ask_json(const char *words)
{
	struct run run;
	json_t *document;

	ask(words, &run);
	document = json_loads(run.out, JSON_REJECT_DUPLICATES, NULL);
	if (run.code != 0 || !document)
		fail_msg("'%s': %d %s%s", words, run.code, run.out, run.err);
	run_clear(&run);
	return document;
}

static void machines_get_documents(void **state)
{
	static const char *const verbs[] = {"tonight",  "show 1", "loads",           "air",
					    "plan",     "review", "ledger",          "gardens",
					    "stations", "health", "density creek 12"};

	(void)state;
	for (size_t i = 0; i < sizeof verbs / sizeof *verbs; i++) {
		char words[96];
		json_t *document;

		snprintf(words, sizeof words, "%s --json", verbs[i]);
		document = ask_json(words);
		assert_int_equal(json_integer_value(json_object_get(document, "format")), 1);
		assert_int_equal(json_integer_value(json_object_get(document, "now_unix_s")),
				 WORKSHOP_NOW);
		json_decref(document);
	}
}

/* The columns of section "Exports" of the manual, in their order. */
static void exports_have_the_documented_columns(void **state)
{
	static const struct {
		const char *what, *columns;
	} exports[] = {
		{"readings", "station,room,at_unix_s,received_unix_s,temp_c,rh_pct,flags\n"},
		{"loads", "load,origin,grade,season,style,room,kg,area_m2,spread_unix_s,fixed_unix_"
			  "s,fixed_kg,"
			  "made_kg,yellow_kg,ready_unix_s\n"},
		{"forecasts",
		 "issued_unix_s,load,loss_p10_pct,loss_p50_pct,loss_p90_pct,ready_p10_unix_s,"
		 "ready_p25_unix_s,ready_p50_unix_s,ready_p75_unix_s,ready_p90_unix_s,past_p50_"
		 "unix_s,"
		 "p_ready_tonight,call\n"},
		{"air-forecasts",
		 "issued_unix_s,room,lead_s,temp_p10_c,temp_p25_c,temp_p50_c,temp_p75_c,temp_p90_c,"
		 "vapour_p10_pa,vapour_p25_pa,vapour_p50_pa,vapour_p75_pa,vapour_p90_pa\n"},
	};

	(void)state;
	for (size_t i = 0; i < 4; i++) {
		char words[64];
		struct run run;
		json_t *document, *rows;
		size_t lines = 0;

		snprintf(words, sizeof words, "export %s --csv", exports[i].what);
		ask(words, &run);
		assert_int_equal(run.code, 0);
		assert_memory_equal(run.out, exports[i].columns, strlen(exports[i].columns));
		for (const char *p = run.out; (p = strchr(p, '\n')); p++)
			lines++;
		run_clear(&run);
		snprintf(words, sizeof words, "export %s", exports[i].what);
		document = ask_json(words);
		rows = json_object_get(document, "rows");
		assert_int_equal(json_array_size(rows) + 1, lines);
		json_decref(document);
	}
}

static void a_shell_gets_its_candidates(void **state)
{
	char socket[128];
	const char *env[] = {socket, NULL};
	struct run run;

	(void)state;
	snprintf(socket, sizeof socket, "WITHER_SOCKET=%s", three.socket);
	run_line("wither complete sp", env, &run);
	assert_string_equal(run.out, "spread\n");
	run_clear(&run);
	run_line("wither complete show ''", env, &run);
	assert_string_equal(run.out, "1\n2\n3\n");
	run_clear(&run);
	run_line("wither complete spread o", env, &run);
	assert_string_equal(run.out, "old dike\n");
	run_clear(&run);
	run_line("wither complete feel 1 s", env, &run);
	assert_string_equal(run.out, "soft\nslack\n");
	run_clear(&run);
	run_line("wither complete nonsense x", env, &run);
	assert_string_equal(run.out, "");
	assert_int_equal(run.code, 0);
	run_clear(&run);
}

/* The completion file itself, in the shell it is for: the same candidates, quoted. */
static void bash_completes(void **state)
{
	static const struct {
		const char *typed, *offered;
	} lines[] = {
		{"wither sp", "spread"},           {"wither show ''", "1 2 3"},
		{"wither spread o", "old\\ dike"}, {"wither feel 1 s", "soft slack"},
		{"wither fix 1 --p", "--part"},    {"wither nonsense x", ""},
	};
	char line[900], socket[128];
	const char *env[] = {socket, NULL};
	struct run run;

	(void)state;
	snprintf(socket, sizeof socket, "WITHER_SOCKET=%s", three.socket);
	for (size_t i = 0; i < sizeof lines / sizeof *lines; i++) {
		FILE *script;
		char path[128];

		snprintf(path, sizeof path, "%s/complete.sh", three.folder);
		script = fopen(path, "w");
		assert_non_null(script);
		fprintf(script,
			"wither() { %s \"$@\"; }\n. %s/../../deploy/completion/wither.bash\n"
			"COMP_WORDS=(%s)\nCOMP_CWORD=$((${#COMP_WORDS[@]} - 1))\n_wither\n"
			"echo \"${COMPREPLY[*]}\"\n",
			getenv("WITHER"), WT_TEST_DIR, lines[i].typed);
		assert_int_equal(fclose(script), 0);
		snprintf(line, sizeof line, "bash %s", path);
		run_line(line, env, &run);
		run.out[strcspn(run.out, "\n")] = '\0';
		if (strcmp(run.out, lines[i].offered) != 0)
			fail_msg("'%s' is offered '%s', not '%s': %s", lines[i].typed, run.out,
				 lines[i].offered, run.err);
		run_clear(&run);
	}
}

static int open_all(void **state)
{
	(void)state;
	setlocale(LC_CTYPE, "C.UTF-8");
	return workshop_frozen(&three, 3) && workshop_frozen(&forty, 40) &&
			       workshop_frozen(&empty, 0)
		       ? 0
		       : -1;
}

static int close_all(void **state)
{
	(void)state;
	workshop_close(&three);
	workshop_close(&forty);
	workshop_close(&empty);
	return 0;
}

int main(void)
{
	const struct CMUnitTest tests[] = {
		cmocka_unit_test(every_screen_fits_a_phone),
		cmocka_unit_test(the_evening_fits_in_twenty_rows),
		cmocka_unit_test(many_loads_are_counted),
		cmocka_unit_test(wider_terminals_are_used),
		cmocka_unit_test(every_verb_explains_itself),
		cmocka_unit_test(chinese_reaches_the_screen),
		cmocka_unit_test(exit_codes_are_as_documented),
		cmocka_unit_test(machines_get_documents),
		cmocka_unit_test(exports_have_the_documented_columns),
		cmocka_unit_test(a_shell_gets_its_candidates),
		cmocka_unit_test(bash_completes),
	};

	return cmocka_run_group_tests(tests, open_all, close_all);
}
