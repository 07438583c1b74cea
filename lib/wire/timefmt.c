/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "lib/wire/timefmt.h"

#include <math.h>
#include <stdbool.h>
#include <stdio.h>
#include <string.h>
#include <time.h>

#include "lib/wire/quantity.h"

/* A moment taken apart.  offset_s only counts when zoned. */
struct stamp {
	int year, month, day, hour, minute, second;
	double fraction_s;
	bool zoned;
	int offset_s;
};

/* A person's bare number below this is no time (our choice). */
static const double least_number_unix_s = 1e8;

/* Days since 1970-01-01 in the Gregorian calendar.  Years start in March here, so that the leap
 * day is the last of its year (common practice, no source). */
static int64_t days_from_date(int year, int month, int day)
{
	int64_t y = month > 2 ? year : year - 1;
	int64_t m = month > 2 ? month - 3 : month + 9;
	int64_t of_year = (153 * m + 2) / 5 + day - 1;

	return 365 * y + y / 4 - y / 100 + y / 400 + of_year - 719468;
}

static bool leap(int year)
{
	return (year % 4 == 0 && year % 100 != 0) || year % 400 == 0;
}

static int days_in_month(int year, int month)
{
	static const int days[] = {31, 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31};
	return month == 2 && leap(year) ? 29 : days[month - 1];
}

/* Reads exactly count digits at *text and moves on. */
static bool read_digits(const char **text, int count, int *out)
{
	int value = 0;

	for (int i = 0; i < count; i++) {
		char c = (*text)[i];
		if (c < '0' || c > '9')
			return false;
		value = value * 10 + (c - '0');
	}
	*text += count;
	*out = value;
	return true;
}

static bool read_char(const char **text, char c)
{
	if (**text != c)
		return false;
	(*text)++;
	return true;
}

static bool read_date(const char **text, struct stamp *out)
{
	return read_digits(text, 4, &out->year) && read_char(text, '-') &&
	       read_digits(text, 2, &out->month) && read_char(text, '-') &&
	       read_digits(text, 2, &out->day);
}

static bool read_fraction(const char **text, struct stamp *out)
{
	double unit = 0.1;
	const char *start = *text;

	for (; **text >= '0' && **text <= '9'; (*text)++, unit /= 10)
		out->fraction_s += unit * (**text - '0');
	return *text > start && *text - start <= 9;
}

static bool read_clock(const char **text, struct stamp *out, bool seconds_needed)
{
	if (!read_digits(text, 2, &out->hour) || !read_char(text, ':') ||
	    !read_digits(text, 2, &out->minute))
		return false;
	if (!read_char(text, ':'))
		return !seconds_needed;
	if (!read_digits(text, 2, &out->second))
		return false;
	return !read_char(text, '.') || read_fraction(text, out);
}

/* "Z", "+08:00", "-0400"; nothing at all leaves zoned false. */
static bool read_zone(const char **text, struct stamp *out)
{
	int hours, minutes, sign;

	if (**text == '\0')
		return true;
	out->zoned = true;
	if (read_char(text, 'Z') || read_char(text, 'z'))
		return true;
	sign = **text == '-' ? -1 : 1;
	if (!read_char(text, '+') && !read_char(text, '-'))
		return false;
	if (!read_digits(text, 2, &hours))
		return false;
	(void)read_char(text, ':');
	if (!read_digits(text, 2, &minutes) || hours > 23 || minutes > 59)
		return false;
	out->offset_s = sign * (hours * 3600 + minutes * 60);
	return true;
}

static enum wt_status check_stamp(const struct stamp *stamp)
{
	if (stamp->year < 1970 || stamp->year > 2199 || stamp->month < 1 || stamp->month > 12)
		return WT_ERR_RANGE;
	if (stamp->day < 1 || stamp->day > days_in_month(stamp->year, stamp->month))
		return WT_ERR_RANGE;
	/* A leap second is taken as the second after it. */
	if (stamp->hour > 23 || stamp->minute > 59 || stamp->second > 60)
		return WT_ERR_RANGE;
	return WT_OK;
}

/* Date and clock, 'T' or a blank between, and perhaps a zone; nothing after. */
static enum wt_status read_stamp(const char *text, struct stamp *out, bool seconds_needed)
{
	struct stamp stamp = {0};
	enum wt_status status;

	if (!read_date(&text, &stamp))
		return WT_ERR_ARG;
	if (!read_char(&text, 'T') && !read_char(&text, 't') && !read_char(&text, ' '))
		return WT_ERR_ARG;
	if (!read_clock(&text, &stamp, seconds_needed) || !read_zone(&text, &stamp) || *text)
		return WT_ERR_ARG;
	status = check_stamp(&stamp);
	if (!status)
		*out = stamp;
	return status;
}

static int64_t utc_seconds(const struct stamp *stamp)
{
	return days_from_date(stamp->year, stamp->month, stamp->day) * 86400 + stamp->hour * 3600 +
	       stamp->minute * 60 + stamp->second;
}

