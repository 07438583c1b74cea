/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "cli/socket.h"

#include <errno.h>
#include <poll.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/socket.h>
#include <sys/un.h>
#include <time.h>
#include <unistd.h>

#include "cli/tongue.h"
#include "cli/worded.h"

enum {
	SOCKET_REPLY_MAX =
		256 * 1024 * 1024, /* our choice: a broken daemon shall not fill memory */
	SOCKET_CHUNK = 65536,
};

struct wt_socket {
	int fd;
	char *path;
	char *buffer; /* what was read, beginning at the next line */
	size_t used, size;
};

int wt_socket_fd(const struct wt_socket *socket)
{
	return socket->fd;
}

static void say_connect_error(const char *path, int error, char *why, size_t why_size)
{
	switch (error) {
	case ENOENT:
		snprintf(why, why_size,
			 _("no daemon at %s: no such socket. Is witherd running? "
			   "--socket PATH or WITHER_SOCKET names another."),
			 path);
		break;
	case ECONNREFUSED:
		snprintf(why, why_size,
			 _("no daemon at %s: the socket is there, but nobody listens. "
			   "Start witherd."),
			 path);
		break;
	case EACCES:
	case EPERM:
		snprintf(why, why_size,
			 _("not allowed to use %s: ask for membership in the group that owns it."),
			 path);
		break;
	default:
		snprintf(why, why_size, _("cannot reach the daemon at %s: %s"), path,
			 strerror(error));
	}
}

struct wt_socket *wt_socket_open(const char *path, char *why, size_t why_size)
{
	struct sockaddr_un address = {.sun_family = AF_UNIX};
	struct wt_socket *made;
	int fd;

	if (strlen(path) >= sizeof address.sun_path) {
		snprintf(why, why_size, _("the socket's path is longer than %zu bytes: '%s'"),
			 sizeof address.sun_path - 1, path);
		return NULL;
	}
	memcpy(address.sun_path, path, strlen(path) + 1);
	fd = socket(AF_UNIX, SOCK_STREAM | SOCK_CLOEXEC, 0);
	if (fd < 0 || connect(fd, (struct sockaddr *)&address, sizeof address) != 0) {
		say_connect_error(path, errno, why, why_size);
		if (fd >= 0)
			close(fd);
		return NULL;
	}
	made = calloc(1, sizeof *made);
	if (!made || !(made->path = strdup(path))) {
		snprintf(why, why_size, "%s", _("out of memory"));
		free(made);
		close(fd);
		return NULL;
	}
	made->fd = fd;
	return made;
}

void wt_socket_close(struct wt_socket **socket)
{
	if (!*socket)
		return;
	close((*socket)->fd);
	free((*socket)->path);
	free((*socket)->buffer);
	free(*socket);
	*socket = NULL;
}

void wt_socket_reply_clear(struct wt_reply *reply)
{
	json_decref(reply->document);
	free(reply->text);
	memset(reply, 0, sizeof *reply);
}

static bool write_all(int fd, const char *bytes, size_t length)
{
	while (length > 0) {
		ssize_t n = send(fd, bytes, length, MSG_NOSIGNAL);

		if (n < 0 && errno == EINTR)
			continue;
		if (n <= 0)
			return false;
		bytes += n;
		length -= (size_t)n;
	}
	return true;
}

bool wt_socket_send(struct wt_socket *socket, const char *method, const json_t *params, char *why,
		    size_t why_size)
{
	json_t *request = json_pack("{s:s, s:i, s:s}", "jsonrpc", "2.0", "id", 1, "method", method);
	char *line = NULL;
	size_t length;
	bool done = false;

	if (request && params)
		json_object_set(request, "params", (json_t *)(uintptr_t)params);
	line = request ? json_dumps(request, JSON_COMPACT | JSON_REAL_PRECISION(15)) : NULL;
	if (!line) {
		snprintf(why, why_size, "%s", _("out of memory"));
		goto out;
	}
	/* In one piece, so that the daemon wakes once: the end takes the place of the zero. */
	length = strlen(line);
	line[length] = '\n';
	if (!write_all(socket->fd, line, length + 1)) {
		snprintf(why, why_size, _("the daemon at %s hung up: %s"), socket->path,
			 strerror(errno));
		goto out;
	}
	done = true;
out:
	free(line);
	json_decref(request);
	return done;
}

static double monotonic_s(void)
{
	struct timespec at;

	clock_gettime(CLOCK_MONOTONIC, &at);
	return (double)at.tv_sec + (double)at.tv_nsec * 1e-9;
}

static bool make_room(struct wt_socket *socket, char *why, size_t why_size)
{
	size_t wish = socket->size ? socket->size * 2 : SOCKET_CHUNK;
	char *grown;

	if (socket->size - socket->used >= SOCKET_CHUNK / 2)
		return true;
	if (wish > SOCKET_REPLY_MAX) {
		snprintf(why, why_size, "%s", _("the daemon's answer is too long"));
		return false;
	}
	grown = realloc(socket->buffer, wish);
	if (!grown) {
		snprintf(why, why_size, "%s", _("out of memory"));
		return false;
	}
	socket->buffer = grown;
	socket->size = wish;
	return true;
}

