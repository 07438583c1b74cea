/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * The payload conventions are those that the firmwares named here publish; the
 * messages are invented values in their forms.
 */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <cmocka.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>

#include "lib/wire/payload.h"

static const double now_unix_s = 1775556300; /* 2026-04-07T10:05:00Z */

/* A rule whose strings are constants of the test. */
#define TEXT(s) ((char *)(uintptr_t)(s))

static struct wt_payload_values read_one(const struct wt_payload_rule *rule, const char *topic,
					 const char *payload)
{
	struct wt_payload_values out;
	wt_payload_read(rule, topic, payload, strlen(payload), false, now_unix_s, &out);
	return out;
}

static bool near(double a, double b)
{
	return fabs(a - b) < 1e-9;
}

/* A generic rule: both values in one JSON message, with time and battery. */
static const struct wt_payload_rule both = {
	.temp_topic = TEXT("shed/loft"),
	.rh_topic = TEXT("shed/loft"),
	.temp_pointer = TEXT("/t"),
	.rh_pointer = TEXT("/h"),
	.time_pointer = TEXT("/at"),
	.battery_pointer = TEXT("/batt"),
};

/* Bare numbers on sibling topics. */
static const struct wt_payload_rule bare = {
	.temp_topic = TEXT("shed/loft/temperature"),
	.rh_topic = TEXT("shed/loft/humidity"),
};

static void both_values_time_and_battery(void **state)
{
	struct wt_payload_values out =
		read_one(&both, "shed/loft", "{\"t\":21.5,\"h\":63,\"at\":1775556290,\"batt\":88}");

	(void)state;
	assert_true(near(out.temp_c, 21.5) && near(out.rh_pct, 63));
	assert_true(near(out.source_unix_s, 1775556290) && near(out.battery, 88));
	assert_int_equal(out.temp_fault, WT_PAYLOAD_FINE);
	assert_int_equal(out.rh_fault, WT_PAYLOAD_FINE);
	assert_int_equal(out.time_fault, WT_PAYLOAD_FINE);
	assert_int_equal(out.flags, 0);
	assert_string_equal(out.quoted, "");
}

static void one_value_alone_is_normal(void **state)
{
	struct wt_payload_values out = read_one(&both, "shed/loft", "{\"t\":21.5}");

	(void)state;
	assert_true(near(out.temp_c, 21.5) && isnan(out.rh_pct) && isnan(out.battery));
	assert_int_equal(out.rh_fault, WT_PAYLOAD_ABSENT);
	assert_int_equal(out.time_fault, WT_PAYLOAD_ABSENT);
	assert_int_equal(out.flags, WT_FLAG_TIME_RECEIVED);
}

static void bare_numbers_on_their_own_topics(void **state)
{
	struct wt_payload_values out = read_one(&bare, "shed/loft/temperature", " 21.50\n");

	(void)state;
	assert_true(near(out.temp_c, 21.5) && isnan(out.rh_pct));
	assert_int_equal(out.rh_fault, WT_PAYLOAD_OTHER);
	assert_int_equal(out.flags, 0);
	out = read_one(&bare, "shed/loft/humidity", "63");
	assert_true(isnan(out.temp_c) && near(out.rh_pct, 63));
	out = read_one(&bare, "shed/loft/pressure", "900");
	assert_true(isnan(out.temp_c) && isnan(out.rh_pct));
	assert_int_equal(out.temp_fault, WT_PAYLOAD_OTHER);
}

static void units_are_converted_once(void **state)
{
	struct wt_payload_rule rule = bare;

	(void)state;
	rule.temp_unit = WT_TEMP_UNIT_F;
	assert_true(near(read_one(&rule, "shed/loft/temperature", "68").temp_c, 20));
	assert_true(near(read_one(&rule, "shed/loft/temperature", "-40").temp_c, -40));
	rule.temp_unit = WT_TEMP_UNIT_K;
	assert_true(near(read_one(&rule, "shed/loft/temperature", "293.15").temp_c, 20));
}

