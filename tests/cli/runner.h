/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * Real programs run for a test: with pipes, in a pseudo-terminal, or as a
 * daemon.  Everything lives in one throw-away folder and on loopback.
 */
#ifndef WT_TESTS_CLI_RUNNER_H
#define WT_TESTS_CLI_RUNNER_H

#include <stdbool.h>
#include <stddef.h>
#include <sys/types.h>

/* Our choice: for what hangs, not for what is slow; below the tests' own time. */
enum { RUNNER_WORDS = 24, RUNNER_DEADLINE_S = 150 };

struct run {
	int code; /* exit code; -1 when killed by a signal or by the deadline */
	char *out, *err;
};
void run_clear(struct run *run);

/* line: words split at spaces, '...' keeps them together; `wither` and `witherd` are found where
 * meson built them.  env: NULL-ended "NAME=VALUE" set in the child, "NAME=" unsets it. */
void run_line(const char *line, const char *const *env, struct run *out);

/* The same with standard streams on a pseudo-terminal; all it shows is in out->out. */
void run_terminal(const char *line, const char *const *env, int width, int height, struct run *out);

/* A terminal left running. */
struct terminal {
	pid_t pid;
	int fd;
	char *seen; /* all that was shown so far */
	size_t used;
	size_t taken; /* up to here it was expected already */
};
bool terminal_open(const char *line, const char *const *env, int width, int height,
		   struct terminal *out);
/* Reads until text was shown behind what was expected before; false at the deadline or the end. */
bool terminal_expect(struct terminal *terminal, const char *text);
void terminal_type(struct terminal *terminal, const char *keys);
void terminal_resize(struct terminal *terminal, int width, int height);
/* Waits for the end; the exit code. */
int terminal_close(struct terminal *terminal);

/* A process in the background, its output appended to a file. */
pid_t daemon_start(const char *line, const char *log);
/* Asks it to stop and waits; the exit code. */
int daemon_stop(pid_t pid);
/* True as soon as something listens on the path; false when the process ended or at the deadline.
 */
bool daemon_listens(pid_t pid, const char *path);
bool port_listens(pid_t pid, int port);

/* A loopback port that was free a moment ago. */
int free_port(void);

#endif /* WT_TESTS_CLI_RUNNER_H */
