/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * HTTP on the loop, by libcurl.  Nothing here can hold the loop up: a request
 * has a deadline, an answer a size limit.
 */
#ifndef WT_DAEMON_HTTP_H
#define WT_DAEMON_HTTP_H

#include <event2/event.h>
#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

/* Limits, our choice: a forecast of ten days is below 200 kB. */
#define WT_HTTP_BODY_MAX ((size_t)1024 * 1024)
#define WT_HTTP_DEADLINE_S 20
#define WT_HTTP_CONNECT_S 10
#define WT_HTTP_REDIRECTS 3

struct wt_http;

struct wt_http_request {
	const char *url; /* https, or http to this machine: then no other scheme is followed */
	const char *user_agent;
	const char *if_modified_since; /* verbatim, or NULL */
	const char *post_body;         /* body to POST, or NULL: GET */
	const char *post_type;         /* its media type */
};

/* What came back.  Text is borrowed until done returns. */
struct wt_http_answer {
	const char *fault; /* NULL: there is an answer */
	long status;
	const char *body; /* terminated by a 0 */
	size_t length;
	const char *content_type;  /* or NULL */
	const char *last_modified; /* or NULL */
	int64_t expires_unix_s;    /* 0: not said */
	int64_t retry_after_s;     /* 0: not said */
};
typedef void (*wt_http_done_fn)(void *context, const struct wt_http_answer *answer);

/* NULL without memory. */
struct wt_http *wt_http_new(struct event_base *base);
/* Requests under way end without their done being called. */
void wt_http_free(struct wt_http **http);
/* Starts a request; false without memory (done is not called then). */
bool wt_http_start(struct wt_http *http, const struct wt_http_request *request,
		   wt_http_done_fn done, void *context);

#endif /* WT_DAEMON_HTTP_H */
