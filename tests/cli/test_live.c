/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * An evening's work with the real programs: readings over a real broker, acts
 * typed by hand and by script, what is refused, the live screen.
 */
#include <locale.h>
#include <math.h>
#include <poll.h>
#include <setjmp.h>
#include <signal.h>
#include <stdarg.h>
#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include <cmocka.h>
#include <jansson.h>

#include "cli/term.h"
#include "tests/cli/workshop.h"

static struct workshop workshop;

static void check(const char *words, int code, const char *out_part, const char *err_part)
{
	char line[512];
	struct run run;

	snprintf(line, sizeof line, "wither --socket %s %s", workshop.socket, words);
	run_line(line, NULL, &run);
	if (run.code != code)
		fail_msg("'%s' ended with %d, not %d: %s%s", words, run.code, code, run.out,
			 run.err);
	if (out_part ? !strstr(run.out, out_part) : *run.out != '\0')
		fail_msg("'%s' printed: %s", words, run.out);
	if (err_part ? !strstr(run.err, err_part) : *run.err != '\0')
		fail_msg("'%s' complained: %s", words, run.err);
	run_clear(&run);
}

static void without_readings_nothing_is_forecast(void **state)
{
	(void)state;
	check("", 0, "No reading yet", NULL);
	check("health", 3, "Something needs you", NULL);
	check("stations", 0, "never heard", NULL);
	check("show", 2, NULL, "no load is open");
}

static void acts_are_said_back(void **state)
{
	(void)state;
	assert_true(workshop_reading(&workshop, 19.5, 66));
	check("spread creek 12.4 4m2", 0, "Load 1: spread", NULL);
	check("spread 'old dike' 9000g 3 trays --grade y --wet damp", 0, "Load 2: spread", NULL);
	check("loads", 0, "creek", NULL);
	check("weigh 11.9kg", 2, NULL, "which load? open are 1, 2");
	check("weigh 1 11.9", 0, "Load 1: weighed", NULL);
	check("feel 2 cri", 0, "Load 2: felt", NULL);
	check("turn 1 5m2", 0, "Load 1: turned", NULL);
	check("undo", 0, "Taken back: load 1, turned", NULL);
	check("show 1", 0, "weighed, 11.9 kg", NULL);
	check("drop 2 --why 'fell on the floor'", 0, "Load 2: given up", NULL);
	check("turn", 0, "Load 1: turned", NULL);
	check("weigh 11.8kg", 0, "Load 1: weighed", NULL);
	check("fix 1 --kg 10.4", 0, "Load 1: fixed", NULL);
	check("yield 1 --made 2.5kg --yellow 80g", 0, "Load 1: yield noted", NULL);
	check("ledger", 0, "1 creek", NULL);
	check("loads", 0, "No open load", NULL);
	check("loads --all", 0, "dropped", NULL);
}

/* What a maker gets to read in Chinese: Chinese, and none of the daemon's English. */
static void check_chinese(const char *words)
{
	static const char *const env[] = {"LC_ALL=zh_CN.UTF-8", "LANGUAGE=", NULL};
	static const char *const english[] = {" must ", "there is ", " needs ", " not ", " was "};
	char line[512];
	struct run run;

	snprintf(line, sizeof line, "wither --socket %s %s", workshop.socket, words);
	run_line(line, env, &run);
	for (size_t i = 0; i < sizeof english / sizeof *english; i++)
		if (strstr(run.err, english[i]))
			fail_msg("'%s' says in English: %s", words, run.err);
	/* Every character of the catalogue's Chinese begins with one of these bytes. */
	if (!strpbrk(run.err, "\xe4\xe5\xe6\xe7\xe8\xe9"))
		fail_msg("'%s' says no Chinese: %s", words, run.err);
	run_clear(&run);
}

/* Each refusal quotes what was given and changes nothing. */
static void what_is_refused_changes_nothing(void **state)
{
	static const struct {
		const char *words, *part;
		int code; /* 2: never accepted; 1: not as things stand */
	} refused[] = {
		{"spread creek -3 4m2", "-3", 2},
		{"spread creek 900 4m2", "900", 2},
		{"spread creek 3", "area", 2},
		{"spread creek 3 4m2 --room attic", "attic", 2},
		{"spread creek 3 4m2 --style jam", "jam", 2},
		{"spread creek 3 4m2 --at 2199-01-01T00:00:00Z", "2199", 2},
		{"weigh 77 3", "77", 2},
		{"fix 1", "1", 1},
		{"weigh 1 3", "1", 1},
		{"what-if 77", "77", 2},
		{"air --room attic", "attic", 2},
		{"salt nowhere NaCl", "nowhere", 2},
		{"style jam --accept", "jam", 2},
	};
	char line[256];
	struct run before, after;

	(void)state;
	snprintf(line, sizeof line, "wither --socket %s export loads --csv", workshop.socket);
	run_line(line, NULL, &before);
	for (size_t i = 0; i < sizeof refused / sizeof *refused; i++) {
		check(refused[i].words, refused[i].code, NULL, refused[i].part);
		check_chinese(refused[i].words);
	}
	run_line(line, NULL, &after);
	assert_string_equal(before.out, after.out);
	run_clear(&before);
	run_clear(&after);
}

