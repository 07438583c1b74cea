/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "daemon/listen.h"

#include <stdlib.h>
#include <string.h>
#include <time.h>
#include <unistd.h>

#include "daemon/feed.h"
#include "lib/wire/propose.h"

static const double patience_s = 600;

struct wt_listen {
	char *filter;
	struct wt_config config; /* the daemon's, with this one station */
	struct wt_config_station station;
	struct wt_feed *feed;
	struct wt_propose *heard;
	double asked_at_s;
	bool ending;
};

static void on_arrived(void *context)
{
	struct wt_listen *listen = context;
	struct wt_message message;
	bool must_commit;

	/* Nothing is kept of it, so the sender need not wait. */
	while (listen->feed && wt_feed_take(listen->feed, &message, &must_commit))
		wt_propose_add(listen->heard, message.topic, message.payload, message.length);
	if (listen->feed)
		wt_feed_done(listen->feed, wt_feed_mark(listen->feed));
}

static void on_subscribed(void *context)
{
	(void)context;
}

static void drop(struct wt_listen *listen)
{
	wt_feed_free(&listen->feed);
	wt_propose_free(&listen->heard);
	free(listen->filter);
	free(listen);
}

static void end(struct wt_listen *listen)
{
	if (!listen->ending)
		wt_feed_stop(listen->feed);
	listen->ending = true;
}

static struct wt_listen *begin(struct event_base *base, const struct wt_config *config,
			       const char *filter, struct wt_refusal *refusal)
{
	struct wt_listen *listen = calloc(1, sizeof *listen);
	struct wt_feed_setup setup = {.base = base,
				      .passing = true,
				      .arrived = on_arrived,
				      .subscribed = on_subscribed,
				      .context = listen};
	char client_id[40], why[300] = "out of memory";

	/* Never the feed's own id: the broker would push the feed out. */
	(void)snprintf(client_id, sizeof client_id, "witherd-listen-%ld", (long)getpid());
	if (listen) {
		listen->filter = strdup(filter);
		listen->heard = wt_propose_new();
		listen->config = *config;
		listen->station.rule.temp_topic = listen->station.rule.rh_topic = listen->filter;
		listen->config.stations = &listen->station;
		listen->config.n_stations = 1;
		listen->config.n_scales = 0;
		setup.config = &listen->config;
		setup.client_id = client_id;
		if (listen->filter && listen->heard)
			listen->feed = wt_feed_new(&setup, why, sizeof why);
	}
	if (listen && listen->feed)
		return listen;
	wt_rpc_refuse(refusal, WT_RPC_REFUSED, "cannot listen: %s", why);
	if (listen)
		drop(listen);
	return NULL;
}

json_t *wt_listen_ask(struct wt_listen **listen, struct event_base *base,
		      const struct wt_config *config, const char *filter, double now_monotonic_s,
		      struct wt_refusal *refusal)
{
	json_t *document;

	if (!wt_payload_filter_valid(filter)) {
		wt_rpc_refuse_param(refusal, "learn", filter,
				    "an MQTT topic or filter ('+' and '#' fill whole levels)");
		return NULL;
	}
	if (*listen && ((*listen)->ending || strcmp((*listen)->filter, filter) != 0)) {
		end(*listen);
		wt_listen_beat(listen, now_monotonic_s);
	}
	if (*listen && (*listen)->ending) {
		wt_rpc_refuse(refusal, WT_RPC_TRY_AGAIN,
			      "still taking leave of '%s'; ask again in a moment",
			      (*listen)->filter);
		return NULL;
	}
	if (!*listen)
		*listen = begin(base, config, filter, refusal);
	if (!*listen)
		return NULL;
	(*listen)->asked_at_s = now_monotonic_s;
	document = wt_propose_document((*listen)->heard);
	if (!document)
		wt_rpc_refuse(refusal, WT_RPC_FAULT, "out of memory");
	return document;
}

void wt_listen_beat(struct wt_listen **listen, double now_monotonic_s)
{
	if (!*listen)
		return;
	if (now_monotonic_s - (*listen)->asked_at_s > patience_s)
		end(*listen);
	if (!(*listen)->ending)
		return;
	on_arrived(*listen);
	if (wt_feed_wait((*listen)->feed, 0))
		return;
	drop(*listen);
	*listen = NULL;
}

void wt_listen_free(struct wt_listen **listen)
{
	if (!*listen)
		return;
	end(*listen);
	for (int i = 0; i < 40 && wt_feed_wait((*listen)->feed, 50); i++)
		on_arrived(*listen);
	drop(*listen);
	*listen = NULL;
}