static void numbers_as_strings_are_taken(void **state)
{
	struct wt_payload_values out = read_one(
		&both, "shed/loft", "{\"t\":\"21.5\",\"h\":\" 52.6 \",\"batt\":\"100.00\"}");

	(void)state;
	assert_true(near(out.temp_c, 21.5) && near(out.rh_pct, 52.6) && near(out.battery, 100));
}

static void the_ends_of_the_ranges(void **state)
{
	struct wt_payload_values out;

	(void)state;
	assert_true(near(read_one(&bare, "shed/loft/temperature", "-40").temp_c, -40));
	assert_true(near(read_one(&bare, "shed/loft/temperature", "85").temp_c, 85));
	assert_true(near(read_one(&bare, "shed/loft/humidity", "0").rh_pct, 0));
	assert_true(near(read_one(&bare, "shed/loft/humidity", "100").rh_pct, 100));
	out = read_one(&bare, "shed/loft/humidity", "104.9");
	assert_true(near(out.rh_pct, 100));
	assert_int_equal(out.flags, WT_FLAG_RH_CLAMPED);
}

static void a_source_time_is_believed_within_its_window(void **state)
{
	static const struct {
		const char *payload;
		bool taken;
	} cases[] = {
		{"{\"t\":20,\"h\":60,\"at\":1775555400}", true}, /* 15 min before */
		{"{\"t\":20,\"h\":60,\"at\":1775555399}", false},
		{"{\"t\":20,\"h\":60,\"at\":1775556420}", true}, /* 2 min after */
		{"{\"t\":20,\"h\":60,\"at\":1775556421}", false},
		{"{\"t\":20,\"h\":60,\"at\":1775556290123}", true},
		{"{\"t\":20,\"h\":60,\"at\":\"2026-04-07T12:04:50+02:00\"}", true},
		{"{\"t\":20,\"h\":60,\"at\":\"2026-04-07 18:04:50\"}", true}, /* local, +08:00 */
		{"{\"t\":20,\"h\":60,\"at\":\"2026-04-07 10:04:50\"}", false},
		{"{\"t\":20,\"h\":60,\"at\":\"1970-01-01T00:00:07\"}", false}, /* clock not set */
		{"{\"t\":20,\"h\":60,\"at\":0}", false},
		{"{\"t\":20,\"h\":60,\"at\":\"soon\"}", false},
		{"{\"t\":20,\"h\":60,\"at\":true}", false},
	};

	(void)state;
	for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
		struct wt_payload_values out = read_one(&both, "shed/loft", cases[i].payload);
		assert_true(near(out.temp_c, 20) && near(out.rh_pct, 60));
		assert_int_equal(out.time_fault,
				 cases[i].taken ? WT_PAYLOAD_FINE : WT_PAYLOAD_TIME);
		assert_int_equal(isfinite(out.source_unix_s), cases[i].taken);
		assert_int_equal(out.flags, cases[i].taken ? 0 : WT_FLAG_TIME_RECEIVED);
		assert_int_equal(out.quoted[0] == '\0', cases[i].taken);
	}
}

static void retained_messages_say_so(void **state)
{
	struct wt_payload_values out;

	(void)state;
	wt_payload_read(&bare, "shed/loft/humidity", "63", 2, true, now_unix_s, &out);
	assert_int_equal(out.flags, WT_FLAG_RETAINED);
	assert_true(near(out.rh_pct, 63));
}

