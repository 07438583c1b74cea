/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * Taking in: messages as they come, and what the store kept from earlier runs.
 */
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "daemon/engine_inner.h"
#include "daemon/log.h"
#include "lib/wire/outlook_doc.h"

/* The room's history goes back 40 days; older readings teach nothing any more. */
#define RESTORE_DAYS 41
#define DAY_MS INT64_C(86400000)

static void remember_packet(struct wt_engine *engine, int64_t packet)
{
	if (packet != 0)
		engine->packets[engine->n_packets++ % WT_ENGINE_PACKETS] = packet;
}

static bool known_packet(const struct wt_engine *engine, int64_t packet)
{
	size_t n = engine->n_packets < WT_ENGINE_PACKETS ? engine->n_packets : WT_ENGINE_PACKETS;
	for (size_t i = 0; i < n; i++)
		if (engine->packets[i] == packet)
			return true;
	return false;
}

json_t *wt_engine_outlook_columns(const json_t *document, char *why, size_t why_size)
{
	struct wt_outlook_doc *doc = malloc(sizeof *doc);
	json_t *time = json_array(), *temp = json_array(), *rh = json_array();
	json_t *columns = NULL;
	if (!doc || !time || !temp || !rh) {
		snprintf(why, why_size, "out of memory");
		goto out;
	}
	if (!wt_outlook_doc_parse(document, doc, why, why_size))
		goto out;
	for (size_t i = 0; i < doc->n; i++) {
		json_array_append_new(time, json_integer(doc->at_unix_s[i]));
		json_array_append_new(temp, json_real(doc->temp_c[i]));
		json_array_append_new(rh, json_real(doc->rh_pct[i]));
	}
	columns = json_pack("{s:{s:O,s:O,s:O}}", "hourly", "time", time, "temperature_2m", temp,
			    "relative_humidity_2m", rh);
out:
	json_decref(time);
	json_decref(temp);
	json_decref(rh);
	free(doc);
	return columns;
}

static void note_values(struct wt_engine_station *seen, const struct wt_payload_values *values,
			int64_t at_unix_ms)
{
	enum wt_payload_fault fault = WT_PAYLOAD_FINE;
	seen->messages++;
	if (isfinite(values->battery))
		seen->battery = values->battery;
	/* A message that carries one quantity leaves the other to another message. */
	if (values->temp_fault != WT_PAYLOAD_FINE && values->temp_fault != WT_PAYLOAD_OTHER &&
	    values->temp_fault != WT_PAYLOAD_ABSENT)
		fault = values->temp_fault;
	else if (values->rh_fault != WT_PAYLOAD_FINE && values->rh_fault != WT_PAYLOAD_OTHER &&
		 values->rh_fault != WT_PAYLOAD_ABSENT)
		fault = values->rh_fault;
	else if (values->time_fault != WT_PAYLOAD_FINE && values->time_fault != WT_PAYLOAD_OTHER &&
		 values->time_fault != WT_PAYLOAD_ABSENT)
		fault = values->time_fault;
	else if (!isfinite(values->temp_c) && !isfinite(values->rh_pct))
		fault = values->temp_fault != WT_PAYLOAD_OTHER ? values->temp_fault
							       : values->rh_fault;
	if (fault == WT_PAYLOAD_FINE) {
		seen->fine_unix_ms = at_unix_ms;
		return;
	}
	seen->fault = fault;
	seen->fault_unix_ms = at_unix_ms;
	memcpy(seen->quoted, values->quoted, sizeof seen->quoted);
}

/* Half a reading is kept too, so that an acknowledged one outlives a power cut. */
static void keep_half(struct wt_engine *engine, size_t station, int64_t packet)
{
	const struct wt_pair *pair = &engine->pairs[station];
	const char *name = engine->setup.config->stations[station].name;
	char *value_name = NULL;
	if (asprintf(&value_name, "half:%s", name) < 0)
		return;
	json_t *half = json_object();
	if (!pair->temp.used && isfinite(pair->temp.value))
		json_object_set_new(half, "temp",
				    json_pack("[f,I,i]", pair->temp.value,
					      (json_int_t)pair->temp.at_unix_ms,
					      (int)pair->temp.flags));
	if (!pair->rh.used && isfinite(pair->rh.value))
		json_object_set_new(half, "rh",
				    json_pack("[f,I,i]", pair->rh.value,
					      (json_int_t)pair->rh.at_unix_ms,
					      (int)pair->rh.flags));
	json_object_set_new(half, "packet", json_integer(packet));
	char *text = json_dumps(half, JSON_COMPACT | JSON_REAL_PRECISION(17));
	json_decref(half);
	struct wt_row row = {.kind = WT_ROW_VALUE, .name = value_name, .text = text};
	wt_engine_put(engine, &row);
}

