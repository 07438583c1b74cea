/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * Posterior of one load: adaptive importance sampling on quasi-random members.
 *
 * The members are run over the measured air to the times of the observations.  A regression of
 * what is seen on the coordinates gives a linear normal model and from it a proposal: a mixture of
 * the posterior with all observations sound, those with one of them left out, and a little of the
 * prior.  Members drawn from it are weighed by exact likelihood times prior over proposal; the
 * regression is repeated around them until enough members carry weight.  They are then resampled
 * to equal weight and moved a little, keeping mean and spread, so that no member stands twice
 * (Liu and West 2001, from memory).
 */
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "lib/learn_internal.h"

enum { D = WT_LEARN_DIMS, MOST_ROUNDS = 20, ROUND = 512 };

/* Our choices, down to the nuisances.  Enough members by effective sample size, and the least that
 * is handed out. */
static const double enough = 350.0, least = 200.0;
/* With fewer than this the mean and spread of softened weights are used to propose. */
static const double few = 40.0;
static const double to_regress = 12.0 * D;
/* Proposals are this much wider than the linear posterior, and keep this share of the prior. */
static const double widening = 1.08, prior_share = 0.05;
/* Size of the move after resampling, as a share of the posterior's spread. */
static const double move_share = 0.25;

/* Spread of the nuisances.  Our choice: weight on arrival, % ; the cell's weight at spreading, %;
 * a single tray against its load, as a share of what it lost. */
static const double fresh_sd_pct = 0.7, cell_base_sd_pct = 0.15, cell_share_sd = 0.015,
		    sample_share_sd = 0.04;

struct task {
	const struct wt_load_case *load;
	const struct wt_drive *past;
	const struct wt_gauss *prior;
	const struct wt_feel_scale *feel;
	double root[WT_DIM_COUNT][WT_DIM_COUNT]; /* of the prior's covariance */
	struct wt_learn_view views[WT_LEARN_VIEWS];
	size_t n_views;
	int64_t at_unix_s[WT_LEARN_VIEWS];
	bool taken_before[WT_LEARN_VIEWS];
	struct wt_learn_sample sample;
	struct wt_members *tried;
	double *normals;
	struct wt_learn_mixture *mixtures; /* of the rounds */
	float *loss_pct, *weight_kg;
	double ess;
	int rounds;
};

static void task_clear(struct task *task)
{
	free(task->sample.z);
	free(task->sample.seen);
	free(task->sample.loss_pct);
	free(task->sample.weight);
	free(task->sample.scratch);
	free(task->sample.near);
	free(task->sample.near_z);
	free(task->sample.near_weight);
	free(task->sample.near_seen);
	free(task->sample.log_target);
	free(task->sample.log_proposal);
	free(task->normals);
	free(task->mixtures);
	free(task->loss_pct);
	free(task->weight_kg);
	wt_members_free(&task->tried);
}

static enum wt_status task_reserve(struct task *task)
{
	struct wt_learn_sample *s = &task->sample;
	const size_t all = (size_t)ROUND * MOST_ROUNDS;
	s->n = 0;
	s->stride = all;
	s->z = calloc(all * D, sizeof(double));
	s->seen = calloc(all * task->n_views, sizeof(double));
	s->loss_pct = calloc(all * task->n_views, sizeof(double));
	s->weight = calloc(all, sizeof(double));
	s->log_target = calloc(all, sizeof(double));
	s->log_proposal = calloc(all, sizeof(double));
	s->scratch = calloc(all, sizeof(double));
	s->near = calloc(all, sizeof(*s->near));
	s->near_z = calloc(all * D, sizeof(double));
	s->near_weight = calloc(all, sizeof(double));
	s->near_seen = calloc(all, sizeof(double));
	task->normals = calloc(ROUND * (D + 1), sizeof(double));
	task->mixtures = calloc(MOST_ROUNDS, sizeof(*task->mixtures));
	task->loss_pct = calloc(ROUND * task->n_views, sizeof(float));
	task->weight_kg = calloc(ROUND * task->n_views, sizeof(float));
	if (s->z == NULL || s->seen == NULL || s->loss_pct == NULL || s->weight == NULL ||
	    s->log_target == NULL || s->log_proposal == NULL || s->scratch == NULL ||
	    s->near == NULL || s->near_z == NULL || s->near_weight == NULL ||
	    s->near_seen == NULL || task->normals == NULL || task->mixtures == NULL ||
	    task->loss_pct == NULL || task->weight_kg == NULL)
		return WT_ERR_NOMEM;
	return wt_members_new(ROUND, &task->tried);
}

