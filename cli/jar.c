/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * `wither salt`: without a salt it explains the jar; with one it waits on a
 * terminal until the station stands still, and then notes the check.
 */
#include <jansson.h>
#include <math.h>
#include <poll.h>
#include <stdio.h>
#include <string.h>
#include <unistd.h>

#include "cli/doc.h"
#include "cli/print.h"
#include "cli/print_jar.h"
#include "cli/run.h"
#include "cli/tongue.h"

/* How often we look, and for how long (our choice): a jar takes half a day, and a link is thin. */
enum { JAR_EVERY_MS = 60000, JAR_MOST_LOOKS = 24 * 60 };

static const json_t *station_named(const json_t *result, const char *name)
{
	size_t i;
	json_t *station;

	json_array_foreach(wt_doc_list(result, "stations"), i, station)
	{
		const char *is = wt_doc_text(station, "station");

		if (is && name && strcmp(is, name) == 0)
			return station;
	}
	return NULL;
}

static int unknown_station(const json_t *result, const char *name)
{
	char list[300] = "";
	size_t used = 0, i;
	json_t *station;

	json_array_foreach(wt_doc_list(result, "stations"), i, station)
	{
		const char *is = wt_doc_text(station, "station");

		if (is && used + strlen(is) + 3 < sizeof list)
			used += (size_t)snprintf(list + used, sizeof list - used, "%s%s",
						 used ? ", " : "", is);
	}
	wt_run_complain(_("there is no station '%s'; accepted: %s"), name,
			*list ? list : _("none is configured"));
	return WT_EXIT_USAGE;
}

static int explain(const struct wt_command *call)
{
	const char *name = wt_doc_text(call->params, "station");
	struct wt_socket *socket = wt_run_connect(call);
	struct wt_reply reply;
	int code;

	if (!socket)
		return WT_EXIT_FAILED;
	code = wt_run_ask(socket, "stations", NULL, call->verb->deadline_s, &reply);
	wt_socket_close(&socket);
	if (code != WT_EXIT_FINE)
		return code;
	if (!station_named(reply.result, name)) {
		code = unknown_station(reply.result, name);
	} else if (call->json) {
		puts(reply.text);
	} else {
		struct wt_page page = wt_run_page();

		wt_print_jar_guide(&page, station_named(reply.result, name),
				   wt_doc_object(reply.result, "rh_effect"));
	}
	wt_socket_reply_clear(&reply);
	return code == WT_EXIT_FINE ? wt_run_finish(code) : code;
}

/* Waits until the station stands still.  The range is printed when it has changed. */
static int wait_steady(const struct wt_command *call)
{
	const char *name = wt_doc_text(call->params, "station");
	double low = NAN, high = NAN;

	for (int looks = 0; looks < JAR_MOST_LOOKS; looks++) {
		struct wt_page page = wt_run_page();
		struct wt_socket *socket = wt_run_connect(call);
		struct wt_reply reply;
		const json_t *station, *hour;
		int code = socket ? wt_run_ask(socket, "stations", NULL, call->verb->deadline_s,
					       &reply)
				  : WT_EXIT_FAILED;

		wt_socket_close(&socket);
		if (code != WT_EXIT_FINE)
			return code;
		station = station_named(reply.result, name);
		hour = wt_doc_object(station, "hour");
		/* What is not known here the daemon refuses with its reasons. */
		if (!hour || wt_doc_true(hour, "steady")) {
			wt_socket_reply_clear(&reply);
			return WT_EXIT_FINE;
		}
		if (looks == 0) {
			wt_page_text(&page, WT_MARK_HEAD, 2,
				     _("Waiting until it stands still; leave this open, or Ctrl-C "
				       "and ask again later."));
			wt_print_jar_cautions(&page);
		}
		if (!(wt_doc_number(hour, "low_rh_pct") == low) ||
		    !(wt_doc_number(hour, "high_rh_pct") == high)) {
			wt_print_jar_hour(&page, station);
			fflush(stdout);
		}
		low = wt_doc_number(hour, "low_rh_pct");
		high = wt_doc_number(hour, "high_rh_pct");
		wt_socket_reply_clear(&reply);
		poll(NULL, 0, JAR_EVERY_MS);
	}
	return WT_EXIT_FINE;
}

int wt_run_salt(const struct wt_command *call)
{
	int code = WT_EXIT_FINE;

	if (!wt_doc_text(call->params, "salt"))
		return explain(call);
	if (!json_object_get(call->params, "rh") && !call->json && isatty(STDOUT_FILENO))
		code = wait_steady(call);
	return code == WT_EXIT_FINE ? wt_run_plain(call) : code;
}
