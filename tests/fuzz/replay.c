/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * Feeds the files of a corpus to their reader, for builds without libFuzzer:
 *     fuzz_replay PART FOLDER
 * Each file is also given cut short at every length up to 200 and with every
 * one of its first 200 bytes changed.
 */
#include <dirent.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>

#include "fuzz.h"

enum { FILE_MAX_BYTES = 64 * 1024, VARIED_BYTES = 200 };

/* A copy of the right size on the heap, so that a read past its end is seen. */
static void run_copy(const struct fuzz_part *part, const uint8_t *data, size_t size)
{
	uint8_t *copy = malloc(size ? size : 1);

	if (!copy)
		abort();
	memcpy(copy, data, size);
	part->run(copy, size);
	free(copy);
}

static size_t run_variants(const struct fuzz_part *part, uint8_t *data, size_t size)
{
	static const uint8_t instead[] = {0, '"', '\n', '9', 0x80, 0xff, '-', '/'};
	size_t n = size < VARIED_BYTES ? size : VARIED_BYTES, count = 1;

	run_copy(part, data, size);
	for (size_t i = 0; i < n; i++) {
		uint8_t kept = data[i];
		run_copy(part, data, i);
		for (size_t j = 0; j < sizeof instead; j++) {
			data[i] = instead[j];
			run_copy(part, data, size);
		}
		data[i] = kept;
		count += 1 + sizeof instead;
	}
	return count;
}

int main(int argc, char **argv)
{
	static uint8_t data[FILE_MAX_BYTES];
	const struct fuzz_part *part = argc == 3 ? fuzz_find(argv[1]) : NULL;
	size_t files = 0, runs = 0;
	DIR *folder;

	if (!part || !(folder = opendir(argv[2]))) {
		(void)fprintf(stderr, "usage: fuzz_replay PART FOLDER\n");
		return 2;
	}
	setenv("TZ", "CET-1CEST,M3.5.0,M10.5.0/3", 1);
	tzset();
	for (struct dirent *entry; (entry = readdir(folder));) {
		char path[1024];
		FILE *in;
		if (entry->d_name[0] == '.')
			continue;
		(void)snprintf(path, sizeof path, "%s/%s", argv[2], entry->d_name);
		in = fopen(path, "rb");
		if (!in)
			return 1;
		runs += run_variants(part, data, fread(data, 1, sizeof data, in));
		(void)fclose(in);
		files++;
	}
	closedir(folder);
	(void)printf("%s: %zu files, %zu runs\n", argv[1], files, runs);
	return files ? 0 : 1;
}