static enum wt_status check_observations(const struct wt_observation *observations, size_t n)
{
	for (size_t i = 0; i < n; i++) {
		const struct wt_observation *o = &observations[i];
		if (i > 0 && o->at_unix_s < observations[i - 1].at_unix_s)
			return WT_ERR_ARG;
		if (!isfinite(o->value) || (unsigned)o->kind > WT_OBSERVED_CELL)
			return WT_ERR_ARG;
		if (o->kind == WT_OBSERVED_FEEL ? !(o->value >= 0 && o->value < WT_FEEL_COUNT)
						: !(o->value > 0.0))
			return WT_ERR_RANGE;
	}
	return WT_OK;
}

/* Coordinates of one member back from whitened ones. */
static void to_theta(const struct task *task, const double *z, size_t stride,
		     struct wt_members *members, size_t i)
{
	for (size_t d = 0; d < WT_DIM_COUNT; d++) {
		double x = task->prior->mean[d];
		for (size_t k = 0; k <= d; k++)
			x += task->root[d][k] * z[k * stride];
		members->theta[d][i] = (float)x;
	}
}

/* What view k reads on member i of the round, whose coordinates start at z. */
static double seen_by(const struct task *task, size_t k, size_t i, const double *z)
{
	const size_t n = task->sample.stride;
	const double loss = task->loss_pct[k * ROUND + i];
	double share = task->weight_kg[k * ROUND + i] / task->load->fresh_kg, base = 0.0;
	switch (task->views[k].kind) {
	case WT_OBSERVED_FEEL:
		return loss;
	case WT_OBSERVED_WEIGHT:
		base = fresh_sd_pct * z[WT_LEARN_FRESH * n];
		break;
	case WT_OBSERVED_SAMPLE:
	case WT_OBSERVED_CELL:
		/* Leaf taken from the load is not taken from this tray. */
		if (task->taken_before[k])
			share = (1.0 - loss / 100.0) /
				(1.0 + exp((double)task->tried->theta[WT_DIM_SURFACE][i]));
		if (task->views[k].kind == WT_OBSERVED_CELL) {
			share = 1.0 -
				(1.0 - share) * exp(cell_share_sd * z[WT_LEARN_CELL_SHARE * n]);
			base = cell_base_sd_pct * z[WT_LEARN_CELL_BASE * n];
		} else {
			share = 1.0 -
				(1.0 - share) * exp(sample_share_sd * z[WT_LEARN_SAMPLE_SHARE * n]);
		}
		break;
	}
	return 100.0 * log(fmax(share, 0.01)) + base;
}

/* Runs the round's members, from `from` on, to the views: what is seen, and likelihood times
 * prior. */
static enum wt_status look(struct task *task, size_t from)
{
	struct wt_learn_sample *s = &task->sample;
	for (size_t i = 0; i < ROUND; i++)
		to_theta(task, &s->z[from + i], s->stride, task->tried, i);
	const enum wt_status status =
		wt_ensemble_observe(task->load, task->past, task->tried, task->at_unix_s,
				    task->n_views, task->loss_pct, task->weight_kg);
	if (status != WT_OK)
		return status;
	for (size_t i = 0; i < ROUND; i++) {
		const double *z = &s->z[from + i];
		double sum = 0.0;
		for (size_t d = 0; d < D; d++)
			sum -= 0.5 * z[d * s->stride] * z[d * s->stride];
		for (size_t k = 0; k < task->n_views; k++) {
			const size_t at = k * s->stride + from + i;
			double trust;
			s->loss_pct[at] = task->loss_pct[k * ROUND + i];
			s->seen[at] = seen_by(task, k, i, z);
			sum += wt_learn_view_log(&task->views[k], task->feel, s->seen[at],
						 s->loss_pct[at], &trust);
		}
		s->log_target[from + i] = sum;
	}
	return WT_OK;
}

