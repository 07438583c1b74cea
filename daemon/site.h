/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * The workshop as it stands: rooms, loads, what was done to them, the last
 * forecasts, what was learned.  A pure function of the readings and acts put
 * into it: no files, no sockets, no clock.  The main loop owns it; forecasts
 * run elsewhere on a job, which holds its own copies.
 */
#ifndef WT_DAEMON_SITE_H
#define WT_DAEMON_SITE_H

#include <jansson.h>
#include <stdbool.h>
#include <stdint.h>

#include "daemon/config.h"
#include "lib/wire/rpc.h"

struct wt_site;

/* config is borrowed until the site is freed or wt_site_reconfigure() gives another. */
struct wt_site *wt_site_new(const struct wt_config *config);
void wt_site_free(struct wt_site **site);
void wt_site_reconfigure(struct wt_site *site, const struct wt_config *config);

/* A reading, paired and converted, offsets not yet applied.  flags: WT_FLAG_*; a flagged reading
 * weighs less, it is never dropped. */
struct wt_reading {
	size_t station; /* index in the configuration */
	int64_t at_unix_ms;
	int64_t received_unix_ms;
	double temp_c, rh_pct;
	unsigned flags;
};
void wt_site_add_reading(struct wt_site *site, const struct wt_reading *reading);
void wt_site_add_scale_reading(struct wt_site *site, size_t scale, int64_t at_unix_ms, double kg);

/* Outdoor forecast: document as received (either format); false and *why when unusable. */
bool wt_site_add_outlook(struct wt_site *site, const json_t *document, int64_t received_unix_s,
			 char *why, size_t why_size);

/* One thing the maker did.  params are complete: every default is written out, at_unix_s set. */
struct wt_act {
	int64_t id; /* given by the store, ascending; 0 before */
	int64_t received_unix_ms;
	char *method;
	json_t *params;
};
void wt_act_clear(struct wt_act *act);

/* True for methods that change something: spread weigh feel turn fix yield drop undo style salt. */
bool wt_site_is_act(const char *method);
/* Checks and completes an act.  Nothing changes.  false: *refusal says why. */
bool wt_site_prepare(const struct wt_site *site, const char *method, const json_t *params,
		     int64_t now_unix_s, struct wt_act *out, struct wt_refusal *refusal);
/* Takes in an act that was prepared and stored (now, or in an earlier run).  Cannot fail. */
void wt_site_apply(struct wt_site *site, const struct wt_act *act);
/* What the act's caller is told.  New reference. */
json_t *wt_site_act_result(const struct wt_site *site, const struct wt_act *act,
			   int64_t now_unix_s);

/* Forecasts.  A job is made on the loop (cheap copies), run on any thread, adopted on the loop.
 * kept: of a tick, so that what acts and closings make of it does not depend on when somebody
 * looked. */
struct wt_job;
struct wt_job *wt_site_job(struct wt_site *site, int64_t now_unix_s, bool kept);
void wt_job_run(struct wt_job *job);
void wt_site_adopt(struct wt_site *site, struct wt_job **job);
void wt_job_free(struct wt_job **job);
/* Counts acts and readings taken in; a job remembers the value it was made at. */
uint64_t wt_site_generation(const struct wt_site *site);
int64_t wt_site_forecast_unix_s(const struct wt_site *site); /* of the adopted job; 0: none */
uint64_t wt_site_forecast_generation(const struct wt_site *site);

/* Rows to be stored from the adopted job: {"forecasts":[{...}],"air_forecasts":[{...}]} with the
 * keys of the exports.  New reference. */
json_t *wt_site_forecast_rows(const struct wt_site *site);

/* Records that closed since the last call, to be stored and given back at the next start:
 * [{"load":..., ...}].  They hold what a closed load taught, so that readings may be thinned. */
json_t *wt_site_take_closings(struct wt_site *site);
void wt_site_add_closing(struct wt_site *site, const json_t *closing);

/* Questions answered from the site alone: tonight show loads air plan gardens ledger stations
 * style. New reference, or NULL with *refusal. */
json_t *wt_site_query(struct wt_site *site, const char *method, const json_t *params,
		      int64_t now_unix_s, struct wt_refusal *refusal);
/* Questions that need a run: what-if density.  Make on the loop, run anywhere, result on the loop.
 */
bool wt_site_is_study(const char *method);
struct wt_job *wt_site_study(struct wt_site *site, const char *method, const json_t *params,
			     int64_t now_unix_s, struct wt_refusal *refusal);
json_t *wt_job_result(const struct wt_job *job);
/* The track record, from stored forecast rows (keys of the export, of each load in order of issue).
 * Of all rows it needs the newest at the few moments that the first function lists, [load, unix s,
 * not older by than s]; of the air's forecasts those issued at the times (unix s) that the second
 * lists.  New references. */
json_t *wt_site_review_wanted(const struct wt_site *site, int64_t since_unix_s, int64_t now_unix_s);
json_t *wt_site_review_issues(const struct wt_site *site, const json_t *forecast_rows,
			      int64_t since_unix_s);
json_t *wt_site_review(const struct wt_site *site, const json_t *forecast_rows,
		       const json_t *air_forecast_rows, int64_t since_unix_s, int64_t now_unix_s);
/* How good the air's forecasts of a room were: "skill" of the document `air`, from stored rows of
 * forecasts (keys of the export) and the measured air still held.  The share inside the band is of
 * temperature and vapour pressure together.  Leads that nothing is known of are left out.  A new
 * reference. */
json_t *wt_site_air_skill(const struct wt_site *site, const char *room, const json_t *air_rows,
			  int64_t now_unix_s);
/* A stored reading, which is as the station sent it, becomes what the site takes it for: with the
 * offsets of the configuration and the salt checks known now.  Nothing is changed where there are
 * none. */
void wt_site_correct(const struct wt_site *site, const char *station, double *temp_c,
		     double *rh_pct);
/* Rows of `export loads`.  New reference. */
json_t *wt_site_loads_rows(const struct wt_site *site);
/* What needs a person, seen from the site: [{"code","severity","text"}].  New reference. */
json_t *wt_site_concerns(const struct wt_site *site, int64_t now_unix_s);

#endif /* WT_DAEMON_SITE_H */
