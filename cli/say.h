/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * Small pieces that several screens say the same way: ranges, weights, calls,
 * the daemon's notes, cautions.
 */
#ifndef WT_CLI_SAY_H
#define WT_CLI_SAY_H

#include <jansson.h>
#include <stddef.h>

#include "cli/doc.h"
#include "cli/page.h"

enum { WT_SAY_SIZE = 96 };

/* "31-36%", "34%" when both ends round alike, "-" when unknown. */
void wt_say_loss(char out[static WT_SAY_SIZE], struct wt_doc_triple loss_pct);
/* The same for any triple, with so many decimals and a unit behind. */
void wt_say_triple(char out[static WT_SAY_SIZE], struct wt_doc_triple triple, int decimals,
		   const char *unit);
/* "12.4 kg", "0.8 kg", "-". */
void wt_say_kg(char out[static WT_SAY_SIZE], double kg);
/* A number without needless zeros; "-" when unknown. */
void wt_say_number(char out[static WT_SAY_SIZE], double value, int decimals, const char *unit);
/* "86%" from a share 0..1; never 0% or 100% of what is not certain; "-" when unknown. */
void wt_say_chance(char out[static WT_SAY_SIZE], double share);

/* A word of the trade (call, grade, season, feel step, wetness, state) in the user's language;
 * other words, such as a maker's own style, as they are.  NULL gives "-". */
const char *wt_say_word(const char *word);
enum wt_mark wt_say_call_mark(const char *call);

/* A note of the daemon: its own sentence, which quotes what it is about; in another language a
 * sentence for its code, or the daemon's own when we have none.  "-" when there is nothing. */
const char *wt_say_code(const json_t *item);
/* A note that may be a bare code. */
const char *wt_say_note(const json_t *note);
/* The reason of a call, short enough for a phone's row. */
const char *wt_say_reason(const json_t *reason);
/* "weighed", "turned": what a verb did. */
const char *wt_say_done(const char *verb);
/* An act in words: "weighed: 8.7 kg".  Falls back on the daemon's text. */
void wt_say_act(char out[static WT_SAY_SIZE], const json_t *act);

/* One sentence each of [{"code","text"}]. */
void wt_say_notes(struct wt_page *page, const json_t *notes);

/* "#1, #2, #5" with at most `most` numbers, then " and 3 more". */
void wt_say_numbers(char *out, size_t size, const json_t *numbers, size_t most);

/* The cautions that stand wherever firing is planned, in full. */
void wt_say_cautions(struct wt_page *page);

#endif /* WT_CLI_SAY_H */
