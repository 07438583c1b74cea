/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "tests/cli/runner.h"

#include <arpa/inet.h>
#include <errno.h>
#include <fcntl.h>
#include <poll.h>
#include <pty.h>
#include <signal.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/ioctl.h>
#include <sys/socket.h>
#include <sys/un.h>
#include <sys/wait.h>
#include <time.h>
#include <unistd.h>

static double now_s(void)
{
	struct timespec at;

	clock_gettime(CLOCK_MONOTONIC, &at);
	return (double)at.tv_sec + (double)at.tv_nsec * 1e-9;
}

void run_clear(struct run *run)
{
	free(run->out);
	free(run->err);
	memset(run, 0, sizeof *run);
}

/* Splits in place. */
static void split(char *line, char **argv)
{
	int n = 0;
	char *p = line;

	while (*p && n < RUNNER_WORDS - 1) {
		char stop = ' ';

		while (*p == ' ')
			p++;
		if (*p == '\'') {
			stop = '\'';
			p++;
		} else if (!*p) {
			break;
		}
		argv[n++] = p;
		while (*p && *p != stop)
			p++;
		if (*p)
			*p++ = '\0';
	}
	argv[n] = NULL;
}

static void become(const char *line, const char *const *env)
{
	char copy[4096], *argv[RUNNER_WORDS];
	const char *program;

	snprintf(copy, sizeof copy, "%s", line);
	split(copy, argv);
	for (; env && *env; env++) {
		char pair[512], *equals;

		snprintf(pair, sizeof pair, "%s", *env);
		equals = strchr(pair, '=');
		if (!equals)
			continue;
		*equals = '\0';
		if (equals[1])
			setenv(pair, equals + 1, 1);
		else
			unsetenv(pair);
	}
	program = strcmp(argv[0], "wither") == 0    ? getenv("WITHER")
		  : strcmp(argv[0], "witherd") == 0 ? getenv("WITHERD")
						    : argv[0];
	execvp(program ? program : argv[0], argv);
	_exit(127);
}

/* Appends what can be read; false at the end of the stream. */
static bool drain(int fd, char **text, size_t *used)
{
	char part[65536];
	ssize_t n = read(fd, part, sizeof part);
	char *grown;

	if (n < 0 && (errno == EINTR || errno == EAGAIN))
		return true;
	if (n <= 0)
		return false;
	grown = realloc(*text, *used + (size_t)n + 1);
	if (!grown)
		return false;
	memcpy(grown + *used, part, (size_t)n);
	*used += (size_t)n;
	grown[*used] = '\0';
	*text = grown;
	return true;
}

static int wait_code(pid_t pid, double deadline_s)
{
	int status;

	while (waitpid(pid, &status, WNOHANG) == 0) {
		if (now_s() > deadline_s)
			kill(pid, SIGKILL);
		poll(NULL, 0, 2);
	}
	return WIFEXITED(status) ? WEXITSTATUS(status) : -1;
}

void run_line(const char *line, const char *const *env, struct run *out)
{
	int pipes[2][2];
	size_t used[2] = {0, 0};
	char *text[2] = {calloc(1, 1), calloc(1, 1)};
	bool open[2] = {true, true};
	double deadline_s = now_s() + RUNNER_DEADLINE_S;
	pid_t pid;

	if (pipe(pipes[0]) != 0 || pipe(pipes[1]) != 0)
		abort();
	pid = fork();
	if (pid == 0) {
		int null = open[0] ? openat(AT_FDCWD, "/dev/null", O_RDONLY) : -1;

		dup2(null, STDIN_FILENO);
		dup2(pipes[0][1], STDOUT_FILENO);
		dup2(pipes[1][1], STDERR_FILENO);
		for (int i = 0; i < 2; i++) {
			close(pipes[i][0]);
			close(pipes[i][1]);
		}
		become(line, env);
	}
	for (int i = 0; i < 2; i++)
		close(pipes[i][1]);
	while ((open[0] || open[1]) && now_s() < deadline_s) {
		struct pollfd ready[2] = {{.fd = open[0] ? pipes[0][0] : -1, .events = POLLIN},
					  {.fd = open[1] ? pipes[1][0] : -1, .events = POLLIN}};

		poll(ready, 2, 1000);
		for (int i = 0; i < 2; i++)
			if (open[i] && ready[i].revents)
				open[i] = drain(pipes[i][0], &text[i], &used[i]);
	}
	for (int i = 0; i < 2; i++)
		close(pipes[i][0]);
	out->code = wait_code(pid, deadline_s);
	out->out = text[0];
	out->err = text[1];
}

