/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * The stations as the site knows them, and what needs a person.  Broker, battery
 * and faults of the last message are added by the feed's owner.
 */
#include <math.h>
#include <stdarg.h>
#include <stdio.h>
#include <string.h>

#include "daemon/site_query.h"
#include "lib/wire/payload.h"

static const struct {
	unsigned flag;
	const char *name;
} flags[] = {
	{WT_FLAG_RH_CLAMPED, "rh-clamped"},
	{WT_FLAG_TIME_RECEIVED, "time-received"},
	{WT_FLAG_RETAINED, "retained"},
	{WT_FLAG_STUCK, "stuck"},
	{WT_FLAG_JUMP, "jump"},
	{WT_FLAG_SATURATED, "saturated"},
	{WT_FLAG_CLOCK_UNSURE, "clock-unsure"},
};

static json_t *flag_names(unsigned set)
{
	json_t *names = json_array();

	for (size_t i = 0; i < sizeof(flags) / sizeof(flags[0]); i++) {
		if (set & flags[i].flag)
			json_array_append_new(names, json_string(flags[i].name));
	}
	return names;
}

json_t *site_station_row(const struct wt_site *site, const struct site_station *station,
			 int64_t now_unix_s)
{
	const struct wt_config_station *config = &site->config->stations[station->config];
	bool heard = station->n_readings > 0;

	return json_pack(
		"{s:s,s:s,s:o,s:o,s:o,s:o,s:f,s:n,s:I,s:o,s:n,s:o,s:o}", "station", station->name,
		"room", site->rooms[station->room].name, "topic",
		config->rule.temp_topic ? json_string(config->rule.temp_topic) : json_null(),
		"temp_c",
		heard ? site_number(site_station_temp_c(site, station, station->last_temp_c))
		      : json_null(),
		"rh_pct",
		heard ? site_number(site_station_rh_pct(site, station, station->last_rh_pct))
		      : json_null(),
		"age_s",
		heard ? json_integer((json_int_t)(now_unix_s - station->last_unix_ms / 1000))
		      : json_null(),
		"expected_every_s", config->expected_every_s, "battery", "readings",
		(json_int_t)station->n_readings, "flags",
		flag_names(heard ? station->last_flags : 0), "last_fault", "salt",
		site_jar_checked(station), "hour", site_jar_hour(station, now_unix_s));
}

void wt_site_correct(const struct wt_site *site, const char *name, double *temp_c, double *rh_pct)
{
	for (size_t i = 0; i < site->n_stations; i++) {
		const struct site_station *station = &site->stations[i];
		if (!station->configured || strcmp(station->name, name) != 0)
			continue;
		const struct wt_config_station *config = &site->config->stations[station->config];
		/* A ten-thousandth: 20.3 - 1.5 is 18.8. */
		if (config->temp_offset_c != 0.0)
			*temp_c = round(1e4 * site_station_temp_c(site, station, *temp_c)) / 1e4;
		if (config->rh_offset_pct != 0.0 || station->n_salts)
			*rh_pct = round(1e4 * site_station_rh_pct(site, station, *rh_pct)) / 1e4;
		return;
	}
}

json_t *site_query_stations(const struct wt_site *site, int64_t now_unix_s)
{
	json_t *document = site_document(site, now_unix_s), *rows = json_array();

	for (size_t i = 0; i < site->n_stations; i++) {
		if (site->stations[i].configured)
			json_array_append_new(
				rows, site_station_row(site, &site->stations[i], now_unix_s));
	}
	json_object_set_new(document, "stations", rows);
	json_object_set_new(document, "rh_effect", site_jar_effect());
	return document;
}

/* --- what needs a person --------------------------------------------------------------------- */

static void concern(json_t *list, const char *code, const char *severity, const char *format, ...)
	__attribute__((format(printf, 4, 5)));

