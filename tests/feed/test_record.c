/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * A journal goes on where it left off: after a power cut in the middle of a line, after an editor
 * that left out the last line end, after a clock that was set back.
 */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include <cmocka.h>

#include "daemon/record.h"

#define ONE "{\"at\":1775044800,\"topic\":\"a\",\"payload\":\"1\"}"
#define TWO "{\"at\":\"2026-04-01T12:00:01.500Z\",\"topic\":\"a\",\"payload\":\"2\"}"
#define TWO_MS INT64_C(1775044801500)

/* Writes before, opens it, adds a line; what is there then, and the time of the last line. */
static char *go_on(const char *before, int64_t *last_unix_ms)
{
	char path[] = "/tmp/wither-record.XXXXXX", why[200];
	char *text = calloc(1, 4096);
	int fd = mkstemp(path);

	assert_true(fd >= 0 && text);
	assert_int_equal(write(fd, before, strlen(before)), strlen(before));
	FILE *file = wt_record_open(path, last_unix_ms, why, sizeof why);
	assert_non_null(file);
	fputs("next\n", file);
	fclose(file);
	assert_true(pread(fd, text, 4095, 0) > 0);
	close(fd);
	unlink(path);
	return text;
}

static void a_journal_goes_on_where_it_left_off(void **state)
{
	static const struct {
		const char *before, *after;
		int64_t last_unix_ms;
	} cases[] = {
		{"", "next\n", 0},
		{ONE "\n", ONE "\nnext\n", INT64_C(1775044800000)},
		{ONE "\n" TWO "\n", ONE "\n" TWO "\nnext\n", TWO_MS},
		{ONE "\n" TWO, ONE "\n" TWO "\nnext\n", TWO_MS},
		{ONE "\n" TWO "\n{\"at\":17750448", ONE "\n" TWO "\nnext\n", TWO_MS},
		{"{\"at\":17750448", "next\n", 0},
		{ONE "\nnonsense\n", ONE "\nnonsense\nnext\n", 0},
	};

	(void)state;
	for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
		int64_t last_unix_ms = -1;
		char *after = go_on(cases[i].before, &last_unix_ms);
		assert_string_equal(after, cases[i].after);
		assert_true(last_unix_ms == cases[i].last_unix_ms);
		free(after);
	}
}

static void a_journal_that_cannot_be_written_is_told(void **state)
{
	int64_t last_unix_ms;
	char why[200] = "";

	(void)state;
	assert_null(wt_record_open("/nonexistent/journal", &last_unix_ms, why, sizeof why));
	assert_non_null(strstr(why, "'/nonexistent/journal' cannot be written: No such file"));
}

int main(void)
{
	const struct CMUnitTest tests[] = {
		cmocka_unit_test(a_journal_goes_on_where_it_left_off),
		cmocka_unit_test(a_journal_that_cannot_be_written_is_told),
	};

	return cmocka_run_group_tests_name("record", tests, NULL, NULL);
}
