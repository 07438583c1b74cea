/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * Put before a program by LD_PRELOAD: refuses one allocation, or some.
 *     STARVE_AT=N       the N-th from the start of the program
 *     STARVE_EVERY=N    besides, every N-th after it
 *     STARVE_COUNT=FILE writes how many there were and how many blocks are left, at the end
 * It counts what the program and its libraries ask of malloc, calloc and realloc.
 */
#include <errno.h>
#include <execinfo.h>
#include <malloc.h>
#include <signal.h>
#include <stdatomic.h>
#include <stdbool.h>
#include <stddef.h>
#include <stdio.h>
#include <stdlib.h>

void *__libc_malloc(size_t size);
void *__libc_calloc(size_t n, size_t size);
void *__libc_realloc(void *old, size_t size);
void *__libc_memalign(size_t alignment, size_t size);
void __libc_free(void *old);

static atomic_long count, alive;
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
	long left = alive;
	awake = false;
	FILE *out = file ? fopen(file, "w") : NULL;
	if (!out)
		return;
	(void)fprintf(out, "%ld %ld\n", (long)count, left);
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

static void *counted(void *block)
{
	alive += block != NULL;
	return block;
}

#define IN_THE_PLACE_OF_C __attribute__((visibility("default")))

IN_THE_PLACE_OF_C void *malloc(size_t size)
{
	return refused() ? NULL : counted(__libc_malloc(size));
}

IN_THE_PLACE_OF_C void *calloc(size_t n, size_t size)
{
	return refused() ? NULL : counted(__libc_calloc(n, size));
}

IN_THE_PLACE_OF_C void *realloc(void *old, size_t size)
{
	void *block = refused() ? NULL : __libc_realloc(old, size);
	/* Of no old block it makes one; of size 0 it makes none. */
	if (!old)
		alive += block != NULL;
	else if (size == 0)
		alive--;
	return block;
}

IN_THE_PLACE_OF_C void *aligned_alloc(size_t alignment, size_t size)
{
	return refused() ? NULL : counted(__libc_memalign(alignment, size));
}

IN_THE_PLACE_OF_C void *memalign(size_t alignment, size_t size)
{
	return counted(__libc_memalign(alignment, size));
}

IN_THE_PLACE_OF_C int posix_memalign(void **out, size_t alignment, size_t size)
{
	void *block = counted(__libc_memalign(alignment, size));
	if (!block)
		return ENOMEM;
	*out = block;
	return 0;
}

IN_THE_PLACE_OF_C void free(void *old)
{
	alive -= old != NULL;
	__libc_free(old);
}
