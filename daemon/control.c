/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "daemon/control.h"

#include <errno.h>
#include <event2/buffer.h>
#include <event2/bufferevent.h>
#include <event2/listener.h>
#include <grp.h>
#include <poll.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/socket.h>
#include <sys/stat.h>
#include <sys/un.h>
#include <time.h>
#include <unistd.h>

#include "daemon/log.h"
#include "daemon/monotonic.h"

struct client {
	struct wt_control *control;
	struct client *next;
	struct bufferevent *stream;
	struct wt_control_ticket *tickets;
	size_t n_tickets;
	bool may_act;
	bool closing;      /* closed when its answers are sent */
	bool ended;        /* it has closed its sending side */
	bool paused;       /* we do not read it for a while: too many requests or unread answers */
	double line_since; /* monotonic s at which an unfinished line began; 0: none */
	double active_at;
	double allowance; /* requests it may make now */
	double allowance_at;
};

/* Requests that came as one array and are answered as one (JSON-RPC 2.0, section 6). */
struct batch {
	struct evbuffer *answers; /* with commas between them */
	size_t n_open;            /* tickets, and one while its requests are taken */
};

struct wt_control_ticket {
	struct client *client; /* NULL: gone */
	struct wt_control_ticket *next;
	struct batch *batch; /* NULL: answered on a line of its own */
	json_t *id;          /* NULL: nothing is answered */
};

struct wt_control {
	struct event_base *base;
	struct evconnlistener *listener;
	struct event *watch; /* deadlines */
	bool watch_soon;     /* it is due within a tenth of a second */
	struct client *clients;
	size_t n_clients;
	char *path;
	gid_t group;
	wt_control_request_fn request;
	void *context;
};

static void serve(struct client *client);
static void read_on(struct client *client);

/* Takes over line. */
static void send_line(struct client *client, char *line)
{
	if (line && client)
		bufferevent_write(client->stream, line, strlen(line));
	free(line);
}

/* --- batches ------------------------------------------------------------------------------- */

/* Takes over line. */
static void batch_add(struct batch *batch, char *line)
{
	if (line && evbuffer_get_length(batch->answers) > 0)
		evbuffer_add(batch->answers, ",", 1);
	if (line)
		evbuffer_add(batch->answers, line, strlen(line) - 1);
	free(line);
}

/* The last one sends what there is; nothing when all were notifications. */
static void batch_leave(struct batch *batch, struct client *client)
{
	if (--batch->n_open > 0)
		return;
	if (client && evbuffer_get_length(batch->answers) > 0) {
		evbuffer_prepend(batch->answers, "[", 1);
		evbuffer_add(batch->answers, "]\n", 2);
		bufferevent_write_buffer(client->stream, batch->answers);
	}
	evbuffer_free(batch->answers);
	free(batch);
}

/* --- tickets ------------------------------------------------------------------------------- */

static struct wt_control_ticket *ticket_new(struct client *client, struct batch *batch, json_t *id)
{
	struct wt_control_ticket *ticket = calloc(1, sizeof *ticket);
	if (!ticket)
		return NULL;
	*ticket = (struct wt_control_ticket){
		.client = client, .next = client->tickets, .batch = batch, .id = json_incref(id)};
	if (batch)
		batch->n_open++;
	client->tickets = ticket;
	client->n_tickets++;
	return ticket;
}

void wt_control_drop(struct wt_control_ticket **address)
{
	struct wt_control_ticket *ticket = *address;
	*address = NULL;
	if (ticket->batch)
		batch_leave(ticket->batch, ticket->client);
	if (ticket->client) {
		struct client *client = ticket->client;
		struct wt_control_ticket **link = &client->tickets;
		while (*link != ticket)
			link = &(*link)->next;
		*link = ticket->next;
		client->n_tickets--;
		client->active_at = wt_monotonic_s();
		/* It may have been held back by its number of open requests. */
		if (!client->paused) {
			read_on(client);
			bufferevent_trigger(client->stream, EV_READ, BEV_TRIG_DEFER_CALLBACKS);
		}
	}
	json_decref(ticket->id);
	free(ticket);
}

bool wt_control_may_act(const struct wt_control_ticket *ticket)
{
	return ticket->client && ticket->client->may_act;
}

bool wt_control_alive(const struct wt_control_ticket *ticket)
{
	return ticket->client != NULL;
}

