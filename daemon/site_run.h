/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * Parts of running a job, shared by forecasts and studies.  Any thread.
 */
#ifndef WT_DAEMON_SITE_RUN_H
#define WT_DAEMON_SITE_RUN_H

#include "daemon/site_inner.h"

#define SITE_STEPS ((size_t)(WT_HORIZON_S / WT_GRID_S + 1))
/* Times at which a weighing is valued. */
#define SITE_SETTLE_MOST 12
#define SITE_SETTLE_STEP_S 1800

struct site_paths { /* room for one room's coming air: [step * n_paths + path] */
	size_t n_paths;
	float *temp_c, *vapour_pa;
};
void site_paths_new(size_t n_paths, struct site_paths *out);
void site_paths_clear(struct site_paths *paths);

struct site_air {
	float *past_temp_c, *past_vapour_pa;
	struct wt_track track;
	struct wt_drive *past;   /* from the earliest load's spreading */
	struct wt_drive *future; /* NULL: silent for too long */
};
/* Fills paths and air from the room's series; false when there is no reading at all.  The air to
 * come is made ready for the kernel only where loads are to be `driven` by it. */
bool site_run_air(struct wt_job *job, struct site_job_room *room, int64_t from_unix_s, bool driven,
		  struct site_paths *paths, struct site_air *air);
void site_air_clear(struct site_air *air);

/* The band of a room's coming air, worked out when asked for: no forecast needs it. */
void site_run_bands(struct wt_job *job, struct site_job_room *room);
bool site_run_prior(const struct wt_job *job, struct site_job_load *load);
bool site_run_posterior(const struct wt_job *job, struct site_job_load *load,
			const struct site_air *air);
/* The view takes the outcome over. */
void site_run_view(struct wt_outcome *outcome, const struct wt_members *members,
		   struct site_view *view);
/* Advice of the load that a plan was made with, and when the plan fires it. */
void site_run_advised(struct site_view *view, const struct wt_advice *advice,
		      const struct wt_plan *plan);
void site_run_decide(struct wt_job *job);                                   /* site_evening.c */
void site_words_load(const struct wt_job *job, struct site_job_load *load); /* site_words.c */

#endif /* WT_DAEMON_SITE_RUN_H */