static void a_selector_picks_its_station(void **state)
{
	struct wt_payload_rule rule = both;

	(void)state;
	rule.match_pointer = TEXT("/id");
	rule.match_value = TEXT("42");
	assert_true(near(read_one(&rule, "shed/loft", "{\"id\":42,\"t\":20}").temp_c, 20));
	assert_true(near(read_one(&rule, "shed/loft", "{\"id\":\"42\",\"t\":20}").temp_c, 20));
	assert_int_equal(read_one(&rule, "shed/loft", "{\"id\":43,\"t\":20}").temp_fault,
			 WT_PAYLOAD_OTHER);
	assert_int_equal(read_one(&rule, "shed/loft", "{\"t\":20}").temp_fault, WT_PAYLOAD_OTHER);
	assert_int_equal(read_one(&rule, "shed/loft", "{\"id\":[42],\"t\":20}").temp_fault,
			 WT_PAYLOAD_OTHER);
	/* What is no JSON might have been ours: it is told. */
	assert_int_equal(read_one(&rule, "shed/loft", "{\"id\":42,").temp_fault,
			 WT_PAYLOAD_NOT_JSON);
	rule.match_value = TEXT("true");
	assert_true(near(read_one(&rule, "shed/loft", "{\"id\":true,\"t\":20}").temp_c, 20));
}

