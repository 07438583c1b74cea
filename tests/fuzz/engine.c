/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * Entry points of libFuzzer.  --part=NAME picks the reader.
 */
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>

#include "fuzz.h"

int LLVMFuzzerInitialize(int *argc, char ***argv);
int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size);

static const struct fuzz_part *part;

int LLVMFuzzerInitialize(int *argc, char ***argv)
{
	for (int i = 1; i < *argc; i++) {
		if (!strncmp((*argv)[i], "--part=", 7))
			part = fuzz_find((*argv)[i] + 7);
	}
	if (!part) {
		(void)fprintf(stderr, "give --part=config|payload|journal|rpc|outlook|times\n");
		exit(2);
	}
	setenv("TZ", "CET-1CEST,M3.5.0,M10.5.0/3", 1);
	tzset();
	return 0;
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
	part->run(data, size);
	return 0;
}
