/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * The room's air, as it was and as it will probably be.
 */
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "cli/doc.h"
#include "cli/memory.h"
#include "cli/page.h"
#include "cli/plot.h"
#include "cli/print.h"
#include "cli/say.h"
#include "cli/table.h"
#include "cli/tongue.h"
#include "cli/when.h"

static double at(const json_t *list, size_t i)
{
	const json_t *value = json_array_get(list, i);

	return json_is_number(value) ? json_number_value(value) : NAN;
}

static struct wt_doc_triple triple_at(const json_t *bands, size_t i)
{
	return (struct wt_doc_triple){
		.p10 = at(wt_doc_list(bands, "p10"), i),
		.p50 = at(wt_doc_list(bands, "p50"), i),
		.p90 = at(wt_doc_list(bands, "p90"), i),
	};
}

/* One row every three hours: enough to plan by, few enough for a phone. */
static void print_hours(struct wt_page *page, const json_t *result, double now)
{
	const json_t *temp = wt_doc_object(result, "temp_c"), *rh = wt_doc_object(result, "rh_pct");
	const json_t *vpd = wt_doc_object(result, "vpd_pa");
	double step_s = wt_doc_number(result, "step_s");
	size_t n = json_array_size(wt_doc_list(temp, "p50"));
	struct wt_table table = wt_table_new("lrrr");

	wt_table_add(&table, WT_MARK_FAINT, _("when"));
	wt_table_add(&table, WT_MARK_FAINT, "°C");
	wt_table_add(&table, WT_MARK_FAINT, "%");
	wt_table_add(&table, WT_MARK_FAINT, "VPD kPa");
	for (double lead_s = 0; step_s > 0 && lead_s <= 24 * 3600.0; lead_s += 3 * 3600.0) {
		size_t i = (size_t)(lead_s / step_s);
		struct wt_doc_triple kpa = triple_at(vpd, i);
		char when[WT_WHEN_SIZE], text[WT_SAY_SIZE];

		if (i >= n)
			break;
		wt_when_clock(when, now + lead_s, now);
		wt_table_add(&table, WT_MARK_NONE, when);
		wt_say_triple(text, triple_at(temp, i), 0, "");
		wt_table_add(&table, WT_MARK_NONE, text);
		wt_say_triple(text, triple_at(rh, i), 0, "");
		wt_table_add(&table, WT_MARK_NONE, text);
		kpa.p10 /= 1000;
		kpa.p50 /= 1000;
		kpa.p90 /= 1000;
		wt_say_triple(text, kpa, 2, "");
		wt_table_add(&table, WT_MARK_NONE, text);
	}
	if (wt_table_rows(&table) > 1)
		wt_table_finish(&table, page);
	else
		wt_page_row(page, WT_MARK_NONE, "%s", _("No reading yet, so no forecast."));
	wt_table_clear(&table);
}

/* Past and coming of one quantity, in one set of arrays; to be freed with values_free(). */
struct values {
	size_t n_past, n_next;
	double *past_unix_s, *past, *next_unix_s, *p10, *p50, *p90;
	double low, high;
};

static void take(double *to, const json_t *list, size_t i, double scale, struct values *v)
{
	*to = at(list, i) * scale;
	v->low = fmin(v->low, *to);
	v->high = fmax(v->high, *to);
}

static bool values_read(const json_t *result, const char *key, double scale, double until_unix_s,
			struct values *v)
{
	const json_t *past = wt_doc_object(result, "past"), *next = wt_doc_object(result, key);
	double step_s = wt_doc_number(result, "step_s"),
	       past_step_s = wt_doc_number(past, "step_s");
	double past_start = wt_doc_number(past, "start_unix_s");
	double now = wt_doc_number(result, "now_unix_s");
	size_t n_past = json_array_size(wt_doc_list(past, key));
	size_t n_next = json_array_size(wt_doc_list(next, "p50"));
	double *all = wt_memory_get(2 * n_past + 4 * n_next + 1, sizeof *all);

	if (!(step_s > 0))
		goto fail;
	if (!(past_step_s > 0) || !isfinite(past_start))
		n_past = 0;
	*v = (struct values){0,
			     0,
			     all,
			     all + n_past,
			     all + 2 * n_past,
			     all + 2 * n_past + n_next,
			     all + 2 * n_past + 2 * n_next,
			     all + 2 * n_past + 3 * n_next,
			     NAN,
			     NAN};
	for (; v->n_past < n_past; v->n_past++) {
		v->past_unix_s[v->n_past] = past_start + (double)v->n_past * past_step_s;
		take(&v->past[v->n_past], wt_doc_list(past, key), v->n_past, scale, v);
	}
	for (; v->n_next < n_next; v->n_next++) {
		size_t i = v->n_next;

		v->next_unix_s[i] = floor(now / step_s) * step_s + (double)i * step_s;
		if (v->next_unix_s[i] > until_unix_s)
			break;
		take(&v->p10[i], wt_doc_list(next, "p10"), i, scale, v);
		take(&v->p50[i], wt_doc_list(next, "p50"), i, scale, v);
		take(&v->p90[i], wt_doc_list(next, "p90"), i, scale, v);
	}
	if (v->n_next >= 2 && isfinite(v->low) && isfinite(v->high))
		return true;
fail:
	free(all);
	return false;
}