/* A hand on a terminal may shorten a garden's name; a script is taken at its word. */
static void gardens_may_be_shortened_by_hand(void **state)
{
	const char *env[] = {"LC_ALL=C.UTF-8", "NO_COLOR=1", NULL};
	char line[256];
	struct run run;

	(void)state;
	snprintf(line, sizeof line, "wither --socket %s spread cre 3kg 1m2", workshop.socket);
	run_terminal(line, env, 40, 20, &run);
	assert_int_equal(run.code, 0);
	assert_non_null(strstr(run.out, "creek, 3 kg"));
	assert_non_null(strstr(run.out, "'cre' was taken for 'creek'"));
	run_clear(&run);
	snprintf(line, sizeof line, "wither --socket %s spread crek 3kg 1m2", workshop.socket);
	run_terminal(line, env, 40, 20, &run);
	assert_non_null(strstr(run.out, "'crek' is a new garden"));
	run_clear(&run);
	check("undo", 0, "Taken back", NULL);
	check("spread cre 3kg 1m2", 0, "cre, 3 kg", NULL);
	check("undo", 0, "Taken back", NULL);
	check("undo", 0, "Taken back", NULL);
}

static void the_live_screen_follows_and_leaves(void **state)
{
	const char *env[] = {"LC_ALL=C.UTF-8", "NO_COLOR=1", "TERM=xterm", NULL};
	struct terminal terminal;
	size_t before;
	char line[256];

	(void)state;
	snprintf(line, sizeof line, "wither --socket %s watch", workshop.socket);
	assert_true(terminal_open(line, env, 40, 20, &terminal));
	assert_true(terminal_expect(&terminal, "hall 19.5"));
	before = terminal.used;
	check("spread 'mill slope' 5kg 2m2", 0, "Load ", NULL);
	assert_true(terminal_expect(&terminal, "mill slope"));
	/* What changed and no more: no second screen was sent. */
	assert_in_range(terminal.used - before, 1, 1200);
	assert_null(strstr(terminal.seen + before, "\033[2J"));
	terminal_resize(&terminal, 60, 24);
	assert_true(terminal_expect(&terminal, "\033[2J"));
	assert_true(terminal_expect(&terminal, "mill slope"));
	terminal_type(&terminal, "q");
	assert_int_equal(terminal_close(&terminal), 0);
	/* The cursor and the screen that stood there come back. */
	assert_non_null(strstr(terminal.seen, "\033[?25h\033[?1049l"));
	free(terminal.seen);
}

/* `wither plan | less` on a phone. */
static void through_a_pipe_a_page_is_as_wide_as_the_terminal(void **state)
{
	static const char *const env[] = {"LC_ALL=C.UTF-8", "COLUMNS=", NULL};
	char line[512], *save = NULL;
	struct run run;

	(void)state;
	snprintf(line, sizeof line, "sh -c '\"%s\" --socket \"%s\" plan | cat'", getenv("WITHER"),
		 workshop.socket);
	run_terminal(line, env, 40, 20, &run);
	assert_int_equal(run.code, 0);
	assert_non_null(strstr(run.out, "Fire and CO"));
	for (char *row = strtok_r(run.out, "\r\n", &save); row; row = strtok_r(NULL, "\r\n", &save))
		if (wt_term_cells(row) > 40)
			fail_msg("%d cells: %s", wt_term_cells(row), row);
	run_clear(&run);
}

/* Without waiting for something new to say: the broker sends nothing here. */
static void the_live_text_ends_when_nobody_reads_it(void **state)
{
	static const char *const kinds[] = {"watch", "watch --json"};
	char line[512];

	(void)state;
	for (size_t i = 0; i < sizeof kinds / sizeof *kinds; i++) {
		struct run run;

		snprintf(line, sizeof line,
			 "timeout 60 sh -c '\"%s\" --socket \"%s\" %s | head -n 1'",
			 getenv("WITHER"), workshop.socket, kinds[i]);
		run_line(line, NULL, &run);
		if (run.code != 0 || *run.out == '\0' || *run.err != '\0')
			fail_msg("%s: exit %d: %s%s", line, run.code, run.out, run.err);
		run_clear(&run);
	}
}

