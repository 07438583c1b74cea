/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * How a weighing, a sample tray, a load cell and a hand read a load, and how far each is believed.
 */
#include <gsl/gsl_cdf.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "lib/learn_internal.h"

/* Errors of reading.  Our choice, except where said. */
static const double scale_sd_pct = 1.0;   /* kitchen and market scales: common practice */
static const double scale_step_kg = 0.01; /* adds to it */
static const double sample_sd_pct = 0.5;  /* small scale, small tray */
static const double cell_least_sd_pct = 0.05;
/* What the model itself gets wrong besides the slow drift of pace: a floor, and a share of what
 * was lost (stems, layers, a bed that dries unevenly).  From replays of seasons made by a model of
 * another build. */
static const double model_floor_pct = 0.15, model_share = 0.03;
/* That error lasts for hours: readings nearer than this share theirs, and do not average it away.
 */
static const int64_t model_lasts_s = 3600;
/* Chance that a reading is no reading of this load at all (wrong tray, tare, slip of a digit), and
 * how wide such a one falls, in %.  Set so that one
 * reading of every load 8 % off moves the coverage of the 80 % bands by less than 5 points: our
 * choice. */
static const double unsound_chance = 0.08, unsound_sd_pct = 12.0;
static const double slip_chance = 0.05; /* the same for the hand */

enum { MOST_OF_KIND = 24, BLOCK_S = 1800 };

static int compare_doubles(const void *a, const void *b)
{
	const double x = *(const double *)a, y = *(const double *)b;
	return (x > y) - (x < y);
}

/* Spread of single readings of an even series, from its second differences, which a straight line
 * does not touch; robust.  values are overwritten. */
static double noise_of_series(double *values, size_t n)
{
	if (n < 5)
		return NAN;
	for (size_t i = 0; i + 2 < n; i++)
		values[i] = fabs(values[i] - 2.0 * values[i + 1] + values[i + 2]);
	qsort(values, n - 2, sizeof(*values), compare_doubles);
	return values[(n - 2) / 2] / (0.6745 * sqrt(6.0));
}

static double log_value(const struct wt_load_case *load, const struct wt_observation *o)
{
	return 100.0 * log(o->kind == WT_OBSERVED_WEIGHT ? o->value / load->fresh_kg : o->value);
}

static double reading_sd(const struct wt_observation *o)
{
	if (o->kind == WT_OBSERVED_WEIGHT)
		return hypot(scale_sd_pct, 100.0 * scale_step_kg / o->value);
	return sample_sd_pct;
}

static void single_view(const struct wt_load_case *load, const struct wt_feel_scale *feel,
			const struct wt_observation *o, size_t index, struct wt_learn_view *view)
{
	*view = (struct wt_learn_view){
		.kind = o->kind, .at_unix_s = o->at_unix_s, .first = index, .last = index};
	if (o->kind != WT_OBSERVED_FEEL) {
		view->value = log_value(load, o);
		view->sd = reading_sd(o);
		return;
	}
	/* The middle of the step, for the linear start only; outer steps reach one spread out. */
	view->feel = (int)o->value;
	const double *cut = feel->cut_loss_pct;
	const double low = view->feel == 0 ? cut[0] - 2.0 * feel->sd_loss_pct : cut[view->feel - 1];
	const double high = view->feel == WT_FEEL_COUNT - 1
				    ? cut[WT_FEEL_COUNT - 2] + 2.0 * feel->sd_loss_pct
				    : cut[view->feel];
	view->value = 0.5 * (low + high);
	view->sd = hypot(feel->sd_loss_pct, (high - low) / sqrt(12.0));
}

struct block {
	size_t n;
	size_t first, last;
	double at_sum;
	double values[512];
};

static void close_block(const struct block *block, const struct wt_load_case *load,
			const struct wt_observation *observations, double noise,
			struct wt_learn_view *view)
{
	double sorted[512];
	const struct wt_observation *first = &observations[block->first];
	memcpy(sorted, block->values, block->n * sizeof(*sorted));
	qsort(sorted, block->n, sizeof(*sorted), compare_doubles);
	single_view(load, NULL, first, block->first, view);
	view->last = block->last;
	view->at_unix_s = first->at_unix_s + llround(block->at_sum / (double)block->n);
	view->value = 0.5 * (sorted[block->n / 2] + sorted[(block->n - 1) / 2]);
	if (first->kind == WT_OBSERVED_CELL)
		view->sd = isfinite(noise) ? noise : 0.3;
	/* A median is a quarter less sharp than a mean. */
	view->sd = fmax(1.25 * view->sd / sqrt((double)block->n), cell_least_sd_pct);
}

