/* SPDX-License-Identifier: GPL-3.0-or-later */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <cmocka.h>
#include <stdlib.h>
#include <string.h>

#include "lib/wire/base64.h"

/* Test vectors of RFC 4648, section 10. */
static void vectors_of_rfc_4648(void **state)
{
	static const char *const cases[][2] = {{"", ""},
					       {"f", "Zg=="},
					       {"fo", "Zm8="},
					       {"foo", "Zm9v"},
					       {"foob", "Zm9vYg=="},
					       {"fooba", "Zm9vYmE="},
					       {"foobar", "Zm9vYmFy"}};

	(void)state;
	for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
		char *text = wt_base64_encode(cases[i][0], strlen(cases[i][0]));
		size_t length = 99;
		char *bytes = wt_base64_decode(cases[i][1], &length);
		assert_string_equal(text, cases[i][1]);
		assert_int_equal(length, strlen(cases[i][0]));
		assert_string_equal(bytes, cases[i][0]);
		free(text);
		free(bytes);
	}
}

static void every_byte_survives(void **state)
{
	unsigned char all[256];
	size_t length = 0;
	char *text, *back;

	(void)state;
	for (int i = 0; i < 256; i++)
		all[i] = (unsigned char)i;
	text = wt_base64_encode(all, sizeof all);
	back = wt_base64_decode(text, &length);
	assert_int_equal(length, sizeof all);
	assert_memory_equal(back, all, sizeof all);
	free(text);
	free(back);
}

static void what_is_not_canonical_is_refused(void **state)
{
	static const char *const cases[] = {"Z",     "Zg",     "Zg=",  "Zg===", "Zh==", "Zm9=",
					    "Zm 9v", "Zm9v\n", "====", "Z=g=",  "Zm-v", "Zg==Zg=="};

	(void)state;
	for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
		size_t length = 7;
		assert_null(wt_base64_decode(cases[i], &length));
		assert_int_equal(length, 7);
	}
}

int main(void)
{
	const struct CMUnitTest tests[] = {
		cmocka_unit_test(vectors_of_rfc_4648),
		cmocka_unit_test(every_byte_survives),
		cmocka_unit_test(what_is_not_canonical_is_refused),
	};
	return cmocka_run_group_tests(tests, NULL, NULL);
}
