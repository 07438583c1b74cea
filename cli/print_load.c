/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * One load in full, and all loads in short.
 */
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "cli/doc.h"
#include "cli/memory.h"
#include "cli/night.h"
#include "cli/page.h"
#include "cli/plot.h"
#include "cli/print.h"
#include "cli/say.h"
#include "cli/table.h"
#include "cli/tongue.h"
#include "cli/when.h"
#include "cli/worded.h"

enum { LOAD_LABEL = 9 };

static void print_head(struct wt_page *page, const json_t *load, double now)
{
	char kg[WT_SAY_SIZE], area[WT_SAY_SIZE], density[WT_SAY_SIZE], spread[WT_WHEN_SIZE];
	const char *origin = wt_doc_text(load, "origin");

	wt_say_kg(kg, wt_doc_number(load, "kg"));
	wt_say_number(area, wt_doc_number(load, "area_m2"), 2, " m²");
	wt_say_number(density, wt_doc_number(load, "density_kg_m2"), 1, " kg/m²");
	wt_when_clock(spread, wt_doc_number(load, "spread_unix_s"), now);
	wt_page_row(page, WT_MARK_HEAD, _("Load %lld: %s, %s"), wt_doc_integer(load, "load", 0),
		    origin ? origin : "-", kg);
	wt_page_textf(
		page, WT_MARK_FAINT, 2, _("%s · %s · %s · leaf %s · surface water: %s"),
		wt_say_word(wt_doc_text(load, "room")), wt_say_word(wt_doc_text(load, "style")),
		wt_say_word(wt_doc_text(load, "season")), wt_say_word(wt_doc_text(load, "grade")),
		wt_say_word(wt_doc_text(load, "wet")));
	wt_page_fact(page, LOAD_LABEL, _("spread"), _("%s, %s, %s"), spread, area, density);
}

static void print_call(struct wt_page *page, const json_t *load, double now)
{
	const json_t *reason = wt_doc_object(load, "reason");
	const char *call = wt_doc_text(load, "call"), *why = wt_doc_text(load, "why");
	char chance[WT_SAY_SIZE], clauses[WT_WORDED_SIZE];

	if (!call) {
		if (reason)
			wt_page_fact(page, LOAD_LABEL, _("call"), _("none: %s"),
				     wt_say_reason(reason));
		return;
	}
	wt_say_chance(chance, wt_doc_number(load, "p_call"));
	wt_page_cell(page, WT_MARK_FAINT, LOAD_LABEL, _("call"));
	wt_page_gap(page, 1);
	wt_page_cell(page, wt_say_call_mark(call), 0, wt_say_word(wt_night_call(load, now)));
	wt_page_cellf(page, WT_MARK_NONE, 0, _(", %s sure"), chance);
	wt_page_end(page);
	if (why && !wt_tongue_foreign())
		wt_page_fact(page, LOAD_LABEL, _("because"), "%s", why);
	else if (wt_worded_clauses(clauses, wt_doc_list(load, "why_says")))
		wt_page_fact(page, LOAD_LABEL, _("because"), "%s", clauses);
	else if (reason)
		wt_page_fact(page, LOAD_LABEL, _("because"), "%s", wt_say_reason(reason));
}

static void print_forecast(struct wt_page *page, const json_t *load, double now)
{
	struct wt_doc_triple ready = wt_doc_triple(load, "ready_unix_s");
	struct wt_doc_triple past = wt_doc_triple(load, "past_unix_s");
	char loss[WT_SAY_SIZE], rate[WT_SAY_SIZE], from[WT_SAY_SIZE], latest[WT_SAY_SIZE];
	char range[WT_WHEN_SIZE], middle[WT_WHEN_SIZE];

	wt_say_loss(loss, wt_doc_triple(load, "loss_pct"));
	wt_say_number(rate, wt_doc_number(load, "rate_pct_h"), 1, "%/h");
	wt_say_number(from, wt_doc_number(load, "ready_from_loss_pct"), 0, "");
	wt_say_number(latest, wt_doc_number(load, "latest_loss_pct"), 0, "%");
	if (strcmp(loss, "-") == 0)
		wt_page_fact(page, LOAD_LABEL, _("loss"), _("not known (window %s-%s)"), from,
			     latest);
	else if (wt_doc_true(load, "closed"))
		wt_page_fact(page, LOAD_LABEL, _("loss"), _("%s at the end (window %s-%s)"), loss,
			     from, latest);
	else
		wt_page_fact(page, LOAD_LABEL, _("loss"), _("%s, %s (window %s-%s)"), loss, rate,
			     from, latest);
	wt_when_range(range, ready.p10, ready.p90, now);
	wt_when_clock(middle, ready.p50, now);
	if (ready.p90 <= now)
		wt_page_fact(page, LOAD_LABEL, _("ready"), _("since about %s"), middle);
	else if (wt_doc_true(load, "closed") && isfinite(ready.p50)) /* now is of no interest */
		wt_page_fact(page, LOAD_LABEL, _("ready"), _("about %s"), middle);
	else if (ready.p50 <= now && isfinite(ready.p90)) {
		/* More likely reached than not. */
		wt_when_clock(range, ready.p90, now);
		wt_page_fact(page, LOAD_LABEL, _("ready"), _("since about %s, or by %s"), middle,
			     range);
	} else if (isfinite(ready.p50))
		wt_page_fact(page, LOAD_LABEL, _("ready"), _("%s, likeliest %s"), range, middle);
	else
		wt_page_fact(page, LOAD_LABEL, _("ready"), "%s", range);
	if (wt_doc_true(load, "closed"))
		return; /* what would have become of it does not matter any more */
	wt_when_range(range, past.p10, past.p90, now);
	wt_when_clock(middle, past.p50, now);
	if (past.p90 <= now)
		wt_page_fact(page, LOAD_LABEL, _("past best"), _("since about %s"), middle);
	else
		wt_page_fact(page, LOAD_LABEL, _("past best"), "%s", range);
}

