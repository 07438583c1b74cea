/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "daemon/log.h"

#include <stdarg.h>
#include <stdbool.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <time.h>
#include <unistd.h>

/* Set once before the threads start. */
static bool to_journal;
static enum wt_log_level most_level = WT_LOG_INFO;

void wt_log_open(enum wt_log_level most)
{
	const char *stream = getenv("JOURNAL_STREAM");
	struct stat there;
	unsigned long long device = 0, inode = 0;
	most_level = most;
	to_journal = stream && sscanf(stream, "%llu:%llu", &device, &inode) == 2 &&
		     fstat(STDERR_FILENO, &there) == 0 && there.st_dev == (dev_t)device &&
		     there.st_ino == (ino_t)inode;
}

static int line_head(char *line, size_t size, enum wt_log_level level)
{
	static const char *const words[] = {"",        "",       "",     "error",
					    "warning", "notice", "info", "debug"};
	if (to_journal)
		return snprintf(line, size, "<%d>", (int)level);
	struct timespec now;
	struct tm utc;
	char stamp[32] = "";
	clock_gettime(CLOCK_REALTIME, &now);
	if (gmtime_r(&now.tv_sec, &utc))
		strftime(stamp, sizeof stamp, "%Y-%m-%dT%H:%M:%SZ", &utc);
	return snprintf(line, size, "%s %s: ", stamp, words[level]);
}

void wt_log(enum wt_log_level level, const char *format, ...)
{
	char line[2048];
	va_list arguments;
	if (level > most_level)
		return;
	int head = line_head(line, sizeof line, level);
	va_start(arguments, format);
	int body = vsnprintf(line + head, sizeof line - (size_t)head - 1, format, arguments);
	va_end(arguments);
	size_t length = strlen(line);
	if (body < 0)
		return;
	for (size_t i = 0; i < length; i++)
		if ((unsigned char)line[i] < 0x20 || line[i] == 0x7f)
			line[i] = '?';
	line[length++] = '\n';
	/* One call, so that lines of several threads do not mix.  A log that cannot be written to
	 * is no reason to stop. */
	ssize_t written = write(STDERR_FILENO, line, length);
	(void)written;
}
