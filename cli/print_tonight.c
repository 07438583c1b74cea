/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * The screen of the evening: the answer first, one row a load, the plan in
 * short, what would make it surer.  It fits 40 x 20.
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

enum {
	TONIGHT_ROWS = 19,
	TONIGHT_LOADS_LEAST = 3,
	TONIGHT_FIRINGS = 3,
	TONIGHT_SORTED = 1024,
	TONIGHT_NAMED = 5
};

/* Behind what stands in the row if there is room, else in the next. */
static void print_room(struct wt_page *page, const json_t *room)
{
	char temp[WT_SAY_SIZE], rh[WT_SAY_SIZE], air[2 * WT_SAY_SIZE + 2], shown[256];
	const char *name = wt_doc_text(room, "name");
	int cells;

	wt_say_number(temp, wt_doc_number(room, "temp_c"), 1, "°C");
	wt_say_number(rh, wt_doc_number(room, "rh_pct"), 0, "%");
	if (isnan(wt_doc_number(room, "temp_c")))
		snprintf(air, sizeof air, "%s", _(": no reading"));
	else
		snprintf(air, sizeof air, " %s %s", temp, rh);
	/* Of the two the name is cut. */
	cells = wt_term_copy(&page->term, shown, sizeof shown,
			     page->term.width - wt_term_cells(air), name ? name : "-");
	cells += wt_term_cells(air);
	if (page->used > 0 && page->used + 2 + cells > page->term.width)
		wt_page_end(page);
	else if (page->used > 0)
		wt_page_gap(page, 2);
	wt_page_cellf(page, WT_MARK_FAINT, 0, "%s%s", shown, air);
}

static void print_head(struct wt_page *page, const json_t *result, double now)
{
	char when[WT_WHEN_SIZE];
	const json_t *rooms = wt_doc_list(result, "rooms");

	wt_when_full(when, now);
	wt_page_cell(page, WT_MARK_NONE, 0, when);
	if (json_array_size(rooms) != 1)
		wt_page_end(page);
	for (size_t i = 0; i < json_array_size(rooms); i++) {
		print_room(page, json_array_get(rooms, i));
		if (i % 2 == 1 || i + 1 == json_array_size(rooms))
			wt_page_end(page);
	}
}

static void print_stale(struct wt_page *page, const json_t *result)
{
	size_t i;
	json_t *room;

	json_array_foreach(wt_doc_list(result, "rooms"), i, room)
	{
		char age[WT_WHEN_SIZE];
		const char *name = wt_doc_text(room, "name");

		if (!wt_doc_true(room, "stale") || isnan(wt_doc_number(room, "age_s")))
			continue;
		wt_when_span(age, wt_doc_number(room, "age_s"));
		wt_page_row(page, WT_MARK_ALARM, _("STALE: %s silent for %s"), name ? name : "-",
			    age);
	}
}

static bool any_stale(const json_t *rooms)
{
	for (size_t i = 0; i < json_array_size(rooms); i++)
		if (wt_doc_true(json_array_get(rooms, i), "stale"))
			return true;
	return false;
}

enum urge { URGE_PAST = 1, URGE_NOW = 2, URGE_PLANNED = 4 };

/* Leaf past its best with a smaller chance than this to be good at its firing is lost (our choice);
 * above it haste still helps. */
#define LOST_CHANCE 0.05

static enum urge urge_of(const json_t *load, const json_t *firings)
{
	const char *call = wt_doc_text(load, "call");
	const char *reason = wt_doc_text(wt_doc_object(load, "reason"), "code");
	double best = 0;
	size_t i;
	json_t *firing;

	if (!call || (strcmp(call, "past") != 0 && strcmp(call, "now") != 0))
		return URGE_PLANNED;
	if (strcmp(call, "now") == 0)
		return URGE_NOW;
	/* Only its hours are over. */
	if (reason && strcmp(reason, "too_slow") == 0 &&
	    wt_doc_triple(load, "loss_pct").p50 < wt_doc_number(load, "latest_loss_pct"))
		return URGE_NOW;
	json_array_foreach(firings, i, firing)
	{
		if (wt_doc_integer(firing, "load", 0) == wt_doc_integer(load, "load", -1))
			best = fmax(best, wt_doc_number(firing, "p_in_window"));
	}
	return best < LOST_CHANCE ? URGE_PAST : URGE_NOW;
}

