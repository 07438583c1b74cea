/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * What the leaf became, and what it cost.
 */
#include <math.h>
#include <string.h>

#include "daemon/site_query.h"

/* Made tea from fresh leaf, kg per kg, outside which a weight is doubted: leaf of 65 to 85 %
 * moisture made at 3 to 7 % (common practice, no source; 21.5 to 22.2 % is the Sri Lanka Tea
 * Board's circular of 1985). */
#define OUTTURN_LEAST 0.14
#define OUTTURN_MOST 0.38

struct sums {
	size_t origin;
	int season;
	int n, n_yellow, n_cost, n_loss;
	double outturn, yellow_pct, cost, loss_pct, hours;
};

struct figures {
	double outturn, yellow_pct, cost_per_kg, loss_pct, hours;
};

static double loss_at_fixing_pct(const struct site_load *load)
{
	const json_t *loss = json_object_get(load->closing, "loss_closed_pct");

	return json_is_number(loss) ? json_number_value(loss) : NAN;
}

static void figure(const struct site_load *load, struct figures *out)
{
	double sorted_kg = load->made_kg - (isfinite(load->yellow_kg) ? load->yellow_kg : 0.0);

	out->outturn = load->made_kg / load->kg;
	out->yellow_pct = load->made_kg > 0.0 ? 100.0 * load->yellow_kg / load->made_kg : NAN;
	/* All that was paid, over what can be sold. */
	out->cost_per_kg = sorted_kg > 0.0 ? load->price * load->kg / sorted_kg : NAN;
	out->loss_pct = loss_at_fixing_pct(load);
	out->hours = (double)(load->closed_unix_s - load->spread_unix_s) / SITE_HOUR_S;
}

static json_t *note_of(const struct figures *f)
{
	if (isfinite(f->outturn) && f->outturn < OUTTURN_LEAST)
		return site_note("outturn_low",
				 "less made tea than leaf can give: was all of it weighed?");
	if (isfinite(f->outturn) && f->outturn > OUTTURN_MOST)
		return site_note("outturn_high",
				 "more made tea than dry leaf can give: check both weights");
	return json_null();
}

static json_t *row_of(const struct wt_site *site, const struct site_load *load,
		      const struct figures *f)
{
	return json_pack("{s:i,s:s,s:s,s:f,s:I,s:o,s:o,s:o,s:o,s:o,s:o,s:o}", "load", load->number,
			 "origin", site->origins[load->origin], "season",
			 wt_words_text(WT_WORDS_SEASON, (int)load->season), "kg", load->kg,
			 "fixed_unix_s", (json_int_t)load->closed_unix_s, "loss_pct",
			 site_number(f->loss_pct), "hours", site_number(f->hours), "made_kg",
			 site_number(load->made_kg), "yellow_pct", site_number(f->yellow_pct),
			 "outturn", site_number(f->outturn), "cost_per_kg",
			 site_number(f->cost_per_kg), "note", note_of(f));
}

static void add(double value, double *sum, int *n)
{
	if (!isfinite(value))
		return;
	*sum += value;
	(*n)++;
}

static struct sums *group_of(struct sums *groups, size_t *n, const struct site_load *load)
{
	for (size_t i = 0; i < *n; i++) {
		if (groups[i].origin == load->origin && groups[i].season == (int)load->season)
			return &groups[i];
	}
	groups[*n] = (struct sums){.origin = load->origin, .season = (int)load->season};
	return &groups[(*n)++];
}

static double mean(double sum, int n)
{
	return n ? sum / n : NAN;
}

static json_t *group_rows(const struct wt_site *site, const struct sums *groups, size_t n)
{
	json_t *rows = json_array();

	for (size_t i = 0; i < n; i++) {
		const struct sums *g = &groups[i];
		json_array_append_new(
			rows, json_pack("{s:s,s:s,s:i,s:o,s:o,s:o,s:o,s:o}", "origin",
					site->origins[g->origin], "season",
					wt_words_text(WT_WORDS_SEASON, g->season), "n", g->n,
					"outturn", site_number(mean(g->outturn, g->n)),
					"yellow_pct", site_number(mean(g->yellow_pct, g->n_yellow)),
					"cost_per_kg", site_number(mean(g->cost, g->n_cost)),
					"loss_pct", site_number(mean(g->loss_pct, g->n_loss)),
					"hours", site_number(mean(g->hours, g->n))));
	}
	return rows;
}

json_t *site_query_ledger(const struct wt_site *site, int64_t now_unix_s)
{
	json_t *document = site_document(site, now_unix_s), *rows = json_array();
	struct sums *groups = site_alloc((site->n_loads + 1) * sizeof(*groups));
	size_t n = 0;

	for (size_t i = 0; i < site->n_loads; i++) {
		const struct site_load *load = &site->loads[i];
		struct figures f;
		if (load->gone || load->state != SITE_FIXED)
			continue;
		figure(load, &f);
		json_array_append_new(rows, row_of(site, load, &f));
		if (!isfinite(load->made_kg))
			continue;
		struct sums *g = group_of(groups, &n, load);
		g->n++;
		g->outturn += f.outturn;
		g->hours += f.hours;
		add(f.yellow_pct, &g->yellow_pct, &g->n_yellow);
		add(f.cost_per_kg, &g->cost, &g->n_cost);
		add(f.loss_pct, &g->loss_pct, &g->n_loss);
	}
	json_object_set_new(document, "rows", rows);
	json_object_set_new(document, "groups", group_rows(site, groups, n));
	free(groups);
	return document;
}
