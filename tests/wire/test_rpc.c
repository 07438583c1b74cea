/* SPDX-License-Identifier: GPL-3.0-or-later */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <cmocka.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "lib/wire/rpc.h"

static void a_request(void **state)
{
	static const char line[] = "{\"jsonrpc\":\"2.0\",\"id\":7,\"method\":\"weigh\","
				   "\"params\":{\"load\":3,\"sample_fresh\":\"800g\"}}\n";
	struct wt_rpc_request request;
	struct wt_refusal refusal;

	(void)state;
	assert_true(wt_rpc_parse(line, strlen(line), &request, &refusal));
	assert_int_equal(json_integer_value(request.id), 7);
	assert_string_equal(request.method, "weigh");
	assert_non_null(json_object_get(request.params, "sample-fresh"));
	wt_rpc_clear(&request);
}

static void a_notification_has_no_id(void **state)
{
	static const char line[] = "{\"jsonrpc\":\"2.0\",\"method\":\"tonight\"}";
	struct wt_rpc_request request;
	struct wt_refusal refusal;

	(void)state;
	assert_true(wt_rpc_parse(line, strlen(line), &request, &refusal));
	assert_null(request.id);
	assert_int_equal(json_object_size(request.params), 0);
	wt_rpc_clear(&request);
}

static void broken_requests(void **state)
{
	static const struct {
		const char *line;
		int code;
		bool id;
		const char *says;
	} cases[] = {
		{"", WT_RPC_NOT_JSON, false, "not JSON"},
		{"tonight", WT_RPC_NOT_JSON, false, "not JSON"},
		{"{\"jsonrpc\":\"2.0\"", WT_RPC_NOT_JSON, false, "not JSON"},
		{"\033]0;x\007", WT_RPC_NOT_JSON, false, "not JSON"},
		{"{\"id\":1,\"id\":2}", WT_RPC_NOT_JSON, false, "not JSON"},
		{"[{\"jsonrpc\":\"2.0\",\"id\":1,\"method\":\"air\"}]", WT_RPC_BAD_REQUEST, false,
		 "one JSON object"},
		{"{\"id\":1,\"method\":\"air\"}", WT_RPC_BAD_REQUEST, true, "jsonrpc"},
		{"{\"jsonrpc\":2.0,\"id\":1,\"method\":\"air\"}", WT_RPC_BAD_REQUEST, true,
		 "jsonrpc"},
		{"{\"jsonrpc\":\"2.0\",\"id\":1}", WT_RPC_BAD_REQUEST, true, "method"},
		{"{\"jsonrpc\":\"2.0\",\"id\":1,\"method\":5}", WT_RPC_BAD_REQUEST, true, "method"},
		{"{\"jsonrpc\":\"2.0\",\"id\":1,\"method\":\"\"}", WT_RPC_BAD_REQUEST, true,
		 "method"},
		{"{\"jsonrpc\":\"2.0\",\"id\":{},\"method\":\"air\"}", WT_RPC_BAD_REQUEST, false,
		 "id must"},
		{"{\"jsonrpc\":\"2.0\",\"id\":1.5,\"method\":\"air\"}", WT_RPC_BAD_REQUEST, false,
		 "id must"},
		{"{\"jsonrpc\":\"2.0\",\"id\":1,\"method\":\"air\",\"parms\":{}}",
		 WT_RPC_BAD_REQUEST, true, "'parms'"},
		{"{\"jsonrpc\":\"2.0\",\"id\":1,\"method\":\"air\",\"params\":[1]}",
		 WT_RPC_BAD_PARAM, true, "named values"},
		{"{\"jsonrpc\":\"2.0\",\"id\":\"x\",\"method\":\"weigh\",\"params\":{\"sample-"
		 "fresh\":1,"
		 "\"sample_fresh\":2}}",
		 WT_RPC_BAD_PARAM, true, "once"},
	};

	(void)state;
	for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
		struct wt_rpc_request request;
		struct wt_refusal refusal = {0};
		char *line;
		assert_false(
			wt_rpc_parse(cases[i].line, strlen(cases[i].line), &request, &refusal));
		assert_int_equal(refusal.code, cases[i].code);
		assert_int_equal(request.id != NULL, cases[i].id);
		assert_non_null(strstr(refusal.text, cases[i].says));
		/* The answer is JSON whatever was asked. */
		line = wt_rpc_error_line(request.id, &refusal);
		assert_int_equal(line[strlen(line) - 1], '\n');
		assert_null(strchr(line, '\033'));
		free(line);
		wt_rpc_clear(&request);
	}
}