/* The curve as arrays; to be freed. */
struct curve {
	size_t n;
	double *at_unix_s, *p10, *p50, *p90;
};

static bool read_curve(const json_t *list, struct curve *out)
{
	size_t n = json_array_size(list), i;
	double *all = n ? wt_memory_get(4 * n, sizeof *all) : NULL;
	json_t *point;

	if (!all)
		return false;
	*out = (struct curve){0, all, all + n, all + 2 * n, all + 3 * n};
	json_array_foreach(list, i, point)
	{
		double at = wt_doc_number(point, "at_unix_s");

		if (!isfinite(at) || (out->n > 0 && at <= out->at_unix_s[out->n - 1]))
			continue;
		out->at_unix_s[out->n] = at;
		out->p10[out->n] = wt_doc_number(point, "p10");
		out->p50[out->n] = wt_doc_number(point, "p50");
		out->p90[out->n] = wt_doc_number(point, "p90");
		out->n++;
	}
	if (out->n < 2)
		free(all);
	return out->n >= 2;
}

/* The curve is followed a little beyond the time at which the load is probably past its best, but
 * at least half a day beyond now. */
static double plot_end(const json_t *load, const struct curve *curve, double now)
{
	double past = wt_doc_triple(load, "past_unix_s").p50;
	double fixed = wt_doc_number(load, "fixed_unix_s");
	double end = now + 12 * 3600.0;

	if (isfinite(past) && past + 3 * 3600.0 > end)
		end = past + 3 * 3600.0;
	if (isfinite(fixed))
		end = fixed + 3600.0;
	return fmin(end, curve->at_unix_s[curve->n - 1]);
}

/* Loss that a weighing showed: what it was expected to weigh stands at the middle of the curve. */
static double loss_seen_pct(const json_t *act, const struct curve *curve)
{
	const json_t *params = wt_doc_object(act, "params");
	double fresh_kg = wt_doc_number(params, "sample_fresh_kg");
	double seen = wt_doc_number(params, "kg"), expected = wt_doc_number(act, "expected");
	double middle_pct =
		wt_plot_at(curve->n, curve->at_unix_s, curve->p50, wt_doc_number(act, "at_unix_s"));

	if (isfinite(fresh_kg))
		seen /= fresh_kg;
	return expected > 0 ? 100.0 - (100.0 - middle_pct) * seen / expected : NAN;
}

static void mark_weighings(struct wt_plot *plot, const json_t *load, const struct curve *curve)
{
	size_t i;
	json_t *act;

	json_array_foreach(wt_doc_list(load, "acts"), i, act)
	{
		const char *verb = wt_doc_text(act, "verb");

		if (verb && strcmp(verb, "weigh") == 0 && !wt_doc_true(act, "undone"))
			wt_plot_point(plot, wt_doc_number(act, "at_unix_s"),
				      loss_seen_pct(act, curve));
	}
}

static void print_curve(struct wt_page *page, const json_t *load, double now)
{
	struct curve curve;
	struct wt_plot *plot;
	double high = wt_doc_number(load, "latest_loss_pct");
	struct wt_doc_triple loss = wt_doc_triple(load, "loss_pct");

	if (!read_curve(wt_doc_list(load, "curve"), &curve))
		return;
	if (isfinite(high) && loss.p50 > high)
		high = fmin(loss.p50, 95.0);
	high = isfinite(high) ? ceil((high + 5.0) / 10.0) * 10.0 : 100.0;
	plot = wt_plot_new(page, page->term.width >= 60 ? 10 : 8, curve.at_unix_s[0],
			   plot_end(load, &curve, now), 0.0, high);
	if (plot) {
		wt_page_row(page, WT_MARK_FAINT, "%s",
			    page->term.utf8 ? _("loss %, ░ window, ● weighed, │ now")
					    : _("loss %, . window, o weighed, | now"));
		wt_plot_shade(plot, wt_doc_number(load, "ready_from_loss_pct"),
			      wt_doc_number(load, "latest_loss_pct"));
		wt_plot_now(plot, now);
		wt_plot_band(plot, curve.n, curve.at_unix_s, curve.p10, curve.p90);
		wt_plot_line(plot, curve.n, curve.at_unix_s, curve.p50);
		mark_weighings(plot, load, &curve);
		wt_plot_print(plot, page, 0, true);
	}
	wt_plot_free(&plot);
	free(curve.at_unix_s);
}

