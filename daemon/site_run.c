/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * Running a job: the air of each room, then each load on it, then the evening's
 * decision.  Any thread; touches nothing but the job.
 */
#include <math.h>
#include <string.h>

#include "daemon/site_run.h"
#include "lib/air.h"
#include "lib/score.h"

/* Marks are kept for this many past hours of a load. */
#define MARK_PAST_H 72

const double site_probability[SITE_QUANTILES] = {0.10, 0.25, 0.50, 0.75, 0.90};

/* --- quantiles of single precision ----------------------------------------------------------- */

/* Hyndman and Fan 1996, definition 7, at ascending probabilities; NAN where a value is. */
static void float_quantiles(const float *values, size_t n, const double *p, size_t n_p, double *out)
{
	if (wt_score_quantiles_single(values, n, p, n_p, out) == WT_OK)
		return;
	for (size_t i = 0; i < n_p; i++)
		out[i] = NAN;
}

static void quantiles_of(const float *values, size_t n, double out[SITE_QUANTILES])
{
	float_quantiles(values, n, site_probability, SITE_QUANTILES, out);
}

static const double band_probability[3] = {0.10, 0.50, 0.90};

/* --- air ------------------------------------------------------------------------------------- */

void site_air_clear(struct site_air *air)
{
	wt_drive_free(&air->past);
	wt_drive_free(&air->future);
	free(air->past_temp_c);
	free(air->past_vapour_pa);
	*air = (struct site_air){0};
}

static bool make_past(const struct wt_job *job, const struct site_job_room *room,
		      int64_t from_unix_s, struct site_air *air)
{
	int64_t start = from_unix_s - from_unix_s % WT_GRID_S;
	size_t capacity = (size_t)((job->now_unix_s - start) / WT_GRID_S + 1), n = 0;
	double known_share = 0.0;

	air->past_temp_c = site_alloc_bare(capacity * sizeof(float));
	air->past_vapour_pa = site_alloc_bare(capacity * sizeof(float));
	if (wt_room_fill(room->series->series, from_unix_s, job->now_unix_s, capacity,
			 air->past_temp_c, air->past_vapour_pa, &n, &known_share) != WT_OK)
		return false;
	air->track = (struct wt_track){start, n, air->past_temp_c, air->past_vapour_pa};
	return wt_drive_from_track(&air->track, job->pressure_pa, &air->past) == WT_OK;
}

static bool have_fit(const struct wt_job *job, struct site_job_room *room)
{
	struct wt_room_fit *fit = NULL;

	if (room->fit)
		return true;
	/* In a station's first hour there is nothing up to the last whole one: that fit is made of
	 * what there is, and anew each time. */
	int64_t upto = room->fit_upto_unix_s;
	if (wt_room_fit_new(room->series->series, upto, &fit) != WT_OK &&
	    wt_room_fit_new(room->series->series, upto = job->now_unix_s, &fit) != WT_OK)
		return false;
	room->fit = site_fit_wrap(fit, upto, room->epoch);
	return true;
}

static void set_band(struct site_band *band, const float *values, size_t n)
{
	double p[3];

	float_quantiles(values, n, band_probability, 3, p);
	band->p10 = (float)p[0];
	band->p50 = (float)p[1];
	band->p90 = (float)p[2];
}

/* Saturation pressure by lines between points a tenth of a degree apart: within 1e-5 of itself,
 * which a picture of the air does not show. */
#define SATURATION_FROM_C (-30.0)
#define SATURATION_POINTS 1101
struct saturation {
	float pa[SATURATION_POINTS];
};

static void saturation_fill(struct saturation *out)
{
	for (int i = 0; i < SATURATION_POINTS; i++) {
		double pa = 0.0;
		if (wt_air_saturation_pa(SATURATION_FROM_C + 0.1 * i, &pa) != WT_OK)
			pa = i ? (double)out->pa[i - 1] : 0.0;
		out->pa[i] = (float)pa;
	}
}

static float saturation_pa(const struct saturation *table, float temp_c)
{
	float at = (temp_c - (float)SATURATION_FROM_C) * 10.0f;
	int i = at < 0.0f                              ? 0
		: at >= (float)(SATURATION_POINTS - 1) ? SATURATION_POINTS - 2
						       : (int)at;

	return table->pa[i] + (at - (float)i) * (table->pa[i + 1] - table->pa[i]);
}