/* Observations of one kind in blocks of even length. */
static size_t block_views(const struct wt_load_case *load, enum wt_observation_kind kind,
			  const struct wt_observation *observations, size_t n, double noise,
			  struct wt_learn_view *views)
{
	int64_t first_s = INT64_MAX, last_s = INT64_MIN;
	for (size_t i = 0; i < n; i++) {
		if (observations[i].kind != kind)
			continue;
		if (observations[i].at_unix_s < first_s)
			first_s = observations[i].at_unix_s;
		last_s = observations[i].at_unix_s;
	}
	int64_t length_s = (last_s - first_s) / (MOST_OF_KIND - 1) + 1;
	if (length_s < BLOCK_S)
		length_s = BLOCK_S;
	struct block block = {0};
	size_t n_views = 0;
	int64_t number = -1;
	for (size_t i = 0; i < n; i++) {
		if (observations[i].kind != kind)
			continue;
		/* Blocks end at the newest reading, so that the newest one is whole. */
		const int64_t mine = MOST_OF_KIND - (last_s - observations[i].at_unix_s) / length_s;
		if (block.n > 0 && mine != number) {
			close_block(&block, load, observations, noise, &views[n_views++]);
			block.n = 0;
		}
		number = mine;
		if (block.n == 0) {
			block.first = i;
			block.at_sum = 0.0;
		}
		if (block.n == 512)
			continue;
		block.at_sum +=
			(double)(observations[i].at_unix_s - observations[block.first].at_unix_s);
		block.values[block.n++] = log_value(load, &observations[i]);
		block.last = i;
	}
	if (block.n > 0)
		close_block(&block, load, observations, noise, &views[n_views++]);
	return n_views;
}

/* The newest readings tell the noise of a cell. */
static double cell_noise(const struct wt_load_case *load, const struct wt_observation *observations,
			 size_t n)
{
	double values[256];
	size_t count = 0;
	for (size_t i = n; i-- > 0 && count < 256;) {
		if (observations[i].kind == WT_OBSERVED_CELL)
			values[count++] = log_value(load, &observations[i]);
	}
	return noise_of_series(values, count);
}

static size_t feel_views(const struct wt_feel_scale *feel,
			 const struct wt_observation *observations, size_t n, size_t count,
			 struct wt_learn_view *views)
{
	/* Only the newest when there are too many: a hand that felt long ago says little. */
	size_t skip = count > MOST_OF_KIND ? count - MOST_OF_KIND : 0, n_views = 0;
	for (size_t i = 0; i < n; i++) {
		if (observations[i].kind != WT_OBSERVED_FEEL)
			continue;
		if (skip > 0) {
			skip--;
			continue;
		}
		single_view(NULL, feel, &observations[i], i, &views[n_views++]);
	}
	return n_views;
}

static int compare_views(const void *a, const void *b)
{
	const struct wt_learn_view *x = a, *y = b;
	if (x->at_unix_s != y->at_unix_s)
		return x->at_unix_s > y->at_unix_s ? 1 : -1;
	return (x->first > y->first) - (x->first < y->first);
}

/* What the model gets wrong, in the unit of the view, at the loss the view itself tells of. */
static double model_sd(const struct wt_learn_view *view)
{
	if (view->kind == WT_OBSERVED_FEEL)
		return hypot(model_floor_pct, model_share * view->value);
	const double left = fmin(fmax(exp(view->value / 100.0), 0.1), 1.0);
	/* A point of loss is more than a percent of the weight that is left. */
	return hypot(model_floor_pct, model_share * 100.0 * (1.0 - left)) / left;
}

