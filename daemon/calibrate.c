/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "daemon/calibrate.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "lib/score.h"
#include "lib/traits.h"

/* Leads that count, and how many forecasts a factor needs: our choice. */
static const double least_lead_h = 2.0, most_lead_h = 14.0;
enum { LEAST_FOR_FACTOR = 20 };

enum group { ALL, UNWEIGHED, WEIGHED, NEAR, MIDDLE, FAR, GROUPS };
static const char *const group_names[GROUPS] = {"all",        "no observation", "observed",
						"lead 2-5 h", "lead 5-9 h",     "lead 9-14 h"};

/* One forecast against its outcome. */
struct pair {
	double error_min;
	double scaled; /* error over the half width on its side */
	bool in_50, in_80;
};

struct sums {
	struct pair *pairs;
	size_t n, capacity;
};

static double number_of(const json_t *row, const char *name)
{
	const json_t *value = json_object_get(row, name);
	return json_is_number(value) ? json_number_value(value) : NAN;
}

/* Beyond the horizon is later than anything. */
static double time_of(const json_t *row, const char *name)
{
	const double value = number_of(row, name);
	return isnan(value) ? HUGE_VAL : value;
}

static bool add_pair(struct sums *sums, const struct pair *pair)
{
	if (sums->n == sums->capacity) {
		const size_t wanted = sums->capacity * 2 + 64;
		struct pair *grown = realloc(sums->pairs, wanted * sizeof(*grown));
		if (!grown)
			return false;
		sums->pairs = grown;
		sums->capacity = wanted;
	}
	sums->pairs[sums->n++] = *pair;
	return true;
}

static void compare(const json_t *row, double outcome_unix_s, struct pair *out)
{
	const double p10 = time_of(row, "ready_p10_unix_s"), p25 = time_of(row, "ready_p25_unix_s");
	const double p50 = time_of(row, "ready_p50_unix_s"), p75 = time_of(row, "ready_p75_unix_s");
	const double p90 = time_of(row, "ready_p90_unix_s");
	const double half = outcome_unix_s > p50 ? p90 - p50 : p50 - p10;
	out->error_min = (p50 - outcome_unix_s) / 60.0;
	out->in_50 = p25 <= outcome_unix_s && outcome_unix_s <= p75;
	out->in_80 = p10 <= outcome_unix_s && outcome_unix_s <= p90;
	if (isinf(p50))
		out->scaled = HUGE_VAL;
	else
		out->scaled = isinf(half) ? 0.0 : fabs(outcome_unix_s - p50) / fmax(half, 60.0);
}

/* The last closing of each load that was weighed. */
static const json_t *closing_of(const json_t *closings, json_int_t load)
{
	for (size_t i = json_array_size(closings); i-- > 0;) {
		const json_t *closing = json_array_get(closings, i);
		if (json_integer_value(json_object_get(closing, "load")) != load)
			continue;
		return number_of(closing, "n_weighings") >= 1.0 ? closing : NULL;
	}
	return NULL;
}

/* When a load was first looked at after spreading; HUGE_VAL when the record does not tell. */
static double first_look(const json_t *closing)
{
	const double at = number_of(closing, "first_observed_unix_s");
	return isnan(at) ? HUGE_VAL : at;
}

static bool take_row(const json_t *row, const json_t *closings, struct sums sums[GROUPS])
{
	const json_t *closing = closing_of(closings, (json_int_t)number_of(row, "load"));
	const double outcome = closing ? number_of(closing, "ready_unix_s") : NAN;
	const double issued = number_of(row, "issued_unix_s");
	const double lead_h = (outcome - issued) / 3600.0;
	struct pair pair;
	if (!(lead_h >= least_lead_h && lead_h <= most_lead_h))
		return true;
	compare(row, outcome, &pair);
	const enum group look = issued < first_look(closing) ? UNWEIGHED : WEIGHED;
	const enum group lead = lead_h < 5.0 ? NEAR : lead_h < 9.0 ? MIDDLE : FAR;
	return add_pair(&sums[ALL], &pair) && add_pair(&sums[look], &pair) &&
	       add_pair(&sums[lead], &pair);
}

static double quantile(const struct sums *sums, bool scaled, double p)
{
	double out = NAN, *values = malloc((sums->n + 1) * sizeof(*values));
	for (size_t i = 0; values && i < sums->n; i++)
		values[i] = scaled ? sums->pairs[i].scaled : fabs(sums->pairs[i].error_min);
	if (!values || wt_score_quantiles(values, sums->n, &p, 1, &out) != WT_OK)
		out = NAN;
	free(values);
	return out;
}

static double bias(const struct sums *sums)
{
	double out = NAN, *values = malloc((sums->n + 1) * sizeof(*values));
	for (size_t i = 0; values && i < sums->n; i++)
		values[i] = sums->pairs[i].error_min;
	if (!values || wt_score_median(values, sums->n, &out) != WT_OK)
		out = NAN;
	free(values);
	return out;
}

static json_t *real_or_null(double value)
{
	return isfinite(value) ? json_real(value) : json_null();
}

static double factor_of(const struct sums *sums)
{
	return sums->n < LEAST_FOR_FACTOR ? NAN : quantile(sums, true, 0.8);
}

static json_t *group_row(const char *name, const struct sums *sums)
{
	size_t in_50 = 0, in_80 = 0;
	for (size_t i = 0; i < sums->n; i++) {
		in_50 += sums->pairs[i].in_50;
		in_80 += sums->pairs[i].in_80;
	}
	const double n = (double)sums->n;
	return json_pack("{s:s,s:I,s:o,s:o,s:o,s:o,s:o}", "name", name, "n", (json_int_t)sums->n,
			 "median_abs_err_min", real_or_null(quantile(sums, false, 0.5)), "bias_min",
			 real_or_null(bias(sums)), "coverage_50_pct",
			 real_or_null(100.0 * (double)in_50 / n), "coverage_80_pct",
			 real_or_null(100.0 * (double)in_80 / n), "band_factor",
			 real_or_null(factor_of(sums)));
}

