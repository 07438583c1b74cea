/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "daemon/publish.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

struct wt_publish {
	const char *prefix;
	json_t *loads; /* numbers published and not emptied */
};

struct wt_publish *wt_publish_new(const char *prefix)
{
	struct wt_publish *publish = calloc(1, sizeof *publish);
	if (publish)
		*publish = (struct wt_publish){.prefix = prefix, .loads = json_object()};
	return publish;
}

void wt_publish_free(struct wt_publish **publish)
{
	if (!*publish)
		return;
	json_decref((*publish)->loads);
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

void wt_publish_tonight(struct wt_publish *publish, struct wt_feed *feed, const json_t *tonight)
{
	json_t *open = json_object(), *row;
	const char *number;
	size_t index;
	post(publish, feed, "tonight", NULL, tonight);
	json_array_foreach(json_object_get(tonight, "rooms"), index, row)
	{
		const char *name = json_string_value(json_object_get(row, "name"));
		if (name)
			post(publish, feed, "air", name, row);
	}
	json_array_foreach(json_object_get(tonight, "loads"), index, row)
	{
		char text[32];
		snprintf(text, sizeof text, "%lld",
			 (long long)json_integer_value(json_object_get(row, "load")));
		post(publish, feed, "load", text, row);
		json_object_set_new(open, text, json_true());
		json_object_del(publish->loads, text);
	}
	json_object_foreach(publish->loads, number, row)
	{
		post(publish, feed, "load", number, NULL);
	}
	json_decref(publish->loads);
	publish->loads = open;
}