static void the_live_screen_ends_on_a_signal(void **state)
{
	const char *env[] = {"LC_ALL=C.UTF-8", "TERM=xterm", NULL};
	struct terminal terminal;
	char line[256];

	(void)state;
	snprintf(line, sizeof line, "wither --socket %s watch", workshop.socket);
	assert_true(terminal_open(line, env, 40, 20, &terminal));
	assert_true(terminal_expect(&terminal, "hall"));
	terminal_type(&terminal, "\003");
	assert_int_equal(terminal_close(&terminal), 0);
	free(terminal.seen);
}

/* Processor time of a process so far; NAN when it is gone. */
static double busy_s(pid_t pid)
{
	char path[64];
	unsigned long user = 0, system = 0;
	snprintf(path, sizeof path, "/proc/%d/stat", (int)pid);
	FILE *file = fopen(path, "r");
	int n = file ? fscanf(file,
			      "%*d (%*[^)]) %*c %*d %*d %*d %*d %*d %*u %*u %*u %*u %*u %lu %lu",
			      &user, &system)
		     : 0;
	if (file)
		fclose(file);
	return n == 2 ? (double)(user + system) / (double)sysconf(_SC_CLK_TCK) : (double)NAN;
}

/* Started where there is no keyboard, it waits as quietly. */
static void the_live_screen_rests_without_a_keyboard(void **state)
{
	const char *env[] = {"LC_ALL=C.UTF-8", "TERM=xterm", NULL};
	struct terminal terminal;
	char line[256];

	(void)state;
	snprintf(line, sizeof line, "sh -c 'exec %s --socket %s watch </dev/null'",
		 getenv("WITHER"), workshop.socket);
	assert_true(terminal_open(line, env, 40, 20, &terminal));
	assert_true(terminal_expect(&terminal, "hall"));
	double before_s = busy_s(terminal.pid);
	poll(NULL, 0, 1000);
	double took_s = busy_s(terminal.pid) - before_s;
	kill(terminal.pid, SIGTERM);
	assert_int_equal(terminal_close(&terminal), 0);
	free(terminal.seen);
	/* Spinning, it would take most of the second; a waiting one takes next to nothing. */
	assert_true(took_s < 0.1);
}

/* A command to the tmux server of this test; its output is to be freed. */
static char *tmux(const char *words, int *code)
{
	static const char *const env[] = {"LC_ALL=C.UTF-8", "TERM=xterm-256color", "TMUX=", NULL};
	char line[512];
	struct run run;

	snprintf(line, sizeof line, "tmux -S %s/tmux -f /dev/null %s", workshop.folder, words);
	run_line(line, env, &run);
	*code = run.code;
	free(run.err);
	return run.out;
}

/* Until the pane shows a text; false at the deadline. */
static bool pane_shows(const char *text)
{
	for (int i = 0; i < 600; i++) {
		int code;
		char *shown = tmux("capture-pane -p", &code);
		bool there = strstr(shown, text) != NULL;

		free(shown);
		if (there)
			return true;
		poll(NULL, 0, 50);
	}
	return false;
}

/* Under tmux: drawn, drawn anew in another size, left with q, which ends the session. */
static void the_live_screen_lives_in_tmux(void **state)
{
	char line[400];
	int code;

	(void)state;
	free(tmux("-V", &code));
	if (code != 0)
		skip();
	snprintf(line, sizeof line, "new-session -d -x 40 -y 20 '%s --socket %s watch'",
		 getenv("WITHER"), workshop.socket);
	free(tmux(line, &code));
	assert_int_equal(code, 0);
	assert_true(pane_shows("mill slope"));
	free(tmux("resize-window -x 30 -y 15", &code));
	assert_true(pane_shows("mill"));
	free(tmux("send-keys q", &code));
	for (int i = 0; i < 600; i++) {
		free(tmux("has-session", &code));
		if (code != 0)
			break;
		poll(NULL, 0, 50);
	}
	assert_int_not_equal(code, 0);
}

static void publish(const char *topic, const char *payload)
{
	char line[512];
	struct run run;

	snprintf(line, sizeof line, "mosquitto_pub -h 127.0.0.1 -p %d -t %s -m '%s'", workshop.port,
		 topic, payload);
	run_line(line, NULL, &run);
	assert_int_equal(run.code, 0);
	run_clear(&run);
}