/* Relative humidity and deficit of one instant's paths. */
static void derive(const struct saturation *table, const float *temp_c, const float *vapour_pa,
		   size_t n, float *rh_pct, float *vpd_pa)
{
	for (size_t i = 0; i < n; i++) {
		float saturated = saturation_pa(table, temp_c[i]);
		float rh = 100.0f * vapour_pa[i] / saturated, vpd = saturated - vapour_pa[i];
		rh_pct[i] = rh > 100.0f ? 100.0f : rh;
		vpd_pa[i] = vpd < 0.0f ? 0.0f : vpd;
	}
}

static void make_bands(struct site_job_room *room, const struct site_paths *paths)
{
	size_t every = SITE_BAND_STEP_S / WT_GRID_S, n = paths->n_paths;
	float *values = site_alloc(4 * n * sizeof(*values));
	struct saturation *table = site_alloc(sizeof(*table));

	saturation_fill(table);
	room->n_band = (SITE_STEPS - 1) / every + 1;
	for (int i = 0; i < SITE_BANDS; i++)
		room->band[i] = site_alloc(room->n_band * sizeof(struct site_band));
	for (size_t k = 0; k < room->n_band; k++) {
		memcpy(values, paths->temp_c + k * every * n, n * sizeof(*values));
		memcpy(values + n, paths->vapour_pa + k * every * n, n * sizeof(*values));
		derive(table, values, values + n, n, values + 2 * n, values + 3 * n);
		for (int i = 0; i < SITE_BANDS; i++)
			set_band(&room->band[i][k], values + (size_t)i * n, n);
	}
	free(values);
	free(table);
}

/* The leads at which the air's forecast is kept and judged. */
static void make_leads(struct site_job_room *room, const struct site_paths *paths)
{
	size_t n = paths->n_paths;

	for (int lead = 0; lead < SITE_LEADS; lead++) {
		size_t at = (size_t)(site_lead_s[lead] / WT_GRID_S) * n;
		quantiles_of(paths->temp_c + at, n, room->lead_temp_c[lead]);
		quantiles_of(paths->vapour_pa + at, n, room->lead_vapour_pa[lead]);
	}
}

static bool make_future(const struct wt_job *job, struct site_job_room *room, bool driven,
			struct site_paths *paths, struct site_air *air)
{
	uint64_t seed = site_hash(job->seed, room->name, strlen(room->name));

	if (!have_fit(job, room) ||
	    wt_room_draw(room->series->series, room->fit->fit, job->now_unix_s, seed,
			 paths->n_paths, SITE_STEPS, paths->temp_c, paths->vapour_pa) != WT_OK)
		return false;
	struct wt_paths made = {.start_unix_s = job->now_unix_s - job->now_unix_s % WT_GRID_S,
				.n_steps = SITE_STEPS,
				.n_paths = paths->n_paths,
				.temp_c = paths->temp_c,
				.vapour_pa = paths->vapour_pa};
	return !driven || wt_drive_from_paths(&made, job->pressure_pa, &air->future) == WT_OK;
}

bool site_run_air(struct wt_job *job, struct site_job_room *room, int64_t from_unix_s, bool driven,
		  struct site_paths *paths, struct site_air *air)
{
	*air = (struct site_air){0};
	if (wt_room_latest(room->series->series, job->now_unix_s, &room->now) != WT_OK)
		return false;
	if (wt_room_recent_event(room->series->series, job->now_unix_s, &room->event) != WT_OK)
		room->event.kind = WT_ROOM_EVENT_NONE;
	/* The past may be known even where the future is not: a station silent for long. */
	if (!make_past(job, room, from_unix_s, air))
		return false;
	room->band_start_unix_s = job->now_unix_s - job->now_unix_s % WT_GRID_S;
	room->known = make_future(job, room, driven, paths, air);
	room->outlook_weight = room->fit ? wt_room_outlook_weight(room->fit->fit) : 0.0;
	return true;
}

/* --- one load -------------------------------------------------------------------------------- */

/* Everything a posterior depends on: the load, its bed up to the last observation, the air up to
 * then, the prior, the hand, the observations. */
