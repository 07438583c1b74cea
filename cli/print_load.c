/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * One load in full, and all loads in short.
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
	wt_page_fact(page, LOAD_LABEL, _("spread"), "%s, %s, %s", spread, area, density);
}

static void print_call(struct wt_page *page, const json_t *load)
{
	const json_t *reason = wt_doc_object(load, "reason");
	const char *call = wt_doc_text(load, "call"), *why = wt_doc_text(load, "why");
	char chance[WT_SAY_SIZE];

	if (!call)
		return;
	wt_say_chance(chance, wt_doc_number(load, "p_call"));
	wt_page_cell(page, WT_MARK_FAINT, LOAD_LABEL, _("call"));
	wt_page_gap(page, 1);
	wt_page_cell(page, wt_say_call_mark(call), 0, wt_say_word(call));
	wt_page_cellf(page, WT_MARK_NONE, 0, _(", %s sure"), chance);
	wt_page_end(page);
	if (why || reason)
		wt_page_fact(page, LOAD_LABEL, _("because"), "%s",
			     reason && wt_say_code(reason) != wt_doc_text(reason, "code")
				     ? wt_say_code(reason)
				     : (why ? why : "-"));
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
	wt_page_fact(page, LOAD_LABEL, _("loss"), _("%s, %s (window %s-%s)"), loss, rate, from,
		     latest);
	wt_when_range(range, ready.p10, ready.p90, now);
	wt_when_clock(middle, ready.p50, now);
	wt_page_fact(page, LOAD_LABEL, _("ready"), _("%s, likeliest %s"), range, middle);
	wt_when_range(range, past.p10, past.p90, now);
	wt_page_fact(page, LOAD_LABEL, _("past best"), "%s", range);
}

static void print_acts(struct wt_page *page, const json_t *acts, double now)
{
	size_t i;
	json_t *act;

	if (json_array_size(acts) > 0)
		wt_page_row(page, WT_MARK_FAINT, "%s", _("what was done"));
	json_array_foreach(acts, i, act)
	{
		char when[WT_WHEN_SIZE];
		const char *text = wt_doc_text(act, "text"), *verb = wt_doc_text(act, "verb");

		wt_when_clock(when, wt_doc_number(act, "at_unix_s"), now);
		wt_page_cell(page, WT_MARK_NONE, LOAD_LABEL, when);
		wt_page_gap(page, 1);
		wt_page_textf(page, wt_doc_true(act, "undone") ? WT_MARK_FAINT : WT_MARK_NONE,
			      LOAD_LABEL + 1, "%s%s", text ? text : (verb ? verb : "-"),
			      wt_doc_true(act, "undone") ? _(" (taken back)") : "");
	}
}

void wt_print_show(struct wt_page *page, const json_t *result)
{
	double now = wt_doc_number(result, "now_unix_s");
	double fixed = wt_doc_number(result, "fixed_unix_s");
	char when[WT_WHEN_SIZE];

	print_head(page, result, now);
	if (isfinite(fixed)) {
		wt_when_clock(when, fixed, now);
		wt_page_fact(page, LOAD_LABEL, _("fixed"), "%s", when);
	}
	print_forecast(page, result, now);
	print_call(page, result);
	wt_say_notes(page, wt_doc_list(result, "notes"));
	print_acts(page, wt_doc_list(result, "acts"), now);
}

static void print_row(struct wt_page *page, const json_t *load, double now)
{
	const char *state = wt_doc_text(load, "state"), *origin = wt_doc_text(load, "origin");
	const char *call = wt_doc_text(load, "call");
	bool open = state && strcmp(state, "open") == 0;
	char spread[WT_WHEN_SIZE], kg[WT_SAY_SIZE], loss[WT_SAY_SIZE];
	int flexible = page->term.width - 4 - 10 - 7 - 8 - 4;

	wt_when_clock(spread, wt_doc_number(load, "spread_unix_s"), now);
	if (fabs(now - wt_doc_number(load, "spread_unix_s")) > 6 * 86400.0)
		wt_when_day(spread, wt_doc_number(load, "spread_unix_s"), now);
	wt_say_number(kg, wt_doc_number(load, "kg"), 1, "");
	wt_say_loss(loss, wt_doc_triple(load, "loss_pct"));
	wt_page_cellf(page, WT_MARK_NONE, -4, "%lld", wt_doc_integer(load, "load", 0));
	wt_page_gap(page, 1);
	wt_page_cell(page, WT_MARK_NONE, flexible < 24 ? flexible : 24, origin ? origin : "-");
	wt_page_gap(page, 1);
	wt_page_cell(page, WT_MARK_NONE, 10, spread);
	wt_page_gap(page, 1);
	wt_page_cell(page, WT_MARK_NONE, -7, open ? loss : kg);
	wt_page_gap(page, 1);
	wt_page_cell(page, open ? wt_say_call_mark(call) : WT_MARK_FAINT, 0,
		     open && call ? wt_say_word(call) : wt_say_word(state));
	wt_page_end(page);
}

void wt_print_loads(struct wt_page *page, const json_t *result)
{
	const json_t *loads = wt_doc_list(result, "loads");
	double now = wt_doc_number(result, "now_unix_s");
	int flexible = page->term.width - 4 - 10 - 7 - 8 - 4;
	size_t i;
	json_t *load;

	if (json_array_size(loads) == 0) {
		wt_page_text(page, WT_MARK_NONE, 2,
			     _("No open load. wither loads --all shows those that are fixed."));
		return;
	}
	wt_page_cell(page, WT_MARK_FAINT, -4, "#");
	wt_page_gap(page, 1);
	wt_page_cell(page, WT_MARK_FAINT, flexible < 24 ? flexible : 24, _("garden"));
	wt_page_gap(page, 1);
	wt_page_cell(page, WT_MARK_FAINT, 10, _("spread"));
	wt_page_gap(page, 1);
	wt_page_cell(page, WT_MARK_FAINT, -7, _("loss/kg"));
	wt_page_gap(page, 1);
	wt_page_cell(page, WT_MARK_FAINT, 0, _("call"));
	wt_page_end(page);
	json_array_foreach(loads, i, load) print_row(page, load, now);
}