/* Normalised weights, target over proposal to a power; returns the effective size. */
static double normalise(struct wt_learn_sample *s, double power)
{
	double most = -HUGE_VAL, sum = 0.0, squares = 0.0;
	for (size_t i = 0; i < s->n; i++)
		most = fmax(most, s->log_target[i] - s->log_proposal[i]);
	for (size_t i = 0; i < s->n; i++) {
		s->weight[i] = exp(power * (s->log_target[i] - s->log_proposal[i] - most));
		sum += s->weight[i];
	}
	for (size_t i = 0; i < s->n; i++) {
		s->weight[i] /= sum;
		squares += s->weight[i] * s->weight[i];
	}
	return 1.0 / squares;
}

/* Weights raised to the highest power that leaves that many members by effective size; returns
 * that size. */
static double soften(struct wt_learn_sample *s, double wanted)
{
	double low = 0.0, high = 1.0, ess = normalise(s, 1.0);
	if (ess >= wanted)
		return ess;
	for (int i = 0; i < 12; i++) {
		const double middle = 0.5 * (low + high);
		if (normalise(s, middle) >= wanted)
			low = middle;
		else
			high = middle;
	}
	return normalise(s, low);
}

static void widen(struct wt_learn_mixture *mixture)
{
	for (size_t c = 0; c < mixture->n; c++) {
		struct wt_learn_normal *part = &mixture->part[c];
		part->weight *= 1.0 - prior_share;
		for (size_t a = 0; a < D; a++) {
			for (size_t b = 0; b <= a; b++)
				part->lower[a][b] *= widening;
		}
		part->log_det += D * log(widening);
	}
	wt_learn_standard(&mixture->part[mixture->n]);
	mixture->part[mixture->n++].weight = prior_share;
}

/* Draws and runs one round from its mixture.  All members tried are weighed against the proposals
 * of all rounds together (Cornuet et al. 2012, adaptive multiple importance sampling, from
 * memory), so that an early poor round does no harm. */
static enum wt_status propose(struct task *task, uint64_t seed)
{
	struct wt_learn_sample *s = &task->sample;
	const size_t from = s->n, to = from + ROUND;
	const struct wt_learn_mixture *mixture = &task->mixtures[task->rounds];
	enum wt_status status =
		wt_learn_normals(ROUND, seed + (uint64_t)task->rounds, task->normals);
	if (status != WT_OK)
		return status;
	wt_learn_draw(mixture, task->normals, from, ROUND, s);
	status = look(task, from);
	if (status != WT_OK)
		return status;
	for (size_t i = from; i < to; i++)
		s->log_proposal[i] = -HUGE_VAL;
	wt_learn_add_proposal(mixture, ROUND, 0, to, s);
	for (int r = 0; r < task->rounds; r++)
		wt_learn_add_proposal(&task->mixtures[r], ROUND, from, to, s);
	s->n = to;
	task->rounds++;
	return WT_OK;
}

/* Weighted mean and covariance factor of the sample. */
static bool moments(const struct wt_learn_sample *s, double mean[D], double lower[D][D])
{
	memset(lower, 0, sizeof(double[D][D]));
	for (size_t a = 0; a < D; a++) {
		mean[a] = 0.0;
		for (size_t i = 0; i < s->n; i++)
			mean[a] += s->weight[i] * s->z[a * s->stride + i];
	}
	for (size_t a = 0; a < D; a++) {
		for (size_t b = 0; b <= a; b++) {
			double sum = 0.0;
			for (size_t i = 0; i < s->n; i++)
				sum += s->weight[i] * (s->z[a * s->stride + i] - mean[a]) *
				       (s->z[b * s->stride + i] - mean[b]);
			lower[a][b] = lower[b][a] = sum;
		}
	}
	return wt_learn_cholesky(&lower[0][0], D, D);
}

/* One more part: the mean and spread of the members so far under their weights, which knows of
 * curvature what no line does.  Too few members tell a covariance badly, so a share of the linear
 * one is kept. */
