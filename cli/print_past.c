/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * Looking back: how good the word was, what the leaf cost, what was learned.
 */
#include <math.h>
#include <stdio.h>
#include <string.h>

#include "cli/doc.h"
#include "cli/page.h"
#include "cli/plot.h"
#include "cli/print.h"
#include "cli/say.h"
#include "cli/table.h"
#include "cli/tongue.h"
#include "cli/when.h"
#include "cli/worded.h"

static void add_number(struct wt_table *table, double value, int decimals, const char *unit)
{
	char text[WT_SAY_SIZE];

	wt_say_number(text, value, decimals, unit);
	wt_table_add(table, WT_MARK_NONE, text);
}

static void add_heads(struct wt_table *table, const char *const *heads)
{
	for (size_t i = 0; i < table->columns; i++)
		wt_table_add(table, WT_MARK_FAINT, heads[i]);
}

static void print_leads(struct wt_page *page, const json_t *leads)
{
	const char *const heads[] = {_("ahead"), _("n"),    _("off by"), _("bias"),
				     "80%",      _("gain"), _("of")};
	struct wt_table table = wt_table_new("rrrrrrr");
	size_t i;
	json_t *row;
	long long known = 0;

	json_array_foreach(leads, i, row) known += wt_doc_integer(row, "n", 0);
	if (known == 0) {
		wt_page_text(
			page, WT_MARK_NONE, 2,
			_("No load that was weighed has been closed yet: nothing to compare."));
		return;
	}
	add_heads(&table, heads);
	json_array_foreach(leads, i, row)
	{
		/* A lead at which nothing was known yet says nothing. */
		if (wt_doc_integer(row, "n", 0) == 0)
			continue;
		add_number(&table, wt_doc_number(row, "lead_h"), 0, " h");
		add_number(&table, wt_doc_number(row, "n"), 0, "");
		add_number(&table, wt_doc_number(row, "median_abs_err_min"), 0, " min");
		add_number(&table, wt_doc_number(row, "bias_min"), 0, " min");
		add_number(&table, wt_doc_number(row, "coverage_80_pct"), 0, "%");
		add_number(&table, wt_doc_number(row, "gain_pct"), 0, "%");
		add_number(&table, wt_doc_number(row, "n_compared"), 0, "");
	}
	wt_table_finish(&table, page);
	wt_page_text(page, WT_MARK_FAINT, 2,
		     _("80%: how often the outcome lay in the band that should hold 80%. gain: how "
		       "much less off than the usual hours of your earlier loads; of: over so many "
		       "forecasts."));
}

static void print_worst(struct wt_page *page, const json_t *worst)
{
	size_t i;
	json_t *row;

	json_array_foreach(worst, i, row)
	{
		char error[WT_WHEN_SIZE], why[WT_WORDED_SIZE];
		double error_min = wt_doc_number(row, "error_min");

		if (i >= 3)
			break;
		wt_when_span(error, fabs(error_min) * 60.0);
		wt_worded(why, row, NULL);
		wt_page_textf(page, WT_MARK_NONE, 2,
			      error_min < 0 ? _("#%lld was ready %s later than said: %s")
					    : _("#%lld was ready %s sooner than said: %s"),
			      wt_doc_integer(row, "load", 0), error, why);
	}
}

/* Forecast against outcome, hours from spreading; on the line the word was true. */
static void print_scatter(struct wt_page *page, const json_t *scatter)
{
	double high_h = 0, ends[2] = {0, 0};
	char label[WT_SAY_SIZE];
	struct wt_plot *plot;
	size_t i;
	json_t *row;

	json_array_foreach(scatter, i, row)
	{
		high_h = fmax(high_h, wt_doc_number(row, "forecast_h"));
		high_h = fmax(high_h, wt_doc_number(row, "outcome_h"));
	}
	if (json_array_size(scatter) < 3 || !(high_h < 1000.0))
		return;
	ends[1] = high_h = ceil(high_h / 6.0) * 6.0;
	plot = wt_plot_new(page, 7, 0.0, high_h, 0.0, high_h);
	if (!plot)
		return;
	wt_page_row(page, WT_MARK_FAINT, "%s", _("hours till ready: outcome vs forecast"));
	wt_plot_line(plot, 2, ends, ends);
	json_array_foreach(scatter, i, row) wt_plot_point(plot, wt_doc_number(row, "forecast_h"),
							  wt_doc_number(row, "outcome_h"));
	wt_plot_print(plot, page, 0, false);
	wt_plot_free(&plot);
	wt_say_number(label, high_h, 0, " h");
	wt_page_gap(page, 5);
	wt_page_cell(page, WT_MARK_FAINT, 5, "0 h");
	wt_page_cell(page, WT_MARK_FAINT, 10 - page->term.width, label);
	wt_page_end(page);
}

