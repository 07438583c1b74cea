/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * The track record: stored forecasts against what happened.  An outcome is the
 * time at which the load reached its ready loss by its final posterior, given
 * all its weighings; loads without any weighing are counted apart.
 */
#include <math.h>
#include <stdio.h>
#include <string.h>

#include "daemon/site_review.h"
#include "lib/score.h"

static const int leads_h[] = {1, 2, 3, 4, 6, 8, 10, 12, 14};
#define LEADS ((int)(sizeof(leads_h) / sizeof(leads_h[0])))
/* A forecast stands for a lead when it was issued at most this long before. */
#define LEAD_SLACK_S 1200
/* When the evening's call is asked for: 16:00 (our choice). */
#define ASKED_MIN (16 * 60)
/* From here on a morning call is never given because the leaf is not ready; see advise_morning() in
 * lib/decide_calls.c. */
#define READY_FOR_SURE 0.7
/* The plot and the worst misses are of this lead. */
#define SHOWN_LEAD_H 6
#define WORST 5

/* --- one load -------------------------------------------------------------------------------- */

static void take_quantiles(const json_t *row, double out[SITE_QUANTILES])
{
	static const char *const keys[SITE_QUANTILES] = {"ready_p10_unix_s", "ready_p25_unix_s",
							 "ready_p50_unix_s", "ready_p75_unix_s",
							 "ready_p90_unix_s"};

	for (int q = 0; q < SITE_QUANTILES; q++) {
		out[q] = site_real(row, keys[q]);
		/* Null is beyond the horizon. */
		if (isnan(out[q]))
			out[q] = HUGE_VAL;
	}
}

/* The newest row at or before a moment, not older than `slack`. */
static const json_t *row_at(const struct site_track *track, double at_unix_s, double slack_s)
{
	const json_t *found = NULL;

	for (size_t i = 0; i < track->n_rows; i++) {
		double issued = site_real(track->rows[i], "issued_unix_s");
		if (issued > at_unix_s)
			break;
		if (issued >= at_unix_s - slack_s)
			found = track->rows[i];
	}
	return found;
}

/* Median hours to ready of the loads of that style that were ready before this one was spread. */
static double reference_hours(const struct site_track *tracks, size_t n,
			      const struct site_track *track)
{
	double *hours = site_alloc((n + 1) * sizeof(*hours)), median = NAN;
	size_t count = 0;

	for (size_t i = 0; i < n; i++) {
		const struct site_load *load = tracks[i].load;
		if (!strcmp(load->style, track->load->style) &&
		    isfinite(tracks[i].outcome_unix_s) &&
		    tracks[i].outcome_unix_s < (double)track->load->spread_unix_s)
			hours[count++] = (tracks[i].outcome_unix_s - (double)load->spread_unix_s) /
					 SITE_HOUR_S;
	}
	if (!count || wt_score_median(hours, count, &median) != WT_OK)
		median = NAN;
	free(hours);
	return median;
}

/* --- by lead --------------------------------------------------------------------------------- */

struct lead_sums {
	int n, n_error, n_crps, n_compared;
	int in_50, in_80;
	double *errors_min;
	double bias_min, crps_all_min;
	double crps_min, reference_min; /* of the n_compared that have a reference */
};

static void add_lead(struct lead_sums *sums, const struct site_track *track, const json_t *row)
{
	double q[SITE_QUANTILES], y = track->outcome_unix_s, crps;

	take_quantiles(row, q);
	sums->n++;
	sums->in_50 += y >= q[SITE_P25] && y <= q[SITE_P75];
	sums->in_80 += y >= q[SITE_P10] && y <= q[SITE_P90];
	if (isfinite(q[SITE_P50])) {
		double error_min = (q[SITE_P50] - y) / 60.0;
		sums->errors_min[sums->n_error++] = fabs(error_min);
		sums->bias_min += error_min;
	}
	/* A tail beyond the horizon ends there. */
	for (int i = 0; i < SITE_QUANTILES; i++)
		q[i] = fmin(q[i], site_real(row, "issued_unix_s") + WT_HORIZON_S);
	if (wt_score_crps_quantiles(site_probability, q, SITE_QUANTILES, y, &crps) != WT_OK)
		return;
	sums->crps_all_min += crps / 60.0;
	sums->n_crps++;
	if (isfinite(track->reference_h)) {
		double guess =
			(double)track->load->spread_unix_s + track->reference_h * SITE_HOUR_S;
		sums->crps_min += crps / 60.0;
		sums->reference_min += fabs(guess - y) / 60.0;
		sums->n_compared++;
	}
}

static json_t *per(double sum, int n, double times)
{
	return n ? site_number(times * sum / n) : json_null();
}

