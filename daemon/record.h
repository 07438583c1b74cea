/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * The journal written while live: where one left off.
 */
#ifndef WT_DAEMON_RECORD_H
#define WT_DAEMON_RECORD_H

#include <stddef.h>
#include <stdint.h>
#include <stdio.h>

/* Opens a journal to go on writing it.  A line that a power cut left half written is cut off, since
 * the next one would run into it and a replay would end there; the log tells.  *last_unix_ms is the
 * time of the last line there, 0 when there is none.  NULL with *why set when it cannot be. */
FILE *wt_record_open(const char *path, int64_t *last_unix_ms, char *why, size_t why_size);

#endif /* WT_DAEMON_RECORD_H */