static void a_request_that_is_too_long(void **state)
{
	const size_t length = WT_RPC_LINE_MAX + 1;
	char *line = malloc(length);
	struct wt_rpc_request request;
	struct wt_refusal refusal;

	(void)state;
	memset(line, ' ', length);
	assert_false(wt_rpc_parse(line, length, &request, &refusal));
	assert_int_equal(refusal.code, WT_RPC_BAD_REQUEST);
	free(line);
}

static void answers_come_back(void **state)
{
	json_t *id = json_integer(9), *result = json_pack("{s:f}", "kg", 10.9), *back;
	char *line = wt_rpc_reply_line(id, result), *asked;
	struct wt_refusal refusal, told;
	struct wt_rpc_request request;

	(void)state;
	back = wt_rpc_parse_reply(line, strlen(line), 9, &refusal);
	assert_true(json_equal(back, result));
	json_decref(back);
	assert_null(wt_rpc_parse_reply(line, strlen(line), 8, &refusal));
	assert_non_null(strstr(refusal.text, "cannot be understood"));
	free(line);
	wt_rpc_refuse_param(&refusal, "kg", "-3", "more than 0 and at most 500 (kg or g)");
	line = wt_rpc_error_line(id, &refusal);
	assert_null(wt_rpc_parse_reply(line, strlen(line), 9, &told));
	assert_int_equal(told.code, WT_RPC_BAD_PARAM);
	assert_string_equal(told.text, refusal.text);
	assert_string_equal(told.field, "kg");
	assert_string_equal(told.given, "-3");
	free(line);
	asked = wt_rpc_request_line(9, "loads", NULL);
	assert_true(wt_rpc_parse(asked, strlen(asked), &request, &refusal));
	assert_string_equal(request.method, "loads");
	wt_rpc_clear(&request);
	free(asked);
	json_decref(id);
	json_decref(result);
}

static void strange_answers_are_refused(void **state)
{
	static const char *const cases[] = {"",
					    "{}",
					    "null",
					    "{\"id\":9}",
					    "{\"id\":9,\"result\":{},\"error\":{\"code\":1}}",
					    "{\"id\":\"9\",\"result\":{}}",
					    "{\"id\":9,\"error\":5}",
					    "{\"id\":3,\"error\":{\"code\":1}}"};

	(void)state;
	for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
		struct wt_refusal refusal = {0};
		assert_null(wt_rpc_parse_reply(cases[i], strlen(cases[i]), 9, &refusal));
		assert_int_equal(refusal.code, WT_RPC_FAULT);
	}
}

/* One parameter "v" holding the JSON text. */
static json_t *with(const char *value)
{
	char text[256];
	json_t *params;

	(void)snprintf(text, sizeof text, "{\"v\":%s}", value);
	params = json_loads(text, 0, NULL);
	assert_non_null(params);
	return params;
}

