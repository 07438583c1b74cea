/* SPDX-License-Identifier: GPL-3.0-or-later */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <cmocka.h>
#include <string.h>

#include "lib/wire/text.h"

static void check(const char *text, size_t length, size_t size, const char *expected)
{
	char out[64];

	memset(out, '#', sizeof out);
	wt_text_clean(text, length, out, size);
	assert_string_equal(out, expected);
	if (size < sizeof out)
		assert_int_equal(out[size], '#');
}

static void control_characters_become_question_marks(void **state)
{
	(void)state;
	check("plain", 5, 64, "plain");
	check("a\033[31mb\007", 8, 64, "a?[31mb?");
	check("a\0b", 3, 64, "a?b");
	check("tab\tline\n", 9, 64, "tab?line?");
	check("\x7f\xc2\x9b", 3, 64, "??");                   /* DEL, and CSI as a C1 character */
	check("\xe2\x80\xaegnp\xe2\x81\xa6", 9, 64, "?gnp?"); /* writing direction turned */
	check("\xe8\x8c\xb6\xe6\x88\xbf \xc2\xb0"
	      "C",
	      10, 64,
	      "\xe8\x8c\xb6\xe6\x88\xbf \xc2\xb0"
	      "C");
}

static void what_is_not_utf8_becomes_question_marks(void **state)
{
	(void)state;
	check("\xff\xfe", 2, 64, "??");
	check("\xc0\xaf", 2, 64, "??");           /* overlong '/' */
	check("\xed\xa0\x80", 3, 64, "???");      /* surrogate */
	check("\xf4\x90\x80\x80", 4, 64, "????"); /* beyond U+10FFFF */
	check("\xe8\x8c", 2, 64, "??");           /* cut short */
	check("a\x80z", 3, 64, "a?z");
}

static void long_text_is_cut_at_a_character(void **state)
{
	(void)state;
	check("123456789", 9, 10, "123456789");
	check("1234567890", 10, 10, "123456...");
	check("\xe8\x8c\xb6\xe8\x8c\xb6\xe8\x8c\xb6\xe8\x8c\xb6", 12, 10,
	      "\xe8\x8c\xb6\xe8\x8c\xb6...");
	check("12345\xe8\x8c\xb6"
	      "789",
	      11, 10, "12345...");
}

static void clean_text_is_known(void **state)
{
	(void)state;
	assert_true(wt_text_is_clean("loft \xe8\x8c\xb6", 8));
	assert_true(wt_text_is_clean("", 0));
	assert_false(wt_text_is_clean("a\nb", 3));
	assert_false(wt_text_is_clean("a\xff", 2));
}

static void the_nearest_word_is_what_was_meant(void **state)
{
	static const char *const keys[] = {"topic", "temp_topic", "room", "C", NULL};

	(void)state;
	assert_string_equal(wt_text_nearest("topci", keys), "topic");
	assert_string_equal(wt_text_nearest("Topic", keys), "topic");
	assert_string_equal(wt_text_nearest("temp_tpoic", keys), "temp_topic");
	assert_string_equal(wt_text_nearest("rom", keys), "room");
	assert_string_equal(wt_text_nearest("TEMP", keys), "temp_topic");
	assert_null(wt_text_nearest("password", keys));
	assert_null(wt_text_nearest("xyz", keys));
	assert_null(wt_text_nearest("a very long word that is longer than any key could be", keys));
}

/* One, two, three and four bytes a character, cut after each byte. */
static void what_a_cut_left_of_a_character_goes(void **state)
{
	static const char whole[] = "a\xc3\xa9\xe8\x8c\xb6\xf0\x9f\x8d\x83";
	static const size_t left[] = {0, 1, 1, 3, 3, 3, 6, 6, 6, 6, 10};

	(void)state;
	for (size_t cut = 0; cut < sizeof whole; cut++) {
		char text[sizeof whole] = "";
		memcpy(text, whole, cut);
		wt_text_mend_end(text);
		assert_int_equal(strlen(text), left[cut]);
	}
}

static void hyphen_and_underscore_are_alike_in_names(void **state)
{
	(void)state;
	assert_true(wt_text_same_name("sample_fresh", "sample-fresh"));
	assert_false(wt_text_same_name("sample", "sample-fresh"));
	assert_false(wt_text_same_name("Sample-fresh", "sample-fresh"));
}

int main(void)
{
	const struct CMUnitTest tests[] = {
		cmocka_unit_test(control_characters_become_question_marks),
		cmocka_unit_test(what_is_not_utf8_becomes_question_marks),
		cmocka_unit_test(long_text_is_cut_at_a_character),
		cmocka_unit_test(clean_text_is_known),
		cmocka_unit_test(the_nearest_word_is_what_was_meant),
		cmocka_unit_test(what_a_cut_left_of_a_character_goes),
		cmocka_unit_test(hyphen_and_underscore_are_alike_in_names),
	};
	return cmocka_run_group_tests(tests, NULL, NULL);
}
