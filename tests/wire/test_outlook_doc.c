/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * Both forms are those public weather services document: columns as in the forecast API of
 * api.open-meteo.com (its manual, read in copies), the time series as in
 * api.met.no/doc/ForecastJSON. The values are invented.
 */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <cmocka.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "lib/wire/outlook_doc.h"

static struct wt_outlook_doc doc;

static bool parse(const char *text, char why[256])
{
	json_t *document = json_loads(text, 0, NULL);
	bool fine;

	assert_non_null(document);
	why[0] = '\0';
	fine = wt_outlook_doc_parse(document, &doc, why, 256);
	json_decref(document);
	return fine;
}

static void columns(void **state)
{
	char why[256];

	(void)state;
	assert_true(parse(
		"{\"latitude\":25.0,\"hourly_units\":{\"time\":\"unixtime\",\"temperature_2m\":"
		"\"\302\260C\",\"relative_humidity_2m\":\"%\"},\"hourly\":{\"time\":[3600,7200,"
		"10800,"
		"14400],\"temperature_2m\":[12.5,null,11,-1],\"relative_humidity_2m\":[80,85,null,"
		"101]}}",
		why));
	assert_int_equal(doc.n, 2);
	assert_int_equal(doc.at_unix_s[0], 3600);
	assert_true(doc.temp_c[0] == 12.5 && doc.rh_pct[0] == 80);
	assert_int_equal(doc.at_unix_s[1], 14400);
	assert_true(doc.temp_c[1] == -1 && doc.rh_pct[1] == 100);
}

static void timeseries(void **state)
{
	char why[256];

	(void)state;
	assert_true(parse("{\"type\":\"Feature\",\"properties\":{\"meta\":{\"updated_at\":\"2026-"
			  "04-07T09:00:00Z\","
			  "\"units\":{\"air_temperature\":\"celsius\",\"relative_humidity\":\"%\"}}"
			  ",\"timeseries\":["
			  "{\"time\":\"2026-04-07T10:00:00Z\",\"data\":{\"instant\":{\"details\":{"
			  "\"air_temperature\":14.2,"
			  "\"relative_humidity\":71.3,\"wind_speed\":1}},\"next_1_hours\":{}}},"
			  "{\"time\":\"2026-04-07T16:00:00Z\",\"data\":{\"instant\":{\"details\":{"
			  "\"air_temperature\":9}}}}]}}",
			  why));
	assert_int_equal(doc.n, 1);
	assert_int_equal(doc.at_unix_s[0], 1775556000);
	assert_true(doc.temp_c[0] == 14.2 && doc.rh_pct[0] == 71.3);
}

static void more_steps_than_needed_are_left_out(void **state)
{
	json_t *time = json_array(), *temp = json_array(), *rh = json_array(), *document;
	char why[256];

	(void)state;
	for (int i = 0; i < WT_OUTLOOK_STEPS_MAX + 10; i++) {
		json_array_append_new(time, json_integer(3600 * i));
		json_array_append_new(temp, json_real(10));
		json_array_append_new(rh, json_real(70));
	}
	document = json_pack("{s:{s:o,s:o,s:o}}", "hourly", "time", time, "temperature_2m", temp,
			     "relative_humidity_2m", rh);
	assert_true(wt_outlook_doc_parse(document, &doc, why, sizeof why));
	assert_int_equal(doc.n, WT_OUTLOOK_STEPS_MAX);
	json_decref(document);
}

#define COLUMNS(time, temp, rh)                                                                    \
	"{\"hourly\":{\"time\":" time ",\"temperature_2m\":" temp ",\"relative_humidity_2m\":" rh  \
	"}}"
#define SERIES(steps) "{\"properties\":{\"timeseries\":" steps "}}"
#define STEP(time, details) "{\"time\":" time ",\"data\":{\"instant\":{\"details\":" details "}}}"

