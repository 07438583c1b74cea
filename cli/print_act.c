/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * What was done, said back, with the command that takes it back.
 */
#include <math.h>
#include <stdio.h>
#include <string.h>

#include "cli/doc.h"
#include "cli/night.h"
#include "cli/page.h"
#include "cli/print.h"
#include "cli/print_jar.h"
#include "cli/say.h"
#include "cli/tongue.h"
#include "cli/when.h"

static void print_spread(struct wt_page *page, const json_t *params, const json_t *load)
{
	char kg[WT_SAY_SIZE], area[WT_SAY_SIZE], density[WT_SAY_SIZE];
	const char *origin = wt_doc_text(load, "origin");
	double mass_kg = wt_doc_number(params, "kg"), area_m2 = wt_doc_number(params, "area_m2");

	if (!origin)
		origin = wt_doc_text(params, "origin");
	wt_say_kg(kg, mass_kg);
	wt_say_number(area, area_m2, 2, " m²");
	wt_say_number(density, mass_kg / area_m2, 1, " kg/m²");
	wt_page_textf(page, WT_MARK_NONE, 2, _("%s, %s on %s, %s."), origin ? origin : "-", kg,
		      area, density);
	wt_page_textf(
		page, WT_MARK_FAINT, 2, _("%s · %s · %s · leaf %s · surface water: %s"),
		wt_say_word(wt_doc_text(params, "room")), wt_say_word(wt_doc_text(params, "style")),
		wt_say_word(wt_doc_text(params, "season")),
		wt_say_word(wt_doc_text(params, "grade")), wt_say_word(wt_doc_text(params, "wet")));
}

static void print_param(struct wt_page *page, const char *label, const json_t *params,
			const char *key, const char *unit)
{
	char text[WT_SAY_SIZE];
	const char *word = wt_doc_text(params, key);

	if (word) {
		wt_page_fact(page, 10, label, "%s", wt_say_word(word));
	} else if (isfinite(wt_doc_number(params, key))) {
		wt_say_number(text, wt_doc_number(params, key), 2, unit);
		wt_page_fact(page, 10, label, "%s", text);
	}
}

static void print_params(struct wt_page *page, const json_t *params)
{
	static const struct {
		const char *key, *label, *unit;
	} shown[] = {
		{"kg", N_("weight"), " kg"},
		{"sample_fresh_kg", N_("fresh"), " kg"},
		{"step", N_("feels"), ""},
		{"area_m2", N_("area"), " m²"},
		{"part_kg", N_("fired"), " kg"},
		{"minutes", N_("minutes"), ""},
		{"made_kg", N_("made"), " kg"},
		{"yellow_kg", N_("yellow"), " kg"},
		{"why", N_("why"), ""},
		{"style", N_("style"), ""},
		{"ready_from_loss_pct", N_("ready from"), "%"},
		{"station", N_("station"), ""},
		{"salt", N_("salt"), ""},
		{"shown_rh_pct", N_("shows"), "%"},
		{"true_rh_pct", N_("should be"), "%"},
	};

	for (size_t i = 0; i < sizeof shown / sizeof *shown; i++)
		print_param(page, _(shown[i].label), params, shown[i].key, shown[i].unit);
	if (json_is_boolean(json_object_get(params, "fan")))
		wt_page_fact(page, 10, _("fan"), "%s",
			     wt_doc_true(params, "fan") ? _("on") : _("off"));
}

static void print_undone(struct wt_page *page, const json_t *undone, double now)
{
	char when[WT_WHEN_SIZE];
	long long load = wt_doc_integer(undone, "load", 0);

	wt_when_clock(when, wt_doc_number(undone, "at_unix_s"), now);
	if (load > 0)
		wt_page_textf(page, WT_MARK_HEAD, 2, _("Taken back: load %lld, %s, %s."), load,
			      wt_say_done(wt_doc_text(undone, "verb")), when);
	else
		wt_page_textf(page, WT_MARK_HEAD, 2, _("Taken back: %s, %s."),
			      wt_say_done(wt_doc_text(undone, "verb")), when);
}

