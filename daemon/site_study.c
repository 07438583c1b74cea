/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * Questions that need a run of their own: what if the bed or the air were
 * changed, and how thick to spread.
 */
#include <math.h>
#include <string.h>

#include "daemon/site_query.h"
#include "daemon/site_run.h"
#include "lib/air.h"
#include "lib/density.h"

/* Air is not dried further than this: our choice. */
#define DRIEST_RH_PCT 5.0

static const double densities_kg_m2[] = {0.5, 0.75, 1.0, 1.5, 2.0, 3.0, 4.0, 5.0, 6.5, 8.0, 10.0};
#define WISH_ROUNDS 5
#define DENSITIES (sizeof(densities_kg_m2) / sizeof(densities_kg_m2[0]))

struct site_study {
	bool density;
	double area_m2, warmer_c, drier_pct; /* NAN when not asked */
	int fan;                             /* -1 when not asked */
	double wish_unix_s;                  /* NAN */
	double tray_m2;                      /* NAN */
	/* The other loads of the evening, as last forecast. */
	struct wt_decide_load *others;
	size_t n_others;
};

bool wt_site_is_study(const char *method)
{
	const struct site_verb_rule *verb = site_verb_find(method);

	return verb && verb->kind == SITE_VERB_STUDY;
}

void site_study_free(struct site_study **address)
{
	struct site_study *study = *address;

	if (!study)
		return;
	*address = NULL;
	for (size_t i = 0; i < study->n_others; i++) {
		free((double *)(uintptr_t)study->others[i].ready_unix_s);
		free((double *)(uintptr_t)study->others[i].past_unix_s);
	}
	free(study->others);
	free(study);
}

json_t *wt_job_result(const struct wt_job *job)
{
	return site_rounded(json_incref(job->result));
}

/* --- asking ---------------------------------------------------------------------------------- */

static double *copy_of(const double *values, size_t n)
{
	double *copy = site_alloc(n * sizeof(*copy));

	memcpy(copy, values, n * sizeof(*copy));
	return copy;
}

/* As the evening's decision takes them, see gather() in site_evening.c. */
static void take_others(const struct wt_site *site, int number, const struct wt_job *asked)
{
	struct site_study *study = asked->study;
	const struct wt_job *job = site->forecast;

	study->others = site_alloc(((job ? job->n_loads : 0) + 1) * sizeof(*study->others));
	for (size_t i = 0; job && i < job->n_loads; i++) {
		const struct site_job_load *it = &job->loads[i];
		const struct site_load *load = site_load_get(site, it->load.number);
		if (it->closing || !it->view.known || it->load.number == number || !load ||
		    load->state != SITE_OPEN ||
		    site_room_silent(site, load->room, asked->now_unix_s))
			continue;
		struct wt_decide_load other =
			site_decide_load(&asked->hearth, load, it->prefer, &it->view);
		other.ready_unix_s = copy_of(other.ready_unix_s, other.n);
		other.past_unix_s = copy_of(other.past_unix_s, other.n);
		study->others[study->n_others++] = other;
	}
}

static bool room_has_air(const struct wt_site *site, size_t room, struct wt_refusal *refusal)
{
	if (site->rooms[room].newest_unix_s)
		return true;
	return site_refuse(refusal, -32001, "room", "", "no reading of the air of %s has come yet",
			   site->rooms[room].name);
}

static struct wt_job *ask_what_if(const struct wt_site *site, const struct site_verb_rule *verb,
				  const struct site_value *values, int64_t now_unix_s,
				  struct wt_refusal *refusal)
{
	const struct site_load *load =
		site_load_get(site, site_value(verb, values, "load")->number);
	const struct site_value *fan = site_value(verb, values, "fan");
	struct site_study study = {.area_m2 = site_value(verb, values, "area")->number,
				   .warmer_c = site_value(verb, values, "warmer")->number,
				   .drier_pct = site_value(verb, values, "drier")->number,
				   .fan = fan->given ? fan->number > 0.5 : -1,
				   .wish_unix_s = NAN};

