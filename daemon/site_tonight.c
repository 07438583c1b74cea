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
 * promises; age NAN and stale with no reading at all. */
bool site_room_stale(const struct wt_site *site, size_t room, int64_t now_unix_s, double *age_s)
{
	double expected_s = 0.0;
	struct wt_room_now now;

	for (size_t i = 0; i < site->n_stations; i++) {
		const struct site_station *station = &site->stations[i];
		if (!station->configured || station->room != room)
			continue;
		double every = site->config->stations[station->config].expected_every_s;
		expected_s = every > expected_s ? every : expected_s;
	}
	*age_s = NAN;
	if (wt_room_latest(site->rooms[room].series->series, now_unix_s, &now) != WT_OK)
		return true;
	*age_s = (double)(now_unix_s - now.at_unix_s);
	return *age_s > 3.0 * (expected_s > 0.0 ? expected_s : 600.0);
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

static void add_forecast(const struct site_view *view, json_t *row)
{
	json_object_set_new(row, "loss_pct", kept(view->loss_pct, false));
	json_object_set_new(row, "rate_pct_h", site_number(view->rate_pct_h));
	json_object_set_new(row, "ready_unix_s", kept(view->ready_unix_s, true));
	json_object_set_new(row, "past_unix_s", kept(view->past_unix_s, true));
	if (!view->advised)
		return;
	json_object_set_new(row, "p_ready_tonight", site_number(view->advice.p_ready_tonight));
	json_object_set_new(row, "call",
			    json_string(wt_words_text(WT_WORDS_CALL, (int)view->advice.call)));
	json_object_set_new(row, "p_call", site_number(view->advice.p_call));
	json_object_set_new(row, "why", json_string(view->why));
	json_object_set(row, "reason", view->reason);
}

json_t *site_tonight_row(const struct wt_site *site, const struct site_load *load,
			 int64_t now_unix_s)
{
	const struct site_job_load *job = site_forecast_of(site, load);
	static const char *const unknown[] = {"rate_pct_h", "p_ready_tonight", "call", "p_call",
					      "why",        "reason"};
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
	json_object_set_new(row, "left_share", site_number(load->left_share));
	json_object_set_new(row, "ready_from_loss_pct", site_number(load_case.ready_from_loss_pct));
	json_object_set_new(row, "latest_loss_pct", site_number(load_case.latest_loss_pct));
	return row;
}

/* --- the answer ------------------------------------------------------------------------------ */

struct tally {
	int open, known, calls[WT_CALL_COUNT];
	json_t *tonight, *morning;
	int firings_tonight, firings_morning;
	int64_t first_start_unix_s;
	char tonight_text[80], morning_text[80];
};

static bool planned_tonight(const struct wt_plan *plan, int load)
{
	for (size_t i = 0; plan && i < plan->n; i++) {
		if (plan->firings[i].load == load && !plan->firings[i].morning)
			return true;
	}
	return false;
}

static void add_number(char *text, size_t size, int number)
{
	size_t used = strlen(text);

	if (used + 16 < size)
		snprintf(text + used, size - used, "%s%d", used ? ", " : "", number);
}

static void take_call(struct tally *tally, const struct wt_plan *plan, int load, enum wt_call call)
{
	bool tonight = call == WT_CALL_TONIGHT || call == WT_CALL_NOW || call == WT_CALL_PAST ||
		       (call == WT_CALL_EITHER && planned_tonight(plan, load));

	tally->calls[call]++;
	if (tonight) {
		json_array_append_new(tally->tonight, json_integer(load));
		add_number(tally->tonight_text, sizeof(tally->tonight_text), load);
	} else if (call == WT_CALL_MORNING || call == WT_CALL_EITHER) {
		json_array_append_new(tally->morning, json_integer(load));
		add_number(tally->morning_text, sizeof(tally->morning_text), load);
	}
}

/* A firing counts while its load is open. */
static bool still_open(const struct wt_site *site, int number)
{
	const struct site_load *load = site_load_get(site, (double)number);

	return load && load->state == SITE_OPEN;
}

static void count(const struct wt_site *site, struct tally *tally)
{
	const struct wt_plan *plan = site->forecast ? site->forecast->plan : NULL;

	for (size_t i = 0; i < site->n_loads; i++) {
		const struct site_load *load = &site->loads[i];
		if (load->gone || load->state != SITE_OPEN)
			continue;
		const struct site_job_load *job = site_forecast_of(site, load);
		tally->open++;
		if (!job || !job->view.advised)
			continue;
		tally->known++;
		take_call(tally, plan, load->number, job->view.advice.call);
	}
	for (size_t i = 0; plan && i < plan->n; i++) {
		const struct wt_firing *firing = &plan->firings[i];
		if (!still_open(site, firing->load))
			continue;
		if (firing->morning)
			tally->firings_morning++;
		else if (!tally->firings_tonight++)
			tally->first_start_unix_s = firing->start_unix_s;
	}
}

static const char *answer_code(const struct tally *tally, bool any_reading, bool stale)
{
	size_t tonight = json_array_size(tally->tonight), morning = json_array_size(tally->morning);

	if (!any_reading)
		return "no_reading";
	if (!tally->open)
		return "nothing";
	if (stale || !tally->known)
		return "stale";
	if (tally->calls[WT_CALL_NOW] || tally->calls[WT_CALL_PAST])
		return "fire_now";
	if (tonight && (morning || tally->calls[WT_CALL_WAIT]))
		return "mixed";
	if (tonight)
		return "fire_tonight";
	return morning ? "morning" : "wait";
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
	else if (!strcmp(code, "stale"))
		snprintf(out, size, "The station is silent: look at the leaf, not at this.");
	else if (!strcmp(code, "fire_now"))
		snprintf(out, size, "Fire now: load %s.", tally->tonight_text);
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

/* A forecast is hardly worse for an hour without readings; after that the answer itself is doubted
 * (our choice).  The silence is said from the first. */
#define ANSWER_STALE_S 3600

/* All rooms with open leaf have been silent for long. */
static bool all_stale(const struct wt_site *site, int64_t now_unix_s)
{
	bool any = false;
	double age_s;

	for (size_t i = 0; i < site->n_loads; i++) {
		const struct site_load *load = &site->loads[i];
		if (load->gone || load->state != SITE_OPEN)
			continue;
		any = true;
		if (!site_room_stale(site, load->room, now_unix_s, &age_s) ||
		    age_s < ANSWER_STALE_S)
			return false;
	}
	return any;
}

static json_t *answer(const struct wt_site *site, int64_t now_unix_s)
{
	struct tally tally = {.tonight = json_array(), .morning = json_array()};
	bool any_reading = false;
	char text[240];

	for (size_t i = 0; i < site->n_rooms; i++)
		any_reading = any_reading || site->rooms[i].newest_unix_s;
	count(site, &tally);
	const char *code = answer_code(&tally, any_reading, all_stale(site, now_unix_s));
	answer_text(code, &tally, text, sizeof(text));
	return json_pack("{s:s,s:o,s:o,s:i,s:o,s:s}", "code", code, "loads_tonight", tally.tonight,
			 "loads_morning", tally.morning, "firings_tonight", tally.firings_tonight,
			 "first_start_unix_s",
			 tally.first_start_unix_s
				 ? json_integer((json_int_t)tally.first_start_unix_s)
				 : json_null(),
			 "text", text);
}

/* --- plan ------------------------------------------------------------------------------------ */

static json_t *hearth(const struct wt_site *site, int64_t now_unix_s)
{
	struct wt_hearth h;

	site_hearth(site, now_unix_s, &h);
	return json_pack("{s:i,s:o,s:o,s:I,s:I}", "woks", h.woks, "wok_kg", site_number(h.wok_kg),
			 "minutes", site_number(h.firing_s / 60.0), "last_start_unix_s",
			 (json_int_t)h.last_start_unix_s, "first_start_unix_s",
			 (json_int_t)h.first_start_unix_s);
}

static json_t *firings(const struct wt_site *site)
{
	const struct wt_plan *plan = site->forecast ? site->forecast->plan : NULL;
	json_t *rows = json_array();

	for (size_t i = 0; plan && i < plan->n; i++) {
		const struct wt_firing *f = &plan->firings[i];
		if (!still_open(site, f->load))
			continue;
		const struct site_load *load = site_load_get(site, (double)f->load);
		json_array_append_new(
			rows, json_pack("{s:i,s:s,s:i,s:f,s:I,s:s,s:o}", "load", f->load, "origin",
					site->origins[load->origin], "wok", f->wok, "kg", f->kg,
					"start_unix_s", (json_int_t)f->start_unix_s, "when",
					f->morning ? "morning" : "tonight", "p_in_window",
					site_number(f->p_in_window)));
	}
	return rows;
}

static int firings_of(const struct wt_plan *plan, int load)
{
	int n = 0;

	for (size_t i = 0; plan && i < plan->n; i++)
		n += plan->firings[i].load == load;
	return n;
}

/* Loads the plan has not wholly placed, and why. */
static json_t *given_up(const struct wt_site *site)
{
	const struct wt_job *job = site->forecast;
	json_t *rows = json_array();

	for (size_t i = 0; job && i < job->n_loads; i++) {
		const struct site_job_load *load = &job->loads[i];
		if (load->closing || !load->view.advised || !still_open(site, load->load.number))
			continue;
		double left_kg = load->load.kg * load->load.left_share;
		int needed = job->hearth.wok_kg > 0.0
				     ? (int)ceil(left_kg / job->hearth.wok_kg - 1e-9)
				     : 0;
		int placed = firings_of(job->plan, load->load.number);
		if (job->hearth.woks > 0 && placed >= needed)
			continue;
		bool waits =
			job->hearth.woks > 0 && load->view.advice.call == WT_CALL_WAIT && !placed;
		json_t *row =
			waits ? site_note("not_ready",
					  "Load %d will not be ready by tomorrow's last start.",
					  load->load.number)
			: job->hearth.woks > 0
				? site_note("no_place",
					    "%d of %d firings of load %d have no place tonight or "
					    "tomorrow.",
					    needed - placed, needed, load->load.number)
				: site_note("no_wok",
					    "No wok is configured: load %d is not planned.",
					    load->load.number);
		json_object_set_new(row, "load", json_integer(load->load.number));
		json_array_append_new(rows, row);
	}
	return rows;
}

static json_t *plan_parts(const struct wt_site *site, int64_t now_unix_s)
{
	const struct wt_plan *plan = site->forecast ? site->forecast->plan : NULL;

	return json_pack("{s:o,s:I,s:o,s:o,s:b,s:o,s:[s,s,s,s]}", "firings", firings(site),
			 "unplaced", plan ? (json_int_t)plan->unplaced : 0, "given_up",
			 given_up(site), "expected_cost",
			 plan ? site_number(plan->cost) : json_null(), "exact",
			 plan ? (int)plan->exact : 1, "hearth", hearth(site, now_unix_s),
			 "cautions", "fire_co", "burns", "hygiene", "advice");
}

json_t *site_query_plan(const struct wt_site *site, int64_t now_unix_s)
{
	json_t *document = site_document(site, now_unix_s);

	json_object_update_new(document, plan_parts(site, now_unix_s));
	return document;
}

/* --- what would settle it --------------------------------------------------------------------- */

static json_t *settle(const struct wt_site *site)
{
	const struct wt_job *job = site->forecast;
	json_t *rows = json_array();
	char clock[16], why[112];

	if (!job || !job->settled || !still_open(site, job->settle.load))
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
	json_object_set_new(document, "plan", plan_parts(site, now_unix_s));
	json_object_set_new(document, "settle", settle(site));
	json_object_set_new(document, "hearth", hearth(site, now_unix_s));
	json_object_set_new(document, "concerns", wt_site_concerns(site, now_unix_s));
	json_object_set_new(document, "forecast_unix_s",
			    site->forecast ? json_integer((json_int_t)site->forecast->now_unix_s)
					   : json_null());
	json_object_set_new(document, "attribution", site_attribution(site, now_unix_s));
	return document;
}