static void broken_documents_change_nothing_and_say_why(void **state)
{
	static const struct {
		const char *text, *says;
	} cases[] = {
		{"{}", "hourly"},
		{"[]", "hourly"},
		{"{\"error\":true,\"reason\":\"Cannot initialize\"}", "Cannot initialize"},
		{"{\"hourly\":[]}", "hourly/time"},
		{"{\"hourly\":{}}", "hourly/time must be an array, which is missing"},
		{COLUMNS("[0]", "[1,2]", "[50]"), "as long as"},
		{COLUMNS("[0]", "[1]", "[]"), "as long as"},
		{COLUMNS("[0]", "5", "[50]"), "as long as"},
		{COLUMNS("[]", "[]", "[]"), "at least one step"},
		{COLUMNS("[0,3600]", "[null,1]", "[50,null]"), "at least one step"},
		{COLUMNS("[0,0]", "[1,1]", "[50,50]"), "ascend"},
		{COLUMNS("[7200,3600]", "[1,1]", "[50,50]"), "ascend, not '3600'"},
		{COLUMNS("[\"2026-04-07T10:00\"]", "[1]", "[50]"), "timeformat=unixtime"},
		{COLUMNS("[-1]", "[1]", "[50]"), "'-1'"},
		{COLUMNS("[1e12]", "[1]", "[50]"), "unix seconds"},
		{COLUMNS("[null]", "[1]", "[50]"), "'null'"},
		{COLUMNS("[0]", "[\"1\"]", "[50]"), "must be a number"},
		{COLUMNS("[0]", "[1]", "[true]"), "must be a number"},
		{COLUMNS("[0]", "[75]", "[50]"), "-60 to 60"},
		{COLUMNS("[0]", "[285.4]", "[50]"), "'285.4'"},
		{COLUMNS("[0]", "[1]", "[106]"), "0 to 100"},
		{COLUMNS("[0]", "[1]", "[-1]"), "0 to 100"},
		{"{\"hourly_units\":{\"temperature_2m\":\"\302\260F\"},\"hourly\":{\"time\":[0],"
		 "\"temperature_2m\":[50],\"relative_humidity_2m\":[50]}}",
		 "degrees Celsius"},
		{"{\"hourly_units\":{\"relative_humidity_2m\":\"fraction\"},\"hourly\":{\"time\":["
		 "0],"
		 "\"temperature_2m\":[5],\"relative_humidity_2m\":[0.5]}}",
		 "'\"fraction\"'"},
		{SERIES("{}"), "must be an array"},
		{SERIES("[]"), "at least one step"},
		{SERIES("[5]"), "RFC 3339"},
		{SERIES("[" STEP("5", "{}") "]"), "RFC 3339"},
		{SERIES("[" STEP("\"2026-04-07T10:00\"", "{}") "]"), "RFC 3339"},
		{SERIES("[" STEP("\"2026-04-07T10:00:00Z\"", "{}") "]"), "at least one step"},
		{SERIES("[" STEP("\"2026-04-07T10:00:00Z\"",
				 "{\"air_temperature\":\"9\",\"relative_humidity\":50}") "]"),
		 "number"},
		{"{\"properties\":{\"meta\":{\"units\":{\"air_temperature\":\"fahrenheit\"}},"
		 "\"timeseries\":[]}}",
		 "degrees Celsius"},
	};

	(void)state;
	for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
		static struct wt_outlook_doc before;
		char why[256];
		memset(&doc, 0x5a, sizeof doc);
		memcpy(&before, &doc, sizeof doc);
		assert_false(parse(cases[i].text, why));
		assert_memory_equal(&doc, &before, sizeof doc);
		if (!strstr(why, cases[i].says))
			print_error("%s: %s\n", cases[i].text, why);
		assert_non_null(strstr(why, cases[i].says));
	}
}

int main(void)
{
	const struct CMUnitTest tests[] = {
		cmocka_unit_test(columns),
		cmocka_unit_test(timeseries),
		cmocka_unit_test(more_steps_than_needed_are_left_out),
		cmocka_unit_test(broken_documents_change_nothing_and_say_why),
	};
	return cmocka_run_group_tests(tests, NULL, NULL);
}
