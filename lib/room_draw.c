/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * Paths of the coming air.
 */
#include "lib/room_ahead.h"

#include <gsl/gsl_cdf.h>
#include <gsl/gsl_qrng.h>
#include <stdlib.h>
#include <string.h>

#define NO_DATA_SLOTS (12 * ROOM_SLOTS_HOUR)
#define PATHS_MAX 65536
#define STEPS_MAX (3 * ROOM_SLOTS_DAY)
#define SCALE_LIMIT 1.5
/* Our choice, by trial: errors of a fit on its own past are a little too small, more so when
 * there is little past. */
#define WIDEN 1.05
#define WIDEN_SHORT 0.15
#define WIDEN_DAYS 8.0
/* Errors of hours that follow one another are much alike, so that a law is known worse than its
 * rows would tell.  In the first days the strangeness below stands for it. */
#define DOUBT 2.0
/* The same for a room seen for hours only: error grows for so many hours ahead at so many of the
 * room's hourly changes, and is learned away in so many days. */
#define STRANGE_T 0.7
#define STRANGE_E 0.95
#define STRANGE_HOURS 6.5
#define STRANGE_DAYS 4.0
/* Paths are worked on in blocks, which compilers turn into vector code. */
#define BLOCK 64
#define DRIEST_SHARE 0.02f
/* No path strays further from the middle. */
#define STRAY_MAX_K 30.0f

/* The state of one drawing. */
struct draw {
	const struct wt_room_fit *fit;
	struct room_past past;
	size_t at;                      /* index of the newest reading in the past */
	int64_t behind;                 /* slots from it to the first step, may be -1 */
	size_t n_paths;                 /* padded to blocks */
	double bend[2][ROOM_KNOTS + 1]; /* forecast minus usual; [0] is now */
	double log_scale[2][ROOM_KNOTS];
	double steady[2][ROOM_SCALE_FEATURES]; /* features of the spread; the hour's are replaced */
	float *error;                          /* [knot][variable][path], scaled */
};

/* Counter-based: the n-th number of a seed is the same whatever was asked before. */
static uint64_t mix(uint64_t x)
{
	x += 0x9e3779b97f4a7c15u;
	x = (x ^ (x >> 30)) * 0xbf58476d1ce4e5b9u;
	x = (x ^ (x >> 27)) * 0x94d049bb133111ebu;
	return x ^ (x >> 31);
}

static double dot(const double *a, const double *b, size_t n)
{
	double sum = 0.0;
	for (size_t j = 0; j < n; j++)
		sum += a[j] * b[j];
	return sum;
}

/* Forecasts at the knots.  ahead is NULL when no outlook is trusted. */
static void draw_mean(struct draw *d, const struct room_ahead *ahead)
{
	const struct wt_room_fit *fit = d->fit;
	double doubt = DOUBT * (1.0 - exp(-fit->days / STRANGE_DAYS));
	for (size_t v = 0; v < 2; v++) {
		wt_room_scale_features(&d->past, fit, v, d->at, 0, d->steady[v]);
		d->bend[v][0] = (double)d->past.odd[v][d->at];
		for (size_t k = 0; k < ROOM_KNOTS; k++) {
			const struct room_law *law = &fit->law[v][k];
			double x[ROOM_ALL_FEATURES];
			wt_room_features(&d->past, fit, v, d->at, wt_room_knot_slots[k], x);
			double odd = dot(x, law->beta, ROOM_FEATURES);
			d->log_scale[v][k] = law->log_scale;
			if (ahead && law->trust > 0.0 &&
			    wt_room_ahead_features(ahead, v, wt_room_knot_slots[k],
						   x + ROOM_FEATURES)) {
				double told = dot(x, law->beta_out, ROOM_ALL_FEATURES);
				odd += law->trust * (told - odd);
				d->log_scale[v][k] = law->log_scale_out;
			}
			d->log_scale[v][k] += 0.5 * log(1.0 + doubt * wt_room_law_doubt(law, x));
			d->bend[v][k + 1] = odd * fit->sd[v];
		}
	}
}