static uint64_t posterior_key(const struct wt_job *job, const struct site_job_load *load,
			      const struct site_air *air)
{
	const struct wt_load_case *c = &load->load_case;
	if (!load->n_observations) {
		/* Members of the prior: nothing else matters. */
		uint64_t of = site_mix(job->seed, job->members);
		of = site_hash(of, load->prior.mean, sizeof(load->prior.mean));
		return site_hash(of, load->prior.cov, sizeof(load->prior.cov));
	}
	int64_t until = load->observations[load->n_observations - 1].seen.at_unix_s;
	double numbers[] = {(double)c->spread_unix_s,
			    c->fresh_kg,
			    c->area_m2,
			    c->perforated,
			    c->grade,
			    c->season,
			    c->wet,
			    isfinite(c->moisture_pct) ? c->moisture_pct : -1.0,
			    c->pressure_pa,
			    (double)job->members};
	uint64_t key = site_hash(job->seed, numbers, sizeof(numbers));
	size_t first = (size_t)((c->spread_unix_s - air->track.start_unix_s) / WT_GRID_S);
	size_t last = (size_t)((until - air->track.start_unix_s) / WT_GRID_S + 2);

	last = last > air->track.n ? air->track.n : last;
	key = site_hash(key, air->track.temp_c + first, (last - first) * sizeof(float));
	key = site_hash(key, air->track.vapour_pa + first, (last - first) * sizeof(float));
	key = site_hash(key, load->prior.mean, sizeof(load->prior.mean));
	key = site_hash(key, load->prior.cov, sizeof(load->prior.cov));
	key = site_hash(key, job->lore->feel.cut_loss_pct, sizeof(job->lore->feel.cut_loss_pct));
	key = site_hash(key, &job->lore->feel.sd_loss_pct, sizeof(double));
	for (size_t i = 0; i < load->n_observations; i++) {
		const struct wt_observation *seen = &load->observations[i].seen;
		double parts[] = {(double)seen->kind, (double)seen->at_unix_s, seen->value};
		key = site_hash(key, parts, sizeof(parts));
	}
	for (size_t i = 0; i < c->n_events && c->events[i].at_unix_s <= until; i++) {
		const struct wt_bed_event *event = &c->events[i];
		double parts[] = {(double)event->at_unix_s, event->turned,
				  isfinite(event->area_m2) ? event->area_m2 : -1.0, event->fan,
				  event->taken_kg};
		key = site_hash(key, parts, sizeof(parts));
	}
	return key;
}

bool site_run_posterior(const struct wt_job *job, struct site_job_load *load,
			const struct site_air *air)
{
	uint64_t seed = site_mix(job->seed, (uint64_t)load->load.number);
	uint64_t key = posterior_key(job, load, air);

	if (load->posterior && load->posterior->key == key &&
	    load->posterior->n_reports == load->n_observations)
		return true;
	site_drop(&load->posterior);
	struct site_posterior *it = site_posterior_new(job->members, load->n_observations);
	it->key = key;
	load->posterior = it;
	if (!load->n_observations)
		return wt_members_draw(&load->prior, seed, it->members) == WT_OK;
	struct wt_observation *seen = site_alloc(load->n_observations * sizeof(*seen));
	for (size_t i = 0; i < load->n_observations; i++)
		seen[i] = load->observations[i].seen;
	enum wt_status status = wt_learn_posterior(&load->load_case, air->past, &load->prior,
						   &job->lore->feel, seen, load->n_observations,
						   seed, it->members, &it->report, it->reports);
	free(seen);
	return status == WT_OK || wt_members_draw(&load->prior, seed, it->members) == WT_OK;
}

static uint64_t before_key(const struct site_taught *taught, const struct site_load *load)
{
	uint64_t said[] = {load->origin, (uint64_t)load->grade, (uint64_t)load->season};
	uint64_t key = site_hash((uint64_t)load->closing_act, said, sizeof(said));

	for (size_t i = 0; i < taught->n; i++) {
		const struct site_closing *closing = taught->closings[i];
		if (closing->heard && closing->act < load->closing_act)
			key = site_mix(key, closing->hash);
	}
	return key;
}

static void guess_from(const struct wt_gardens *gardens, const struct site_load *load,
		       struct site_before *out)
{
	out->known = wt_gardens_guess(gardens, (int)load->origin, load->grade, load->season,
				      &out->guess) == WT_OK;
}

/* A closed load waits for hours for its last word, while all gardens before it stay as they are. */
static void guess_before(const struct site_taught *taught, struct site_load *load)
{
	uint64_t key = before_key(taught, load);

	if (load->before && load->before->key == key)
		return;
	/* What was known when it was closed: the loads closed before, itself not among them. */
	struct wt_gardens *gardens = site_lore_gardens(taught, load->closing_act);
	site_drop(&load->before);
	load->before = site_before_new();
	guess_from(gardens, load, load->before);
	load->before->key = key;
	wt_gardens_free(&gardens);
}

bool site_run_prior(const struct wt_job *job, struct site_job_load *load)
{
	struct site_before guess;

	if (wt_traits_prior(&load->load_case, &load->prior) != WT_OK)
		return false;
	if (load->closing)
		guess_before(job->taught, &load->load);
	else
		guess_from(job->lore->gardens, &load->load, &guess);
	const struct site_before *it = load->closing ? load->load.before : &guess;
	if (it->known)
		wt_gardens_apply(&it->guess, &load->load_case, &load->prior);
	return true;
}

