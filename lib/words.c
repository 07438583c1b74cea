/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "lib/words.h"

#include <string.h>

#define WORD_TEXT(name, text) text,
static const char *const grades[] = {WT_GRADE_LIST(WORD_TEXT) NULL};
static const char *const seasons[] = {WT_SEASON_LIST(WORD_TEXT) NULL};
static const char *const wets[] = {WT_WET_LIST(WORD_TEXT) NULL};
static const char *const feels[] = {WT_FEEL_LIST(WORD_TEXT) NULL};
static const char *const calls[] = {WT_CALL_LIST(WORD_TEXT) NULL};
static const char *const prefers[] = {WT_PREFER_LIST(WORD_TEXT) NULL};

static const struct {
	const char *const *words;
	const char *accepted;
} lists[] = {
	[WT_WORDS_GRADE] = {grades, "bud, young, mixed, mature"},
	[WT_WORDS_SEASON] = {seasons, "spring, summer, autumn"},
	[WT_WORDS_WET] = {wets, "none, damp, wet"},
	[WT_WORDS_FEEL] = {feels, "crisp, soft, limp, slack, dry-edged"},
	[WT_WORDS_CALL] = {calls, "tonight, morning, either, wait, now, past"},
	[WT_WORDS_PREFER] = {prefers, "none, evening, morning"},
};

const char *wt_words_text(enum wt_words list, int value)
{
	for (int i = 0; lists[list].words[i]; i++) {
		if (i == value)
			return lists[list].words[i];
	}
	return NULL;
}

enum wt_status wt_words_parse(enum wt_words list, const char *text, int *value)
{
	if (!text || !value)
		return WT_ERR_ARG;
	for (int i = 0; lists[list].words[i]; i++) {
		if (!strcmp(lists[list].words[i], text)) {
			*value = i;
			return WT_OK;
		}
	}
	return WT_ERR_ARG;
}

const char *wt_words_accepted(enum wt_words list)
{
	return lists[list].accepted;
}