static void take_reading(struct wt_engine *engine, size_t station,
			 const struct wt_pair_reading *paired, const struct wt_message *message)
{
	const struct wt_config_station *config = &engine->setup.config->stations[station];
	struct wt_reading reading = {
		.station = station,
		.at_unix_ms = paired->at_unix_ms,
		.received_unix_ms = message->at_unix_ms,
		.temp_c = paired->temp_c,
		.rh_pct = paired->rh_pct,
		.flags = paired->flags,
	};
	if (!engine->setup.replay && message->at_unix_ms < WT_CLOCK_FLOOR_UNIX_MS)
		reading.flags |= WT_FLAG_CLOCK_UNSURE;
	if (!wt_seen_add(engine->seen, &reading))
		return;
	struct wt_row row = {
		.kind = WT_ROW_READING,
		.name = strdup(config->name),
		.room = strdup(engine->setup.config->rooms[config->room].name),
		.reading = reading,
		.packet = message->packet,
	};
	wt_engine_put(engine, &row);
	/* Kept, and put in its place when the clock has been set. */
	if (reading.flags & WT_FLAG_CLOCK_UNSURE)
		return;
	engine->any_input = true;
	engine->last_input_unix_ms = message->at_unix_ms;
	wt_site_add_reading(engine->site, &reading);
}

/* True when the message was meant for the station. */
static bool take_for_station(struct wt_engine *engine, size_t station,
			     const struct wt_message *message)
{
	const struct wt_config_station *config = &engine->setup.config->stations[station];
	const struct wt_payload_rule *rule = &config->rule;
	struct wt_payload_values values;
	struct wt_pair_reading paired;
	if (!(rule->temp_topic && wt_payload_topic_matches(rule->temp_topic, message->topic)) &&
	    !(rule->rh_topic && wt_payload_topic_matches(rule->rh_topic, message->topic)))
		return false;
	wt_payload_read(rule, message->topic, message->payload, message->length, message->retained,
			(double)message->at_unix_ms / 1000.0, &values);
	if (values.temp_fault == WT_PAYLOAD_OTHER && values.rh_fault == WT_PAYLOAD_OTHER)
		return false;
	note_values(&engine->stations[station], &values, message->at_unix_ms);
	if (wt_pair_add(&engine->pairs[station], &values, message->at_unix_ms, &paired))
		take_reading(engine, station, &paired, message);
	else if (!message->retained && isfinite(values.temp_c) != isfinite(values.rh_pct))
		keep_half(engine, station, message->packet);
	return true;
}

static bool take_for_scale(struct wt_engine *engine, size_t scale, const struct wt_message *message)
{
	const struct wt_config_scale *config = &engine->setup.config->scales[scale];
	double value;
	char quoted[64];
	if (!wt_payload_topic_matches(config->topic, message->topic))
		return false;
	if (message->retained ||
	    wt_payload_number(config->pointer, message->payload, message->length, &value, quoted) !=
		    WT_PAYLOAD_FINE)
		return true;
	double kg = value * config->kg_per_unit - config->tare_kg;
	struct wt_row row = {.kind = WT_ROW_SCALE,
			     .name = strdup(config->name),
			     .at = message->at_unix_ms,
			     .kg = kg};
	wt_engine_put(engine, &row);
	wt_site_add_scale_reading(engine->site, scale, message->at_unix_ms, kg);
	return true;
}

void wt_engine_message(struct wt_engine *engine, const struct wt_message *arrived)
{
	bool meant = false;
	struct wt_message placed = *arrived;
	const struct wt_message *message = &placed;
	placed.at_unix_ms = wt_engine_in_order(engine, arrived->at_unix_ms);
	wt_engine_advance(engine, message->at_unix_ms);
	if (message->resent && message->packet != 0 && known_packet(engine, message->packet))
		return;
	for (size_t i = 0; i < engine->setup.config->n_stations; i++)
		meant |= take_for_station(engine, i, message);
	for (size_t i = 0; i < engine->setup.config->n_scales; i++)
		meant |= take_for_scale(engine, i, message);
	remember_packet(engine, message->packet);
	if (meant)
		wt_engine_note_message(engine, message);
}

/* --- restoring ---------------------------------------------------------------------------- */

static size_t find_station(const struct wt_config *config, const char *name)
{
	size_t i = 0;
	while (i < config->n_stations && strcmp(config->stations[i].name, name) != 0)
		i++;
	return i;
}

