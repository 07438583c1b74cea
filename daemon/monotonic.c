/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "daemon/monotonic.h"

#include <stdint.h>
#include <unistd.h>

double wt_monotonic_s(void)
{
	struct timespec now;
	clock_gettime(CLOCK_MONOTONIC, &now);
	return (double)now.tv_sec + 1e-9 * (double)now.tv_nsec;
}

struct timespec wt_monotonic_in_ms(long ms)
{
	struct timespec end;
	clock_gettime(CLOCK_MONOTONIC, &end);
	end.tv_nsec += ms % 1000 * 1000000;
	end.tv_sec += ms / 1000 + end.tv_nsec / 1000000000;
	end.tv_nsec %= 1000000000;
	return end;
}

void wt_monotonic_cond_init(pthread_cond_t *cond)
{
	pthread_condattr_t attributes;
	pthread_condattr_init(&attributes);
	pthread_condattr_setclock(&attributes, CLOCK_MONOTONIC);
	pthread_cond_init(cond, &attributes);
	pthread_condattr_destroy(&attributes);
}

void wt_wake_loop(int fd)
{
	uint64_t one = 1;
	ssize_t written = write(fd, &one, sizeof one);
	(void)written; /* a full counter wakes the loop as well */
}

void wt_wake_heard(int fd)
{
	uint64_t count;
	ssize_t got = read(fd, &count, sizeof count);
	(void)got;
}
