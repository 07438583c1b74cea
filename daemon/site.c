/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * The site's state: what is configured, the air as measured.  Loads and acts:
 * site_loads.c, site_acts.c.
 */
#include <assert.h>
#include <math.h>
#include <string.h>

#include "daemon/site_inner.h"
#include "lib/air.h"
#include "lib/salt.h"
#include "lib/wire/payload.h"

/* Readings kept to be corrected again reach one day further back than a series does. */
#define RAW_KEEP_S ((WT_ROOM_KEEP_DAYS + 1) * (int64_t)SITE_DAY_S)
#define CELL_KEEP_S (10 * (int64_t)SITE_DAY_S)

static struct wt_room_series *new_series(const struct wt_site *site)
{
	struct wt_room_series *series = NULL;
	/* The site's usual offset, without the hour of summer time: that of longitude when it is
	 * known, so that "the same hour" is the sun's. */
	double longitude = site->config->longitude_deg;
	int32_t offset_s = isfinite(longitude) ? (int32_t)lround(longitude * 240.0)
					       : site_local_offset_s(site, 1735689600);

	if (wt_room_series_new(offset_s, &series) != WT_OK)
		abort();
	return series;
}

size_t site_room_find(const struct wt_site *site, const char *name)
{
	for (size_t i = 0; name && i < site->n_rooms; i++) {
		if (!strcmp(site->rooms[i].name, name))
			return i;
	}
	return SIZE_MAX;
}

static size_t room_add(struct wt_site *site, const char *name)
{
	size_t found = site_room_find(site, name);

	if (found != SIZE_MAX)
		return found;
	site_grow(&site->rooms, site->n_rooms, &site->cap_rooms, sizeof(*site->rooms));
	site->rooms[site->n_rooms] = (struct site_room){
		.name = site_strdup(name), .series = site_series_wrap(new_series(site))};
	return site->n_rooms++;
}

size_t site_origin_find(const struct wt_site *site, const char *name, bool add)
{
	struct wt_site *it = (struct wt_site *)(uintptr_t)site;

	for (size_t i = 0; i < site->n_origins; i++) {
		if (!strcmp(site->origins[i], name))
			return i;
	}
	if (!add)
		return SIZE_MAX;
	site_grow(&it->origins, it->n_origins, &it->cap_origins, sizeof(*it->origins));
	it->origins[it->n_origins] = site_strdup(name);
	return it->n_origins++;
}

struct site_load *site_load_get(const struct wt_site *site, double number)
{
	if (!(number >= 1.0) || number > (double)site->n_loads || number != floor(number))
		return NULL;
	struct site_load *load = &site->loads[(size_t)number - 1];
	return load->gone || !load->number ? NULL : load;
}

const struct wt_config_style *site_style(const struct wt_site *site, const char *name,
					 struct wt_config_style *out)
{
	for (size_t i = 0; i < site->config->n_styles; i++) {
		if (strcmp(site->config->styles[i].name, name))
			continue;
		*out = site->config->styles[i];
		for (size_t k = 0; k < site->n_shifts; k++) {
			if (!strcmp(site->shifts[k].style, name))
				out->ready_from_loss_pct = site->shifts[k].ready_from_loss_pct;
		}
		return out;
	}
	return NULL;
}

static size_t station_add(struct wt_site *site, const char *name)
{
	for (size_t i = 0; i < site->n_stations; i++) {
		if (!strcmp(site->stations[i].name, name))
			return i;
	}
	site_grow(&site->stations, site->n_stations, &site->cap_stations, sizeof(*site->stations));
	site->stations[site->n_stations] = (struct site_station){.name = site_strdup(name)};
	return site->n_stations++;
}

static void scale_add(struct wt_site *site, const char *name)
{
	for (size_t i = 0; i < site->n_scales; i++) {
		if (!strcmp(site->scales[i].name, name))
			return;
	}
	site_grow(&site->scales, site->n_scales, &site->cap_scales, sizeof(*site->scales));
	site->scales[site->n_scales++] = (struct site_scale){.name = site_strdup(name)};
}

void wt_site_reconfigure(struct wt_site *site, const struct wt_config *config)
{
	site->config = config;
	site->generation++;
	if (wt_air_pressure_pa(config->altitude_m, &site->pressure_pa) != WT_OK)
		site->pressure_pa = 101325.0;
	for (size_t i = 0; i < site->n_rooms; i++)
		site->rooms[i].configured = false;
	for (size_t i = 0; i < config->n_rooms; i++) {
		size_t room = room_add(site, config->rooms[i].name);
		site->rooms[room].configured = true;
	}
	for (size_t i = 0; i < site->n_stations; i++)
		site->stations[i].configured = false;
	free(site->station_of_config);
	site->station_of_config = site_alloc((config->n_stations + 1) * sizeof(size_t));
	for (size_t i = 0; i < config->n_stations; i++) {
		size_t index = station_add(site, config->stations[i].name);
		struct site_station *station = &site->stations[index];
		station->configured = true;
		station->config = i;
		station->room = site_room_find(site, config->rooms[config->stations[i].room].name);
		site->station_of_config[i] = index;
	}
	for (size_t i = 0; i < config->n_scales; i++)
		scale_add(site, config->scales[i].name);
	/* Offsets may have changed. */
	for (size_t i = 0; i < site->n_rooms; i++) {
		if (site->rooms[i].newest_unix_s)
			site_room_rebuild(site, i);
	}
}