/* Takes over line. */
static void answer(struct wt_control_ticket *ticket, char *line)
{
	if (ticket->batch)
		batch_add(ticket->batch, line);
	else
		send_line(ticket->client, line);
}

void wt_control_stream(struct wt_control_ticket *ticket, json_t *result)
{
	if (ticket->client && ticket->id)
		answer(ticket, wt_rpc_reply_line(ticket->id, result));
	json_decref(result);
}

void wt_control_reply(struct wt_control_ticket **ticket, json_t *result)
{
	wt_control_stream(*ticket, result);
	wt_control_drop(ticket);
}

void wt_control_refuse(struct wt_control_ticket **ticket, const struct wt_refusal *refusal)
{
	if ((*ticket)->client && (*ticket)->id)
		answer(*ticket, wt_rpc_error_line((*ticket)->id, refusal));
	wt_control_drop(ticket);
}

/* --- the watch over deadlines -------------------------------------------------------------- */

/* A tenth of a second from now when somebody is held back, else a second; never while nobody is
 * there.  Our choice. */
static void set_watch(struct wt_control *control, bool soon)
{
	static const struct timeval tenth = {0, 100000}, second = {1, 0};
	/* One that is due soon is not put off by others. */
	if (event_pending(control->watch, EV_TIMEOUT, NULL) && (control->watch_soon || !soon))
		return;
	control->watch_soon = soon;
	(void)event_add(control->watch, soon ? &tenth : &second);
}

/* --- clients ------------------------------------------------------------------------------- */

static void client_free(struct client *client)
{
	struct client **link = &client->control->clients;
	while (*link != client)
		link = &(*link)->next;
	*link = client->next;
	client->control->n_clients--;
	while (client->tickets) {
		client->tickets->client = NULL;
		client->tickets = client->tickets->next;
	}
	bufferevent_free(client->stream);
	free(client);
}

/* Says why and closes when it is sent. */
static void part(struct client *client, int code, const char *sentence)
{
	struct wt_refusal refusal = {0};
	wt_rpc_refuse(&refusal, code, "%s", sentence);
	send_line(client, wt_rpc_error_line(NULL, &refusal));
	client->closing = true;
	bufferevent_disable(client->stream, EV_READ);
}

static void read_on(struct client *client)
{
	if (!client->ended && !client->closing)
		bufferevent_enable(client->stream, EV_READ);
}

static void resume(struct client *client)
{
	client->paused = false;
	read_on(client);
	serve(client);
}

/* A client that only closed its sending side still gets all its answers.  It may be gone after. */
static void part_when_served(struct client *client)
{
	struct evbuffer *input = bufferevent_get_input(client->stream);
	if (!client->ended || client->closing || client->n_tickets > 0 ||
	    evbuffer_search_eol(input, NULL, NULL, EVBUFFER_EOL_LF).pos >= 0)
		return;
	if (evbuffer_get_length(bufferevent_get_output(client->stream)) > 0)
		client->closing = true;
	else
		client_free(client);
}

static void on_written(struct bufferevent *stream, void *context)
{
	struct client *client = context;
	if (client->closing && evbuffer_get_length(bufferevent_get_output(stream)) == 0)
		client_free(client);
	else if (client->paused && !client->closing)
		resume(client);
}

static void on_event(struct bufferevent *stream, short what, void *context)
{
	struct client *client = context;
	if ((what & BEV_EVENT_EOF) && (what & BEV_EVENT_READING) && !(what & BEV_EVENT_ERROR)) {
		client->ended = true;
		bufferevent_disable(stream, EV_READ);
		part_when_served(client);
	} else if (what & (BEV_EVENT_EOF | BEV_EVENT_ERROR)) {
		client_free(client);
	}
}

static bool take_allowance(struct client *client)
{
	double now = wt_monotonic_s();
	client->allowance += (now - client->allowance_at) * WT_CONTROL_RATE_PER_S;
	if (client->allowance > WT_CONTROL_RATE_PER_S)
		client->allowance = WT_CONTROL_RATE_PER_S;
	client->allowance_at = now;
	if (client->allowance < 1.0)
		return false;
	client->allowance -= 1.0;
	return true;
}

static bool is_there(const struct wt_control *control, const struct client *client)
{
	const struct client *there = control->clients;
	while (there && there != client)
		there = there->next;
	return there != NULL;
}

