/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * One question to the daemon and its answer, over its control socket
 * (lib/wire/protocol.md).
 */
#ifndef WT_CLI_SOCKET_H
#define WT_CLI_SOCKET_H

#include <jansson.h>
#include <stdbool.h>
#include <stddef.h>

#define WT_SOCKET_DEFAULT "/run/witherd/witherd.sock"

struct wt_socket;

/* NULL on failure, with a sentence in why. */
struct wt_socket *wt_socket_open(const char *path, char *why, size_t why_size);
void wt_socket_close(struct wt_socket **socket);
/* For poll(); owned by the socket. */
int wt_socket_fd(const struct wt_socket *socket);

struct wt_reply {
	json_t *document; /* owned: the whole reply */
	json_t *result;   /* borrowed from document; NULL on an error of the daemon */
	char *text;       /* owned: the result as received, one line */
	int code;         /* of an error; 0 */
};
void wt_socket_reply_clear(struct wt_reply *reply);

/* Sends one request (params: borrowed, may be NULL).  false with a sentence in why. */
bool wt_socket_send(struct wt_socket *socket, const char *method, const json_t *params, char *why,
		    size_t why_size);
/* Waits for one line.  true: *reply is filled and to be cleared, with result or with code set and
 * the daemon's sentence in why.  false: no usable answer came, why says what happened. */
bool wt_socket_receive(struct wt_socket *socket, double deadline_s, struct wt_reply *reply,
		       char *why, size_t why_size);

/* Where the value of the key "result" lies in a reply's line; NULL when it has none. */
const char *wt_socket_result_text(const char *line, size_t *length);

#endif /* WT_CLI_SOCKET_H */