static size_t count_outcomes(const json_t *closings)
{
	size_t n = 0;
	for (size_t i = 0; i < json_array_size(closings); i++) {
		const json_t *closing = json_array_get(closings, i);
		const json_int_t load = json_integer_value(json_object_get(closing, "load"));
		n += closing_of(closings, load) == closing &&
		     isfinite(number_of(closing, "ready_unix_s"));
	}
	return n;
}

json_t *wt_calibrate_rows(const json_t *forecast_rows, const json_t *closings)
{
	struct sums sums[GROUPS] = {{0}};
	json_t *groups = json_array(), *report = NULL;
	const json_t *row;
	size_t i;
	bool fine = true;
	json_array_foreach(forecast_rows, i, row) fine = fine && take_row(row, closings, sums);
	for (int g = 0; g < GROUPS; g++)
		json_array_append_new(groups, group_row(group_names[g], &sums[g]));
	const double right = WT_TRAIT_DRIFT_PER_SQRT_H * factor_of(&sums[ALL]);
	if (fine)
		report = json_pack("{s:I,s:O,s:{s:f,s:o}}", "loads",
				   (json_int_t)count_outcomes(closings), "groups", groups,
				   "drift_per_sqrt_h", "now", WT_TRAIT_DRIFT_PER_SQRT_H, "right",
				   real_or_null(right));
	for (int g = 0; g < GROUPS; g++)
		free(sums[g].pairs);
	json_decref(groups);
	return report;
}

static void print_number(FILE *out, const json_t *value, int width, int digits)
{
	if (json_is_number(value))
		fprintf(out, " %*.*f", width, digits, json_number_value(value));
	else
		fprintf(out, " %*s", width, "-");
}

void wt_calibrate_print(const json_t *report, FILE *out)
{
	const json_t *row, *drift = json_object_get(report, "drift_per_sqrt_h");
	size_t i;
	const json_int_t loads = json_integer_value(json_object_get(report, "loads"));
	fprintf(out, "%lld load%s with a known ready time; forecasts 2 to 14 h before it\n",
		(long long)loads, loads == 1 ? "" : "s");
	fprintf(out, "%-15s %5s %8s %8s %6s %6s %7s\n", "", "n", "|err| min", "bias min", "50 %",
		"80 %", "factor");
	json_array_foreach(json_object_get(report, "groups"), i, row)
	{
		fprintf(out, "%-15s %5lld", json_string_value(json_object_get(row, "name")),
			(long long)json_integer_value(json_object_get(row, "n")));
		print_number(out, json_object_get(row, "median_abs_err_min"), 9, 0);
		print_number(out, json_object_get(row, "bias_min"), 8, 0);
		print_number(out, json_object_get(row, "coverage_50_pct"), 6, 1);
		print_number(out, json_object_get(row, "coverage_80_pct"), 6, 1);
		print_number(out, json_object_get(row, "band_factor"), 7, 2);
		fputc('\n', out);
	}
	fprintf(out, "factor: half widths times this would hold 80 %%\n");
	fprintf(out, "drift of pace per root hour: %.3f now;",
		json_number_value(json_object_get(drift, "now")));
	if (json_is_number(json_object_get(drift, "right")))
		fprintf(out, " %.3f with all spreads scaled alike would be right\n",
			json_number_value(json_object_get(drift, "right")));
	else
		fprintf(out, " too few forecasts to tell what would be right\n");
}

static bool keep_closing(void *context, int64_t at_unix_s, const json_t *row)
{
	(void)at_unix_s;
	return json_array_append_new(context, json_deep_copy(row)) == 0;
}

/* Rows of a page are arrays in the order of the columns; here each becomes an object. */
static bool keep_page(const json_t *columns, const json_t *page, json_t *rows)
{
	const json_t *values, *column;
	size_t i, k;
	json_array_foreach(page, i, values)
	{
		json_t *row = json_object();
		json_array_foreach(columns, k, column)
			json_object_set(row, json_string_value(column), json_array_get(values, k));
		if (json_array_append_new(rows, row) != 0)
			return false;
	}
	return true;
}

static bool read_forecasts(struct wt_store *store, json_t *rows)
{
	enum { PAGE = 1000 };
	json_t *columns = wt_store_columns(WT_STORE_FORECASTS);
	const struct wt_store_span all = {INT64_MIN, INT64_MAX};
	struct wt_store_cursor cursor;
	bool more = true, fine = columns != NULL;
	wt_store_cursor_first(&cursor);
	while (fine && more) {
		json_t *page = json_array();
		fine = wt_store_page(store, WT_STORE_FORECASTS, &all, &cursor, PAGE, page, &more) ==
			       WT_STORE_OK &&
		       keep_page(columns, page, rows);
		json_decref(page);
	}
	json_decref(columns);
	return fine;
}

int wt_calibrate_store(struct wt_store *store, FILE *out)
{
	json_t *rows = json_array(), *closings = json_array(), *report = NULL;
	int status = -1;
	const struct wt_store_span all = {INT64_MIN, INT64_MAX};
	if (read_forecasts(store, rows) &&
	    wt_store_each_closing(store, &all, keep_closing, closings) == WT_STORE_OK)
		report = wt_calibrate_rows(rows, closings);
	if (report) {
		wt_calibrate_print(report, out);
		status = 0;
	}
	json_decref(report);
	json_decref(rows);
	json_decref(closings);
	return status;
}
