/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * Questions that are answered from the site alone.
 */
#include "daemon/site_query.h"

static json_t *air(const struct wt_site *site, const struct site_value *room, int64_t now_unix_s,
		   struct wt_refusal *refusal)
{
	size_t index = 0;

	if (!site->config->n_rooms) {
		site_refuse(refusal, -32000, "room", "",
			    "no room is configured: add a [room NAME] section");
		return NULL;
	}
	index = site_room_find(site, site->config->rooms[room->given ? room->index : 0].name);
	if (!site->rooms[index].newest_unix_s) {
		site_refuse(refusal, -32001, "room", "", "no reading of the air of %s has come yet",
			    site->rooms[index].name);
		return NULL;
	}
	return site_query_air(site, index, now_unix_s);
}

/* Of each load what a screen's row holds: half of a long document, which a phone's answer waits
 * for. */
static json_t *brief(json_t *document)
{
	static const char *const kept[] = {"load",         "origin", "loss_pct",
					   "ready_unix_s", "call",   "p_call"};
	json_t *loads = json_object_get(document, "loads"), *row;
	size_t i;

	json_array_foreach(loads, i, row)
	{
		json_t *out = json_object();

		for (size_t k = 0; k < sizeof(kept) / sizeof(kept[0]); k++)
			json_object_set(out, kept[k], json_object_get(row, kept[k]));
		json_object_set_new(
			out, "reason",
			json_pack("{s:O*}", "code",
				  json_object_get(json_object_get(row, "reason"), "code")));
		json_array_set_new(loads, i, out);
	}
	return document;
}

static json_t *query(struct wt_site *site, const char *method, const json_t *params,
		     int64_t now_unix_s, struct wt_refusal *refusal)
{
	const struct site_verb_rule *verb = site_verb_find(method);
	struct site_value values[SITE_PARAMS_MAX];

	/* `style` without parameters shows the styles; it is an act with them. */
	if (verb == &site_verbs[SITE_STYLE]) {
		if (site_params_read(site, verb, params, now_unix_s, values, refusal))
			site_refuse(refusal, -32602, "ready-from", "",
				    "style needs ready-from (a loss in %%) or accept");
		if (json_object_size(params) > 0)
			return NULL;
		verb = &site_verbs[SITE_GARDENS];
	}
	if (!verb || verb->kind != SITE_VERB_QUERY) {
		site_refuse(refusal, -32601, "", method, "there is no method '%.60s'", method);
		return NULL;
	}
	if (!site_params_read(site, verb, params, now_unix_s, values, refusal))
		return NULL;
	switch (verb - site_verbs) {
	case SITE_TONIGHT:
		return site_value(verb, values, "brief")->number > 0.5
			       ? brief(site_query_tonight(site, now_unix_s))
			       : site_query_tonight(site, now_unix_s);
	case SITE_SHOW:
		return site_query_show(
			site, site_load_get(site, site_value(verb, values, "load")->number),
			now_unix_s);
	case SITE_LOADS:
		return site_query_loads(site, verb, values, now_unix_s);
	case SITE_AIR:
		return air(site, site_value(verb, values, "room"), now_unix_s, refusal);
	case SITE_PLAN:
		return site_query_plan(site, now_unix_s);
	case SITE_GARDENS:
		return site_query_gardens(site, now_unix_s);
	case SITE_LEDGER:
		return site_query_ledger(site, now_unix_s);
	case SITE_STATIONS:
		return site_query_stations(site, now_unix_s);
	default:
		return NULL;
	}
}

json_t *wt_site_query(struct wt_site *site, const char *method, const json_t *params,
		      int64_t now_unix_s, struct wt_refusal *refusal)
{
	return site_rounded(query(site, method, params, now_unix_s, refusal));
}