/* Seconds of a local time, read as standard or as summer time; false when the clock never shows it
 * so. */
static bool local_seconds(const struct stamp *stamp, int summer, int64_t *out)
{
	struct tm tm = {
		.tm_year = stamp->year - 1900,
		.tm_mon = stamp->month - 1,
		.tm_mday = stamp->day,
		.tm_hour = stamp->hour,
		.tm_min = stamp->minute,
		.tm_sec = stamp->second > 59 ? 59 : stamp->second,
		.tm_isdst = summer,
	};
	struct tm back;
	time_t t = mktime(&tm);

	if (t < 0 || !localtime_r(&t, &back))
		return false;
	if (back.tm_hour != stamp->hour || back.tm_min != stamp->minute ||
	    back.tm_mday != stamp->day)
		return false;
	*out = (int64_t)t + (stamp->second > 59);
	return true;
}

/* All moments at which the local clock shows the stamp: 0, 1 or 2, ascending. */
static int local_candidates(const struct stamp *stamp, int64_t out[2])
{
	int n = 0;

	for (int summer = 1; summer >= 0; summer--) {
		int64_t seconds;
		if (local_seconds(stamp, summer, &seconds) && (n == 0 || out[0] != seconds))
			out[n++] = seconds;
	}
	if (n == 2 && out[0] > out[1]) {
		int64_t first = out[1];
		out[1] = out[0];
		out[0] = first;
	}
	return n;
}

static enum wt_status stamp_unix_s(const struct stamp *stamp, double near_unix_s, double *out)
{
	int64_t local[2];
	int n, pick = 0;
	double seconds;

	if (stamp->zoned) {
		seconds = (double)(utc_seconds(stamp) - stamp->offset_s) + stamp->fraction_s;
	} else {
		n = local_candidates(stamp, local);
		if (n == 0)
			return WT_ERR_RANGE;
		if (n == 2 && isfinite(near_unix_s))
			pick = fabs((double)local[1] - near_unix_s) <
			       fabs((double)local[0] - near_unix_s);
		seconds = (double)local[pick] + stamp->fraction_s;
	}
	if (seconds < 0 || seconds > (double)WT_TIMEFMT_LAST_UNIX_S)
		return WT_ERR_RANGE;
	*out = seconds;
	return WT_OK;
}

static enum wt_status number_unix_s(double number, double *out)
{
	double seconds = number > 1e11 ? number / 1e3 : number;

	if (!(seconds >= 0) || seconds > (double)WT_TIMEFMT_LAST_UNIX_S)
		return WT_ERR_RANGE;
	*out = seconds;
	return WT_OK;
}

enum wt_status wt_timefmt_station(const char *text, double near_unix_s, double *unix_s)
{
	struct stamp stamp;
	double number;
	enum wt_status status;

	if (!text || !unix_s)
		return WT_ERR_ARG;
	if (wt_quantity_number(text, strlen(text), &number) == WT_OK)
		return number_unix_s(number, unix_s);
	status = read_stamp(text, &stamp, false);
	return status ? status : stamp_unix_s(&stamp, near_unix_s, unix_s);
}

enum wt_status wt_timefmt_station_value(const json_t *value, double near_unix_s, double *unix_s)
{
	if (!unix_s)
		return WT_ERR_ARG;
	if (json_is_number(value))
		return number_unix_s(json_number_value(value), unix_s);
	if (json_is_string(value))
		return wt_timefmt_station(json_string_value(value), near_unix_s, unix_s);
	return WT_ERR_ARG;
}

enum wt_status wt_timefmt_rfc3339(const char *text, int64_t *unix_ms)
{
	struct stamp stamp;
	double seconds;
	enum wt_status status;

	if (!text || !unix_ms)
		return WT_ERR_ARG;
	status = read_stamp(text, &stamp, true);
	if (status)
		return status;
	if (!stamp.zoned)
		return WT_ERR_ARG;
	status = stamp_unix_s(&stamp, (double)NAN, &seconds);
	if (!status)
		*unix_ms = (int64_t)llround(seconds * 1e3);
	return status;
}

enum wt_status wt_timefmt_journal(const json_t *value, int64_t *unix_ms)
{
	double seconds;

	if (!unix_ms)
		return WT_ERR_ARG;
	if (json_is_string(value))
		return wt_timefmt_rfc3339(json_string_value(value), unix_ms);
	if (!json_is_number(value))
		return WT_ERR_ARG;
	seconds = json_number_value(value);
	if (!(seconds >= 0) || seconds > (double)WT_TIMEFMT_LAST_UNIX_S)
		return WT_ERR_RANGE;
	*unix_ms = (int64_t)llround(seconds * 1e3);
	return WT_OK;
}

