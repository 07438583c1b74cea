/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * The closed word lists of the trade: grades, seasons, wetness, hand-feel
 * steps, calls, what a style prefers.  One table each; parsing and printing
 * both come from it.
 */
#ifndef WT_LIB_WORDS_H
#define WT_LIB_WORDS_H

#include <stddef.h>

#include "lib/status.h"

/* clang-format off */
#define WT_GRADE_LIST(X)  X(WT_GRADE_BUD, "bud") X(WT_GRADE_YOUNG, "young") \
	X(WT_GRADE_MIXED, "mixed") X(WT_GRADE_MATURE, "mature")
#define WT_SEASON_LIST(X) X(WT_SEASON_SPRING, "spring") X(WT_SEASON_SUMMER, "summer") \
	X(WT_SEASON_AUTUMN, "autumn")
#define WT_WET_LIST(X)    X(WT_WET_NONE, "none") X(WT_WET_DAMP, "damp") X(WT_WET_WET, "wet")
#define WT_FEEL_LIST(X)   X(WT_FEEL_CRISP, "crisp") X(WT_FEEL_SOFT, "soft") X(WT_FEEL_LIMP, "limp") \
	X(WT_FEEL_SLACK, "slack") X(WT_FEEL_DRY_EDGED, "dry-edged")
#define WT_CALL_LIST(X)   X(WT_CALL_TONIGHT, "tonight") X(WT_CALL_MORNING, "morning") \
	X(WT_CALL_EITHER, "either") X(WT_CALL_WAIT, "wait") X(WT_CALL_NOW, "now") X(WT_CALL_PAST, "past")
#define WT_PREFER_LIST(X) X(WT_PREFER_NONE, "none") X(WT_PREFER_EVENING, "evening") \
	X(WT_PREFER_MORNING, "morning")
/* clang-format on */

#define WT_WORD_ENUM(name, text) name,
enum wt_grade { WT_GRADE_LIST(WT_WORD_ENUM) WT_GRADE_COUNT };
enum wt_season { WT_SEASON_LIST(WT_WORD_ENUM) WT_SEASON_COUNT };
enum wt_wet { WT_WET_LIST(WT_WORD_ENUM) WT_WET_COUNT };
enum wt_feel { WT_FEEL_LIST(WT_WORD_ENUM) WT_FEEL_COUNT };
enum wt_call { WT_CALL_LIST(WT_WORD_ENUM) WT_CALL_COUNT };
enum wt_prefer { WT_PREFER_LIST(WT_WORD_ENUM) WT_PREFER_COUNT };

/* The closed lists by name, for parsing, printing and "accepted: a, b, c". */
enum wt_words {
	WT_WORDS_GRADE,
	WT_WORDS_SEASON,
	WT_WORDS_WET,
	WT_WORDS_FEEL,
	WT_WORDS_CALL,
	WT_WORDS_PREFER,
};

/* Word number `value` of a list, or NULL when there is none.  Static text. */
const char *wt_words_text(enum wt_words list, int value);

/* Number of a word in its list into *value; WT_ERR_ARG when the list lacks it. */
enum wt_status wt_words_parse(enum wt_words list, const char *text, int *value) WT_MUST_CHECK;

/* "bud, young, mixed, mature": what a list accepts.  Static text. */
const char *wt_words_accepted(enum wt_words list);

#endif /* WT_LIB_WORDS_H */
