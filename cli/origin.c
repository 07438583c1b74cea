/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "cli/origin.h"

#include <ctype.h>
#include <string.h>

#include "cli/doc.h"
#include "cli/suggest.h"

enum { ORIGIN_MOST = 512 };

static size_t known_origins(const json_t *loads, const char **names)
{
	size_t n = 0, i;
	json_t *load;

	json_array_foreach(loads, i, load)
	{
		const char *origin = wt_doc_text(load, "origin");
		size_t k = 0;

		while (origin && k < n && strcmp(names[k], origin) != 0)
			k++;
		if (origin && k == n && n < ORIGIN_MOST)
			names[n++] = origin;
	}
	return n;
}

const char *wt_origin_meant(const char *typed, const json_t *loads, const char **near)
{
	const char *names[ORIGIN_MOST];
	size_t n = known_origins(loads, names), length = strlen(typed);
	int found = wt_suggest_prefix(typed, names, n);

	*near = NULL;
	if (length == 0 || (found >= 0 && strcmp(names[found], typed) == 0))
		return typed;
	if (found >= 0 && !isdigit((unsigned char)typed[length - 1]))
		return names[found];
	found = wt_suggest_nearest(typed, names, n);
	if (found >= 0 && !isdigit((unsigned char)typed[length - 1]))
		*near = names[found];
	return typed;
}
