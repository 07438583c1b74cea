/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "daemon/http.h"

#include <curl/curl.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

struct transfer {
	struct wt_http *http;
	struct transfer *next;
	CURL *easy;
	struct curl_slist *headers;
	char *body, *post;
	size_t length;
	bool too_long;
	char fault[CURL_ERROR_SIZE];
	wt_http_done_fn done;
	void *context;
};

struct wt_http {
	struct event_base *base;
	CURLM *multi;
	struct event *timer;
	struct transfer *transfers;
};

static void transfer_free(struct transfer *transfer)
{
	struct transfer **link = &transfer->http->transfers;
	while (*link && *link != transfer)
		link = &(*link)->next;
	if (*link)
		*link = transfer->next;
	if (transfer->easy) {
		curl_multi_remove_handle(transfer->http->multi, transfer->easy);
		curl_easy_cleanup(transfer->easy);
	}
	curl_slist_free_all(transfer->headers);
	free(transfer->body);
	free(transfer->post);
	free(transfer);
}

static const char *header(CURL *easy, const char *name)
{
	struct curl_header *found = NULL;
	return curl_easy_header(easy, name, 0, CURLH_HEADER, -1, &found) == CURLHE_OK ? found->value
										      : NULL;
}

static void fill_answer(struct transfer *transfer, CURLcode code, struct wt_http_answer *answer)
{
	curl_off_t retry_s = 0;
	const char *expires;
	*answer = (struct wt_http_answer){.body = transfer->body ? transfer->body : "",
					  .length = transfer->length};
	if (transfer->too_long) {
		answer->fault = "the answer is longer than 1 MiB";
		return;
	}
	if (code != CURLE_OK) {
		answer->fault = transfer->fault[0] ? transfer->fault : curl_easy_strerror(code);
		return;
	}
	curl_easy_getinfo(transfer->easy, CURLINFO_RESPONSE_CODE, &answer->status);
	curl_easy_getinfo(transfer->easy, CURLINFO_RETRY_AFTER, &retry_s);
	answer->retry_after_s = retry_s;
	answer->content_type = header(transfer->easy, "Content-Type");
	answer->last_modified = header(transfer->easy, "Last-Modified");
	expires = header(transfer->easy, "Expires");
	time_t at = expires ? curl_getdate(expires, NULL) : -1;
	answer->expires_unix_s = at > 0 ? at : 0;
}

static void collect(struct wt_http *http)
{
	CURLMsg *message;
	int left;
	while ((message = curl_multi_info_read(http->multi, &left))) {
		struct transfer *transfer = NULL;
		struct wt_http_answer answer;
		if (message->msg != CURLMSG_DONE)
			continue;
		CURLcode code = message->data.result;
		curl_easy_getinfo(message->easy_handle, CURLINFO_PRIVATE, (char **)&transfer);
		fill_answer(transfer, code, &answer);
		transfer->done(transfer->context, &answer);
		transfer_free(transfer);
	}
}

static void on_socket(evutil_socket_t fd, short what, void *context)
{
	struct wt_http *http = context;
	int running;
	int flags =
		(what & EV_READ ? CURL_CSELECT_IN : 0) | (what & EV_WRITE ? CURL_CSELECT_OUT : 0);
	curl_multi_socket_action(http->multi, fd, flags, &running);
	collect(http);
}

static void on_timer(evutil_socket_t fd, short what, void *context)
{
	struct wt_http *http = context;
	int running;
	(void)fd;
	(void)what;
	curl_multi_socket_action(http->multi, CURL_SOCKET_TIMEOUT, 0, &running);
	collect(http);
}

static int watch_socket(CURL *easy, curl_socket_t fd, int what, void *context, void *socket_context)
{
	struct wt_http *http = context;
	struct event *event = socket_context;
	(void)easy;
	if (event)
		event_free(event);
	event = NULL;
	if (what != CURL_POLL_REMOVE) {
		short wanted = EV_PERSIST;
		if (what & CURL_POLL_IN)
			wanted |= EV_READ;
		if (what & CURL_POLL_OUT)
			wanted |= EV_WRITE;
		event = event_new(http->base, fd, wanted, on_socket, http);
		if (event)
			event_add(event, NULL);
	}
	curl_multi_assign(http->multi, fd, event);
	return 0;
}

static int set_timer(CURLM *multi, long wait_ms, void *context)
{
	struct wt_http *http = context;
	struct timeval wait = {wait_ms / 1000, wait_ms % 1000 * 1000};
	(void)multi;
	if (wait_ms < 0)
		event_del(http->timer);
	else
		event_add(http->timer, &wait);
	return 0;
}

static size_t take_body(char *data, size_t size, size_t count, void *context)
{
	struct transfer *transfer = context;
	size_t more = size * count;
	if (transfer->length + more > WT_HTTP_BODY_MAX) {
		transfer->too_long = true;
		return 0;
	}
	char *body = realloc(transfer->body, transfer->length + more + 1);
	if (!body)
		return 0;
	memcpy(body + transfer->length, data, more);
	transfer->body = body;
	transfer->length += more;
	body[transfer->length] = '\0';
	return more;
}

