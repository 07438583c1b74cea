/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * Looking back: how good the word was, what the leaf cost, what was learned.
 */
#include <math.h>
#include <stdio.h>
#include <string.h>

#include "cli/doc.h"
#include "cli/page.h"
#include "cli/print.h"
#include "cli/say.h"
#include "cli/tongue.h"
#include "cli/when.h"

static void number_cell(struct wt_page *page, int cells, double value, int decimals)
{
	char text[WT_SAY_SIZE];

	wt_say_number(text, value, decimals, "");
	wt_page_cell(page, WT_MARK_NONE, cells, text);
}

static void print_leads(struct wt_page *page, const json_t *leads)
{
	size_t i;
	json_t *row;

	if (json_array_size(leads) == 0)
		return;
	wt_page_cell(page, WT_MARK_FAINT, -5, _("lead"));
	wt_page_cell(page, WT_MARK_FAINT, -5, _("n"));
	wt_page_cell(page, WT_MARK_FAINT, -8, _("off by"));
	wt_page_cell(page, WT_MARK_FAINT, -8, _("bias"));
	wt_page_cell(page, WT_MARK_FAINT, -6, _("80%"));
	wt_page_cell(page, WT_MARK_FAINT, -8, _("gain"));
	wt_page_end(page);
	json_array_foreach(leads, i, row)
	{
		double crps = wt_doc_number(row, "crps_min"),
		       plain = wt_doc_number(row, "crps_reference_min");
		char text[WT_SAY_SIZE];

		wt_say_number(text, wt_doc_number(row, "lead_h"), 0, " h");
		wt_page_cell(page, WT_MARK_NONE, -5, text);
		number_cell(page, -5, wt_doc_number(row, "n"), 0);
		wt_say_number(text, wt_doc_number(row, "median_abs_err_min"), 0, " min");
		wt_page_cell(page, WT_MARK_NONE, -8, text);
		wt_say_number(text, wt_doc_number(row, "bias_min"), 0, " min");
		wt_page_cell(page, WT_MARK_NONE, -8, text);
		wt_say_number(text, wt_doc_number(row, "coverage_80_pct"), 0, "%");
		wt_page_cell(page, WT_MARK_NONE, -6, text);
		wt_say_number(text, plain > 0 ? 100.0 * (1.0 - crps / plain) : NAN, 0, "%");
		wt_page_cell(page, WT_MARK_NONE, -8, text);
		wt_page_end(page);
	}
	wt_page_text(
		page, WT_MARK_FAINT, 2,
		_("80%: how often the outcome lay in the band that should hold 80%. gain: against "
		  "the plain reference forecast."));
}

static void print_worst(struct wt_page *page, const json_t *worst)
{
	size_t i;
	json_t *row;

	json_array_foreach(worst, i, row)
	{
		char error[WT_WHEN_SIZE];
		double error_min = wt_doc_number(row, "error_min");

		if (i >= 3)
			break;
		wt_when_span(error, fabs(error_min) * 60.0);
		wt_page_textf(page, WT_MARK_NONE, 2,
			      error_min > 0 ? _("#%lld was ready %s later than said: %s")
					    : _("#%lld was ready %s sooner than said: %s"),
			      wt_doc_integer(row, "load", 0), error, wt_say_code(row));
	}
}

