/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * One function for each kind of text that comes from outside.  Each feeds it to
 * its reader and checks what must hold whatever the text was.
 */
#ifndef WT_TESTS_FUZZ_H
#define WT_TESTS_FUZZ_H

#include <stddef.h>
#include <stdint.h>

void fuzz_config(const uint8_t *data, size_t size);
void fuzz_payload(const uint8_t *data, size_t size);
void fuzz_journal(const uint8_t *data, size_t size);
void fuzz_rpc(const uint8_t *data, size_t size);
void fuzz_outlook(const uint8_t *data, size_t size);
void fuzz_times(const uint8_t *data, size_t size);

struct fuzz_part {
	const char *name;
	void (*run)(const uint8_t *data, size_t size);
};
extern const struct fuzz_part fuzz_parts[];
const struct fuzz_part *fuzz_find(const char *name);

/* Stops at once, also in builds without assertions. */
void fuzz_require(int holds, const char *what);
/* Text that may reach a terminal: no control characters; line ends only where allowed. */
void fuzz_require_printable(const char *text, int line_ends);

#endif /* WT_TESTS_FUZZ_H */
