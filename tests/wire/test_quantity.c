/* SPDX-License-Identifier: GPL-3.0-or-later */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <cmocka.h>
#include <string.h>

#include "lib/wire/quantity.h"

static void decimal_numbers_are_taken(void **state)
{
	static const struct {
		const char *text;
		double value;
	} cases[] = {
		{"20.5", 20.5}, {"-3", -3},    {"+1", 1},
		{"  7 \n", 7},  {"1e3", 1000}, {"1E-2", 0.01},
		{"0.0", 0},     {"-0", 0},     {"007", 7},
		{".5", 0.5},    {"1e-999", 0}, {"12345678901234567890", 12345678901234567890.0}};

	(void)state;
	for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
		double out = -99;
		assert_int_equal(wt_quantity_number(cases[i].text, strlen(cases[i].text), &out),
				 WT_OK);
		assert_true(out == cases[i].value);
	}
}

static void what_is_no_decimal_number_is_refused(void **state)
{
	static const char *const cases[] = {"",      " ",     "nan", "inf", "-inf",  "0x1f",
					    "1,5",   "5.",    "1e",  "1e+", "--1",   "1 2",
					    "12kg",  ".",     "-",   "e5",  "1.2.3", "\xc2\xb2",
					    "1_000", "1'000", "one"};

	(void)state;
	for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
		double out = -99;
		assert_int_equal(wt_quantity_number(cases[i], strlen(cases[i]), &out), WT_ERR_ARG);
		assert_true(out == -99);
	}
}

static void too_large_or_too_long_is_refused(void **state)
{
	double out = -99;
	char digits[80];

	(void)state;
	memset(digits, '1', sizeof digits);
	assert_int_equal(wt_quantity_number("1e999", 5, &out), WT_ERR_RANGE);
	assert_int_equal(wt_quantity_number(digits, sizeof digits, &out), WT_ERR_ARG);
	assert_int_equal(wt_quantity_number("1\0002", 3, &out), WT_ERR_ARG);
	assert_true(out == -99);
}

static void units_are_converted(void **state)
{
	static const struct {
		enum wt_quantity quantity;
		const char *text;
		double value;
	} cases[] = {{WT_QUANTITY_KG, "12.4kg", 12.4},
		     {WT_QUANTITY_KG, "800g", 0.8},
		     {WT_QUANTITY_KG, "800 g", 0.8},
		     {WT_QUANTITY_KG, "12.4", 12.4},
		     {WT_QUANTITY_M2, "4m2", 4},
		     {WT_QUANTITY_M2, "4 m\xc2\xb2", 4},
		     {WT_QUANTITY_M2, "9000cm2", 0.9},
		     {WT_QUANTITY_PCT, "62%", 62},
		     {WT_QUANTITY_PCT, "62 pct", 62},
		     {WT_QUANTITY_MIN, "1.5h", 90},
		     {WT_QUANTITY_MIN, "25min", 25},
		     {WT_QUANTITY_C,
		      "-2 \xc2\xb0"
		      "C",
		      -2},
		     {WT_QUANTITY_C, "3K", 3},
		     {WT_QUANTITY_PLAIN, "8", 8},
		     {WT_QUANTITY_KG, "1e3g", 1}};

	(void)state;
	for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
		double out = -99;
		assert_int_equal(wt_quantity_parse(cases[i].quantity, cases[i].text, &out), WT_OK);
		assert_true(out == cases[i].value);
	}
}

static void foreign_units_are_refused(void **state)
{
	static const struct {
		enum wt_quantity quantity;
		const char *text;
	} cases[] = {
		{WT_QUANTITY_KG, "4m2"},    {WT_QUANTITY_KG, "4 KG"},  {WT_QUANTITY_KG, "4lb"},
		{WT_QUANTITY_KG, "kg"},     {WT_QUANTITY_KG, "4kgg"},  {WT_QUANTITY_M2, "4m"},
		{WT_QUANTITY_PLAIN, "4kg"}, {WT_QUANTITY_PCT, "4kg"},  {WT_QUANTITY_C, "70F"},
		{WT_QUANTITY_KG, "4 k g"},  {WT_QUANTITY_KG, "4kg 5"}, {WT_QUANTITY_KG, "1,5kg"}};

	(void)state;
	for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
		double out = -99;
		assert_int_equal(wt_quantity_parse(cases[i].quantity, cases[i].text, &out),
				 WT_ERR_ARG);
		assert_true(out == -99);
	}
}

int main(void)
{
	const struct CMUnitTest tests[] = {
		cmocka_unit_test(decimal_numbers_are_taken),
		cmocka_unit_test(what_is_no_decimal_number_is_refused),
		cmocka_unit_test(too_large_or_too_long_is_refused),
		cmocka_unit_test(units_are_converted),
		cmocka_unit_test(foreign_units_are_refused),
	};
	return cmocka_run_group_tests(tests, NULL, NULL);
}