/* Loads of a list of such urges. */
static json_t *pick(const json_t *numbers, const json_t *loads, const json_t *firings,
		    unsigned urges)
{
	json_t *picked = json_array(), *number, *load;
	size_t i, k;

	json_array_foreach(numbers, i, number)
	{
		unsigned urge = URGE_PLANNED;

		json_array_foreach(loads, k, load)
		{
			if (json_equal(json_object_get(load, "load"), number))
				urge = urge_of(load, firings);
		}
		if (urge & urges)
			json_array_append(picked, number);
	}
	return picked;
}

/* Those that are lost, whether they have a place in the plan or not. */
static json_t *pick_lost(const json_t *loads, const json_t *firings)
{
	json_t *picked = json_array(), *load;
	size_t i;

	json_array_foreach(loads, i, load)
	{
		if (urge_of(load, firings) == URGE_PAST)
			json_array_append(picked, json_object_get(load, "load"));
	}
	return picked;
}

/* The hours of all loads of a list on one side of the night. */
static struct wt_night night_of(const json_t *firings, const char *when, const json_t *numbers)
{
	struct wt_night all = {0, NAN, NAN};
	size_t i;
	json_t *number;

	json_array_foreach(numbers, i, number)
	{
		struct wt_night one = wt_night_of(firings, when, json_integer_value(number));

		all.n += one.n;
		all.first_unix_s = fmin(all.first_unix_s, one.first_unix_s);
		all.last_unix_s = fmax(all.last_unix_s, one.last_unix_s);
	}
	return all;
}

/* A start so near is no time to tell (our choice). */
#define SOON_S 600

/* A block of firings in one sentence: which loads, from when. */
struct said {
	const char *word; /* of wt_night_word() */
	const char *lead;
};

static void say_block(struct wt_page *page, enum wt_mark mark, const struct said *said, size_t n,
		      struct wt_night night, const char *word, const json_t *numbers, double now)
{
	char list[192], start[WT_WHEN_SIZE];

	if (json_array_size(numbers) == 0)
		return;
	wt_say_numbers(list, sizeof list, numbers, TONIGHT_NAMED);
	wt_when_clock(start, night.first_unix_s, now);
	/* The day is in the word already. */
	const char *clock = strrchr(start, ' ') ? strrchr(start, ' ') + 1 : start;
	while (n > 1 && strcmp(said->word, word) != 0) {
		said++;
		n--;
	}
	if (night.n && night.first_unix_s > now + SOON_S)
		wt_page_textf(page, mark, 2, _("%s from %s: %s."), _(said->lead), clock, list);
	else
		wt_page_textf(page, mark, 2, _("%s: %s."), _(said->lead), list);
}

static void print_calls(struct wt_page *page, const json_t *result, double now)
{
	static const struct said at_once[] = {{"", N_("Fire NOW")}};
	static const struct said lost[] = {{"", N_("Past best, fix or let go")}};
	static const struct said soon[] = {{"this morning", N_("Fire this morning")},
					   {"today", N_("Fire today")},
					   {"tonight", N_("Fire tonight")}};
	static const struct said later[] = {{"tomorrow", N_("Tomorrow")},
					    {"morning", N_("Morning")}};
	const json_t *answer = wt_doc_object(result, "answer");
	const json_t *firings = wt_doc_list(wt_doc_object(result, "plan"), "firings");
	const json_t *all = wt_doc_list(answer, "loads_tonight");
	const json_t *loads = wt_doc_list(result, "loads");
	json_t *now_list = pick(all, loads, firings, URGE_NOW);
	json_t *rest = pick(all, loads, firings, URGE_PLANNED);
	json_t *morning =
		pick(wt_doc_list(answer, "loads_morning"), loads, firings, URGE_NOW | URGE_PLANNED);
	json_t *past = pick_lost(loads, firings);
	struct wt_night at_night = night_of(firings, "tonight", rest);
	struct wt_night next_day = night_of(firings, "morning", morning);
	const char *word = wt_night_word(at_night, false, now);
	const char *next_word = wt_night_word(next_day, true, now);
	/* After midnight the next day's fire is this day's. */
	bool same_day = strcmp(next_word, "this morning") == 0 || strcmp(next_word, "today") == 0;

	say_block(page, WT_MARK_FIRE, at_once, 1, night_of(firings, "tonight", now_list), "",
		  now_list, now);
	say_block(page, WT_MARK_FIRE, soon, 3, at_night, word, rest, now);
	if (json_array_size(now_list) + json_array_size(rest) + json_array_size(past) == 0 &&
	    !same_day)
		wt_page_row(page, WT_MARK_HEAD, "%s",
			    strcmp(word, "tonight") == 0 ? _("No fire tonight.")
							 : _("No fire today."));
	if (same_day)
		say_block(page, WT_MARK_FIRE, soon, 3, next_day, next_word, morning, now);
	else
		say_block(page, WT_MARK_HEAD, later, 2, next_day, next_word, morning, now);
	/* Wherever the plan has room for it: nothing is gained by haste any more. */
	say_block(page, WT_MARK_ALARM, lost, 1, (struct wt_night){0, NAN, NAN}, "", past, now);
	json_decref(now_list);
	json_decref(rest);
	json_decref(morning);
	json_decref(past);
}