static void numbers_with_units_and_bounds(void **state)
{
	static const struct wt_rpc_number kg = {"v", WT_QUANTITY_KG, 0, 500, true, true};
	static const struct {
		const char *value;
		double kg;
	} good[] = {{"12.4", 12.4},       {"500", 500},       {"\"12.4\"", 12.4},
		    {"\"12.4kg\"", 12.4}, {"\"800 g\"", 0.8}, {"1e-3", 0.001}};
	static const struct {
		const char *value, *says;
	} bad[] = {{"0", "not '0'"},
		   {"-3", "v must be more than 0 and at most 500 (kg or g), not '-3'"},
		   {"500.1", "not '500.1'"},
		   {"\"12,4\"", "not '12,4'"},
		   {"\"4m2\"", "not '4m2'"},
		   {"true", "not 'true'"},
		   {"[1]", "not '[1]'"},
		   {"{}", "not '{}'"},
		   {"\"\"", "not ''"},
		   {"\"nan\"", "not 'nan'"},
		   {"null", "v is missing"}};
	struct wt_refusal refusal;
	double out;

	(void)state;
	for (size_t i = 0; i < sizeof good / sizeof good[0]; i++) {
		json_t *params = with(good[i].value);
		assert_true(wt_rpc_get_number(params, &kg, &out, &refusal));
		assert_true(fabs(out - good[i].kg) < 1e-12);
		json_decref(params);
	}
	for (size_t i = 0; i < sizeof bad / sizeof bad[0]; i++) {
		json_t *params = with(bad[i].value);
		out = -7;
		assert_false(wt_rpc_get_number(params, &kg, &out, &refusal));
		assert_true(out == -7);
		assert_int_equal(refusal.code, WT_RPC_BAD_PARAM);
		assert_string_equal(refusal.field, "v");
		assert_non_null(strstr(refusal.text, bad[i].says));
		json_decref(params);
	}
}

static void absent_values_keep_their_default(void **state)
{
	static const struct wt_rpc_number kg = {"kg", WT_QUANTITY_KG, 0, 500, true, false};
	json_t *params = json_loads("{\"kg\":null}", 0, NULL);
	struct wt_refusal refusal;
	double number = 5;
	int64_t whole = 6, unix_s = 7;
	const char *text = "as it was";
	bool flag = true;
	int word = WT_GRADE_MIXED;

	(void)state;
	assert_true(wt_rpc_get_number(params, &kg, &number, &refusal));
	assert_true(wt_rpc_get_integer(params, "load", 1, 9, false, &whole, &refusal));
	assert_true(wt_rpc_get_text(params, "why", 80, false, &text, &refusal));
	assert_true(wt_rpc_get_flag(params, "fan", false, &flag, &refusal));
	assert_true(wt_rpc_get_word(params, "grade", WT_WORDS_GRADE, false, &word, &refusal));
	assert_true(wt_rpc_get_time(params, "at", 100, WT_TIMEFMT_PAST, false, &unix_s, &refusal));
	assert_true(number == 5 && whole == 6 && unix_s == 7 && flag && word == WT_GRADE_MIXED);
	assert_string_equal(text, "as it was");
	assert_false(wt_rpc_get_integer(params, "load", 1, 9, true, &whole, &refusal));
	assert_non_null(
		strstr(refusal.text, "load is missing; it must be a whole number from 1 to 9"));
	json_decref(params);
}

static void whole_numbers(void **state)
{
	static const char *const bad[] = {"0", "10", "1.5", "\"x\"", "1e300", "\"1.5\"", "true"};
	struct wt_refusal refusal;
	int64_t out = -7;
	json_t *params = with("\"3\"");

	(void)state;
	assert_true(wt_rpc_get_integer(params, "v", 1, 9, true, &out, &refusal));
	assert_int_equal(out, 3);
	json_decref(params);
	params = with("4.0");
	assert_true(wt_rpc_get_integer(params, "v", 1, 9, true, &out, &refusal));
	assert_int_equal(out, 4);
	json_decref(params);
	for (size_t i = 0; i < sizeof bad / sizeof bad[0]; i++) {
		params = with(bad[i]);
		assert_false(wt_rpc_get_integer(params, "v", 1, 9, true, &out, &refusal));
		assert_int_equal(out, 4);
		json_decref(params);
	}
}

