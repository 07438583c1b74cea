/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "cli/verbs.h"

#include <stdio.h>
#include <string.h>

#include "cli/print.h"
#include "cli/run.h"
#include "cli/suggest.h"
#include "cli/tongue.h"

/* Patience with the daemon: plain questions, studies that need a run, long copies.  Our choice. */
#define PLAIN_S 15.0
#define STUDY_S 60.0
#define COPY_S 1800.0

/* clang-format off */
#define TEXT(n, s, h)      {.name = n, .shown = s, .kind = WT_ARG_TEXT, .help = h}
#define TIMED(n, h)        {.name = n, .shown = "TIME", .kind = WT_ARG_TIME, .help = h}
#define FLAG(n, h)         {.name = n, .kind = WT_ARG_FLAG, .help = h}
#define NUMBER(n, s, q, h) {.name = n, .shown = s, .kind = WT_ARG_QUANTITY, .quantity = q, .help = h}
#define LISTED(n, s, l, h) {.name = n, .shown = s, .kind = WT_ARG_WORD, .list = l, .help = h}
#define WORDS(n, s, w, h)  {.name = n, .shown = s, .kind = WT_ARG_WORD, .words = w, .help = h}
#define LOAD               {.name = "load", .shown = "LOAD", .kind = WT_ARG_LOAD, .help = N_("the load's number")}
#define BED                {.name = "bed", .shown = "4m2|3trays", .kind = WT_ARG_BED, .help = N_("how wide it lies")}
#define AT                 TIMED("at", N_("when it was done"))
#define SINCE              TIMED("since", N_("only from then on"))
#define END                {.name = NULL}
#define ARGS(...)          (const struct wt_arg[]){__VA_ARGS__, END}
#define NO_ARGS            (const struct wt_arg[]){END}

#define LEAF_OPTIONS \
	TEXT("room", "R", N_("where; the only room if there is one")), \
	TEXT("style", "S", N_("what is being made")), \
	LISTED("grade", "G", WT_WORDS_GRADE, N_("leaf picked")), \
	LISTED("season", "S", WT_WORDS_SEASON, N_("by the date if left out")), \
	LISTED("wet", "W", WT_WORDS_WET, N_("rain or dew on the leaf")), \
	NUMBER("moisture", "PCT", WT_QUANTITY_PCT, N_("water in the fresh leaf, if measured"))

