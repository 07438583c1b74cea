/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "lib/wire/rpc.h"

#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "lib/wire/text.h"

void wt_rpc_refuse(struct wt_refusal *refusal, int code, const char *format, ...)
{
	va_list args;

	*refusal = (struct wt_refusal){.code = code};
	va_start(args, format);
	wt_says_take(refusal->says, format, args);
	(void)vsnprintf(refusal->text, sizeof refusal->text, format, args);
	va_end(args);
}

void wt_rpc_refuse_param(struct wt_refusal *refusal, const char *field, const char *given,
			 const char *accepted)
{
	struct wt_refusal out = {.code = WT_RPC_BAD_PARAM};

	wt_text_clean(field, strlen(field), out.field, sizeof out.field);
	wt_text_clean(accepted, strlen(accepted), out.accepted, sizeof out.accepted);
	if (given) {
		wt_text_clean(given, strlen(given), out.given, sizeof out.given);
		(void)snprintf(out.text, sizeof out.text, "%s must be %s, not '%s'", out.field,
			       out.accepted, out.given);
		wt_says_make(out.says, "%s must be %s, not '%s'", out.field, out.accepted,
			     out.given);
	} else {
		(void)snprintf(out.text, sizeof out.text, "%s is missing; it must be %s", out.field,
			       out.accepted);
		wt_says_make(out.says, "%s is missing; it must be %s", out.field, out.accepted);
	}
	*refusal = out;
}

/* A copy of params in which '_' in keys became '-'; NULL with *refusal when two keys become one. */
static json_t *copy_params(json_t *params, struct wt_refusal *refusal)
{
	json_t *copy = json_object(), *value;
	const char *key;

	if (!copy)
		goto no_memory;
	json_object_foreach(params, key, value)
	{
		char *name = strdup(key);
		bool twice, stored;
		if (!name)
			goto no_memory;
		for (char *c = name; *c; c++) {
			if (*c == '_')
				*c = '-';
		}
		twice = json_object_get(copy, name) != NULL;
		if (twice)
			wt_rpc_refuse_param(refusal, name, key, "given once");
		stored = !twice && !json_object_set(copy, name, value);
		free(name);
		if (twice)
			goto fail;
		if (!stored)
			goto no_memory;
	}
	return copy;
no_memory:
	wt_rpc_refuse(refusal, WT_RPC_FAULT, "out of memory");
fail:
	json_decref(copy);
	return NULL;
}

static bool check_envelope(const json_t *document, struct wt_refusal *refusal)
{
	static const char *const known[] = {"jsonrpc", "id", "method", "params", NULL};
	const json_t *version = json_object_get(document, "jsonrpc");
	const json_t *method = json_object_get(document, "method");

	if (!json_is_object(document)) {
		wt_rpc_refuse(refusal, WT_RPC_BAD_REQUEST, "a request must be one JSON object");
		return false;
	}
	if (!json_is_string(version) || strcmp(json_string_value(version), "2.0")) {
		wt_rpc_refuse(refusal, WT_RPC_BAD_REQUEST, "jsonrpc must be \"2.0\"");
		return false;
	}
	if (!json_is_string(method) || json_string_length(method) == 0 ||
	    json_string_length(method) > 64) {
		wt_rpc_refuse(refusal, WT_RPC_BAD_REQUEST,
			      "method must be a string of 1 to 64 bytes");
		return false;
	}
	if (!wt_rpc_check_names(document, known, refusal)) {
		refusal->code = WT_RPC_BAD_REQUEST;
		return false;
	}
	return true;
}

/* The id of a request: a string, a number or null. */
static bool read_id(const json_t *document, json_t **out, struct wt_refusal *refusal)
{
	json_t *id = json_object_get(document, "id");

	if (id && !json_is_string(id) && !json_is_number(id) && !json_is_null(id)) {
		wt_rpc_refuse(refusal, WT_RPC_BAD_REQUEST, "id must be a string, a number or null");
		return false;
	}
	*out = json_incref(id);
	return true;
}

