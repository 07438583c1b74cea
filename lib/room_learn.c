/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * The laws of a room, lead by lead: regression, spread, quantiles, correlation.
 */
#include "lib/room_ahead.h"

#include <stdlib.h>
#include <string.h>

const uint16_t wt_room_knot_slots[ROOM_KNOTS] = {3,   6,   12,  24,  36,  54,  72, 108,
						 144, 180, 216, 288, 360, 432, 576};

/* All our choice, by trial.  The table was fitted without the room under trial, but these few
 * numbers were chosen on all of them together; the scores change little around them. */
#define PRIOR_STRENGTH 2.0 /* times sqrt(lead in hours) */
#define AGE_HALF_DAYS 60.0
#define HUBER 1.25 /* in mean absolute errors */
#define ROWS_MAX (WT_ROOM_KEEP_DAYS * 24)
#define NEAR_SLOTS ROOM_SLOTS_HOUR /* a reading this near makes an instant usable */
#define SCALE_STRENGTH 20.0        /* times sqrt(lead in hours) */
#define SCALE_LIMIT 1.5
#define SCALE_FLOOR 0.1
#define SCALE_PRIOR_DAYS 1.5
#define QUANTILE_PRIOR_DAYS 20.0
#define CORRELATION_PRIOR_DAYS 6.0
#define CLIP_Z 2.5
/* The outlook is tried on the last days, and needs some to learn from before them. */
#define TRIAL_DAYS 5.0
#define TRIAL_SHARE 0.4
#define TRIAL_HALF_DAYS 1.5
#define TRIAL_LEAST_ROWS 12
#define LEARN_LEAST_ROWS 36
#define CARRY 0.7 /* of what the station alone taught about the room */
#define BINS 256
#define BIN_MAX 16.0

/* One lead of one variable. */
struct rows {
	size_t n;
	size_t p;
	uint32_t *origin; /* index in the past */
	double *x;        /* n x p */
	double *target;
	double *weight;
	double *error;
	double *error_out; /* of the mixture with the outlook; NAN where there was none */
	/* With outlook. */
	size_t n_out;
	uint32_t *row_out; /* number of the row */
	double *x_out;     /* n_out x ROOM_ALL_FEATURES */
	double *target_out;
	double *weight_out;
};

/* Outlooks as seen from each hour of the past; NULL when there are none. */
struct told {
	struct room_outdoors outdoors;
	struct room_ahead *ahead; /* by hours back from the newest instant */
	size_t n;
};

/* Lower factor in place; false when not positive definite. */
static bool factor(double *a, size_t p)
{
	for (size_t j = 0; j < p; j++) {
		for (size_t i = j; i < p; i++) {
			double sum = a[i * p + j];
			for (size_t k = 0; k < j; k++)
				sum -= a[i * p + k] * a[j * p + k];
			if (i > j) {
				a[i * p + j] = sum / a[j * p + j];
				continue;
			}
			if (!(sum > 0.0))
				return false;
			a[j * p + j] = sqrt(sum);
		}
	}
	return true;
}

/* Symmetric positive definite solve in place, a is p x p row-major, lower part used; a becomes its
 * lower factor. */
static bool solve(double *a, double *b, size_t p)
{
	if (!factor(a, p))
		return false;
	for (size_t i = 0; i < p; i++) {
		for (size_t k = 0; k < i; k++)
			b[i] -= a[i * p + k] * b[k];
		b[i] /= a[i * p + i];
	}
	for (size_t i = p; i-- > 0;) {
		for (size_t k = i + 1; k < p; k++)
			b[i] -= a[k * p + i] * b[k];
		b[i] /= a[i * p + i];
	}
	return true;
}

static void rows_free(struct rows *rows)
{
	free(rows->origin);
	free(rows->x);
	free(rows->target);
	free(rows->weight);
	free(rows->error);
	free(rows->error_out);
	free(rows->row_out);
	free(rows->x_out);
	free(rows->target_out);
	free(rows->weight_out);
}