	if (load->state != SITE_OPEN) {
		site_refuse(refusal, -32000, "load", "",
			    "load %d was %s already: nothing can change it", load->number,
			    load->state == SITE_FIXED ? "fixed" : "dropped");
		return NULL;
	}
	if (!isfinite(study.area_m2) && !isfinite(study.warmer_c) && !isfinite(study.drier_pct) &&
	    study.fan < 0) {
		site_refuse(refusal, -32602, "area", "",
			    "what-if needs a change: area, fan, warmer or drier");
		return NULL;
	}
	if (!room_has_air(site, load->room, refusal))
		return NULL;
	struct wt_job *job = site_job_new(site, now_unix_s, 1);
	job->study = site_alloc(sizeof(study));
	*job->study = study;
	take_others(site, load->number, job);
	site_job_take_load(job, site, load);
	return job;
}

static double number_or(const struct site_value *value, double other)
{
	return value->given ? value->number : other;
}

static int word_or(const struct site_value *value, int other)
{
	return value->given ? value->word : other;
}

static struct wt_job *ask_density(const struct wt_site *site, const struct site_verb_rule *verb,
				  const struct site_value *values, int64_t now_unix_s,
				  struct wt_refusal *refusal)
{
	const struct wt_config *config = site->config;
	const struct site_value *style = site_value(verb, values, "style");
	const struct site_value *wish = site_value(verb, values, "ready-by");
	const struct site_value *room = site_value(verb, values, "room");

	if (!config->n_rooms || !config->n_styles) {
		site_refuse(refusal, -32000, "room", "",
			    "no room is configured: add a [room NAME] section");
		return NULL;
	}
	size_t index = site_room_find(site, config->rooms[room->given ? room->index : 0].name);
	if (!room_has_air(site, index, refusal))
		return NULL;
	/* The load as it would be spread now; its number is the one it would get. */
	struct site_load load = {
		.number = (int)site->n_loads + 1,
		.origin = site_origin_find(site, site_value(verb, values, "origin")->text, false),
		.room = index,
		.style = config->styles[style->given ? style->index : config->usual_style].name,
		.grade = (enum wt_grade)word_or(site_value(verb, values, "grade"), WT_GRADE_YOUNG),
		.season = (enum wt_season)word_or(site_value(verb, values, "season"),
						  (int)site_season(site, now_unix_s)),
		.wet = (enum wt_wet)word_or(site_value(verb, values, "wet"), WT_WET_NONE),
		.kg = site_value(verb, values, "kg")->number,
		.area_m2 = site_value(verb, values, "kg")->number,
		.perforated = config->tray_perforated,
		.moisture_pct = number_or(site_value(verb, values, "moisture"), NAN),
		.spread_unix_s = now_unix_s,
		.left_share = 1.0};
	struct wt_job *job = site_job_new(site, now_unix_s, 1);
	job->study = site_alloc(sizeof(*job->study));
	*job->study = (struct site_study){.density = true,
					  .fan = -1,
					  .tray_m2 = config->tray_area_m2,
					  .wish_unix_s = wish->given ? (double)wish->unix_s : NAN};
	site_job_take_load(job, site, &load);
	job->result = json_pack("{s:s,s:f,s:b}", "origin", site_value(verb, values, "origin")->text,
				"kg", load.kg, "known_origin", (int)(load.origin != SIZE_MAX));
	return job;
}

struct wt_job *wt_site_study(struct wt_site *site, const char *method, const json_t *params,
			     int64_t now_unix_s, struct wt_refusal *refusal)
{
	const struct site_verb_rule *verb = site_verb_find(method);
	struct site_value values[SITE_PARAMS_MAX];

	if (!verb || verb->kind != SITE_VERB_STUDY) {
		site_refuse(refusal, -32601, "", method, "there is no method '%.60s'", method);
		return NULL;
	}
	if (!site_params_read(site, verb, params, now_unix_s, values, refusal))
		return NULL;
	site_closing_read(site);
	struct wt_job *job = verb == &site_verbs[SITE_DENSITY]
				     ? ask_density(site, verb, values, now_unix_s, refusal)
				     : ask_what_if(site, verb, values, now_unix_s, refusal);
	if (!job)
		return NULL;
	json_t *document = site_document(site, now_unix_s);
	if (job->result)
		json_object_update_new(document, job->result);
	job->result = document;
	return job;
}

/* --- what if --------------------------------------------------------------------------------- */