bool terminal_open(const char *line, const char *const *env, int width, int height,
		   struct terminal *out)
{
	struct winsize size = {.ws_col = (unsigned short)width, .ws_row = (unsigned short)height};

	memset(out, 0, sizeof *out);
	out->seen = calloc(1, 1);
	out->pid = forkpty(&out->fd, NULL, NULL, &size);
	if (out->pid == 0)
		become(line, env);
	return out->pid > 0;
}

bool terminal_expect(struct terminal *terminal, const char *text)
{
	double deadline_s = now_s() + RUNNER_DEADLINE_S;

	for (;;) {
		struct pollfd ready = {.fd = terminal->fd, .events = POLLIN};
		const char *found = strstr(terminal->seen + terminal->taken, text);

		if (found) {
			terminal->taken = (size_t)(found - terminal->seen) + strlen(text);
			return true;
		}
		if (now_s() > deadline_s ||
		    (poll(&ready, 1, 1000) > 0 &&
		     !drain(terminal->fd, &terminal->seen, &terminal->used)))
			return false;
	}
}

void terminal_type(struct terminal *terminal, const char *keys)
{
	if (write(terminal->fd, keys, strlen(keys)) < 0)
		perror("write");
}

void terminal_resize(struct terminal *terminal, int width, int height)
{
	struct winsize size = {.ws_col = (unsigned short)width, .ws_row = (unsigned short)height};

	ioctl(terminal->fd, TIOCSWINSZ, &size);
}

int terminal_close(struct terminal *terminal)
{
	double deadline_s = now_s() + RUNNER_DEADLINE_S;

	for (;;) {
		struct pollfd ready = {.fd = terminal->fd, .events = POLLIN};

		/* The far side is gone when the read fails. */
		if (now_s() > deadline_s ||
		    (poll(&ready, 1, 1000) > 0 &&
		     !drain(terminal->fd, &terminal->seen, &terminal->used)))
			break;
	}
	close(terminal->fd);
	return wait_code(terminal->pid, deadline_s);
}

void run_terminal(const char *line, const char *const *env, int width, int height, struct run *out)
{
	struct terminal terminal;

	memset(out, 0, sizeof *out);
	out->code = -1;
	if (!terminal_open(line, env, width, height, &terminal))
		return;
	out->code = terminal_close(&terminal);
	out->out = terminal.seen;
}

pid_t daemon_start(const char *line, const char *log)
{
	pid_t pid = fork();

	if (pid == 0) {
		int fd = open(log, O_WRONLY | O_CREAT | O_APPEND, 0600);

		dup2(fd, STDOUT_FILENO);
		dup2(fd, STDERR_FILENO);
		become(line, NULL);
	}
	return pid;
}

int daemon_stop(pid_t pid)
{
	kill(pid, SIGTERM);
	return wait_code(pid, now_s() + RUNNER_DEADLINE_S);
}

static bool can_connect(const struct sockaddr *address, socklen_t length)
{
	int fd = socket(address->sa_family, SOCK_STREAM, 0);
	bool done = fd >= 0 && connect(fd, address, length) == 0;

	if (fd >= 0)
		close(fd);
	return done;
}

static bool comes_up(pid_t pid, const struct sockaddr *address, socklen_t length)
{
	double deadline_s = now_s() + RUNNER_DEADLINE_S;

	while (now_s() < deadline_s) {
		if (can_connect(address, length))
			return true;
		if (waitpid(pid, NULL, WNOHANG) != 0)
			return false;
		poll(NULL, 0, 5);
	}
	return false;
}

bool daemon_listens(pid_t pid, const char *path)
{
	struct sockaddr_un address = {.sun_family = AF_UNIX};

	snprintf(address.sun_path, sizeof address.sun_path, "%s", path);
	return comes_up(pid, (struct sockaddr *)&address, sizeof address);
}

bool port_listens(pid_t pid, int port)
{
	struct sockaddr_in address = {.sin_family = AF_INET,
				      .sin_port = htons((unsigned short)port),
				      .sin_addr.s_addr = htonl(INADDR_LOOPBACK)};

	return comes_up(pid, (struct sockaddr *)&address, sizeof address);
}

int free_port(void)
{
	struct sockaddr_in address = {.sin_family = AF_INET,
				      .sin_addr.s_addr = htonl(INADDR_LOOPBACK)};
	socklen_t length = sizeof address;
	int fd = socket(AF_INET, SOCK_STREAM, 0), port = 0;

	if (fd >= 0 && bind(fd, (struct sockaddr *)&address, length) == 0 &&
	    getsockname(fd, (struct sockaddr *)&address, &length) == 0)
		port = ntohs(address.sin_port);
	if (fd >= 0)
		close(fd);
	return port;
}
