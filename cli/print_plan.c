/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * The plan of firings, how thick to spread, what if.
 */
#include <math.h>
#include <stdio.h>
#include <string.h>

#include "cli/doc.h"
#include "cli/page.h"
#include "cli/print.h"
#include "cli/say.h"
#include "cli/table.h"
#include "cli/tongue.h"
#include "cli/when.h"

static bool is_when(const json_t *firing, const char *when)
{
	const char *text = wt_doc_text(firing, "when");

	return text && strcmp(text, when) == 0;
}

static void add_firing(struct wt_table *table, const json_t *firing, double now)
{
	char start[WT_WHEN_SIZE], kg[WT_SAY_SIZE], chance[WT_SAY_SIZE];

	wt_when_clock(start, wt_doc_number(firing, "start_unix_s"), now);
	wt_say_kg(kg, wt_doc_number(firing, "kg"));
	wt_say_chance(chance, wt_doc_number(firing, "p_in_window"));
	wt_table_add(table, is_when(firing, "tonight") ? WT_MARK_FIRE : WT_MARK_REST, start);
	wt_table_addf(table, WT_MARK_NONE, _("wok %lld"), wt_doc_integer(firing, "wok", 0));
	wt_table_addf(table, WT_MARK_NONE, "#%lld", wt_doc_integer(firing, "load", 0));
	wt_table_add(table, WT_MARK_NONE, wt_doc_text(firing, "origin"));
	wt_table_add(table, WT_MARK_NONE, kg);
	wt_table_add(table, WT_MARK_NONE, chance);
}

static void print_firings(struct wt_page *page, const json_t *firings, const char *when,
			  const char *heading, double now)
{
	struct wt_table table = wt_table_new("llrFrr");
	size_t i;
	json_t *firing;

	json_array_foreach(firings, i, firing) if (is_when(firing, when))
		add_firing(&table, firing, now);
	if (wt_table_rows(&table) > 0)
		wt_page_row(page, WT_MARK_HEAD, "%s", heading);
	wt_table_finish(&table, page);
}

static void print_hearth(struct wt_page *page, const json_t *hearth, double now)
{
	char last[WT_WHEN_SIZE], first[WT_WHEN_SIZE], kg[WT_SAY_SIZE], minutes[WT_SAY_SIZE];

	if (!hearth)
		return;
	wt_when_clock(last, wt_doc_number(hearth, "last_start_unix_s"), now);
	wt_when_clock(first, wt_doc_number(hearth, "first_start_unix_s"), now);
	wt_say_kg(kg, wt_doc_number(hearth, "wok_kg"));
	wt_say_number(minutes, wt_doc_number(hearth, "minutes"), 0, " min");
	wt_page_textf(page, WT_MARK_FAINT, 2,
		      _("%lld woks of %s, %s a firing, last start %s, first %s"),
		      wt_doc_integer(hearth, "woks", 0), kg, minutes, last, first);
}

void wt_print_plan(struct wt_page *page, const json_t *result)
{
	const json_t *firings = wt_doc_list(result, "firings");
	const json_t *hearth = wt_doc_object(result, "hearth");
	double now = wt_doc_number(result, "now_unix_s");
	long long unplaced = wt_doc_integer(result, "unplaced", 0);
	char when[WT_WHEN_SIZE];
	size_t i;
	json_t *lost;

	wt_when_full(when, now);
	wt_page_row(page, WT_MARK_HEAD, _("Firings, %s"), when);
	if (wt_doc_integer(hearth, "woks", 1) == 0)
		wt_page_text(page, WT_MARK_ALARM, 2, _("No wok is set up ([hearth] woks = 0)."));
	else if (json_array_size(firings) == 0)
		wt_page_text(page, WT_MARK_NONE, 2,
			     _("No firing should start before tomorrow's end."));
	print_firings(page, firings, "tonight", _("tonight (chance inside the window)"), now);
	print_firings(page, firings, "morning", _("morning"), now);
	if (unplaced > 0)
		wt_page_textf(page, WT_MARK_ALARM, 2,
			      _("%lld firings find no place before the woks close."), unplaced);
	json_array_foreach(wt_doc_list(result, "given_up"), i, lost)
		wt_page_textf(page, WT_MARK_ALARM, 2, _("#%lld given up: %s"),
			      wt_doc_integer(lost, "load", 0), wt_say_code(lost));
	print_hearth(page, hearth, now);
	wt_say_cautions(page);
}

static void add_bed(struct wt_table *table, const json_t *row, double now, enum wt_mark mark)
{
	char text[WT_SAY_SIZE], ready[WT_WHEN_SIZE];
	struct wt_doc_triple at = wt_doc_triple(row, "ready_unix_s");

	wt_say_number(text, wt_doc_number(row, "kg_m2"), 1, "");
	wt_table_add(table, mark, text);
	wt_say_number(text, wt_doc_number(row, "area_m2"), 1, "");
	wt_table_add(table, mark, text);
	wt_say_number(text, wt_doc_number(row, "trays"), 1, "");
	wt_table_add(table, mark, text);
	wt_when_range(ready, at.p10, at.p90, now);
	wt_table_add(table, mark, ready);
	wt_say_chance(text, wt_doc_number(row, "p_ready_tonight"));
	wt_table_add(table, mark, text);
}

