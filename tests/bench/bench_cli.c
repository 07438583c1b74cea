/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * How long a maker waits for `wither`: against a running daemon with 20 loads,
 * beside /bin/true in the same run, and how much a thin link must carry.
 * Limits (our choice): median 15 ms, 4 times /bin/true, 2 KiB on the screen.
 */
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/wait.h>
#include <time.h>
#include <fcntl.h>
#include <unistd.h>

#include "tests/cli/workshop.h"

enum { BENCH_RUNS = 301 };

static double now_ms(void)
{
	struct timespec at;

	clock_gettime(CLOCK_MONOTONIC, &at);
	return (double)at.tv_sec * 1e3 + (double)at.tv_nsec * 1e-6;
}

static int by_size(const void *a, const void *b)
{
	double x = *(const double *)a, y = *(const double *)b;

	return (x > y) - (x < y);
}

static double once_ms(const char *program, const char *word)
{
	double begun_ms = now_ms();
	int status = 0;
	pid_t pid = vfork();

	if (pid == 0) {
		execl(program, program, word, (char *)NULL);
		_exit(127);
	}
	if (waitpid(pid, &status, 0) != pid || status != 0) {
		fprintf(stderr, "%s ended with status %d\n", program, status);
		exit(1);
	}
	return now_ms() - begun_ms;
}

int main(void)
{
	static double wither_ms[BENCH_RUNS], true_ms[BENCH_RUNS];
	const char *env[] = {"LC_ALL=C.UTF-8", "TERM=xterm", NULL};
	struct workshop workshop;
	struct run run;
	char line[160];
	int out, null, failed;
	size_t bytes;

	if (!workshop_frozen(&workshop, 20))
		return 1;
	snprintf(line, sizeof line, "wither --socket %s", workshop.socket);
	run_terminal(line, env, 40, 20, &run);
	bytes = strlen(run.out);
	run_clear(&run);
	setenv("WITHER_SOCKET", workshop.socket, 1);
	out = dup(STDOUT_FILENO);
	null = open("/dev/null", O_WRONLY);
	dup2(null, STDOUT_FILENO);
	/* Turn about, so that both meet the same machine. */
	for (int i = 0; i < BENCH_RUNS; i++) {
		wither_ms[i] = once_ms(getenv("WITHER"), "tonight");
		true_ms[i] = once_ms("/bin/true", "tonight");
	}
	dup2(out, STDOUT_FILENO);
	workshop_close(&workshop);
	qsort(wither_ms, BENCH_RUNS, sizeof *wither_ms, by_size);
	qsort(true_ms, BENCH_RUNS, sizeof *true_ms, by_size);
	printf("wither, 20 loads: median %.2f ms, 95 %% below %.2f ms\n", wither_ms[BENCH_RUNS / 2],
	       wither_ms[BENCH_RUNS * 95 / 100]);
	printf("/bin/true: median %.2f ms, ratio %.2f\n", true_ms[BENCH_RUNS / 2],
	       wither_ms[BENCH_RUNS / 2] / true_ms[BENCH_RUNS / 2]);
	/* On a busy machine both wait for others, and one that must wake a second process waits
	 * twice: the quartile tells what the programs need. */
	printf("lower quartile: %.2f ms beside %.2f ms, ratio %.2f\n", wither_ms[BENCH_RUNS / 4],
	       true_ms[BENCH_RUNS / 4], wither_ms[BENCH_RUNS / 4] / true_ms[BENCH_RUNS / 4]);
	printf("screen of 40 x 20 in colour: %zu bytes\n", bytes);
	failed = wither_ms[BENCH_RUNS / 2] > 15.0 ||
		 wither_ms[BENCH_RUNS / 2] > 4.0 * true_ms[BENCH_RUNS / 2] || bytes > 2048;
	return failed;
}
