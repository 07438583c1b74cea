/* SPDX-License-Identifier: GPL-3.0-or-later */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <cmocka.h>
#include <stdlib.h>
#include <string.h>

#include "lib/wire/journal.h"

static bool parse(const char *line, struct wt_journal_entry *out, char why[256])
{
	why[0] = '\0';
	return wt_journal_parse(line, strlen(line), out, why, 256);
}

static void a_message(void **state)
{
	struct wt_journal_entry entry;
	char why[256];

	(void)state;
	assert_true(parse("{\"at\":\"2026-04-07T18:05:00+08:00\",\"topic\":\"shed/loft\","
			  "\"payload\":\"{\\\"t\\\":20.5}\"}\n",
			  &entry, why));
	assert_int_equal(entry.kind, WT_JOURNAL_MESSAGE);
	assert_int_equal(entry.at_unix_ms, 1775556300000);
	assert_string_equal(entry.topic, "shed/loft");
	assert_string_equal(entry.payload, "{\"t\":20.5}");
	assert_int_equal(entry.payload_length, 10);
	assert_false(entry.retained);
	wt_journal_clear(&entry);
	assert_true(
		parse("{\"at\":1775556300.5,\"topic\":\"a\",\"payload\":\"\",\"retained\":true}",
		      &entry, why));
	assert_int_equal(entry.at_unix_ms, 1775556300500);
	assert_int_equal(entry.payload_length, 0);
	assert_true(entry.retained);
	wt_journal_clear(&entry);
}

static void a_call_and_an_outlook(void **state)
{
	struct wt_journal_entry entry;
	char why[256];

	(void)state;
	assert_true(parse("{\"at\":1,\"call\":{\"method\":\"spread\",\"params\":{\"kg\":8}}}",
			  &entry, why));
	assert_int_equal(entry.kind, WT_JOURNAL_CALL);
	assert_string_equal(entry.method, "spread");
	assert_int_equal(json_integer_value(json_object_get(entry.params, "kg")), 8);
	wt_journal_clear(&entry);
	assert_true(parse("{\"at\":1,\"call\":{\"method\":\"undo\"}}", &entry, why));
	assert_int_equal(json_object_size(entry.params), 0);
	wt_journal_clear(&entry);
	assert_true(parse("{\"at\":1,\"outlook\":{\"hourly\":{}}}", &entry, why));
	assert_int_equal(entry.kind, WT_JOURNAL_OUTLOOK);
	assert_non_null(json_object_get(entry.document, "hourly"));
	wt_journal_clear(&entry);
}

static void broken_lines_change_nothing_and_say_why(void **state)
{
	static const struct {
		const char *line, *says;
	} cases[] = {
		{"", "one JSON object"},
		{"{", "one JSON object"},
		{"[1]", "must be an object"},
		{"\033[2J", "'?[2J'"},
		{"{\"topic\":\"a\",\"payload\":\"1\"}", "at must be"},
		{"{\"at\":\"2026-04-07T18:05:00\",\"topic\":\"a\",\"payload\":\"1\"}",
		 "2026-04-07T18:05:00"},
		{"{\"at\":-1,\"topic\":\"a\",\"payload\":\"1\"}", "'-1'"},
		{"{\"at\":1775556300000,\"topic\":\"a\",\"payload\":\"1\"}", "1775556300000"},
		{"{\"at\":1}", "exactly one"},
		{"{\"at\":1,\"topic\":\"a\",\"payload\":\"1\",\"call\":{\"method\":\"undo\"}}",
		 "exactly one"},
		{"{\"at\":1,\"topic\":\"\",\"payload\":\"1\"}", "topic must"},
		{"{\"at\":1,\"topic\":7,\"payload\":\"1\"}", "topic must"},
		{"{\"at\":1,\"topic\":\"a\"}", "payload must be a string, which is missing"},
		{"{\"at\":1,\"topic\":\"a\",\"payload\":20.5}", "not '20.5'"},
		{"{\"at\":1,\"topic\":\"a\",\"payload\":\"1\",\"payload_base64\":\"MQ==\"}",
		 "either"},
		{"{\"at\":1,\"topic\":\"a\",\"payload_base64\":\"MQ\"}", "base64"},
		{"{\"at\":1,\"topic\":\"a\",\"payload\":\"1\",\"retained\":1}", "true or false"},
		{"{\"at\":1,\"topic\":\"a\",\"payload\":\"1\",\"retaind\":true}", "'retaind'"},
		{"{\"at\":1,\"at\":2,\"topic\":\"a\",\"payload\":\"1\"}", "one JSON object"},
		{"{\"at\":1,\"call\":\"undo\"}", "call must"},
		{"{\"at\":1,\"call\":{\"params\":{}}}", "method must"},
		{"{\"at\":1,\"call\":{\"method\":\"undo\",\"params\":[]}}", "params must"},
		{"{\"at\":1,\"call\":{\"method\":\"undo\",\"param\":{}}}", "'param'"},
		{"{\"at\":1,\"outlook\":[]}", "outlook must"},
		{"{\"at\":1,\"outlook\":{},\"x\":1}", "'x'"},
		{"{\"at\":1,\"topic\":\"a\",\"payload\":\"\\u0000\"}", "one JSON object"},
		{"{\"at\":1,\"topic\":\"a\",\"payload\":\"1\"} {}", "one JSON object"},
	};

	(void)state;
	for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
		struct wt_journal_entry entry, before;
		char why[256];
		memset(&entry, 0x5a, sizeof entry);
		memcpy(&before, &entry, sizeof entry);
		assert_false(parse(cases[i].line, &entry, why));
		assert_memory_equal(&entry, &before, sizeof entry);
		if (!strstr(why, cases[i].says))
			print_error("%s: %s\n", cases[i].line, why);
		assert_non_null(strstr(why, cases[i].says));
	}
}

