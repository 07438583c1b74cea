/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * The site's local time.  The process runs in the configured zone (TZ is set
 * when the configuration is read), so the C library's conversions are the site's.
 */
#include <stdio.h>
#include <string.h>
#include <time.h>

#include "daemon/site_inner.h"
#include "lib/wire/timefmt.h"

static struct tm local(int64_t at_unix_s)
{
	struct tm fields;
	time_t at = (time_t)at_unix_s;

	if (!localtime_r(&at, &fields))
		memset(&fields, 0, sizeof(fields));
	return fields;
}

int64_t site_local_unix_s(const struct wt_site *site, int64_t at_unix_s, int days, int minutes)
{
	struct tm fields = local(at_unix_s);

	(void)site;
	fields.tm_mday += days;
	fields.tm_hour = minutes / 60;
	fields.tm_min = minutes % 60;
	fields.tm_sec = 0;
	fields.tm_isdst = -1;
	return (int64_t)mktime(&fields);
}

void site_local_clock(const struct wt_site *site, int64_t at_unix_s, char out[16])
{
	struct tm fields = local(at_unix_s);

	(void)site;
	snprintf(out, 16, "%02d:%02d", fields.tm_hour % 24, fields.tm_min % 60);
}

void site_local_when(int64_t now_unix_s, int64_t at_unix_s, char out[24])
{
	static const char *const days[] = {"Sun", "Mon", "Tue", "Wed", "Thu", "Fri", "Sat"};
	struct tm at = local(at_unix_s), now = local(now_unix_s);
	bool today = at.tm_yday == now.tm_yday && at.tm_year == now.tm_year;

	snprintf(out, 24, "%s%s%02d:%02d", today ? "" : days[at.tm_wday % 7], today ? "" : " ",
		 at.tm_hour % 24, at.tm_min % 60);
}

int site_local_offset_s(const struct wt_site *site, int64_t at_unix_s)
{
	(void)site;
	return (int)local(at_unix_s).tm_gmtoff;
}

enum wt_season site_season(const struct wt_site *site, int64_t at_unix_s)
{
	int month = local(at_unix_s).tm_mon + 1;

	/* South of the equator the year is turned by half. */
	if (site->config->latitude_deg < 0.0)
		month = (month + 5) % 12 + 1;
	/* Spring leaf is picked to the end of May, summer leaf to the end of August
	 * (common practice, no source). */
	if (month >= 2 && month <= 5)
		return WT_SEASON_SPRING;
	return month >= 6 && month <= 8 ? WT_SEASON_SUMMER : WT_SEASON_AUTUMN;
}

bool site_clock_parse(const json_t *value, int64_t now_unix_s, bool wish, int64_t *out)
{
	const char *text = json_string_value(value);

	if (json_is_number(value)) {
		double at = json_number_value(value);
		if (!(at >= 0.0 && at <= (double)WT_TIMEFMT_LAST_UNIX_S))
			return false;
		*out = (int64_t)at;
		return true;
	}
	return text && wt_timefmt_user(text, now_unix_s, wish ? WT_TIMEFMT_NEXT : WT_TIMEFMT_PAST,
				       out) == WT_OK;
}

void site_hearth(const struct wt_site *site, int64_t now_unix_s, struct wt_hearth *out)
{
	const struct wt_config *config = site->config;
	int first = config->first_start_min, last = config->last_start_min;
	/* A working day runs from first start to first start: after midnight it is still
	 * the evening before. */
	int day = site_local_unix_s(site, now_unix_s, 0, first) <= now_unix_s ? 0 : -1;
	int over = last <= first ? 1 : 0;
	enum wt_season season = site_season(site, now_unix_s);

	out->woks = config->woks;
	out->wok_kg = config->wok_kg;
	out->firing_s = config->minutes_by_season[season] * 60.0;
	out->evening_from_unix_s = now_unix_s;
	out->last_start_unix_s = site_local_unix_s(site, now_unix_s, day + over, last);
	out->first_start_unix_s = site_local_unix_s(site, now_unix_s, day + 1, first);
	out->morning_until_unix_s = site_local_unix_s(site, now_unix_s, day + 1 + over, last);
}