static double gain_pct(const struct lead_sums *s)
{
	return s->reference_min > 0.0 ? 100.0 * (1.0 - s->crps_min / s->reference_min) : NAN;
}

/* What is held against the reference is of the same forecasts as the reference: the first loads of
 * a style have none, and are the hardest.  With nothing to hold against it, crps_min is of all. */
static json_t *lead_row(int lead_h, const struct lead_sums *s)
{
	double median = NAN;

	if (s->n_error && wt_score_median(s->errors_min, (size_t)s->n_error, &median) != WT_OK)
		median = NAN;
	return json_pack("{s:i,s:i,s:o,s:o,s:o,s:o,s:i,s:o,s:o,s:o,s:o}", "lead_h", lead_h, "n",
			 s->n, "median_abs_err_min", site_number(median), "bias_min",
			 per(s->bias_min, s->n_error, 1.0), "coverage_50_pct",
			 per(s->in_50, s->n, 100.0), "coverage_80_pct", per(s->in_80, s->n, 100.0),
			 "n_compared", s->n_compared, "crps_min",
			 s->n_compared ? per(s->crps_min, s->n_compared, 1.0)
				       : per(s->crps_all_min, s->n_crps, 1.0),
			 "crps_reference_min", per(s->reference_min, s->n_compared, 1.0),
			 "gain_pct", site_number(gain_pct(s)), "crps_all_min",
			 per(s->crps_all_min, s->n_crps, 1.0));
}

static bool counts(const struct site_track *track)
{
	return track->asked && track->weighed && isfinite(track->outcome_unix_s);
}

static const json_t *lead_forecast(const struct site_track *track, int lead_h)
{
	double at = track->outcome_unix_s - lead_h * (double)SITE_HOUR_S;

	return at < (double)track->load->spread_unix_s ? NULL : row_at(track, at, LEAD_SLACK_S);
}

static json_t *by_lead(const struct site_track *tracks, size_t n)
{
	json_t *rows = json_array();
	double *errors_min = site_alloc((n + 1) * sizeof(*errors_min));

	for (int k = 0; k < LEADS; k++) {
		struct lead_sums sums = {.errors_min = errors_min};
		for (size_t i = 0; i < n; i++) {
			const json_t *row =
				counts(&tracks[i]) ? lead_forecast(&tracks[i], leads_h[k]) : NULL;
			if (row)
				add_lead(&sums, &tracks[i], row);
		}
		json_array_append_new(rows, lead_row(leads_h[k], &sums));
	}
	free(errors_min);
	return rows;
}

/* --- the evening's calls --------------------------------------------------------------------- */

/* Rows of the first schema hold no reason: there a call against the chance of being ready was made
 * for want of room or because the leaf keeps, which wt_decide_right() judges alike. */
static enum wt_reason reason_of(const json_t *row, enum wt_call call, double p_ready_tonight)
{
	enum wt_reason reason;

	if (site_reason_parse(json_string_value(json_object_get(row, "reason")), &reason))
		return reason;
	if (call == WT_CALL_MORNING)
		return p_ready_tonight >= READY_FOR_SURE ? WT_REASON_NO_CAPACITY
							 : WT_REASON_NOT_READY;
	return p_ready_tonight >= READY_FOR_SURE ? WT_REASON_NO_CAPACITY : WT_REASON_NOT_BY_MORNING;
}

/* When the leaf was past its best: by its record, else as long after it was ready as the forecast
 * had it. */
static double past_of(const struct site_track *track, const json_t *row)
{
	double kept_s = site_real(row, "past_p50_unix_s") - site_real(row, "ready_p50_unix_s");

	if (!isnan(track->past_unix_s))
		return track->past_unix_s;
	return isfinite(kept_s) ? track->outcome_unix_s + kept_s : HUGE_VAL;
}

/* The first 16:00 of the load's life. */
static int64_t asked_at(const struct wt_site *site, const struct site_load *load)
{
	int64_t asked = site_local_unix_s(site, load->spread_unix_s, 0, ASKED_MIN);

	return asked < load->spread_unix_s
		       ? site_local_unix_s(site, load->spread_unix_s, 1, ASKED_MIN)
		       : asked;
}

