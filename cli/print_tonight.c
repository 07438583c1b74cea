/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * The screen of the evening: the answer first, one row a load, the plan in
 * short, what would settle it.  It fits 40 x 20.
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

enum { TONIGHT_ROWS = 19, TONIGHT_LOADS_LEAST = 3, TONIGHT_FIRINGS = 3, TONIGHT_SORTED = 1024 };

struct columns {
	int number, origin, loss, ready, call;
};

static void print_room(struct wt_page *page, const json_t *room)
{
	char temp[WT_SAY_SIZE], rh[WT_SAY_SIZE];
	const char *name = wt_doc_text(room, "name");

	wt_say_number(temp, wt_doc_number(room, "temp_c"), 1, "°C");
	wt_say_number(rh, wt_doc_number(room, "rh_pct"), 0, "%");
	wt_page_cellf(page, WT_MARK_FAINT, 0, "%s %s %s", name ? name : "-", temp, rh);
}

static void print_head(struct wt_page *page, const json_t *result, double now)
{
	char when[WT_WHEN_SIZE];
	const json_t *rooms = wt_doc_list(result, "rooms");

	wt_when_full(when, now);
	wt_page_cell(page, WT_MARK_NONE, 0, when);
	if (json_array_size(rooms) == 1) {
		wt_page_gap(page, 2);
		print_room(page, json_array_get(rooms, 0));
		wt_page_end(page);
		return;
	}
	wt_page_end(page);
	for (size_t i = 0; i < json_array_size(rooms); i++) {
		if (i % 2 == 1)
			wt_page_gap(page, 2);
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

static void print_answer(struct wt_page *page, const json_t *answer)
{
	const char *code = wt_doc_text(answer, "code");
	const json_t *tonight = wt_doc_list(answer, "loads_tonight");
	const json_t *morning = wt_doc_list(answer, "loads_morning");
	char now_list[128], rest_list[128], text[512] = "";

	wt_say_numbers(now_list, sizeof now_list, tonight, 6);
	wt_say_numbers(rest_list, sizeof rest_list, morning, 6);
	if (!code)
		code = "";
	if (strcmp(code, "nothing") == 0)
		snprintf(text, sizeof text, "%s",
			 _("No leaf is withering. Begin: wither spread ORIGIN 12.4kg 4m2"));
	else if (strcmp(code, "no_reading") == 0)
		snprintf(text, sizeof text, "%s",
			 _("No reading yet, so no forecast. See: wither stations"));
	else if (strcmp(code, "stale") == 0)
		snprintf(text, sizeof text, "%s",
			 _("The readings are too old for a call. Go by hand and scale."));
	else if (*now_list && *rest_list)
		snprintf(text, sizeof text,
			 strcmp(code, "fire_now") == 0 ? _("Fire NOW: %s. Morning: %s.")
						       : _("Fire tonight: %s. Morning: %s."),
			 now_list, rest_list);
	else if (*now_list)
		snprintf(text, sizeof text,
			 strcmp(code, "fire_now") == 0 ? _("Fire NOW: %s.")
						       : _("Fire tonight: %s."),
			 now_list);
	else if (*rest_list)
		snprintf(text, sizeof text, _("No fire tonight. Morning: %s."), rest_list);
	else if (strcmp(code, "wait") == 0)
		snprintf(text, sizeof text, "%s", _("Wait: nothing is ready by morning."));
	else
		snprintf(text, sizeof text, "%s", wt_say_code(answer));
	wt_page_text(page,
		     *now_list                    ? WT_MARK_FIRE
		     : strcmp(code, "stale") == 0 ? WT_MARK_ALARM
						  : WT_MARK_HEAD,
		     2, text);
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

static void ready_text(char out[static WT_WHEN_SIZE], const json_t *load, double now)
{
	struct wt_doc_triple ready = wt_doc_triple(load, "ready_unix_s");

	/* Without any quantile there is no forecast, not a late one. */
	wt_when_range(out, ready.p10, isfinite(ready.p90) ? ready.p90 : NAN, now);
}

static int most(int a, int b)
{
	return a > b ? a : b;
}

static struct columns measure(const struct wt_page *page, const json_t *loads, double now)
{
	struct columns c = {.number = 1};
	size_t i;
	json_t *load;
	int rest;

	c.loss = wt_term_cells(_("loss"));
	c.ready = wt_term_cells(_("ready"));
	c.call = wt_term_cells(_("call"));
	c.origin = wt_term_cells(_("garden"));
	json_array_foreach(loads, i, load)
	{
		char text[WT_SAY_SIZE]; /* the larger of the two sizes */
		const char *origin = wt_doc_text(load, "origin");

		snprintf(text, sizeof text, "%lld", wt_doc_integer(load, "load", 0));
		c.number = most(c.number, wt_term_cells(text));
		wt_say_loss(text, wt_doc_triple(load, "loss_pct"));
		c.loss = most(c.loss, wt_term_cells(text));
		ready_text(text, load, now);
		c.ready = most(c.ready, wt_term_cells(text));
		c.call = most(c.call, wt_term_cells(wt_say_word(wt_doc_text(load, "call"))));
		c.origin = most(c.origin, wt_term_cells(origin ? origin : "-"));
	}
	rest = page->term.width - (c.number + c.loss + c.ready + c.call + 4);
	if (c.origin > rest)
		c.origin = most(rest, 4);
	return c;
}

static void print_table_head(struct wt_page *page, const struct columns *c)
{
	wt_page_cell(page, WT_MARK_FAINT, -c->number, "#");
	wt_page_gap(page, 1);
	wt_page_cell(page, WT_MARK_FAINT, c->origin, _("garden"));
	wt_page_gap(page, 1);
	wt_page_cell(page, WT_MARK_FAINT, -c->loss, _("loss"));
	wt_page_gap(page, 1);
	wt_page_cell(page, WT_MARK_FAINT, c->ready, _("ready"));
	wt_page_gap(page, 1);
	wt_page_cell(page, WT_MARK_FAINT, 0, _("call"));
	wt_page_end(page);
}

static void print_load(struct wt_page *page, const struct columns *c, const json_t *load,
		       double now)
{
	const char *origin = wt_doc_text(load, "origin"), *call = wt_doc_text(load, "call");
	char loss[WT_SAY_SIZE], ready[WT_WHEN_SIZE];

	wt_say_loss(loss, wt_doc_triple(load, "loss_pct"));
	ready_text(ready, load, now);
	wt_page_cellf(page, WT_MARK_NONE, -c->number, "%lld", wt_doc_integer(load, "load", 0));
	wt_page_gap(page, 1);
	wt_page_cell(page, WT_MARK_NONE, c->origin, origin ? origin : "-");
	wt_page_gap(page, 1);
	wt_page_cell(page, WT_MARK_NONE, -c->loss, loss);
	wt_page_gap(page, 1);
	wt_page_cell(page, WT_MARK_NONE, c->ready, ready);
	wt_page_gap(page, 1);
	wt_page_cell(page, wt_say_call_mark(call), 0, wt_say_word(call));
	wt_page_end(page);
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

static void print_why(struct wt_page *page, const struct columns *c, const json_t *load)
{
	const json_t *reason = wt_doc_object(load, "reason");
	const char *why = wt_doc_text(load, "why");
	char chance[WT_SAY_SIZE];
	const char *said = reason ? wt_say_code(reason) : why;

	if (!said)
		return;
	/* A code we have no words for is less than the daemon's own sentence. */
	if (why && reason && said == wt_doc_text(reason, "code"))
		said = why;
	wt_say_chance(chance, wt_doc_number(load, "p_call"));
	wt_page_gap(page, c->number + 1);
	wt_page_textf(page, WT_MARK_FAINT, c->number + 1, "%s (%s)", said, chance);
}

static int why_rows(const struct wt_page *page, const struct columns *c, const json_t *load)
{
	struct wt_page dry = wt_page_dry(page);

	print_why(&dry, c, load);
	return dry.rows;
}

/* Loads within `room` rows, reasons too when there is room for all of them. */
static void print_loads(struct wt_page *page, const json_t *loads, double now, int room)
{
	struct columns c = measure(page, loads, now);
	int n = (int)json_array_size(loads), with_why = 1 + n;
	const json_t *sorted[TONIGHT_SORTED];
	int shown;

	if (n == 0)
		return;
	for (int i = 0; i < n && i < room; i++)
		with_why += why_rows(page, &c, json_array_get(loads, (size_t)i));
	print_table_head(page, &c);
	if (n + 1 <= room) {
		for (int i = 0; i < n; i++) {
			print_load(page, &c, json_array_get(loads, (size_t)i), now);
			if (with_why <= room)
				print_why(page, &c, json_array_get(loads, (size_t)i));
		}
		return;
	}
	shown = most(room - 2, TONIGHT_LOADS_LEAST);
	n = (int)by_urgency(loads, sorted, TONIGHT_SORTED);
	for (int i = 0; i < shown && i < n; i++)
		print_load(page, &c, sorted[i], now);
	if (n > shown)
		wt_page_row(page, WT_MARK_HEAD, _("and %d more: wither loads"),
			    (int)json_array_size(loads) - shown);
}

void wt_print_firing(struct wt_page *page, const json_t *firing, double now)
{
	char start[WT_WHEN_SIZE], kg[WT_SAY_SIZE], chance[WT_SAY_SIZE];
	const char *origin = wt_doc_text(firing, "origin");
	bool tonight =
		wt_doc_text(firing, "when") && strcmp(wt_doc_text(firing, "when"), "tonight") == 0;
	int flexible = page->term.width - 10 - 4 - 8 - 5 - 3;

	wt_when_clock(start, wt_doc_number(firing, "start_unix_s"), now);
	wt_say_kg(kg, wt_doc_number(firing, "kg"));
	wt_say_chance(chance, wt_doc_number(firing, "p_in_window"));
	wt_page_cell(page, tonight ? WT_MARK_FIRE : WT_MARK_REST, -10, start);
	wt_page_cellf(page, WT_MARK_NONE, -4, "#%lld", wt_doc_integer(firing, "load", 0));
	wt_page_gap(page, 1);
	wt_page_cell(page, WT_MARK_NONE, flexible < 24 ? flexible : 24, origin ? origin : "-");
	wt_page_gap(page, 1);
	wt_page_cell(page, WT_MARK_NONE, -8, kg);
	wt_page_gap(page, 1);
	wt_page_cell(page, WT_MARK_NONE, -5, chance);
	wt_page_end(page);
}

static void print_plan_short(struct wt_page *page, const json_t *plan, double now)
{
	const json_t *firings = wt_doc_list(plan, "firings");
	size_t n = json_array_size(firings);

	if (n == 0)
		return;
	wt_page_row(page, WT_MARK_FAINT, "%s", _("firings (chance inside the window)"));
	for (size_t i = 0; i < n && i < TONIGHT_FIRINGS; i++)
		wt_print_firing(page, json_array_get(firings, i), now);
	if (n > TONIGHT_FIRINGS)
		wt_page_row(page, WT_MARK_NONE, _("and %zu more: wither plan"),
			    n - TONIGHT_FIRINGS);
}

static void print_settle(struct wt_page *page, const json_t *settle, double now)
{
	const json_t *first = json_array_get(settle, 0);
	const char *verb = wt_doc_text(first, "verb");
	double at = wt_doc_number(first, "at_unix_s");
	char when[WT_WHEN_SIZE];

	if (!verb)
		return;
	wt_when_clock(when, at, now);
	if (isnan(at) || at <= now)
		snprintf(when, sizeof when, "%s", _("now"));
	wt_page_textf(page, WT_MARK_HEAD, 2,
		      strcmp(verb, "feel") == 0 ? _("To settle it: feel load %lld, %s.")
						: _("To settle it: weigh load %lld, %s."),
		      wt_doc_integer(first, "load", 0), when);
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
	size_t i;
	json_t *room;

	print_stale(page, result);
	print_head(page, result, now);
	print_answer(page, wt_doc_object(result, "answer"));
	json_array_foreach(wt_doc_list(result, "rooms"), i, room)
		wt_print_event(page, wt_doc_object(room, "event"), now);
	print_loads(page, wt_doc_list(result, "loads"), now,
		    limit - page->rows - foot_rows(page, result, now));
	print_foot(page, result, now);
}
