/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * A station in a salt jar: how steady it is, by what line it is corrected, and
 * when it should go in again.
 */
#include <math.h>
#include <stdlib.h>

#include "daemon/site_inner.h"
#include "lib/salt.h"
#include "lib/salt_effect.h"

/* An error that a cheap sensor comes to in a year or two (common practice, no source). */
#define EXAMPLE_ERROR_PCT 3.0

/* The newest check in each salt. */
struct checks {
	bool seen[WT_SALT_COUNT];
	double shown[WT_SALT_COUNT], truth[WT_SALT_COUNT];
	size_t n;
};

static void add_check(struct checks *checks, int salt, double shown_rh_pct, double true_rh_pct)
{
	if (checks->seen[salt])
		return;
	checks->seen[salt] = true;
	checks->shown[checks->n] = shown_rh_pct;
	checks->truth[checks->n++] = true_rh_pct;
}

static bool line_of(struct checks *checks, const struct site_station *station, double *gain,
		    double *offset_pct)
{
	for (size_t i = station->n_salts; i-- > 0;) {
		const struct site_salt_point *point = &station->salts[i];
		add_check(checks, point->salt, point->shown_rh_pct, point->true_rh_pct);
	}
	return checks->n &&
	       wt_salt_line(checks->n, checks->shown, checks->truth, gain, offset_pct) == WT_OK;
}

bool site_jar_line(const struct site_station *station, double *gain, double *offset_pct)
{
	struct checks checks = {.n = 0};

	return line_of(&checks, station, gain, offset_pct);
}

bool site_jar_agrees(const struct site_station *station, int salt, double shown_rh_pct,
		     double true_rh_pct)
{
	struct checks checks = {.n = 0};
	double gain, offset_pct;

	add_check(&checks, salt, shown_rh_pct, true_rh_pct);
	return line_of(&checks, station, &gain, &offset_pct);
}

json_t *site_jar_checked(const struct site_station *station)
{
	double gain = 1.0, offset_pct = 0.0;

	if (!station->n_salts)
		return json_null();
	const struct site_salt_point *s = &station->salts[station->n_salts - 1];
	bool fine = site_jar_line(station, &gain, &offset_pct);
	return json_pack("{s:s,s:I,s:f,s:f,s:i,s:o,s:o}", "salt",
			 wt_salt_formula((enum wt_salt)s->salt), "at_unix_s",
			 (json_int_t)s->at_unix_s, "shown_rh_pct", s->shown_rh_pct, "true_rh_pct",
			 s->true_rh_pct, "points", (int)station->n_salts, "gain",
			 fine ? json_real(gain) : json_null(), "offset_pct",
			 fine ? json_real(offset_pct) : json_null());
}

/* What a station has shown in the hour up to a moment, as it shows itself, before any correction:
 * that is what a check compares. */
struct hour {
	size_t n;
	int64_t span_s;
	double low_rh_pct, high_rh_pct;
	bool steady;
	double steady_rh_pct; /* when it is */
};

static struct hour hour_of(const struct site_station *station, int64_t at_unix_s)
{
	struct hour hour = {.low_rh_pct = HUGE_VAL, .high_rh_pct = -HUGE_VAL};
	int64_t *times = site_alloc((station->n_raws + 1) * sizeof(*times));
	double *shown = site_alloc((station->n_raws + 1) * sizeof(*shown));
	size_t n = 0;

	for (size_t i = 0; i < station->n_raws; i++) {
		const struct site_raw *raw = &station->raws[i];
		if (raw->at_unix_s > at_unix_s || raw->at_unix_s < at_unix_s - SITE_HOUR_S ||
		    (n && raw->at_unix_s < times[n - 1]))
			continue;
		times[n] = raw->at_unix_s;
		shown[n] = (double)raw->rh_pct;
		hour.low_rh_pct = fmin(hour.low_rh_pct, shown[n]);
		hour.high_rh_pct = fmax(hour.high_rh_pct, shown[n]);
		n++;
	}
	hour.n = n;
	hour.span_s = n ? times[n - 1] - times[0] : 0;
	hour.steady = wt_salt_steady_rh_pct(n, times, shown, &hour.steady_rh_pct) == WT_OK;
	free(times);
	free(shown);
	return hour;
}

bool site_jar_steady(const struct site_station *station, int64_t at_unix_s, double *out)
{
	struct hour hour = hour_of(station, at_unix_s);

	if (hour.steady)
		*out = hour.steady_rh_pct;
	return hour.steady;
}

json_t *site_jar_hour(const struct site_station *station, int64_t now_unix_s)
{
	struct hour hour = hour_of(station, now_unix_s);

	return json_pack("{s:I,s:I,s:o,s:o,s:b}", "readings", (json_int_t)hour.n, "span_s",
			 (json_int_t)hour.span_s, "low_rh_pct", site_number(hour.low_rh_pct),
			 "high_rh_pct", site_number(hour.high_rh_pct), "steady", (int)hour.steady);
}

json_t *site_jar_effect(void)
{
	struct wt_salt_effect effect;

	if (wt_salt_effect_hours(EXAMPLE_ERROR_PCT, &effect) != WT_OK)
		return json_null();
	return json_pack("{s:f,s:f,s:f,s:f,s:f,s:f}", "temp_c", effect.temp_c, "rh_pct",
			 effect.rh_pct, "error_pct", effect.error_pct, "hours", effect.hours,
			 "hours_high", effect.hours_high, "hours_low", effect.hours_low);
}

bool site_jar_due(const struct site_station *station, int64_t now_unix_s)
{
	int64_t last_unix_s = station->n_salts ? station->salts[station->n_salts - 1].at_unix_s
					       : station->first_unix_ms / 1000;

	return station->n_readings && now_unix_s - last_unix_s > SITE_JAR_EVERY_S;
}