static enum wt_status draw_look_ahead(const struct wt_room_series *series, int64_t now_unix_s,
				      struct draw *d)
{
	struct room_outdoors outdoors;
	struct room_ahead ahead;
	bool trusted = wt_room_outlook_weight(d->fit) > 0.0;
	enum wt_status status =
		trusted ? wt_room_outdoors_new(series, now_unix_s, &outdoors) : WT_ERR_NODATA;
	if (status == WT_ERR_NODATA) {
		draw_mean(d, NULL);
		return WT_OK;
	}
	if (status != WT_OK)
		return status;
	wt_room_ahead_from(&outdoors, d->past.grid.last * WT_GRID_S, now_unix_s, &ahead);
	draw_mean(d, &ahead);
	wt_room_outdoors_free(&outdoors);
	return WT_OK;
}

/* Normal scores at the middles of 1024 equal shares. */
#define SCORES 1024
static void scores_fill(float score[SCORES])
{
	for (size_t i = 0; i < SCORES; i++)
		score[i] = (float)gsl_cdf_ugaussian_Pinv(((double)i + 0.5) / SCORES);
}

static float score_at(const float score[SCORES], double share)
{
	double x = share * SCORES - 0.5;
	if (x <= 0.0)
		return score[0];
	if (x >= SCORES - 1)
		return score[SCORES - 1];
	size_t i = (size_t)x;
	float part = (float)(x - (double)i);
	return (1.0f - part) * score[i] + part * score[i + 1];
}

/* Independent normal numbers, quasi-random over the paths: [dim][path]. */
static enum wt_status draw_normal(uint64_t seed, size_t n_paths, size_t stride, float *out)
{
	float score[SCORES];
	double shift[ROOM_DIMS];
	double point[ROOM_DIMS];
	gsl_qrng *sequence = gsl_qrng_alloc(gsl_qrng_sobol, ROOM_DIMS);
	if (!sequence)
		return WT_ERR_NOMEM;
	scores_fill(score);
	for (size_t k = 0; k < ROOM_DIMS; k++)
		shift[k] = (double)(mix(seed * ROOM_DIMS + k) >> 11) * 0x1p-53;
	for (size_t i = 0; i < n_paths; i++) {
		gsl_qrng_get(sequence, point);
		for (size_t k = 0; k < ROOM_DIMS; k++) {
			double share = point[k] + shift[k];
			out[k * stride + i] = score_at(score, share >= 1.0 ? share - 1.0 : share);
		}
	}
	gsl_qrng_free(sequence);
	return WT_OK;
}

static float quantile_at(const float table[ROOM_Z], float z)
{
	float x = (z - (float)ROOM_Z_MIN) / (float)ROOM_Z_STEP;
	x = fminf(fmaxf(x, 0.0f), (float)(ROOM_Z - 1) - 0.001f);
	size_t i = (size_t)x;
	float part = x - (float)i;
	return (1.0f - part) * table[i] + part * table[i + 1];
}

/* One instant of one variable: mean plus two weighted errors. */
struct blend {
	float mean;
	float left; /* factors of the errors at the knots around */
	float right;
	const float *left_error;
	const float *right_error;
};

/* Saturation about the mean temperature, in a form that vectorises: exact at the mean, from there
 * by an exponent of the Magnus form fitted to lib/air.c over -15..55 deg C, within 0.25 %. */
#define MAGNUS_A 17.4064f
#define MAGNUS_B_C 239.527f
struct saturation {
	float base;
	float slope;
	float inverse; /* 1 / (B + mean) */
};

static struct saturation saturation_near(float temp_c)
{
	float inverse = 1.0f / (MAGNUS_B_C + temp_c);
	return (struct saturation){
		.base = (float)room_saturation_pa((double)temp_c),
		.slope = MAGNUS_A * MAGNUS_B_C * inverse * inverse,
		.inverse = inverse,
	};
}

