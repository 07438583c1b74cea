/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "cli/night.h"

#include <math.h>
#include <string.h>
#include <time.h>

#include "cli/doc.h"

/* Our choice: the day begins at 5, the afternoon at 12, the evening at 17. */
enum { NIGHT_DAWN = 5, NIGHT_NOON = 12, NIGHT_EVENING = 17 };

struct wt_night wt_night_of(const json_t *firings, const char *when, long long load)
{
	struct wt_night night = {0, NAN, NAN};
	size_t i;
	json_t *firing;

	json_array_foreach(firings, i, firing)
	{
		const char *text = wt_doc_text(firing, "when");
		double start = wt_doc_number(firing, "start_unix_s");

		if (!text || strcmp(text, when) != 0 || !isfinite(start) ||
		    (load && wt_doc_integer(firing, "load", 0) != load))
			continue;
		night.n++;
		night.first_unix_s = fmin(night.first_unix_s, start);
		night.last_unix_s = fmax(night.last_unix_s, start);
	}
	return night;
}

static struct tm local(double at_unix_s)
{
	time_t at = isfinite(at_unix_s) && fabs(at_unix_s) < 1e11 ? (time_t)at_unix_s : 0;
	struct tm fields = {0};

	(void)localtime_r(&at, &fields);
	return fields;
}

static const char *evening_word(struct wt_night night, double now_unix_s)
{
	struct tm first = local(night.n ? night.first_unix_s : now_unix_s);
	struct tm last = local(night.n ? night.last_unix_s : now_unix_s);

	if (first.tm_hour < NIGHT_DAWN || first.tm_hour >= NIGHT_EVENING)
		return "tonight";
	return night.n && last.tm_hour >= NIGHT_DAWN && last.tm_hour < NIGHT_NOON ? "this morning"
										  : "today";
}

const char *wt_night_word(struct wt_night night, bool morning, double now_unix_s)
{
	struct tm now = local(now_unix_s), first, last;
	bool same_day;

	if (!morning)
		return evening_word(night, now_unix_s);
	if (!night.n)
		return now.tm_hour < NIGHT_DAWN   ? "this morning"
		       : now.tm_hour < NIGHT_NOON ? "tomorrow"
						  : "morning";
	first = local(night.first_unix_s);
	last = local(night.last_unix_s);
	same_day = first.tm_yday == now.tm_yday && first.tm_year == now.tm_year;
	/* In the morning "morning" would be taken for this one. */
	if (last.tm_yday == first.tm_yday && last.tm_hour < NIGHT_NOON &&
	    (same_day || now.tm_hour < NIGHT_DAWN || now.tm_hour >= NIGHT_NOON))
		return same_day ? "this morning" : "morning";
	return same_day ? "today" : "tomorrow";
}

static const char *call_word(const char *call, struct wt_night night, double now_unix_s)
{
	bool morning = call && strcmp(call, "morning") == 0;
	const char *word;

	if (!morning && !(call && strcmp(call, "tonight") == 0))
		return call;
	word = wt_night_word(night, morning, now_unix_s);
	/* The column is narrow. */
	return strcmp(word, "this morning") == 0 ? "today" : word;
}

const char *wt_night_call(const json_t *load, double now_unix_s)
{
	const json_t *fire = wt_doc_list(load, "fire_unix_s");
	struct wt_night night = {0, NAN, NAN};

	if (json_array_size(fire) == 2) {
		night.n = 1;
		night.first_unix_s = json_number_value(json_array_get(fire, 0));
		night.last_unix_s = json_number_value(json_array_get(fire, 1));
	}
	return call_word(wt_doc_text(load, "call"), night, now_unix_s);
}

const char *wt_night_call_of(const json_t *load, const json_t *firings, double now_unix_s)
{
	const char *call = wt_doc_text(load, "call");

	return call_word(call,
			 wt_night_of(firings, call ? call : "", wt_doc_integer(load, "load", 0)),
			 now_unix_s);
}

double wt_night_kg(const json_t *firing)
{
	bool told = json_object_get(firing, "withered_kg") != NULL;

	return wt_doc_number(firing, told ? "withered_kg" : "kg");
}
