/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * Parts of the track record.
 */
#ifndef WT_DAEMON_SITE_REVIEW_H
#define WT_DAEMON_SITE_REVIEW_H

#include "daemon/site_query.h"

/* One closed load and the forecasts stored for it, in order of issue. */
struct site_track {
	const struct site_load *load;
	double outcome_unix_s; /* NAN: never seen ready */
	double past_unix_s;    /* HUGE_VAL: not within the horizon; NAN: an old record lacks it */
	double reference_h;    /* NAN: no load of that style before it */
	bool weighed;
	bool asked; /* not before `since`; earlier ones serve as reference only */
	const json_t **rows;
	size_t n_rows, cap_rows;
};

/* Why a forecast missed: "air", "pace" or "observation", and a sentence. */
const char *site_review_reason(const struct wt_site *site, const struct site_track *track,
			       const json_t *row, double error_min, const json_t *air_rows,
			       char says[static WT_SAYS_SIZE]);

#endif /* WT_DAEMON_SITE_REVIEW_H */