static bool rows_alloc(struct rows *rows)
{
	rows->origin = calloc(ROWS_MAX, sizeof *rows->origin);
	rows->x = calloc((size_t)ROWS_MAX * ROOM_ALL_FEATURES, sizeof *rows->x);
	rows->target = calloc(ROWS_MAX, sizeof *rows->target);
	rows->weight = calloc(ROWS_MAX, sizeof *rows->weight);
	rows->error = calloc(ROWS_MAX, sizeof *rows->error);
	rows->error_out = calloc(ROWS_MAX, sizeof *rows->error_out);
	rows->row_out = calloc(ROWS_MAX, sizeof *rows->row_out);
	rows->x_out = calloc((size_t)ROWS_MAX * ROOM_ALL_FEATURES, sizeof *rows->x_out);
	rows->target_out = calloc(ROWS_MAX, sizeof *rows->target_out);
	rows->weight_out = calloc(ROWS_MAX, sizeof *rows->weight_out);
	return rows->origin && rows->x && rows->target && rows->weight && rows->error &&
	       rows->error_out && rows->row_out && rows->x_out && rows->target_out &&
	       rows->weight_out;
}

static bool is_near(const struct room_grid *grid, size_t i)
{
	return grid->age[i] <= NEAR_SLOTS && grid->wait[i] <= NEAR_SLOTS;
}

/* Origins one hour apart, two for long leads, whose targets are known. */
static void rows_collect(const struct room_past *past, const struct wt_room_fit *fit, size_t v,
			 size_t lead, struct rows *rows)
{
	const struct room_grid *grid = &past->grid;
	size_t stride = lead > 8 * ROOM_SLOTS_HOUR ? 2 * ROOM_SLOTS_HOUR : ROOM_SLOTS_HOUR;
	rows->n = 0;
	rows->p = ROOM_FEATURES;
	for (size_t back = lead; back < grid->n && rows->n < ROWS_MAX; back += 1) {
		size_t i = grid->n - 1 - back;
		if (i % stride != (grid->n - 1) % stride)
			continue;
		/* Short leads want truth, not lines between readings. */
		bool exact =
			lead >= ROOM_SLOTS_HOUR || (grid->age[i] <= 1 && grid->age[i + lead] <= 1);
		if (!is_near(grid, i) || !is_near(grid, i + lead) || !exact)
			continue;
		size_t r = rows->n++;
		rows->origin[r] = (uint32_t)i;
		wt_room_features(past, fit, v, i, lead, rows->x + r * ROOM_FEATURES);
		double usual = (double)past->usual[v][room_usual_index(i, lead)];
		rows->target[r] = ((double)past->value[v][i + lead] - usual) / fit->sd[v];
		rows->weight[r] = exp2(-(double)back / ROOM_SLOTS_DAY / AGE_HALF_DAYS);
	}
}

static double predict(const double *x, const double *beta, size_t p)
{
	double sum = 0.0;
	for (size_t j = 0; j < p; j++)
		sum += x[j] * beta[j];
	return sum;
}

/* Ridge towards prior, Huber weights; `strength` in rows.  Leaves beta as it was when singular. */
static void regress(const double *x, const double *y, const double *weight, size_t n, size_t p,
		    const float *prior, double strength, double *beta,
		    float known[ROOM_FEATURES][ROOM_FEATURES])
{
	double a[ROOM_ALL_FEATURES * ROOM_ALL_FEATURES];
	double b[ROOM_ALL_FEATURES];
	double all = 0.0;
	double scale = 0.0;
	for (size_t r = 0; r < n; r++) {
		scale += weight[r] * fabs(y[r] - predict(x + r * p, beta, p));
		all += weight[r];
	}
	if (!(all > 0.0))
		return;
	scale = scale / all + 1e-6;
	memset(a, 0, sizeof a);
	memset(b, 0, sizeof b);
	double square = 0.0;
	for (size_t r = 0; r < n; r++) {
		const double *row = x + r * p;
		double error = fabs(y[r] - predict(row, beta, p));
		double w = weight[r] * (error > HUBER * scale ? HUBER * scale / error : 1.0);
		square += w * error * error;
		for (size_t j = 0; j < p; j++) {
			double wx = w * row[j];
			b[j] += wx * y[r];
			for (size_t k = 0; k <= j; k++)
				a[j * p + k] += wx * row[k];
		}
	}
	square = square / all + 1e-9;
	for (size_t j = 0; j < p; j++) {
		double hold = strength * square / (double)wt_room_prior.variance[j];
		a[j * p + j] += hold;
		b[j] += hold * (double)prior[j];
	}
	if (!solve(a, b, p))
		return;
	memcpy(beta, b, p * sizeof *beta);
	for (size_t j = 0; known && j < p; j++)
		for (size_t k = 0; k <= j; k++)
			known[j][k] = (float)a[j * p + k];
}

