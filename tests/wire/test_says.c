/* SPDX-License-Identifier: GPL-3.0-or-later */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>
#include <string.h>

#include <cmocka.h>

#include "lib/wire/says.h"

static void shout(const char *value, bool quoted, char out[static WT_SAYS_SIZE])
{
	snprintf(out, WT_SAYS_SIZE, "%s", !quoted && strcmp(value, "fixed") == 0 ? "FIXED" : value);
}

/* What was said comes out again as printf would have written it. */
static void a_sentence_survives(void **state)
{
	char says[WT_SAYS_SIZE], out[200];
	json_t *list;

	(void)state;
	wt_says_make(says, "load %d: %.1f %% of '%.3s', %zu of %lld, %*d, code 0x%02x, %g", 7,
		     12.34, "creek", (size_t)3, -4LL, 5, 42, 0x8au, 0.5);
	list = wt_says_json(says);
	assert_int_equal(json_array_size(list), 9);
	assert_true(wt_says_fill(list, json_string_value(json_array_get(list, 0)), NULL, out,
				 sizeof out));
	assert_string_equal(out, "load 7: 12.3 % of 'cre', 3 of -4,    42, code 0x8a, 0.5");
	wt_says_text(says, out, sizeof out);
	assert_string_equal(out, "load 7: 12.3 % of 'cre', 3 of -4,    42, code 0x8a, 0.5");
	wt_says_text("", out, sizeof out);
	assert_string_equal(out, "");
	json_decref(list);
}

static void another_language_takes_the_values_in_its_order(void **state)
{
	char says[WT_SAYS_SIZE], out[200];
	json_t *list;

	(void)state;
	wt_says_make(says, "load %d was %s at %s already", 3, "fixed", "18:20");
	list = wt_says_json(says);
	assert_true(wt_says_fill(list, "%3$s: %2$s (%1$d)", shout, out, sizeof out));
	assert_string_equal(out, "18:20: FIXED (3)");
	/* What stands in quotation marks is the user's own. */
	assert_true(wt_says_fill(list, "'%2$s' %%", shout, out, sizeof out));
	assert_string_equal(out, "'fixed' %");
	assert_true(wt_says_fill(list, "“%2$s”", shout, out, sizeof out));
	assert_string_equal(out, "“fixed”");
	/* A format that asks for more than was said, or for the format itself. */
	assert_false(wt_says_fill(list, "%s %s %s %s", NULL, out, sizeof out));
	assert_string_equal(out, "");
	assert_false(wt_says_fill(list, "%0$s", NULL, out, sizeof out));
	assert_false(wt_says_fill(NULL, "x", NULL, out, sizeof out));
	/* The values are never taken for formats. */
	json_array_set_new(list, 1, json_string("%n%s%%"));
	assert_true(wt_says_fill(list, "%s", NULL, out, sizeof out));
	assert_string_equal(out, "%n%s%%");
	json_decref(list);
}

static void a_value_cut_by_bytes_ends_with_a_whole_character(void **state)
{
	char says[WT_SAYS_SIZE], out[64];
	json_t *list;

	(void)state;
	wt_says_make(says, "'%.5s' is refused", "\xe8\x8c\xb6\xe8\x8c\xb6");
	list = wt_says_json(says);
	assert_true(wt_says_fill(list, "'%.5s' is refused", NULL, out, sizeof out));
	assert_string_equal(out, "'\xe8\x8c\xb6' is refused");
	json_decref(list);
}

static void what_does_not_fit_is_cut(void **state)
{
	char says[WT_SAYS_SIZE], out[8], longer[2 * WT_SAYS_SIZE];
	json_t *list;

	(void)state;
	for (size_t i = 0; i + 3 < sizeof longer; i += 3)
		memcpy(longer + i, "\xe8\x8c\xb6", 4);
	wt_says_make(says, "%s and %s\x1f", longer, "a\x1f\nb");
	assert_true(strlen(says) < WT_SAYS_SIZE);
	list = wt_says_json(says);
	assert_non_null(list);
	assert_true(json_array_size(list) <= 3);
	json_array_set_new(list, 1, json_string("abcdefghijk"));
	json_array_set_new(list, 2, json_string("x"));
	assert_true(wt_says_fill(list, "%s", NULL, out, sizeof out));
	assert_string_equal(out, "abcdefg");
	json_decref(list);
	assert_null(wt_says_json(""));
	assert_null(wt_says_json(NULL));
}

int main(void)
{
	const struct CMUnitTest tests[] = {
		cmocka_unit_test(a_sentence_survives),
		cmocka_unit_test(another_language_takes_the_values_in_its_order),
		cmocka_unit_test(a_value_cut_by_bytes_ends_with_a_whole_character),
		cmocka_unit_test(what_does_not_fit_is_cut),
	};

	return cmocka_run_group_tests(tests, NULL, NULL);
}