/* Whole hours from spreading (the last MARK_PAST_H of them, now among them) and to come, and the
 * times at which a weighing is valued. */
static size_t mark_times(const struct wt_job *job, struct site_job_load *load, int64_t *out)
{
	int64_t now = job->now_unix_s, spread = load->load.spread_unix_s;
	int64_t last_grid = now - now % WT_GRID_S;
	size_t n = 0;

	out[n++] = spread;
	for (int h = MARK_PAST_H; h > 0; h--) {
		int64_t at = last_grid - h * (int64_t)SITE_HOUR_S;
		if (at > spread)
			out[n++] = at;
	}
	if (last_grid > spread)
		out[n++] = last_grid;
	for (int h = 1; h < WT_HORIZON_S / SITE_HOUR_S; h++) {
		int64_t at = last_grid + h * (int64_t)SITE_HOUR_S;
		if (at > spread)
			out[n++] = at;
	}
	return n;
}

static size_t merge_settle_times(const struct wt_job *job, struct site_job_load *load,
				 int64_t *marks, size_t n)
{
	int64_t first = job->now_unix_s - job->now_unix_s % SITE_SETTLE_STEP_S + SITE_SETTLE_STEP_S;
	int64_t until = job->hearth.last_start_unix_s > job->now_unix_s
				? job->hearth.last_start_unix_s
				: job->hearth.first_start_unix_s;

	load->settle_unix_s = site_alloc(SITE_SETTLE_MOST * sizeof(int64_t));
	for (int64_t at = first; at <= until - 900 && load->n_settle < SITE_SETTLE_MOST;
	     at += SITE_SETTLE_STEP_S) {
		load->settle_unix_s[load->n_settle++] = at;
		size_t place = n;
		while (place > 0 && marks[place - 1] > at)
			place--;
		if (place > 0 && marks[place - 1] == at)
			continue;
		memmove(marks + place + 1, marks + place, (n - place) * sizeof(*marks));
		marks[place] = at;
		n++;
	}
	return n;
}

void site_view_mark(const struct site_view *view, size_t k, double out[3])
{
	const struct wt_outcome *outcome = view->outcome;

	float_quantiles(outcome->mark_loss_pct + k * outcome->n, outcome->n, band_probability, 3,
			out);
}

static double median_at_mark(const struct wt_outcome *outcome, size_t k)
{
	double loss_pct = NAN;

	float_quantiles(outcome->mark_loss_pct + k * outcome->n, outcome->n, &band_probability[1],
			1, &loss_pct);
	return loss_pct;
}

double site_view_loss_pct(const struct site_view *view, int64_t at_unix_s)
{
	const struct wt_outcome *outcome = view->outcome;

	for (size_t k = 1; k < outcome->n_marks; k++) {
		int64_t a = outcome->mark_unix_s[k - 1], b = outcome->mark_unix_s[k];
		if (at_unix_s < a || at_unix_s > b || a == b)
			continue;
		double share = (double)(at_unix_s - a) / (double)(b - a);
		double low = median_at_mark(outcome, k - 1), high = median_at_mark(outcome, k);
		return low + share * (high - low);
	}
	return NAN;
}

void site_run_view(struct wt_outcome *outcome, const struct wt_members *members,
		   struct site_view *view)
{
	size_t n = outcome->n;

	view->known = wt_score_quantiles(outcome->ready_unix_s, n, site_probability, SITE_QUANTILES,
					 view->ready_unix_s) == WT_OK &&
		      wt_score_quantiles(outcome->past_unix_s, n, site_probability, SITE_QUANTILES,
					 view->past_unix_s) == WT_OK;
	quantiles_of(outcome->loss_now_pct, n, view->loss_pct);
	quantiles_of(members->theta[WT_DIM_MOISTURE], n, view->moisture_pct);
	quantiles_of(members->theta[WT_DIM_PACE], n, view->pace);
	for (int q = 0; q < SITE_QUANTILES; q++)
		view->pace[q] = exp(view->pace[q]);
	float_quantiles(outcome->rate_now_pct_h, n, &band_probability[1], 1, &view->rate_pct_h);
	view->outcome = outcome;
}

static void keep_settle_losses(struct site_job_load *load, const struct wt_outcome *outcome)
{
	load->settle_loss_pct = site_alloc_bare(load->n_settle * outcome->n * sizeof(float));
	for (size_t k = 0, mark = 0; k < load->n_settle; k++) {
		while (outcome->mark_unix_s[mark] != load->settle_unix_s[k])
			mark++;
		memcpy(load->settle_loss_pct + k * outcome->n,
		       outcome->mark_loss_pct + mark * outcome->n, outcome->n * sizeof(float));
	}
}

