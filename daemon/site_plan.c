/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * The plan of firings as it is told.
 */
#include <math.h>

#include "daemon/site_query.h"

/* A firing counts while its load is open and its room heard. */
bool site_firing_stands(const struct wt_site *site, const struct wt_firing *firing,
			int64_t now_unix_s)
{
	const struct site_load *load = site_load_get(site, (double)firing->load);

	return load && load->state == SITE_OPEN && !site_room_silent(site, load->room, now_unix_s);
}

json_t *site_hearth_row(const struct wt_site *site, int64_t now_unix_s)
{
	struct wt_hearth h;

	site_hearth(site, now_unix_s, &h);
	return json_pack("{s:i,s:o,s:o,s:I,s:I}", "woks", h.woks, "wok_kg", site_number(h.wok_kg),
			 "minutes", site_number(h.firing_s / 60.0), "last_start_unix_s",
			 (json_int_t)h.last_start_unix_s, "first_start_unix_s",
			 (json_int_t)h.first_start_unix_s);
}

/* What the leaf of a firing is likely to weigh when the fire takes it, kg; NAN when not known. */
static double withered_kg(const struct wt_site *site, const struct site_load *load,
			  const struct wt_firing *firing)
{
	const struct site_job_load *job = site_forecast_of(site, load);

	return job ? firing->kg *
			       (1.0 - site_view_loss_pct(&job->view, firing->start_unix_s) / 100.0)
		   : NAN;
}

static json_t *firings(const struct wt_site *site, int64_t now_unix_s)
{
	const struct wt_plan *plan = site->forecast ? site->forecast->plan : NULL;
	json_t *rows = json_array();

	for (size_t i = 0; plan && i < plan->n; i++) {
		const struct wt_firing *f = &plan->firings[i];
		if (!site_firing_stands(site, f, now_unix_s))
			continue;
		const struct site_load *load = site_load_get(site, (double)f->load);
		json_array_append_new(rows,
				      json_pack("{s:i,s:s,s:i,s:f,s:o,s:I,s:s,s:o}", "load",
						f->load, "origin", site->origins[load->origin],
						"wok", f->wok, "kg", f->kg, "withered_kg",
						site_number(withered_kg(site, load, f)),
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

static json_t *shortfall(const struct wt_job *job, const struct site_job_load *load)
{
	int number = load->load.number;
	struct wt_decide_load asked =
		site_decide_load(&job->hearth, &load->load, load->prefer, &load->view);
	int needed = (int)wt_decide_load_firings(&asked, job->hearth.wok_kg);
	int missing = needed - firings_of(job->plan, number);
	json_t *row = NULL;

	if (job->hearth.woks <= 0) {
		needed = missing = 0;
		row = site_note("no_wok", "No wok is set up: load %d is not planned.", number);
	} else if (missing > 0 && missing == needed && load->view.advice.call == WT_CALL_WAIT) {
		row = site_note("not_ready", "Load %d will not be ready by tomorrow's last start.",
				number);
	} else if (missing > 0) {
		row = site_note("no_place",
				"%d of %d firings of load %d have no place tonight or tomorrow.",
				missing, needed, number);
	} else if (site_is_too_slow(job, load)) {
		row = site_note("too_slow",
				"Load %d is ready only after the %.0f h it may lie at most.",
				number, load->load_case.most_hours);
	}
	if (row)
		json_object_update_new(
			row, json_pack("{s:i,s:i}", "firings", needed, "missing", missing));
	return row;
}

/* Loads the plan has not wholly placed, and why; and those whose firings cannot be good. */
static json_t *given_up(const struct wt_site *site, int64_t now_unix_s)
{
	const struct wt_job *job = site->forecast;
	json_t *rows = json_array();

	for (size_t i = 0; job && i < site->n_loads; i++) {
		const struct site_load *load = &site->loads[i];
		if (load->gone || load->state != SITE_OPEN)
			continue;
		const struct site_job_load *advised = site_advice_of(site, load, now_unix_s);
		json_t *row = advised ? shortfall(job, advised)
			      : site_room_silent(site, load->room, now_unix_s)
				      ? site_note("silent",
						  "The room of load %d is silent: it is not "
						  "planned, go by hand and scale.",
						  load->number)
				      : NULL;
		if (!row)
			continue;
		json_object_set_new(row, "load", json_integer(load->number));
		json_array_append_new(rows, row);
	}
	return rows;
}

json_t *site_plan_parts(const struct wt_site *site, int64_t now_unix_s)
{
	const struct wt_plan *plan = site->forecast ? site->forecast->plan : NULL;

	return json_pack("{s:o,s:o,s:I,s:o,s:o,s:b,s:o,s:[s,s,s,s]}", "firings",
			 firings(site, now_unix_s), "empty", site_empty_plan(site, now_unix_s),
			 "unplaced", plan ? (json_int_t)plan->unplaced : 0, "given_up",
			 given_up(site, now_unix_s), "expected_cost",
			 plan ? site_number(plan->cost) : json_null(), "exact",
			 plan ? (int)plan->exact : 1, "hearth", site_hearth_row(site, now_unix_s),
			 "cautions", "fire_co", "burns", "hygiene", "advice");
}

json_t *site_query_plan(const struct wt_site *site, int64_t now_unix_s)
{
	json_t *document = site_document(site, now_unix_s);

	json_object_update_new(document, site_plan_parts(site, now_unix_s));
	return document;
}