struct wt_site *wt_site_new(const struct wt_config *config)
{
	struct wt_site *site = site_alloc(sizeof(*site));

	site->config = config;
	site->closings_out = json_array();
	wt_site_reconfigure(site, config);
	return site;
}

static void free_rooms_and_stations(struct wt_site *site)
{
	for (size_t i = 0; i < site->n_rooms; i++) {
		free(site->rooms[i].name);
		site_drop(&site->rooms[i].series);
		site_drop(&site->rooms[i].fit);
	}
	for (size_t i = 0; i < site->n_stations; i++) {
		free(site->stations[i].name);
		free(site->stations[i].raws);
		free(site->stations[i].salts);
	}
	for (size_t i = 0; i < site->n_scales; i++) {
		free(site->scales[i].name);
		free(site->scales[i].readings);
	}
	free(site->rooms);
	free(site->stations);
	free(site->scales);
	free(site->station_of_config);
}

void wt_site_free(struct wt_site **address)
{
	struct wt_site *site = *address;

	if (!site)
		return;
	*address = NULL;
	wt_job_free(&site->forecast);
	free_rooms_and_stations(site);
	for (size_t i = 0; i < site->n_origins; i++)
		free(site->origins[i]);
	for (size_t i = 0; i < site->n_loads; i++)
		site_load_clear(&site->loads[i]);
	for (size_t i = 0; i < site->n_acts; i++) {
		free(site->acts[i].method);
		free(site->acts[i].params);
	}
	for (size_t i = 0; i < site->n_shifts; i++)
		free(site->shifts[i].style);
	free(site->origins);
	free(site->loads);
	free(site->acts);
	free(site->shifts);
	site_closing_forget(site);
	json_decref(site->closings_out);
	for (size_t i = 0; i < site->n_outlooks; i++)
		site_outlook_clear(&site->outlooks[i]);
	free(site->outlooks);
	free(site);
}

uint64_t wt_site_generation(const struct wt_site *site)
{
	return site->generation;
}

/* --- readings -------------------------------------------------------------------------------- */

/* How much a doubted reading counts: our choice. */
static double reading_weight(unsigned flags)
{
	double weight = 1.0;

	if (flags & WT_FLAG_STUCK)
		weight *= 0.1;
	if (flags & WT_FLAG_JUMP)
		weight *= 0.3;
	if (flags & WT_FLAG_RETAINED)
		weight *= 0.2;
	if (flags & (WT_FLAG_SATURATED | WT_FLAG_RH_CLAMPED))
		weight *= 0.7;
	if (flags & WT_FLAG_CLOCK_UNSURE)
		weight *= 0.5;
	return weight;
}

double site_station_temp_c(const struct wt_site *site, const struct site_station *station,
			   double temp_c)
{
	return station->configured ? temp_c + site->config->stations[station->config].temp_offset_c
				   : temp_c;
}

static double salt_corrected_pct(const struct site_station *station, double rh_pct)
{
	double gain, offset;

	return site_jar_line(station, &gain, &offset) ? gain * rh_pct + offset : rh_pct;
}

static bool in_jar(const struct site_station *station, int64_t at_unix_s)
{
	for (size_t i = 0; i < station->n_salts; i++) {
		if (at_unix_s >= station->salts[i].jar_from_unix_s &&
		    at_unix_s <= station->salts[i].at_unix_s)
			return true;
	}
	return false;
}

double site_station_rh_pct(const struct wt_site *site, const struct site_station *station,
			   double rh_pct)
{
	double rh = salt_corrected_pct(station, rh_pct);

	if (station->configured)
		rh += site->config->stations[station->config].rh_offset_pct;
	return rh < 1.0 ? 1.0 : rh > 100.0 ? 100.0 : rh;
}

struct wt_room_series *site_room_writable(struct site_room *room)
{
	if (atomic_load(&room->series->shared.count) > 1) {
		struct wt_room_series *copy = NULL;
		if (wt_room_series_copy(room->series->series, &copy) != WT_OK)
			abort();
		site_drop(&room->series);
		room->series = site_series_wrap(copy);
	}
	return room->series->series;
}

