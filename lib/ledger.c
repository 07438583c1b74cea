/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "lib/ledger.h"

#include <math.h>
#include <stdbool.h>

/* A quotient of sums over the entries that know both parts. */
struct quotient {
	double above, below;
};

static void add(struct quotient *q, double above, double below)
{
	if (isnan(above) || isnan(below))
		return;
	q->above += above;
	q->below += below;
}

static double value_of(const struct quotient *q)
{
	return q->below > 0 ? q->above / q->below : NAN;
}

static enum wt_status check(const struct wt_ledger_entry *e)
{
	if (isinf(e->fresh_kg) || isinf(e->made_kg) || isinf(e->yellow_kg) ||
	    isinf(e->price_per_kg) || isinf(e->loss_pct) || isinf(e->hours))
		return WT_ERR_ARG;
	if (e->fresh_kg <= 0 || e->made_kg <= 0 || e->yellow_kg < 0 || e->price_per_kg < 0 ||
	    e->yellow_kg > e->made_kg)
		return WT_ERR_RANGE;
	return WT_OK;
}

static enum wt_ledger_note note_of(double outturn)
{
	if (isnan(outturn))
		return WT_LEDGER_UNKNOWN;
	if (outturn < WT_LEDGER_OUTTURN_LEAST)
		return WT_LEDGER_TOO_MUCH_TEA;
	return outturn > WT_LEDGER_OUTTURN_MOST ? WT_LEDGER_TOO_LITTLE_TEA : WT_LEDGER_FINE;
}

enum wt_status wt_ledger_total(const struct wt_ledger_entry *entries, size_t n,
			       struct wt_ledger_sum *out)
{
	if (!out || (n && !entries))
		return WT_ERR_ARG;
	struct quotient outturn = {0}, yellow = {0}, cost = {0}, loss = {0}, hours = {0};
	size_t made = 0;
	for (size_t i = 0; i < n; i++) {
		const struct wt_ledger_entry *e = &entries[i];
		enum wt_status status = check(e);
		if (status)
			return status;
		made += isnan(e->made_kg) ? 0 : 1;
		add(&outturn, e->fresh_kg, e->made_kg);
		add(&yellow, e->yellow_kg, e->made_kg);
		/* Tea that was not sorted is all counted as sorted. */
		double sorted_kg = e->made_kg - (isnan(e->yellow_kg) ? 0 : e->yellow_kg);
		add(&cost, e->fresh_kg * e->price_per_kg, sorted_kg);
		add(&loss, e->loss_pct * e->fresh_kg, isnan(e->loss_pct) ? NAN : e->fresh_kg);
		add(&hours, e->hours * e->fresh_kg, isnan(e->hours) ? NAN : e->fresh_kg);
	}
	*out = (struct wt_ledger_sum){
		.n = made,
		.outturn = value_of(&outturn),
		.yellow_pct = 100 * value_of(&yellow),
		.cost_per_kg = value_of(&cost),
		.loss_pct = value_of(&loss),
		.hours = value_of(&hours),
		.note = note_of(value_of(&outturn)),
	};
	return WT_OK;
}

enum wt_status wt_ledger_reckon(const struct wt_ledger_entry *entry, struct wt_ledger_sum *out)
{
	return entry ? wt_ledger_total(entry, 1, out) : WT_ERR_ARG;
}
