/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * Runs a load tile by tile.  Between two looks (acts, half-hour cells, the present
 * moment) the kernel does a burst of steps; a look finds crossings and marks in it.
 */
#include <math.h>
#include <string.h>

#include "lib/ensemble_kernel.h"
#include "lib/leaf.h"
#include "lib/leaf_schedule.h"
#include "lib/traits.h"

static const float latent_20c_j_kg = 2.4538e6f;

/* Half hours until the drift stands still, and one more. */
#define DRIFT_CELLS (2 * WT_TRAIT_DRIFT_SPAN_H + 3)

struct job {
	const struct wt_load_case *load;
	const struct wt_drive *past, *future;
	const struct wt_members *members;
	int64_t now_unix_s; /* last instant of the measured air */
	int64_t end_unix_s;
	const int64_t *mark_unix_s;
	size_t n_marks;
	float *mark_loss_pct; /* [mark * n + i], or NULL */
	float *mark_weight_kg;
	struct wt_outcome *outcome; /* or NULL */

	struct wt_lane_load lane_load;
	double leaf_m2_kg;
	float drift[DRIFT_CELLS][WT_DRIFT_TERMS];
};

/* The bed of a tile and what the kernel does not need at each step. */
struct tile {
	struct wt_lanes lanes;
	size_t member[WT_TILE];
	size_t n;     /* lanes in use; the rest repeat lane 0 */
	size_t block; /* of the paths; SIZE_MAX when gathered */
	size_t path[WT_TILE];
	float tissue_kg[WT_TILE], dry_kg[WT_TILE], kept[WT_TILE];
	float limit_pct[WT_TILE]; /* next loss of interest */
	double ready_unix_s[WT_TILE], past_unix_s[WT_TILE];
	float loss_before_pct[WT_TILE];    /* half an hour before now */
	struct wt_leaf_path face, through; /* for 1 kg/m2 */
	bool fan, wet, open;
	int64_t turned_unix_s;
	size_t next_event, next_mark;
	float loss_pct[WT_BURST + 1][WT_TILE]; /* row 0: before the burst */
	float z[WT_BURST + 1][WT_TILE];
	uint16_t path_air[WT_BURST][WT_AIR_COUNT][WT_TILE]; /* gathered */
};

static void set_faces(const struct job *job, struct tile *tile)
{
	struct wt_leaf_bed bed = {
		.fresh_kg_m2 = 1.0, .perforated = job->load->perforated, .fan = tile->fan};
	wt_leaf_path_parts(&bed, 1.0, &tile->face, &tile->through);
}

/* Loss at which the lane next crosses something: ready, then past its best, then nothing. */
static float next_limit(const struct job *job, const struct tile *tile, size_t i)
{
	if (!job->outcome)
		return HUGE_VALF;
	if (isinf(tile->ready_unix_s[i]))
		return (float)job->load->ready_from_loss_pct;
	return isinf(tile->past_unix_s[i]) ? (float)job->load->latest_loss_pct : HUGE_VALF;
}

static void start_tile(const struct job *job, struct tile *tile)
{
	const struct wt_load_case *load = job->load;
	float theta[WT_DIM_COUNT][WT_TILE];
	for (size_t i = tile->n; i < WT_TILE; i++) {
		tile->member[i] = tile->member[0];
		tile->path[i] = tile->path[0];
	}
	for (size_t d = 0; d < WT_DIM_COUNT; d++)
		for (size_t i = 0; i < WT_TILE; i++)
			theta[d][i] = job->members->theta[d][tile->member[i]];
	wt_kernel_start(&tile->lanes, &job->lane_load, theta, tile->tissue_kg, tile->dry_kg);
	for (size_t i = 0; i < WT_TILE; i++) {
		tile->kept[i] = 1.0f;
		tile->ready_unix_s[i] = tile->past_unix_s[i] = HUGE_VAL;
		tile->loss_before_pct[i] = tile->loss_pct[0][i] = 0.0f;
		tile->limit_pct[i] = next_limit(job, tile, i);
		tile->z[0][i] = tile->lanes.z[i];
	}
	tile->lanes.radiation = (float)load->net_radiation_w_m2 / latent_20c_j_kg;
	tile->fan = load->fan;
	tile->turned_unix_s = load->spread_unix_s;
	tile->next_event = tile->next_mark = 0;
	set_faces(job, tile);
}