static void add_moments(struct wt_learn_sample *s, struct wt_learn_mixture *mixture)
{
	const double kept = 0.3, share = 0.5;
	if (mixture->n == 0 || mixture->n >= WT_LEARN_CANDIDATES)
		return;
	const struct wt_learn_normal *linear = &mixture->part[0];
	struct wt_learn_normal *part = &mixture->part[mixture->n];
	double lower[D][D], cov[D][D];
	if (!moments(s, part->mean, lower))
		return;
	for (size_t a = 0; a < D; a++) {
		for (size_t b = 0; b < D; b++) {
			cov[a][b] = 0.0;
			for (size_t k = 0; k < D; k++)
				cov[a][b] += (1.0 - kept) * lower[a][k] * lower[b][k] +
					     kept * linear->lower[a][k] * linear->lower[b][k];
		}
	}
	if (!wt_learn_cholesky(&cov[0][0], D, D))
		return;
	memcpy(part->lower, cov, sizeof(cov));
	part->log_det = 0.0;
	for (size_t a = 0; a < D; a++)
		part->log_det += log(part->lower[a][a]);
	for (size_t c = 0; c < mixture->n; c++)
		mixture->part[c].weight *= 1.0 - share;
	part->weight = share;
	mixture->n++;
}

static enum wt_status adapt(struct task *task, uint64_t seed, struct wt_learn_line *line)
{
	struct wt_learn_sample *s = &task->sample;
	size_t out_of[WT_LEARN_CANDIDATES];
	task->mixtures[0].n = 1;
	wt_learn_standard(&task->mixtures[0].part[0]);
	enum wt_status status = propose(task, seed);
	while (status == WT_OK) {
		task->ess = normalise(s, 1.0);
		if (task->rounds > 1 && (task->ess >= enough || task->rounds == MOST_ROUNDS))
			break;
		(void)soften(s, to_regress);
		if (!wt_learn_fit_line(task->views, task->n_views, s, line))
			return WT_ERR_NOCONV;
		struct wt_learn_mixture *mixture = &task->mixtures[task->rounds];
		wt_learn_candidates(task->views, task->n_views, line, mixture, out_of);
		if (task->ess > few)
			(void)normalise(s, 1.0);
		add_moments(s, mixture);
		widen(mixture);
		status = propose(task, seed);
	}
	/* Readings that no member follows: believed less, until enough members carry weight. */
	if (status == WT_OK && task->ess < least)
		task->ess = soften(s, least);
	return status;
}

static enum wt_status resample(const struct task *task, const double mean[D], double lower[D][D],
			       uint64_t seed, struct wt_members *members)
{
	const struct wt_learn_sample *s = &task->sample;
	const size_t n = members->n;
	double *normals = calloc(n * (D + 1), sizeof(*normals));
	if (normals == NULL)
		return WT_ERR_NOMEM;
	const enum wt_status status = wt_learn_normals(n, seed ^ 0x6d6f7665u, normals);
	const double keep = sqrt(1.0 - move_share * move_share);
	double passed = s->weight[0];
	size_t from = 0;
	for (size_t i = 0; i < n && status == WT_OK; i++) {
		const double level = ((double)i + 0.5) / (double)n;
		while (passed < level && from + 1 < s->n)
			passed += s->weight[++from];
		double z[D];
		for (size_t d = 0; d < D; d++) {
			z[d] = mean[d] + keep * (s->z[d * s->stride + from] - mean[d]);
			for (size_t k = 0; k <= d; k++)
				z[d] += move_share * lower[d][k] * normals[k * n + i];
		}
		to_theta(task, z, 1, members, i);
	}
	free(normals);
	return status;
}

static void report_moments(const struct task *task, const double mean[D], double lower[D][D],
			   struct wt_learn_report *report)
{
	report->ess = task->ess;
	report->rounds = task->rounds;
	for (size_t d = 0; d < WT_DIM_COUNT; d++) {
		double value = task->prior->mean[d], row[WT_DIM_COUNT] = {0}, var = 0.0;
		for (size_t k = 0; k <= d; k++) {
			value += task->root[d][k] * mean[k];
			for (size_t c = 0; c <= k; c++)
				row[c] += task->root[d][k] * lower[k][c];
		}
		for (size_t c = 0; c <= d; c++)
			var += row[c] * row[c];
		report->mean[d] = value;
		report->sd[d] = sqrt(var);
	}
}

/* The inverse of the prior's root, lower as that is. */
static void invert_root(const struct task *task, double inverse[WT_DIM_COUNT][WT_DIM_COUNT])
{
	memset(inverse, 0, sizeof(double[WT_DIM_COUNT][WT_DIM_COUNT]));
	for (size_t c = 0; c < WT_DIM_COUNT; c++) {
		/* A fixed coordinate has no row: nothing can be said of it. */
		for (size_t r = c; r < WT_DIM_COUNT; r++) {
			double sum = r == c;
			for (size_t k = c; k < r; k++)
				sum -= task->root[r][k] * inverse[k][c];
			inverse[r][c] = task->root[r][r] > 0.0 ? sum / task->root[r][r] : 0.0;
		}
	}
}

