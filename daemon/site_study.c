/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * Questions that need a run of their own: what if, and how thick to spread.
 */
#include "daemon/site_run.h"

struct site_study {
	int unused;
};

bool wt_site_is_study(const char *method)
{
	const struct site_verb_rule *verb = site_verb_find(method);

	return verb && verb->kind == SITE_VERB_STUDY;
}

struct wt_job *wt_site_study(struct wt_site *site, const char *method, const json_t *params,
			     int64_t now_unix_s, struct wt_refusal *refusal)
{
	(void)site;
	(void)params;
	(void)now_unix_s;
	site_refuse(refusal, -32601, "", method, "'%.60s' is not built yet", method);
	return NULL;
}

void site_study_run(struct wt_job *job)
{
	(void)job;
}

void site_study_free(struct site_study **study)
{
	free(*study);
	*study = NULL;
}

json_t *wt_job_result(const struct wt_job *job)
{
	return json_incref(job->result);
}