double wt_room_law_doubt(const struct room_law *law, const double x[ROOM_FEATURES])
{
	double y[ROOM_FEATURES];
	double sum = 0.0;
	for (size_t j = 0; j < ROOM_FEATURES; j++) {
		y[j] = x[j];
		for (size_t k = 0; k < j; k++)
			y[j] -= (double)law->known[j][k] * y[k];
		y[j] /= (double)law->known[j][j];
		sum += y[j] * y[j];
	}
	return sum;
}

static double lead_hours(size_t knot)
{
	return (double)wt_room_knot_slots[knot] / ROOM_SLOTS_HOUR;
}

static void law_regress(struct rows *rows, size_t v, size_t knot, struct room_law *law)
{
	const float *prior = wt_room_prior.beta[v][knot];
	double strength = PRIOR_STRENGTH * sqrt(lead_hours(knot));
	for (size_t j = 0; j < ROOM_FEATURES; j++) {
		law->beta[j] = (double)prior[j];
		law->known[j][j] = INFINITY; /* nothing learned: what is unsure stands elsewhere */
	}
	for (int pass = 0; pass < 2 && rows->n > 0; pass++)
		regress(rows->x, rows->target, rows->weight, rows->n, ROOM_FEATURES, prior,
			strength, law->beta, law->known);
	for (size_t r = 0; r < rows->n; r++)
		rows->error[r] = rows->target[r] -
				 predict(rows->x + r * ROOM_FEATURES, law->beta, ROOM_FEATURES);
}

static void told_free(struct told *told)
{
	wt_room_outdoors_free(&told->outdoors);
	free(told->ahead);
	*told = (struct told){0};
}

static enum wt_status told_new(const struct wt_room_series *series, const struct room_past *past,
			       struct told *out)
{
	struct told told = {.n = past->grid.n / ROOM_SLOTS_HOUR};
	int64_t last_unix_s = past->grid.last * WT_GRID_S;
	enum wt_status status = wt_room_outdoors_new(series, last_unix_s, &told.outdoors);
	if (status == WT_ERR_NODATA) {
		*out = (struct told){0};
		return WT_OK;
	}
	if (status != WT_OK)
		return status;
	told.ahead = calloc(told.n + 1, sizeof *told.ahead);
	if (!told.ahead) {
		told_free(&told);
		return WT_ERR_NOMEM;
	}
	for (size_t k = 0; k < told.n; k++) {
		int64_t at_unix_s = last_unix_s - (int64_t)k * 3600;
		wt_room_ahead_from(&told.outdoors, at_unix_s, at_unix_s, &told.ahead[k]);
	}
	*out = told;
	return WT_OK;
}