static void a_line_that_is_too_long(void **state)
{
	const size_t length = WT_JOURNAL_LINE_MAX + 1;
	char *line = malloc(length), why[256];
	struct wt_journal_entry entry;

	(void)state;
	memset(line, ' ', length);
	assert_false(wt_journal_parse(line, length, &entry, why, sizeof why));
	assert_non_null(strstr(why, "at most"));
	free(line);
}

static void round_trip(struct wt_journal_entry *entry)
{
	char *line = wt_journal_format(entry), *again, why[256];
	struct wt_journal_entry back;

	assert_non_null(line);
	assert_null(strchr(line, '\n'));
	assert_true(parse(line, &back, why));
	assert_int_equal(back.at_unix_ms, entry->at_unix_ms);
	assert_int_equal(back.kind, entry->kind);
	assert_int_equal(back.retained, entry->retained);
	if (entry->kind == WT_JOURNAL_MESSAGE) {
		assert_string_equal(back.topic, entry->topic);
		assert_int_equal(back.payload_length, entry->payload_length);
		assert_memory_equal(back.payload, entry->payload, entry->payload_length);
	}
	again = wt_journal_format(&back);
	assert_string_equal(again, line);
	free(again);
	free(line);
	wt_journal_clear(&back);
}

static void what_is_written_reads_back(void **state)
{
	char topic[] = "shed/loft", json[] = "{\"t\":20.5}\n", binary[] = "\0\1\377\n",
	     method[] = "weigh";
	struct wt_journal_entry message = {.at_unix_ms = 1775556300125,
					   .topic = topic,
					   .payload = json,
					   .payload_length = sizeof json - 1};
	struct wt_journal_entry call = {.at_unix_ms = 1775556300000,
					.kind = WT_JOURNAL_CALL,
					.method = method,
					.params = json_pack("{s:i, s:f}", "load", 7, "kg", 10.9)};
	struct wt_journal_entry outlook = {.kind = WT_JOURNAL_OUTLOOK,
					   .document = json_pack("{s:{}}", "hourly")};
	char *line;

	(void)state;
	round_trip(&message);
	line = wt_journal_format(&message);
	assert_string_equal(line, "{\"at\":\"2026-04-07T10:05:00.125Z\",\"topic\":\"shed/loft\","
				  "\"payload\":\"{\\\"t\\\":20.5}\\n\"}");
	free(line);
	message.retained = true;
	message.payload = binary;
	message.payload_length = sizeof binary - 1;
	round_trip(&message);
	message.payload_length = 0;
	round_trip(&message);
	round_trip(&call);
	round_trip(&outlook);
	json_decref(call.params);
	json_decref(outlook.document);
}

int main(void)
{
	const struct CMUnitTest tests[] = {
		cmocka_unit_test(a_message),
		cmocka_unit_test(a_call_and_an_outlook),
		cmocka_unit_test(broken_lines_change_nothing_and_say_why),
		cmocka_unit_test(a_line_that_is_too_long),
		cmocka_unit_test(what_is_written_reads_back),
	};
	return cmocka_run_group_tests(tests, NULL, NULL);
}