/* Until the daemon has subscribed, what is sent is lost: a station, too, sends again. */
static void publish_until_heard(const char *filter, const char *topic, const char *payload)
{
	char line[256];
	bool heard = false;

	snprintf(line, sizeof line, "wither --socket %s --json stations --learn '%s'",
		 workshop.socket, filter);
	for (int i = 0; i < 500 && !heard; i++) {
		struct run run;

		publish(topic, payload);
		run_line(line, NULL, &run);
		heard = strstr(run.out, topic) != NULL;
		run_clear(&run);
		poll(NULL, 0, 10);
	}
	assert_true(heard);
}

/* The daemon hears a station it does not know and says how it may be read. */
static void a_new_station_is_overheard(void **state)
{
	const char *env[] = {"LC_ALL=C.UTF-8", "NO_COLOR=1", NULL};
	struct terminal terminal;
	char line[256];

	(void)state;
	check("stations --learn 'a/#/b'", 2, NULL, "'a/#/b'");
	snprintf(line, sizeof line, "wither --socket %s stations --learn 'attic/#'",
		 workshop.socket);
	assert_true(terminal_open(line, env, 40, 20, &terminal));
	assert_true(terminal_expect(&terminal, "Listening"));
	publish_until_heard("attic/#", "attic/new", "{\"temperature\":18.25,\"humidity\":71.5}");
	assert_true(terminal_expect(&terminal, "attic/new"));
	assert_true(terminal_expect(&terminal, "temp_pointer = /temperature"));
	assert_true(terminal_expect(&terminal, "rh_pointer = /humidity"));
	assert_int_equal(terminal_close(&terminal), 0);
	free(terminal.seen);
	check("stations", 0, "loft in hall", NULL);
}

/* In the jar it waits on a terminal, and says so; a script is told that it is too early. */
static void the_salt_jar_takes_its_time(void **state)
{
	const char *env[] = {"LC_ALL=C.UTF-8", "NO_COLOR=1", NULL};
	struct terminal terminal;
	char line[256];

	(void)state;
	check("salt loft", 0, "wither salt loft NaCl", NULL);
	check("salt loft", 0, "withers in ", NULL);
	check("salt cellar", 2, NULL, "no station 'cellar'; accepted: loft");
	check("salt loft NaCl", 1, NULL, "not steady yet");
	snprintf(line, sizeof line, "wither --socket %s salt loft NaCl", workshop.socket);
	assert_true(terminal_open(line, env, 40, 20, &terminal));
	assert_true(terminal_expect(&terminal, "Waiting until it stands still"));
	assert_true(terminal_expect(&terminal, "Not for eating"));
	assert_true(terminal_expect(&terminal, "last hour 66%"));
	terminal_type(&terminal, "\003");
	/* Ended by the signal, and nothing was noted. */
	assert_int_not_equal(terminal_close(&terminal), 0);
	free(terminal.seen);
	check("salt loft NaCl --rh 78.5", 0, "true = shown - ", NULL);
	check("stations", 0, "off by 3", NULL);
	check("undo", 0, "Taken back: salt check", NULL);
}

static void a_backup_is_a_whole_database(void **state)
{
	char line[256], path[128], head[16] = "";
	FILE *file;

	(void)state;
	snprintf(path, sizeof path, "%s/copy.db", workshop.folder);
	snprintf(line, sizeof line, "backup %s", path);
	check(line, 0, "Written: ", NULL);
	file = fopen(path, "rb");
	assert_non_null(file);
	assert_int_equal(fread(head, 1, sizeof head, file), sizeof head);
	fclose(file);
	/* The first 16 bytes of the published file format of SQLite 3 (sqlite.org/fileformat.html).
	 */
	assert_memory_equal(head, "SQLite format 3", 16);
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
		cmocka_unit_test(without_readings_nothing_is_forecast),
		cmocka_unit_test(acts_are_said_back),
		cmocka_unit_test(what_is_refused_changes_nothing),
		cmocka_unit_test(gardens_may_be_shortened_by_hand),
		cmocka_unit_test(the_live_screen_follows_and_leaves),
		cmocka_unit_test(through_a_pipe_a_page_is_as_wide_as_the_terminal),
		cmocka_unit_test(the_live_text_ends_when_nobody_reads_it),
		cmocka_unit_test(the_live_screen_ends_on_a_signal),
		cmocka_unit_test(the_live_screen_rests_without_a_keyboard),
		cmocka_unit_test(the_live_screen_lives_in_tmux),
		cmocka_unit_test(a_new_station_is_overheard),
		cmocka_unit_test(the_salt_jar_takes_its_time),
		cmocka_unit_test(a_backup_is_a_whole_database),
	};

	return cmocka_run_group_tests(tests, open_workshop, close_workshop);
}
