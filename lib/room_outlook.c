/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * Outlooks as received, cut to whole hours.
 */
#include "lib/room_internal.h"

#include <stdlib.h>
#include <string.h>

/* Lines are drawn between values of an outlook this far apart, no further (our choice). */
#define LINE_MAX_S (6 * 3600 + 1)
/* All but the newest outlooks are thinned to one in so long. */
#define THIN_S (3 * 3600 - 600)
#define DOC_VALUES_MAX 100000

static bool outlook_is_sound(const struct wt_outlook *outlook, enum wt_status *why)
{
	*why = WT_ERR_ARG;
	if (!outlook || outlook->n == 0 || !outlook->at_unix_s || !outlook->temp_c ||
	    !outlook->rh_pct)
		return false;
	for (size_t i = 0; i < outlook->n; i++) {
		if (!isfinite(outlook->temp_c[i]) || !isfinite(outlook->rh_pct[i]))
			return false;
		if (i > 0 && outlook->at_unix_s[i] <= outlook->at_unix_s[i - 1])
			return false;
	}
	*why = WT_ERR_RANGE;
	if (outlook->issued_unix_s < 0 || outlook->n > DOC_VALUES_MAX)
		return false;
	for (size_t i = 0; i < outlook->n; i++)
		if (outlook->temp_c[i] < -90.0 || outlook->temp_c[i] > 70.0 ||
		    outlook->rh_pct[i] < 0.0 || outlook->rh_pct[i] > 110.0)
			return false;
	return true;
}

static double outlook_vapour_pa(const struct wt_outlook *outlook, size_t i)
{
	return fmin(outlook->rh_pct[i], 100.0) / 100.0 * room_saturation_pa(outlook->temp_c[i]);
}

static void doc_fill(struct room_doc *doc, const struct wt_outlook *outlook)
{
	size_t after = 0;
	doc->issued_unix_s = outlook->issued_unix_s;
	/* A few hours before the issue serve to compare with the hours after it. */
	doc->first_hour = outlook->issued_unix_s / 3600 - 6;
	for (size_t k = 0; k < ROOM_DOC_HOURS; k++) {
		int64_t at = (doc->first_hour + (int64_t)k) * 3600;
		doc->temp_c[k] = NAN;
		doc->vapour_pa[k] = NAN;
		while (after < outlook->n && outlook->at_unix_s[after] < at)
			after++;
		if (after == outlook->n)
			continue;
		int64_t right = outlook->at_unix_s[after];
		if (right == at) {
			doc->temp_c[k] = (float)outlook->temp_c[after];
			doc->vapour_pa[k] = (float)outlook_vapour_pa(outlook, after);
			continue;
		}
		if (after == 0 || right - outlook->at_unix_s[after - 1] > LINE_MAX_S)
			continue;
		int64_t left = outlook->at_unix_s[after - 1];
		double part = (double)(at - left) / (double)(right - left);
		doc->temp_c[k] = (float)((1.0 - part) * outlook->temp_c[after - 1] +
					 part * outlook->temp_c[after]);
		doc->vapour_pa[k] = (float)((1.0 - part) * outlook_vapour_pa(outlook, after - 1) +
					    part * outlook_vapour_pa(outlook, after));
	}
}

static void docs_remove(struct wt_room_series *series, size_t i)
{
	memmove(series->docs + i, series->docs + i + 1,
		(series->n_docs - i - 1) * sizeof *series->docs);
	series->n_docs--;
}

static enum wt_status docs_reserve(struct wt_room_series *series)
{
	if (series->n_docs < series->cap_docs)
		return WT_OK;
	size_t cap = series->cap_docs ? 2 * series->cap_docs : 16;
	struct room_doc *docs = realloc(series->docs, cap * sizeof *docs);
	if (!docs)
		return WT_ERR_NOMEM;
	series->docs = docs;
	series->cap_docs = cap;
	return WT_OK;
}

enum wt_status wt_room_series_add_outlook(struct wt_room_series *series,
					  const struct wt_outlook *outlook)
{
	enum wt_status status;
	if (!series)
		return WT_ERR_ARG;
	if (!outlook_is_sound(outlook, &status))
		return status;
	status = docs_reserve(series);
	if (status != WT_OK)
		return status;
	size_t i = series->n_docs;
	while (i > 0 && series->docs[i - 1].issued_unix_s > outlook->issued_unix_s)
		i--;
	if (i > 0 && series->docs[i - 1].issued_unix_s == outlook->issued_unix_s) {
		doc_fill(&series->docs[i - 1], outlook); /* the same outlook again, or corrected */
		return WT_OK;
	}
	memmove(series->docs + i + 1, series->docs + i,
		(series->n_docs - i) * sizeof *series->docs);
	doc_fill(&series->docs[i], outlook);
	series->n_docs++;
	/* The one before the newest goes when it stands too near to the one before it. */
	if (i == series->n_docs - 1 && i >= 2 &&
	    series->docs[i - 1].issued_unix_s - series->docs[i - 2].issued_unix_s < THIN_S)
		docs_remove(series, i - 1);
	if (series->n_docs > ROOM_DOCS)
		docs_remove(series, 0);
	return WT_OK;
}
