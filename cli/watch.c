/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * The evening's screen, live.  Only rows that changed are sent again, so that
 * it is bearable over a thin link; a lost daemon is said and looked for again.
 */
#include <errno.h>
#include <poll.h>
#include <signal.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <termios.h>
#include <time.h>
#include <unistd.h>

#include "cli/doc.h"
#include "cli/page.h"
#include "cli/print.h"
#include "cli/run.h"
#include "cli/tongue.h"
#include "cli/when.h"

enum { WATCH_ROWS = 200, WATCH_RETRY_S = 5, WATCH_HEAR_S = 30 };

static volatile sig_atomic_t resized, ended;

struct screen {
	char *rows[WATCH_ROWS]; /* as they stand on the terminal */
	struct termios before;
	bool raw;
};

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
}

static void screen_forget(struct screen *screen)
{
	for (size_t i = 0; i < WATCH_ROWS; i++) {
		free(screen->rows[i]);
		screen->rows[i] = NULL;
	}
}

static void screen_close(struct screen *screen)
{
	screen_forget(screen);
	fputs("\033[?25h\033[?1049l", stdout);
	fflush(stdout);
	if (screen->raw)
		tcsetattr(STDIN_FILENO, TCSADRAIN, &screen->before);
}

/* Sends the rows of text that differ from what stands there. */
static void screen_show(struct screen *screen, char *text, int height)
{
	char *row = text;

	for (size_t i = 0; i < WATCH_ROWS && (int)i < height; i++) {
		char *end = row ? strchr(row, '\n') : NULL;

		if (end)
			*end = '\0';
		const char *wish = row && *row ? row : "";

		if (!screen->rows[i] || strcmp(screen->rows[i], wish) != 0) {
			printf("\033[%zu;1H%s\033[K", i + 1, wish);
			free(screen->rows[i]);
			screen->rows[i] = strdup(wish);
		}
		row = end ? end + 1 : NULL;
	}
	fflush(stdout);
}

static void draw(struct screen *screen, const json_t *tonight, const char *trouble)
{
	char *text = NULL;
	size_t size = 0;
	FILE *memory = open_memstream(&text, &size);
	struct wt_term term;
	struct wt_page page;

	if (!memory)
		return;
	wt_term_detect(&term, stdout);
	wt_page_open(&page, memory, &term);
	if (trouble)
		wt_page_row(&page, WT_MARK_ALARM, "%s", trouble);
	if (tonight)
		wt_print_tonight(&page, tonight);
	fclose(memory);
	screen_show(screen, text, term.height > 0 ? term.height : 20);
	free(text);
}

/* Waits for the daemon, a key or a signal.  True when the daemon has something. */
static bool wait_for(int fd, int timeout_ms)
{
	struct pollfd ready[2] = {{.fd = fd, .events = POLLIN},
				  {.fd = STDIN_FILENO, .events = POLLIN}};
	char key;

	if (poll(ready, 2, timeout_ms) <= 0)
		return false;
	if (ready[1].revents & POLLIN) {
		if (read(STDIN_FILENO, &key, 1) == 1 && (key == 'q' || key == 'Q' || key == 4))
			ended = 1;
	} else if (ready[1].revents) {
		ended = 1;
	}
	return ready[0].revents != 0;
}

static const json_t *tonight_of(const json_t *result)
{
	const json_t *tonight = wt_doc_object(result, "tonight");

	return tonight ? tonight : result;
}

/* Watches over one connection until it breaks or the user leaves. */
static void follow(struct screen *screen, struct wt_socket *socket, struct wt_reply *shown,
		   char *why, size_t why_size)
{
	while (!ended) {
		struct wt_reply reply;

		if (resized) {
			resized = 0;
			screen_forget(screen);
			fputs("\033[2J", stdout);
			draw(screen, shown->result ? tonight_of(shown->result) : NULL, NULL);
		}
		if (!wait_for(wt_socket_fd(socket), -1))
			continue;
		if (!wt_socket_receive(socket, WATCH_HEAR_S, &reply, why, why_size) ||
		    !reply.result)
			return;
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
			follow(&screen, socket, &shown, why, sizeof why);
		wt_socket_close(&socket);
		if (ended)
			break;
		draw(&screen, shown.result ? tonight_of(shown.result) : NULL, why);
		wait_for(-1, WATCH_RETRY_S * 1000);
		socket = wt_socket_open(wt_run_socket_path(call), why, sizeof why);
	}
	screen_close(&screen);
	wt_socket_close(&socket);
	wt_socket_reply_clear(&shown);
	return WT_EXIT_FINE;
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
	while (!ended) {
		struct wt_reply reply;
		struct pollfd ready = {.fd = wt_socket_fd(socket), .events = POLLIN};

		if (poll(&ready, 1, -1) <= 0)
			continue;
		if (!wt_socket_receive(socket, WATCH_HEAR_S, &reply, why, sizeof why) ||
		    !reply.result)
			goto out;
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
