/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * The air of a room: the outlook taken in, the band shown.
 */
#include <math.h>
#include <stdio.h>
#include <string.h>
#include <strings.h>

#include "daemon/site_query.h"
#include "daemon/site_run.h"
#include "lib/air.h"
#include "lib/wire/outlook_doc.h"

static enum wt_status outlook_into(struct wt_room_series *series,
				   const struct site_outlook *outlook)
{
	struct wt_outlook it = {.issued_unix_s = outlook->issued_unix_s,
				.n = outlook->n,
				.at_unix_s = outlook->at_unix_s,
				.temp_c = outlook->temp_c,
				.rh_pct = outlook->rh_pct};

	return wt_room_series_add_outlook(series, &it);
}

void site_outlooks_into(const struct wt_site *site, struct wt_room_series *series)
{
	for (size_t i = 0; i < site->n_outlooks; i++) {
		/* It was sound when it came: only memory can be wanting, and the next one comes. */
		if (outlook_into(series, &site->outlooks[i]) != WT_OK)
			continue;
	}
}

void site_outlook_clear(struct site_outlook *outlook)
{
	free(outlook->at_unix_s);
	free(outlook->temp_c);
	free(outlook->rh_pct);
}

static void keep_outlook(struct wt_site *site, const struct wt_outlook_doc *doc,
			 int64_t received_unix_s)
{
	int64_t oldest = received_unix_s - WT_ROOM_KEEP_DAYS * (int64_t)SITE_DAY_S;
	size_t old = 0;

	while (old < site->n_outlooks && site->outlooks[old].issued_unix_s < oldest)
		site_outlook_clear(&site->outlooks[old++]);
	site->n_outlooks -= old;
	if (old)
		memmove(site->outlooks, site->outlooks + old,
			site->n_outlooks * sizeof(*site->outlooks));
	site_grow(&site->outlooks, site->n_outlooks, &site->cap_outlooks, sizeof(*site->outlooks));
	struct site_outlook *it = &site->outlooks[site->n_outlooks++];
	*it = (struct site_outlook){.issued_unix_s = received_unix_s, .n = doc->n};
	it->at_unix_s = site_alloc(doc->n * sizeof(int64_t));
	it->temp_c = site_alloc(doc->n * sizeof(double));
	it->rh_pct = site_alloc(doc->n * sizeof(double));
	memcpy(it->at_unix_s, doc->at_unix_s, doc->n * sizeof(int64_t));
	memcpy(it->temp_c, doc->temp_c, doc->n * sizeof(double));
	memcpy(it->rh_pct, doc->rh_pct, doc->n * sizeof(double));
}

bool wt_site_add_outlook(struct wt_site *site, const json_t *document, int64_t received_unix_s,
			 char *why, size_t why_size)
{
	struct wt_outlook_doc *doc = site_alloc(sizeof(*doc));
	bool fine = wt_outlook_doc_parse(document, doc, why, why_size);

	if (fine) {
		keep_outlook(site, doc, received_unix_s);
		site->generation++;
		for (size_t i = 0; i < site->n_rooms; i++) {
			struct wt_room_series *series = site_room_writable(&site->rooms[i]);
			if (outlook_into(series, &site->outlooks[site->n_outlooks - 1]) != WT_OK) {
				snprintf(why, why_size, "out of memory");
				fine = false;
			}
		}
	}
	free(doc);
	return fine;
}

/* --- the document ---------------------------------------------------------------------------- */

static json_t *band(const struct site_band *values, size_t n)
{
	json_t *p10 = json_array(), *p50 = json_array(), *p90 = json_array();

	for (size_t i = 0; i < n; i++) {
		json_array_append_new(p10, site_number((double)values[i].p10));
		json_array_append_new(p50, site_number((double)values[i].p50));
		json_array_append_new(p90, site_number((double)values[i].p90));
	}
	return json_pack("{s:o,s:o,s:o}", "p10", p10, "p50", p50, "p90", p90);
}

#define PAST_S SITE_DAY_S
#define PAST_STEP_S 900
#define PAST_STEPS (PAST_S / PAST_STEP_S + 2)

/* What was read within a step, and what lies between two readings no further apart than a room may
 * be silent: elsewhere what the model goes on with is a guess, and not shown as measured. */
static void mark_read(const struct wt_site *site, size_t room, int64_t from_unix_s, size_t n,
		      bool read[PAST_STEPS])
{
	const struct wt_room_series *series = site->rooms[room].series->series;
	double silent_s = site_room_silent_after_s(site, room);
	size_t last = SIZE_MAX;

	for (size_t i = 0; i < n; i++) {
		int64_t until = from_unix_s + (int64_t)i * PAST_STEP_S + PAST_STEP_S / 2;
		struct wt_room_now seen;

		read[i] = wt_room_latest(series, until, &seen) == WT_OK &&
			  seen.at_unix_s > until - PAST_STEP_S;
		if (!read[i])
			continue;
		for (size_t k = last + 1; last != SIZE_MAX && k < i; k++)
			read[k] = (double)(i - last) * PAST_STEP_S <= silent_s;
		last = i;
	}
}