void wt_print_act(struct wt_page *page, const json_t *result)
{
	const json_t *act = wt_doc_object(result, "act"), *load = wt_doc_object(result, "load");
	const json_t *params = wt_doc_object(act, "params");
	const json_t *undone = wt_doc_object(params, "undone");
	const char *verb = wt_doc_text(act, "verb");
	double now = wt_doc_number(result, "now_unix_s");
	long long number = wt_doc_integer(act, "load", wt_doc_integer(load, "load", 0));
	char when[WT_WHEN_SIZE];

	if (undone) {
		print_undone(page, undone, now);
	} else {
		wt_when_clock(when, wt_doc_number(act, "at_unix_s"), now);
		if (number > 0)
			wt_page_row(page, WT_MARK_HEAD, _("Load %lld: %s, %s"), number,
				    isfinite(wt_doc_number(params, "part_kg")) ? _("fired in part")
									       : wt_say_done(verb),
				    when);
		else
			wt_page_row(page, WT_MARK_HEAD, "%s, %s", wt_say_done(verb), when);
		if (verb && strcmp(verb, "spread") == 0)
			print_spread(page, params, load);
		else
			print_params(page, params);
		if (verb && strcmp(verb, "salt") == 0)
			wt_print_jar_result(page, result);
	}
	wt_say_notes(page, wt_doc_list(result, "notes"));
	/* A second undo would take back one more act, not bring this one back. */
	if (!undone && wt_doc_true(result, "undo"))
		wt_page_row(page, WT_MARK_FAINT, "%s", _("Not so? wither undo"));
}

/* A weighing that does not go with the air is said at once, while the scale is at hand; that the
 * bed is too thick for its hours, while it is being spread. */
static void print_doubt(struct wt_page *page, const json_t *load)
{
	const json_t *acts = wt_doc_list(load, "acts");
	const json_t *last = json_array_get(acts, json_array_size(acts) - 1);
	const char *verb = wt_doc_text(last, "verb");

	const json_t *notes = wt_doc_list(load, "notes");
	json_t *slow = json_array(), *note;
	size_t i;

	json_array_foreach(notes, i, note)
	{
		const char *code = wt_doc_text(note, "code");

		if (code && strcmp(code, "too_slow") == 0)
			json_array_append(slow, note);
	}
	if (verb && strcmp(verb, "weigh") == 0 && !wt_doc_true(last, "undone"))
		wt_say_notes(page, notes);
	else
		wt_say_notes(page, slow);
	json_decref(slow);
}

void wt_print_act_outlook(struct wt_page *page, const json_t *load)
{
	double now = wt_doc_number(load, "now_unix_s");
	struct wt_doc_triple ready = wt_doc_triple(load, "ready_unix_s");
	struct wt_doc_triple loss = wt_doc_triple(load, "loss_pct");
	const char *call = wt_doc_text(load, "call");
	char range[WT_WHEN_SIZE], text[WT_SAY_SIZE];

	if (isfinite(loss.p50)) {
		wt_say_loss(text, loss);
		wt_page_fact(page, 10, _("loss now"), "%s", text);
	}
	if (isfinite(ready.p10) || isfinite(ready.p50)) {
		wt_when_range(range, ready.p10, ready.p90, now);
		wt_page_fact(page, 10, _("ready"), "%s", range);
	}
	print_doubt(page, load);
	if (!call && wt_doc_object(load, "reason"))
		wt_page_fact(page, 10, _("call"), _("none: %s"),
			     wt_say_reason(wt_doc_object(load, "reason")));
	if (!call)
		return;
	wt_say_chance(text, wt_doc_number(load, "p_call"));
	wt_page_fact(page, 10, _("call"), _("%s, %s sure"), wt_say_word(wt_night_call(load, now)),
		     text);
}
