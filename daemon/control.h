/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * The control socket: a Unix stream socket, mode 0660, one JSON-RPC object a
 * line.  Whoever may connect may ask; acts are for root, for the daemon's own
 * user and for members of its group or of socket_group.
 */
#ifndef WT_DAEMON_CONTROL_H
#define WT_DAEMON_CONTROL_H

#include <event2/event.h>
#include <jansson.h>
#include <stdbool.h>
#include <stddef.h>

#include "lib/wire/rpc.h"

/* Limits, our choice. */
#define WT_CONTROL_CLIENTS 32         /* connections at a time */
#define WT_CONTROL_TICKETS 16         /* requests of one connection not yet answered */
#define WT_CONTROL_RATE_PER_S 200     /* requests of one connection; more wait their turn */
#define WT_CONTROL_TURNS 2            /* requests of one connection before others have a turn */
#define WT_CONTROL_LINE_DEADLINE_S 10 /* for a request once begun */
#define WT_CONTROL_IDLE_S 120         /* for a connection that asks nothing */
#define WT_CONTROL_UNREAD_PAUSE (256 * 1024)    /* unread answers beyond which no more is served */
#define WT_CONTROL_UNREAD_MAX (8 * 1024 * 1024) /* answers the other side does not read */

struct wt_control;
/* A request to be answered, now or later.  It outlives a client that hangs up. */
struct wt_control_ticket;

/* The ticket is the callee's: it must be answered, refused or dropped.  request is borrowed. */
typedef void (*wt_control_request_fn)(void *context, struct wt_control_ticket *ticket,
				      const struct wt_rpc_request *request);

/* group NULL: the daemon's own.  NULL with *why when the path cannot be served. */
struct wt_control *wt_control_new(struct event_base *base, const char *path, const char *group,
				  wt_control_request_fn request, void *context, char *why,
				  size_t why_size);
void wt_control_free(struct wt_control **control);

bool wt_control_may_act(const struct wt_control_ticket *ticket);
/* False once the client has gone. */
bool wt_control_alive(const struct wt_control_ticket *ticket);

/* Answers and ends the ticket.  result is taken over. */
void wt_control_reply(struct wt_control_ticket **ticket, json_t *result);
void wt_control_refuse(struct wt_control_ticket **ticket, const struct wt_refusal *refusal);
/* Sends one of several answers; the ticket lives on.  result is taken over. */
void wt_control_stream(struct wt_control_ticket *ticket, json_t *result);
void wt_control_drop(struct wt_control_ticket **ticket);

#endif /* WT_DAEMON_CONTROL_H */