static void series_add(struct wt_site *site, struct site_station *station,
		       const struct site_raw *raw)
{
	struct site_room *room = &site->rooms[station->room];

	if (in_jar(station, raw->at_unix_s))
		return;
	/* Refused when older than the series keeps: it could not matter any more. */
	enum wt_status status = wt_room_series_add(
		site_room_writable(room), raw->at_unix_s,
		site_station_temp_c(site, station, (double)raw->temp_c),
		site_station_rh_pct(site, station, (double)raw->rh_pct), (double)raw->weight);

	if (status != WT_OK)
		return;
	if (raw->at_unix_s > room->newest_unix_s)
		room->newest_unix_s = raw->at_unix_s;
	if (room->fit && raw->at_unix_s <= room->fit->upto_unix_s) {
		room->epoch++;
		site_drop(&room->fit);
	}
}

void site_room_rebuild(struct wt_site *site, size_t index)
{
	struct site_room *room = &site->rooms[index];

	site_drop(&room->series);
	site_drop(&room->fit);
	room->epoch++;
	room->series = site_series_wrap(new_series(site));
	site_outlooks_into(site, room->series->series);
	for (size_t i = 0; i < site->n_stations; i++) {
		struct site_station *station = &site->stations[i];
		if (!station->configured || station->room != index)
			continue;
		for (size_t k = 0; k < station->n_raws; k++)
			series_add(site, station, &station->raws[k]);
	}
}

int64_t site_room_first_unix_s(const struct wt_site *site, size_t room)
{
	int64_t first_ms = 0;

	for (size_t i = 0; i < site->n_stations; i++) {
		const struct site_station *station = &site->stations[i];
		if (station->configured && station->room == room && station->first_unix_ms &&
		    (!first_ms || station->first_unix_ms < first_ms))
			first_ms = station->first_unix_ms;
	}
	return first_ms / 1000;
}

static void trim_raws(struct site_station *station, int64_t newest_unix_s)
{
	size_t old = 0;

	/* Only now and then: moving the rest costs as much as there is. */
	while (old < station->n_raws && station->raws[old].at_unix_s < newest_unix_s - RAW_KEEP_S)
		old++;
	if (old < 4096)
		return;
	station->n_raws -= old;
	memmove(station->raws, station->raws + old, station->n_raws * sizeof(*station->raws));
}

static uint32_t at_of(const struct wt_reading *reading)
{
	int64_t at_unix_s = reading->at_unix_ms / 1000;

	return at_unix_s < 0 ? 0 : at_unix_s > UINT32_MAX ? UINT32_MAX : (uint32_t)at_unix_s;
}

void wt_site_add_reading(struct wt_site *site, const struct wt_reading *reading)
{
	assert(reading->station < site->config->n_stations);
	struct site_station *station = &site->stations[site->station_of_config[reading->station]];

	if (!isfinite(reading->temp_c) || !isfinite(reading->rh_pct))
		return;
	site->generation++;
	station->n_readings++;
	if (reading->at_unix_ms >= station->last_unix_ms) {
		station->last_unix_ms = reading->at_unix_ms;
		station->last_temp_c = reading->temp_c;
		station->last_rh_pct = reading->rh_pct;
		station->last_flags = reading->flags;
	}
	if (!station->first_unix_ms || reading->at_unix_ms < station->first_unix_ms)
		station->first_unix_ms = reading->at_unix_ms;
	struct site_raw raw = {.at_unix_s = at_of(reading),
			       .temp_c = (float)reading->temp_c,
			       .rh_pct = (float)reading->rh_pct,
			       .weight = (float)reading_weight(reading->flags)};
	site_grow(&station->raws, station->n_raws, &station->cap_raws, sizeof(raw));
	station->raws[station->n_raws++] = raw;
	trim_raws(station, station->last_unix_ms / 1000);
	series_add(site, station, &raw);
}

void wt_site_add_scale_reading(struct wt_site *site, size_t index, int64_t at_unix_ms, double kg)
{
	assert(index < site->config->n_scales);
	struct site_scale *scale = NULL;

	for (size_t i = 0; i < site->n_scales && !scale; i++) {
		if (!strcmp(site->scales[i].name, site->config->scales[index].name))
			scale = &site->scales[i];
	}
	if (!scale || !isfinite(kg))
		return;
	site->generation++;
	site_grow(&scale->readings, scale->n, &scale->cap, sizeof(*scale->readings));
	/* Kept in order of time; a late one finds its place. */
	size_t at = scale->n++;
	for (; at > 0 && scale->readings[at - 1].at_unix_s > at_unix_ms / 1000; at--)
		scale->readings[at] = scale->readings[at - 1];
	scale->readings[at] = (struct site_cell_reading){at_unix_ms / 1000, kg};
	size_t old = 0;
	while (old < scale->n && scale->readings[old].at_unix_s < at_unix_ms / 1000 - CELL_KEEP_S)
		old++;
	if (old >= 4096) {
		scale->n -= old;
		memmove(scale->readings, scale->readings + old,
			scale->n * sizeof(*scale->readings));
	}
}