static void concern(json_t *list, const char *code, const char *severity, const char *format, ...)
{
	char text[256], says[WT_SAYS_SIZE];
	va_list values;

	va_start(values, format);
	wt_says_take(says, format, values);
	vsnprintf(text, sizeof(text), format, values);
	va_end(values);
	json_array_append_new(list, json_pack("{s:s,s:s,s:s,s:o}", "code", code, "severity",
					      severity, "text", text, "says", wt_says_json(says)));
}

static void station_concerns(const struct wt_site *site, const struct site_station *station,
			     int64_t now_unix_s, json_t *list)
{
	double every_s = site->config->stations[station->config].expected_every_s;
	int64_t age_s = now_unix_s - station->last_unix_ms / 1000;

	if (!station->n_readings) {
		concern(list, "station_unheard", "warning",
			"No reading of station %s has come yet.", station->name);
	} else if ((double)age_s > 3.0 * (every_s > 0.0 ? every_s : 600.0)) {
		if (age_s >= 2 * SITE_HOUR_S)
			concern(list, "station_silent", "err",
				"Station %s has been silent for %lld h.", station->name,
				(long long)(age_s / SITE_HOUR_S));
		else if (age_s >= 120)
			concern(list, "station_silent", "err",
				"Station %s has been silent for %lld min.", station->name,
				(long long)(age_s / 60));
		else
			concern(list, "station_silent", "err",
				"Station %s has been silent for %lld s.", station->name,
				(long long)age_s);
	} else if (station->last_flags & WT_FLAG_STUCK) {
		concern(list, "station_stuck", "warning",
			"Station %s has sent the same values for hours: is it stuck?",
			station->name);
	}
	if (site_jar_due(station, now_unix_s) && station->n_salts)
		concern(list, "salt_due", "notice",
			"Station %s was in a salt jar %lld days ago: check it again (wither salt "
			"%s).",
			station->name,
			(long long)((now_unix_s - station->salts[station->n_salts - 1].at_unix_s) /
				    SITE_DAY_S),
			station->name);
	else if (site_jar_due(station, now_unix_s))
		concern(list, "salt_due", "notice",
			"Station %s has never been checked in a salt jar (wither salt %s).",
			station->name, station->name);
}

/* What a note quotes. */
static const char *said(const json_t *says, size_t i)
{
	const char *text = json_string_value(json_array_get(says, i));

	return text ? text : "?";
}

static void load_concerns(const struct wt_site *site, const struct site_load *load,
			  int64_t now_unix_s, json_t *list)
{
	const struct site_job_load *job = site_forecast_of(site, load);

	if (now_unix_s - load->spread_unix_s > 5 * (int64_t)SITE_DAY_S)
		concern(list, "load_old", "warning",
			"Load %d was spread %lld days ago: fix it, or drop it if it is gone.",
			load->number, (long long)((now_unix_s - load->spread_unix_s) / SITE_DAY_S));
	const json_t *says =
		json_object_get(job ? json_array_get(job->view.notes, 0) : NULL, "says");
	if (json_array_size(says) == 4) /* once more as one sentence, for other languages */
		concern(list, "observation", "notice",
			"Load %d: the %s weighing is %s%% %s what the air allows: check the scale "
			"or the load.",
			load->number, said(says, 1), said(says, 2), said(says, 3));
}

json_t *wt_site_concerns(const struct wt_site *site, int64_t now_unix_s)
{
	json_t *list = json_array();

	if (!site->config->n_stations)
		concern(list, "no_station", "warning",
			"No station is configured: there is no air to go by.");
	for (size_t i = 0; i < site->n_stations; i++) {
		if (site->stations[i].configured)
			station_concerns(site, &site->stations[i], now_unix_s, list);
	}
	for (size_t i = 0; i < site->n_loads; i++) {
		if (!site->loads[i].gone && site->loads[i].state == SITE_OPEN)
			load_concerns(site, &site->loads[i], now_unix_s, list);
	}
	return list;
}
