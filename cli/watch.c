/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * The evening's screen, live.  Only cells that changed are sent again, so that
 * it is bearable over a thin link; a lost daemon is said and looked for again.
 * The daemon sends each new forecast; between them we ask once a minute, so that
 * the clock and the room's air go on.
 */
#include <errno.h>
#include <math.h>
#include <poll.h>
#include <signal.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <termios.h>
#include <time.h>
#include <unistd.h>

#include "cli/doc.h"
#include "cli/memory.h"
#include "cli/page.h"
#include "cli/print.h"
#include "cli/run.h"
#include "cli/screen.h"
#include "cli/tongue.h"
#include "cli/when.h"

enum { WATCH_RETRY_S = 5, WATCH_HEAR_S = 30 };

static volatile sig_atomic_t resized, ended;

struct screen {
	struct wt_screen stands;
	struct termios before;
	bool raw;
};

/* The one that is open, to be closed before the end is said. */
static struct screen *standing;

static void on_signal(int number)
{
	if (number == SIGWINCH)
		resized = 1;
	else
		ended = 1;
}

static void catch_signals(void)
{
	struct sigaction action = {.sa_handler = on_signal};

	sigaction(SIGWINCH, &action, NULL);
	sigaction(SIGINT, &action, NULL);
	sigaction(SIGTERM, &action, NULL);
	sigaction(SIGHUP, &action, NULL);
}

static void screen_close(void)
{
	struct screen *screen = standing;

	wt_memory_before_end(NULL);
	wt_screen_forget(&screen->stands);
	fputs("\033[?25h\033[?1049l", stdout);
	fflush(stdout);
	if (screen->raw)
		tcsetattr(STDIN_FILENO, TCSADRAIN, &screen->before);
}

static void screen_open(struct screen *screen)
{
	struct termios raw;

	memset(screen, 0, sizeof *screen);
	if (isatty(STDIN_FILENO) && tcgetattr(STDIN_FILENO, &screen->before) == 0) {
		raw = screen->before;
		raw.c_lflag &= ~(tcflag_t)(ICANON | ECHO);
		screen->raw = tcsetattr(STDIN_FILENO, TCSADRAIN, &raw) == 0;
	}
	/* Another screen, so that what stood there comes back; cursor hidden. */
	fputs("\033[?1049h\033[?25l\033[2J", stdout);
	fflush(stdout);
	standing = screen;
	wt_memory_before_end(screen_close);
}

static void draw(struct screen *screen, const json_t *tonight, const char *trouble)
{
	char *text = NULL;
	size_t size = 0;
	FILE *memory = open_memstream(&text, &size);
	struct wt_term term;
	struct wt_page page;

	if (!memory)
		wt_memory_end();
	wt_term_detect(&term, stdout);
	wt_page_open(&page, memory, &term);
	if (trouble)
		wt_page_row(&page, WT_MARK_ALARM, "%s", trouble);
	if (tonight)
		wt_print_tonight(&page, tonight);
	if (ferror(memory) | (fclose(memory) != 0))
		wt_memory_end();
	wt_screen_show(&screen->stands, stdout, text, term.height > 0 ? term.height : 20);
	free(text);
}

enum wait { WAIT_DAEMON, WAIT_TIME, WAIT_OTHER };

/* -1 where no key can come any more: an end of file would be there at once, each time. */
static int keyboard = STDIN_FILENO;

static void take_key(bool hung_up)
{
	char key = 0;
	ssize_t n = read(keyboard, &key, 1);

	if (n == 1 && (key == 'q' || key == 'Q' || key == 4))
		ended = 1;
	else if (n == 0 && !hung_up)
		keyboard = -1;
	else if (n == 0 || (n < 0 && errno != EINTR && errno != EAGAIN))
		ended = 1;
}

/* Waits for the daemon, a key, a signal or the time. */
static enum wait wait_for(int fd, int timeout_ms)
{
	struct pollfd ready[2] = {{.fd = fd, .events = POLLIN}, {.fd = keyboard, .events = POLLIN}};
	int n = poll(ready, 2, timeout_ms);

	if (n <= 0)
		return n == 0 ? WAIT_TIME : WAIT_OTHER;
	if (ready[1].revents & POLLIN)
		take_key(ready[1].revents & POLLHUP);
	else if (ready[1].revents)
		ended = 1;
	return ready[0].revents ? WAIT_DAEMON : WAIT_OTHER;
}

static const json_t *tonight_of(const json_t *result)
{
	const json_t *tonight = wt_doc_object(result, "tonight");

	return tonight ? tonight : result;
}

/* Until the daemon's clock shows another minute, and a little more. */
static int minute_ms(const json_t *result)
{
	double now = wt_doc_number(tonight_of(result), "now_unix_s");

	return isfinite(now) ? (int)(60.0 - fmod(now, 60.0)) * 1000 + 500 : 60000;
}