static void run_open(const struct wt_job *job, struct site_job_load *load,
		     const struct site_air *air)
{
	int64_t marks[MARK_PAST_H + WT_HORIZON_S / SITE_HOUR_S + SITE_SETTLE_MOST + 4];
	struct wt_outcome *outcome = NULL;

	if (!air->future || !site_run_prior(job, load) || !site_run_posterior(job, load, air))
		return;
	size_t n = merge_settle_times(job, load, marks, mark_times(job, load, marks));
	if (wt_outcome_new(job->members, marks, n, &outcome) == WT_OK &&
	    wt_ensemble_run(&load->load_case, air->past, air->future, load->posterior->members,
			    outcome) == WT_OK) {
		site_run_view(outcome, load->posterior->members, &load->view);
		keep_settle_losses(load, outcome);
	} else {
		wt_outcome_free(&outcome);
	}
}

/* A closed load is run over the air that was measured, to its last word. */
static void run_closing(const struct wt_job *job, struct site_job_load *load,
			const struct site_air *air)
{
	size_t n = load->n_observations + 1;
	int64_t *marks = site_alloc(n * sizeof(*marks));
	struct wt_outcome *outcome = NULL;

	for (size_t i = 0; i < load->n_observations; i++)
		marks[i] = load->observations[i].seen.at_unix_s;
	marks[n - 1] = load->load.closed_unix_s;
	if (site_run_prior(job, load) && site_run_posterior(job, load, air) &&
	    wt_outcome_new(job->members, marks, n, &outcome) == WT_OK &&
	    wt_ensemble_run(&load->load_case, air->past, NULL, load->posterior->members, outcome) ==
		    WT_OK) {
		site_run_view(outcome, load->posterior->members, &load->view);
		double p[3];
		site_view_mark(&load->view, n - 1, p);
		load->closed_loss_pct = p[1];
	} else {
		wt_outcome_free(&outcome);
	}
	free(marks);
}

/* --- the job --------------------------------------------------------------------------------- */

static void run_lore(struct wt_job *job)
{
	if (job->lore)
		return;
	job->lore = site_lore_learn(job->taught);
	job->lore_new = true;
}

static void run_room(struct wt_job *job, size_t index, struct site_paths *paths)
{
	struct site_job_room *room = &job->rooms[index];
	int64_t from = job->now_unix_s;
	struct site_air air;
	bool open = false;

	for (size_t i = 0; i < job->n_loads; i++) {
		if (job->loads[i].room != index)
			continue;
		open = open || !job->loads[i].closing;
		if (job->loads[i].load.spread_unix_s < from)
			from = job->loads[i].load.spread_unix_s;
	}
	if (site_run_air(job, room, from, open, paths, &air)) {
		if (room->known)
			make_leads(room, paths);
		for (size_t i = 0; i < job->n_loads; i++) {
			if (job->loads[i].room != index)
				continue;
			if (job->loads[i].closing)
				run_closing(job, &job->loads[i], &air);
			else
				run_open(job, &job->loads[i], &air);
		}
	}
	site_air_clear(&air);
}

void site_paths_new(size_t n_paths, struct site_paths *out)
{
	out->n_paths = n_paths;
	out->temp_c = site_alloc_bare(SITE_STEPS * n_paths * sizeof(float));
	out->vapour_pa = site_alloc_bare(SITE_STEPS * n_paths * sizeof(float));
}

void site_paths_clear(struct site_paths *paths)
{
	free(paths->temp_c);
	free(paths->vapour_pa);
	*paths = (struct site_paths){0};
}

void site_run_bands(struct wt_job *job, struct site_job_room *room)
{
	struct site_paths paths;
	struct site_air air;

	site_paths_new(job->paths, &paths);
	if (site_run_air(job, room, job->now_unix_s, false, &paths, &air) && room->known)
		make_bands(room, &paths);
	site_air_clear(&air);
	site_paths_clear(&paths);
}

void wt_job_run(struct wt_job *job)
{
	struct site_paths paths;

	run_lore(job);
	if (job->study) {
		site_study_run(job);
		return;
	}
	site_paths_new(job->paths, &paths);
	for (size_t i = 0; i < job->n_rooms; i++)
		run_room(job, i, &paths);
	site_paths_clear(&paths);
	site_run_decide(job);
	for (size_t i = 0; i < job->n_loads; i++) {
		if (!job->loads[i].closing)
			site_words_load(job, &job->loads[i]);
	}
}