static void print_wait(struct wt_page *page, const json_t *result, double now)
{
	const json_t *firings = wt_doc_list(wt_doc_object(result, "plan"), "firings");
	char start[WT_WHEN_SIZE];

	wt_when_clock(start, wt_doc_number(json_array_get(firings, 0), "start_unix_s"), now);
	if (json_array_size(firings) > 0)
		wt_page_textf(page, WT_MARK_HEAD, 2, _("Wait: nothing to fire before %s."), start);
	else
		wt_page_text(page, WT_MARK_HEAD, 2,
			     _("Wait: nothing to fire before tomorrow's end."));
}

static void print_answer(struct wt_page *page, const json_t *result, double now)
{
	const json_t *answer = wt_doc_object(result, "answer");
	const char *code = wt_doc_text(answer, "code");

	if (!code)
		code = "";
	if (strcmp(code, "nothing") == 0)
		wt_page_text(page, WT_MARK_HEAD, 2,
			     _("No leaf is withering. Begin: wither spread ORIGIN 12.4kg 4m2"));
	else if (strcmp(code, "no_reading") == 0)
		wt_page_text(page, WT_MARK_HEAD, 2,
			     _("No reading yet, so no forecast. See: wither stations"));
	else if (strcmp(code, "no_wok") == 0)
		wt_page_text(page, WT_MARK_ALARM, 2,
			     _("No wok is set up ([hearth] woks = 0), so no firing is planned."));
	else if (strcmp(code, "starting") == 0)
		wt_page_text(page, WT_MARK_HEAD, 2,
			     _("The forecast is being worked out. Ask again in a moment."));
	else if (strcmp(code, "stale") == 0)
		wt_page_text(page, WT_MARK_ALARM, 2,
			     any_stale(wt_doc_list(result, "rooms"))
				     ? _("The readings are too old for a call. Go by hand and "
					 "scale.")
				     : _("No forecast yet: too few readings. Go by hand and "
					 "scale."));
	else if (strcmp(code, "wait") == 0)
		print_wait(page, result, now);
	else if (json_array_size(wt_doc_list(answer, "loads_tonight")) > 0 ||
		 json_array_size(wt_doc_list(answer, "loads_morning")) > 0)
		print_calls(page, result, now);
	else
		wt_page_text(page, WT_MARK_HEAD, 2, wt_say_code(answer));
}

int wt_print_event(struct wt_page *page, const json_t *event, double now)
{
	const char *code = wt_doc_text(event, "code");
	char since[WT_WHEN_SIZE], before[WT_SAY_SIZE], after[WT_SAY_SIZE];
	int rows = page->rows;

	if (!code)
		return 0;
	wt_when_clock(since, wt_doc_number(event, "since_unix_s"), now);
	wt_say_number(before, wt_doc_number(event, "vpd_before_kpa"), 2, "");
	wt_say_number(after, wt_doc_number(event, "vpd_after_kpa"), 2, " kPa");
	wt_page_textf(page, WT_MARK_NONE, 2,
		      strcmp(code, "wetter") == 0 ? _("Wetter since %s: VPD %s → %s")
						  : _("Drier since %s: VPD %s → %s"),
		      since, before, after);
	return page->rows - rows;
}