static void texts_words_flags_and_times(void **state)
{
	struct wt_refusal refusal;
	const char *text = NULL;
	int word = -7;
	bool flag = false;
	int64_t unix_s = -7;
	json_t *params =
		json_loads("{\"t\":\"mould\",\"bad\":\"a\\u001b[2J\",\"long\":\"123456\",\"n\":5,"
			   "\"w\":\"young\",\"x\":\"yung\",\"on\":\"on\",\"no\":\"no\",\"y\":true,"
			   "\"maybe\":\"maybe\",\"at\":\"-2h\",\"num\":1775556300,\"neg\":-1}",
			   0, NULL);

	(void)state;
	assert_true(wt_rpc_get_text(params, "t", 5, true, &text, &refusal));
	assert_string_equal(text, "mould");
	assert_false(wt_rpc_get_text(params, "bad", 80, true, &text, &refusal));
	assert_string_equal(refusal.given, "a?[2J");
	assert_false(wt_rpc_get_text(params, "long", 5, true, &text, &refusal));
	assert_false(wt_rpc_get_text(params, "n", 5, true, &text, &refusal));
	assert_string_equal(text, "mould");
	assert_true(wt_rpc_get_word(params, "w", WT_WORDS_GRADE, true, &word, &refusal));
	assert_int_equal(word, WT_GRADE_YOUNG);
	assert_false(wt_rpc_get_word(params, "x", WT_WORDS_GRADE, true, &word, &refusal));
	assert_string_equal(refusal.text, "x must be one of bud, young, mixed, mature, not 'yung'");
	assert_false(wt_rpc_get_word(params, "n", WT_WORDS_GRADE, true, &word, &refusal));
	assert_true(wt_rpc_get_flag(params, "on", true, &flag, &refusal) && flag);
	assert_true(wt_rpc_get_flag(params, "no", true, &flag, &refusal) && !flag);
	assert_true(wt_rpc_get_flag(params, "y", true, &flag, &refusal) && flag);
	assert_false(wt_rpc_get_flag(params, "maybe", true, &flag, &refusal));
	assert_true(wt_rpc_get_time(params, "at", 10000, WT_TIMEFMT_PAST, true, &unix_s, &refusal));
	assert_int_equal(unix_s, 2800);
	assert_true(
		wt_rpc_get_time(params, "num", 10000, WT_TIMEFMT_PAST, true, &unix_s, &refusal));
	assert_int_equal(unix_s, 1775556300);
	assert_false(
		wt_rpc_get_time(params, "neg", 10000, WT_TIMEFMT_PAST, true, &unix_s, &refusal));
	assert_false(wt_rpc_get_time(params, "t", 10000, WT_TIMEFMT_PAST, true, &unix_s, &refusal));
	assert_non_null(strstr(refusal.text, "HH:MM"));
	assert_int_equal(unix_s, 1775556300);
	json_decref(params);
}

static void unknown_names_are_told(void **state)
{
	static const char *const known[] = {"kg", "sample-fresh", NULL}, *const none[] = {NULL};
	json_t *params = json_loads("{\"sample_fresh\":1,\"kq\":2}", 0, NULL);
	struct wt_refusal refusal;

	(void)state;
	assert_false(wt_rpc_check_names(params, known, &refusal));
	assert_string_equal(refusal.text,
			    "a parameter's name must be one of kg, sample-fresh, not 'kq'");
	json_object_del(params, "kq");
	assert_true(wt_rpc_check_names(params, known, &refusal));
	assert_false(wt_rpc_check_names(params, none, &refusal));
	json_decref(params);
}

int main(void)
{
	const struct CMUnitTest tests[] = {
		cmocka_unit_test(a_request),
		cmocka_unit_test(a_notification_has_no_id),
		cmocka_unit_test(broken_requests),
		cmocka_unit_test(a_request_that_is_too_long),
		cmocka_unit_test(answers_come_back),
		cmocka_unit_test(strange_answers_are_refused),
		cmocka_unit_test(numbers_with_units_and_bounds),
		cmocka_unit_test(absent_values_keep_their_default),
		cmocka_unit_test(whole_numbers),
		cmocka_unit_test(texts_words_flags_and_times),
		cmocka_unit_test(unknown_names_are_told),
	};
	return cmocka_run_group_tests(tests, NULL, NULL);
}
