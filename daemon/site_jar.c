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

bool site_jar_line(const struct site_station *station, double *gain, double *offset_pct)
{
	double shown[WT_SALT_COUNT], truth[WT_SALT_COUNT];
	bool seen[WT_SALT_COUNT] = {false};
	size_t n = 0;

	/* The newest check in each salt. */
	for (size_t i = station->n_salts; i-- > 0;) {
		const struct site_salt_point *point = &station->salts[i];
		if (seen[point->salt])
			continue;
		seen[point->salt] = true;
		shown[n] = point->shown_rh_pct;
		truth[n++] = point->true_rh_pct;
	}
	return n && wt_salt_line(n, shown, truth, gain, offset_pct) == WT_OK;
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

/* As it shows itself, before any correction: that is what a check compares. */
json_t *site_jar_hour(const struct site_station *station, int64_t now_unix_s)
{
	int64_t *times = site_alloc((station->n_raws + 1) * sizeof(*times));
	double *shown = site_alloc((station->n_raws + 1) * sizeof(*shown));
	double low = HUGE_VAL, high = -HUGE_VAL, mean;
	size_t n = 0;

	for (size_t i = 0; i < station->n_raws; i++) {
		const struct site_raw *raw = &station->raws[i];
		if (raw->at_unix_s > now_unix_s || raw->at_unix_s < now_unix_s - SITE_HOUR_S ||
		    (n && raw->at_unix_s < times[n - 1]))
			continue;
		times[n] = raw->at_unix_s;
		shown[n] = (double)raw->rh_pct;
		low = fmin(low, shown[n]);
		high = fmax(high, shown[n]);
		n++;
	}
	bool steady = wt_salt_steady_rh_pct(n, times, shown, &mean) == WT_OK;
	json_t *hour = json_pack("{s:I,s:I,s:o,s:o,s:b}", "readings", (json_int_t)n, "span_s",
				 (json_int_t)(n ? times[n - 1] - times[0] : 0), "low_rh_pct",
				 site_number(low), "high_rh_pct", site_number(high), "steady",
				 (int)steady);
	free(times);
	free(shown);
	return hour;
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
