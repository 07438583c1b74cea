/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * What the hours of the fire are called.  The daemon knows two blocks: until tonight's last start
 * and the next day's; asked at dawn the first of them is this morning or today, and the next day's
 * may begin in the afternoon.
 */
#ifndef WT_CLI_NIGHT_H
#define WT_CLI_NIGHT_H

#include <jansson.h>
#include <stdbool.h>

/* First and last start of the firings of a block ("tonight" or "morning"), of one load or of all
 * (load 0); n is 0 and the times NAN when there is none. */
struct wt_night {
	int n;
	double first_unix_s, last_unix_s;
};
struct wt_night wt_night_of(const json_t *firings, const char *when, long long load);

/* The block's name as the reader at now would say it: "tonight", "this morning", "today";
 * "morning", "tomorrow", and after midnight "this morning", "today".  Untranslated words that
 * wt_say_word() knows. */
const char *wt_night_word(struct wt_night night, bool morning, double now_unix_s);

/* The call of a load in the words of this hour, short enough for a column: "tonight" may be today,
 * "morning" tomorrow, and after midnight today.  By the first and last start that the load's row
 * tells (fire_unix_s), else by the clock.  Other calls as they are, NULL without one. */
const char *wt_night_call(const json_t *load, double now_unix_s);
/* The same by the firings of a plan. */
const char *wt_night_call_of(const json_t *load, const json_t *firings, double now_unix_s);

/* What a firing takes, kg: its leaf as it will weigh by then, NAN when that is not known; as it was
 * spread when the daemon does not tell. */
double wt_night_kg(const json_t *firing);

#endif /* WT_CLI_NIGHT_H */