const struct wt_verb wt_verbs_table[] = {
{
	.name = "tonight", .words = NO_ARGS, .options = NO_ARGS, .deadline_s = PLAIN_S,
	.print = wt_print_tonight,
	.summary = N_("what to do this evening (wither alone)"),
	.help = N_("The answer first, then one row a load: its number, garden, loss so far, when it will "
		   "be ready, the call. Below, the firings, and the one weighing that would settle most. "
		   "either: tonight or in the morning, as you like. past: past its best. ?: later than two "
		   "days, -: not known."),
	.example = "wither",
}, {
	.name = "spread", .least_words = 2, .needs = "area, trays", .deadline_s = PLAIN_S, .print = wt_print_act,
	.words = ARGS(TEXT("origin", "ORIGIN", N_("the garden it came from")),
		      NUMBER("kg", "KG", WT_QUANTITY_KG, N_("as weighed on arrival")), BED),
	.options = ARGS(NUMBER("area", "M2", WT_QUANTITY_M2, N_("how wide it lies")),
			NUMBER("trays", "N", WT_QUANTITY_TRAYS, N_("the same, in trays")), LEAF_OPTIONS,
			NUMBER("price", "P", WT_QUANTITY_PLAIN, N_("paid for one kg of leaf")),
			TEXT("scale", "NAME", N_("load cell under one of its trays")),
			{.name = "new", .kind = WT_ARG_LOCAL, .help = N_("a new garden, take its name as typed")}, AT),
	.summary = N_("leaf was spread: a new load"),
	.help = N_("Opens a load and says its number. Typed on a terminal, the beginning of a known "
		   "garden's name is enough."),
	.example = "wither spread creek 12.4kg 4m2",
}, {
	.name = "weigh", .least_words = 2, .load_default = WT_LOAD_ONLY, .deadline_s = PLAIN_S,
	.print = wt_print_act,
	.words = ARGS(LOAD, NUMBER("kg", "KG", WT_QUANTITY_KG, N_("weight now"))),
	.options = ARGS(NUMBER("sample-fresh", "KG", WT_QUANTITY_KG,
			       N_("KG is a tagged sample tray that weighed this when fresh")), AT),
	.summary = N_("a load or its sample tray was weighed"),
	.help = N_("The best thing to know. Weigh the whole load, or one tray whose fresh weight was "
		   "noted."),
	.example = "wither weigh 7 10.9kg",
}, {
	.name = "feel", .least_words = 2, .load_default = WT_LOAD_ONLY, .deadline_s = PLAIN_S,
	.print = wt_print_act,
	.words = ARGS(LOAD, LISTED("step", "STEP", WT_WORDS_FEEL, N_("how it feels in the hand"))),
	.options = ARGS(AT),
	.summary = N_("how the leaf feels in the hand"),
	.help = N_("crisp: snaps; soft: bends; limp: hangs; slack: stays as it is pressed; dry-edged: "
		   "rims rustle. The tool learns what your words mean."),
	.example = "wither feel 7 limp",
}, {
	.name = "turn", .least_words = 1, .load_default = WT_LOAD_ONLY, .deadline_s = PLAIN_S,
	.print = wt_print_act,
	.words = ARGS(LOAD, BED),
	.options = ARGS(NUMBER("area", "M2", WT_QUANTITY_M2, N_("if it lies wider or closer now")),
			WORDS("fan", "ON", "on, off", N_("moved air from now on, or still")), AT),
	.summary = N_("a load was turned, or spread anew"),
	.help = N_("Turning evens the bed. Say so, above all when it lies wider afterwards."),
	.example = "wither turn 7 5m2",
}, {
	.name = "fix", .least_words = 1, .load_default = WT_LOAD_NAMED, .deadline_s = PLAIN_S,
	.print = wt_print_act,
	.words = ARGS(LOAD),
	.options = ARGS(NUMBER("kg", "KG", WT_QUANTITY_KG, N_("weight of the whole load at fixing")),
			NUMBER("part", "KG", WT_QUANTITY_KG, N_("withered leaf fired now; the rest stays")),
			NUMBER("minutes", "M", WT_QUANTITY_MINUTES, N_("the firing took")), AT),
	.summary = N_("a load was fixed, whole or in part"),
	.help = N_("Closes the load, unless --part says that leaf remains. A weight at fixing teaches "
		   "the tool most. Mind the fire: air the room, CO has no smell, the wok burns."),
	.example = "wither fix 7 --kg 8.3kg",
}, {
	.name = "yield", .least_words = 1, .needs = "made", .load_default = WT_LOAD_NAMED, .deadline_s = PLAIN_S,
	.print = wt_print_act,
	.words = ARGS(LOAD),
	.options = ARGS(NUMBER("made", "KG", WT_QUANTITY_KG, N_("made tea")),
			NUMBER("yellow", "KG", WT_QUANTITY_KG, N_("yellow leaf sorted out"))),
	.summary = N_("what a load gave in the end"),
	.help = N_("Feeds the ledger: out-turn, yellow leaf, cost of a kg."),
	.example = "wither yield 7 --made 2.6kg --yellow 90g",
}, {
	.name = "drop", .least_words = 1, .needs = "why", .load_default = WT_LOAD_NAMED, .deadline_s = PLAIN_S,
	.print = wt_print_act,
	.words = ARGS(LOAD), .options = ARGS(TEXT("why", "TEXT", N_("in your words"))),
	.summary = N_("a load was given up"),
	.help = N_("Closes the load without fixing. Sour or slimy leaf is not for tea."),
	.example = "wither drop 7 --why \"rained on, soured\"",
}, {
	.name = "undo", .words = NO_ARGS, .options = NO_ARGS, .deadline_s = PLAIN_S, .print = wt_print_act,
	.summary = N_("takes back the last thing noted"),
	.help = N_("Once more takes back the one before. A trace remains in the journal."),
	.example = "wither undo",
}, {
	.name = "show", .least_words = 1, .load_default = WT_LOAD_LAST, .deadline_s = PLAIN_S,
	.print = wt_print_show,
	.words = ARGS(LOAD), .options = NO_ARGS,
	.summary = N_("one load in full, with its curve"),
	.help = N_("Loss so far and to come with its band, weighings, the window, the reason for the "
		   "call. The last open load if none is named."),
	.example = "wither show 7",
}, {
	.name = "loads", .words = NO_ARGS, .options = ARGS(FLAG("all", N_("closed ones too"))),
	.deadline_s = PLAIN_S, .print = wt_print_loads,
	.summary = N_("all open loads"),
	.help = N_("One row a load."),
	.example = "wither loads --all",
}, {
	.name = "air", .words = NO_ARGS,
	.options = ARGS(TEXT("room", "R", N_("which; the only room if there is one"))),
	.deadline_s = PLAIN_S, .print = wt_print_air,
	.summary = N_("the room's air, past and coming"),
	.help = N_("Temperature, humidity and drying power (VPD) of the last day and the next, with "
		   "bands, and how good such forecasts were."),
	.example = "wither air --room hall",
}, {
	.name = "plan", .words = NO_ARGS, .options = NO_ARGS, .deadline_s = STUDY_S, .print = wt_print_plan,
	.summary = N_("firing by firing, tonight and morning"),
	.help = N_("When to start which firing, with the chance that its load is inside its window then, "
		   "and what is given up. Weighs leaf spoiled against a late night. One unit of cost is "
		   "one firing spoiled wholly."),
	.example = "wither plan",
}, {
	.name = "density", .least_words = 2, .deadline_s = STUDY_S, .print = wt_print_density,
	.words = ARGS(TEXT("origin", "ORIGIN", N_("the garden")),
		      NUMBER("kg", "KG", WT_QUANTITY_KG, N_("leaf to be spread"))),
	.options = ARGS(TIMED("ready-by", N_("the density that meets this time")), LEAF_OPTIONS,
			{.name = "new", .kind = WT_ARG_LOCAL, .help = N_("a new garden, take its name as typed")}),
	.summary = N_("how thick to spread the next basket"),
	.help = N_("Ready times against kg on the square metre, in the air of now."),
	.example = "wither density creek 12.4kg --ready-by 21:00",
}, {
	.name = "what-if", .least_words = 1, .load_default = WT_LOAD_LAST, .deadline_s = STUDY_S,
	.print = wt_print_what_if,
	.words = ARGS(LOAD),
	.options = ARGS(NUMBER("area", "M2", WT_QUANTITY_M2, N_("spread wider or closer")),
			FLAG("fan", N_("with moved air")),
			NUMBER("warmer", "C", WT_QUANTITY_C, N_("room warmer by so much")),
			NUMBER("drier", "PCT", WT_QUANTITY_PCT, N_("relative humidity lower by so many points"))),
	.summary = N_("the same load under other conditions"),
	.help = N_("Nothing is changed; the same forecast is made with changed inputs."),
	.example = "wither what-if 7 --area 6m2 --fan",
}, {
	.name = "review", .words = NO_ARGS, .options = ARGS(SINCE), .deadline_s = STUDY_S,
	.print = wt_print_review,
	.summary = N_("how good the word was"),
	.help = N_("Forecasts as they were given, against what the weighings showed."),
	.example = "wither review --since 2026-04-01T00:00:00+08:00",
}, {
	.name = "ledger", .words = NO_ARGS, .options = NO_ARGS, .deadline_s = STUDY_S,
	.print = wt_print_ledger,
	.summary = N_("out-turn, yellow leaf, cost"),
	.help = N_("By load, garden and season, with loss and hours at fixing beside: what fixing early "
		   "or late costs."),
	.example = "wither ledger",
}, {
	.name = "gardens", .words = NO_ARGS, .options = NO_ARGS, .deadline_s = PLAIN_S,
	.print = wt_print_gardens,
	.summary = N_("what was learned of your gardens"),
	.help = N_("How fast each garden's leaf withers, what your hand's words mean, where your own "
		   "threshold lies."),
	.example = "wither gardens",
}, {
	.name = "style", .least_words = 1, .needs = "ready-from, accept", .deadline_s = PLAIN_S, .print = wt_print_act,
	.words = ARGS(TEXT("style", "STYLE", N_("which"))),
	.options = ARGS(NUMBER("ready-from", "PCT", WT_QUANTITY_PCT, N_("the loss from which it is ready")),
			FLAG("accept", N_("takes what your own fixing proposes"))),
	.summary = N_("moves a style's window"),
	.help = N_("wither gardens shows what your fixing proposes. wither undo takes it back."),
	.example = "wither style green --accept",
}, {
	.name = "stations", .words = NO_ARGS,
	.options = ARGS(TEXT("learn", "TOPIC", N_("listen there and propose a [station] section"))),
	.deadline_s = PLAIN_S, .print = wt_print_stations, .run = wt_run_stations,
	.summary = N_("what the sensors say, how they are"),
	.help = N_("Last reading, its age, battery, what could not be read and why."),
	.example = "wither stations --learn 'sensors/#'",
}, {
	.name = "salt", .least_words = 1, .deadline_s = PLAIN_S, .print = wt_print_act, .run = wt_run_salt,
	.words = ARGS(TEXT("station", "STATION", N_("which")),
		      TEXT("salt", "SALT", N_("LiCl, MgCl2, Mg(NO3)2, NaCl, KCl or K2SO4"))),
	.options = ARGS(NUMBER("rh", "PCT", WT_QUANTITY_PCT, N_("what the station shows, if not by feed"))),
	.summary = N_("checks a station in a salt jar"),
	.help = N_("With the station alone it explains the jar, step by step. With the salt it waits until "
		   "the station stands still, then notes the check. One salt gives an offset, two a line. "
		   "The salts are not for eating: wash your hands."),
	.example = "wither salt loft NaCl",
}, {
	.name = "health", .words = NO_ARGS, .options = NO_ARGS, .deadline_s = PLAIN_S,
	.print = wt_print_health, .run = wt_run_health,
	.summary = N_("is all well? exit 3 if not"),
	.help = N_("For a person or a timer: exit 3 when something needs a person."),
	.example = "wither health",
}, {
	.name = "export", .least_words = 1, .deadline_s = STUDY_S, .run = wt_run_export,
	.words = ARGS(WORDS("what", "WHAT", "readings, loads, forecasts, air-forecasts", N_("which"))),
	.options = ARGS(SINCE, {.name = "csv", .kind = WT_ARG_LOCAL, .help = N_("comma-separated, keys first")}),
	.summary = N_("everything, for a spreadsheet"),
	.help = N_("JSON, or with --csv a table. Times are unix seconds UTC; empty is unknown."),
	.example = "wither export loads --csv",
}, {
	.name = "backup", .least_words = 1, .deadline_s = COPY_S, .print = wt_print_backup,
	.words = ARGS({.name = "file", .shown = "FILE", .kind = WT_ARG_FILE, .help = N_("written by the daemon")}),
	.options = NO_ARGS,
	.summary = N_("a whole copy of the store, while live"),
	.help = N_("The daemon writes it, so its folder must be one the daemon may write to."),
	.example = "wither backup /var/backups/wither.db",
}, {
	.name = "watch", .words = NO_ARGS, .options = NO_ARGS, .deadline_s = PLAIN_S, .run = wt_run_watch,
	.summary = N_("the evening's screen, live; q leaves"),
	.help = N_("Redraws what changed. Without a terminal each change is printed anew."),
	.example = "wither watch",
}, {
	.name = "help", .run = wt_run_help, .options = NO_ARGS,
	.words = ARGS(TEXT("verb", "VERB", N_("which"))),
	.summary = N_("this, or one verb with an example"),
	.help = N_("With a verb: its words, options and an example."),
	.example = "wither help spread",
},
};
/* clang-format on */

size_t wt_verbs_count(void)
{
	return sizeof wt_verbs_table / sizeof *wt_verbs_table;
}

const struct wt_verb *wt_verbs_find(const char *name, char *why, size_t why_size)
{
	const char *names[sizeof wt_verbs_table / sizeof *wt_verbs_table];
	size_t n = wt_verbs_count(), used;
	int found;

	for (size_t i = 0; i < n; i++)
		names[i] = wt_verbs_table[i].name;
	found = wt_suggest_prefix(name, names, n);
	if (found >= 0)
		return &wt_verbs_table[found];
	if (found == WT_SUGGEST_MANY) {
		used = (size_t)snprintf(why, why_size, _("'%s' could be"), name);
		for (size_t i = 0; i < n && used < why_size; i++)
			if (strncmp(names[i], name, strlen(name)) == 0)
				used += (size_t)snprintf(why + used, why_size - used, " %s",
							 names[i]);
		return NULL;
	}
	found = wt_suggest_nearest(name, names, n);
	if (found >= 0)
		snprintf(why, why_size, _("no verb '%s'; did you mean '%s'?"), name, names[found]);
	else
		snprintf(why, why_size, _("no verb '%s'; see: wither help"), name);
	return NULL;
}
