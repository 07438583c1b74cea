/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * The evening's decision over all open loads of a job.
 */
#include <string.h>

#include "daemon/site_run.h"

/* Error of one weighing of a load, % of its fresh weight: a household scale's 1 % of what is left
 * on it, and leaf that sticks (our choice). */
#define WEIGH_SD_LOSS_PCT 1.0
/* Chances nearer to 0 or 1 than this are taken for sure. */
#define SURE 0.02

/* What is left after a part was fired is an estimate: so much of a wok too much is shared among the
 * firings left, rather than a fire lit for it (our choice). */
#define PART_OVER 0.2

struct wt_decide_load site_decide_load(const struct wt_hearth *hearth, const struct site_load *load,
				       enum wt_prefer prefer, const struct site_view *view)
{
	return (struct wt_decide_load){
		.load = load->number,
		.left_kg = load->kg * load->left_share,
		.over_kg = load->left_share < 1.0 ? PART_OVER * hearth->wok_kg : 0.0,
		.prefer = prefer,
		.n = view->outcome->n,
		.ready_unix_s = view->outcome->ready_unix_s,
		.past_unix_s = view->outcome->past_unix_s};
}

static size_t gather(const struct wt_job *job, struct wt_decide_load *out, size_t *index)
{
	size_t n = 0;

	for (size_t i = 0; i < job->n_loads; i++) {
		const struct site_job_load *load = &job->loads[i];
		if (load->closing || !load->view.known || job->rooms[load->room].silent)
			continue;
		index[n] = i;
		out[n++] = site_decide_load(&job->hearth, &load->load, load->prefer, &load->view);
	}
	return n;
}

/* A maker who has felt a load and never weighed one has no scale at hand. */
static bool feels_only(const struct wt_job *job)
{
	bool felt = false;

	for (size_t i = 0; i < job->n_loads; i++) {
		for (size_t k = 0; k < job->loads[i].n_observations; k++) {
			enum wt_observation_kind kind = job->loads[i].observations[k].seen.kind;
			felt = felt || kind == WT_OBSERVED_FEEL;
			if (kind != WT_OBSERVED_FEEL)
				return false;
		}
	}
	return felt;
}

static void settle(struct wt_job *job, const struct wt_decide_load *loads, size_t n,
		   const size_t *index)
{
	struct wt_settle_candidate *candidates = site_alloc(n * sizeof(*candidates));
	bool by_hand = feels_only(job);
	size_t count = 0;

	for (size_t i = 0; i < n; i++) {
		const struct site_job_load *load = &job->loads[index[i]];
		double p = load->view.advice.p_ready_tonight;
		/* Where tonight or not is known already, nothing is left to settle. */
		if (!load->n_settle || !load->settle_loss_pct || p < SURE || p > 1.0 - SURE)
			continue;
		candidates[count++] = (struct wt_settle_candidate){
			.load = load->load.number,
			.n_at = load->n_settle,
			.at_unix_s = load->settle_unix_s,
			.loss_pct = load->settle_loss_pct,
			.sd_loss_pct = by_hand ? job->lore->feel.sd_loss_pct : WEIGH_SD_LOSS_PCT,
			.by_hand = by_hand};
	}
	if (!count || wt_decide_settle(&job->hearth, &job->costs, loads, n, candidates, count,
				       job->now_unix_s, &job->settle, &job->settled) != WT_OK)
		job->settled = false;
	free(candidates);
}

void site_run_advised(struct site_view *view, const struct wt_advice *advice,
		      const struct wt_plan *plan)
{
	view->advice = *advice;
	view->advised = true;
	for (size_t i = 0; i < plan->n; i++) {
		const struct wt_firing *f = &plan->firings[i];
		if (f->load != advice->load || f->morning != (advice->call == WT_CALL_MORNING))
			continue;
		if (!view->fire_unix_s[0])
			view->fire_unix_s[0] = f->start_unix_s;
		view->fire_unix_s[1] = f->start_unix_s;
	}
}

void site_run_decide(struct wt_job *job)
{
	struct wt_decide_load *loads = site_alloc((job->n_loads + 1) * sizeof(*loads));
	size_t *index = site_alloc((job->n_loads + 1) * sizeof(*index));
	size_t n = gather(job, loads, index);
	struct wt_advice *advice = site_alloc((n + 1) * sizeof(*advice));

	if (n &&
	    wt_decide_plan(&job->hearth, &job->costs, loads, n, job->now_unix_s, &job->plan) ==
		    WT_OK &&
	    wt_decide_calls(&job->hearth, &job->costs, loads, n, job->plan, job->now_unix_s,
			    advice) == WT_OK) {
		for (size_t i = 0; i < n; i++) {
			site_run_advised(&job->loads[index[i]].view, &advice[i], job->plan);
		}
		settle(job, loads, n, index);
	}
	free(advice);
	free(index);
	free(loads);
}