static bool restore_reading(void *context, const char *station, const char *room,
			    const struct wt_reading *stored)
{
	struct wt_engine *engine = context;
	struct wt_reading reading = *stored;
	struct wt_pair_reading paired;
	(void)room;
	reading.station = find_station(engine->setup.config, station);
	if (reading.station >= engine->setup.config->n_stations ||
	    (reading.flags & WT_FLAG_CLOCK_UNSURE))
		return true;
	struct wt_payload_values values = {
		.temp_c = reading.temp_c,
		.rh_pct = reading.rh_pct,
		.battery = NAN,
		.source_unix_s = reading.at_unix_ms == reading.received_unix_ms
					 ? (double)NAN
					 : (double)reading.at_unix_ms / 1000.0,
	};
	/* Only to bring the pair's memory of the last readings back. */
	(void)wt_pair_add(&engine->pairs[reading.station], &values, reading.received_unix_ms,
			  &paired);
	engine->stations[reading.station].fine_unix_ms = reading.received_unix_ms;
	(void)wt_seen_add(engine->seen, &reading);
	wt_site_add_reading(engine->site, &reading);
	engine->any_input = true;
	return true;
}

static bool restore_scale(void *context, const char *scale, int64_t at_unix_ms, double kg)
{
	struct wt_engine *engine = context;
	for (size_t i = 0; i < engine->setup.config->n_scales; i++)
		if (strcmp(engine->setup.config->scales[i].name, scale) == 0)
			wt_site_add_scale_reading(engine->site, i, at_unix_ms, kg);
	return true;
}

static bool restore_act(void *context, const struct wt_act *act)
{
	struct wt_engine *engine = context;
	wt_site_apply(engine->site, act);
	engine->any_input = true;
	return true;
}

static bool restore_closing(void *context, int64_t at_unix_s, const json_t *closing)
{
	struct wt_engine *engine = context;
	(void)at_unix_s;
	wt_site_add_closing(engine->site, closing);
	return true;
}

static bool restore_outlook(void *context, int64_t at_unix_s, const json_t *document)
{
	struct wt_engine *engine = context;
	char why[256];
	if (!wt_site_add_outlook(engine->site, document, at_unix_s, why, sizeof why))
		wt_log(WT_LOG_WARNING, "a stored outlook is not taken: %s", why);
	return true;
}

static void restore_one_half(struct wt_pair_half *half, const json_t *kept)
{
	if (json_array_size(kept) != 3)
		return;
	*half = (struct wt_pair_half){
		.value = json_number_value(json_array_get(kept, 0)),
		.at_unix_ms = json_integer_value(json_array_get(kept, 1)),
		.flags = (unsigned)json_integer_value(json_array_get(kept, 2)),
	};
}

static void restore_halves(struct wt_engine *engine)
{
	for (size_t i = 0; i < engine->setup.config->n_stations; i++) {
		char *name = NULL;
		if (asprintf(&name, "half:%s", engine->setup.config->stations[i].name) < 0)
			return;
		char *text = wt_store_get(engine->setup.store, name);
		json_t *half = text ? json_loads(text, 0, NULL) : NULL;
		struct wt_pair *pair = &engine->pairs[i];
		const json_t *temp = json_object_get(half, "temp"),
			     *rh = json_object_get(half, "rh");
		/* A half older than the newest reading went into it or missed its chance. */
		if (json_integer_value(json_array_get(temp, 1)) > pair->last_unix_ms)
			restore_one_half(&pair->temp, temp);
		if (json_integer_value(json_array_get(rh, 1)) > pair->last_unix_ms)
			restore_one_half(&pair->rh, rh);
		remember_packet(engine, json_integer_value(json_object_get(half, "packet")));
		json_decref(half);
		free(text);
		free(name);
	}
}

enum wt_store_result wt_engine_restore(struct wt_engine *engine, int64_t now_unix_ms)
{
	struct wt_store *store = engine->setup.store;
	/* Live, all counts: the clock may not have been set yet. */
	int64_t until_unix_ms = engine->setup.frozen ? now_unix_ms : INT64_MAX;
	const struct wt_store_span all = {INT64_MIN, until_unix_ms};
	const struct wt_store_span late = {now_unix_ms - RESTORE_DAYS * DAY_MS, until_unix_ms};
	int64_t packets[WT_ENGINE_PACKETS];
	enum wt_store_result result = wt_store_each_outlook(store, &late, restore_outlook, engine);
	if (result == WT_STORE_OK)
		result = wt_store_each_reading(store, &late, restore_reading, engine);
	if (result == WT_STORE_OK)
		result = wt_store_each_scale_reading(store, &late, restore_scale, engine);
	if (result == WT_STORE_OK)
		result = wt_store_each_act(store, &all, restore_act, engine);
	if (result == WT_STORE_OK)
		result = wt_store_each_closing(store, &all, restore_closing, engine);
	if (result != WT_STORE_OK)
		return result;
	restore_halves(engine);
	size_t n = wt_store_packets(store, packets, WT_ENGINE_PACKETS / 2);
	for (size_t i = 0; i < n; i++)
		remember_packet(engine, packets[i]);
	return WT_STORE_OK;
}
