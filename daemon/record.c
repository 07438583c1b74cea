/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "daemon/record.h"

#include <errno.h>
#include <stdbool.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

#include "daemon/log.h"
#include "lib/wire/journal.h"
#include "lib/wire/text.h"

/* Two lines of the longest kind fit in what is looked at. */
#define LOOK_BYTES (2 * ((size_t)WT_JOURNAL_LINE_MAX + 2))

static bool read_line(const char *line, size_t length, int64_t *at_unix_ms)
{
	struct wt_journal_entry entry = {0};
	char why[512];
	if (!wt_journal_parse(line, length, &entry, why, sizeof why))
		return false;
	*at_unix_ms = entry.at_unix_ms;
	wt_journal_clear(&entry);
	return true;
}

static size_t line_start(const char *text, size_t end)
{
	while (end > 0 && text[end - 1] != '\n')
		end--;
	return end;
}

static bool end_last_line(FILE *file, const char *path, const char *text, size_t length,
			  off_t keep_bytes, int64_t *last_unix_ms)
{
	char quoted[64];
	if (read_line(text, length, last_unix_ms))
		return fputc('\n', file) != EOF && fflush(file) == 0;
	wt_text_clean(text, length, quoted, sizeof quoted);
	wt_log(WT_LOG_WARNING,
	       "the journal '%s' ended in a line half written, which is cut off: '%s'", path,
	       quoted);
	return ftruncate(fileno(file), keep_bytes) == 0;
}

/* Looks at the last lines, mends the end. */
static bool mend(FILE *file, const char *path, int64_t *last_unix_ms)
{
	struct stat there;
	if (fstat(fileno(file), &there) != 0)
		return false;
	if (!S_ISREG(there.st_mode) || there.st_size == 0)
		return true;
	size_t length = (size_t)there.st_size < LOOK_BYTES ? (size_t)there.st_size : LOOK_BYTES;
	char *text = malloc(length);
	bool fine = text && pread(fileno(file), text, length, there.st_size - (off_t)length) ==
				    (ssize_t)length;
	if (fine) {
		size_t start = line_start(text, length);
		if (start == 0 && (off_t)length < there.st_size) /* no journal of ours */
			fine = fputc('\n', file) != EOF && fflush(file) == 0;
		else if (start < length)
			fine = end_last_line(file, path, text + start, length - start,
					     there.st_size - (off_t)(length - start), last_unix_ms);
		if (start > 0 && *last_unix_ms == 0) {
			size_t before = line_start(text, start - 1);
			(void)read_line(text + before, start - before, last_unix_ms);
		}
	}
	free(text);
	return fine;
}

FILE *wt_record_open(const char *path, int64_t *last_unix_ms, char *why, size_t why_size)
{
	FILE *file = fopen(path, "a+e");
	*last_unix_ms = 0;
	if (file && mend(file, path, last_unix_ms))
		return file;
	snprintf(why, why_size, "the journal '%s' cannot be written: %s", path, strerror(errno));
	if (file)
		fclose(file);
	return NULL;
}