/* Length of the first line in the buffer, its end included; 0 while it is not whole. */
static size_t read_line(struct wt_socket *socket, double until_s, char *why, size_t why_size)
{
	size_t looked = 0;

	for (;;) {
		struct pollfd ready = {.fd = socket->fd, .events = POLLIN};
		char *end = socket->used > looked
				    ? memchr(socket->buffer + looked, '\n', socket->used - looked)
				    : NULL;
		double left_s = until_s - monotonic_s();
		ssize_t n;

		if (end)
			return (size_t)(end - socket->buffer) + 1;
		looked = socket->used;
		if (!make_room(socket, why, why_size))
			return 0;
		if (left_s <= 0 || (poll(&ready, 1, (int)(left_s * 1000) + 1) == 0)) {
			snprintf(why, why_size,
				 _("the daemon at %s did not answer in time; try again"),
				 socket->path);
			return 0;
		}
		n = recv(socket->fd, socket->buffer + socket->used, socket->size - socket->used,
			 MSG_DONTWAIT);
		if (n < 0 && (errno == EINTR || errno == EAGAIN))
			continue;
		if (n <= 0) {
			snprintf(why, why_size, _("the daemon at %s hung up without an answer%s%s"),
				 socket->path, n < 0 ? ": " : "", n < 0 ? strerror(errno) : "");
			return 0;
		}
		socket->used += (size_t)n;
	}
}

/* Steps over one JSON value; the line has been parsed before, so it is well formed. */
static const char *skip_value(const char *p)
{
	int depth = 0;
	bool quoted = false;

	for (; *p; p++) {
		if (quoted) {
			if (*p == '\\' && p[1])
				p++;
			else if (*p == '"')
				quoted = false;
			continue;
		}
		if (*p == '"')
			quoted = true;
		else if (*p == '{' || *p == '[')
			depth++;
		else if ((*p == '}' || *p == ']') && depth-- == 0)
			return p;
		else if (*p == ',' && depth == 0)
			return p;
	}
	return p;
}

const char *wt_socket_result_text(const char *line, size_t *length)
{
	static const char key[] = "\"result\"";
	const char *p = strchr(line, '{');

	while (p && *p && *p != '}') {
		p += 1 + strspn(p + 1, " \t\r\n");
		if (strncmp(p, key, sizeof key - 1) == 0) {
			const char *begin = p + sizeof key - 1;
			const char *end;

			begin += strspn(begin, " \t\r\n:");
			end = skip_value(begin);
			*length = (size_t)(end - begin);
			return begin;
		}
		p = skip_value(p);
	}
	return NULL;
}

static bool take_reply(const char *line, struct wt_reply *reply, char *why, size_t why_size)
{
	json_error_t error;
	const json_t *refusal;
	const char *begin;
	size_t length = 0;

	/* Names given twice are not looked for: it costs a tenth of the answer's time, and the
	 * daemon writes none. */
	reply->document = json_loads(line, 0, &error);
	if (!json_is_object(reply->document)) {
		snprintf(why, why_size, _("the daemon's answer is not understood: %s"), error.text);
		wt_socket_reply_clear(reply);
		return false;
	}
	reply->result = json_object_get(reply->document, "result");
	refusal = json_object_get(reply->document, "error");
	if (refusal || !json_is_object(reply->result)) {
		const char *message = json_string_value(json_object_get(refusal, "message"));
		char sentence[WT_WORDED_SIZE];

		wt_worded(sentence, json_object_get(refusal, "data"), message);
		reply->result = NULL;
		reply->code = (int)json_integer_value(json_object_get(refusal, "code"));
		if (reply->code == 0)
			reply->code = -32603;
		if (!message)
			snprintf(why, why_size, "%s", _("the daemon gave no reason"));
		else if (wt_tongue_foreign() && strcmp(sentence, message) == 0)
			/* A library's own words, which no catalogue has. */
			snprintf(why, why_size, _("the daemon says: %s"), message);
		else
			snprintf(why, why_size, "%s", sentence);
		return true;
	}
	begin = wt_socket_result_text(line, &length);
	reply->text = begin ? strndup(begin, length) : NULL;
	if (!reply->text) {
		snprintf(why, why_size, "%s", _("out of memory"));
		wt_socket_reply_clear(reply);
		return false;
	}
	return true;
}

bool wt_socket_receive(struct wt_socket *socket, double deadline_s, struct wt_reply *reply,
		       char *why, size_t why_size)
{
	size_t length = read_line(socket, monotonic_s() + deadline_s, why, why_size);
	bool done;

	memset(reply, 0, sizeof *reply);
	if (length == 0)
		return false;
	socket->buffer[length - 1] = '\0';
	done = take_reply(socket->buffer, reply, why, why_size);
	memmove(socket->buffer, socket->buffer + length, socket->used - length);
	socket->used -= length;
	return done;
}
