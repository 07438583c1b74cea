/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "cli/run.h"

#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "cli/doc.h"
#include "cli/origin.h"
#include "cli/page.h"
#include "cli/print.h"
#include "cli/tongue.h"
#include "cli/when.h"
#include "lib/wire/rpc_code.h"

void wt_run_complain(const char *format, ...)
{
	char text[2048];
	struct wt_term term;
	struct wt_page page;
	va_list args;

	va_start(args, format);
	vsnprintf(text, sizeof text, format, args);
	va_end(args);
	fflush(stdout);
	wt_term_detect(&term, stderr);
	if (!isatty(STDERR_FILENO))
		term.width = 2000; /* one line for logs and scripts */
	wt_page_open(&page, stderr, &term);
	wt_page_textf(&page, WT_MARK_NONE, 2, "wither: %s", text);
}

const char *wt_run_socket_path(const struct wt_command *call)
{
	const char *path = getenv("WITHER_SOCKET");

	if (call->socket)
		return call->socket;
	return path && *path ? path : WT_SOCKET_DEFAULT;
}

struct wt_socket *wt_run_connect(const struct wt_command *call)
{
	char why[1024];
	struct wt_socket *socket = wt_socket_open(wt_run_socket_path(call), why, sizeof why);

	if (!socket)
		wt_run_complain("%s", why);
	return socket;
}

/* What the daemon does not accept in any state is a fault of the command, as if seen here. */
static int code_of_refusal(int code)
{
	switch (code) {
	case WT_RPC_BAD_REQUEST:
	case WT_RPC_NO_METHOD:
	case WT_RPC_BAD_PARAM:
		return WT_EXIT_USAGE;
	default:
		return WT_EXIT_FAILED;
	}
}

int wt_run_ask(struct wt_socket *socket, const char *method, const json_t *params,
	       double deadline_s, struct wt_reply *reply)
{
	char why[1024];
	int code;

	if (!wt_socket_send(socket, method, params, why, sizeof why) ||
	    !wt_socket_receive(socket, deadline_s, reply, why, sizeof why)) {
		wt_run_complain("%s", why);
		return WT_EXIT_FAILED;
	}
	if (!reply->result) {
		wt_run_complain("%s", why);
		code = code_of_refusal(reply->code);
		wt_socket_reply_clear(reply);
		return code;
	}
	wt_when_zone(wt_doc_text(reply->result, "timezone"));
	return WT_EXIT_FINE;
}

struct wt_page wt_run_page(void)
{
	struct wt_term term;
	struct wt_page page;

	wt_term_detect(&term, stdout);
	wt_page_open(&page, stdout, &term);
	return page;
}

int wt_run_finish(int code)
{
	if (fflush(stdout) != 0 || ferror(stdout)) {
		wt_run_complain("%s", _("cannot write the output"));
		return WT_EXIT_FAILED;
	}
	return code;
}

static bool is_open(const json_t *load)
{
	const char *state = wt_doc_text(load, "state");

	return !state || strcmp(state, "open") == 0;
}

/* The load meant when none was named; 0 after complaining. */
static long long default_load(const struct wt_command *call, const json_t *loads)
{
	long long last = 0;
	size_t n = 0, i;
	char list[128] = "";
	json_t *load;

	json_array_foreach(loads, i, load)
	{
		long long number = wt_doc_integer(load, "load", 0);
		size_t used = strlen(list);

		if (!is_open(load) || number <= 0)
			continue;
		n++;
		if (number > last)
			last = number;
		if (used + 24 < sizeof list)
			snprintf(list + used, sizeof list - used, "%s%lld", used ? ", " : "",
				 number);
	}
	if (n == 0) {
		wt_run_complain(_("no load is open; name one: %s"), call->verb->example);
		return 0;
	}
	if (n > 1 && call->verb->load_default == WT_LOAD_ONLY) {
		wt_run_complain(_("which load? open are %s; for instance: %s"), list,
				call->verb->example);
		return 0;
	}
	return last;
}

static int fill_load(const struct wt_command *call, struct wt_socket *socket)
{
	struct wt_reply reply;
	long long load;
	int code;

	if (!call->needs_load)
		return WT_EXIT_FINE;
	code = wt_run_ask(socket, "loads", NULL, call->verb->deadline_s, &reply);
	if (code != WT_EXIT_FINE)
		return code;
	load = default_load(call, wt_doc_list(reply.result, "loads"));
	wt_socket_reply_clear(&reply);
	if (load == 0)
		return WT_EXIT_USAGE;
	json_object_set_new(call->params, "load", json_integer(load));
	return WT_EXIT_FINE;
}

/* Resolves a garden's name that a hand typed short; says so in hint.  Scripts are taken at their
 * word. */
