/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * The answer of the evening, and the plan behind it.
 */
#include <math.h>
#include <stdio.h>
#include <string.h>

#include "daemon/site_query.h"

/* --- rooms ----------------------------------------------------------------------------------- */

json_t *site_event(const struct wt_room_event *event)
{
	if (event->kind == WT_ROOM_EVENT_NONE)
		return json_null();
	return json_pack("{s:s,s:I,s:o,s:o}", "code",
			 event->kind == WT_ROOM_EVENT_WETTER ? "wetter" : "drier", "since_unix_s",
			 (json_int_t)event->since_unix_s, "vpd_before_kpa",
			 site_number(event->vpd_before_pa / 1000.0), "vpd_after_kpa",
			 site_number(event->vpd_after_pa / 1000.0));
}

/* A room is stale when its newest reading is older than three times what its slowest station
 * promises. */
static double patience_s(const struct wt_site *site, size_t room)
{
	double expected_s = 0.0;

	for (size_t i = 0; i < site->n_stations; i++) {
		const struct site_station *station = &site->stations[i];
		if (!station->configured || station->room != room)
			continue;
		double every = site->config->stations[station->config].expected_every_s;
		expected_s = every > expected_s ? every : expected_s;
	}
	return 3.0 * (expected_s > 0.0 ? expected_s : 600.0);
}

/* Age NAN and stale with no reading at all. */
bool site_room_stale(const struct wt_site *site, size_t room, int64_t now_unix_s, double *age_s)
{
	struct wt_room_now now;

	*age_s = NAN;
	if (wt_room_latest(site->rooms[room].series->series, now_unix_s, &now) != WT_OK)
		return true;
	*age_s = (double)(now_unix_s - now.at_unix_s);
	return *age_s > patience_s(site, room);
}

/* A forecast is hardly worse for an hour without readings; after that no call stands on it (our
 * choice).  The silence is said from the first. */
#define SILENT_S 3600

double site_room_silent_after_s(const struct wt_site *site, size_t room)
{
	return fmax(patience_s(site, room), SILENT_S);
}

bool site_room_silent(const struct wt_site *site, size_t room, int64_t now_unix_s)
{
	double age_s;

	return site_room_stale(site, room, now_unix_s, &age_s) && !(age_s < SILENT_S);
}

static json_t *room_row(const struct wt_site *site, size_t index, int64_t now_unix_s)
{
	const struct site_room *room = &site->rooms[index];
	struct wt_room_now now = {.temp_c = NAN, .rh_pct = NAN, .vpd_pa = NAN};
	struct wt_room_event event = {.kind = WT_ROOM_EVENT_NONE};
	double age_s;
	int stations = 0;
	bool stale = site_room_stale(site, index, now_unix_s, &age_s);

	if (wt_room_latest(room->series->series, now_unix_s, &now) != WT_OK)
		now.temp_c = now.rh_pct = now.vpd_pa = NAN;
	if (wt_room_recent_event(room->series->series, now_unix_s, &event) != WT_OK)
		event.kind = WT_ROOM_EVENT_NONE;
	for (size_t i = 0; i < site->n_stations; i++)
		stations += site->stations[i].configured && site->stations[i].room == index;
	return json_pack("{s:s,s:o,s:o,s:o,s:o,s:b,s:i,s:o}", "name", room->name, "temp_c",
			 site_number(now.temp_c), "rh_pct", site_number(now.rh_pct), "vpd_kpa",
			 site_number(now.vpd_pa / 1000.0), "age_s", site_time(age_s), "stale",
			 (int)stale, "stations", stations, "event", site_event(&event));
}

/* --- loads ----------------------------------------------------------------------------------- */

static json_t *kept(const double quantile[SITE_QUANTILES], bool times)
{
	return times ? site_time_triple(quantile[SITE_P10], quantile[SITE_P50], quantile[SITE_P90])
		     : site_triple(quantile[SITE_P10], quantile[SITE_P50], quantile[SITE_P90]);
}