void wt_print_review(struct wt_page *page, const json_t *result)
{
	const json_t *calls = wt_doc_object(result, "calls");
	long long n = wt_doc_integer(calls, "n", 0),
		  unweighed = wt_doc_integer(result, "loads_unweighed", 0);

	wt_page_row(page, WT_MARK_HEAD, _("How good the word was: %lld loads"),
		    wt_doc_integer(result, "loads_closed", 0));
	if (unweighed > 0)
		wt_page_textf(
			page, WT_MARK_FAINT, 2,
			_("%lld loads were never weighed; they prove nothing and are not counted."),
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
}

static void ledger_head(struct wt_page *page, int name_cells)
{
	wt_page_cell(page, WT_MARK_FAINT, name_cells, _("garden"));
	wt_page_cell(page, WT_MARK_FAINT, -6, _("loss"));
	wt_page_cell(page, WT_MARK_FAINT, -6, _("hours"));
	wt_page_cell(page, WT_MARK_FAINT, -6, _("ratio"));
	wt_page_cell(page, WT_MARK_FAINT, -5, _("yel."));
	wt_page_cell(page, WT_MARK_FAINT, -7, _("/kg"));
	wt_page_end(page);
}

static void ledger_row(struct wt_page *page, int name_cells, const char *name, const json_t *row)
{
	char text[WT_SAY_SIZE];

	wt_page_cell(page, WT_MARK_NONE, name_cells - 1, name);
	wt_page_gap(page, 1);
	wt_say_number(text, wt_doc_number(row, "loss_pct"), 0, "%");
	wt_page_cell(page, WT_MARK_NONE, -6, text);
	number_cell(page, -6, wt_doc_number(row, "hours"), 1);
	number_cell(page, -6, wt_doc_number(row, "outturn"), 2);
	wt_say_number(text, wt_doc_number(row, "yellow_pct"), 0, "%");
	wt_page_cell(page, WT_MARK_NONE, -5, text);
	number_cell(page, -7, wt_doc_number(row, "cost_per_kg"), 2);
	wt_page_end(page);
}

void wt_print_ledger(struct wt_page *page, const json_t *result)
{
	const json_t *rows = wt_doc_list(result, "rows"), *groups = wt_doc_list(result, "groups");
	int name_cells = page->term.width - 30 < 30 ? page->term.width - 30 : 30;
	size_t i;
	json_t *row;
	char name[WT_SAY_SIZE];

	if (json_array_size(rows) == 0) {
		wt_page_text(
			page, WT_MARK_NONE, 2,
			_("No load has a yield yet. After sorting: wither yield 7 --made 2.1kg "
			  "--yellow 80g"));
		return;
	}
	ledger_head(page, name_cells);
	json_array_foreach(rows, i, row)
	{
		const char *origin = wt_doc_text(row, "origin");

		snprintf(name, sizeof name, "%lld %s", wt_doc_integer(row, "load", 0),
			 origin ? origin : "-");
		ledger_row(page, name_cells, name, row);
		if (wt_doc_text(row, "note"))
			wt_page_textf(page, WT_MARK_FAINT, 4, "  ! %s", wt_doc_text(row, "note"));
	}
	if (json_array_size(groups) > 0)
		wt_page_row(page, WT_MARK_HEAD, "%s", _("by garden and season"));
	json_array_foreach(groups, i, row)
	{
		const char *origin = wt_doc_text(row, "origin");

		snprintf(name, sizeof name, "%s %s", origin ? origin : "-",
			 wt_say_word(wt_doc_text(row, "season")));
		ledger_row(page, name_cells, name, row);
	}
	wt_page_text(page, WT_MARK_FAINT, 2,
		     _("ratio: made tea to fresh leaf. yel.: yellow leaf sorted out. /kg: leaf "
		       "cost of one "
		       "kg of sorted tea."));
}

static void print_style(struct wt_page *page, const json_t *style)
{
	const json_t *proposal = wt_doc_object(style, "proposal");
	const char *name = wt_doc_text(style, "style");
	char from[WT_SAY_SIZE], proposed[WT_SAY_SIZE];

	wt_say_number(from, wt_doc_number(style, "ready_from_loss_pct"), 1, "%");
	wt_page_row(page, WT_MARK_NONE, _("%s: ready from %s loss"), name ? name : "-", from);
	if (!proposal)
		return;
	wt_say_number(proposed, wt_doc_number(proposal, "ready_from_loss_pct"), 1, "%");
	wt_page_textf(page, WT_MARK_HEAD, 2,
		      _("  Your %lld loads say %s. Take it: wither style %s --accept"),
		      wt_doc_integer(proposal, "from_loads", 0), proposed, name ? name : "-");
}

void wt_print_gardens(struct wt_page *page, const json_t *result)
{
	const json_t *feel = wt_doc_object(result, "feel");
	int name_cells = page->term.width - 26 < 30 ? page->term.width - 26 : 30;
	size_t i;
	json_t *row;

	wt_page_cell(page, WT_MARK_FAINT, name_cells, _("garden"));
	wt_page_cell(page, WT_MARK_FAINT, -6, _("loads"));
	wt_page_cell(page, WT_MARK_FAINT, -11, _("pace"));
	wt_page_cell(page, WT_MARK_FAINT, -9, _("water"));
	wt_page_end(page);
	json_array_foreach(wt_doc_list(result, "rows"), i, row)
	{
		char text[WT_SAY_SIZE];
		const char *name = wt_doc_text(row, "name"), *kind = wt_doc_text(row, "kind");

		wt_page_cellf(page,
			      kind && strcmp(kind, "origin") == 0 ? WT_MARK_NONE : WT_MARK_FAINT,
			      name_cells, "%s", wt_say_word(name && *name ? name : kind));
		number_cell(page, -6, wt_doc_number(row, "loads"), 0);
		wt_say_triple(text, wt_doc_triple(row, "pace"), 2, "");
		wt_page_cell(page, WT_MARK_NONE, -11, text);
		wt_say_triple(text, wt_doc_triple(row, "moisture_pct"), 0, "%");
		wt_page_cell(page, WT_MARK_NONE, -9, text);
		wt_page_end(page);
	}
	wt_page_text(page, WT_MARK_FAINT, 2,
		     _("pace: 1 is usual leaf, 1.2 withers a fifth faster."));
	if (json_array_size(wt_doc_list(feel, "cut_loss_pct")) == 4) {
		const json_t *cuts = wt_doc_list(feel, "cut_loss_pct");

		wt_page_textf(
			page, WT_MARK_NONE, 2,
			_("By hand: soft from %.0f%%, limp %.0f%%, slack %.0f%%, dry-edged %.0f%%"),
			json_number_value(json_array_get(cuts, 0)),
			json_number_value(json_array_get(cuts, 1)),
			json_number_value(json_array_get(cuts, 2)),
			json_number_value(json_array_get(cuts, 3)));
	}
	json_array_foreach(wt_doc_list(result, "styles"), i, row) print_style(page, row);
}
