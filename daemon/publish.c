/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "daemon/publish.h"

#include <stdbool.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "lib/wire/text.h"

struct wt_publish {
	const char *prefix, *discovery; /* discovery NULL: dashboards are told nothing */
	json_t *loads;                  /* numbers published and not emptied */
	json_t *told;                   /* topics of discovery that were sent */
};

struct wt_publish *wt_publish_new(const char *prefix, const char *discovery)
{
	struct wt_publish *publish = calloc(1, sizeof *publish);
	if (publish)
		*publish = (struct wt_publish){.prefix = prefix,
					       .discovery = discovery,
					       .loads = json_object(),
					       .told = json_object()};
	return publish;
}

void wt_publish_free(struct wt_publish **publish)
{
	if (!*publish)
		return;
	json_decref((*publish)->loads);
	json_decref((*publish)->told);
	free(*publish);
	*publish = NULL;
}

/* document NULL empties the topic. */
static void post(struct wt_publish *publish, struct wt_feed *feed, const char *what,
		 const char *name, const json_t *document)
{
	char *topic = NULL;
	char *text = document ? json_dumps(document, JSON_COMPACT | JSON_REAL_PRECISION(10)) : NULL;
	if (asprintf(&topic, "%s/%s%s%s", publish->prefix, what, name ? "/" : "",
		     name ? name : "") >= 0 &&
	    (text || !document)) {
		/* A room's name may hold what a topic must not. */
		for (char *c = topic + strlen(publish->prefix) + 1 + strlen(what) + (name != NULL);
		     *c; c++)
			if (*c == '/' || *c == '+' || *c == '#')
				*c = '_';
		wt_feed_publish(feed, topic, text ? text : "");
		free(topic);
	}
	free(text);
}

/* What a dashboard may show of a room or a load.  Jinja templates of the receiving side, which puts
 * the state topic's document into value_json. */
struct shown {
	const char *key, *name, *template, *unit, *class;
};
static const struct shown of_room[] = {
	{"temperature", "temperature", "{{ value_json.temp_c }}",
	 "\xc2\xb0"
	 "C",
	 "temperature"},
	{"humidity", "humidity", "{{ value_json.rh_pct }}", "%", "humidity"},
	{"vpd", "drying power", "{{ value_json.vpd_kpa }}", "kPa", NULL},
};
static const struct shown of_load[] = {
	{"call", "call", "{{ value_json.call }}", NULL, NULL},
	{"loss", "loss", "{{ value_json.loss_pct.p50 }}", "%", NULL},
	{"ready", "ready",
	 "{% if value_json.ready_unix_s.p50 %}"
	 "{{ (value_json.ready_unix_s.p50 | as_datetime).isoformat() }}{% endif %}",
	 NULL, "timestamp"},
};

/* A name as part of a topic and of an id: letters, digits, '_' and '-' only, and a mark of what the
 * name was where that loses something (FNV-1a, public domain, from memory). */
static void plain_name(const char *name, char *out, size_t size)
{
	size_t used = 0;
	uint32_t mark = UINT32_C(2166136261);
	bool lost = false;

	for (; *name && used + 12 < size; name++) {
		char c = *name;
		bool fine = (c >= 'a' && c <= 'z') || (c >= 'A' && c <= 'Z') ||
			    (c >= '0' && c <= '9') || c == '-';
		mark = (mark ^ (unsigned char)c) * UINT32_C(16777619);
		lost |= !fine;
		out[used++] = fine ? c : '_';
	}
	out[used] = '\0';
	if (lost || *name)
		(void)snprintf(out + used, size - used, "_%08x", (unsigned)mark);
}

/* One retained document for each thing shown, sent once; gone: emptied. */
static void discover(struct wt_publish *publish, struct wt_feed *feed, const char *what,
		     const char *name, const char *title, const struct shown *shown, size_t n,
		     bool gone)
{
	char safe[64], id[160], topic[300], state[300], label[200];

	plain_name(name, safe, sizeof safe);
	for (size_t i = 0; publish->discovery && i < n; i++) {
		(void)snprintf(id, sizeof id, "wither_%s_%s_%s", what, safe, shown[i].key);
		(void)snprintf(topic, sizeof topic, "%s/sensor/%s/config", publish->discovery, id);
		if (gone) {
			wt_feed_publish(feed, topic, "");
			json_object_del(publish->told, topic);
			continue;
		}
		if (json_object_get(publish->told, topic))
			continue;
		(void)snprintf(state, sizeof state, "%s/%s/%s", publish->prefix, what, name);
		for (char *c = state + strlen(publish->prefix) + strlen(what) + 2; *c; c++)
			if (*c == '/' || *c == '+' || *c == '#')
				*c = '_';
		wt_text_clean(title, strlen(title), label, 120);
		(void)snprintf(label + strlen(label), sizeof label - strlen(label), " %s",
			       shown[i].name);
		json_t *document = json_pack(
			"{s:s,s:s,s:s,s:s,s:s*,s:s*,s:{s:[s],s:s}}", "name", label, "unique_id", id,
			"state_topic", state, "value_template", shown[i].template,
			"unit_of_measurement", shown[i].unit, "device_class", shown[i].class,
			"device", "identifiers", "wither", "name", "wither");
		char *text = document ? json_dumps(document, JSON_COMPACT) : NULL;
		if (text) {
			wt_feed_publish(feed, topic, text);
			json_object_set_new(publish->told, topic, json_true());
		}
		free(text);
		json_decref(document);
	}
}

static void discover_load(struct wt_publish *publish, struct wt_feed *feed, const char *number,
			  const json_t *row)
{
	const char *origin = json_string_value(json_object_get(row, "origin"));
	char title[300]; /* a garden's name has at most 60 characters */

	(void)snprintf(title, sizeof title, "load %s %s", number, origin ? origin : "");
	discover(publish, feed, "load", number, title, of_load, sizeof of_load / sizeof *of_load,
		 row == NULL);
}

void wt_publish_tonight(struct wt_publish *publish, struct wt_feed *feed, const json_t *tonight)
{
	json_t *open = json_object(), *row;
	const char *number;
	size_t index;
	post(publish, feed, "tonight", NULL, tonight);
	json_array_foreach(json_object_get(tonight, "rooms"), index, row)
	{
		const char *name = json_string_value(json_object_get(row, "name"));
		if (!name)
			continue;
		post(publish, feed, "air", name, row);
		discover(publish, feed, "air", name, name, of_room,
			 sizeof of_room / sizeof *of_room, false);
	}
	json_array_foreach(json_object_get(tonight, "loads"), index, row)
	{
		char text[32];
		snprintf(text, sizeof text, "%lld",
			 (long long)json_integer_value(json_object_get(row, "load")));
		post(publish, feed, "load", text, row);
		discover_load(publish, feed, text, row);
		json_object_set_new(open, text, json_true());
		json_object_del(publish->loads, text);
	}
	json_object_foreach(publish->loads, number, row)
	{
		post(publish, feed, "load", number, NULL);
		discover_load(publish, feed, number, NULL);
	}
	json_decref(publish->loads);
	publish->loads = open;
}