const struct site_job_load *site_advice_of(const struct wt_site *site, const struct site_load *load,
					   int64_t now_unix_s)
{
	const struct site_job_load *job = site_forecast_of(site, load);

	return job && job->view.advised && !site_room_silent(site, load->room, now_unix_s) ? job
											   : NULL;
}

json_t *site_call(const struct site_view *view)
{
	/* Without a wok there is nothing to call, unless the leaf is lost anyway. */
	if (!view->advised || view->advice.reason == WT_REASON_NO_WOK)
		return json_null();
	return json_string(wt_words_text(WT_WORDS_CALL, (int)view->advice.call));
}

json_t *site_fire(const struct site_view *view)
{
	return view->advised && view->fire_unix_s[0]
		       ? json_pack("[I,I]", (json_int_t)view->fire_unix_s[0],
				   (json_int_t)view->fire_unix_s[1])
		       : json_null();
}

static void add_forecast(const struct site_view *view, json_t *row)
{
	json_object_set_new(row, "loss_pct", kept(view->loss_pct, false));
	json_object_set_new(row, "rate_pct_h", site_number(view->rate_pct_h));
	json_object_set_new(row, "ready_unix_s", kept(view->ready_unix_s, true));
	json_object_set_new(row, "past_unix_s", kept(view->past_unix_s, true));
}

static void add_advice(const struct site_view *view, json_t *row)
{
	json_object_set_new(row, "p_ready_tonight", site_number(view->advice.p_ready_tonight));
	json_object_set_new(row, "call", site_call(view));
	json_object_set_new(row, "fire_unix_s", site_fire(view));
	if (view->advice.reason != WT_REASON_NO_WOK)
		json_object_set_new(row, "p_call", site_number(view->advice.p_call));
	json_object_set_new(row, "why", json_string(view->why));
	json_object_set(row, "reason", view->reason);
}

/* Why an open load has no call. */
static void add_silence(const struct wt_site *site, const struct site_load *load,
			int64_t now_unix_s, json_t *row)
{
	const struct site_room *room = &site->rooms[load->room];
	char clock[16], why[128]; /* a name has at most 48 bytes */
	double age_s;

	if (!site_room_silent(site, load->room, now_unix_s))
		return;
	(void)site_room_stale(site, load->room, now_unix_s, &age_s);
	if (isfinite(age_s)) {
		site_local_clock(site, now_unix_s - (int64_t)age_s, clock);
		snprintf(why, sizeof(why), "no reading of %s since %s: go by hand and scale",
			 room->name, clock);
	} else {
		snprintf(why, sizeof(why), "no reading of %s yet: go by hand and scale",
			 room->name);
	}
	json_object_set_new(row, "why", json_string(why));
	json_object_set_new(
		row, "reason",
		json_pack("{s:s,s:{}}", "code", isfinite(age_s) ? "silent" : "no_reading", "args"));
}

json_t *site_tonight_row(const struct wt_site *site, const struct site_load *load,
			 int64_t now_unix_s)
{
	const struct site_job_load *job = site_forecast_of(site, load);
	static const char *const unknown[] = {
		"rate_pct_h", "p_ready_tonight", "call", "p_call", "why", "reason", "fire_unix_s"};
	struct wt_load_case load_case;

	site_load_case(site, load, &load_case);
	json_t *row = json_pack("{s:i,s:s,s:s,s:s,s:f,s:f}", "load", load->number, "origin",
				site->origins[load->origin], "style", load->style, "room",
				site->rooms[load->room].name, "kg", load->kg, "hours",
				(double)(now_unix_s - load->spread_unix_s) / SITE_HOUR_S);
	json_object_set_new(row, "loss_pct", site_triple(NAN, NAN, NAN));
	json_object_set_new(row, "ready_unix_s", site_triple(NAN, NAN, NAN));
	json_object_set_new(row, "past_unix_s", site_triple(NAN, NAN, NAN));
	for (size_t i = 0; i < sizeof(unknown) / sizeof(unknown[0]); i++)
		json_object_set_new(row, unknown[i], json_null());
	if (job)
		add_forecast(&job->view, row);
	if (site_advice_of(site, load, now_unix_s))
		add_advice(&job->view, row);
	else if (load->state == SITE_OPEN)
		add_silence(site, load, now_unix_s, row);
	json_object_set_new(row, "left_share", site_number(load->left_share));
	json_object_set_new(row, "ready_from_loss_pct", site_number(load_case.ready_from_loss_pct));
	json_object_set_new(row, "latest_loss_pct", site_number(load_case.latest_loss_pct));
	return row;
}

