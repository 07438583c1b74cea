/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "cli/suggest.h"

#include <limits.h>
#include <string.h>

enum { SUGGEST_LENGTH = 64 };

static int least(int a, int b)
{
	return a < b ? a : b;
}

int wt_suggest_distance(const char *a, const char *b)
{
	int rows[3][SUGGEST_LENGTH];
	int *before = rows[0], *last = rows[1], *row = rows[2];
	size_t na = strlen(a), nb = strlen(b);

	if (na >= SUGGEST_LENGTH || nb >= SUGGEST_LENGTH)
		return INT_MAX;
	for (size_t j = 0; j <= nb; j++)
		last[j] = (int)j;
	for (size_t i = 1; i <= na; i++) {
		int *spare = before;

		row[0] = (int)i;
		for (size_t j = 1; j <= nb; j++) {
			int change = last[j - 1] + (a[i - 1] != b[j - 1]);

			row[j] = least(change, least(last[j], row[j - 1]) + 1);
			if (i > 1 && j > 1 && a[i - 1] == b[j - 2] && a[i - 2] == b[j - 1])
				row[j] = least(row[j], before[j - 2] + 1);
		}
		before = last;
		last = row;
		row = spare;
	}
	return last[nb];
}

int wt_suggest_prefix(const char *given, const char *const *words, size_t n)
{
	size_t length = strlen(given);
	int found = WT_SUGGEST_NONE;

	if (length == 0)
		return WT_SUGGEST_NONE;
	for (size_t i = 0; i < n; i++) {
		if (strcmp(given, words[i]) == 0)
			return (int)i;
		if (strncmp(given, words[i], length) == 0)
			found = found == WT_SUGGEST_NONE ? (int)i : WT_SUGGEST_MANY;
	}
	return found;
}

int wt_suggest_nearest(const char *given, const char *const *words, size_t n)
{
	int best = INT_MAX, found = WT_SUGGEST_NONE;
	int most = strlen(given) < 5 ? 1 : 2;

	for (size_t i = 0; i < n; i++) {
		int distance = wt_suggest_distance(given, words[i]);

		/* A slip is rarely in the first letter. */
		if (distance < best ||
		    (distance == best && words[i][0] == given[0] && words[found][0] != given[0])) {
			best = distance;
			found = (int)i;
		}
	}
	return best <= most ? found : WT_SUGGEST_NONE;
}