static json_t *evening_calls(const struct wt_site *site, const struct site_track *tracks, size_t n)
{
	double *p = site_alloc((n + 1) * sizeof(*p));
	int *happened = site_alloc((n + 1) * sizeof(*happened)), right = 0;
	struct wt_brier brier = {.score = NAN};
	size_t count = 0;

	for (size_t i = 0; i < n; i++) {
		const struct site_load *load = tracks[i].load;
		if (!counts(&tracks[i]))
			continue;
		int64_t asked = asked_at(site, load);
		const json_t *row = row_at(&tracks[i], (double)asked, LEAD_SLACK_S);
		const char *text = json_string_value(json_object_get(row, "call"));
		double chance = site_real(row, "p_ready_tonight");
		int call;
		if (!text || wt_words_parse(WT_WORDS_CALL, text, &call) != WT_OK ||
		    !isfinite(chance))
			continue;
		struct wt_hearth hearth;
		site_hearth(site, asked, &hearth);
		p[count] = chance;
		happened[count] = tracks[i].outcome_unix_s <= (double)hearth.last_start_unix_s;
		right += wt_decide_right(&hearth, (enum wt_call)call,
					 reason_of(row, (enum wt_call)call, chance),
					 (int64_t)site_real(row, "issued_unix_s"),
					 tracks[i].outcome_unix_s, past_of(&tracks[i], row));
		count++;
	}
	if (count && wt_score_brier(p, happened, count, 10, &brier) != WT_OK)
		brier.score = NAN;
	free(p);
	free(happened);
	return json_pack("{s:i,s:i,s:o}", "n", (int)count, "right", right, "brier",
			 site_number(brier.score));
}

/* --- the worst misses, the plot --------------------------------------------------------------- */

static json_t *scatter(const struct site_track *tracks, size_t n)
{
	json_t *rows = json_array();

	for (size_t i = 0; i < n; i++) {
		const json_t *row =
			counts(&tracks[i]) ? lead_forecast(&tracks[i], SHOWN_LEAD_H) : NULL;
		if (!row)
			continue;
		double spread = (double)tracks[i].load->spread_unix_s;
		json_array_append_new(
			rows,
			json_pack("{s:i,s:i,s:o,s:o}", "load", tracks[i].load->number, "lead_h",
				  SHOWN_LEAD_H, "forecast_h",
				  site_number((site_real(row, "ready_p50_unix_s") - spread) /
					      SITE_HOUR_S),
				  "outcome_h",
				  site_number((tracks[i].outcome_unix_s - spread) / SITE_HOUR_S)));
	}
	return rows;
}

struct miss {
	const struct site_track *track;
	const json_t *row;
	double error_min;
	int lead_h;
};

static int by_miss(const void *a, const void *b)
{
	const struct miss *x = a, *y = b;
	double ex = fabs(x->error_min), ey = fabs(y->error_min);

	if (ex != ey)
		return ex < ey ? 1 : -1;
	return x->track->load->number - y->track->load->number;
}

/* The worst first; at most WORST of them. */
static size_t find_misses(const struct site_track *tracks, size_t n, struct miss **out)
{
	struct miss *misses = site_alloc((n + 1) * sizeof(*misses));
	size_t count = 0;

	for (size_t i = 0; i < n; i++) {
		if (!counts(&tracks[i]))
			continue;
		/* Short withers have no forecast six hours before: the longest lead there is. */
		for (int lead_h = SHOWN_LEAD_H; lead_h >= 2; lead_h -= 2) {
			const json_t *row = lead_forecast(&tracks[i], lead_h);
			double error =
				(site_real(row, "ready_p50_unix_s") - tracks[i].outcome_unix_s) /
				60.0;
			if (!isfinite(error))
				continue;
			misses[count++] = (struct miss){&tracks[i], row, error, lead_h};
			break;
		}
	}
	qsort(misses, count, sizeof(*misses), by_miss);
	*out = misses;
	return count < WORST ? count : WORST;
}

static json_t *worst(const struct wt_site *site, const struct site_track *tracks, size_t n,
		     const json_t *air_rows)
{
	struct miss *misses;
	json_t *rows = json_array();
	size_t count = find_misses(tracks, n, &misses);

	for (size_t i = 0; i < count; i++) {
		char text[112], says[WT_SAYS_SIZE];
		const char *code = site_review_reason(site, misses[i].track, misses[i].row,
						      misses[i].error_min, air_rows, says);
		wt_says_text(says, text, sizeof(text));
		json_array_append_new(rows, json_pack("{s:i,s:i,s:f,s:s,s:s,s:o}", "load",
						      misses[i].track->load->number, "lead_h",
						      misses[i].lead_h, "error_min",
						      misses[i].error_min, "code", code, "text",
						      text, "says", wt_says_json(says)));
	}
	free(misses);
	return rows;
}

/* --- gathering ------------------------------------------------------------------------------- */

static size_t gather(const struct wt_site *site, int64_t since_unix_s, struct site_track *tracks,
		     struct site_track **by_number)
{
	size_t n = 0;

	for (size_t i = 0; i < site->n_loads; i++) {
		const struct site_load *load = &site->loads[i];
		if (load->gone || load->state != SITE_FIXED || !load->closing)
			continue;
		by_number[i] = &tracks[n];
		tracks[n++] = (struct site_track){.load = load,
						  .asked = load->spread_unix_s >= since_unix_s,
						  .outcome_unix_s = load->closing->ready_unix_s,
						  .past_unix_s = load->closing->past_unix_s,
						  .weighed = load->closing->n_weighings > 0.0};
	}
	return n;
}