/* What the observations say apart from the prior, from the linear model: nuisances integrated out,
 * views counted as far as they are believed, in the coordinates of enum wt_dim. */
static bool find_word(const struct task *task, const struct wt_learn_line *line,
		      const double *trust, struct wt_learn_word *out)
{
	enum { T = WT_DIM_COUNT, E = WT_LEARN_DIMS - WT_DIM_COUNT };
	double a[D][D] = {{0}}, b[D] = {0}, nuisance[E][E], cross[T + 1][E];
	for (size_t k = 0; k < task->n_views; k++) {
		const double *slope = line->slope[k], weight = trust[k] / line->var[k];
		const double away = task->views[k].value - line->at_zero[k];
		for (size_t r = 0; r < D; r++) {
			b[r] += weight * slope[r] * away;
			for (size_t c = 0; c < D; c++)
				a[r][c] += weight * slope[r] * slope[c];
		}
	}
	for (size_t r = 0; r < E; r++) {
		for (size_t c = 0; c < E; c++)
			nuisance[r][c] = a[T + r][T + c] + (r == c);
		for (size_t c = 0; c < T; c++)
			cross[c][r] = a[c][T + r];
		cross[T][r] = b[T + r];
	}
	if (!wt_learn_cholesky(&nuisance[0][0], E, E))
		return false;
	for (size_t c = 0; c <= T; c++)
		wt_learn_solve_lower(&nuisance[0][0], E, E, cross[c]);
	double inverse[T][T];
	invert_root(task, inverse);
	double half[T][T], z_info[T][T], z_pull[T], info[T][T];
	for (size_t r = 0; r < T; r++) {
		z_pull[r] = b[r];
		for (size_t e = 0; e < E; e++)
			z_pull[r] -= cross[r][e] * cross[T][e];
		for (size_t c = 0; c < T; c++) {
			z_info[r][c] = a[r][c];
			for (size_t e = 0; e < E; e++)
				z_info[r][c] -= cross[r][e] * cross[c][e];
		}
	}
	for (size_t r = 0; r < T; r++) {
		for (size_t c = 0; c < T; c++) {
			half[r][c] = 0.0;
			for (size_t k = c; k < T; k++)
				half[r][c] += z_info[r][k] * inverse[k][c];
		}
	}
	for (size_t r = 0; r < T; r++) {
		out->pull[r] = 0.0;
		for (size_t k = r; k < T; k++)
			out->pull[r] += inverse[k][r] * z_pull[k];
		for (size_t c = 0; c < T; c++) {
			info[r][c] = 0.0;
			for (size_t k = r; k < T; k++)
				info[r][c] += inverse[k][r] * half[k][c];
		}
	}
	for (size_t r = 0; r < T; r++) {
		for (size_t c = 0; c < T; c++)
			out->pull[r] += info[r][c] * task->prior->mean[c];
		for (size_t c = 0; c <= r; c++)
			out->info[wt_learn_at(r, c)] = info[r][c];
	}
	return true;
}

static double view_trust(const struct task *task, size_t k)
{
	const struct wt_learn_sample *s = &task->sample;
	double sum = 0.0;
	for (size_t i = 0; i < s->n; i++) {
		double trust;
		(void)wt_learn_view_log(&task->views[k], task->feel, s->seen[k * s->stride + i],
					s->loss_pct[k * s->stride + i], &trust);
		sum += s->weight[i] * trust;
	}
	return sum;
}

static void report_observations(const struct task *task, const struct wt_observation *observations,
				size_t n, const struct wt_learn_line *line, const double *trust,
				struct wt_observation_report *reports)
{
	double expected[WT_LEARN_VIEWS], sd[WT_LEARN_VIEWS];
	wt_learn_expect(task->views, task->n_views, line, trust, expected, sd);
	for (size_t i = 0; i < n; i++)
		reports[i] = (struct wt_observation_report){NAN, 0.0, 1.0};
	for (size_t k = 0; k < task->n_views; k++) {
		const struct wt_learn_view *view = &task->views[k];
		double said = exp(expected[k] / 100.0);
		if (view->kind == WT_OBSERVED_WEIGHT)
			said *= task->load->fresh_kg;
		for (size_t i = view->first; i <= view->last; i++) {
			if (observations[i].kind != view->kind)
				continue;
			reports[i].trust = trust[k];
			reports[i].surprise = (view->value - expected[k]) / sd[k];
			if (view->kind != WT_OBSERVED_FEEL)
				reports[i].expected = said;
		}
	}
}

