/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "lib/wire/text.h"

#include <ctype.h>
#include <stdint.h>
#include <string.h>
#include <strings.h>

/* Length in bytes of the UTF-8 character at text and its code point, or 0 when there is none. */
static size_t decode(const unsigned char *text, size_t length, uint32_t *point)
{
	unsigned char first = text[0];
	size_t bytes;
	uint32_t value, least;

	if (first < 0x80) {
		*point = first;
		return 1;
	}
	if (first >= 0xc2 && first <= 0xdf) {
		bytes = 2, value = first & 0x1fu, least = 0x80;
	} else if (first >= 0xe0 && first <= 0xef) {
		bytes = 3, value = first & 0x0fu, least = 0x800;
	} else if (first >= 0xf0 && first <= 0xf4) {
		bytes = 4, value = first & 0x07u, least = 0x10000;
	} else {
		return 0;
	}
	if (bytes > length)
		return 0;
	for (size_t i = 1; i < bytes; i++) {
		if ((text[i] & 0xc0u) != 0x80u)
			return 0;
		value = (value << 6) | (text[i] & 0x3fu);
	}
	if (value < least || value > 0x10ffff || (value >= 0xd800 && value <= 0xdfff))
		return 0;
	*point = value;
	return bytes;
}

/* Control characters, line separators, and the marks that turn the direction of writing. */
static bool unsafe(uint32_t point)
{
	return point < 0x20 || (point >= 0x7f && point < 0xa0) || point == 0x061c ||
	       point == 0x200e || point == 0x200f || (point >= 0x2028 && point <= 0x202e) ||
	       (point >= 0x2066 && point <= 0x2069) || point == 0xfeff;
}

void wt_text_clean(const char *text, size_t length, char *out, size_t out_size)
{
	const unsigned char *in = (const unsigned char *)text;
	size_t used = 0, at = 0;
	size_t keep = 0; /* the longest whole text that leaves room for the dots */

	while (at < length) {
		uint32_t point = 0;
		size_t bytes = decode(in + at, length - at, &point);
		bool bad = bytes == 0 || unsafe(point);
		size_t written = bad ? 1 : bytes;

		if (used + written + 1 > out_size) {
			memcpy(out + keep, "...", 4);
			return;
		}
		if (bad)
			out[used] = '?';
		else
			memcpy(out + used, in + at, bytes);
		used += written;
		at += bytes ? bytes : 1;
		if (used + 4 <= out_size)
			keep = used;
	}
	out[used] = '\0';
}

void wt_text_mend_end(char *text)
{
	size_t length = strlen(text), begin = length;
	uint32_t point;

	/* The character's first byte is at most three before its last. */
	while (begin > 0 && length - begin < 4 && ((unsigned char)text[begin - 1] & 0xc0u) == 0x80u)
		begin--;
	if (begin > 0 && (unsigned char)text[begin - 1] >= 0xc0u &&
	    !decode((unsigned char *)text + begin - 1, length - begin + 1, &point))
		text[begin - 1] = '\0';
}

bool wt_text_is_clean(const char *text, size_t length)
{
	const unsigned char *in = (const unsigned char *)text;

	for (size_t at = 0; at < length;) {
		uint32_t point = 0;
		size_t bytes = decode(in + at, length - at, &point);
		if (bytes == 0 || unsafe(point))
			return false;
		at += bytes;
	}
	return true;
}

enum { WORD_MAX = 40 };

static int smaller(int a, int b)
{
	return a < b ? a : b;
}

/* Edits (put in, leave out, change, swap neighbours) from a to b; large when a word is long. */
static int edits(const char *a, const char *b)
{
	size_t la = strlen(a), lb = strlen(b);
	int rows[3][WORD_MAX + 1];

	if (la > WORD_MAX || lb > WORD_MAX)
		return WORD_MAX;
	for (size_t j = 0; j <= lb; j++)
		rows[0][j] = (int)j;
	for (size_t i = 1; i <= la; i++) {
		int *row = rows[i % 3], *before = rows[(i + 2) % 3], *two = rows[(i + 1) % 3];
		row[0] = (int)i;
		for (size_t j = 1; j <= lb; j++) {
			int ca = tolower((unsigned char)a[i - 1]);
			int cb = tolower((unsigned char)b[j - 1]);
			row[j] = smaller(smaller(before[j], row[j - 1]) + 1,
					 before[j - 1] + (ca != cb));
			if (i > 1 && j > 1 && ca == tolower((unsigned char)b[j - 2]) &&
			    cb == tolower((unsigned char)a[i - 2]))
				row[j] = smaller(row[j], two[j - 2] + 1);
		}
	}
	return rows[la % 3][lb];
}

const char *wt_text_nearest(const char *given, const char *const *accepted)
{
	const char *best = NULL;
	int best_edits = strlen(given) <= 3 ? 2 : 3;

	for (size_t i = 0; accepted[i]; i++) {
		size_t length = strlen(given);
		bool begun = length >= 3 && !strncasecmp(given, accepted[i], length);
		int n = begun ? 0 : edits(given, accepted[i]);
		if (n < best_edits) {
			best_edits = n;
			best = accepted[i];
		}
	}
	return best;
}

bool wt_text_same_name(const char *a, const char *b)
{
	for (; *a && *b; a++, b++) {
		char ca = *a == '_' ? '-' : *a, cb = *b == '_' ? '-' : *b;
		if (ca != cb)
			return false;
	}
	return *a == *b;
}
