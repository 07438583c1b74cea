/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "daemon/sdnotify.h"

#include <stddef.h>
#include <stdlib.h>
#include <string.h>
#include <sys/socket.h>
#include <sys/un.h>
#include <unistd.h>

void wt_sdnotify(const char *text)
{
	const char *path = getenv("NOTIFY_SOCKET");
	struct sockaddr_un address = {.sun_family = AF_UNIX};
	if (!path || (path[0] != '/' && path[0] != '@') || strlen(path) >= sizeof address.sun_path)
		return;
	size_t length = strlen(path);
	memcpy(address.sun_path, path, length);
	if (path[0] == '@')
		address.sun_path[0] = '\0';
	int fd = socket(AF_UNIX, SOCK_DGRAM | SOCK_CLOEXEC | SOCK_NONBLOCK, 0);
	if (fd < 0)
		return;
	socklen_t size = (socklen_t)(offsetof(struct sockaddr_un, sun_path) + length);
	/* A manager that does not listen is its own trouble. */
	ssize_t sent =
		sendto(fd, text, strlen(text), MSG_NOSIGNAL, (struct sockaddr *)&address, size);
	(void)sent;
	close(fd);
}

uint64_t wt_sdnotify_watchdog_us(void)
{
	const char *text = getenv("WATCHDOG_USEC");
	const char *pid = getenv("WATCHDOG_PID");
	if (!text || (pid && strtol(pid, NULL, 10) != (long)getpid()))
		return 0;
	return strtoull(text, NULL, 10) / 2;
}