static void note_taken(struct task *task)
{
	for (size_t k = 0; k < task->n_views; k++) {
		task->at_unix_s[k] = task->views[k].at_unix_s;
		task->taken_before[k] = false;
		for (size_t e = 0; e < task->load->n_events; e++) {
			const struct wt_bed_event *event = &task->load->events[e];
			if (event->taken_kg > 0.0 && event->at_unix_s <= task->at_unix_s[k])
				task->taken_before[k] = true;
		}
	}
}

static void report_prior(const struct wt_gauss *prior, size_t n, struct wt_learn_report *report)
{
	*report = (struct wt_learn_report){.ess = (double)n};
	for (size_t d = 0; d < WT_DIM_COUNT; d++) {
		report->mean[d] = prior->mean[d];
		report->sd[d] = sqrt(fmax(prior->cov[d][d], 0.0));
	}
}

/* The learning proper; outputs are written only when all has gone well. */
static enum wt_status learn(struct task *task, const struct wt_observation *observations, size_t n,
			    uint64_t seed, struct wt_members *members,
			    struct wt_learn_report *report, struct wt_observation_report *reports)
{
	double mean[D], lower[D][D], trust[WT_LEARN_VIEWS];
	struct wt_learn_line *line = calloc(1, sizeof(*line));
	if (line == NULL)
		return WT_ERR_NOMEM;
	enum wt_status status = task_reserve(task);
	if (status == WT_OK)
		status = adapt(task, seed, line);
	/* The line once more, now under the final weights. */
	if (status == WT_OK && !wt_learn_fit_line(task->views, task->n_views, &task->sample, line))
		status = WT_ERR_NOCONV;
	if (status == WT_OK) {
		for (size_t k = 0; k < task->n_views; k++)
			trust[k] = view_trust(task, k);
		if (!find_word(task, line, trust, &report->word))
			status = WT_ERR_NOCONV;
	}
	if (status == WT_OK)
		status = moments(&task->sample, mean, lower) ? WT_OK : WT_ERR_NOCONV;
	if (status == WT_OK)
		status = resample(task, mean, lower, seed, members);
	if (status == WT_OK) {
		report_moments(task, mean, lower, report);
		if (reports != NULL)
			report_observations(task, observations, n, line, trust, reports);
	}
	free(line);
	return status;
}

enum wt_status wt_learn_posterior(const struct wt_load_case *load, const struct wt_drive *past,
				  const struct wt_gauss *prior, const struct wt_feel_scale *feel,
				  const struct wt_observation *observations, size_t n_observations,
				  uint64_t seed, struct wt_members *members,
				  struct wt_learn_report *report,
				  struct wt_observation_report *observation_reports)
{
	if (load == NULL || past == NULL || prior == NULL || feel == NULL || members == NULL ||
	    members->n == 0 || (n_observations > 0 && observations == NULL) ||
	    !(load->fresh_kg > 0.0))
		return WT_ERR_ARG;
	enum wt_status status = check_observations(observations, n_observations);
	if (status != WT_OK)
		return status;
	struct wt_learn_report found;
	if (n_observations == 0) {
		report_prior(prior, members->n, &found);
		status = wt_members_draw(prior, seed, members);
	} else {
		struct task *task = calloc(1, sizeof(*task));
		if (task == NULL)
			return WT_ERR_NOMEM;
		task->load = load;
		task->past = past;
		task->prior = prior;
		task->feel = feel;
		memcpy(task->root, prior->cov, sizeof(task->root));
		task->n_views =
			wt_learn_make_views(load, feel, observations, n_observations, task->views);
		note_taken(task);
		status = wt_learn_cholesky(&task->root[0][0], WT_DIM_COUNT, WT_DIM_COUNT)
				 ? learn(task, observations, n_observations, seed, members, &found,
					 observation_reports)
				 : WT_ERR_ARG;
		task_clear(task);
		free(task);
	}
	if (status == WT_OK && report != NULL)
		*report = found;
	return status;
}