static void take_request(struct client *client, struct batch *batch, const json_t *document)
{
	struct wt_rpc_request request = {0};
	struct wt_refusal refusal = {0};
	bool fine = wt_rpc_read(document, &request, &refusal);
	if (fine && batch && strcmp(request.method, "watch") == 0) {
		wt_rpc_refuse(&refusal, WT_RPC_BAD_REQUEST,
			      "'watch' answers again and again: ask it on a line of its own");
		fine = false;
	}
	if (fine) {
		struct wt_control_ticket *ticket = ticket_new(client, batch, request.id);
		if (ticket)
			client->control->request(client->control->context, ticket, &request);
	} else if (batch) {
		batch_add(batch, wt_rpc_error_line(request.id, &refusal));
	} else {
		send_line(client, wt_rpc_error_line(request.id, &refusal));
	}
	wt_rpc_clear(&request);
}

static void take_batch(struct client *client, const json_t *document)
{
	struct wt_control *control = client->control;
	size_t n = json_array_size(document), index;
	const json_t *one;
	struct wt_refusal refusal = {0};
	struct batch *batch = n > 0 && n <= WT_CONTROL_TICKETS ? calloc(1, sizeof *batch) : NULL;
	if (batch)
		*batch = (struct batch){.answers = evbuffer_new(), .n_open = 1};
	if (!batch || !batch->answers) {
		free(batch);
		wt_rpc_refuse(&refusal, WT_RPC_BAD_REQUEST,
			      "a batch holds 1 to %d requests, not %zu", WT_CONTROL_TICKETS, n);
		send_line(client, wt_rpc_error_line(NULL, &refusal));
		return;
	}
	client->allowance -= (double)(n - 1);
	json_array_foreach(document, index, one)
	{
		if (is_there(control, client))
			take_request(client, batch, one);
	}
	batch_leave(batch, is_there(control, client) ? client : NULL);
}

static void take_line(struct client *client, const char *line, size_t length)
{
	struct wt_refusal refusal = {0};
	json_t *document = wt_rpc_document(line, length, &refusal);
	if (!document)
		send_line(client, wt_rpc_error_line(NULL, &refusal));
	else if (json_is_array(document))
		take_batch(client, document);
	else
		take_request(client, NULL, document);
	json_decref(document);
}

/* Takes what lines have come, a few at a time; false when the client is gone or is to wait. */
static bool take_lines(struct client *client)
{
	struct evbuffer *input = bufferevent_get_input(client->stream);
	struct evbuffer *output = bufferevent_get_output(client->stream);
	struct wt_control *control = client->control;
	if (client->paused)
		return false;
	client->active_at = wt_monotonic_s();
	int turns = WT_CONTROL_TURNS;
	while (!client->closing && client->n_tickets < WT_CONTROL_TICKETS) {
		size_t length = 0;
		if (evbuffer_search_eol(input, NULL, NULL, EVBUFFER_EOL_LF).pos < 0)
			break;
		if (turns-- == 0) {
			bufferevent_trigger(client->stream, EV_READ, BEV_TRIG_DEFER_CALLBACKS);
			return false;
		}
		/* The rest waits until answers are read, or for the next look at the deadlines, a
		 * tenth of a second away. */
		if (evbuffer_get_length(output) > WT_CONTROL_UNREAD_PAUSE ||
		    !take_allowance(client)) {
			bufferevent_disable(client->stream, EV_READ);
			client->line_since = 0.0;
			client->paused = true;
			set_watch(client->control, true);
			return false;
		}
		char *line = evbuffer_readln(input, &length, EVBUFFER_EOL_LF);
		if (!line)
			break;
		/* What follows it is a line of its own, with its own time. */
		client->line_since = 0.0;
		if (length > WT_RPC_LINE_MAX)
			part(client, WT_RPC_BAD_REQUEST, "a request may have at most 64 KiB");
		else
			take_line(client, line, length);
		free(line);
		/* The request may have been the client's last. */
		if (!is_there(control, client))
			return false;
	}
	return !client->closing;
}

static void serve(struct client *client)
{
	if (!take_lines(client))
		return;
	size_t waiting = evbuffer_get_length(bufferevent_get_input(client->stream));
	if (client->n_tickets >= WT_CONTROL_TICKETS) {
		/* Held back by us until one is answered: a flood costs its sender, not us. */
		bufferevent_disable(client->stream, EV_READ);
		client->line_since = 0.0;
	} else if (waiting > WT_RPC_LINE_MAX)
		part(client, WT_RPC_BAD_REQUEST, "a request may have at most 64 KiB");
	else if (waiting == 0)
		client->line_since = 0.0;
	else if (client->line_since == 0.0)
		client->line_since = client->active_at;
	part_when_served(client);
}