/* The rows for which there was an outlook, with its features. */
static void rows_collect_out(const struct room_past *past, const struct told *told, size_t v,
			     size_t lead, struct rows *rows)
{
	rows->n_out = 0;
	for (size_t r = 0; r < rows->n && told->n > 0; r++) {
		size_t back = (past->grid.n - 1 - rows->origin[r]) / ROOM_SLOTS_HOUR;
		double *x = rows->x_out + rows->n_out * ROOM_ALL_FEATURES;
		if (back >= told->n ||
		    !wt_room_ahead_features(&told->ahead[back], v, lead, x + ROOM_FEATURES))
			continue;
		memcpy(x, rows->x + r * ROOM_FEATURES, ROOM_FEATURES * sizeof *x);
		rows->row_out[rows->n_out] = (uint32_t)r;
		rows->target_out[rows->n_out] = rows->target[r];
		rows->weight_out[rows->n_out] = rows->weight[r];
		rows->n_out++;
	}
}

static void prior_out(size_t v, size_t knot, const struct room_law *law,
		      float prior[ROOM_ALL_FEATURES])
{
	memcpy(prior, wt_room_prior.beta_out[v][knot], ROOM_ALL_FEATURES * sizeof *prior);
	for (size_t j = 0; j < ROOM_FEATURES; j++)
		prior[j] +=
			(float)(CARRY * (law->beta[j] - (double)wt_room_prior.beta[v][knot][j]));
}

/* How much of the law with outlook would have been best on the last days, both laws learned from
 * the days before.  Rows are in order from the newest. */
static double trial(const struct rows *rows, size_t v, size_t knot, const struct room_law *law,
		    uint32_t newest)
{
	double lead = (double)wt_room_knot_slots[knot];
	double oldest = (double)(newest - rows->origin[rows->row_out[rows->n_out - 1]]);
	double span = fmin(TRIAL_DAYS * ROOM_SLOTS_DAY, TRIAL_SHARE * (oldest - lead));
	size_t n_trial = 0;
	size_t from = 0; /* the first row to learn from */
	for (size_t q = 0; q < rows->n_out; q++) {
		double back = (double)(newest - rows->origin[rows->row_out[q]]);
		n_trial += back < span + lead;
		from += back < span + 2.0 * lead;
	}
	if (n_trial < TRIAL_LEAST_ROWS || rows->n_out < from + LEARN_LEAST_ROWS)
		return 0.0;
	float prior[ROOM_ALL_FEATURES];
	double beta[ROOM_ALL_FEATURES];
	double alone[ROOM_ALL_FEATURES] = {0};
	double strength = PRIOR_STRENGTH * sqrt(lead_hours(knot));
	prior_out(v, knot, law, prior);
	for (size_t j = 0; j < ROOM_ALL_FEATURES; j++)
		beta[j] = (double)prior[j];
	memcpy(alone, law->beta, sizeof law->beta);
	regress(rows->x_out + from * ROOM_ALL_FEATURES, rows->target_out + from,
		rows->weight_out + from, rows->n_out - from, ROOM_ALL_FEATURES, prior, strength,
		beta, NULL);
	double gain = 0.0;
	double square = 0.0;
	for (size_t q = 0; q < n_trial; q++) {
		const double *x = rows->x_out + q * ROOM_ALL_FEATURES;
		double back = (double)(newest - rows->origin[rows->row_out[q]]) - lead;
		double weight = exp2(-back / ROOM_SLOTS_DAY / TRIAL_HALF_DAYS);
		double error = rows->target_out[q] - predict(x, alone, ROOM_ALL_FEATURES);
		double moved =
			predict(x, beta, ROOM_ALL_FEATURES) - predict(x, alone, ROOM_ALL_FEATURES);
		gain += weight * error * moved;
		square += weight * moved * moved;
	}
	return square > 0.0 ? fmin(fmax(gain / square, 0.0), 1.0) : 0.0;
}

