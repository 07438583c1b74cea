/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * What the leaf became, and what it cost.
 */
#include <math.h>
#include <string.h>

#include "daemon/site_query.h"
#include "lib/ledger.h"

/* The loads of one origin and season. */
struct group {
	size_t origin;
	enum wt_season season;
	struct wt_ledger_entry *entries;
	size_t n, cap;
};

static struct wt_ledger_entry entry_of(const struct site_load *load)
{
	return (struct wt_ledger_entry){
		.fresh_kg = load->kg,
		.made_kg = load->made_kg,
		.yellow_kg = load->yellow_kg,
		.price_per_kg = load->price,
		.loss_pct = load->closing ? load->closing->loss_closed_pct : NAN,
		.hours = (double)(load->closed_unix_s - load->spread_unix_s) / SITE_HOUR_S};
}

static json_t *note_of(enum wt_ledger_note note)
{
	if (note == WT_LEDGER_TOO_MUCH_TEA)
		return site_note("outturn_high",
				 "more tea than the leaf had dry matter for: check both weights");
	if (note == WT_LEDGER_TOO_LITTLE_TEA)
		return site_note("outturn_low",
				 "much was lost on the way, or a part was not weighed");
	return json_null();
}

static json_t *row_of(const struct wt_site *site, const struct site_load *load,
		      const struct wt_ledger_sum *sum)
{
	return json_pack("{s:i,s:s,s:s,s:f,s:I,s:o,s:o,s:o,s:o,s:o,s:o,s:o}", "load", load->number,
			 "origin", site->origins[load->origin], "season",
			 wt_words_text(WT_WORDS_SEASON, (int)load->season), "kg", load->kg,
			 "fixed_unix_s", (json_int_t)load->closed_unix_s, "loss_pct",
			 site_number(sum->loss_pct), "hours", site_number(sum->hours), "made_kg",
			 site_number(load->made_kg), "yellow_pct", site_number(sum->yellow_pct),
			 "outturn", site_number(sum->outturn), "cost_per_kg",
			 site_number(sum->cost_per_kg), "note", note_of(sum->note));
}

static void add_to_group(struct group *groups, size_t *n, const struct site_load *load,
			 const struct wt_ledger_entry *entry)
{
	size_t i = 0;

	while (i < *n && (groups[i].origin != load->origin || groups[i].season != load->season))
		i++;
	if (i == *n)
		groups[(*n)++] = (struct group){.origin = load->origin, .season = load->season};
	site_grow(&groups[i].entries, groups[i].n, &groups[i].cap, sizeof(*entry));
	groups[i].entries[groups[i].n++] = *entry;
}

static json_t *group_row(const struct wt_site *site, const struct group *group)
{
	struct wt_ledger_sum sum;

	if (wt_ledger_total(group->entries, group->n, &sum) != WT_OK)
		return NULL;
	return json_pack("{s:s,s:s,s:i,s:o,s:o,s:o,s:o,s:o}", "origin",
			 site->origins[group->origin], "season",
			 wt_words_text(WT_WORDS_SEASON, (int)group->season), "n", (int)sum.n,
			 "outturn", site_number(sum.outturn), "yellow_pct",
			 site_number(sum.yellow_pct), "cost_per_kg", site_number(sum.cost_per_kg),
			 "loss_pct", site_number(sum.loss_pct), "hours", site_number(sum.hours));
}

json_t *site_query_ledger(const struct wt_site *site, int64_t now_unix_s)
{
	json_t *document = site_document(site, now_unix_s), *rows = json_array(),
	       *sums = json_array();
	struct group *groups = site_alloc((site->n_loads + 1) * sizeof(*groups));
	size_t n = 0;

	for (size_t i = 0; i < site->n_loads; i++) {
		const struct site_load *load = &site->loads[i];
		struct wt_ledger_sum sum;
		if (load->gone || load->state != SITE_FIXED)
			continue;
		struct wt_ledger_entry entry = entry_of(load);
		if (wt_ledger_reckon(&entry, &sum) != WT_OK)
			continue;
		json_array_append_new(rows, row_of(site, load, &sum));
		add_to_group(groups, &n, load, &entry);
	}
	for (size_t i = 0; i < n; i++) {
		json_t *row = group_row(site, &groups[i]);
		if (row)
			json_array_append_new(sums, row);
		free(groups[i].entries);
	}
	json_object_set_new(document, "rows", rows);
	json_object_set_new(document, "groups", sums);
	free(groups);
	return document;
}