static void on_readable(struct bufferevent *stream, void *context)
{
	(void)stream;
	serve(context);
}

/* Nobody is there any more to hear an answer: a watcher that left. */
static bool hung_up(const struct client *client)
{
	struct pollfd look = {.fd = bufferevent_getfd(client->stream)};
	return client->ended && poll(&look, 1, 0) == 1 && (look.revents & POLLHUP);
}

static void check_client(struct client *client, double now)
{
	if (hung_up(client)) {
		client_free(client);
		return;
	}
	struct evbuffer *output = bufferevent_get_output(client->stream);
	if (evbuffer_get_length(output) > WT_CONTROL_UNREAD_MAX) {
		client_free(client);
		return;
	}
	if (client->closing) {
		if (now - client->active_at > WT_CONTROL_LINE_DEADLINE_S)
			client_free(client);
		return;
	}
	if (client->paused && evbuffer_get_length(output) <= WT_CONTROL_UNREAD_PAUSE) {
		resume(client);
		return;
	}
	if (client->n_tickets > 0)
		return;
	if (client->line_since > 0.0 && now - client->line_since > WT_CONTROL_LINE_DEADLINE_S) {
		part(client, WT_RPC_BAD_REQUEST, "the request was not finished within 10 s");
		return;
	}
	if (now - client->active_at > WT_CONTROL_IDLE_S)
		client_free(client);
}

static void on_watch(evutil_socket_t fd, short what, void *context)
{
	struct wt_control *control = context;
	double now = wt_monotonic_s();
	(void)fd;
	(void)what;
	for (struct client *client = control->clients, *next; client; client = next) {
		next = client->next;
		check_client(client, now);
	}
	bool soon = false;
	for (struct client *client = control->clients; client; client = client->next)
		soon = soon || client->paused || client->closing || client->ended;
	if (control->clients)
		set_watch(control, soon);
}

static bool in_groups(int fd, const struct ucred *peer, gid_t group)
{
	gid_t groups[256];
	socklen_t size = sizeof groups;
	if (peer->gid == group)
		return true;
	if (getsockopt(fd, SOL_SOCKET, SO_PEERGROUPS, groups, &size) != 0)
		return false;
	for (size_t i = 0; i < size / sizeof groups[0]; i++)
		if (groups[i] == group)
			return true;
	return false;
}

static bool peer_may_act(const struct wt_control *control, int fd)
{
	struct ucred peer;
	socklen_t size = sizeof peer;
	if (getsockopt(fd, SOL_SOCKET, SO_PEERCRED, &peer, &size) != 0)
		return false;
	return peer.uid == 0 || peer.uid == geteuid() || in_groups(fd, &peer, getegid()) ||
	       in_groups(fd, &peer, control->group);
}

static void turn_away(int fd)
{
	struct wt_refusal refusal = {0};
	wt_rpc_refuse(&refusal, WT_RPC_TRY_AGAIN, "too many connections, at most %d; try again",
		      WT_CONTROL_CLIENTS);
	char *line = wt_rpc_error_line(NULL, &refusal);
	if (line) {
		ssize_t sent = send(fd, line, strlen(line), MSG_NOSIGNAL | MSG_DONTWAIT);
		(void)sent;
	}
	free(line);
	close(fd);
}

static void on_accept(struct evconnlistener *listener, evutil_socket_t fd, struct sockaddr *address,
		      int length, void *context)
{
	struct wt_control *control = context;
	(void)listener;
	(void)address;
	(void)length;
	struct client *client = NULL;
	if (control->n_clients < WT_CONTROL_CLIENTS)
		client = calloc(1, sizeof *client);
	if (client)
		client->stream = bufferevent_socket_new(control->base, fd, BEV_OPT_CLOSE_ON_FREE);
	if (!client || !client->stream) {
		free(client);
		turn_away(fd);
		return;
	}
	client->control = control;
	client->may_act = peer_may_act(control, fd);
	client->active_at = client->allowance_at = wt_monotonic_s();
	client->allowance = WT_CONTROL_RATE_PER_S;
	client->next = control->clients;
	control->clients = client;
	control->n_clients++;
	set_watch(control, false);
	bufferevent_setcb(client->stream, on_readable, on_written, on_event, client);
	bufferevent_enable(client->stream, EV_READ | EV_WRITE);
}

/* --- the socket ---------------------------------------------------------------------------- */