/* How much the air's turn slows or speeds the drying, which goes about as the deficit does. */
static void print_turn(struct wt_page *page, const json_t *room, bool alone, double now)
{
	const json_t *event = wt_doc_object(room, "event");
	const char *code = wt_doc_text(event, "code"), *name = wt_doc_text(room, "name");
	double before = wt_doc_number(event, "vpd_before_kpa");
	double after = wt_doc_number(event, "vpd_after_kpa");
	char since[WT_WHEN_SIZE], turn[128];

	if (!code)
		return;
	wt_when_clock(since, wt_doc_number(event, "since_unix_s"), now);
	if (!(before > 0) || !(after > 0))
		snprintf(turn, sizeof turn,
			 strcmp(code, "wetter") == 0 ? _("Wetter since %s") : _("Drier since %s"),
			 since);
	else if (strcmp(code, "wetter") == 0)
		snprintf(turn, sizeof turn, _("Wetter since %s: dries %.0f%% slower"), since,
			 100.0 * (1.0 - after / before));
	else
		snprintf(turn, sizeof turn, _("Drier since %s: dries %.1f× as fast"), since,
			 after / before);
	wt_page_textf(page, WT_MARK_NONE, 2, "%s%s%s", alone || !name ? "" : name,
		      alone || !name ? "" : ": ", turn);
}

static void ready_text(char out[static WT_WHEN_SIZE], const json_t *load, double now)
{
	struct wt_doc_triple ready = wt_doc_triple(load, "ready_unix_s");

	/* Without any quantile there is no forecast, not a late one. */
	wt_when_range(out, ready.p10, isfinite(ready.p90) ? ready.p90 : NAN, now);
}

static struct wt_table load_table(void)
{
	struct wt_table table = wt_table_new("rFrll");

	wt_table_add(&table, WT_MARK_FAINT, "#");
	wt_table_add(&table, WT_MARK_FAINT, _("garden"));
	wt_table_add(&table, WT_MARK_FAINT, _("loss"));
	wt_table_add(&table, WT_MARK_FAINT, _("ready"));
	wt_table_add(&table, WT_MARK_FAINT, _("call"));
	return table;
}

static void add_load(struct wt_table *table, const json_t *load, const json_t *firings, double now)
{
	const char *call = wt_doc_text(load, "call");
	char loss[WT_SAY_SIZE], ready[WT_WHEN_SIZE];

	wt_say_loss(loss, wt_doc_triple(load, "loss_pct"));
	ready_text(ready, load, now);
	wt_table_addf(table, WT_MARK_NONE, "%lld", wt_doc_integer(load, "load", 0));
	wt_table_add(table, WT_MARK_NONE, wt_doc_text(load, "origin"));
	wt_table_add(table, WT_MARK_NONE, loss);
	wt_table_add(table, WT_MARK_NONE, ready);
	wt_table_add(table, wt_say_call_mark(call),
		     wt_say_word(wt_night_call_of(load, firings, now)));
}

/* What cannot wait comes first when not all loads have a row. */
static int urgency(const json_t *load)
{
	static const char *const order[] = {"now", "past", "tonight", "either", "morning", "wait"};
	const char *call = wt_doc_text(load, "call");

	for (int i = 0; call && i < (int)(sizeof order / sizeof *order); i++)
		if (strcmp(call, order[i]) == 0)
			return i;
	return 9;
}

static size_t by_urgency(const json_t *loads, const json_t **sorted, size_t size)
{
	size_t n = 0;

	for (int wish = 0; wish < 10; wish++)
		for (size_t i = 0; i < json_array_size(loads) && n < size; i++)
			if (urgency(json_array_get(loads, i)) == wish)
				sorted[n++] = json_array_get(loads, i);
	return n;
}

/* Why the call is so, in one row, below the load. */
static void print_why(struct wt_page *page, const json_t *load)
{
	const json_t *reason = wt_doc_object(load, "reason");
	double sure = wt_doc_number(load, "p_call");
	char chance[WT_SAY_SIZE];

	/* That there is no wok the answer has said for all. */
	if (!reason ||
	    strcmp(wt_doc_text(reason, "code") ? wt_doc_text(reason, "code") : "", "no_wok") == 0)
		return;
	wt_say_chance(chance, sure);
	if (isfinite(sure))
		wt_page_row(page, WT_MARK_FAINT, _("   %s sure: %s"), chance,
			    wt_say_reason(reason));
	else
		wt_page_row(page, WT_MARK_FAINT, "   %s", wt_say_reason(reason));
}