static bool run_case(const struct wt_job *job, const struct site_job_load *load,
		     const struct wt_load_case *load_case, const struct site_air *air,
		     struct site_view *view)
{
	struct wt_outcome *outcome = NULL;
	int64_t mark = load_case->spread_unix_s;
	bool fine = air->future && wt_outcome_new(job->members, &mark, 1, &outcome) == WT_OK &&
		    wt_ensemble_run(load_case, air->past, air->future, load->posterior->members,
				    outcome) == WT_OK;

	if (fine)
		site_run_view(outcome, load->posterior->members, view);
	else
		wt_outcome_free(&outcome);
	return fine && view->known;
}

static void call(const struct wt_job *job, const struct site_job_load *load, struct site_view *view)
{
	const struct site_study *study = job->study;
	size_t n = study->n_others + 1;
	/* No call stands on the air of a silent room. */
	if (job->rooms[load->room].silent)
		return;
	struct wt_decide_load *loads = site_alloc(n * sizeof(*loads));
	struct wt_advice *advice = site_alloc(n * sizeof(*advice));
	struct wt_plan *plan = NULL;

	memcpy(loads, study->others, study->n_others * sizeof(*loads));
	loads[n - 1] = site_decide_load(&job->hearth, &load->load, load->prefer, view);
	if (wt_decide_plan(&job->hearth, &job->costs, loads, n, job->now_unix_s, &plan) == WT_OK &&
	    wt_decide_calls(&job->hearth, &job->costs, loads, n, plan, job->now_unix_s, advice) ==
		    WT_OK) {
		site_run_advised(view, &advice[n - 1], plan);
	}
	wt_plan_free(&plan);
	free(advice);
	free(loads);
}

static json_t *side(const struct site_view *v)
{
	return json_pack(
		"{s:o,s:o,s:o,s:o,s:o,s:o}", "loss_pct",
		site_triple(v->loss_pct[SITE_P10], v->loss_pct[SITE_P50], v->loss_pct[SITE_P90]),
		"ready_unix_s",
		site_time_triple(v->ready_unix_s[SITE_P10], v->ready_unix_s[SITE_P50],
				 v->ready_unix_s[SITE_P90]),
		"past_unix_s",
		site_time_triple(v->past_unix_s[SITE_P10], v->past_unix_s[SITE_P50],
				 v->past_unix_s[SITE_P90]),
		"call", site_call(v), "fire_unix_s", site_fire(v), "p_ready_tonight",
		v->advised ? site_number(v->advice.p_ready_tonight) : json_null());
}

/* The coming air warmer at the same vapour, then drier by so many points of humidity. */
static bool change_air(const struct wt_job *job, struct site_paths *paths, struct site_air *air)
{
	const struct site_study *study = job->study;
	double warmer_c = isfinite(study->warmer_c) ? study->warmer_c : 0.0;
	double drier = isfinite(study->drier_pct) ? study->drier_pct / 100.0 : 0.0;

	for (size_t i = 0; i < SITE_STEPS * paths->n_paths; i++) {
		double saturation_pa = 0.0, temp_c = (double)paths->temp_c[i] + warmer_c;
		if (wt_air_saturation_pa(temp_c, &saturation_pa) != WT_OK)
			return false;
		double vapour_pa = (double)paths->vapour_pa[i] - drier * saturation_pa;
		double least = DRIEST_RH_PCT / 100.0 * saturation_pa;
		/* What is drier already stays as it is. */
		if (drier > 0.0 && vapour_pa < least)
			vapour_pa = fmin(least, (double)paths->vapour_pa[i]);
		paths->temp_c[i] = (float)temp_c;
		paths->vapour_pa[i] = (float)fmin(vapour_pa, saturation_pa);
	}
	struct wt_paths changed = {.start_unix_s = job->now_unix_s - job->now_unix_s % WT_GRID_S,
				   .n_steps = SITE_STEPS,
				   .n_paths = paths->n_paths,
				   .temp_c = paths->temp_c,
				   .vapour_pa = paths->vapour_pa};
	wt_drive_free(&air->future);
	return wt_drive_from_paths(&changed, job->pressure_pa, &air->future) == WT_OK;
}

static json_t *difference_h(double from_unix_s, double to_unix_s)
{
	return site_number((to_unix_s - from_unix_s) / SITE_HOUR_S);
}