static void act(const struct job *job, struct tile *tile, const struct wt_bed_event *event)
{
	struct wt_lanes *l = &tile->lanes;
	for (size_t i = 0; i < WT_TILE; i++) {
		if (event->taken_kg > 0.0) {
			float share = 1.0f - tile->loss_pct[0][i] / 100.0f +
				      l->z[i] * l->loss_water[i] / 100.0f;
			float weight_kg = tile->kept[i] * tile->tissue_kg[i] * share;
			float left =
				weight_kg > 0.0f ? 1.0f - (float)event->taken_kg / weight_kg : 0.0f;
			tile->kept[i] *= left > 0.0f ? left : 0.0f;
		}
		if (event->area_m2 > 0.0 && tile->kept[i] > 0.0f)
			l->dry_kg_m2[i] = tile->dry_kg[i] * tile->kept[i] / (float)event->area_m2;
	}
	if (event->fan >= 0)
		tile->fan = event->fan > 0;
	if (event->turned)
		tile->turned_unix_s = event->at_unix_s;
	set_faces(job, tile);
}

/* What holds for the half hour around t. */
static void set_cell(const struct job *job, struct tile *tile, int64_t t)
{
	double middle = (double)wt_leaf_cell_middle(t);
	int64_t first = wt_leaf_floor(job->load->spread_unix_s, WT_CELL_S);
	int64_t c = (wt_leaf_floor(t, WT_CELL_S) - first) / WT_CELL_S;
	c = c < DRIFT_CELLS ? c : DRIFT_CELLS - 1;
	double packed = wt_leaf_packing(middle - (double)tile->turned_unix_s);
	struct wt_cell cell = {
		.face = (float)tile->face.vapour_s_m,
		.radiation = (float)(WT_TRAIT_RADIATION_S_M / (job->load->perforated ? 2.0 : 1.0)),
		.through = (float)(packed * tile->through.vapour_s_m),
		.through_heat = (float)(packed * tile->through.heat_s_m),
		.film = (float)(job->leaf_m2_kg / tile->face.leaf_s_m),
	};
	memcpy(cell.drift, job->drift[c], sizeof cell.drift);
	wt_kernel_cell(&tile->lanes, &cell, (float)(t - job->load->spread_unix_s), &tile->wet,
		       &tile->open);
}

/* Points a burst of n steps at t to its air. */
static void set_air(const struct job *job, struct tile *tile, int64_t t, int n, struct wt_burst *b)
{
	int64_t grid = wt_leaf_floor(t, WT_GRID_S);
	const struct wt_drive *past = job->past, *future = job->future;
	if (!future || grid < future->start_unix_s) {
		size_t s = (size_t)((grid - past->start_unix_s) / WT_GRID_S);
		b->air = past->air + (s < past->n_steps ? s : past->n_steps) * WT_AIR_COUNT;
		return;
	}
	const size_t row = (size_t)WT_AIR_COUNT * WT_TILE;
	size_t s = (size_t)((grid - future->start_unix_s) / WT_GRID_S);
	b->unit = future->unit;
	if (tile->block != SIZE_MAX) {
		b->path = future->path + (tile->block * future->n_steps + s) * row;
		return;
	}
	for (size_t i = 0; i < WT_TILE; i++) {
		size_t block = tile->path[i] / WT_TILE, lane = tile->path[i] % WT_TILE;
		const uint16_t *from = future->path + (block * future->n_steps + s) * row + lane;
		for (size_t q = 0; q < (size_t)n * WT_AIR_COUNT; q++)
			tile->path_air[q / WT_AIR_COUNT][q % WT_AIR_COUNT][i] = from[q * WT_TILE];
	}
	b->path = &tile->path_air[0][0][0];
}

