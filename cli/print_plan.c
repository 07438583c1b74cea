/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * The plan of firings, how thick to spread, what if.
 */
#include <math.h>
#include <stdio.h>
#include <string.h>

#include "cli/doc.h"
#include "cli/night.h"
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
	wt_say_number(kg, wt_night_kg(firing), 1, " kg");
	wt_say_chance(chance, wt_doc_number(firing, "p_in_window"));
	wt_table_add(table, is_when(firing, "tonight") ? WT_MARK_FIRE : WT_MARK_REST, start);
	wt_table_addf(table, WT_MARK_NONE, _("wok %lld"), wt_doc_integer(firing, "wok", 0));
	wt_table_addf(table, WT_MARK_NONE, "#%lld", wt_doc_integer(firing, "load", 0));
	wt_table_add(table, WT_MARK_NONE, wt_doc_text(firing, "origin"));
	wt_table_add(table, WT_MARK_NONE, kg);
	wt_table_add(table, WT_MARK_NONE, chance);
}

static void print_firings(struct wt_page *page, const json_t *firings, const char *when, double now)
{
	static const struct {
		const char *word, *heading;
	} headings[] = {{"tonight", N_("tonight")},
			{"today", N_("today")},
			{"this morning", N_("this morning")},
			{"morning", N_("in the morning")},
			{"tomorrow", N_("tomorrow")}};
	struct wt_table table = wt_table_new("llrFrr");
	bool morning = strcmp(when, "morning") == 0;
	const char *word = wt_night_word(wt_night_of(firings, when, 0), morning, now);
	size_t i, k = 0;
	json_t *firing;

	json_array_foreach(firings, i, firing) if (is_when(firing, when))
		add_firing(&table, firing, now);
	while (k + 1 < sizeof headings / sizeof *headings && strcmp(headings[k].word, word) != 0)
		k++;
	if (wt_table_rows(&table) > 0)
		wt_page_row(page, WT_MARK_HEAD, "%s", _(headings[k].heading));
	wt_table_finish(&table, page);
}

static void print_hearth(struct wt_page *page, const json_t *hearth, double now)
{
	char last[WT_WHEN_SIZE], first[WT_WHEN_SIZE], kg[WT_SAY_SIZE], minutes[WT_SAY_SIZE];

	long long woks = wt_doc_integer(hearth, "woks", 0);

	if (woks <= 0)
		return;
	wt_when_clock(last, wt_doc_number(hearth, "last_start_unix_s"), now);
	wt_when_clock(first, wt_doc_number(hearth, "first_start_unix_s"), now);
	wt_say_kg(kg, wt_doc_number(hearth, "wok_kg"));
	wt_say_number(minutes, wt_doc_number(hearth, "minutes"), 0, " min");
	wt_page_textf(page, WT_MARK_FAINT, 2,
		      _n("%lld wok of %s fresh leaf, %s a firing, last start %s, first %s",
			 "%lld woks of %s fresh leaf, %s a firing, last start %s, first %s", woks),
		      woks, kg, minutes, last, first);
}

/* Why there is no firing, or that none should be. */
static void print_empty(struct wt_page *page, const json_t *empty)
{
	static const struct {
		const char *code, *text;
		enum wt_mark mark;
	} known[] = {
		{"no_wok", N_("No wok is set up ([hearth] woks = 0), so no firing is planned."),
		 WT_MARK_ALARM},
		{"nothing",
		 N_("No leaf is withering: nothing to plan. wither spread begins a load."),
		 WT_MARK_NONE},
		{"no_reading",
		 N_("No reading of the air yet, so no forecast and no plan. See: wither stations"),
		 WT_MARK_ALARM},
		{"starting", N_("The forecast is being worked out. Ask again in a moment."),
		 WT_MARK_NONE},
		{"stale", N_("The readings are too old to plan on. Go by hand and scale."),
		 WT_MARK_ALARM},
		{"wait", N_("No firing should start before tomorrow's end."), WT_MARK_NONE}};
	const char *code = wt_doc_text(empty, "code");

	for (size_t i = 0; i < sizeof known / sizeof *known; i++)
		if (code && strcmp(known[i].code, code) == 0) {
			wt_page_text(page, known[i].mark, 2, _(known[i].text));
			return;
		}
	wt_page_text(page, WT_MARK_NONE, 2,
		     empty ? wt_say_code(empty) : _("No firing is planned."));
}