/* --- the answer ------------------------------------------------------------------------------ */

struct tally {
	int open, known, calls[WT_CALL_COUNT];
	int at_once; /* now, or past its best while there is a fire */
	json_t *tonight, *morning;
	int firings_tonight, firings_morning;
	int64_t first_start_unix_s;
	/* Each load in one: what is called at once is no more in that of its side of the night. */
	char now_text[80], past_text[80], tonight_text[80], morning_text[80];
};

/* Firings of a load on one side of the night. */
static size_t planned(const struct wt_plan *plan, int load, bool morning)
{
	size_t n = 0;

	for (size_t i = 0; plan && i < plan->n; i++)
		n += plan->firings[i].load == load && plan->firings[i].morning == morning;
	return n;
}

static void add_number(char *text, size_t size, int number)
{
	size_t used = strlen(text);

	if (used + 16 < size)
		snprintf(text + used, size - used, "%s%d", used ? ", " : "", number);
}

/* Leaf past its best is to be fired at once, but not after the last start: nobody is called to the
 * fire at night for what is lost already. */
static bool counts_tonight(const struct wt_job *job, int load, enum wt_call call)
{
	switch (call) {
	case WT_CALL_TONIGHT:
	case WT_CALL_NOW:
		return true;
	case WT_CALL_PAST:
		return planned(job->plan, load, false) ||
		       (!planned(job->plan, load, true) &&
			job->now_unix_s <= job->hearth.last_start_unix_s);
	case WT_CALL_EITHER:
		return planned(job->plan, load, false);
	default:
		return false;
	}
}

static void take_call(struct tally *tally, const struct wt_job *job, int load, enum wt_call call)
{
	bool tonight = counts_tonight(job, load, call);
	char *text = tonight ? tally->tonight_text : tally->morning_text;

	tally->calls[call]++;
	if (call == WT_CALL_WAIT)
		return;
	tally->at_once += tonight && (call == WT_CALL_NOW || call == WT_CALL_PAST);
	json_array_append_new(tonight ? tally->tonight : tally->morning, json_integer(load));
	if (call == WT_CALL_NOW)
		text = tally->now_text;
	else if (tonight && call == WT_CALL_PAST)
		text = tally->past_text;
	add_number(text, sizeof(tally->now_text), load);
}

static void count_load(const struct wt_site *site, const struct site_load *load, int64_t now_unix_s,
		       struct tally *tally)
{
	const struct site_job_load *job = site_advice_of(site, load, now_unix_s);

	if (load->gone || load->state != SITE_OPEN)
		return;
	tally->open++;
	if (!job)
		return;
	tally->known++;
	take_call(tally, site->forecast, load->number, job->view.advice.call);
}

/* In the order of the fire, then those without a place. */
static void count(const struct wt_site *site, int64_t now_unix_s, struct tally *tally)
{
	const struct wt_plan *plan = site->forecast ? site->forecast->plan : NULL;
	bool *counted = site_alloc((site->n_loads + 1) * sizeof(*counted));

	for (size_t i = 0; plan && i < plan->n; i++) {
		const struct wt_firing *firing = &plan->firings[i];
		if (!site_firing_stands(site, firing, now_unix_s))
			continue;
		if (!counted[firing->load])
			count_load(site, &site->loads[firing->load - 1], now_unix_s, tally);
		counted[firing->load] = true;
		if (firing->morning)
			tally->firings_morning++;
		else if (!tally->firings_tonight++)
			tally->first_start_unix_s = firing->start_unix_s;
	}
	for (size_t i = 0; i < site->n_loads; i++) {
		if (!counted[site->loads[i].number])
			count_load(site, &site->loads[i], now_unix_s, tally);
	}
	free(counted);
}

