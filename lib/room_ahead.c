/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "lib/room_ahead.h"

#include <stdlib.h>

/* Our choice: as for the room itself. */
#define USUAL_HALF_DAYS 8.0
/* Days of an hour that must be known before it counts as usual. */
#define USUAL_LEAST_DAYS 1.9
#define LAG_HOURS 3.0
#define SD_LEAST_K 0.5
#define SD_LEAST_PA 30.0

/* The outlook in force: the newest issued up to then; NULL when none. */
static const struct room_doc *doc_in_force(const struct wt_room_series *series, int64_t at_unix_s)
{
	size_t low = 0;
	size_t high = series->n_docs;
	while (low < high) {
		size_t middle = (low + high) / 2;
		if (series->docs[middle].issued_unix_s <= at_unix_s)
			low = middle + 1;
		else
			high = middle;
	}
	return low > 0 ? &series->docs[low - 1] : NULL;
}

static float doc_value(const struct room_doc *doc, size_t v, int64_t hour)
{
	int64_t k = hour - doc->first_hour;
	if (k < 0 || k >= ROOM_DOC_HOURS)
		return NAN;
	return v == 0 ? doc->temp_c[k] : doc->vapour_pa[k];
}

void wt_room_outdoors_free(struct room_outdoors *outdoors)
{
	for (size_t v = 0; v < 2; v++) {
		free(outdoors->value[v]);
		free(outdoors->usual[v]);
	}
	*outdoors = (struct room_outdoors){0};
}

/* The usual of each hour, and how far the hours stray from it. */
static void run_usual(struct room_outdoors *o, size_t v)
{
	const double keep = exp2(-1.0 / USUAL_HALF_DAYS);
	double sum[24] = {0};
	double weight[24] = {0};
	double square = 0.0;
	double n = 0.0;
	for (size_t i = 0; i < o->n + 24; i++) {
		size_t h = (size_t)((o->first_hour + (int64_t)i) % 24);
		bool enough = weight[h] >= USUAL_LEAST_DAYS;
		o->usual[v][i] = enough ? (float)(sum[h] / weight[h]) : NAN;
		if (i >= o->n)
			continue;
		sum[h] *= keep;
		weight[h] *= keep;
		if (isnan(o->value[v][i]))
			continue;
		if (enough) {
			double odd = (double)(o->value[v][i] - o->usual[v][i]);
			square += odd * odd;
			n += 1.0;
		}
		sum[h] += (double)o->value[v][i];
		weight[h] += 1.0;
	}
	o->sd[v] = fmax(v == 0 ? SD_LEAST_K : SD_LEAST_PA, sqrt(square / (n + 1.0)));
}

enum wt_status wt_room_outdoors_new(const struct wt_room_series *series, int64_t until_unix_s,
				    struct room_outdoors *out)
{
	if (series->n_docs == 0 || series->docs[0].issued_unix_s > until_unix_s)
		return WT_ERR_NODATA;
	struct room_outdoors o = {.series = series};
	int64_t last = until_unix_s / 3600;
	o.first_hour = (series->docs[0].issued_unix_s + 3599) / 3600;
	if (o.first_hour < last - 24 * WT_ROOM_KEEP_DAYS)
		o.first_hour = last - 24 * WT_ROOM_KEEP_DAYS;
	if (o.first_hour > last)
		return WT_ERR_NODATA;
	o.n = (size_t)(last - o.first_hour) + 1;
	for (size_t v = 0; v < 2; v++) {
		o.value[v] = calloc(o.n, sizeof *o.value[v]);
		o.usual[v] = calloc(o.n + 24, sizeof *o.usual[v]);
	}
	if (!o.value[0] || !o.value[1] || !o.usual[0] || !o.usual[1]) {
		wt_room_outdoors_free(&o);
		return WT_ERR_NOMEM;
	}
	for (size_t i = 0; i < o.n; i++) {
		int64_t hour = o.first_hour + (int64_t)i;
		const struct room_doc *doc = doc_in_force(series, hour * 3600);
		for (size_t v = 0; v < 2; v++)
			o.value[v][i] = doc ? doc_value(doc, v, hour) : NAN;
	}
	run_usual(&o, 0);
	run_usual(&o, 1);
	*out = o;
	return WT_OK;
}

void wt_room_ahead_from(const struct room_outdoors *outdoors, int64_t at_unix_s,
			int64_t told_unix_s, struct room_ahead *out)
{
	const struct room_doc *doc = doc_in_force(outdoors->series, told_unix_s);
	int64_t hour = at_unix_s / 3600;
	int64_t index = hour - outdoors->first_hour;
	*out = (struct room_ahead){.since_hour = (double)(at_unix_s % 3600) / 3600.0};
	if (!doc || index < 0 || index >= (int64_t)outdoors->n)
		return;
	for (size_t k = 0; k < ROOM_AHEAD_HOURS; k++) {
		size_t usual = (size_t)index + (k ? 1 + (k - 1) % 24 : 0);
		double odd[2];
		for (size_t v = 0; v < 2; v++) {
			float told = doc_value(doc, v, hour + (int64_t)k);
			/* The hour under way may lie before the outlook's first: what was said
			 * then. */
			if (k == 0 && isnan(told))
				told = outdoors->value[v][index];
			odd[v] = (double)told - (double)outdoors->usual[v][usual];
		}
		if (isnan(odd[0]) || isnan(odd[1]))
			break;
		for (size_t v = 0; v < 2; v++) {
			out->odd[v][k] = odd[v] / outdoors->sd[v];
			out->sum[v][k + 1] = out->sum[v][k] + out->odd[v][k];
		}
		out->n = k + 1;
	}
	out->known = out->n > 1;
}

static double odd_at(const struct room_ahead *ahead, size_t v, double hours)
{
	double x = fmax(0.0, hours);
	size_t k = (size_t)x;
	if (k + 1 >= ahead->n)
		return ahead->odd[v][ahead->n - 1];
	return ahead->odd[v][k] + (x - (double)k) * (ahead->odd[v][k + 1] - ahead->odd[v][k]);
}

bool wt_room_ahead_features(const struct room_ahead *ahead, size_t v, size_t lead_slots,
			    double out[ROOM_OUT_FEATURES])
{
	size_t w = 1 - v;
	double lead_h = (double)lead_slots / ROOM_SLOTS_HOUR;
	double target = ahead->since_hour + lead_h;
	size_t last = (size_t)ceil(target);
	if (!ahead->known || last >= ahead->n)
		return false;
	size_t first = last > 24 ? last - 24 : 0;
	double span = (double)(last + 1 - first);
	out[0] = odd_at(ahead, v, target);
	out[1] = odd_at(ahead, v, ahead->since_hour);
	out[2] = odd_at(ahead, v, fmax(target - LAG_HOURS, ahead->since_hour));
	out[3] = (ahead->sum[v][last + 1] - ahead->sum[v][first]) / span;
	out[4] = odd_at(ahead, w, target);
	out[5] = odd_at(ahead, w, ahead->since_hour);
	out[6] = (ahead->sum[w][last + 1] - ahead->sum[w][first]) / span;
	return true;
}