/* Each of these gives neither value, and says why. */
static const struct {
	const struct wt_payload_rule *rule;
	const char *topic, *payload;
	enum wt_payload_fault fault;
} broken[] = {
	/* nothing there */
	{&bare, "shed/loft/temperature", "", WT_PAYLOAD_EMPTY},
	{&both, "shed/loft", "", WT_PAYLOAD_EMPTY},
	{&both, "shed/loft", "{}", WT_PAYLOAD_ABSENT},
	{&both, "shed/loft", "[]", WT_PAYLOAD_ABSENT},
	{&both, "shed/loft", "{\"T\":20,\"H\":60}", WT_PAYLOAD_ABSENT},
	{&both, "shed/loft", "{\"x\":{\"t\":20,\"h\":60}}", WT_PAYLOAD_ABSENT},
	{&both, "shed/loft", "20.5", WT_PAYLOAD_ABSENT},
	{&both, "shed/loft", "\"offline\"", WT_PAYLOAD_ABSENT},
	{&both, "shed/loft", "null", WT_PAYLOAD_ABSENT},
	/* the station says that it has no reading */
	{&both, "shed/loft", "{\"t\":null,\"h\":null}", WT_PAYLOAD_NO_READING},
	{&both, "shed/loft", "{\"t\":\"\",\"h\":\"\"}", WT_PAYLOAD_NO_READING},
	{&both, "shed/loft", "{\"t\":\"nan\",\"h\":\"NaN\"}", WT_PAYLOAD_NO_READING},
	{&both, "shed/loft", "{\"t\":\"unknown\",\"h\":\"unavailable\"}", WT_PAYLOAD_NO_READING},
	{&bare, "shed/loft/temperature", "nan", WT_PAYLOAD_NO_READING},
	{&bare, "shed/loft/temperature", "NaN", WT_PAYLOAD_NO_READING},
	{&bare, "shed/loft/temperature", "None", WT_PAYLOAD_NO_READING},
	{&bare, "shed/loft/temperature", "null", WT_PAYLOAD_NO_READING},
	{&bare, "shed/loft/temperature", "unknown", WT_PAYLOAD_NO_READING},
	{&bare, "shed/loft/temperature", "unavailable", WT_PAYLOAD_NO_READING},
	{&bare, "shed/loft/temperature", "Offline", WT_PAYLOAD_NO_READING},
	{&bare, "shed/loft/temperature", "  \n", WT_PAYLOAD_NO_READING},
	/* not a number */
	{&bare, "shed/loft/temperature", "inf", WT_PAYLOAD_NOT_NUMBER},
	{&bare, "shed/loft/temperature", "-Infinity", WT_PAYLOAD_NOT_NUMBER},
	{&bare, "shed/loft/temperature", "0x14", WT_PAYLOAD_NOT_NUMBER},
	{&bare, "shed/loft/temperature", "20,5", WT_PAYLOAD_NOT_NUMBER},
	{&bare, "shed/loft/temperature", "20.5 C", WT_PAYLOAD_NOT_NUMBER},
	{&bare, "shed/loft/temperature", "20.5\302\260C", WT_PAYLOAD_NOT_NUMBER},
	{&bare, "shed/loft/temperature", "20.5 63", WT_PAYLOAD_NOT_NUMBER},
	{&bare, "shed/loft/temperature", "20.5;63", WT_PAYLOAD_NOT_NUMBER},
	{&bare, "shed/loft/temperature", "\"20.5\"", WT_PAYLOAD_NOT_NUMBER},
	{&bare, "shed/loft/temperature", "{\"t\":20.5}", WT_PAYLOAD_NOT_NUMBER},
	{&bare, "shed/loft/temperature", "[20.5]", WT_PAYLOAD_NOT_NUMBER},
	{&bare, "shed/loft/temperature", "true", WT_PAYLOAD_NOT_NUMBER},
	{&bare, "shed/loft/temperature", "--5", WT_PAYLOAD_NOT_NUMBER},
	{&bare, "shed/loft/temperature", "1.2.3", WT_PAYLOAD_NOT_NUMBER},
	{&bare, "shed/loft/temperature", "e5", WT_PAYLOAD_NOT_NUMBER},
	{&bare, "shed/loft/temperature", "20.", WT_PAYLOAD_NOT_NUMBER},
	{&bare, "shed/loft/temperature", "\357\273\27720.5", WT_PAYLOAD_NOT_NUMBER},
	{&bare, "shed/loft/temperature", "\377\376\000", WT_PAYLOAD_NOT_NUMBER},
	{&bare, "shed/loft/temperature", "\033[31m20.5", WT_PAYLOAD_NOT_NUMBER},
	{&bare, "shed/loft/temperature",
	 "1111111111111111111111111111111111111111111111111111111"
	 "1111111111111111",
	 WT_PAYLOAD_NOT_NUMBER},
	{&both, "shed/loft", "{\"t\":true,\"h\":false}", WT_PAYLOAD_NOT_NUMBER},
	{&both, "shed/loft", "{\"t\":[20],\"h\":[60]}", WT_PAYLOAD_NOT_NUMBER},
	{&both, "shed/loft", "{\"t\":{\"v\":20},\"h\":{\"v\":60}}", WT_PAYLOAD_NOT_NUMBER},
	{&both, "shed/loft", "{\"t\":\"20,5\",\"h\":\"60%\"}", WT_PAYLOAD_NOT_NUMBER},
	{&both, "shed/loft", "{\"t\":\"warm\",\"h\":\"damp\"}", WT_PAYLOAD_NOT_NUMBER},
	/* not JSON */
	{&both, "shed/loft", "{", WT_PAYLOAD_NOT_JSON},
	{&both, "shed/loft", "{\"t\":20,\"h\":60", WT_PAYLOAD_NOT_JSON},
	{&both, "shed/loft", "{\"t\":20,\"h\":60}}", WT_PAYLOAD_NOT_JSON},
	{&both, "shed/loft", "{\"t\":20,\"h\":60,}", WT_PAYLOAD_NOT_JSON},
	{&both, "shed/loft", "{'t':20,'h':60}", WT_PAYLOAD_NOT_JSON},
	{&both, "shed/loft", "{t:20,h:60}", WT_PAYLOAD_NOT_JSON},
	{&both, "shed/loft", "{\"t\":nan,\"h\":nan}", WT_PAYLOAD_NOT_JSON},
	{&both, "shed/loft", "{\"t\":NaN,\"h\":NaN}", WT_PAYLOAD_NOT_JSON},
	{&both, "shed/loft", "{\"t\":1e999,\"h\":60}", WT_PAYLOAD_NOT_JSON},
	{&both, "shed/loft", "{\"t\":020,\"h\":060}", WT_PAYLOAD_NOT_JSON},
	{&both, "shed/loft", "{\"t\":20,\"h\":60,\"t\":21}", WT_PAYLOAD_NOT_JSON},
	{&both, "shed/loft", "{\"t\":20,\"h\":60,\"n\":\"\377\"}", WT_PAYLOAD_NOT_JSON},
	{&both, "shed/loft", "{\"t\":20,\"h\":60,\"n\":\"\001\"}", WT_PAYLOAD_NOT_JSON},
	{&both, "shed/loft", "t=20 h=60", WT_PAYLOAD_NOT_JSON},
	{&both, "shed/loft", "<t>20</t><h>60</h>", WT_PAYLOAD_NOT_JSON},
	{&both, "shed/loft", "\357\273\277{\"t\":20,\"h\":60}", WT_PAYLOAD_NOT_JSON},
	/* out of range */
	{&bare, "shed/loft/temperature", "1e999", WT_PAYLOAD_RANGE},
	{&bare, "shed/loft/temperature", "-40.1", WT_PAYLOAD_RANGE},
	{&bare, "shed/loft/temperature", "85.1", WT_PAYLOAD_RANGE},
	{&bare, "shed/loft/temperature", "-127", WT_PAYLOAD_RANGE}, /* a one-wire part not there */
	{&bare, "shed/loft/temperature", "32767", WT_PAYLOAD_RANGE},
	{&bare, "shed/loft/humidity", "-0.1", WT_PAYLOAD_RANGE},
	{&bare, "shed/loft/humidity", "105.1", WT_PAYLOAD_RANGE},
	{&bare, "shed/loft/humidity", "255", WT_PAYLOAD_RANGE},
	{&both, "shed/loft", "{\"t\":2050,\"h\":6300}", WT_PAYLOAD_RANGE}, /* hundredths */
	{&both, "shed/loft", "{\"t\":\"1e999\",\"h\":1e300}", WT_PAYLOAD_RANGE},
};

