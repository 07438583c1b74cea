/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "cli/say.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

#include "cli/tongue.h"
#include "cli/worded.h"

void wt_say_number(char out[static WT_SAY_SIZE], double value, int decimals, const char *unit)
{
	char text[64];

	if (!isfinite(value)) {
		strcpy(out, "-");
		return;
	}
	snprintf(text, sizeof text, "%.*f", decimals, value);
	if (strchr(text, '.')) {
		size_t n = strlen(text);

		while (text[n - 1] == '0')
			text[--n] = '\0';
		if (text[n - 1] == '.')
			text[--n] = '\0';
	}
	if (strcmp(text, "-0") == 0)
		strcpy(text, "0");
	snprintf(out, WT_SAY_SIZE, "%s%s", text, unit);
}

void wt_say_kg(char out[static WT_SAY_SIZE], double kg)
{
	wt_say_number(out, kg, fabs(kg) < 10 ? 2 : 1, " kg");
}

void wt_say_triple(char out[static WT_SAY_SIZE], struct wt_doc_triple triple, int decimals,
		   const char *unit)
{
	char low[WT_SAY_SIZE], high[WT_SAY_SIZE];

	wt_say_number(low, triple.p10, decimals, "");
	wt_say_number(high, triple.p90, decimals, "");
	if (!isfinite(triple.p10) && !isfinite(triple.p90))
		wt_say_number(out, triple.p50, decimals, unit);
	else if (strcmp(low, high) == 0)
		snprintf(out, WT_SAY_SIZE, "%.40s%s", low, unit);
	else
		snprintf(out, WT_SAY_SIZE, "%.40s-%.40s%.10s", low, high, unit);
}

void wt_say_loss(char out[static WT_SAY_SIZE], struct wt_doc_triple loss_pct)
{
	wt_say_triple(out, loss_pct, 0, "%");
}

void wt_say_chance(char out[static WT_SAY_SIZE], double share)
{
	double pct = share * 100.0;

	if (!isfinite(share))
		strcpy(out, "-");
	else if (pct < 1.0)
		strcpy(out, "<1%");
	else if (pct > 99.0)
		strcpy(out, ">99%");
	else
		snprintf(out, WT_SAY_SIZE, "%.0f%%", pct);
}

/* The words of lib/words.h, once more so that a translator finds them. */
static const char *const words[] = {
	N_("tonight"),    N_("morning"),      N_("either"), N_("wait"),  N_("now"),
	N_("past"),       N_("bud"),          N_("young"),  N_("mixed"), N_("mature"),
	N_("spring"),     N_("summer"),       N_("autumn"), N_("none"),  N_("damp"),
	N_("wet"),        N_("crisp"),        N_("soft"),   N_("limp"),  N_("slack"),
	N_("dry-edged"),  N_("evening"),      N_("open"),   N_("fixed"), N_("dropped"),
	N_("origin"),     N_("grade"),        N_("season"), N_("all"),   N_("connected"),
	N_("connecting"), N_("refused"),      N_("off"),    N_("on"),    N_("today"),
	N_("tomorrow"),   N_("this morning"),
};

const char *wt_say_word(const char *word)
{
	if (!word)
		return "-";
	for (size_t i = 0; i < sizeof words / sizeof *words; i++)
		if (strcmp(words[i], word) == 0)
			return _(words[i]);
	return word;
}

enum wt_mark wt_say_call_mark(const char *call)
{
	if (!call)
		return WT_MARK_NONE;
	if (strcmp(call, "tonight") == 0 || strcmp(call, "now") == 0)
		return WT_MARK_FIRE;
	if (strcmp(call, "past") == 0)
		return WT_MARK_ALARM;
	if (strcmp(call, "morning") == 0 || strcmp(call, "either") == 0)
		return WT_MARK_REST;
	return WT_MARK_NONE;
}

/* Why a call is as it is, after how sure it is: together at most 37 cells, since they stand below
 * each load on a phone. */
static const struct phrase {
	const char *code, *text;
} reasons[] = {
	{"ready_in_time", N_("ready before last start")},
	{"not_ready", N_("not ready tonight; keeps")},
	{"will_not_keep", N_("ready in time, won't keep")},
	{"early_better", N_("ready in time, won't keep")},
	{"too_slow", N_("too slow for its hours")},
	{"keeps", N_("ready tonight; it keeps")},
	{"too_unsure", N_("weigh or feel it to know")},
	{"ready_now", N_("in its window; do not wait")},
	{"past_now", N_("past its best already")},
	{"no_capacity", N_("it keeps; woks are taken")},
	{"not_by_morning", N_("not ready by morning")},
	{"too_late", N_("it keeps till morning")},
	{"no_wok", N_("no wok is set up")},
	{"silent", N_("its room is silent: go by hand")},
	{"no_reading", N_("no reading of its room yet")},
};