static inline __attribute__((always_inline)) void
block_lanes(const struct blend *t, const struct blend *e, const struct saturation *s, size_t first,
	    float *restrict temp, float *restrict vapour)
{
	const float *restrict tl = t->left_error + first;
	const float *restrict tr = t->right_error + first;
	const float *restrict el = e->left_error + first;
	const float *restrict er = e->right_error + first;
	for (size_t i = 0; i < BLOCK; i++) {
		float x = t->left * tl[i] + t->right * tr[i];
		float v = e->mean + e->left * el[i] + e->right * er[i];
		x = x < -STRAY_MAX_K ? -STRAY_MAX_K : x;
		x = x > STRAY_MAX_K ? STRAY_MAX_K : x;
		float y = 0.25f * x * s->slope / (1.0f + x * s->inverse);
		float growth =
			1.0f +
			y * (1.0f + y * (0.5f + y * (0.16666667f +
						     y * (0.041666667f + y * 0.0083333333f))));
		growth *= growth;
		float most = s->base * growth * growth;
		float least = DRIEST_SHARE * most;
		v = v > most ? most : v;
		v = v < least ? least : v;
		temp[i] = t->mean + x;
		vapour[i] = v;
	}
}

/* A block of one row of the errors: so many rows of normal numbers, each times its factor. */
static inline __attribute__((always_inline)) void sum_lanes(const float *restrict factor,
							    const float *restrict normal,
							    size_t stride, size_t n,
							    float *restrict out)
{
	float sum[BLOCK] = {0};
	for (size_t b = 0; b < n; b++)
		for (size_t i = 0; i < BLOCK; i++)
			sum[i] += factor[b] * normal[b * stride + i];
	memcpy(out, sum, sizeof sum);
}

/* As in the kernel: compiled for several instruction sets, of which the best is taken at run time;
 * one set always rounds alike. */
#define VARIANT(name, attribute)                                                                   \
	attribute static void block_##name(const struct blend *t, const struct blend *e,           \
					   const struct saturation *s, size_t first, float *temp,  \
					   float *vapour)                                          \
	{                                                                                          \
		block_lanes(t, e, s, first, temp, vapour);                                         \
	}                                                                                          \
	attribute static void sum_##name(const float *factor, const float *normal, size_t stride,  \
					 size_t n, float *out)                                     \
	{                                                                                          \
		sum_lanes(factor, normal, stride, n, out);                                         \
	}
#if defined(__x86_64__)
VARIANT(avx512, __attribute__((target("avx512f,avx512dq,avx512vl,avx512bw,avx2,fma"))))
VARIANT(avx2, __attribute__((target("avx2,fma"))))
#endif
VARIANT(plain, )

struct variant {
	void (*block)(const struct blend *t, const struct blend *e, const struct saturation *s,
		      size_t first, float *temp, float *vapour);
	void (*sum)(const float *factor, const float *normal, size_t stride, size_t n, float *out);
};

static struct variant best_variant(void)
{
#if defined(__x86_64__)
	bool avx2 = __builtin_cpu_supports("avx2") && __builtin_cpu_supports("fma");
	if (avx2 && __builtin_cpu_supports("avx512f") && __builtin_cpu_supports("avx512dq") &&
	    __builtin_cpu_supports("avx512vl") && __builtin_cpu_supports("avx512bw"))
		return (struct variant){block_avx512, sum_avx512};
	if (avx2)
		return (struct variant){block_avx2, sum_avx2};
#endif
	return (struct variant){block_plain, sum_plain};
}

static enum wt_status draw_errors(struct draw *d, uint64_t seed, size_t n_wanted)
{
	size_t stride = d->n_paths;
	float *normal = calloc(ROOM_DIMS * stride, sizeof *normal);
	d->error = calloc(ROOM_DIMS * stride, sizeof *d->error);
	enum wt_status status = WT_ERR_NOMEM;
	if (!normal || !d->error)
		goto out;
	status = draw_normal(seed, n_wanted, stride, normal);
	if (status != WT_OK)
		goto out;
	struct variant run = best_variant();
	for (size_t a = 0; a < ROOM_DIMS; a++) {
		const struct room_law *law = &d->fit->law[a % 2][a / 2];
		float *row = d->error + a * stride;
		for (size_t first = 0; first < stride; first += BLOCK)
			run.sum(d->fit->root[a], normal + first, stride, a + 1, row + first);
		for (size_t i = 0; i < stride; i++)
			row[i] = quantile_at(law->quantile, row[i]);
	}
out:
	free(normal);
	return status;
}