void wt_print_density(struct wt_page *page, const json_t *result)
{
	double now = wt_doc_number(result, "now_unix_s");
	const json_t *wish = wt_doc_object(result, "for_wish"), *rows = wt_doc_list(result, "rows");
	const char *origin = wt_doc_text(result, "origin");
	const char *const heads[] = {"kg/m²", "m²", _("trays"), _("ready"), _("tonight")};
	struct wt_table table = wt_table_new("rrrlr");
	char kg[WT_SAY_SIZE];
	size_t i, last;
	json_t *row;

	wt_say_kg(kg, wt_doc_number(result, "kg"));
	wt_page_row(page, WT_MARK_HEAD, _("%s, %s: how thick to spread"), origin ? origin : "-",
		    kg);
	for (i = 0; i < 5; i++)
		wt_table_add(&table, WT_MARK_FAINT, heads[i]);
	json_array_foreach(rows, i, row) add_bed(&table, row, now, WT_MARK_NONE);
	if (wish)
		add_bed(&table, wish, now, WT_MARK_HEAD);
	last = 1 + json_array_size(rows);
	wt_table_print(&table, page, 0, 1);
	json_array_foreach(rows, i, row)
	{
		wt_table_print(&table, page, i + 1, i + 2);
		const char *note = wt_doc_text(row, "note");
		const char *above = wt_doc_text(json_array_get(rows, i ? i - 1 : 0), "note");

		/* Said once, at the thinnest bed it holds for. */
		if (note && (i == 0 || !above || strcmp(note, above) != 0))
			wt_page_textf(page, WT_MARK_FAINT, 4, "  ! %s",
				      wt_say_note(json_object_get(row, "note")));
	}
	if (wish)
		wt_page_row(page, WT_MARK_HEAD, "%s", _("for the time you wish"));
	wt_table_print(&table, page, last, last + 1);
	wt_table_clear(&table);
	wt_say_notes(page, wt_doc_list(result, "warnings"));
}

static void print_change(struct wt_page *page, const json_t *change)
{
	static const struct {
		const char *key, *label, *unit;
	} shown[] = {{"area_m2", N_("spread on"), " m²"},
		     {"warmer_c", N_("warmer by"), "°C"},
		     {"drier_pct", N_("drier by"), "%"}};

	for (size_t i = 0; i < sizeof shown / sizeof *shown; i++) {
		double value = wt_doc_number(change, shown[i].key);
		char text[WT_SAY_SIZE];

		if (!isfinite(value) || value == 0.0)
			continue;
		wt_say_number(text, value, 1, shown[i].unit);
		wt_page_row(page, WT_MARK_NONE, "  %s %s", _(shown[i].label), text);
	}
	if (wt_doc_true(change, "fan"))
		wt_page_row(page, WT_MARK_NONE, "  %s", _("with the fan on"));
}

static void add_case(struct wt_table *table, const char *label, const json_t *which, double now)
{
	struct wt_doc_triple ready = wt_doc_triple(which, "ready_unix_s");
	struct wt_doc_triple past = wt_doc_triple(which, "past_unix_s");
	const char *call = wt_doc_text(which, "call");
	char text[WT_WHEN_SIZE];

	wt_table_add(table, WT_MARK_FAINT, label);
	wt_when_range(text, ready.p10, ready.p90, now);
	wt_table_add(table, WT_MARK_NONE, text);
	wt_when_range(text, past.p10, past.p90, now);
	wt_table_add(table, WT_MARK_NONE, text);
	wt_table_add(table, wt_say_call_mark(call), wt_say_word(call));
}

static void print_difference(struct wt_page *page, const char *label, double hours)
{
	char span[WT_WHEN_SIZE];

	if (!isfinite(hours))
		return;
	wt_when_span(span, fabs(hours) * 3600.0);
	if (fabs(hours) * 3600.0 < 150)
		wt_page_row(page, WT_MARK_NONE, _("%s: no difference"), label);
	else
		wt_page_row(page, WT_MARK_NONE, hours < 0 ? _("%s %s sooner") : _("%s %s later"),
			    label, span);
}

void wt_print_what_if(struct wt_page *page, const json_t *result)
{
	double now = wt_doc_number(result, "now_unix_s");
	const json_t *difference = wt_doc_object(result, "difference_h");
	struct wt_table table = wt_table_new("Flll");

	wt_page_row(page, WT_MARK_HEAD, _("Load %lld, if it were"),
		    wt_doc_integer(result, "load", 0));
	print_change(page, wt_doc_object(result, "change"));
	wt_table_add(&table, WT_MARK_FAINT, "");
	wt_table_add(&table, WT_MARK_FAINT, _("ready"));
	wt_table_add(&table, WT_MARK_FAINT, _("past best"));
	wt_table_add(&table, WT_MARK_FAINT, _("call"));
	add_case(&table, _("as is"), wt_doc_object(result, "now"), now);
	add_case(&table, _("then"), wt_doc_object(result, "changed"), now);
	wt_table_finish(&table, page);
	print_difference(page, _("Ready"), wt_doc_number(difference, "ready_p50"));
	print_difference(page, _("Past its best"), wt_doc_number(difference, "past_p50"));
}
