/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * A forecast job: what it takes from the site, and what the site takes back.
 */
#include <math.h>
#include <string.h>

#include "daemon/site_query.h"

const int64_t site_lead_s[SITE_LEADS] = {3600, 10800, 21600, 32400, 43200, 64800, 86400, 129600};

uint64_t site_mix(uint64_t a, uint64_t b)
{
	/* The finishing steps of MurmurHash3 (public domain), over both numbers. */
	uint64_t x = a ^ (b + 0x9e3779b97f4a7c15ULL + (a << 6) + (a >> 2));

	x = (x ^ (x >> 33)) * 0xff51afd7ed558ccdULL;
	x = (x ^ (x >> 33)) * 0xc4ceb9fe1a85ec53ULL;
	return x ^ (x >> 33);
}

uint64_t site_hash(uint64_t seed, const void *data, size_t size)
{
	/* FNV-1a, then mixed with what came before. */
	const unsigned char *byte = data;
	uint64_t hash = 0xcbf29ce484222325ULL;

	for (size_t i = 0; i < size; i++)
		hash = (hash ^ byte[i]) * 0x100000001b3ULL;
	return site_mix(seed, hash);
}

static void *copy_of(const void *array, size_t n, size_t size)
{
	void *copy = site_alloc(n * size);

	if (n)
		memcpy(copy, array, n * size);
	return copy;
}

/* --- making ---------------------------------------------------------------------------------- */

/* A room is learned anew every six hours, which costs no measurable skill against every hour (lib/
 * room.h), and each hour in its first days, when there is much to learn and little to read.  Rooms
 * take turns, so that hundreds of them do not all learn in one tick.  Our choice. */
#define FIT_EVERY_S (6 * SITE_HOUR_S)
#define FIT_YOUNG_S (3 * SITE_DAY_S)

static int64_t fit_upto_unix_s(const struct wt_site *site, size_t index, int64_t now_unix_s)
{
	const char *name = site->rooms[index].name;
	int64_t first = site_room_first_unix_s(site, index);
	int64_t turn = (int64_t)(site_hash(0, name, strlen(name)) % (FIT_EVERY_S / SITE_HOUR_S));

	return now_unix_s - first < FIT_YOUNG_S
		       ? now_unix_s - now_unix_s % SITE_HOUR_S
		       : now_unix_s - (now_unix_s - turn * SITE_HOUR_S) % FIT_EVERY_S;
}

size_t site_job_take_room(struct wt_job *job, const struct wt_site *site, size_t index)
{
	for (size_t i = 0; i < job->n_rooms; i++) {
		if (job->rooms[i].site_room == index)
			return i;
	}
	const struct site_room *room = &site->rooms[index];
	struct site_job_room *it = &job->rooms[job->n_rooms];
	it->site_room = index;
	it->name = site_strdup(room->name);
	it->series = site_take(room->series);
	it->epoch = room->epoch;
	it->silent = site_room_silent(site, index, job->now_unix_s);
	it->fit_upto_unix_s = fit_upto_unix_s(site, index, job->now_unix_s);
	if (room->fit && room->fit->upto_unix_s == it->fit_upto_unix_s)
		it->fit = site_take(room->fit);
	return job->n_rooms++;
}

void site_job_take_load(struct wt_job *job, const struct wt_site *site,
			const struct site_load *load)
{
	struct site_job_load *it = &job->loads[job->n_loads++];
	struct wt_config_style style = {.prefer = WT_PREFER_NONE};

	it->load = *load;
	it->load.closing = NULL;
	it->load.before = site_take(load->before);
	it->load.style = site_strdup(load->style);
	it->load.scale = NULL;
	it->load.observations = NULL;
	it->load.events = copy_of(load->events, load->n_events, sizeof(*load->events));
	it->load.posterior = NULL;
	it->posterior = site_take(load->posterior);
	it->closing = load->state != SITE_OPEN;
	it->closed_loss_pct = NAN;
	it->room = site_job_take_room(job, site, load->room);
	(void)site_style(site, load->style, &style);
	it->prefer = style.prefer;
	site_load_case(site, &it->load, &it->load_case);
	int64_t upto = it->closing ? load->closed_unix_s : job->now_unix_s;
	it->n_observations = site_load_observations(site, load, upto, &it->observations);
}