static void law_regress_out(struct rows *rows, size_t v, size_t knot, uint32_t newest,
			    struct room_law *law)
{
	float prior[ROOM_ALL_FEATURES];
	double strength = PRIOR_STRENGTH * sqrt(lead_hours(knot));
	law->trust = 0.0;
	for (size_t r = 0; r < rows->n; r++)
		rows->error_out[r] = NAN;
	if (rows->n_out > 0)
		law->trust = trial(rows, v, knot, law, newest);
	if (law->trust <= 0.0)
		return;
	prior_out(v, knot, law, prior);
	for (size_t j = 0; j < ROOM_ALL_FEATURES; j++)
		law->beta_out[j] = (double)prior[j];
	for (int pass = 0; pass < 2; pass++)
		regress(rows->x_out, rows->target_out, rows->weight_out, rows->n_out,
			ROOM_ALL_FEATURES, prior, strength, law->beta_out, NULL);
	for (size_t q = 0; q < rows->n_out; q++) {
		size_t r = rows->row_out[q];
		double told = rows->target_out[q] - predict(rows->x_out + q * ROOM_ALL_FEATURES,
							    law->beta_out, ROOM_ALL_FEATURES);
		rows->error_out[r] = law->trust * told + (1.0 - law->trust) * rows->error[r];
	}
}

/* How many independent days the rows of a lead stand for. */
static double rows_days(const struct rows *rows, size_t knot)
{
	double stride_h = lead_hours(knot) > 8.0 ? 2.0 : 1.0;
	return (double)rows->n * stride_h / fmax(24.0, lead_hours(knot));
}

static double mean_log_scale(const double *error, const double *weight, size_t n)
{
	double mean = 0.0;
	double all = 0.0;
	double sum = 0.0;
	for (size_t r = 0; r < n; r++) {
		if (isnan(error[r]))
			continue;
		mean += weight[r] * fabs(error[r]);
		all += weight[r];
	}
	if (!(all > 0.0))
		return NAN;
	mean = mean / all + 1e-9;
	for (size_t r = 0; r < n; r++)
		if (!isnan(error[r]))
			sum += weight[r] * log(fabs(error[r]) + SCALE_FLOOR * mean);
	return sum / all;
}

static void scale_row(const struct room_past *past, const struct wt_room_fit *fit, size_t v,
		      size_t i, size_t lead, double z[ROOM_SCALE_FEATURES])
{
	int64_t number = past->grid.last - (int64_t)(past->grid.n - 1 - i) + (int64_t)lead;
	wt_room_scale_features(past, fit, v, i, room_slot_of_day(number, fit->utc_offset_s), z);
}

static void law_scale(const struct room_past *past, const struct wt_room_fit *fit, size_t v,
		      size_t knot, const struct rows *rows, struct room_law *law)
{
	double a[ROOM_SCALE_FEATURES * ROOM_SCALE_FEATURES] = {0};
	double b[ROOM_SCALE_FEATURES] = {0};
	const size_t p = ROOM_SCALE_FEATURES;
	double own = mean_log_scale(rows->error, rows->weight, rows->n);
	double floor = SCALE_FLOOR * exp(own);
	for (size_t r = 0; r < rows->n; r++) {
		double z[ROOM_SCALE_FEATURES];
		double g = log(fabs(rows->error[r]) + floor) - own;
		scale_row(past, fit, v, rows->origin[r], wt_room_knot_slots[knot], z);
		for (size_t j = 0; j < p; j++) {
			b[j] += rows->weight[r] * z[j] * g;
			for (size_t k = 0; k <= j; k++)
				a[j * p + k] += rows->weight[r] * z[j] * z[k];
		}
	}
	for (size_t j = 0; j < p; j++) {
		double hold = SCALE_STRENGTH * sqrt(lead_hours(knot));
		a[j * p + j] += hold;
		b[j] += hold * law->gamma[j];
	}
	if (solve(a, b, p))
		memcpy(law->gamma, b, sizeof law->gamma);
}

static double scale_of(const struct room_law *law, const double z[ROOM_SCALE_FEATURES])
{
	double sum = predict(z, law->gamma, ROOM_SCALE_FEATURES);
	return exp(fmin(fmax(sum, -SCALE_LIMIT), SCALE_LIMIT));
}