static void broken_payloads_give_nothing_and_a_reason(void **state)
{
	(void)state;
	assert_true(sizeof broken / sizeof broken[0] >= 60);
	for (size_t i = 0; i < sizeof broken / sizeof broken[0]; i++) {
		struct wt_payload_values out =
			read_one(broken[i].rule, broken[i].topic, broken[i].payload);
		enum wt_payload_fault fault =
			out.temp_fault == WT_PAYLOAD_OTHER ? out.rh_fault : out.temp_fault;
		assert_true(isnan(out.temp_c) && isnan(out.rh_pct) && isnan(out.source_unix_s));
		assert_int_equal(fault, broken[i].fault);
		assert_true(strlen(wt_payload_fault_text(fault)) > 3);
		for (const char *c = out.quoted; *c; c++)
			assert_true((unsigned char)*c >= 0x20 && *c != 0x7f);
	}
}

static void a_payload_that_is_too_long(void **state)
{
	const size_t length = 64 * 1024 + 1;
	char *payload = malloc(length);
	struct wt_payload_values out;

	(void)state;
	memset(payload, ' ', length);
	memcpy(payload, "20.5", 4);
	wt_payload_read(&bare, "shed/loft/temperature", payload, length, false, now_unix_s, &out);
	assert_int_equal(out.temp_fault, WT_PAYLOAD_TOO_LONG);
	wt_payload_read(&both, "shed/loft", payload, length, false, now_unix_s, &out);
	assert_int_equal(out.rh_fault, WT_PAYLOAD_TOO_LONG);
	assert_true(isnan(out.battery));
	wt_payload_read(&bare, "shed/loft/temperature", payload, length - 1, false, now_unix_s,
			&out);
	assert_true(near(out.temp_c, 20.5));
	free(payload);
}

static void a_byte_zero_is_not_an_end(void **state)
{
	struct wt_payload_values out;

	(void)state;
	wt_payload_read(&bare, "shed/loft/temperature", "20\0005", 4, false, now_unix_s, &out);
	assert_int_equal(out.temp_fault, WT_PAYLOAD_NOT_NUMBER);
	assert_string_equal(out.quoted, "20?5");
	wt_payload_read(&bare, "shed/loft/temperature", NULL, 0, false, now_unix_s, &out);
	assert_int_equal(out.temp_fault, WT_PAYLOAD_EMPTY);
}

