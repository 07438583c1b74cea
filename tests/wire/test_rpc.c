/* SPDX-License-Identifier: GPL-3.0-or-later */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <cmocka.h>
#include <stdio.h>
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

/* JSON-RPC 2.0, section 4: an id is a string, a number or null; one with a fraction is only not
 * advised. */
static void an_id_comes_back_as_it_was(void **state)
{
	static const char *const ids[] = {"7", "-3", "1.5", "\"a\"", "\"\"", "null"};

	(void)state;
	for (size_t i = 0; i < sizeof ids / sizeof ids[0]; i++) {
		char line[80], wanted[40], *reply;
		struct wt_rpc_request request;
		struct wt_refusal refusal;

		snprintf(line, sizeof line, "{\"jsonrpc\":\"2.0\",\"id\":%s,\"method\":\"air\"}",
			 ids[i]);
		snprintf(wanted, sizeof wanted, "\"id\":%s,", ids[i]);
		assert_true(wt_rpc_parse(line, strlen(line), &request, &refusal));
		reply = wt_rpc_reply_line(request.id, NULL);
		assert_non_null(strstr(reply, wanted));
		free(reply);
		wt_rpc_clear(&request);
	}
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
		{"{\"jsonrpc\":\"2.0\",\"id\":true,\"method\":\"air\"}", WT_RPC_BAD_REQUEST, false,
		 "id must"},
		{"{\"jsonrpc\":\"2.0\",\"id\":[1],\"method\":\"air\"}", WT_RPC_BAD_REQUEST, false,
		 "id must"},
		/* JSON, and no request: JSON-RPC 2.0, section 5.1 and its examples. */
		{"5", WT_RPC_BAD_REQUEST, false, "one JSON object"},
		{"null", WT_RPC_BAD_REQUEST, false, "one JSON object"},
		{"\"tonight\"", WT_RPC_BAD_REQUEST, false, "one JSON object"},
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

static void answers_are_one_line(void **state)
{
	json_t *id = json_integer(9), *result = json_pack("{s:f}", "kg", 10.9);
	char *line = wt_rpc_reply_line(id, result);
	struct wt_refusal refusal;

	(void)state;
	assert_string_equal(line, "{\"jsonrpc\":\"2.0\",\"id\":9,\"result\":{\"kg\":10.9}}\n");
	free(line);
	wt_rpc_refuse_param(&refusal, "kg", "-3", "more than 0");
	line = wt_rpc_error_line(NULL, &refusal);
	assert_string_equal(
		line, "{\"jsonrpc\":\"2.0\",\"id\":null,\"error\":{\"code\":-32602,\"message\":"
		      "\"kg must be more than 0, not '-3'\",\"data\":{\"field\":\"kg\",\"given\":"
		      "\"-3\",\"accepted\":\"more than 0\",\"says\":[\"%s must be %s, not "
		      "'%s'\",\"kg\",\"more than 0\",\"-3\"]}}}\n");
	free(line);
	json_decref(id);
	json_decref(result);
}

/* A long name is cut, and the cut may go through a character: an answer there is all the same. */
static void a_cut_text_is_an_answer_yet(void **state)
{
	struct wt_refusal refusal;
	char name[1000];

	(void)state;
	for (size_t i = 0; i + 3 < sizeof name; i += 3)
		memcpy(name + i, "\xe9\x9c\x89", 4);
	for (int before = 0; before < 3; before++) {
		wt_rpc_refuse(&refusal, WT_RPC_TRY_AGAIN, "%.*s%s", before, "--", name);
		strcpy(refusal.field, "file");
		memcpy(refusal.accepted, refusal.text, sizeof refusal.accepted - 1);
		refusal.accepted[sizeof refusal.accepted - 1] = '\0';
		char *line = wt_rpc_error_line(NULL, &refusal);
		assert_non_null(line);
		json_t *document = json_loads(line, 0, NULL);
		const json_t *error = json_object_get(document, "error");
		assert_true(json_string_length(json_object_get(error, "message")) > 500);
		assert_non_null(json_object_get(json_object_get(error, "data"), "accepted"));
		json_decref(document);
		free(line);
	}
}

static void absent_values_keep_their_default(void **state)
{
	json_t *params = json_loads("{\"why\":null}", 0, NULL);
	struct wt_refusal refusal;
	int64_t unix_s = 7;
	const char *text = "as it was";

	(void)state;
	assert_true(wt_rpc_get_text(params, "why", 80, false, &text, &refusal));
	assert_true(wt_rpc_get_time(params, "at", 100, WT_TIMEFMT_PAST, false, &unix_s, &refusal));
	assert_true(unix_s == 7);
	assert_string_equal(text, "as it was");
	assert_false(wt_rpc_get_text(params, "why", 80, true, &text, &refusal));
	assert_non_null(strstr(refusal.text, "why is missing; it must be text of 1 to 80 bytes"));
	json_decref(params);
}

static void texts_and_times(void **state)
{
	struct wt_refusal refusal;
	const char *text = NULL;
	int64_t unix_s = -7;
	json_t *params =
		json_loads("{\"t\":\"mould\",\"bad\":\"a\\u001b[2J\",\"long\":\"123456\",\"n\":5,"
			   "\"at\":\"-2h\",\"num\":1775556300,\"neg\":-1}",
			   0, NULL);

	(void)state;
	assert_true(wt_rpc_get_text(params, "t", 5, true, &text, &refusal));
	assert_string_equal(text, "mould");
	assert_false(wt_rpc_get_text(params, "bad", 80, true, &text, &refusal));
	assert_string_equal(refusal.given, "a?[2J");
	assert_false(wt_rpc_get_text(params, "long", 5, true, &text, &refusal));
	assert_false(wt_rpc_get_text(params, "n", 5, true, &text, &refusal));
	assert_string_equal(text, "mould");
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
		cmocka_unit_test(an_id_comes_back_as_it_was),
		cmocka_unit_test(a_notification_has_no_id),
		cmocka_unit_test(broken_requests),
		cmocka_unit_test(a_request_that_is_too_long),
		cmocka_unit_test(answers_are_one_line),
		cmocka_unit_test(a_cut_text_is_an_answer_yet),
		cmocka_unit_test(absent_values_keep_their_default),
		cmocka_unit_test(texts_and_times),
		cmocka_unit_test(unknown_names_are_told),
	};
	return cmocka_run_group_tests(tests, NULL, NULL);
}