json_t *wt_rpc_document(const char *line, size_t length, struct wt_refusal *refusal)
{
	json_t *document;
	json_error_t error;

	if (length > WT_RPC_LINE_MAX) {
		wt_rpc_refuse(refusal, WT_RPC_BAD_REQUEST,
			      "a request is at most %d bytes long, not %zu", WT_RPC_LINE_MAX,
			      length);
		return NULL;
	}
	document = json_loadb(line, length, JSON_REJECT_DUPLICATES | JSON_DECODE_ANY, &error);
	if (!document) {
		char clean[sizeof error.text];
		wt_text_clean(error.text, strlen(error.text), clean, sizeof clean);
		wt_rpc_refuse(refusal, WT_RPC_NOT_JSON, "the request is not JSON: %s", clean);
	}
	return document;
}

bool wt_rpc_read(const json_t *document, struct wt_rpc_request *request, struct wt_refusal *refusal)
{
	json_t *params;

	*request = (struct wt_rpc_request){0};
	if (!read_id(document, &request->id, refusal) || !check_envelope(document, refusal))
		return false;
	params = json_object_get(document, "params");
	if (params && !json_is_object(params)) {
		wt_rpc_refuse(refusal, WT_RPC_BAD_PARAM,
			      "params must be an object of named values");
		return false;
	}
	request->params = copy_params(params, refusal);
	if (!request->params)
		return false;
	request->method = strdup(json_string_value(json_object_get(document, "method")));
	if (request->method)
		return true;
	wt_rpc_refuse(refusal, WT_RPC_FAULT, "out of memory");
	json_decref(request->params);
	request->params = NULL;
	return false;
}

bool wt_rpc_parse(const char *line, size_t length, struct wt_rpc_request *request,
		  struct wt_refusal *refusal)
{
	json_t *document = wt_rpc_document(line, length, refusal);
	bool fine;

	*request = (struct wt_rpc_request){0};
	fine = document && wt_rpc_read(document, request, refusal);
	json_decref(document);
	return fine;
}

void wt_rpc_clear(struct wt_rpc_request *request)
{
	json_decref(request->id);
	json_decref(request->params);
	free(request->method);
	*request = (struct wt_rpc_request){0};
}

/* Steals document. */
static char *dump_line(json_t *document)
{
	char *text = document ? json_dumps(document, JSON_COMPACT | JSON_REAL_PRECISION(15)) : NULL;
	char *line = NULL;

	if (text) {
		size_t length = strlen(text);
		line = realloc(text, length + 2);
		if (line)
			memcpy(line + length, "\n", 2);
		else
			free(text);
	}
	json_decref(document);
	return line;
}

/* jansson takes values to be packed as not const, though it only counts them. */
static json_t *share(const json_t *value)
{
	union {
		const json_t *in;
		json_t *out;
	} alias = {.in = value};
	return value ? json_incref(alias.out) : NULL;
}

char *wt_rpc_reply_line(const json_t *id, const json_t *result)
{
	return dump_line(json_pack("{s:s, s:o, s:o}", "jsonrpc", "2.0", "id",
				   id ? share(id) : json_null(), "result",
				   result ? share(result) : json_null()));
}

/* What was cut may end within a character, and only UTF-8 can be sent. */
static json_t *clean_text(const char *text)
{
	char clean[sizeof((struct wt_refusal){0}.text)];
	wt_text_clean(text, strlen(text), clean, sizeof clean);
	return json_string(clean);
}

char *wt_rpc_error_line(const json_t *id, const struct wt_refusal *refusal)
{
	json_t *error = json_pack("{s:i, s:o}", "code", refusal->code, "message",
				  clean_text(refusal->text));
	json_t *data = refusal->field[0]
			       ? json_pack("{s:o, s:o, s:o}", "field", clean_text(refusal->field),
					   "given", clean_text(refusal->given), "accepted",
					   clean_text(refusal->accepted))
			       : json_object();
	json_t *says = wt_says_json(refusal->says);

	if (says)
		json_object_set_new(data, "says", says);
	if (json_object_size(data))
		json_object_set(error, "data", data);
	json_decref(data);
	return dump_line(json_pack("{s:s, s:o, s:o}", "jsonrpc", "2.0", "id",
				   id ? share(id) : json_null(), "error", error));
}