static double crossing(const struct tile *tile, size_t i, float limit, int n, double t, double h)
{
	for (int s = 1; s <= n; s++) {
		float before = tile->loss_pct[s - 1][i], after = tile->loss_pct[s][i];
		if (after < limit)
			continue;
		double f =
			after > before ? (double)(limit - before) / (double)(after - before) : 0.0;
		return t + h * (s - 1 + fmax(f, 0.0));
	}
	return HUGE_VAL;
}

static void find_crossings(const struct job *job, struct tile *tile, int n, double t, double h)
{
	for (size_t i = 0; i < WT_TILE; i++) {
		while (tile->loss_pct[n][i] >= tile->limit_pct[i]) {
			float limit = tile->limit_pct[i];
			double at = crossing(tile, i, limit, n, t, h);
			if (limit >= (float)job->load->ready_from_loss_pct &&
			    isinf(tile->ready_unix_s[i]))
				tile->ready_unix_s[i] = at;
			if (limit >= (float)job->load->latest_loss_pct)
				tile->past_unix_s[i] = at;
			tile->limit_pct[i] = next_limit(job, tile, i);
		}
	}
}

static void write_mark(const struct job *job, struct tile *tile, size_t mark, int row, float f)
{
	const size_t n = job->members->n;
	for (size_t i = 0; i < tile->n; i++) {
		const float *l0 = tile->loss_pct[row], *l1 = tile->loss_pct[row + 1];
		float loss_pct = l0[i] + f * (l1[i] - l0[i]);
		size_t at = mark * n + tile->member[i];
		if (job->mark_loss_pct)
			job->mark_loss_pct[at] = loss_pct;
		if (!job->mark_weight_kg)
			continue;
		float z = tile->z[0][i];
		if (tile->wet)
			z = tile->z[row][i] + f * (tile->z[row + 1][i] - tile->z[row][i]);
		job->mark_weight_kg[at] =
			tile->kept[i] * tile->tissue_kg[i] *
			(1.0f - loss_pct / 100.0f + z * tile->lanes.loss_water[i] / 100.0f);
	}
}

static void find_marks(const struct job *job, struct tile *tile, int n, int64_t t, int64_t h)
{
	while (tile->next_mark < job->n_marks && job->mark_unix_s[tile->next_mark] <= t + n * h) {
		int64_t since = job->mark_unix_s[tile->next_mark] - t;
		int64_t row = since < n * h ? since / h : n - 1;
		if (since >= 0)
			write_mark(job, tile, tile->next_mark, (int)row,
				   (float)(since - row * h) / (float)h);
		tile->next_mark++;
	}
}

static void burst(const struct job *job, struct tile *tile, int64_t t, int n, int64_t h)
{
	struct wt_lanes *l = &tile->lanes;
	float partial[WT_TILE];
	const float *half = l->half;
	if (h != WT_GRID_S) {
		float power = (float)h / WT_GRID_S;
		for (size_t i = 0; i < WT_TILE; i++)
			partial[i] = powf(l->half[i], power);
		half = partial;
	}
	struct wt_burst b = {
		.wet = tile->wet,
		.open = tile->open,
		.n = n,
		.step_s = (float)h,
		.since_s = (float)(t - job->load->spread_unix_s),
		.half = half,
	};
	set_air(job, tile, t, n, &b);
	if (wt_kernel_burst(l, &b, tile->limit_pct, tile->loss_pct + 1, tile->z + 1))
		find_crossings(job, tile, n, (double)t, (double)h);
	find_marks(job, tile, n, t, h);
	memcpy(tile->loss_pct[0], tile->loss_pct[n], sizeof tile->loss_pct[0]);
	if (tile->wet)
		memcpy(tile->z[0], tile->z[n], sizeof tile->z[0]);
}