/* The local date of a moment, days added, with another clock time. */
static bool local_day(int64_t unix_s, int add_days, struct stamp *out)
{
	time_t t = (time_t)unix_s;
	struct tm tm;

	if (!localtime_r(&t, &tm))
		return false;
	/* Noon, so that no change of summer time moves the date. */
	tm.tm_mday += add_days;
	tm.tm_hour = 12;
	tm.tm_min = tm.tm_sec = 0;
	tm.tm_isdst = -1;
	t = mktime(&tm);
	if (t < 0)
		return false;
	out->year = tm.tm_year + 1900;
	out->month = tm.tm_mon + 1;
	out->day = tm.tm_mday;
	return true;
}

/* The hour nearest to now on the wished side; a clock time that one day lacks is sought on the next
 * one. */
static enum wt_status clock_to_unix_s(const struct stamp *clock, int64_t now_unix_s,
				      enum wt_timefmt_sense sense, int64_t *out)
{
	bool found = false;
	int64_t best = 0;

	for (int day = -2; day <= 2; day++) {
		struct stamp stamp = *clock;
		int64_t local[2];
		int n = local_day(now_unix_s, day, &stamp) ? local_candidates(&stamp, local) : 0;
		for (int i = 0; i < n; i++) {
			bool past = sense == WT_TIMEFMT_PAST;
			bool fits = past ? local[i] <= now_unix_s : local[i] >= now_unix_s;
			if (fits && (!found || (past ? local[i] > best : local[i] < best))) {
				best = local[i];
				found = true;
			}
		}
	}
	if (!found)
		return WT_ERR_RANGE;
	*out = best;
	return WT_OK;
}

/* "-2h", "+30min", "-3d". */
static bool read_difference(const char *text, double *out)
{
	static const struct {
		const char *unit;
		double seconds;
	} units[] = {{"h", 3600}, {"min", 60}, {"m", 60}, {"d", 86400}, {"s", 1}};
	size_t length = strlen(text), span;

	if (text[0] != '-' && text[0] != '+')
		return false;
	span = 1 + strspn(text + 1, "0123456789.");
	for (size_t i = 0; i < sizeof units / sizeof units[0]; i++) {
		double number;
		if (strcmp(text + span, units[i].unit) ||
		    wt_quantity_number(text, length - strlen(units[i].unit), &number))
			continue;
		*out = number * units[i].seconds;
		return true;
	}
	return false;
}

static enum wt_status settle(double seconds, int64_t *out)
{
	if (!(seconds >= 0) || seconds > (double)WT_TIMEFMT_LAST_UNIX_S)
		return WT_ERR_RANGE;
	*out = (int64_t)llround(seconds);
	return WT_OK;
}

enum wt_status wt_timefmt_user(const char *text, int64_t now_unix_s, enum wt_timefmt_sense sense,
			       int64_t *unix_s)
{
	struct stamp stamp = {0};
	const char *rest = text;
	double seconds;
	enum wt_status status;

	if (!text || !unix_s)
		return WT_ERR_ARG;
	if (!strcmp(text, "now"))
		return settle((double)now_unix_s, unix_s);
	if (read_difference(text, &seconds))
		return settle((double)now_unix_s + seconds, unix_s);
	if (wt_quantity_number(text, strlen(text), &seconds) == WT_OK) {
		/* "18.05" or "5" is a mistyped hour, not a moment of 1970; 0 is the beginning. */
		if (seconds != 0 && seconds < least_number_unix_s)
			return WT_ERR_ARG;
		return settle(seconds, unix_s);
	}
	if (strlen(text) == 5 && text[2] == ':' && read_clock(&rest, &stamp, false) && !*rest) {
		if (stamp.hour > 23 || stamp.minute > 59)
			return WT_ERR_RANGE;
		return clock_to_unix_s(&stamp, now_unix_s, sense, unix_s);
	}
	rest = text;
	if (!read_date(&rest, &stamp) || *rest) {
		status = read_stamp(text, &stamp, false);
		if (status)
			return status;
	} else if (check_stamp(&stamp)) {
		return WT_ERR_RANGE;
	}
	status = stamp_unix_s(&stamp, (double)now_unix_s, &seconds);
	return status ? status : settle(seconds, unix_s);
}

const char *wt_timefmt_user_accepted(void)
{
	return "HH:MM, -2h, -30min, 2026-04-07 18:05, RFC 3339 or unix seconds";
}

void wt_timefmt_write(int64_t unix_ms, char out[WT_TIMEFMT_SIZE])
{
	time_t t = (time_t)(unix_ms / 1000);
	int ms = (int)(unix_ms % 1000);
	struct tm tm;

	if (unix_ms < 0 || unix_ms / 1000 > WT_TIMEFMT_LAST_UNIX_S || !gmtime_r(&t, &tm)) {
		(void)snprintf(out, WT_TIMEFMT_SIZE, "0000-00-00T00:00:00Z");
		return;
	}
	size_t used = strftime(out, WT_TIMEFMT_SIZE, "%Y-%m-%dT%H:%M:%S", &tm);
	if (ms)
		(void)snprintf(out + used, WT_TIMEFMT_SIZE - used, ".%03dZ", ms);
	else
		(void)snprintf(out + used, WT_TIMEFMT_SIZE - used, "Z");
}
