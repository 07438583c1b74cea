/* SPDX-License-Identifier: GPL-3.0-or-later */
#include <stdlib.h>
#include <string.h>

#include "fuzz.h"
#include "lib/wire/rpc.h"

static void check_refusal(const struct wt_refusal *refusal)
{
	fuzz_require(refusal->code < 0 && refusal->text[0], "a refusal has a code and a sentence");
	fuzz_require_printable(refusal->text, 0);
	fuzz_require_printable(refusal->field, 0);
	fuzz_require_printable(refusal->given, 0);
}

/* Every getter on every parameter: a value as it should be, or a refusal. */
static void check_getters(const json_t *params, const char *name)
{
	static const char *const known[] = {"kg", "load", "at", NULL};
	struct wt_refusal refusal = {0};
	int64_t unix_s = -1;
	const char *text = NULL;

	if (!wt_rpc_get_text(params, name, 80, true, &text, &refusal))
		check_refusal(&refusal);
	else
		fuzz_require_printable(text, 0);
	if (!wt_rpc_get_time(params, name, 1792888200, WT_TIMEFMT_PAST, true, &unix_s, &refusal))
		check_refusal(&refusal);
	else
		fuzz_require(unix_s >= 0 && unix_s <= WT_TIMEFMT_LAST_UNIX_S, "a time in range");
	if (!wt_rpc_check_names(params, known, &refusal))
		check_refusal(&refusal);
}

static void check_line(char *line)
{
	json_t *document;
	size_t length = line ? strlen(line) : 0;

	fuzz_require(length && line[length - 1] == '\n' && !memchr(line, '\n', length - 1),
		     "an answer is one line");
	document = json_loadb(line, length, 0, NULL);
	fuzz_require(document != NULL, "an answer is JSON");
	json_decref(document);
	free(line);
}

void fuzz_rpc(const uint8_t *data, size_t size)
{
	struct wt_rpc_request request;
	struct wt_refusal refusal = {0};
	const char *name;
	json_t *value;

	if (wt_rpc_parse((const char *)data, size, &request, &refusal)) {
		json_object_foreach(request.params, name, value)
			check_getters(request.params, name);
		check_line(wt_rpc_reply_line(request.id, request.params));
	} else {
		check_refusal(&refusal);
		check_line(wt_rpc_error_line(request.id, &refusal));
	}
	wt_rpc_clear(&request);
}