static json_t *past(const struct wt_site *site, size_t room, int64_t now_unix_s)
{
	float temp_c[PAST_S / WT_GRID_S + 2], vapour_pa[PAST_S / WT_GRID_S + 2];
	json_t *temp = json_array(), *rh = json_array(), *vpd = json_array();
	int64_t from = now_unix_s - PAST_S, first = site_room_first_unix_s(site, room);
	const size_t step = PAST_STEP_S / WT_GRID_S;
	bool read[PAST_STEPS];
	double known_share = 0.0;
	size_t n = 0;

	/* Nothing is shown from before the first reading. */
	if (first > from)
		from = first;
	from -= from % WT_GRID_S;
	if (!first || wt_room_fill(site->rooms[room].series->series, from, now_unix_s,
				   sizeof(temp_c) / sizeof(temp_c[0]), temp_c, vapour_pa, &n,
				   &known_share) != WT_OK)
		n = 0;
	mark_read(site, room, from, (n + step - 1) / step, read);
	for (size_t i = 0; i < n; i += step) {
		double rh_pct = NAN, vpd_pa = NAN;
		if (!read[i / step])
			temp_c[i] = vapour_pa[i] = NAN;
		if (wt_air_rh_pct((double)temp_c[i], (double)vapour_pa[i], &rh_pct) != WT_OK)
			rh_pct = NAN;
		if (wt_air_deficit_pa((double)temp_c[i], (double)vapour_pa[i], &vpd_pa) != WT_OK)
			vpd_pa = NAN;
		json_array_append_new(temp, site_number((double)temp_c[i]));
		json_array_append_new(rh, site_number(rh_pct));
		json_array_append_new(vpd, site_number(vpd_pa));
	}
	return json_pack("{s:I,s:i,s:o,s:o,s:o}", "start_unix_s", (json_int_t)from, "step_s",
			 PAST_STEP_S, "temp_c", temp, "rh_pct", rh, "vpd_pa", vpd);
}

/* Open data that asks to be named, by its format and host. */
static const struct source {
	bool timeseries;
	const char *host; /* itself, and what lies under it */
	const char *words;
} sources[] = {
	{false, "open-meteo.com", "Weather data by Open-Meteo.com"},
	{true, "met.no", "Data from MET Norway"},
};

static bool is_host(const char *host, const char *wanted)
{
	size_t n = strlen(host), m = strlen(wanted);

	return n >= m && !strcasecmp(host + n - m, wanted) && (n == m || host[n - m - 1] == '.');
}

/* The host of a URL, without user and port. */
static void host_of(const char *url, char *out, size_t size)
{
	const char *from = strstr(url, "://");

	from = from ? from + 3 : url;
	size_t n = strcspn(from, "/?#");
	for (size_t i = n; i > 0; i--) {
		if (from[i - 1] == '@') {
			from += i;
			n -= i;
			break;
		}
	}
	const char *bracket = *from == '[' ? memchr(from, ']', n) : NULL;
	size_t end = bracket ? (size_t)(bracket - from) + 1 : strcspn(from, ":/?#");
	n = end < n ? end : n;
	snprintf(out, size, "%.*s", (int)n, from);
}

json_t *site_attribution(const struct wt_site *site, int64_t now_unix_s)
{
	const struct site_outlook *newest =
		site->n_outlooks ? &site->outlooks[site->n_outlooks - 1] : NULL;
	char host[200], text[240];

	/* One that has run out tells nothing of the hours to come. */
	if (!site->config->outlook_url || !newest || !newest->n ||
	    newest->at_unix_s[newest->n - 1] < now_unix_s)
		return json_null();
	host_of(site->config->outlook_url, host, sizeof(host));
	for (size_t i = 0; i < sizeof(sources) / sizeof(sources[0]); i++) {
		if (sources[i].timeseries == site->config->outlook_timeseries &&
		    is_host(host, sources[i].host))
			return json_string(sources[i].words);
	}
	snprintf(text, sizeof(text), "outdoor forecast: %s", host);
	return json_string(text);
}

static json_t *outlook(const struct wt_site *site, const struct site_job_room *room,
		       int64_t now_unix_s)
{
	if (!site->n_outlooks)
		return json_null();
	return json_pack(
		"{s:I,s:o,s:o}", "age_s",
		(json_int_t)(now_unix_s - site->outlooks[site->n_outlooks - 1].issued_unix_s),
		"weight", site_number(room->outlook_weight), "attribution",
		site_attribution(site, now_unix_s));
}

json_t *site_query_air(const struct wt_site *site, size_t index, int64_t now_unix_s)
{
	static const char *const names[SITE_BANDS] = {"temp_c", "vapour_pa", "rh_pct", "vpd_pa"};
	struct wt_job *job = site_job_new(site, now_unix_s, 0);
	struct site_job_room *room = &job->rooms[site_job_take_room(job, site, index)];
	json_t *document = site_document(site, now_unix_s);

	double age_s;
	bool stale = site_room_stale(site, index, now_unix_s, &age_s);

	site_run_bands(job, room);
	json_object_set_new(document, "age_s", site_time(age_s));
	json_object_set_new(document, "stale", json_boolean(stale));
	json_object_set_new(document, "room", json_string(site->rooms[index].name));
	json_object_set_new(document, "start_unix_s",
			    room->known ? json_integer((json_int_t)room->band_start_unix_s)
					: json_null());
	json_object_set_new(document, "step_s", json_integer(SITE_BAND_STEP_S));
	json_object_set_new(document, "paths",
			    json_integer(room->known ? (json_int_t)job->paths : 0));
	for (int i = 0; i < SITE_BANDS; i++)
		json_object_set_new(document, names[i], band(room->band[i], room->n_band));
	json_object_set_new(document, "past", past(site, index, now_unix_s));
	json_object_set_new(document, "event", site_event(&room->event));
	json_object_set_new(document, "skill", json_array());
	json_object_set_new(document, "outlook", outlook(site, room, now_unix_s));
	wt_job_free(&job);
	return document;
}