/* Bursts from t to `to`, within one cell: the rest of a grid step, whole steps, a part of one. */
static void advance(const struct job *job, struct tile *tile, int64_t t, int64_t to)
{
	while (t < to) {
		int64_t grid = wt_leaf_floor(t, WT_GRID_S);
		int64_t h = WT_GRID_S, n = 1;
		if (t > grid || to < grid + WT_GRID_S)
			h = (to < grid + WT_GRID_S ? to : grid + WT_GRID_S) - t;
		else
			n = (to - t) / WT_GRID_S;
		burst(job, tile, t, (int)n, h);
		t += n * h;
	}
}

static int64_t earlier_after(int64_t t, int64_t candidate, int64_t to)
{
	return candidate > t && candidate < to ? candidate : to;
}

static void finish_tile(const struct job *job, const struct tile *tile)
{
	struct wt_outcome *out = job->outcome;
	double spread = (double)job->load->spread_unix_s;
	double least = spread + 3600.0 * job->load->least_hours;
	double most = spread + 3600.0 * job->load->most_hours;
	for (size_t i = 0; i < tile->n; i++) {
		double ready = fmax(tile->ready_unix_s[i], least);
		double past = fmax(ready, fmin(tile->past_unix_s[i], most));
		double end = (double)job->end_unix_s;
		out->ready_unix_s[tile->member[i]] = ready <= end ? ready : HUGE_VAL;
		out->past_unix_s[tile->member[i]] = past <= end ? past : HUGE_VAL;
	}
}

static void write_now(const struct job *job, const struct tile *tile, double hours)
{
	for (size_t i = 0; i < tile->n; i++) {
		float loss_pct = tile->loss_pct[0][i];
		job->outcome->loss_now_pct[tile->member[i]] = loss_pct;
		job->outcome->rate_now_pct_h[tile->member[i]] =
			hours > 0.0 ? (loss_pct - tile->loss_before_pct[i]) / (float)hours : NAN;
	}
}

static void run_tile(const struct job *job, struct tile *tile)
{
	start_tile(job, tile);
	const struct wt_load_case *load = job->load;
	int64_t t = load->spread_unix_s;
	int64_t before = job->now_unix_s - 1800 > t ? job->now_unix_s - 1800 : t;
	memcpy(tile->loss_pct[1], tile->loss_pct[0], sizeof tile->loss_pct[0]);
	memcpy(tile->z[1], tile->z[0], sizeof tile->z[0]);
	find_marks(job, tile, 1, t - 1, 1);
	if (job->outcome && job->now_unix_s <= t)
		write_now(job, tile, 0.0);
	while (t < job->end_unix_s) {
		for (; tile->next_event < load->n_events &&
		       load->events[tile->next_event].at_unix_s <= t;
		     tile->next_event++)
			act(job, tile, &load->events[tile->next_event]);
		int64_t to = wt_leaf_floor(t, WT_CELL_S) + WT_CELL_S;
		to = to < job->end_unix_s ? to : job->end_unix_s;
		to = earlier_after(t, job->now_unix_s, to);
		to = earlier_after(t, before, to);
		if (tile->next_event < load->n_events)
			to = earlier_after(t, load->events[tile->next_event].at_unix_s, to);
		set_cell(job, tile, t);
		advance(job, tile, t, to);
		t = to;
		if (t == before)
			memcpy(tile->loss_before_pct, tile->loss_pct[0], sizeof tile->loss_pct[0]);
		if (job->outcome && t == job->now_unix_s)
			write_now(job, tile, (double)(t - before) / 3600.0);
	}
	if (job->outcome)
		finish_tile(job, tile);
}

static size_t common_divisor(size_t a, size_t b)
{
	while (b > 0) {
		size_t rest = a % b;
		a = b;
		b = rest;
	}
	return a;
}

/* Step from member to member among n paths: near the golden section, coprime to n. */
static size_t path_stride(size_t n)
{
	size_t k = (size_t)(0.618034 * (double)n);
	k = k > 0 ? k : 1;
	while (common_divisor(k, n) != 1)
		k++;
	return k;
}