static void print_acts(struct wt_page *page, const json_t *acts, double now)
{
	size_t i;
	json_t *act;
	int label = LOAD_LABEL;

	if (json_array_size(acts) > 0)
		wt_page_row(page, WT_MARK_FAINT, "%s", _("what was done"));
	/* Last month's times are wider than today's. */
	json_array_foreach(acts, i, act)
	{
		char when[WT_WHEN_SIZE];

		wt_when_clock(when, wt_doc_number(act, "at_unix_s"), now);
		if (wt_term_cells(when) > label)
			label = wt_term_cells(when);
	}
	json_array_foreach(acts, i, act)
	{
		char when[WT_WHEN_SIZE], text[WT_SAY_SIZE];

		wt_when_clock(when, wt_doc_number(act, "at_unix_s"), now);
		wt_say_act(text, act);
		wt_page_cell(page, WT_MARK_NONE, label, when);
		wt_page_gap(page, 1);
		wt_page_textf(page, wt_doc_true(act, "undone") ? WT_MARK_FAINT : WT_MARK_NONE,
			      label + 1, "%s%s", text,
			      wt_doc_true(act, "undone") ? _(" (taken back)") : "");
	}
}

void wt_print_show(struct wt_page *page, const json_t *result)
{
	double now = wt_doc_number(result, "now_unix_s");
	double fixed = wt_doc_number(result, "fixed_unix_s");
	char when[WT_WHEN_SIZE], span[WT_WHEN_SIZE], left[WT_SAY_SIZE];

	print_head(page, result, now);
	if (isfinite(fixed)) {
		wt_when_clock(when, fixed, now);
		wt_when_span(span, 3600.0 * wt_doc_number(result, "hours"));
		wt_page_fact(page, LOAD_LABEL, _("fixed"), _("%s, after %s"), when, span);
	}
	if (!wt_doc_true(result, "closed") && wt_doc_number(result, "left_share") < 0.999) {
		wt_say_number(left, 100.0 * wt_doc_number(result, "left_share"), 0, "%");
		wt_page_fact(page, LOAD_LABEL, _("left"), _("%s of the leaf"), left);
	}
	print_forecast(page, result, now);
	print_call(page, result, now);
	wt_say_notes(page, wt_doc_list(result, "notes"));
	print_curve(page, result, now);
	print_acts(page, wt_doc_list(result, "acts"), now);
}

static void add_row(struct wt_table *table, const json_t *load, double now)
{
	const char *state = wt_doc_text(load, "state"), *call = wt_doc_text(load, "call");
	bool open = state && strcmp(state, "open") == 0;
	double spread_unix_s = wt_doc_number(load, "spread_unix_s");
	char spread[WT_WHEN_SIZE], kg[WT_SAY_SIZE], loss[WT_SAY_SIZE];

	if (fabs(now - spread_unix_s) > 6 * 86400.0)
		wt_when_day(spread, spread_unix_s, now);
	else
		wt_when_clock(spread, spread_unix_s, now);
	wt_say_kg(kg, wt_doc_number(load, "kg"));
	wt_say_loss(loss, wt_doc_triple(load, "loss_pct"));
	wt_table_addf(table, WT_MARK_NONE, "%lld", wt_doc_integer(load, "load", 0));
	wt_table_add(table, WT_MARK_NONE, wt_doc_text(load, "origin"));
	wt_table_add(table, WT_MARK_NONE, spread);
	/* A closed load has no loss any more; its weight says more than a dash. */
	wt_table_add(table, WT_MARK_NONE, open ? loss : kg);
	wt_table_add(table, open ? wt_say_call_mark(call) : WT_MARK_FAINT,
		     open && call ? wt_say_word(wt_night_call(load, now)) : wt_say_word(state));
}

void wt_print_loads(struct wt_page *page, const json_t *result)
{
	const json_t *loads = wt_doc_list(result, "loads");
	const char *heads[] = {"#", _("garden"), _("spread"), _("loss"), _("call")};
	double now = wt_doc_number(result, "now_unix_s");
	struct wt_table table = wt_table_new("rFlrl");
	size_t i;
	json_t *load;

	if (json_array_size(loads) == 0) {
		wt_page_text(page, WT_MARK_NONE, 2,
			     _("No open load. wither loads --all shows those that are fixed."));
		return;
	}
	json_array_foreach(loads, i, load)
	{
		const char *state = wt_doc_text(load, "state");

		if (state && strcmp(state, "open") != 0)
			heads[3] = _("loss, kg");
	}
	for (i = 0; i < sizeof heads / sizeof *heads; i++)
		wt_table_add(&table, WT_MARK_FAINT, heads[i]);
	json_array_foreach(loads, i, load) add_row(&table, load, now);
	wt_table_finish(&table, page);
}
