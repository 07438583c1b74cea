/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "cli/when.h"

#include <errno.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>

#include "cli/memory.h"
#include "cli/tongue.h"

static const char *const weekdays[] = {N_("Sun"), N_("Mon"), N_("Tue"), N_("Wed"),
				       N_("Thu"), N_("Fri"), N_("Sat")};
static const char *const months[] = {N_("Jan"), N_("Feb"), N_("Mar"), N_("Apr"),
				     N_("May"), N_("Jun"), N_("Jul"), N_("Aug"),
				     N_("Sep"), N_("Oct"), N_("Nov"), N_("Dec")};

void wt_when_zone(const char *zone_name)
{
	if (zone_name && *zone_name) {
		/* Without memory for its file the zone would be UTC under its name. */
		errno = 0;
		if (setenv("TZ", zone_name, 1) == 0)
			tzset();
		if (errno == ENOMEM)
			wt_memory_end();
	}
}

static bool local(double at_unix_s, struct tm *out)
{
	time_t at;

	if (!isfinite(at_unix_s) || fabs(at_unix_s) > 1e11)
		return false;
	at = (time_t)floor(at_unix_s);
	return localtime_r(&at, out) != NULL;
}

static bool same_day(const struct tm *a, const struct tm *b)
{
	return a->tm_yday == b->tm_yday && a->tm_year == b->tm_year;
}

/* Fills a pattern whose order is the language's own: @w weekday, @d day, @m month, @t time. */
static void fill(char *out, size_t size, const char *pattern, const struct tm *at)
{
	size_t used = 0;

	for (; *pattern && used + 1 < size; pattern++) {
		char part[32] = {*pattern, '\0'};

		if (*pattern == '@' && pattern[1]) {
			switch (*++pattern) {
			case 'w':
				snprintf(part, sizeof part, "%s", _(weekdays[at->tm_wday]));
				break;
			case 'd':
				snprintf(part, sizeof part, "%d", at->tm_mday);
				break;
			case 'm':
				snprintf(part, sizeof part, "%s", _(months[at->tm_mon]));
				break;
			default:
				snprintf(part, sizeof part, "%02d:%02d", at->tm_hour, at->tm_min);
			}
		}
		used += (size_t)snprintf(out + used, size - used, "%s", part);
	}
}

/* Within the week around now a weekday tells the day; otherwise the date must. */
static void day_word(char *out, size_t size, const struct tm *at, double distance_s)
{
	if (fabs(distance_s) < 6 * 86400.0)
		snprintf(out, size, "%s", _(weekdays[at->tm_wday]));
	else
		fill(out, size, _("@d @m"), at);
}

void wt_when_clock(char out[static WT_WHEN_SIZE], double at_unix_s, double now_unix_s)
{
	struct tm at, now;
	char day[32] = "";

	if (!local(at_unix_s, &at)) {
		strcpy(out, "-");
		return;
	}
	if (!local(now_unix_s, &now) || !same_day(&at, &now)) {
		day_word(day, sizeof day - 1, &at, at_unix_s - now_unix_s);
		strcat(day, " ");
	}
	snprintf(out, WT_WHEN_SIZE, "%s%02d:%02d", day, at.tm_hour, at.tm_min);
}

void wt_when_full(char out[static WT_WHEN_SIZE], double at_unix_s)
{
	struct tm at;

	if (!local(at_unix_s, &at)) {
		strcpy(out, "-");
		return;
	}
	fill(out, WT_WHEN_SIZE, _("@w @d @m @t"), &at);
}

void wt_when_day(char out[static WT_WHEN_SIZE], double at_unix_s, double now_unix_s)
{
	struct tm at, now;

	if (!local(at_unix_s, &at)) {
		strcpy(out, "-");
		return;
	}
	if (local(now_unix_s, &now) && now.tm_year == at.tm_year)
		fill(out, WT_WHEN_SIZE, _("@d @m"), &at);
	else
		snprintf(out, WT_WHEN_SIZE, "%04d-%02d-%02d", at.tm_year + 1900, at.tm_mon + 1,
			 at.tm_mday);
}

void wt_when_range(char out[static WT_WHEN_SIZE], double from_unix_s, double to_unix_s,
		   double now_unix_s)
{
	struct tm from, to, now;
	bool has_from = local(from_unix_s, &from), has_to = local(to_unix_s, &to);
	char begin[16], end[16];

	if (!local(now_unix_s, &now) || (!has_from && !has_to)) {
		strcpy(out, "-");
		return;
	}
	if (has_to && to_unix_s <= now_unix_s) {
		snprintf(out, WT_WHEN_SIZE, "%s", _("reached"));
		return;
	}
	if (!has_from || from_unix_s <= now_unix_s) {
		snprintf(begin, sizeof begin, "%s", has_from ? _("now") : "?");
		from = now;
	} else if (same_day(&from, &now)) {
		snprintf(begin, sizeof begin, "%02d:%02d", from.tm_hour, from.tm_min);
	} else if (has_to && same_day(&from, &to) && from.tm_hour == to.tm_hour) {
		snprintf(out, WT_WHEN_SIZE, _("%s %02dh"), _(weekdays[from.tm_wday]), from.tm_hour);
		return;
	} else if (has_to && same_day(&from, &to)) {
		snprintf(out, WT_WHEN_SIZE, _("%s %02d-%02dh"), _(weekdays[from.tm_wday]),
			 from.tm_hour, to.tm_hour);
		return;
	} else {
		snprintf(begin, sizeof begin, "%s%02d", _(weekdays[from.tm_wday]), from.tm_hour);
	}
	if (!has_to)
		strcpy(end, "?");
	else if (same_day(&to, &now))
		snprintf(end, sizeof end, "%02d:%02d", to.tm_hour, to.tm_min);
	else
		snprintf(end, sizeof end, "%s%02d", _(weekdays[to.tm_wday]), to.tm_hour);
	if (strcmp(begin, end) == 0)
		strcpy(out, begin);
	else
		snprintf(out, WT_WHEN_SIZE, "%s-%s", begin, end);
}

void wt_when_span(char out[static WT_WHEN_SIZE], double span_s)
{
	long s;

	if (!isfinite(span_s) || span_s > 1e11) {
		strcpy(out, "-");
		return;
	}
	s = lround(fmax(span_s, 0.0));
	if (s < 100)
		snprintf(out, WT_WHEN_SIZE, _("%ld s"), s);
	else if (s < 3570)
		snprintf(out, WT_WHEN_SIZE, _("%ld min"), (s + 30) / 60);
	else if (s < 3600)
		snprintf(out, WT_WHEN_SIZE, _("%ld h %02ld min"), 1L, 0L);
	else if (s < 86400)
		snprintf(out, WT_WHEN_SIZE, _("%ld h %02ld min"), s / 3600, s % 3600 / 60);
	else
		snprintf(out, WT_WHEN_SIZE, _("%ld d"), s / 86400);
}