/* A socket nobody listens on is left from a daemon that was killed; anything else stays. */
static bool clear_path(const struct sockaddr_un *address, char *why, size_t why_size)
{
	struct stat there;
	if (lstat(address->sun_path, &there) != 0)
		return true;
	if (!S_ISSOCK(there.st_mode)) {
		snprintf(why, why_size, "socket '%s' is in the way: it is not a socket",
			 address->sun_path);
		return false;
	}
	int fd = socket(AF_UNIX, SOCK_STREAM | SOCK_CLOEXEC, 0);
	bool served =
		fd >= 0 && connect(fd, (const struct sockaddr *)address, sizeof *address) == 0;
	if (fd >= 0)
		close(fd);
	if (served) {
		snprintf(why, why_size, "another witherd answers on socket '%s'",
			 address->sun_path);
		return false;
	}
	unlink(address->sun_path);
	return true;
}

static int listen_on(const char *path, char *why, size_t why_size)
{
	struct sockaddr_un address = {.sun_family = AF_UNIX};
	if (strlen(path) >= sizeof address.sun_path) {
		snprintf(why, why_size, "socket must be a path of at most %zu bytes, not '%s'",
			 sizeof address.sun_path - 1, path);
		return -1;
	}
	memcpy(address.sun_path, path, strlen(path));
	if (!clear_path(&address, why, why_size))
		return -1;
	int fd = socket(AF_UNIX, SOCK_STREAM | SOCK_CLOEXEC | SOCK_NONBLOCK, 0);
	mode_t before = umask(0117);
	bool fine = fd >= 0 && bind(fd, (struct sockaddr *)&address, sizeof address) == 0 &&
		    listen(fd, 128) == 0;
	int error = errno;
	umask(before);
	if (fine)
		return fd;
	snprintf(why, why_size, "socket '%s' cannot be served: %s", path, strerror(error));
	if (fd >= 0)
		close(fd);
	return -1;
}

static bool give_group(struct wt_control *control, const char *group, char *why, size_t why_size)
{
	char buffer[4096];
	struct group entry, *found = NULL;
	control->group = getegid();
	if (!group)
		return true;
	if (getgrnam_r(group, &entry, buffer, sizeof buffer, &found) != 0 || !found) {
		snprintf(why, why_size, "socket_group '%s' is not a group of this machine", group);
		return false;
	}
	control->group = found->gr_gid;
	if (chown(control->path, (uid_t)-1, control->group) != 0)
		wt_log(WT_LOG_WARNING, "socket '%s' cannot be given to group '%s': %s",
		       control->path, group, strerror(errno));
	return true;
}

struct wt_control *wt_control_new(struct event_base *base, const char *path, const char *group,
				  wt_control_request_fn request, void *context, char *why,
				  size_t why_size)
{
	struct wt_control *control = calloc(1, sizeof *control);
	int fd = -1;
	if (control)
		*control = (struct wt_control){
			.base = base, .request = request, .context = context, .path = strdup(path)};
	if (!control || !control->path) {
		snprintf(why, why_size, "out of memory");
		goto out;
	}
	fd = listen_on(path, why, why_size);
	if (fd < 0) {
		free(control->path);
		control->path = NULL;
		goto out;
	}
	if (!give_group(control, group, why, why_size))
		goto out;
	control->listener = evconnlistener_new(
		base, on_accept, control, LEV_OPT_CLOSE_ON_FREE | LEV_OPT_CLOSE_ON_EXEC, 0, fd);
	control->watch = event_new(base, -1, 0, on_watch, control);
	if (control->listener && control->watch)
		return control;
	snprintf(why, why_size, "out of memory");
out:
	if (fd >= 0 && control && !control->listener)
		close(fd);
	wt_control_free(&control);
	return NULL;
}

void wt_control_free(struct wt_control **address)
{
	struct wt_control *control = *address;
	if (!control)
		return;
	while (control->clients) {
		/* What was answered is worth a moment: a confirmed act should be heard of. */
		struct evbuffer *output = bufferevent_get_output(control->clients->stream);
		evbuffer_unfreeze(output, 1);
		evbuffer_write(output, bufferevent_getfd(control->clients->stream));
		client_free(control->clients);
	}
	if (control->listener)
		evconnlistener_free(control->listener);
	if (control->watch)
		event_free(control->watch);
	if (control->path)
		unlink(control->path);
	free(control->path);
	free(control);
	*address = NULL;
}