static size_t inverse_stride(size_t k, size_t n)
{
	long long t = 0, next_t = 1;
	long long r = (long long)n, next_r = (long long)(k % n);
	while (next_r != 0) {
		long long q = r / next_r, hold = t - q * next_t;
		t = next_t;
		next_t = hold;
		hold = r - q * next_r;
		r = next_r;
		next_r = hold;
	}
	return (size_t)(t < 0 ? t + (long long)n : t) % n;
}

/* Members [first, first + n) in their own order, each with its path. */
static void run_plain(const struct job *job, struct tile *tile, size_t first, size_t n,
		      size_t n_paths, size_t k)
{
	for (size_t i = 0; i < n; i += WT_TILE) {
		tile->n = n - i < WT_TILE ? n - i : WT_TILE;
		tile->block = SIZE_MAX;
		for (size_t l = 0; l < tile->n; l++) {
			size_t member = first + i + l;
			tile->member[l] = member;
			tile->path[l] = n_paths > 0 ? (member % n_paths) * k % n_paths : 0;
		}
		run_tile(job, tile);
	}
}

/* As many members as paths, in the order of the paths, so that a block of air is read once. */
static void run_by_path(const struct job *job, struct tile *tile, size_t first, size_t n_paths,
			size_t k)
{
	size_t back = n_paths > 1 ? inverse_stride(k, n_paths) : 0;
	for (size_t p = 0; p < n_paths; p += WT_TILE) {
		tile->n = n_paths - p < WT_TILE ? n_paths - p : WT_TILE;
		tile->block = p / WT_TILE;
		for (size_t l = 0; l < tile->n; l++) {
			tile->path[l] = p + l;
			tile->member[l] = first + (p + l) * back % n_paths;
		}
		run_tile(job, tile);
	}
}

/* Terms of the drift at the middle of each half hour, once for all tiles. */
static void set_drift_table(struct job *job)
{
	const struct wt_load_case *load = job->load;
	int64_t cell = wt_leaf_floor(load->spread_unix_s, WT_CELL_S);
	for (int c = 0; c < DRIFT_CELLS && cell < job->end_unix_s; c++, cell += WT_CELL_S) {
		double since_s = (double)(cell + WT_CELL_S / 2 - load->spread_unix_s);
		for (int k = 0; k < WT_DRIFT_TERMS; k++)
			job->drift[c][k] = (float)wt_traits_drift(k, since_s / 3600.0);
	}
}

static enum wt_status run_job(struct job *job)
{
	const struct wt_load_case *load = job->load;
	struct tile tile;
	struct wt_leaf leaf;
	static const double centre[WT_DIM_COUNT] = {[WT_DIM_MOISTURE] = 75.0};
	/* A member of pace 1 shows what the load gives to all of them. */
	enum wt_status status = wt_leaf_from_theta(load, centre, &leaf);
	if (status != WT_OK)
		return status;
	job->lane_load = (struct wt_lane_load){
		.fresh_kg = (float)load->fresh_kg,
		.area_m2 = (float)load->area_m2,
		.skin_m_s = (float)leaf.skin_m_s,
		.film = (float)(leaf.surface_half * leaf.water_ratio),
		.isotherm = (float)WT_TRAIT_ISOTHERM_HALF,
	};

	job->leaf_m2_kg = leaf.leaf_m2_kg;
	memset(&tile, 0, sizeof tile);
	set_drift_table(job);
	size_t n = job->members->n, done = 0;
	size_t n_paths = job->future ? job->future->n_paths : 0;
	size_t k = n_paths > 0 ? path_stride(n_paths) : 1;
	for (; n_paths > 0 && n - done >= n_paths; done += n_paths)
		run_by_path(job, &tile, done, n_paths, k);
	run_plain(job, &tile, done, n - done, n_paths, k);
	return WT_OK;
}