static bool run_what_if(struct wt_job *job, struct site_paths *paths, struct site_air *air)
{
	struct site_job_load *load = &job->loads[0];
	struct site_study *study = job->study;
	struct site_view now = {0}, then = {0};
	size_t n = load->load_case.n_events;
	struct wt_bed_event *events = site_alloc((n + 1) * sizeof(*events));
	struct wt_load_case changed = load->load_case;
	bool fine = run_case(job, load, &load->load_case, air, &now);

	if (n)
		memcpy(events, load->load_case.events, n * sizeof(*events));
	events[n] = (struct wt_bed_event){
		.at_unix_s = job->now_unix_s, .area_m2 = study->area_m2, .fan = study->fan};
	changed.events = events;
	changed.n_events = isfinite(study->area_m2) || study->fan >= 0 ? n + 1 : n;
	if (fine && (isfinite(study->warmer_c) || isfinite(study->drier_pct)))
		fine = change_air(job, paths, air);
	fine = fine && run_case(job, load, &changed, air, &then);
	if (fine) {
		call(job, load, &now);
		call(job, load, &then);
		json_object_update_new(
			job->result,
			json_pack(
				"{s:i,s:o,s:o,s:{s:o,s:o},s:{s:o,s:o,s:o,s:o}}", "load",
				load->load.number, "now", side(&now), "changed", side(&then),
				"difference_h", "ready_p50",
				difference_h(now.ready_unix_s[SITE_P50],
					     then.ready_unix_s[SITE_P50]),
				"past_p50",
				difference_h(now.past_unix_s[SITE_P50], then.past_unix_s[SITE_P50]),
				"change", "area_m2", site_number(study->area_m2), "fan",
				study->fan < 0 ? json_null() : json_boolean(study->fan), "warmer_c",
				site_number(study->warmer_c), "drier_pct",
				site_number(study->drier_pct)));
	}
	site_view_clear(&now);
	site_view_clear(&then);
	free(events);
	return fine;
}

/* --- how thick ------------------------------------------------------------------------------- */

static json_t *density_row(const struct wt_job *job, double kg_m2, const struct site_view *v)
{
	double kg = job->loads[0].load.kg, tray_m2 = job->study->tray_m2;
	enum wt_density_note judged = wt_density_judge(kg_m2);
	size_t ready = 0;

	for (size_t i = 0; i < v->outcome->n; i++)
		ready += v->outcome->ready_unix_s[i] <= (double)job->hearth.last_start_unix_s;
	return json_pack("{s:f,s:f,s:o,s:o,s:f,s:o}", "kg_m2", kg_m2, "area_m2", kg / kg_m2,
			 "trays", site_number(tray_m2 > 0.0 ? kg / kg_m2 / tray_m2 : NAN),
			 "ready_unix_s",
			 site_time_triple(v->ready_unix_s[SITE_P10], v->ready_unix_s[SITE_P50],
					  v->ready_unix_s[SITE_P90]),
			 "p_ready_tonight", (double)ready / (double)v->outcome->n, "note",
			 judged == WT_DENSITY_HEATS    ? json_string("heats")
			 : judged == WT_DENSITY_UNEVEN ? json_string("uneven")
						       : json_null());
}

static json_t *run_density_at(const struct wt_job *job, const struct site_air *air, double kg_m2,
			      double *median_unix_s)
{
	struct wt_load_case spread = job->loads[0].load_case;
	struct site_view view = {0};
	json_t *row = NULL;

	spread.area_m2 = spread.fresh_kg / kg_m2;
	if (run_case(job, &job->loads[0], &spread, air, &view)) {
		row = density_row(job, kg_m2, &view);
		*median_unix_s = view.ready_unix_s[SITE_P50];
	}
	site_view_clear(&view);
	return row;
}