static void fill_origin(const struct wt_command *call, struct wt_socket *socket, char *hint,
			size_t size)
{
	const char *typed = wt_doc_text(call->params, "origin"), *near, *meant;
	json_t *params = json_pack("{s:b}", "all", 1);
	struct wt_reply reply;
	char why[512];

	hint[0] = '\0';
	if (!typed || call->new_garden || call->json || !isatty(STDOUT_FILENO) || !params)
		goto out;
	if (!wt_socket_send(socket, "loads", params, why, sizeof why) ||
	    !wt_socket_receive(socket, call->verb->deadline_s, &reply, why, sizeof why))
		goto out;
	meant = wt_origin_meant(typed, wt_doc_list(reply.result, "loads"), &near);
	if (near)
		snprintf(hint, size, _("'%.60s' is a new garden. Was '%.60s' meant?"), typed, near);
	if (strcmp(meant, typed) != 0) {
		snprintf(hint, size, _("'%.60s' was taken for '%.60s'; --new says otherwise."),
			 typed, meant);
		json_object_set_new(call->params, "origin", json_string(meant));
	}
	wt_socket_reply_clear(&reply);
out:
	json_decref(params);
}

/* Asks the call's question; *reply is to be cleared when WT_EXIT_FINE comes back. */
static int ask_call(const struct wt_command *call, struct wt_reply *reply, char *hint,
		    size_t hint_size)
{
	struct wt_socket *socket = wt_run_connect(call);
	int code;

	if (!socket)
		return WT_EXIT_FAILED;
	/* A person's first screen needs little of each load; a machine gets the whole. */
	if (call->verb->print == wt_print_tonight && !call->json)
		json_object_set_new(call->params, "brief", json_true());
	code = fill_load(call, socket);
	fill_origin(call, socket, hint, hint_size);
	if (code == WT_EXIT_FINE)
		code = wt_run_ask(socket, call->verb->name, call->params, call->verb->deadline_s,
				  reply);
	wt_socket_close(&socket);
	return code;
}

static void print_reply(const struct wt_command *call, const struct wt_reply *reply,
			const char *hint)
{
	if (call->json) {
		puts(reply->text);
	} else {
		struct wt_page page = wt_run_page();

		call->verb->print(&page, reply->result);
		if (*hint)
			wt_page_textf(&page, WT_MARK_NONE, 2, "? %s", hint);
	}
}

/* What was printed stays in memory, within reach: to take a long answer apart costs as much time as
 * to print it, and the program ends here. */
static struct wt_reply last_reply __attribute__((used)); /* or a compiler drops what is only set */

int wt_run_health(const struct wt_command *call)
{
	char hint[512];
	struct wt_reply reply;
	int code = ask_call(call, &reply, hint, sizeof hint);

	if (code != WT_EXIT_FINE)
		return code;
	if (!wt_doc_true(reply.result, "ok"))
		code = WT_EXIT_CONDITION;
	print_reply(call, &reply, hint);
	last_reply = reply;
	return wt_run_finish(code);
}

/* What an act has changed, asked for once it has been said back: that may take a moment.  Silent
 * when there is nothing to say. */
static void follow_act(const struct wt_command *call, const json_t *result)
{
	long long load = wt_doc_integer(wt_doc_object(result, "act"), "load", 0);
	json_t *params = json_pack("{s:I}", "load", (json_int_t)load);
	char why[256];
	struct wt_socket *socket =
		load > 0 ? wt_socket_open(wt_run_socket_path(call), why, sizeof why) : NULL;
	struct wt_reply reply = {0};

	fflush(stdout);
	if (socket && wt_socket_send(socket, "show", params, why, sizeof why) &&
	    wt_socket_receive(socket, call->verb->deadline_s, &reply, why, sizeof why) &&
	    reply.result && !wt_doc_true(reply.result, "closed")) {
		struct wt_page page = wt_run_page();

		wt_print_act_outlook(&page, reply.result);
	}
	wt_socket_reply_clear(&reply);
	wt_socket_close(&socket);
	json_decref(params);
}

int wt_run_plain(const struct wt_command *call)
{
	char hint[512];
	struct wt_reply reply;
	int code = ask_call(call, &reply, hint, sizeof hint);

	if (code != WT_EXIT_FINE)
		return code;
	print_reply(call, &reply, hint);
	if (call->verb->print == wt_print_act && !call->json)
		follow_act(call, reply.result);
	last_reply = reply;
	return wt_run_finish(WT_EXIT_FINE);
}

int wt_run_command(const struct wt_command *call)
{
	return call->verb->run ? call->verb->run(call) : wt_run_plain(call);
}