void wt_print_review(struct wt_page *page, const json_t *result)
{
	const json_t *calls = wt_doc_object(result, "calls");
	long long n = wt_doc_integer(calls, "n", 0),
		  unweighed = wt_doc_integer(result, "loads_unweighed", 0),
		  closed = wt_doc_integer(result, "loads_closed", 0);

	wt_page_row(
		page, WT_MARK_HEAD,
		_n("How good the word was: %lld load", "How good the word was: %lld loads", closed),
		closed);
	if (unweighed > 0)
		wt_page_textf(
			page, WT_MARK_FAINT, 2,
			_n("%lld load was never weighed; it proves nothing and is not counted.",
			   "%lld loads were never weighed; they prove nothing and are not counted.",
			   unweighed),
			unweighed);
	print_leads(page, wt_doc_list(result, "by_lead"));
	if (n > 0) {
		char brier[WT_SAY_SIZE];

		wt_say_number(brier, wt_doc_number(calls, "brier"), 2, "");
		wt_page_textf(page, WT_MARK_NONE, 2,
			      _("Calls right: %lld of %lld (Brier score %s)"),
			      wt_doc_integer(calls, "right", 0), n, brier);
	}
	print_worst(page, wt_doc_list(result, "worst"));
	print_scatter(page, wt_doc_list(result, "scatter"));
}

static void add_ledger(struct wt_table *table, const char *name, const json_t *row)
{
	wt_table_add(table, WT_MARK_NONE, name);
	add_number(table, wt_doc_number(row, "loss_pct"), 0, "%");
	add_number(table, wt_doc_number(row, "hours"), 1, "");
	add_number(table, wt_doc_number(row, "outturn"), 2, "");
	add_number(table, wt_doc_number(row, "yellow_pct"), 0, "%");
	add_number(table, wt_doc_number(row, "cost_per_kg"), 2, "");
}

/* Loads and groups stand in one table, so that their columns agree. */
static struct wt_table ledger_table(const json_t *rows, const json_t *groups)
{
	const char *const heads[] = {_("garden"), _("loss"), _("hours"),
				     _("ratio"),  _("yel."), _("/kg")};
	struct wt_table table = wt_table_new("Frrrrr");
	char name[256];
	size_t i;
	json_t *row;

	add_heads(&table, heads);
	json_array_foreach(rows, i, row)
	{
		const char *origin = wt_doc_text(row, "origin");

		snprintf(name, sizeof name, "%lld %s", wt_doc_integer(row, "load", 0),
			 origin ? origin : "-");
		add_ledger(&table, name, row);
	}
	json_array_foreach(groups, i, row)
	{
		add_ledger(&table, wt_doc_text(row, "origin"), row);
	}
	return table;
}

/* The gardens of each season below its name: behind a garden's it would be cut on a phone. */
static void print_seasons(struct wt_page *page, const struct wt_table *table, size_t first,
			  const json_t *groups)
{
	static const char *const seasons[] = {"spring", "summer", "autumn"};

	for (size_t s = 0; s < sizeof seasons / sizeof *seasons; s++) {
		bool headed = false;

		for (size_t i = 0; i < json_array_size(groups); i++) {
			const char *season = wt_doc_text(json_array_get(groups, i), "season");

			if (!season || strcmp(season, seasons[s]) != 0)
				continue;
			if (!headed)
				wt_page_row(page, WT_MARK_HEAD, _("%s, by garden"),
					    wt_say_word(season));
			headed = true;
			wt_table_print(table, page, first + i, first + i + 1);
		}
	}
}