/* Closed loads are run until their ready time is known or cannot be any more; at regular times
 * only, and when the air of their last observation is in, so that what they teach does not depend
 * on who asked when. */
static bool wants_closing(const struct site_load *load, int64_t now_unix_s, bool kept)
{
	if (load->gone || load->state == SITE_OPEN || site_closing_final(load) || !kept)
		return false;
	/* Once it has taught what it can, only the ready time is waited for: hourly. */
	return load->closing ? now_unix_s % SITE_HOUR_S == 0
			     : now_unix_s >= load->closed_unix_s + 2 * WT_GRID_S;
}

static bool wants_forecast(const struct site_load *load, int64_t now_unix_s, bool kept)
{
	return (!load->gone && load->state == SITE_OPEN) || wants_closing(load, now_unix_s, kept);
}

/* A workshop of a few rooms and some dozens of loads gets all the members it asked for; beyond
 * that the work is kept within seconds by taking fewer (our choice). */
#define WHOLE_LOADS 100
#define WHOLE_ROOMS 4
#define LEAST_MEMBERS 128
#define LEAST_PATHS 64

static size_t fewer(size_t members, size_t n, size_t whole, size_t least)
{
	size_t some = n > whole ? members * whole / n : members;

	if (some < least)
		some = least;
	return some < members ? some : members;
}

static void size_job(struct wt_job *job, const struct wt_site *site)
{
	size_t open = 0;

	for (size_t i = 0; i < site->n_loads; i++)
		open += !site->loads[i].gone && site->loads[i].state == SITE_OPEN;
	job->members = fewer(site->config->members, open, WHOLE_LOADS, LEAST_MEMBERS);
	job->paths = fewer(site->config->members, site->config->n_rooms, WHOLE_ROOMS, LEAST_PATHS);
}

struct wt_job *site_job_new(const struct wt_site *site, int64_t now_unix_s, size_t most_loads)
{
	struct wt_job *job = site_alloc(sizeof(*job));

	job->now_unix_s = now_unix_s;
	job->generation = site->generation;
	job->seed = site->config->seed;
	size_job(job, site);
	job->pressure_pa = site->pressure_pa;
	job->rooms = site_alloc((site->n_rooms + 1) * sizeof(*job->rooms));
	job->loads = site_alloc((most_loads + 1) * sizeof(*job->loads));
	wt_costs_default(&job->costs);
	site_hearth(site, now_unix_s, &job->hearth);
	job->lore = site_take(site->lore);
	job->taught = site_take(site->taught);
	return job;
}

struct wt_job *wt_site_job(struct wt_site *site, int64_t now_unix_s, bool kept)
{
	site_closing_read(site);
	size_t n_loads = 0;

	for (size_t i = 0; i < site->n_loads; i++)
		n_loads += wants_forecast(&site->loads[i], now_unix_s, kept);
	struct wt_job *job = site_job_new(site, now_unix_s, n_loads);
	job->kept = kept;
	for (size_t i = 0; i < site->n_rooms; i++) {
		if (site->rooms[i].configured && site->rooms[i].newest_unix_s)
			site_job_take_room(job, site, i);
	}
	for (size_t i = 0; i < site->n_loads; i++) {
		const struct site_load *load = &site->loads[i];
		if (wants_forecast(load, now_unix_s, kept))
			site_job_take_load(job, site, load);
	}
	return job;
}

/* --- taking back ----------------------------------------------------------------------------- */

static void adopt_rooms(struct wt_site *site, const struct wt_job *job)
{
	for (size_t i = 0; i < job->n_rooms; i++) {
		struct site_room *room = &site->rooms[job->rooms[i].site_room];
		if (!job->rooms[i].fit || room->epoch != job->rooms[i].epoch)
			continue;
		site_drop(&room->fit);
		room->fit = site_take(job->rooms[i].fit);
	}
}