/* Errors become scaled errors; the level of the scale is shrunk towards the table. */
static void law_standardise(const struct room_past *past, const struct wt_room_fit *fit, size_t v,
			    size_t knot, struct rows *rows, struct room_law *law)
{
	double days = rows_days(rows, knot);
	double prior = (double)wt_room_prior.log_scale[v][knot];
	law->log_scale = prior;
	law->log_scale_out = prior;
	for (size_t j = 0; j < ROOM_SCALE_FEATURES; j++)
		law->gamma[j] = (double)wt_room_prior.gamma[v][knot][j];
	if (rows->n == 0)
		return;
	law_scale(past, fit, v, knot, rows, law);
	for (size_t r = 0; r < rows->n; r++) {
		double z[ROOM_SCALE_FEATURES];
		scale_row(past, fit, v, rows->origin[r], wt_room_knot_slots[knot], z);
		double scale = scale_of(law, z);
		rows->error[r] /= scale;
		rows->error_out[r] /= scale;
	}
	double share = days / (days + SCALE_PRIOR_DAYS);
	double own = mean_log_scale(rows->error, rows->weight, rows->n);
	double own_out = mean_log_scale(rows->error_out, rows->weight, rows->n);
	law->log_scale = share * own + (1.0 - share) * prior;
	law->log_scale_out = law->log_scale;
	if (law->trust > 0.0 && !isnan(own_out))
		law->log_scale_out = law->log_scale + share * (own_out - own);
	for (size_t r = 0; r < rows->n; r++) {
		bool told = law->trust > 0.0 && !isnan(rows->error_out[r]);
		rows->error[r] =
			told ? rows->error_out[r] / exp(own_out) : rows->error[r] / exp(own);
	}
}

/* Share of the standard normal below z. */
static double normal_below(double z)
{
	return 0.5 * erfc(-z * M_SQRT1_2);
}

static double bin_of(double u)
{
	return (fmin(fmax(u / BIN_MAX, -1.0), 1.0) + 1.0) * 0.5 * BINS;
}

/* Quantiles of scaled errors at the table's z, by counting, mixed with the prior's. */
static void law_quantile(size_t v, size_t knot, const struct rows *rows, struct room_law *law)
{
	size_t span = knot < 4 ? 0 : knot < 8 ? 1 : 2;
	const float *prior = wt_room_prior.quantile[v][span];
	double count[BINS + 1] = {0};
	double all = 0.0;
	for (size_t r = 0; r < rows->n; r++) {
		size_t bin = (size_t)fmin(bin_of(rows->error[r]), BINS - 1);
		count[bin + 1] += rows->weight[r];
		all += rows->weight[r];
	}
	double days = rows_days(rows, knot);
	double share = rows->n ? days / (days + QUANTILE_PRIOR_DAYS) : 0.0;
	double below = 0.0;
	size_t bin = 0;
	for (size_t q = 0; q < ROOM_Z; q++) {
		double wanted = normal_below(ROOM_Z_MIN + ROOM_Z_STEP * (double)q) * all;
		while (bin < BINS - 1 && below + count[bin + 1] < wanted)
			below += count[++bin];
		double part = count[bin + 1] > 0.0 ? (wanted - below) / count[bin + 1] : 0.5;
		double own =
			(((double)bin + fmin(fmax(part, 0.0), 1.0)) / BINS * 2.0 - 1.0) * BIN_MAX;
		law->quantile[q] = (float)((1.0 - share) * (double)prior[q] + share * own);
	}
}

/* Correlation of errors between leads and variables where all is known. */
struct pairs {
	size_t n; /* of origins by slot of the past */
	float *z; /* [origin][dim], NAN unknown */
};

static void pairs_put(struct pairs *pairs, const struct rows *rows, size_t dim)
{
	double square = 0.0;
	for (size_t r = 0; r < rows->n; r++)
		square += fmin(rows->error[r] * rows->error[r], 36.0);
	double scale = sqrt(square / (double)(rows->n + 1)) + 1e-9;
	for (size_t r = 0; r < rows->n; r++) {
		size_t at = rows->origin[r] / ROOM_SLOTS_HOUR;
		double z = fmin(fmax(rows->error[r] / scale, -CLIP_Z), CLIP_Z);
		pairs->z[at * ROOM_DIMS + dim] = (float)z;
	}
}