/* Correlation of a variable's errors at knots k - 1 and k. */
static double knot_correlation(const struct wt_room_fit *fit, size_t v, size_t k)
{
	const float *a = fit->root[2 * (k - 1) + v];
	const float *b = fit->root[2 * k + v];
	double sum = 0.0;
	for (size_t j = 0; j < ROOM_DIMS; j++)
		sum += (double)a[j] * (double)b[j];
	return fmin(fmax(sum, 0.0), 1.0);
}

/* Lead in slots lies between knot k - 1 and knot k; k 0 means before the first. */
static size_t knot_after(double lead)
{
	size_t k = 0;
	while (k < ROOM_KNOTS - 1 && (double)wt_room_knot_slots[k] < lead)
		k++;
	return k;
}

static double shape_at(const struct draw *d, int64_t lead_slots)
{
	return wt_room_shape_start(
		room_slot_of_day(d->past.grid.last + lead_slots, d->fit->utc_offset_s));
}

/* What is not known of the day of a room seen for hours only, as the scale of an error: how high
 * its day is, and what else its past would have told. */
static double strangeness(const struct draw *d, size_t v, int64_t lead_slots)
{
	const struct wt_room_fit *fit = d->fit;
	double lead_h = fmax((double)lead_slots, 0.0) / ROOM_SLOTS_HOUR;
	double reach_h = STRANGE_HOURS * (1.0 - exp(-lead_h / STRANGE_HOURS));
	double wave = shape_at(d, lead_slots) - shape_at(d, 0);
	double other = (v == 0 ? STRANGE_T : STRANGE_E) * reach_h * fit->unrest_ref[v];
	double swing = fit->swing_sd[v] * wave;
	return sqrt(other * other + swing * swing) * exp(-fit->days / STRANGE_DAYS);
}

static double step_scale(const struct draw *d, size_t v, size_t k, double part, int64_t lead_slots,
			 const double z[ROOM_SCALE_FEATURES])
{
	const struct room_law *right = &d->fit->law[v][k];
	const struct room_law *left = k > 0 ? &d->fit->law[v][k - 1] : right;
	double log_left = k > 0 ? d->log_scale[v][k - 1] : d->log_scale[v][k];
	double sum = 0.0;
	for (size_t j = 0; j < ROOM_SCALE_FEATURES; j++)
		sum += z[j] * ((1.0 - part) * left->gamma[j] + part * right->gamma[j]);
	sum = fmin(fmax(sum, -SCALE_LIMIT), SCALE_LIMIT);
	double widen = WIDEN + WIDEN_SHORT * exp(-d->fit->days / WIDEN_DAYS);
	double learned = widen * d->fit->sd[v] *
			 exp(sum + (1.0 - part) * log_left + part * d->log_scale[v][k]);
	double strange = strangeness(d, v, lead_slots);
	return sqrt(learned * learned + strange * strange);
}

