/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * The journal: JSON Lines, one thing that reached the daemon a line.
 *
 *   {"at":T,"topic":"...","payload":"..."}        a station's message; "retained":true when the
 *                                                 broker replayed it; "payload_base64" instead of
 *                                                 "payload" when the bytes are not UTF-8 text
 *   {"at":T,"call":{"method":"...","params":{}}}  what the maker did
 *   {"at":T,"outlook":{...}}                      an outdoor forecast as received
 *
 * T is RFC 3339 or a number of unix seconds.
 */
#ifndef WT_WIRE_JOURNAL_H
#define WT_WIRE_JOURNAL_H

#include <jansson.h>
#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

enum wt_journal_kind { WT_JOURNAL_MESSAGE, WT_JOURNAL_CALL, WT_JOURNAL_OUTLOOK };

/* Owned by whoever holds the entry; wt_journal_clear() frees what it points to. */
struct wt_journal_entry {
	int64_t at_unix_ms;
	enum wt_journal_kind kind;
	/* message */
	char *topic;
	char *payload; /* length bytes and a terminating 0 */
	size_t payload_length;
	bool retained;
	/* call */
	char *method;
	json_t *params; /* an object, possibly empty */
	/* outlook */
	json_t *document;
};

/* Longest line, an outlook included: 1 MiB. */
enum { WT_JOURNAL_LINE_MAX = 1024 * 1024 };

/* Parses one line, a line end after it allowed.  false: *out is unchanged and why holds a sentence
 * that quotes the offending part. */
bool wt_journal_parse(const char *line, size_t length, struct wt_journal_entry *out, char *why,
		      size_t why_size) __attribute__((warn_unused_result));

void wt_journal_clear(struct wt_journal_entry *entry);

/* The entry as one line without line end, malloc'd; NULL when out of memory. */
char *wt_journal_format(const struct wt_journal_entry *entry);

#endif /* WT_WIRE_JOURNAL_H */