static const char *answer_code(const struct tally *tally, bool any_reading, bool any_forecast,
			       bool stale, bool wok)
{
	size_t tonight = json_array_size(tally->tonight), morning = json_array_size(tally->morning);

	if (!any_reading)
		return "no_reading";
	if (!tally->open)
		return "nothing";
	if (!any_forecast)
		return "starting";
	if (stale || !tally->known)
		return "stale";
	if (!wok)
		return "no_wok";
	if (tally->at_once)
		return "fire_now";
	if (tonight && (morning || tally->calls[WT_CALL_WAIT]))
		return "mixed";
	if (tonight)
		return "fire_tonight";
	return morning ? "morning" : "wait";
}

/* What burns, what may wait for its hour, what is lost already: apart, for they are not alike. */
static void at_once_text(const struct tally *tally, char *out, size_t size)
{
	const struct {
		const char *before, *loads, *after;
	} parts[] = {{"Fire now: load ", tally->now_text, ". "},
		     {"Tonight: load ", tally->tonight_text, ". "},
		     {"Past its best, fix or let go: load ", tally->past_text, ". "}};
	size_t used = 0;

	out[0] = '\0';
	for (size_t i = 0; i < sizeof(parts) / sizeof(parts[0]) && used < size; i++)
		if (*parts[i].loads)
			used += (size_t)snprintf(out + used, size - used, "%s%s%s", parts[i].before,
						 parts[i].loads, parts[i].after);
	used = strlen(out);
	if (used)
		out[used - 1] = '\0';
}

static void answer_text(const char *code, const struct tally *tally, char *out, size_t size)
{
	char clock[16] = "";

	if (tally->first_start_unix_s)
		site_local_clock(NULL, tally->first_start_unix_s, clock);
	if (!strcmp(code, "no_reading"))
		snprintf(out, size, "No reading of the air has come yet: no forecast.");
	else if (!strcmp(code, "nothing"))
		snprintf(out, size, "No load is spread.");
	else if (!strcmp(code, "starting"))
		snprintf(out, size, "The forecast is being worked out: ask again in a moment.");
	else if (!strcmp(code, "stale"))
		snprintf(out, size, "The station is silent: look at the leaf, not at this.");
	else if (!strcmp(code, "no_wok"))
		snprintf(out, size, "No wok is set up ([hearth] woks = 0): no firing is planned.");
	else if (!strcmp(code, "fire_now"))
		at_once_text(tally, out, size);
	else if (!strcmp(code, "mixed"))
		snprintf(out, size, "Fire load %s tonight%s%s; %s%s.", tally->tonight_text,
			 *clock ? ", from " : "", clock,
			 *tally->morning_text ? "in the morning load " : "let the rest wait",
			 tally->morning_text);
	else if (!strcmp(code, "fire_tonight"))
		snprintf(out, size, "Fire load %s tonight%s%s.", tally->tonight_text,
			 *clock ? ", from " : "", clock);
	else if (!strcmp(code, "morning"))
		snprintf(out, size, "Nothing to fire tonight; in the morning load %s.",
			 tally->morning_text);
	else
		snprintf(out, size, "Nothing to fire tonight: let the leaf wither.");
}

/* All rooms with open leaf have been silent for long. */
static bool all_stale(const struct wt_site *site, int64_t now_unix_s)
{
	bool any = false;

	for (size_t i = 0; i < site->n_loads; i++) {
		const struct site_load *load = &site->loads[i];
		if (load->gone || load->state != SITE_OPEN)
			continue;
		any = true;
		if (!site_room_silent(site, load->room, now_unix_s))
			return false;
	}
	return any;
}

/* Whether any room was ever heard, whether all that matter have fallen silent, what the loads'
 * calls come to. */
static const char *tally_up(const struct wt_site *site, int64_t now_unix_s, struct tally *tally)
{
	bool any_reading = false;

	for (size_t i = 0; i < site->n_rooms; i++)
		any_reading = any_reading || site->rooms[i].newest_unix_s;
	count(site, now_unix_s, tally);
	return answer_code(tally, any_reading, site->forecast != NULL, all_stale(site, now_unix_s),
			   site->config->woks > 0);
}

