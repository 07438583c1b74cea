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

/* The sentence for a code of the daemon in the user's language; its own English one, or the code,
 * when we have none. */
const char *wt_say_code(const json_t *item);

/* One sentence each of [{"code","text"}]. */
void wt_say_notes(struct wt_page *page, const json_t *notes);

/* "1, 2, 5" with at most `most` numbers, then "+3". */
void wt_say_numbers(char *out, size_t size, const json_t *numbers, size_t most);

/* The cautions that stand wherever firing is planned, in full. */
void wt_say_cautions(struct wt_page *page);

#endif /* WT_CLI_SAY_H */