static void the_number_of_a_load_cell(void **state)
{
	char quoted[64];
	double kg = -7;

	(void)state;
	assert_int_equal(wt_payload_number(NULL, "1250.5", 6, &kg, quoted), WT_PAYLOAD_FINE);
	assert_true(near(kg, 1250.5));
	assert_int_equal(wt_payload_number("/w/0", "{\"w\":[\"3.2\"]}", 13, &kg, quoted),
			 WT_PAYLOAD_FINE);
	assert_true(near(kg, 3.2));
	assert_int_equal(wt_payload_number("/w", "{\"w\":\"heavy\"}", 13, &kg, quoted),
			 WT_PAYLOAD_NOT_NUMBER);
	assert_string_equal(quoted, "\"heavy\"");
	assert_true(near(kg, 3.2));
}

/* MQTT 5.0, sections 4.7.1 and 4.7.2: the examples given there, and some beside them. */
static void topic_filters_of_mqtt_5(void **state)
{
	static const struct {
		const char *filter, *topic;
		bool match;
	} cases[] = {
		{"sport/tennis/player1/#", "sport/tennis/player1", true},
		{"sport/tennis/player1/#", "sport/tennis/player1/ranking", true},
		{"sport/tennis/player1/#", "sport/tennis/player1/score/wimbledon", true},
		{"sport/#", "sport", true},
		{"#", "sport/tennis", true},
		{"sport/tennis/#", "sport/tennis", true},
		{"sport/tennis/+", "sport/tennis/player1", true},
		{"sport/tennis/+", "sport/tennis/player1/ranking", false},
		{"sport/+", "sport", false},
		{"sport/+", "sport/", true},
		{"+", "sport", true},
		{"+/tennis/#", "sport/tennis", true},
		{"+/+", "/finance", true},
		{"/+", "/finance", true},
		{"+", "/finance", false},
		{"#", "$SYS/broker", false},
		{"+/monitor/Clients", "$SYS/monitor/Clients", false},
		{"$SYS/#", "$SYS/broker", true},
		{"$SYS/monitor/+", "$SYS/monitor/Clients", true},
		{"a/b", "a/b", true},
		{"a/b", "a/bc", false},
		{"a/bc", "a/b", false},
		{"a/b", "a/b/", false},
		{"a/b/", "a/b", false},
		{"a/+/c", "a//c", true},
		{"a/#", "ab", false},
		{"a/#", "", false},
	};
	static const char *const invalid[] = {"sport/tennis#",
					      "sport/tennis/#/ranking",
					      "sport+",
					      "a/+b",
					      "a/b+/c",
					      "",
					      "#/",
					      "++"};

	(void)state;
	for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++)
		assert_int_equal(wt_payload_topic_matches(cases[i].filter, cases[i].topic),
				 cases[i].match);
	for (size_t i = 0; i < sizeof invalid / sizeof invalid[0]; i++) {
		assert_false(wt_payload_filter_valid(invalid[i]));
		assert_false(wt_payload_topic_matches(invalid[i], "sport/tennis"));
	}
	assert_false(wt_payload_topic_matches(NULL, "a"));
}

int main(void)
{
	const struct CMUnitTest tests[] = {
		cmocka_unit_test(both_values_time_and_battery),
		cmocka_unit_test(one_value_alone_is_normal),
		cmocka_unit_test(bare_numbers_on_their_own_topics),
		cmocka_unit_test(units_are_converted_once),
		cmocka_unit_test(numbers_as_strings_are_taken),
		cmocka_unit_test(the_ends_of_the_ranges),
		cmocka_unit_test(a_source_time_is_believed_within_its_window),
		cmocka_unit_test(retained_messages_say_so),
		cmocka_unit_test(a_selector_picks_its_station),
		cmocka_unit_test(broken_payloads_give_nothing_and_a_reason),
		cmocka_unit_test(a_payload_that_is_too_long),
		cmocka_unit_test(a_byte_zero_is_not_an_end),
		cmocka_unit_test(the_number_of_a_load_cell),
		cmocka_unit_test(topic_filters_of_mqtt_5),
	};
	setenv("TZ", "CST-8", 1);
	tzset();
	return cmocka_run_group_tests(tests, NULL, NULL);
}