static json_t *answer(const struct wt_site *site, int64_t now_unix_s)
{
	struct tally tally = {.tonight = json_array(), .morning = json_array()};
	char text[240];
	const char *code = tally_up(site, now_unix_s, &tally);

	answer_text(code, &tally, text, sizeof(text));
	return json_pack("{s:s,s:o,s:o,s:i,s:o,s:s}", "code", code, "loads_tonight", tally.tonight,
			 "loads_morning", tally.morning, "firings_tonight", tally.firings_tonight,
			 "first_start_unix_s",
			 tally.first_start_unix_s
				 ? json_integer((json_int_t)tally.first_start_unix_s)
				 : json_null(),
			 "text", text);
}

/* Why a plan has no firing: the answer of the evening, where that is the reason. */
json_t *site_empty_plan(const struct wt_site *site, int64_t now_unix_s)
{
	struct tally tally = {.tonight = json_array(), .morning = json_array()};
	const char *code = tally_up(site, now_unix_s, &tally);
	json_t *note = json_null();

	if (!strcmp(code, "no_reading") || !strcmp(code, "nothing") || !strcmp(code, "starting") ||
	    !strcmp(code, "stale") || !strcmp(code, "no_wok")) {
		char text[240];
		answer_text(code, &tally, text, sizeof(text));
		note = site_note(code, "%s", text);
	} else if (!tally.firings_tonight && !tally.firings_morning) {
		note = site_note("wait",
				 "No firing should start before the end of tomorrow's hours.");
	}
	json_decref(tally.tonight);
	json_decref(tally.morning);
	return note;
}

/* --- what would settle it --------------------------------------------------------------------- */

static json_t *settle(const struct wt_site *site, int64_t now_unix_s)
{
	const struct wt_job *job = site->forecast;
	json_t *rows = json_array();
	char clock[16], why[112];

	const struct site_load *load = job ? site_load_get(site, job->settle.load) : NULL;
	if (!job || !job->settled || !load || !site_advice_of(site, load, now_unix_s))
		return rows;
	site_local_clock(site, job->settle.at_unix_s, clock);
	snprintf(why, sizeof(why), "%s load %d at %s: it would settle tonight or morning",
		 job->settle.by_hand ? "feel" : "weigh", job->settle.load, clock);
	json_array_append_new(rows, json_pack("{s:i,s:s,s:I,s:s,s:f}", "load", job->settle.load,
					      "verb", job->settle.by_hand ? "feel" : "weigh",
					      "at_unix_s", (json_int_t)job->settle.at_unix_s, "why",
					      why, "saves", job->settle.saves));
	return rows;
}

json_t *site_query_tonight(const struct wt_site *site, int64_t now_unix_s)
{
	json_t *document = site_document(site, now_unix_s), *rooms = json_array();
	json_t *loads = json_array();

	for (size_t i = 0; i < site->n_rooms; i++) {
		if (site->rooms[i].configured)
			json_array_append_new(rooms, room_row(site, i, now_unix_s));
	}
	for (size_t i = 0; i < site->n_loads; i++) {
		const struct site_load *load = &site->loads[i];
		if (!load->gone && load->state == SITE_OPEN)
			json_array_append_new(loads, site_tonight_row(site, load, now_unix_s));
	}
	json_object_set_new(document, "rooms", rooms);
	json_object_set_new(document, "loads", loads);
	json_object_set_new(document, "answer", answer(site, now_unix_s));
	json_object_set_new(document, "plan", site_plan_parts(site, now_unix_s));
	json_object_set_new(document, "settle", settle(site, now_unix_s));
	json_object_set_new(document, "hearth", site_hearth_row(site, now_unix_s));
	json_object_set_new(document, "concerns", wt_site_concerns(site, now_unix_s));
	json_object_set_new(document, "forecast_unix_s",
			    site->forecast ? json_integer((json_int_t)site->forecast->now_unix_s)
					   : json_null());
	json_object_set_new(document, "attribution", site_attribution(site, now_unix_s));
	return document;
}
