/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * The lines of a configuration: which sections there are, which keys in each,
 * and the line of every one of them.  What the values mean is not known here.
 */
#ifndef WT_DAEMON_CONFIG_LINES_H
#define WT_DAEMON_CONFIG_LINES_H

#include <stdbool.h>
#include <stddef.h>
#include <stdio.h>

#include "daemon/config_keys.h"

struct wt_config_entry {
	const struct wt_config_key_def *key;
	char *value;
	int line;
};

struct wt_config_block {
	enum wt_config_section section;
	char *name; /* NULL for a section without one */
	int line;
	struct wt_config_entry *entries;
	size_t n_entries;
};

struct wt_config_lines {
	const char *file;
	FILE *errors;
	size_t n_errors;
	struct wt_config_block *blocks;
	size_t n_blocks;
};

/* Splits text into out, whose file and errors are set.  Faults are written to errors and counted.
 * Always clear out afterwards. */
void wt_config_lines_read(struct wt_config_lines *out, const char *text, size_t length);
void wt_config_lines_clear(struct wt_config_lines *lines);

/* "file:line: ..." to errors; counted. */
void wt_config_lines_fault(struct wt_config_lines *lines, int line, const char *format, ...)
	__attribute__((format(printf, 3, 4)));

/* Line of a key in a block, or the block's own line when it lacks the key. */
int wt_config_block_line(const struct wt_config_block *block, const char *key);
/* True when the block has the key. */
bool wt_config_block_has(const struct wt_config_block *block, const char *key);

#endif /* WT_DAEMON_CONFIG_LINES_H */