void wt_print_ledger(struct wt_page *page, const json_t *result)
{
	const json_t *rows = wt_doc_list(result, "rows"), *groups = wt_doc_list(result, "groups");
	size_t n = json_array_size(rows), i;
	struct wt_table table;
	json_t *row;

	if (n == 0) {
		wt_page_text(
			page, WT_MARK_NONE, 2,
			_("No load has a yield yet. After sorting: wither yield 7 --made 2.1kg "
			  "--yellow 80g"));
		return;
	}
	table = ledger_table(rows, groups);
	wt_table_print(&table, page, 0, 1);
	json_array_foreach(rows, i, row)
	{
		wt_table_print(&table, page, i + 1, i + 2);
		if (!json_is_null(json_object_get(row, "note"))) {
			char note[WT_WORDED_SIZE];

			wt_worded_note(note, json_object_get(row, "note"));
			wt_page_textf(page, WT_MARK_FAINT, 4, "  ! %s", note);
		}
	}
	print_seasons(page, &table, n + 1, groups);
	wt_table_clear(&table);
	wt_page_text(
		page, WT_MARK_FAINT, 2,
		_("ratio: kg of leaf for one of made tea. yel.: yellow leaf sorted out. /kg: leaf "
		  "cost of one kg of sorted tea, of made tea where none was sorted."));
}

static void print_style(struct wt_page *page, const json_t *style)
{
	const json_t *proposal = wt_doc_object(style, "proposal");
	const char *name = wt_doc_text(style, "style");
	char ready_from[WT_SAY_SIZE], proposed[WT_SAY_SIZE];
	long long from = wt_doc_integer(proposal, "from_loads", 0);

	wt_say_number(ready_from, wt_doc_number(style, "ready_from_loss_pct"), 1, "%");
	wt_page_row(page, WT_MARK_NONE, _("%s: ready from %s loss"), name ? name : "-", ready_from);
	if (!proposal)
		return;
	wt_say_number(proposed, wt_doc_number(proposal, "ready_from_loss_pct"), 1, "%");
	wt_page_textf(page, WT_MARK_HEAD, 2,
		      _n("  Your %lld load says %s. Take it: wither style %s --accept",
			 "  Your %lld loads say %s. Take it: wither style %s --accept", from),
		      from, proposed, name ? name : "-");
}

static void print_hand(struct wt_page *page, const json_t *feel)
{
	const json_t *cuts = wt_doc_list(feel, "cut_loss_pct");

	if (json_array_size(cuts) != 4)
		return;
	wt_page_textf(page, WT_MARK_NONE, 2,
		      _("By hand: soft from %.0f%%, limp %.0f%%, slack %.0f%%, dry-edged %.0f%%"),
		      json_number_value(json_array_get(cuts, 0)),
		      json_number_value(json_array_get(cuts, 1)),
		      json_number_value(json_array_get(cuts, 2)),
		      json_number_value(json_array_get(cuts, 3)));
}

void wt_print_gardens(struct wt_page *page, const json_t *result)
{
	const char *const heads[] = {_("garden"), _("loads"), _("pace"), _("water")};
	struct wt_table table = wt_table_new("Frrr");
	size_t i;
	json_t *row;

	add_heads(&table, heads);
	json_array_foreach(wt_doc_list(result, "rows"), i, row)
	{
		char text[WT_SAY_SIZE];
		const char *name = wt_doc_text(row, "name"), *kind = wt_doc_text(row, "kind");
		bool origin = kind && strcmp(kind, "origin") == 0;

		wt_table_add(&table, origin ? WT_MARK_NONE : WT_MARK_FAINT,
			     origin && name ? name : wt_say_word(name && *name ? name : kind));
		add_number(&table, wt_doc_number(row, "loads"), 0, "");
		wt_say_triple(text, wt_doc_triple(row, "pace"), 2, "");
		wt_table_add(&table, WT_MARK_NONE, text);
		wt_say_triple(text, wt_doc_triple(row, "moisture_pct"), 0, "%");
		wt_table_add(&table, WT_MARK_NONE, text);
	}
	wt_table_finish(&table, page);
	wt_page_text(page, WT_MARK_FAINT, 2,
		     _("pace: 1 is usual leaf, 1.2 withers a fifth faster."));
	print_hand(page, wt_doc_object(result, "feel"));
	json_array_foreach(wt_doc_list(result, "styles"), i, row) print_style(page, row);
}