static enum wt_status check_load(const struct wt_load_case *load, const struct wt_drive *past)
{
	if (!isfinite(load->fresh_kg) || !isfinite(load->area_m2) ||
	    !isfinite(load->net_radiation_w_m2) || !isfinite(load->pressure_pa) ||
	    !wt_traits_grade(load->grade) ||
	    !wt_leaf_events_are_sound(load->events, load->n_events))
		return WT_ERR_ARG;
	if (load->fresh_kg <= 0.0 || load->area_m2 <= 0.0 ||
	    load->spread_unix_s < past->start_unix_s || load->pressure_pa < 40000.0 ||
	    load->pressure_pa > 120000.0)
		return WT_ERR_RANGE;
	return WT_OK;
}

static int64_t end_of(const struct wt_drive *drive)
{
	return drive->start_unix_s + (int64_t)drive->n_steps * WT_GRID_S;
}

static bool members_are_finite(const struct wt_members *members)
{
	for (size_t d = 0; d < WT_DIM_COUNT; d++) {
		float sum = 0.0f;
		for (size_t i = 0; i < members->n; i++)
			sum += 0.0f * members->theta[d][i];
		if (!(sum == 0.0f))
			return false;
	}
	return true;
}

enum wt_status wt_ensemble_observe(const struct wt_load_case *load, const struct wt_drive *past,
				   const struct wt_members *members, const int64_t *at_unix_s,
				   size_t n_at, float *loss_pct, float *weight_kg)
{
	if (!load || !past || !members || members->n == 0 || past->n_paths > 0 ||
	    (n_at > 0 && !at_unix_s) || !members_are_finite(members))
		return WT_ERR_ARG;
	enum wt_status status = check_load(load, past);
	int64_t end = end_of(past);
	if (status == WT_OK)
		status = wt_leaf_check_marks(load->spread_unix_s, end + WT_GRID_S, at_unix_s, n_at);
	if (status != WT_OK || n_at == 0)
		return status;
	struct job job = {
		.load = load,
		.past = past,
		.members = members,
		.now_unix_s = end,
		.end_unix_s = at_unix_s[n_at - 1],
		.mark_unix_s = at_unix_s,
		.n_marks = n_at,
		.mark_loss_pct = loss_pct,
		.mark_weight_kg = weight_kg,
	};
	return run_job(&job);
}

/* Marks that the run will not come by; it writes all others. */
static void forget_marks(const struct job *job)
{
	const size_t n = job->members->n;
	for (size_t k = 0; k < job->n_marks; k++) {
		int64_t at = job->mark_unix_s[k];
		if (at >= job->load->spread_unix_s && at <= job->end_unix_s)
			continue;
		for (size_t i = 0; i < n; i++)
			job->mark_loss_pct[k * n + i] = NAN;
	}
}

enum wt_status wt_ensemble_run(const struct wt_load_case *load, const struct wt_drive *past,
			       const struct wt_drive *future, const struct wt_members *members,
			       struct wt_outcome *outcome)
{
	if (!load || !past || !members || !outcome || members->n == 0 || outcome->n != members->n ||
	    past->n_paths > 0 || !members_are_finite(members))
		return WT_ERR_ARG;
	if (future && (future->n_paths == 0 || future->start_unix_s != end_of(past)))
		return WT_ERR_ARG;
	if (isnan(load->ready_from_loss_pct) || isnan(load->latest_loss_pct) ||
	    isnan(load->least_hours) || isnan(load->most_hours))
		return WT_ERR_ARG;
	enum wt_status status = check_load(load, past);
	if (status != WT_OK)
		return status;
	struct job job = {
		.load = load,
		.past = past,
		.future = future,
		.members = members,
		.now_unix_s = end_of(past),
		.end_unix_s = future ? end_of(future) : end_of(past),
		.mark_unix_s = outcome->mark_unix_s,
		.n_marks = outcome->n_marks,
		.mark_loss_pct = outcome->mark_loss_pct,
		.outcome = outcome,
	};
	forget_marks(&job);
	return run_job(&job);
}
