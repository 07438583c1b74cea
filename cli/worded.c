/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "cli/worded.h"

#include <stdio.h>
#include <string.h>

#include "cli/doc.h"
#include "cli/say.h"
#include "cli/tongue.h"
#include "lib/wire/says.h"

/* "Thu 15:20", with the day in the reader's language; other values as they are. */
static const char *of_day(const char *value, char out[static WT_SAYS_SIZE])
{
	static const char *const days[] = {"Sun ", "Mon ", "Tue ", "Wed ", "Thu ", "Fri ", "Sat "};
	char day[4] = "";

	for (size_t i = 0; i < sizeof days / sizeof *days; i++)
		if (strncmp(value, days[i], 4) == 0 && strlen(value) == 9 && value[6] == ':')
			memcpy(day, value, 3);
	if (!*day)
		return value;
	snprintf(out, WT_SAYS_SIZE, "%s %s", _(day), value + 4);
	return out;
}

/* A value is often a word of the trade or a sentence that the catalogue has, or a time that is not
 * known well; a name is none of these. */
static void word(const char *value, bool quoted, char out[static WT_SAYS_SIZE])
{
	static const char about[] = "about ";
	char when[WT_SAYS_SIZE];

	if (quoted || !*value)
		snprintf(out, WT_SAYS_SIZE, "%s", value);
	else if (strncmp(value, about, sizeof about - 1) == 0)
		snprintf(out, WT_SAYS_SIZE, _("about %s"), of_day(value + sizeof about - 1, when));
	else if (of_day(value, when) == when)
		snprintf(out, WT_SAYS_SIZE, "%s", when);
	else
		snprintf(out, WT_SAYS_SIZE, "%s", gettext(value));
}

static bool from_says(char *out, size_t size, const json_t *says)
{
	const char *format = json_string_value(json_array_get(says, 0));
	const char *translated = format && *format ? gettext(format) : NULL;

	/* "%s" alone carries one whole sentence. */
	if (!translated || (translated == format && strcmp(format, "%s") != 0))
		return false;
	return wt_says_fill(says, translated, word, out, size) && *out;
}

void wt_worded(char out[static WT_WORDED_SIZE], const json_t *item, const char *text)
{
	if (!text)
		text = wt_doc_text(item, "text");
	if (wt_tongue_foreign()) {
		if (from_says(out, WT_WORDED_SIZE, wt_doc_list(item, "says")))
			return;
		if (text && *text && gettext(text) != text)
			text = gettext(text);
		else if (wt_doc_text(item, "code"))
			text = wt_say_code(item);
	}
	snprintf(out, WT_WORDED_SIZE, "%s", text && *text ? text : wt_say_code(item));
}

void wt_worded_note(char out[static WT_WORDED_SIZE], const json_t *note)
{
	if (json_is_string(note))
		snprintf(out, WT_WORDED_SIZE, "%s", wt_say_note(note));
	else
		wt_worded(out, note, NULL);
}

bool wt_worded_clauses(char out[static WT_WORDED_SIZE], const json_t *clauses)
{
	size_t i, used = 0;
	json_t *says;

	out[0] = '\0';
	json_array_foreach(clauses, i, says)
	{
		char one[WT_WORDED_SIZE];

		if (!from_says(one, sizeof one, says))
			return false;
		used += (size_t)snprintf(out + used, WT_WORDED_SIZE - used, "%s%s",
					 used ? _("; ") : "", one);
		if (used >= WT_WORDED_SIZE)
			return true;
	}
	return used > 0;
}