/* What acts are checked by is the last tick's word; after a start the first word there is, where a
 * tick came by since the load was known. */
static bool is_regular(const struct wt_site *site, const struct wt_job *job,
		       const struct site_load *load)
{
	int64_t tick_unix_s = job->now_unix_s - job->now_unix_s % site->config->forecast_every_s;

	return job->kept ||
	       (isnan(load->regular_loss_p50_pct) && tick_unix_s >= load->noted_unix_s);
}

static void adopt_loads(struct wt_site *site, const struct wt_job *job)
{
	for (size_t i = 0; i < job->n_loads; i++) {
		const struct site_job_load *done = &job->loads[i];
		struct site_load *load = &site->loads[done->load.number - 1];
		site_drop(&load->posterior);
		if (load->gone)
			continue;
		if (load->state == SITE_OPEN && done->view.known && is_regular(site, job, load)) {
			load->regular_loss_p10_pct = done->view.loss_pct[SITE_P10];
			load->regular_loss_p50_pct = done->view.loss_pct[SITE_P50];
		}
		if (load->state == SITE_OPEN) {
			load->posterior = site_take(done->posterior);
		} else if (done->closing && load->closing_act == done->load.closing_act) {
			site_closing_make(site, load, job, done);
			site_drop(&load->before);
			/* Until the last word is spoken it is run again, with the same. */
			if (!site_closing_final(load)) {
				load->posterior = site_take(done->posterior);
				load->before = site_take(done->load.before);
			}
		}
	}
}

void wt_site_adopt(struct wt_site *site, struct wt_job **address)
{
	struct wt_job *job = *address;

	*address = NULL;
	if (!job)
		return;
	/* Not when a load was closed or an act undone while the job ran. */
	if (job->lore_new && !site->lore && job->taught == site->taught)
		site->lore = site_take(job->lore);
	adopt_rooms(site, job);
	adopt_loads(site, job);
	/* The series are let go, so that readings need not copy them. */
	for (size_t i = 0; i < job->n_rooms; i++) {
		site_drop(&job->rooms[i].series);
		site_drop(&job->rooms[i].fit);
	}
	wt_job_free(&site->forecast);
	site->forecast = job;
}

void site_view_clear(struct site_view *view)
{
	wt_outcome_free(&view->outcome);
	json_decref(view->reason);
	json_decref(view->why_says);
	json_decref(view->notes);
	*view = (struct site_view){0};
}

static void free_load(struct site_job_load *load)
{
	site_load_clear(&load->load);
	free(load->observations);
	site_drop(&load->posterior);
	site_view_clear(&load->view);
	free(load->settle_loss_pct);
	free(load->settle_unix_s);
}

static void free_room(struct site_job_room *room)
{
	free(room->name);
	site_drop(&room->series);
	site_drop(&room->fit);
	for (int i = 0; i < SITE_BANDS; i++)
		free(room->band[i]);
}

void wt_job_free(struct wt_job **address)
{
	struct wt_job *job = *address;

	if (!job)
		return;
	*address = NULL;
	for (size_t i = 0; i < job->n_rooms; i++)
		free_room(&job->rooms[i]);
	for (size_t i = 0; i < job->n_loads; i++)
		free_load(&job->loads[i]);
	site_drop(&job->taught);
	site_drop(&job->lore);
	wt_plan_free(&job->plan);
	site_study_free(&job->study);
	json_decref(job->result);
	free(job->rooms);
	free(job->loads);
	free(job);
}

int64_t wt_site_forecast_unix_s(const struct wt_site *site)
{
	return site->forecast ? site->forecast->now_unix_s : 0;
}

uint64_t wt_site_forecast_generation(const struct wt_site *site)
{
	return site->forecast ? site->forecast->generation : 0;
}

struct site_job_load *site_job_find(const struct wt_job *job, int load)
{
	for (size_t i = 0; job && i < job->n_loads; i++) {
		if (job->loads[i].load.number == load)
			return &job->loads[i];
	}
	return NULL;
}