/* Readings of the same kind that share the model's error with this one, itself included. */
static double crowd(const struct wt_learn_view *views, size_t n, const struct wt_learn_view *view)
{
	double count = 0.0;
	for (size_t k = 0; k < n; k++)
		count += views[k].kind == view->kind &&
			 llabs(views[k].at_unix_s - view->at_unix_s) < model_lasts_s;
	return count;
}

static void finish_view(const struct wt_learn_view *views, size_t n, struct wt_learn_view *view)
{
	view->sound_sd = hypot(view->sd, sqrt(crowd(views, n, view)) * model_sd(view));
	view->unsound_sd = hypot(unsound_sd_pct, view->sound_sd);
	view->sound_log = log((1.0 - unsound_chance) / view->sound_sd);
	view->unsound_log = log(unsound_chance / view->unsound_sd);
}

size_t wt_learn_make_views(const struct wt_load_case *load, const struct wt_feel_scale *feel,
			   const struct wt_observation *observations, size_t n,
			   struct wt_learn_view views[WT_LEARN_VIEWS])
{
	static const enum wt_observation_kind kinds[] = {WT_OBSERVED_WEIGHT, WT_OBSERVED_SAMPLE,
							 WT_OBSERVED_CELL, WT_OBSERVED_FEEL};
	size_t n_views = 0;
	for (size_t k = 0; k < 4; k++) {
		size_t count = 0;
		for (size_t i = 0; i < n; i++)
			count += observations[i].kind == kinds[k];
		if (kinds[k] == WT_OBSERVED_FEEL) {
			n_views += feel_views(feel, observations, n, count, &views[n_views]);
		} else if (count > 0 && (kinds[k] == WT_OBSERVED_CELL || count > MOST_OF_KIND)) {
			const double noise = kinds[k] == WT_OBSERVED_CELL
						     ? cell_noise(load, observations, n)
						     : NAN;
			n_views += block_views(load, kinds[k], observations, n, noise,
					       &views[n_views]);
		} else {
			for (size_t i = 0; count > 0 && i < n; i++) {
				if (observations[i].kind == kinds[k])
					single_view(load, feel, &observations[i], i,
						    &views[n_views++]);
			}
		}
	}
	qsort(views, n_views, sizeof(*views), compare_views);
	for (size_t k = 0; k < n_views; k++)
		finish_view(views, n_views, &views[k]);
	return n_views;
}

static double feel_log(const struct wt_learn_view *view, const struct wt_feel_scale *feel,
		       double loss_pct, double *trust)
{
	const double sd = hypot(feel->sd_loss_pct, model_sd(view));
	const double *cut = feel->cut_loss_pct;
	const double above = view->feel == WT_FEEL_COUNT - 1
				     ? 1.0
				     : gsl_cdf_ugaussian_P((cut[view->feel] - loss_pct) / sd);
	const double below =
		view->feel == 0 ? 0.0 : gsl_cdf_ugaussian_P((cut[view->feel - 1] - loss_pct) / sd);
	const double sound = (1.0 - slip_chance) * fmax(above - below, 0.0);
	const double slip = slip_chance / WT_FEEL_COUNT;
	*trust = sound / (sound + slip);
	return log(sound + slip);
}

double wt_learn_view_log(const struct wt_learn_view *view, const struct wt_feel_scale *feel,
			 double seen, double loss_pct, double *trust)
{
	if (view->kind == WT_OBSERVED_FEEL)
		return feel_log(view, feel, loss_pct, trust);
	const double away = view->value - seen, square = -0.5 * away * away;
	const double sound = view->sound_log + square / (view->sound_sd * view->sound_sd);
	const double unsound = view->unsound_log + square / (view->unsound_sd * view->unsound_sd);
	const double most = fmax(sound, unsound);
	const double rest = exp(-fabs(sound - unsound)), sum = 1.0 + rest;
	*trust = (sound > unsound ? 1.0 : rest) / sum;
	return most + log1p(rest);
}

double wt_learn_unsound_log(const struct wt_learn_view *view)
{
	const double chance = view->kind == WT_OBSERVED_FEEL ? slip_chance : unsound_chance;
	const double sd = view->kind == WT_OBSERVED_FEEL ? 20.0 : unsound_sd_pct;
	return log(chance / (1.0 - chance)) - log(sd) - 0.918938533204672742;
}