/* What the daemon notes, without what it quotes. */
static const struct phrase remarks[] = {
	{"thick", N_("A thick bed: above 8 kg/m² leaf heats and withers unevenly. Turn it often.")},
	{"heats", N_("above 8 kg/m² the leaf heats and withers unevenly")},
	{"uneven", N_("a bed this thick withers unevenly: turn it often")},
	{"no_reading", N_("No reading of the air yet: no forecast until one comes.")},
	{"new_garden", N_("nothing is known of this garden yet: the times are wide")},
	{"too_soon", N_("even the thinnest bed is not ready by then: it is given")},
	{"too_late", N_("even the thickest bed is ready before then: it is given")},
	{"silent", N_("the station has been silent for too long: nothing can be worked out")},
	{"far_off", N_("another weight was expected: check the scale and what was typed")},
	{"old_air", N_("its room is silent: this rests on air that is no more measured")},
	{"too_slow", N_("it is ready only after the hours it may lie at most")},
	{"observation", N_("a weighing is not what the air allows: check the scale or the load")},
	{"outturn_low", N_("less made tea than leaf can give: was all of it weighed?")},
	{"outturn_high", N_("more made tea than dry leaf can give: check both weights")},
	{"not_ready", N_("not ready by tomorrow's last start")},
	{"no_place", N_("not all its firings have a place tonight or tomorrow")},
	{"no_wok", N_("no wok is set up, so it is not planned")},
	{"nothing", N_("no load is spread")},
	{"starting", N_("the forecast is being worked out: ask again in a moment")},
	{"stale", N_("the readings are too old to plan on: go by hand and scale")},
	{"wait", N_("no firing should start before the end of tomorrow's hours")},
	{"station_unheard", N_("A station was never heard: see wither stations.")},
	{"station_silent", N_("A station has fallen silent: see wither stations.")},
	{"station_stuck", N_("A station sends the same values for hours: is it stuck?")},
	{"no_station", N_("No station is configured: there is no air to go by.")},
	{"air", N_("the air came out wetter or drier than forecast")},
	{"pace", N_("the leaf gave its water faster or slower than thought")},
	{"store_damaged", N_("The database is damaged: restart witherd, it sets the file aside.")},
	{"store_busy", N_("Nothing can be written; rows wait in memory and acts are refused.")},
	{"store_stalled",
	 N_("The disk does not answer; rows wait in memory and acts are refused.")},
	{"not_durable", N_("Messages were acknowledged and are only in memory yet.")},
	{"rows_dropped", N_("Rows were lost: the database took none for too long.")},
	{"disk_low", N_("Little space is left where the database lies.")},
	{"set_aside", N_("A damaged database was set aside and a new one begun.")},
	{"no_broker", N_("No broker is configured: no readings come in.")},
	{"broker_refused", N_("The broker refuses the daemon: check user and password.")},
	{"broker_lost", N_("The broker cannot be reached.")},
	{"broker_connecting", N_("The broker is being connected to.")},
	{"messages_dropped", N_("Messages were lost: too many waited.")},
	{"clock_unset", N_("The clock of this machine is not set.")},
	{"worker_stuck", N_("A forecast has been running for too long.")},
	{"configuration", N_("The configuration was not taken at the last reload.")},
	{"load_old", N_("A load is very old: was it fixed without a word?")},
};

static const char *phrase_for(const struct phrase *phrases, size_t n, const char *code)
{
	for (size_t i = 0; code && i < n; i++)
		if (strcmp(phrases[i].code, code) == 0)
			return _(phrases[i].text);
	return NULL;
}

const char *wt_say_reason(const json_t *reason)
{
	const char *code = wt_doc_text(reason, "code");
	const char *phrase = phrase_for(reasons, sizeof reasons / sizeof *reasons, code);

	if (phrase)
		return phrase;
	return code ? code : "-";
}

const char *wt_say_code(const json_t *item)
{
	const char *code = wt_doc_text(item, "code"), *text = wt_doc_text(item, "text");
	const char *phrase = phrase_for(remarks, sizeof remarks / sizeof *remarks, code);

	if (text && !(phrase && wt_tongue_foreign()))
		return text;
	if (phrase)
		return phrase;
	return code ? code : "-";
}

const char *wt_say_note(const json_t *note)
{
	const char *code = json_string_value(note);
	const char *phrase = phrase_for(remarks, sizeof remarks / sizeof *remarks, code);

	if (phrase)
		return phrase;
	return code ? code : wt_say_code(note);
}

