/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * `wither stations --learn`: the daemon listens, we ask again until something
 * was heard, so that a person need not.
 */
#include <jansson.h>
#include <poll.h>
#include <stdio.h>
#include <unistd.h>

#include "cli/doc.h"
#include "cli/print.h"
#include "cli/run.h"
#include "cli/tongue.h"

/* Patience for one report of a station, and how often we ask: our choice. */
enum { LISTEN_MOST_S = 300, LISTEN_EVERY_MS = 2000 };

static bool heard(const json_t *result)
{
	return json_array_size(wt_doc_list(result, "topics")) > 0;
}

int wt_run_stations(const struct wt_command *call)
{
	struct wt_socket *socket;
	struct wt_page page = wt_run_page();
	struct wt_reply reply;
	int code;

	if (!wt_doc_text(call->params, "learn") || call->json || !isatty(STDOUT_FILENO))
		return wt_run_plain(call);
	socket = wt_run_connect(call);
	if (!socket)
		return WT_EXIT_FAILED;
	for (int waited_ms = 0;; waited_ms += LISTEN_EVERY_MS) {
		code = wt_run_ask(socket, "stations", call->params, call->verb->deadline_s, &reply);
		if (code != WT_EXIT_FINE)
			goto out;
		if (heard(reply.result) || waited_ms >= LISTEN_MOST_S * 1000)
			break;
		if (waited_ms == 0) {
			wt_page_text(
				&page, WT_MARK_FAINT, 2,
				_("Listening until the station sends something. Ctrl-C ends."));
			fflush(stdout);
		}
		wt_socket_reply_clear(&reply);
		poll(NULL, 0, LISTEN_EVERY_MS);
	}
	wt_print_stations(&page, reply.result);
	wt_socket_reply_clear(&reply);
out:
	wt_socket_close(&socket);
	return wt_run_finish(code);
}
