/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * Preloaded into a daemon under test: its disk stalls, or takes no writes, as long as the file that
 * WITHER_TEST_DISK names begins with "stall" or "readonly".
 */
/* Both names of a call are wanted. */
#undef _FILE_OFFSET_BITS
#include <errno.h>
#include <fcntl.h>
#include <stdlib.h>
#include <string.h>
#include <sys/syscall.h>
#include <time.h>
#include <unistd.h>

enum mood { WELL, STALLED, READ_ONLY };

static enum mood mood(void)
{
	const char *path = getenv("WITHER_TEST_DISK");
	char text[16] = "";
	int fd = path ? open(path, O_RDONLY | O_CLOEXEC) : -1;
	if (fd < 0)
		return WELL;
	ssize_t length = read(fd, text, sizeof text - 1);
	close(fd);
	if (length <= 0)
		return WELL;
	return strncmp(text, "stall", 5) == 0      ? STALLED
	       : strncmp(text, "readonly", 8) == 0 ? READ_ONLY
						   : WELL;
}

static int look(void)
{
	static const struct timespec nap = {0, 20000000};
	while (mood() == STALLED)
		nanosleep(&nap, NULL);
	if (mood() != READ_ONLY)
		return 0;
	errno = EROFS;
	return -1;
}

__attribute__((visibility("default"))) int fdatasync(int fd)
{
	return look() == 0 ? (int)syscall(SYS_fdatasync, fd) : -1;
}

__attribute__((visibility("default"))) int fsync(int fd)
{
	return look() == 0 ? (int)syscall(SYS_fsync, fd) : -1;
}

__attribute__((visibility("default"))) ssize_t pwrite64(int fd, const void *data, size_t n,
							off64_t at)
{
	if (mood() != READ_ONLY)
		return syscall(SYS_pwrite64, fd, data, n, at);
	errno = EROFS;
	return -1;
}

__attribute__((visibility("default"))) ssize_t pwrite(int fd, const void *data, size_t n, off_t at)
{
	return pwrite64(fd, data, n, at);
}
