/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * From messages overheard to a [station] section: for a person who has a
 * station and does not know what it sends.
 */
#ifndef WT_WIRE_PROPOSE_H
#define WT_WIRE_PROPOSE_H

#include <jansson.h>
#include <stdbool.h>
#include <stddef.h>

/* Topics remembered; later ones are counted as passed over (our choice). */
enum { WT_PROPOSE_TOPICS_MAX = 64 };

struct wt_propose;

struct wt_propose *wt_propose_new(void); /* NULL when out of memory */
void wt_propose_free(struct wt_propose **propose);

/* One message that came.  The newest payload of each topic is kept, up to 4 KiB of it. */
void wt_propose_add(struct wt_propose *propose, const char *topic, const void *payload,
		    size_t length);

/*
 * {"topics":[{"topic","n","payload","proposal"}],"undecided":[...]}: what was heard, in order of
 * the topics' names, payloads made printable and cut at 200 bytes.  proposal is the text of a
 * section, or null where there is nothing to propose; one that needs two topics stands at the
 * temperature's.  Each proposal was tried on the message it was made from.  undecided holds
 * sentences about what a person must still say.  New reference; NULL when out of memory.
 */
json_t *wt_propose_document(const struct wt_propose *propose);

#endif /* WT_WIRE_PROPOSE_H */