static void plot_one(struct wt_page *page, const json_t *result, const char *key, double scale,
		     int decimals, const char *title, bool hours)
{
	double now = wt_doc_number(result, "now_unix_s"), margin;
	double from = now - 12 * 3600.0, until = now + 24 * 3600.0;
	struct wt_plot *plot;
	struct values v;

	if (!values_read(result, key, scale, until, &v))
		return;
	margin = fmax((v.high - v.low) * 0.05, pow(10, -decimals));
	plot = wt_plot_new(page, page->term.width >= 60 ? 6 : 4, from, until,
			   scale < 1 ? fmax(v.low - margin, 0.0) : v.low - margin, v.high + margin);
	if (plot) {
		wt_page_row(page, WT_MARK_FAINT, "%s", title);
		wt_plot_now(plot, now);
		wt_plot_line(plot, v.n_past, v.past_unix_s, v.past);
		wt_plot_band(plot, v.n_next, v.next_unix_s, v.p10, v.p90);
		wt_plot_line(plot, v.n_next, v.next_unix_s, v.p50);
		wt_plot_print(plot, page, decimals, hours);
	}
	wt_plot_free(&plot);
	free(v.past_unix_s);
}

static void print_plots(struct wt_page *page, const json_t *result)
{
	plot_one(page, result, "vpd_pa", 0.001, 2, _("drying power, VPD kPa"), false);
	plot_one(page, result, "temp_c", 1.0, 1, _("temperature °C"), false);
	plot_one(page, result, "rh_pct", 1.0, 0, _("relative humidity %"), true);
}

static void print_skill(struct wt_page *page, const json_t *skill)
{
	struct wt_table table = wt_table_new("lrrr");
	size_t i;
	json_t *row;

	if (json_array_size(skill) == 0) {
		wt_table_clear(&table);
		return;
	}
	wt_page_row(page, WT_MARK_FAINT, "%s", _("forecasts of these days: off by"));
	wt_table_add(&table, WT_MARK_FAINT, _("ahead"));
	wt_table_add(&table, WT_MARK_FAINT, _("°C"));
	wt_table_add(&table, WT_MARK_FAINT, _("vapour Pa"));
	wt_table_add(&table, WT_MARK_FAINT, _("in the 80%"));
	json_array_foreach(skill, i, row)
	{
		char text[WT_SAY_SIZE];

		wt_say_number(text, wt_doc_number(row, "lead_s") / 3600.0, 1, " h");
		wt_table_add(&table, WT_MARK_NONE, text);
		wt_say_number(text, wt_doc_number(row, "temp_mae_c"), 1, "");
		wt_table_add(&table, WT_MARK_NONE, text);
		wt_say_number(text, wt_doc_number(row, "vapour_mae_pa"), 0, "");
		wt_table_add(&table, WT_MARK_NONE, text);
		wt_say_number(text, wt_doc_number(row, "coverage_80_pct"), 0, "%");
		wt_table_add(&table, WT_MARK_NONE, text);
	}
	wt_table_finish(&table, page);
}

void wt_print_air(struct wt_page *page, const json_t *result)
{
	double now = wt_doc_number(result, "now_unix_s");
	const json_t *outlook = wt_doc_object(result, "outlook");
	const char *room = wt_doc_text(result, "room");
	char when[WT_WHEN_SIZE];

	wt_when_full(when, now);
	wt_page_row(page, WT_MARK_HEAD, _("Air in %s, %s"), room ? room : "-", when);
	if (wt_doc_true(result, "stale") && isfinite(wt_doc_number(result, "age_s"))) {
		wt_when_span(when, wt_doc_number(result, "age_s"));
		wt_page_row(page, WT_MARK_ALARM, _("STALE: %s silent for %s"), room ? room : "-",
			    when);
	}
	wt_print_event(page, wt_doc_object(result, "event"), now);
	print_plots(page, result);
	/* The table repeats the plots in numbers where the terminal has the rows. */
	if (page->term.height == 0 || page->term.height >= 30 ||
	    json_array_size(wt_doc_list(wt_doc_object(result, "temp_c"), "p50")) == 0)
		print_hours(page, result, now);
	print_skill(page, wt_doc_list(result, "skill"));
	if (outlook && wt_doc_text(outlook, "attribution"))
		wt_page_text(page, WT_MARK_FAINT, 2, wt_doc_text(outlook, "attribution"));
}