static void print_given_up(struct wt_page *page, const json_t *lost)
{
	const char *code = wt_doc_text(lost, "code");
	long long load = wt_doc_integer(lost, "load", 0);
	long long firings = wt_doc_integer(lost, "firings", 0);
	long long missing = wt_doc_integer(lost, "missing", 0);

	if (code && strcmp(code, "no_wok") == 0)
		return; /* said once, for all */
	if (code && strcmp(code, "no_place") == 0 && firings > 0)
		wt_page_textf(page, WT_MARK_ALARM, 2,
			      _n("#%lld: %lld of %lld firing finds no place before the woks close",
				 "#%lld: %lld of %lld firings find no place before the woks close",
				 firings),
			      load, missing, firings);
	else if (code && strcmp(code, "not_ready") == 0)
		wt_page_textf(page, WT_MARK_NONE, 2, _("#%lld waits: not ready by tomorrow's end"),
			      load);
	else if (code && strcmp(code, "too_slow") == 0)
		wt_page_textf(page, WT_MARK_ALARM, 2,
			      _("#%lld is too slow: ready only after the hours it may lie at most"),
			      load);
	else if (code && strcmp(code, "silent") == 0)
		wt_page_textf(page, WT_MARK_ALARM, 2,
			      _("#%lld is not planned: its room is silent, go by hand"), load);
	else
		wt_page_textf(page, WT_MARK_ALARM, 2, "#%lld: %s", load, wt_say_code(lost));
}

static bool all_silent(const json_t *empty, const json_t *lost)
{
	const char *why = wt_doc_text(empty, "code"), *code = wt_doc_text(lost, "code");

	return why && code && strcmp(code, "silent") == 0 &&
	       (strcmp(why, "stale") == 0 || strcmp(why, "no_reading") == 0);
}

void wt_print_plan(struct wt_page *page, const json_t *result)
{
	const json_t *firings = wt_doc_list(result, "firings");
	const json_t *empty = wt_doc_object(result, "empty");
	double now = wt_doc_number(result, "now_unix_s");
	char when[WT_WHEN_SIZE];
	size_t i;
	json_t *lost;

	wt_when_full(when, now);
	wt_page_row(page, WT_MARK_HEAD, _("Firings, %s"), when);
	if (empty || json_array_size(firings) == 0)
		print_empty(page, empty);
	print_firings(page, firings, "tonight", now);
	print_firings(page, firings, "morning", now);
	if (json_array_size(firings) > 0)
		wt_page_text(page, WT_MARK_FAINT, 2,
			     _("kg: what it will weigh by then. %: chance that it is then inside "
			       "its window."));
	/* Where no room is heard, that is said for all already. */
	json_array_foreach(wt_doc_list(result, "given_up"), i, lost) if (!all_silent(empty, lost))
		print_given_up(page, lost);
	print_hearth(page, wt_doc_object(result, "hearth"), now);
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
	bool beyond = false;
	size_t i, last;
	json_t *row;

	wt_say_kg(kg, wt_doc_number(result, "kg"));
	wt_page_row(page, WT_MARK_HEAD, _("%s, %s: how thick to spread"), origin ? origin : "-",
		    kg);
	for (i = 0; i < 5; i++)
		wt_table_add(&table, WT_MARK_FAINT, heads[i]);
	json_array_foreach(rows, i, row)
	{
		add_bed(&table, row, now, WT_MARK_NONE);
		beyond |= !isfinite(wt_doc_triple(row, "ready_unix_s").p90);
	}
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
	if (beyond)
		wt_page_text(page, WT_MARK_FAINT, 2, _("? and -: later than two days from now"));
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
	wt_table_add(table, wt_say_call_mark(call), wt_say_word(wt_night_call(which, now)));
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
