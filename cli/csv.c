/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "cli/csv.h"

#include <stdlib.h>
#include <string.h>

#include "cli/doc.h"
#include "cli/memory.h"
#include "cli/run.h"
#include "cli/tongue.h"
#include "lib/wire/text.h"

/* 15 digits bring back what a person wrote, 17 any double. */
static void print_real(FILE *out, double value)
{
	char text[40];

	snprintf(text, sizeof text, "%.15g", value);
	if (strtod(text, NULL) != value)
		snprintf(text, sizeof text, "%.17g", value);
	fputs(text, out);
}

/* A table has no way to write what would rule a terminal: '?' stands for it.  Line feeds are a
 * table's own. */
static char *cleaned(const char *text)
{
	size_t length = strlen(text), used = 0;
	char *out = wt_memory_get(length + 4, 1);

	for (size_t at = 0, n; at <= length; at += n + 1) {
		n = strcspn(text + at, "\n");
		wt_text_clean(text + at, n, out + used, length + 4 - used);
		used += strlen(out + used);
		if (text[at + n])
			out[used++] = '\n';
	}
	out[used] = '\0';
	return out;
}

/* JSON has: then everything but plain ASCII is written in numbers, and nothing is lost. */
static char *dump(const json_t *value, size_t flags)
{
	char *text = json_dumps(value, flags), *out;
	size_t used = 0;

	if (!text)
		wt_memory_end();
	if (wt_text_is_clean(text, strlen(text)))
		return text;
	free(text);
	text = json_dumps(value, flags | JSON_ENSURE_ASCII);
	if (!text)
		wt_memory_end();
	out = wt_memory_get(6 * strlen(text) + 1, 1);
	for (const char *c = text; *c; c++) {
		if (*c == 0x7F) {
			memcpy(out + used, "\\u007f", 6);
			used += 6;
		} else {
			out[used++] = *c;
		}
	}
	out[used] = '\0';
	free(text);
	return out;
}

static void print_quoted(FILE *out, const char *text)
{
	if (!strpbrk(text, ",\"\r\n")) {
		fputs(text, out);
		return;
	}
	fputc('"', out);
	for (; *text; text++) {
		if (*text == '"')
			fputc('"', out);
		fputc(*text, out);
	}
	fputc('"', out);
}

static void print_value(FILE *out, const json_t *value)
{
	if (json_is_string(value)) {
		char *text = cleaned(json_string_value(value));

		print_quoted(out, text);
		free(text);
	} else if (json_is_integer(value)) {
		fprintf(out, "%" JSON_INTEGER_FORMAT, json_integer_value(value));
	} else if (json_is_real(value)) {
		print_real(out, json_real_value(value));
	} else if (json_is_boolean(value)) {
		fputs(json_is_true(value) ? "true" : "false", out);
	} else if (value && !json_is_null(value)) {
		char *text = dump(value, JSON_COMPACT);

		print_quoted(out, text);
		free(text);
	}
}

void wt_csv_row(FILE *out, const json_t *row)
{
	for (size_t i = 0; i < json_array_size(row); i++) {
		if (i > 0)
			fputc(',', out);
		print_value(out, json_array_get(row, i));
	}
	fputc('\n', out);
}

/* The rows as objects, keys named by the columns. */
static void print_objects(const json_t *columns, const json_t *rows, bool *begun)
{
	size_t i, k;
	json_t *row;

	json_array_foreach(rows, i, row)
	{
		json_t *object = json_object();
		char *text;

		for (k = 0; k < json_array_size(columns); k++) {
			const char *key = json_string_value(json_array_get(columns, k));
			json_t *value = json_array_get(row, k);

			if (key)
				json_object_set(object, key, value ? value : json_null());
		}
		text = dump(object, JSON_COMPACT | JSON_REAL_PRECISION(15));
		printf("%s\n%s", *begun ? "," : "", text);
		*begun = true;
		free(text);
		json_decref(object);
	}
}

static void print_json_head(const struct wt_command *call, const json_t *result)
{
	json_t *head = json_object();
	const char *keys[] = {"format", "now_unix_s", "timezone", "site"};
	char *text;

	for (size_t i = 0; i < sizeof keys / sizeof *keys; i++)
		if (json_object_get(result, keys[i]))
			json_object_set(head, keys[i], json_object_get(result, keys[i]));
	json_object_set(head, "what", json_object_get(call->params, "what"));
	text = dump(head, JSON_COMPACT);
	text[strlen(text) - 1] = '\0';
	printf("%s,\"rows\":[", text);
	free(text);
	json_decref(head);
}

static void print_part(const struct wt_command *call, const json_t *result, bool first, bool *begun)
{
	const json_t *columns = wt_doc_list(result, "columns"), *rows = wt_doc_list(result, "rows");
	size_t i;
	json_t *row;

	if (!call->csv) {
		if (first)
			print_json_head(call, result);
		print_objects(columns, rows, begun);
		return;
	}
	if (first)
		wt_csv_row(stdout, columns);
	json_array_foreach(rows, i, row) wt_csv_row(stdout, row);
}

int wt_run_export(const struct wt_command *call)
{
	struct wt_socket *socket = wt_run_connect(call);
	bool more = true, first = true, begun = false;
	int code = WT_EXIT_FINE;

	if (!socket)
		return WT_EXIT_FAILED;
	while (more && code == WT_EXIT_FINE) {
		struct wt_reply reply;
		json_t *cursor;

		code = wt_run_ask(socket, "export", call->params, call->verb->deadline_s, &reply);
		if (code != WT_EXIT_FINE)
			break;
		print_part(call, reply.result, first, &begun);
		first = false;
		cursor = json_object_get(reply.result, "cursor");
		more = wt_doc_true(reply.result, "more");
		if (more &&
		    (!cursor || json_equal(cursor, json_object_get(call->params, "cursor")))) {
			wt_run_complain(
				"%s",
				_("the export does not go on; the daemon gave no new cursor"));
			code = WT_EXIT_FAILED;
		}
		if (more && cursor)
			json_object_set(call->params, "cursor", cursor);
		wt_socket_reply_clear(&reply);
		if (ferror(stdout))
			break;
	}
	if (!call->csv && code == WT_EXIT_FINE)
		printf("%s]}\n", begun ? "\n" : "");
	wt_socket_close(&socket);
	return wt_run_finish(code);
}