static void hand_out(const json_t *forecast_rows, const struct wt_site *site,
		     struct site_track **by_number)
{
	const json_t *row;
	size_t i;

	json_array_foreach(forecast_rows, i, row)
	{
		json_int_t number = json_integer_value(json_object_get(row, "load"));
		if (number < 1 || (size_t)number > site->n_loads || !by_number[number - 1])
			continue;
		struct site_track *track = by_number[number - 1];
		site_grow(&track->rows, track->n_rows, &track->cap_rows, sizeof(*track->rows));
		track->rows[track->n_rows++] = row;
	}
}

struct gathered {
	struct site_track *tracks;
	size_t n;
};

static struct gathered open_record(const struct wt_site *site, const json_t *forecast_rows,
				   int64_t since_unix_s)
{
	struct gathered g = {.tracks = site_alloc((site->n_loads + 1) * sizeof(*g.tracks))};
	struct site_track **by_number = site_alloc((site->n_loads + 1) * sizeof(*by_number));

	g.n = gather(site, since_unix_s, g.tracks, by_number);
	hand_out(forecast_rows, site, by_number);
	free(by_number);
	return g;
}

static void close_record(struct gathered *g)
{
	for (size_t i = 0; i < g->n; i++)
		free(g->tracks[i].rows);
	free(g->tracks);
}

static int by_time(const void *a, const void *b)
{
	const int64_t *x = a, *y = b;

	return *x < *y ? -1 : *x > *y;
}

/* The moments at which the record looks for a forecast of that load, rising. */
static size_t moments_of(const struct wt_site *site, const struct site_track *track,
			 int64_t out[LEADS + 1])
{
	size_t n = 0;

	for (int k = 0; k < LEADS; k++) {
		double at = track->outcome_unix_s - leads_h[k] * (double)SITE_HOUR_S;
		if (at >= (double)track->load->spread_unix_s)
			out[n++] = (int64_t)floor(at);
	}
	out[n++] = asked_at(site, track->load);
	qsort(out, n, sizeof(*out), by_time);
	return n;
}

json_t *wt_site_review_wanted(const struct wt_site *site, int64_t since_unix_s, int64_t now_unix_s)
{
	json_t *wanted = json_array();
	struct gathered g = open_record(site, NULL, since_unix_s);

	for (size_t i = 0; i < g.n; i++) {
		int64_t moments[LEADS + 1];
		size_t n = counts(&g.tracks[i]) ? moments_of(site, &g.tracks[i], moments) : 0;
		for (size_t k = 0; k < n && moments[k] <= now_unix_s; k++)
			json_array_append_new(wanted,
					      json_pack("[i,I,i]", g.tracks[i].load->number,
							(json_int_t)moments[k], LEAD_SLACK_S));
	}
	close_record(&g);
	return wanted;
}

json_t *wt_site_review_issues(const struct wt_site *site, const json_t *forecast_rows,
			      int64_t since_unix_s)
{
	struct gathered g = open_record(site, forecast_rows, since_unix_s);
	struct miss *misses;
	json_t *issues = json_array();
	size_t count = find_misses(g.tracks, g.n, &misses);

	for (size_t i = 0; i < count; i++)
		json_array_append(issues, json_object_get(misses[i].row, "issued_unix_s"));
	free(misses);
	close_record(&g);
	return issues;
}

json_t *wt_site_review(const struct wt_site *site, const json_t *forecast_rows,
		       const json_t *air_forecast_rows, int64_t since_unix_s, int64_t now_unix_s)
{
	struct gathered g = open_record(site, forecast_rows, since_unix_s);
	json_t *document = site_document(site, now_unix_s);
	int closed = 0, unweighed = 0;

	for (size_t i = 0; i < g.n; i++) {
		g.tracks[i].reference_h = reference_hours(g.tracks, g.n, &g.tracks[i]);
		closed += g.tracks[i].asked;
		unweighed += g.tracks[i].asked && !g.tracks[i].weighed;
	}
	json_object_set_new(document, "loads_closed", json_integer(closed));
	json_object_set_new(document, "loads_unweighed", json_integer(unweighed));
	json_object_set_new(document, "by_lead", by_lead(g.tracks, g.n));
	json_object_set_new(document, "calls", evening_calls(site, g.tracks, g.n));
	json_object_set_new(document, "worst", worst(site, g.tracks, g.n, air_forecast_rows));
	json_object_set_new(document, "scatter", scatter(g.tracks, g.n));
	close_record(&g);
	return site_rounded(document);
}