/* The screen as of now; false when it could not be had, which the watch itself will tell. */
static bool ask_now(const struct wt_command *call, struct wt_reply *reply)
{
	char why[256];
	struct wt_socket *socket = wt_socket_open(wt_run_socket_path(call), why, sizeof why);
	bool have = socket && wt_socket_send(socket, "tonight", NULL, why, sizeof why) &&
		    wt_socket_receive(socket, call->verb->deadline_s, reply, why, sizeof why);

	wt_socket_close(&socket);
	if (have && reply->result)
		return true;
	if (have)
		wt_socket_reply_clear(reply);
	return false;
}

/* Watches over one connection until it breaks or the user leaves. */
static void follow(const struct wt_command *call, struct screen *screen, struct wt_socket *socket,
		   struct wt_reply *shown, char *why, size_t why_size)
{
	while (!ended) {
		struct wt_reply reply;

		if (resized) {
			resized = 0;
			wt_screen_forget(&screen->stands);
			fputs("\033[2J", stdout);
			draw(screen, shown->result ? tonight_of(shown->result) : NULL, NULL);
		}
		switch (wait_for(wt_socket_fd(socket), minute_ms(shown->result))) {
		case WAIT_DAEMON:
			if (!wt_socket_receive(socket, WATCH_HEAR_S, &reply, why, why_size))
				return;
			if (reply.result)
				break;
			wt_socket_reply_clear(&reply);
			return;
		case WAIT_TIME:
			if (ask_now(call, &reply))
				break;
			continue;
		default:
			continue;
		}
		wt_socket_reply_clear(shown);
		*shown = reply;
		wt_when_zone(wt_doc_text(tonight_of(shown->result), "timezone"));
		draw(screen, tonight_of(shown->result), NULL);
	}
}

static int watch_screen(const struct wt_command *call)
{
	struct wt_socket *socket = wt_run_connect(call);
	struct wt_reply shown = {0};
	struct screen screen;
	char why[512];

	if (!socket)
		return WT_EXIT_FAILED;
	catch_signals();
	screen_open(&screen);
	while (!ended) {
		if (socket && wt_socket_send(socket, "watch", NULL, why, sizeof why))
			follow(call, &screen, socket, &shown, why, sizeof why);
		wt_socket_close(&socket);
		if (ended)
			break;
		draw(&screen, shown.result ? tonight_of(shown.result) : NULL, why);
		wait_for(-1, WATCH_RETRY_S * 1000);
		socket = wt_socket_open(wt_run_socket_path(call), why, sizeof why);
	}
	screen_close();
	wt_socket_close(&socket);
	wt_socket_reply_clear(&shown);
	return WT_EXIT_FINE;
}

/* Waits for the daemon; false as soon as nobody reads what is printed, which a write would tell
 * only at the next change. */
static bool wait_plain(int fd)
{
	struct pollfd ready[2] = {{.fd = fd, .events = POLLIN}, {.fd = STDOUT_FILENO}};

	while (!ended && !ready[0].revents) {
		if (poll(ready, 2, -1) <= 0)
			ready[0].revents = 0;
		else if (ready[1].revents)
			return false;
	}
	return true;
}

/* Without a terminal each change is printed below the last. */
static int watch_plain(const struct wt_command *call)
{
	struct wt_socket *socket = wt_run_connect(call);
	struct wt_page page = wt_run_page();
	char why[512] = "";
	int code = WT_EXIT_FAILED;

	if (!socket)
		return WT_EXIT_FAILED;
	catch_signals();
	if (!wt_socket_send(socket, "watch", NULL, why, sizeof why))
		goto out;
	while (wait_plain(wt_socket_fd(socket)) && !ended) {
		struct wt_reply reply;

		if (!wt_socket_receive(socket, WATCH_HEAR_S, &reply, why, sizeof why))
			goto out;
		if (!reply.result) {
			wt_socket_reply_clear(&reply);
			goto out;
		}
		wt_when_zone(wt_doc_text(tonight_of(reply.result), "timezone"));
		if (call->json)
			puts(reply.text);
		else
			wt_print_tonight(&page, tonight_of(reply.result));
		wt_socket_reply_clear(&reply);
		if (fflush(stdout) != 0)
			goto out;
	}
	code = WT_EXIT_FINE;
out:
	if (code != WT_EXIT_FINE)
		wt_run_complain("%s", *why ? why : _("cannot write the output"));
	wt_socket_close(&socket);
	return code;
}

int wt_run_watch(const struct wt_command *call)
{
	return isatty(STDOUT_FILENO) && !call->json ? watch_screen(call) : watch_plain(call);
}
