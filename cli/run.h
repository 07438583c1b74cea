/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * Doing what was asked: connect, ask, print; and the exit codes.
 */
#ifndef WT_CLI_RUN_H
#define WT_CLI_RUN_H

#include <jansson.h>
#include <stdbool.h>

#include "cli/args.h"
#include "cli/socket.h"

enum {
	WT_EXIT_FINE = 0,
	WT_EXIT_FAILED = 1,    /* no daemon, no answer, not possible as things stand, not written */
	WT_EXIT_USAGE = 2,     /* the command was not understood or a value not accepted */
	WT_EXIT_CONDITION = 3, /* what was asked about holds: health found something for a person */
};

/* "wither: ..." on standard error, control characters replaced. */
void wt_run_complain(const char *format, ...) __attribute__((format(printf, 1, 2)));

/* Where the daemon listens: --socket, else WITHER_SOCKET, else the usual place. */
const char *wt_run_socket_path(const struct wt_command *call);
/* NULL after complaining. */
struct wt_socket *wt_run_connect(const struct wt_command *call);
/* One question on an open socket.  WT_EXIT_FINE: reply->result is there, to be cleared.  Else the
 * exit code, after complaining. */
int wt_run_ask(struct wt_socket *socket, const char *method, const json_t *params,
	       double deadline_s, struct wt_reply *reply);

/* A page for standard output, as its terminal is. */
struct wt_page wt_run_page(void);
/* Exit code for what was written: WT_EXIT_FAILED after complaining when standard output broke. */
int wt_run_finish(int code);

/* The whole of one command; an exit code. */
int wt_run_command(const struct wt_command *call);

/* Asks and prints, whatever else the verb would do. */
int wt_run_plain(const struct wt_command *call);

/* Verbs that do more than ask and print. */
int wt_run_stations(const struct wt_command *call); /* cli/listen.c */
int wt_run_salt(const struct wt_command *call);     /* cli/jar.c */
int wt_run_health(const struct wt_command *call);
int wt_run_export(const struct wt_command *call); /* cli/csv.c */
int wt_run_watch(const struct wt_command *call);  /* cli/watch.c */
int wt_run_help(const struct wt_command *call);   /* cli/help.c */
int wt_run_complete(int argc, char **argv);       /* cli/complete.c */

#endif /* WT_CLI_RUN_H */