/* Rows of all loads with their reasons, and lines of one: on a very narrow terminal a row takes
 * more than one. */
static int rows_of_all(const struct wt_page *page, const json_t *loads, const json_t *firings,
		       double now, int *lines)
{
	struct wt_page dry = wt_page_dry(page);
	struct wt_table table = load_table();
	size_t i;
	json_t *load;

	json_array_foreach(loads, i, load) add_load(&table, load, firings, now);
	wt_table_print(&table, &dry, 0, 1);
	*lines = dry.rows;
	wt_table_print(&table, &dry, 1, wt_table_rows(&table));
	wt_table_clear(&table);
	json_array_foreach(loads, i, load) print_why(&dry, load);
	return dry.rows;
}

/* Loads within `room` rows; the reasons too when there is room for all of them. */
static void print_loads(struct wt_page *page, const json_t *loads, const json_t *firings,
			double now, int room)
{
	struct wt_table table = load_table();
	const json_t *shown[TONIGHT_SORTED];
	size_t all = json_array_size(loads), n = all < TONIGHT_SORTED ? all : TONIGHT_SORTED;
	size_t fit = n;
	int lines;
	bool why = rows_of_all(page, loads, firings, now, &lines) <= room;

	if (lines * ((int)all + 1) > room) {
		fit = room - 1 > lines * (TONIGHT_LOADS_LEAST + 1)
			      ? (size_t)((room - 1) / lines - 1)
			      : TONIGHT_LOADS_LEAST;
		fit = fit < n ? fit : n;
	}
	if (fit < all)
		n = by_urgency(loads, shown, n);
	else
		for (size_t i = 0; i < n; i++)
			shown[i] = json_array_get(loads, i);
	for (size_t i = 0; i < fit; i++)
		add_load(&table, shown[i], firings, now);
	if (n > 0)
		wt_table_print(&table, page, 0, 1);
	for (size_t i = 0; i < fit; i++) {
		wt_table_print(&table, page, i + 1, i + 2);
		if (why)
			print_why(page, shown[i]);
	}
	wt_table_clear(&table);
	if (fit < all)
		wt_page_row(page, WT_MARK_HEAD, _("and %zu more: wither loads"), all - fit);
}

static bool same_batch(const json_t *a, const json_t *b)
{
	const char *when_a, *when_b;

	if (wt_doc_integer(a, "load", 0) != wt_doc_integer(b, "load", 0))
		return false;
	when_a = wt_doc_text(a, "when");
	when_b = wt_doc_text(b, "when");
	return when_a && when_b && strcmp(when_a, when_b) == 0;
}

/* One row for all firings of a load on one side of the night, beginning with firing `first`; the
 * chance is that of its leaf, over the firings. */
static void add_batch(struct wt_table *table, const json_t *firings, size_t first, double now)
{
	const json_t *head = json_array_get(firings, first);
	const char *when = wt_doc_text(head, "when");
	double kg_sum = 0, planned_kg = 0, good_kg = 0;
	char start[WT_WHEN_SIZE], kg[WT_SAY_SIZE], sure[WT_SAY_SIZE];
	size_t n = 0;

	for (size_t i = first; i < json_array_size(firings); i++) {
		const json_t *firing = json_array_get(firings, i);

		if (!same_batch(head, firing))
			continue;
		n++;
		kg_sum += wt_night_kg(firing);
		planned_kg += wt_doc_number(firing, "kg");
		good_kg += wt_doc_number(firing, "kg") * wt_doc_number(firing, "p_in_window");
	}
	wt_when_clock(start, wt_doc_number(head, "start_unix_s"), now);
	wt_say_number(kg, kg_sum, 1, " kg");
	wt_say_chance(sure, good_kg / planned_kg);
	wt_table_add(table, when && strcmp(when, "tonight") == 0 ? WT_MARK_FIRE : WT_MARK_REST,
		     start);
	wt_table_addf(table, WT_MARK_NONE, "#%lld", wt_doc_integer(head, "load", 0));
	wt_table_add(table, WT_MARK_NONE, wt_doc_text(head, "origin"));
	wt_table_addf(table, WT_MARK_NONE, "%zu×", n);
	wt_table_add(table, WT_MARK_NONE, kg);
	wt_table_add(table, WT_MARK_NONE, sure);
}