const char *wt_say_done(const char *verb)
{
	static const struct phrase done[] = {
		{"spread", N_("spread")},   {"weigh", N_("weighed")},
		{"feel", N_("felt")},       {"turn", N_("turned")},
		{"fix", N_("fixed")},       {"yield", N_("yield noted")},
		{"drop", N_("given up")},   {"style", N_("style set")},
		{"salt", N_("salt check")}, {"undo", N_("taken back")},
	};
	const char *phrase = phrase_for(done, sizeof done / sizeof *done, verb);

	return phrase ? phrase : (verb ? verb : "-");
}

/* What an act was about, by its own name where the number alone would not tell. */
static size_t add_param(char out[static WT_SAY_SIZE], size_t used, const json_t *params,
			const char *key, const char *label, const char *unit)
{
	double value = wt_doc_number(params, key);
	char number[WT_SAY_SIZE];

	if (!isfinite(value) || used >= WT_SAY_SIZE)
		return used;
	used += (size_t)snprintf(out + used, WT_SAY_SIZE - used, "%s", _(", "));
	wt_say_number(number, value, 2, unit);
	if (used < WT_SAY_SIZE)
		used += (size_t)snprintf(out + used, WT_SAY_SIZE - used, "%s%s%s", label,
					 *label ? " " : "", number);
	return used;
}

void wt_say_act(char out[static WT_SAY_SIZE], const json_t *act)
{
	const json_t *params = wt_doc_object(act, "params");
	const json_t *fan = json_object_get(params, "fan");
	const char *verb = wt_doc_text(act, "verb"), *text = wt_doc_text(act, "text");
	const char *word = wt_doc_text(params, "step");
	bool part = isfinite(wt_doc_number(params, "part_kg"));
	size_t used;

	if (!params) {
		snprintf(out, WT_SAY_SIZE, "%s", text ? text : wt_say_done(verb));
		return;
	}
	if (!word)
		word = wt_doc_text(params, "why");
	used = (size_t)snprintf(out, WT_SAY_SIZE, "%s%s%.40s",
				part ? _("fired in part") : wt_say_done(verb), word ? _(": ") : "",
				word ? wt_say_word(word) : "");
	used = add_param(out, used, params, "part_kg", "", " kg");
	used = add_param(out, used, params, "kg", part ? _("the whole") : "", " kg");
	used = add_param(out, used, params, "sample_fresh_kg", _("sample fresh"), " kg");
	used = add_param(out, used, params, "area_m2", "", " m²");
	used = add_param(out, used, params, "made_kg", _("made tea"), " kg");
	used = add_param(out, used, params, "yellow_kg", _("yellow leaf"), " kg");
	if (json_is_boolean(fan) && used < WT_SAY_SIZE)
		snprintf(out + used, WT_SAY_SIZE - used, "%s%s", _(", "),
			 json_is_true(fan) ? _("fan on") : _("fan off"));
}

void wt_say_notes(struct wt_page *page, const json_t *notes)
{
	size_t i;
	json_t *note;

	json_array_foreach(notes, i, note)
	{
		char text[WT_WORDED_SIZE];

		wt_worded(text, note, NULL);
		wt_page_textf(page, WT_MARK_NONE, 2, "! %s", text);
	}
}

void wt_say_numbers(char *out, size_t size, const json_t *numbers, size_t most)
{
	size_t n = json_array_size(numbers), used = 0;

	out[0] = '\0';
	for (size_t i = 0; i < n && i < most && used + 32 < size; i++)
		used += (size_t)snprintf(out + used, size - used, "%s#%lld", i ? ", " : "",
					 (long long)json_integer_value(json_array_get(numbers, i)));
	if (n > most && used + 32 < size)
		snprintf(out + used, size - used, _(" and %zu more"), n - most);
}

void wt_say_cautions(struct wt_page *page)
{
	static const char *const cautions[] = {
		N_("Fire and CO: charcoal or gas in a closed room can kill without a smell. Keep "
		   "two "
		   "openings, and a CO alarm that sounds."),
		N_("Burns: the wok is hotter than it looks. Gloves, sleeves, no children near, "
		   "water "
		   "at hand."),
		N_("Hygiene: clean hands, clean trays; leaf that smells sour or is slimy is not "
		   "for "
		   "tea."),
		N_("Advice only. Local codes and licensed fitters come first; your hands decide."),
	};

	for (size_t i = 0; i < sizeof cautions / sizeof *cautions; i++)
		wt_page_textf(page, WT_MARK_FAINT, 2, "! %s", _(cautions[i]));
}