static void add_warnings(const struct wt_job *job, double kg_m2, enum wt_density_side reached,
			 json_t *warnings)
{
	if (json_is_false(json_object_get(job->result, "known_origin")))
		json_array_append_new(warnings, site_note("new_garden",
							  "nothing is known of this garden yet: "
							  "the times are wide"));
	if (job->rooms[0].silent)
		json_array_append_new(warnings,
				      site_note("old_air", "its room is silent: this rests on air "
							   "that is no more measured"));
	if (!isfinite(kg_m2))
		return;
	if (reached == WT_DENSITY_SOONER)
		json_array_append_new(warnings,
				      site_note("too_soon",
						"even the thinnest bed is not ready by then: "
						"it is given"));
	if (reached == WT_DENSITY_LATER)
		json_array_append_new(warnings,
				      site_note("too_late",
						"even the thickest bed is ready before then: "
						"it is given"));
	if (wt_density_judge(kg_m2) == WT_DENSITY_HEATS)
		json_array_append_new(warnings,
				      site_note("heats", "above 8 kg/m2 the leaf heats and withers "
							 "unevenly (common practice)"));
	else if (wt_density_judge(kg_m2) == WT_DENSITY_UNEVEN)
		json_array_append_new(
			warnings, site_note("uneven", "a bed this thick withers unevenly: turn it "
						      "often"));
}

/* What has been worked out so far, densities ascending. */
struct densities {
	double kg_m2[DENSITIES + WISH_ROUNDS], median_unix_s[DENSITIES + WISH_ROUNDS];
	size_t n;
};

static void keep_density(struct densities *d, double kg_m2, double median_unix_s)
{
	size_t at = d->n++;

	for (; at > 0 && d->kg_m2[at - 1] > kg_m2; at--) {
		d->kg_m2[at] = d->kg_m2[at - 1];
		d->median_unix_s[at] = d->median_unix_s[at - 1];
	}
	d->kg_m2[at] = kg_m2;
	d->median_unix_s[at] = median_unix_s;
}

/* The density that meets the wish: between the two nearest, tried, and once more between nearer
 * ones until it is met within five minutes. */
static json_t *meet_wish(const struct wt_job *job, const struct site_air *air, struct densities *d,
			 double *kg_m2, enum wt_density_side *reached)
{
	double wish = job->study->wish_unix_s, median_unix_s = NAN;
	json_t *row = NULL;

	for (int round = 0; round < WISH_ROUNDS; round++) {
		if (wt_density_for_wish(d->kg_m2, d->median_unix_s, d->n, wish, kg_m2, reached) !=
		    WT_OK)
			break;
		json_decref(row);
		row = run_density_at(job, air, *kg_m2, &median_unix_s);
		if (!row || *reached != WT_DENSITY_INSIDE || fabs(median_unix_s - wish) < 300.0)
			break;
		keep_density(d, *kg_m2, median_unix_s);
	}
	return row;
}

static bool run_density(struct wt_job *job, const struct site_air *air)
{
	json_t *rows = json_array(), *wish = NULL, *warnings = json_array();
	struct densities d = {.n = 0};
	double median_unix_s, kg_m2 = NAN;
	enum wt_density_side reached = WT_DENSITY_INSIDE;
	bool fine = true;

	for (size_t i = 0; fine && i < DENSITIES; i++) {
		json_t *row = run_density_at(job, air, densities_kg_m2[i], &median_unix_s);
		fine = row && !json_array_append_new(rows, row);
		if (fine)
			keep_density(&d, densities_kg_m2[i], median_unix_s);
	}
	if (fine && isfinite(job->study->wish_unix_s))
		wish = meet_wish(job, air, &d, &kg_m2, &reached);
	add_warnings(job, kg_m2, reached, warnings);
	json_object_set_new(job->result, "rows", rows);
	json_object_set_new(job->result, "for_wish", wish ? wish : json_null());
	json_object_set_new(job->result, "warnings", warnings);
	return fine;
}

void site_study_run(struct wt_job *job)
{
	struct site_job_load *load = &job->loads[0];
	struct site_paths paths;
	struct site_air air;
	bool fine;

	site_paths_new(job->paths, &paths);
	fine = site_run_air(job, &job->rooms[0], load->load.spread_unix_s, true, &paths, &air) &&
	       site_run_prior(job, load) && site_run_posterior(job, load, &air) &&
	       (job->study->density ? run_density(job, &air) : run_what_if(job, &paths, &air));
	if (!fine)
		json_object_set_new(
			job->result, "error",
			site_note("silent",
				  "the station has been silent for too long: nothing can be "
				  "worked out"));
	site_air_clear(&air);
	site_paths_clear(&paths);
}