static void print_plan_short(struct wt_page *page, const json_t *plan, double now)
{
	const json_t *firings = wt_doc_list(plan, "firings");
	struct wt_table table = wt_table_new("lrFrrr");
	size_t n = json_array_size(firings), batches = 0;

	for (size_t i = 0; i < n; i++) {
		size_t k = 0;

		while (k < i && !same_batch(json_array_get(firings, k), json_array_get(firings, i)))
			k++;
		if (k == i && ++batches <= TONIGHT_FIRINGS)
			add_batch(&table, firings, i, now);
	}
	if (batches > 0)
		wt_page_row(page, WT_MARK_FAINT, "%s",
			    _("start · firings · kg · chance it's good"));
	wt_table_finish(&table, page);
	if (batches > TONIGHT_FIRINGS)
		wt_page_row(page, WT_MARK_NONE, _("and %zu more: wither plan"),
			    batches - TONIGHT_FIRINGS);
}

static void print_settle(struct wt_page *page, const json_t *settle, double now)
{
	const json_t *first = json_array_get(settle, 0);
	const char *verb = wt_doc_text(first, "verb");
	double at = wt_doc_number(first, "at_unix_s");
	char when[WT_WHEN_SIZE];

	if (!verb)
		return;
	bool by_hand = strcmp(verb, "feel") == 0;
	long long load = wt_doc_integer(first, "load", 0);

	wt_when_clock(when, at, now);
	if (isnan(at) || at <= now)
		wt_page_textf(page, WT_MARK_HEAD, 2,
			      by_hand ? _("To be surer, feel #%lld now.")
				      : _("To be surer, weigh #%lld now."),
			      load);
	else
		wt_page_textf(page, WT_MARK_HEAD, 2,
			      by_hand ? _("To be surer, feel #%lld at %s.")
				      : _("To be surer, weigh #%lld at %s."),
			      load, when);
}

static void print_concerns(struct wt_page *page, const json_t *concerns)
{
	size_t i;
	json_t *concern;

	json_array_foreach(concerns, i, concern)
	{
		const char *severity = wt_doc_text(concern, "severity");

		if (severity && strcmp(severity, "notice") == 0)
			continue;
		wt_page_row(page, WT_MARK_ALARM, "%s", _("Something needs you: wither health"));
		return;
	}
}

static void print_foot(struct wt_page *page, const json_t *result, double now)
{
	const json_t *plan = wt_doc_object(result, "plan");
	const char *attribution = wt_doc_text(result, "attribution");

	print_plan_short(page, plan, now);
	print_settle(page, wt_doc_list(result, "settle"), now);
	print_concerns(page, wt_doc_list(result, "concerns"));
	if (json_array_size(wt_doc_list(plan, "firings")) > 0)
		wt_page_text(page, WT_MARK_FAINT, 2,
			     _("Fire makes CO: keep air moving. Advice only; see wither plan."));
	if (attribution)
		wt_page_row(page, WT_MARK_FAINT, "%s", attribution);
}

/* The foot is laid out once to nowhere, to know the rows it leaves for the loads. */
static int foot_rows(const struct wt_page *page, const json_t *result, double now)
{
	struct wt_page dry = wt_page_dry(page);

	print_foot(&dry, result, now);
	return dry.rows;
}

void wt_print_tonight(struct wt_page *page, const json_t *result)
{
	double now = wt_doc_number(result, "now_unix_s");
	int limit = page->term.height > 20 ? page->term.height - 1 : TONIGHT_ROWS;
	const json_t *rooms = wt_doc_list(result, "rooms");
	size_t i;
	json_t *room;

	print_answer(page, result, now);
	print_stale(page, result);
	print_head(page, result, now);
	json_array_foreach(rooms, i, room) print_turn(page, room, json_array_size(rooms) == 1, now);
	print_loads(page, wt_doc_list(result, "loads"),
		    wt_doc_list(wt_doc_object(result, "plan"), "firings"), now,
		    limit - page->rows - foot_rows(page, result, now));
	print_foot(page, result, now);
}