struct wt_http *wt_http_new(struct event_base *base)
{
	struct wt_http *http = calloc(1, sizeof *http);
	if (!http || curl_global_init(CURL_GLOBAL_DEFAULT) != CURLE_OK) {
		free(http);
		return NULL;
	}
	http->base = base;
	http->multi = curl_multi_init();
	http->timer = evtimer_new(base, on_timer, http);
	if (!http->multi || !http->timer) {
		wt_http_free(&http);
		return NULL;
	}
	curl_multi_setopt(http->multi, CURLMOPT_SOCKETFUNCTION, watch_socket);
	curl_multi_setopt(http->multi, CURLMOPT_SOCKETDATA, http);
	curl_multi_setopt(http->multi, CURLMOPT_TIMERFUNCTION, set_timer);
	curl_multi_setopt(http->multi, CURLMOPT_TIMERDATA, http);
	return http;
}

void wt_http_free(struct wt_http **address)
{
	struct wt_http *http = *address;
	if (!http)
		return;
	while (http->transfers)
		transfer_free(http->transfers);
	curl_multi_cleanup(http->multi);
	if (http->timer)
		event_free(http->timer);
	free(http);
	curl_global_cleanup();
	*address = NULL;
}

static void set_limits(CURL *easy, const char *url)
{
	bool secure = strncmp(url, "https:", 6) == 0;
	curl_easy_setopt(easy, CURLOPT_PROTOCOLS_STR, secure ? "https" : "http");
	curl_easy_setopt(easy, CURLOPT_REDIR_PROTOCOLS_STR, secure ? "https" : "http");
	curl_easy_setopt(easy, CURLOPT_NOSIGNAL, 1L);
	curl_easy_setopt(easy, CURLOPT_CONNECTTIMEOUT, (long)WT_HTTP_CONNECT_S);
	curl_easy_setopt(easy, CURLOPT_TIMEOUT, (long)WT_HTTP_DEADLINE_S);
	curl_easy_setopt(easy, CURLOPT_MAXFILESIZE_LARGE, (curl_off_t)WT_HTTP_BODY_MAX);
	curl_easy_setopt(easy, CURLOPT_FOLLOWLOCATION, 1L);
	curl_easy_setopt(easy, CURLOPT_MAXREDIRS, (long)WT_HTTP_REDIRECTS);
	curl_easy_setopt(easy, CURLOPT_ACCEPT_ENCODING, "");
	/* This machine's own address is not reached by way of somebody's proxy. */
	if (!secure)
		curl_easy_setopt(easy, CURLOPT_PROXY, "");
}

static bool add_header(struct transfer *transfer, const char *name, const char *value)
{
	char *line = NULL;
	if (asprintf(&line, "%s: %s", name, value) < 0)
		return false;
	struct curl_slist *list = curl_slist_append(transfer->headers, line);
	free(line);
	if (list)
		transfer->headers = list;
	return list != NULL;
}

static bool set_request(struct transfer *transfer, const struct wt_http_request *request)
{
	CURL *easy = transfer->easy;
	bool fine = true;
	curl_easy_setopt(easy, CURLOPT_URL, request->url);
	curl_easy_setopt(easy, CURLOPT_USERAGENT, request->user_agent);
	curl_easy_setopt(easy, CURLOPT_ERRORBUFFER, transfer->fault);
	curl_easy_setopt(easy, CURLOPT_WRITEFUNCTION, take_body);
	curl_easy_setopt(easy, CURLOPT_WRITEDATA, transfer);
	curl_easy_setopt(easy, CURLOPT_PRIVATE, transfer);
	set_limits(easy, request->url);
	if (request->if_modified_since)
		fine = add_header(transfer, "If-Modified-Since", request->if_modified_since);
	if (request->post_body) {
		transfer->post = strdup(request->post_body);
		fine = fine && transfer->post &&
		       add_header(transfer, "Content-Type", request->post_type);
		curl_easy_setopt(easy, CURLOPT_POSTFIELDS, transfer->post);
	}
	curl_easy_setopt(easy, CURLOPT_HTTPHEADER, transfer->headers);
	return fine;
}

bool wt_http_start(struct wt_http *http, const struct wt_http_request *request,
		   wt_http_done_fn done, void *context)
{
	struct transfer *transfer = calloc(1, sizeof *transfer);
	if (!transfer)
		return false;
	*transfer = (struct transfer){
		.http = http, .easy = curl_easy_init(), .done = done, .context = context};
	if (!transfer->easy || !set_request(transfer, request) ||
	    curl_multi_add_handle(http->multi, transfer->easy) != CURLM_OK) {
		transfer_free(transfer);
		return false;
	}
	transfer->next = http->transfers;
	http->transfers = transfer;
	return true;
}