static struct blend blend_at(const struct draw *d, size_t v, int64_t lead_slots,
			     const double hour[ROOM_HOUR_FEATURES])
{
	double lead = (double)(lead_slots > 0 ? lead_slots : 0);
	size_t k = knot_after(lead);
	double to = (double)wt_room_knot_slots[k];
	double from = k > 0 ? (double)wt_room_knot_slots[k - 1] : 0.0;
	double part = fmin((lead - from) / (to - from), 1.0);
	double z[ROOM_SCALE_FEATURES];
	memcpy(z, d->steady[v], sizeof z);
	memcpy(z, hour, ROOM_HOUR_FEATURES * sizeof z[0]);
	size_t usual = d->at + (lead > 0.0 ? 1 + ((size_t)lead - 1) % ROOM_SLOTS_DAY : 0);
	double scale = step_scale(d, v, k, part, lead_slots, z);
	double left = 0.0;
	double right = k > 0 ? part : sqrt(part);
	if (k > 0) {
		/* A line between two errors is narrower than either; make up for it. */
		double rho = knot_correlation(d->fit, v, k);
		left = 1.0 - part;
		double spread = sqrt(left * left + part * part + 2.0 * rho * left * part);
		left /= spread;
		right /= spread;
	}
	return (struct blend){
		.mean = (float)((double)d->past.usual[v][usual] + (1.0 - part) * d->bend[v][k] +
				part * d->bend[v][k + 1]),
		.left = (float)(scale * left),
		.right = (float)(scale * right),
		.left_error = d->error + (2 * (k > 0 ? k - 1 : 0) + v) * d->n_paths,
		.right_error = d->error + (2 * k + v) * d->n_paths,
	};
}

static void draw_step(const struct draw *d, int64_t lead, size_t n_paths, float *temp_c,
		      float *vapour_pa)
{
	double hour[ROOM_HOUR_FEATURES];
	wt_room_hour_features(room_slot_of_day(d->past.grid.last + lead, d->fit->utc_offset_s),
			      hour);
	struct blend t = blend_at(d, 0, lead, hour);
	struct blend e = blend_at(d, 1, lead, hour);
	struct saturation s = saturation_near(t.mean);
	struct variant run = best_variant();
	float temp[BLOCK];
	float vapour[BLOCK];
	for (size_t first = 0; first < n_paths; first += BLOCK) {
		size_t count = n_paths - first;
		if (count >= BLOCK) {
			run.block(&t, &e, &s, first, temp_c + first, vapour_pa + first);
			continue;
		}
		run.block(&t, &e, &s, first, temp, vapour);
		memcpy(temp_c + first, temp, count * sizeof temp[0]);
		memcpy(vapour_pa + first, vapour, count * sizeof vapour[0]);
	}
}

static enum wt_status draw_open(const struct wt_room_series *series, const struct wt_room_fit *fit,
				int64_t now_unix_s, struct draw *d)
{
	int64_t last;
	int64_t first = room_floor_slot(now_unix_s);
	if (!wt_room_newest_slot(series, now_unix_s, &last) || first - last > NO_DATA_SLOTS)
		return WT_ERR_NODATA;
	if (last <= fit->seed_last || last - fit->seed_last > ROOM_CAP)
		return WT_ERR_ARG;
	struct room_usual usual = fit->seed;
	d->fit = fit;
	d->behind = first - last;
	enum wt_status status =
		wt_room_past_new(series, fit, fit->seed_last + 1, last, &usual, 0, NULL, &d->past);
	d->at = status == WT_OK ? d->past.grid.n - 1 : 0;
	return status;
}

enum wt_status wt_room_draw(const struct wt_room_series *series, const struct wt_room_fit *fit,
			    int64_t now_unix_s, uint64_t seed, size_t n_paths, size_t n_steps,
			    float *temp_c, float *vapour_pa)
{
	struct draw d = {.n_paths = (n_paths + BLOCK - 1) / BLOCK * BLOCK};
	if (!series || !fit || !temp_c || !vapour_pa || n_paths == 0 || n_steps == 0)
		return WT_ERR_ARG;
	if (n_paths > PATHS_MAX || n_steps > STEPS_MAX)
		return WT_ERR_RANGE;
	enum wt_status status = draw_open(series, fit, now_unix_s, &d);
	if (status != WT_OK)
		return status;
	status = draw_look_ahead(series, now_unix_s, &d);
	if (status == WT_OK)
		status = draw_errors(&d, seed, n_paths);
	for (size_t step = 0; status == WT_OK && step < n_steps; step++)
		draw_step(&d, d.behind + (int64_t)step, n_paths, temp_c + step * n_paths,
			  vapour_pa + step * n_paths);
	free(d.error);
	wt_room_past_free(&d.past);
	return status;
}
