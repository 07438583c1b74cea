/* SPDX-License-Identifier: GPL-3.0-or-later */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <cmocka.h>

#include "lib/wire/pointer.h"

/* The document and the table of RFC 6901, section 5. */
static const char rfc_document[] =
	"{\"foo\":[\"bar\",\"baz\"],\"\":0,\"a/b\":1,\"c%d\":2,\"e^f\":3,"
	"\"g|h\":4,\"i\\\\j\":5,\"k\\\"l\":6,\" \":7,\"m~n\":8}";

static void examples_of_rfc_6901_section_5(void **state)
{
	static const struct {
		const char *pointer;
		int value;
	} cases[] = {{"/", 0},     {"/a~1b", 1}, {"/c%d", 2}, {"/e^f", 3}, {"/g|h", 4},
		     {"/i\\j", 5}, {"/k\"l", 6}, {"/ ", 7},   {"/m~0n", 8}};
	json_t *document = json_loads(rfc_document, 0, NULL);

	(void)state;
	assert_ptr_equal(wt_pointer_get(document, ""), document);
	assert_ptr_equal(wt_pointer_get(document, "/foo"), json_object_get(document, "foo"));
	assert_string_equal(json_string_value(wt_pointer_get(document, "/foo/0")), "bar");
	for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
		const json_t *value = wt_pointer_get(document, cases[i].pointer);
		assert_non_null(value);
		assert_int_equal(json_integer_value(value), cases[i].value);
	}
	json_decref(document);
}

static void what_does_not_exist_is_null(void **state)
{
	/* Section 4: "-" is the element after the last; leading zeros are not allowed. */
	static const char *const cases[] = {
		"/foo/2",  "/foo/-", "/foo/00", "/foo/01",
		"/foo/1x", "/foo/",  "/foo/-1", "/foo/+1",
		"/foo/ 1", "/fo",    "/fooo",   "/foo/0/",
		"//",      "/a/b",   "/m~n",    "/foo/99999999999999999999",
		"foo",     "/~2",    "/~"};
	json_t *document = json_loads(rfc_document, 0, NULL);

	(void)state;
	for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++)
		assert_null(wt_pointer_get(document, cases[i]));
	assert_null(wt_pointer_get(NULL, ""));
	assert_null(wt_pointer_get(document, NULL));
	json_decref(document);
}

static void escapes_are_undone_in_the_right_order(void **state)
{
	/* Section 4: "~01" must become "~1", not "/". */
	json_t *document =
		json_loads("{\"~1\":1,\"/\":2,\"~\":3,\"a\":{\"b:0\":{\"\":4}}}", 0, NULL);

	(void)state;
	assert_int_equal(json_integer_value(wt_pointer_get(document, "/~01")), 1);
	assert_int_equal(json_integer_value(wt_pointer_get(document, "/~1")), 2);
	assert_int_equal(json_integer_value(wt_pointer_get(document, "/~0")), 3);
	assert_int_equal(json_integer_value(wt_pointer_get(document, "/a/b:0/")), 4);
	json_decref(document);
}

static void well_formed_or_not(void **state)
{
	(void)state;
	assert_true(wt_pointer_valid(""));
	assert_true(wt_pointer_valid("/"));
	assert_true(wt_pointer_valid("/params/temperature:0/tC"));
	assert_true(wt_pointer_valid("/a~0~1"));
	assert_false(wt_pointer_valid("a"));
	assert_false(wt_pointer_valid("#/a"));
	assert_false(wt_pointer_valid("/a~"));
	assert_false(wt_pointer_valid("/a~2"));
	assert_false(wt_pointer_valid(NULL));
}

int main(void)
{
	const struct CMUnitTest tests[] = {
		cmocka_unit_test(examples_of_rfc_6901_section_5),
		cmocka_unit_test(what_does_not_exist_is_null),
		cmocka_unit_test(escapes_are_undone_in_the_right_order),
		cmocka_unit_test(well_formed_or_not),
	};
	return cmocka_run_group_tests(tests, NULL, NULL);
}