static double prior_correlation(size_t a, size_t b)
{
	size_t va = a % 2;
	size_t vb = b % 2;
	double ratio = fabs(log(lead_hours(a / 2) / lead_hours(b / 2)));
	double decay =
		0.5 * ((double)wt_room_prior.lead_decay[va] + (double)wt_room_prior.lead_decay[vb]);
	return exp(-decay * ratio) * (va == vb ? 1.0 : (double)wt_room_prior.cross);
}

static void fit_correlation(const struct pairs *pairs, struct wt_room_fit *fit)
{
	double c[ROOM_DIMS * ROOM_DIMS];
	for (size_t a = 0; a < ROOM_DIMS; a++) {
		for (size_t b = 0; b <= a; b++) {
			double ab = 0.0, aa = 1e-9, bb = 1e-9, n = 0.0;
			for (size_t i = 0; i < pairs->n; i++) {
				double za = (double)pairs->z[i * ROOM_DIMS + a];
				double zb = (double)pairs->z[i * ROOM_DIMS + b];
				if (isnan(za) || isnan(zb))
					continue;
				ab += za * zb;
				aa += za * za;
				bb += zb * zb;
				n += 1.0;
			}
			double days = n / 12.0; /* the long leads have a row in two hours */
			double share = days / (days + CORRELATION_PRIOR_DAYS);
			double own = ab / sqrt(aa * bb);
			c[a * ROOM_DIMS + b] =
				a == b ? 1.0 + 1e-6
				       : 0.995 * (share * own +
						  (1.0 - share) * prior_correlation(a, b));
		}
	}
	for (double ease = 1.0; !factor(c, ROOM_DIMS); ease *= 0.9) {
		/* Pairs counted over different hours need not fit together: lean on the prior. */
		for (size_t a = 0; a < ROOM_DIMS; a++)
			for (size_t b = 0; b <= a; b++)
				c[a * ROOM_DIMS + b] =
					a == b ? 1.0 + 1e-6 : ease * 0.99 * prior_correlation(a, b);
	}
	for (size_t a = 0; a < ROOM_DIMS; a++)
		for (size_t b = 0; b <= a; b++)
			fit->root[a][b] = (float)c[a * ROOM_DIMS + b];
}

enum wt_status wt_room_learn(const struct wt_room_series *series, const struct room_past *past,
			     struct wt_room_fit *fit)
{
	struct rows rows = {0};
	struct pairs pairs = {.n = past->grid.n / ROOM_SLOTS_HOUR + 1};
	struct told told = {0};
	enum wt_status status = WT_ERR_NOMEM;
	pairs.z = malloc(pairs.n * ROOM_DIMS * sizeof *pairs.z);
	if (!pairs.z || !rows_alloc(&rows))
		goto out;
	status = told_new(series, past, &told);
	if (status != WT_OK)
		goto out;
	for (size_t i = 0; i < pairs.n * ROOM_DIMS; i++)
		pairs.z[i] = NAN;
	for (size_t v = 0; v < 2; v++) {
		for (size_t k = 0; k < ROOM_KNOTS; k++) {
			struct room_law *law = &fit->law[v][k];
			rows_collect(past, fit, v, wt_room_knot_slots[k], &rows);
			law_regress(&rows, v, k, law);
			rows_collect_out(past, &told, v, wt_room_knot_slots[k], &rows);
			law_regress_out(&rows, v, k, (uint32_t)(past->grid.n - 1), law);
			law_standardise(past, fit, v, k, &rows, law);
			law_quantile(v, k, &rows, law);
			pairs_put(&pairs, &rows, 2 * k + v);
		}
	}
	fit_correlation(&pairs, fit);
out:
	told_free(&told);
	free(pairs.z);
	rows_free(&rows);
	return status;
}
