/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * Put before a program by LD_PRELOAD: refuses one allocation, or some.
 *     STARVE_AT=N       the N-th from the start of the program
 *     STARVE_EVERY=N    besides, every N-th after it
 *     STARVE_COUNT=FILE writes how many there were, at the end
 * It counts what the program and its libraries ask of malloc, calloc and realloc.
 */
#include <errno.h>
#include <execinfo.h>
#include <signal.h>
#include <stdatomic.h>
#include <stdbool.h>
#include <stddef.h>
#include <stdio.h>
#include <stdlib.h>

void *__libc_malloc(size_t size);
void *__libc_calloc(size_t n, size_t size);
void *__libc_realloc(void *old, size_t size);

static atomic_long count;
static long at, every;
static const char *file;
static atomic_bool awake;

/* Where it ran wild; addresses for addr2line. */
static void on_wild(int number)
{
	void *frames[32];
	awake = false;
	backtrace_symbols_fd(frames, backtrace(frames, 32), 2);
	(void)signal(number, SIG_DFL);
	(void)raise(number);
}

__attribute__((constructor)) static void wake(void)
{
	void *frames[1];
	/* Its first call allocates. */
	(void)backtrace(frames, 1);
	(void)signal(SIGSEGV, on_wild);
	(void)signal(SIGBUS, on_wild);
	const char *text = getenv("STARVE_AT");
	at = text ? strtol(text, NULL, 10) : 0;
	text = getenv("STARVE_EVERY");
	every = text ? strtol(text, NULL, 10) : 0;
	file = getenv("STARVE_COUNT");
	/* Children are not starved. */
	(void)unsetenv("LD_PRELOAD");
	awake = true;
}

__attribute__((destructor)) static void tell(void)
{
	awake = false;
	FILE *out = file ? fopen(file, "w") : NULL;
	if (!out)
		return;
	(void)fprintf(out, "%ld\n", (long)count);
	(void)fclose(out);
}

static bool refused(void)
{
	if (!awake)
		return false;
	long n = ++count;
	if (at <= 0 || n < at || (n > at && (every <= 0 || (n - at) % every != 0)))
		return false;
	errno = ENOMEM;
	return true;
}

__attribute__((visibility("default"))) void *malloc(size_t size)
{
	return refused() ? NULL : __libc_malloc(size);
}

__attribute__((visibility("default"))) void *calloc(size_t n, size_t size)
{
	return refused() ? NULL : __libc_calloc(n, size);
}

__attribute__((visibility("default"))) void *realloc(void *old, size_t size)
{
	return refused() ? NULL : __libc_realloc(old, size);
}
