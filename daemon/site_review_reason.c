/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * Why a forecast missed.
 */
#include <math.h>
#include <stdio.h>
#include <string.h>

#include "daemon/site_review.h"
#include "lib/air.h"

/* The air is blamed when its drying power differed by this much in the direction of the miss; an
 * observation when it was trusted less than this (our choice). */
#define AIR_DIFFERED 0.12
#define LEAST_TRUST 0.5

static double deficit_pa(double temp_c, double vapour_pa)
{
	double out;

	return isfinite(temp_c) && isfinite(vapour_pa) &&
			       wt_air_deficit_pa(temp_c, vapour_pa, &out) == WT_OK
		       ? fmax(out, 0.0)
		       : NAN;
}

/* Deficit measured at a moment; NAN when it is out of the series' reach. */
static double measured_pa(const struct wt_site *site, size_t room, int64_t at_unix_s)
{
	double temp_c, vapour_pa;

	return site_measured(site, room, at_unix_s, &temp_c, &vapour_pa)
		       ? deficit_pa(temp_c, vapour_pa)
		       : NAN;
}

/* Mean measured over mean forecast drying power, less one, over the leads up to the outcome. */
static double air_difference(const struct wt_site *site, const struct site_track *track,
			     int64_t issued_unix_s, const json_t *air_rows)
{
	const char *name = site->rooms[track->load->room].name;
	double forecast = 0.0, measured = 0.0;
	const json_t *row;
	size_t i;
	int n = 0;

	json_array_foreach(air_rows, i, row)
	{
		if (json_integer_value(json_object_get(row, "issued_unix_s")) != issued_unix_s)
			continue;
		const char *room = json_string_value(json_object_get(row, "room"));
		int64_t at = issued_unix_s + json_integer_value(json_object_get(row, "lead_s"));
		if (!room || strcmp(room, name) ||
		    (double)at > track->outcome_unix_s + 2.0 * SITE_HOUR_S)
			continue;
		double f =
			deficit_pa(site_real(row, "temp_p50_c"), site_real(row, "vapour_p50_pa"));
		double m = measured_pa(site, track->load->room, at);
		if (!isfinite(f) || !isfinite(m))
			continue;
		forecast += f;
		measured += m;
		n++;
	}
	return n && forecast > 0.0 ? measured / forecast - 1.0 : NAN;
}

/* The least trusted observation; NAN when there is none. */
static double least_trust(const struct site_track *track)
{
	const struct site_closing *closing = track->load->closing;
	double least = NAN;

	for (size_t i = 0; i < closing->n_seen; i++) {
		double trust = closing->seen[i].report.trust;
		least = isnan(least) || trust < least ? trust : least;
	}
	return least;
}

const char *site_review_reason(const struct wt_site *site, const struct site_track *track,
			       const json_t *row, double error_min, const json_t *air_rows,
			       char says[static WT_SAYS_SIZE])
{
	double air =
		air_difference(site, track, (int64_t)site_real(row, "issued_unix_s"), air_rows);
	double pace = track->load->closing->pace_mean - track->load->closing->prior_pace_mean;

	/* Ready earlier than said goes with drier air than said. */
	if (isfinite(air) && fabs(air) > AIR_DIFFERED && (air > 0.0) == (error_min > 0.0)) {
		wt_says_make(says, "the air came %.0f%% %s than forecast", 100.0 * fabs(air),
			     air > 0.0 ? WT_SAYS_WORD("drier") : WT_SAYS_WORD("wetter"));
		return "air";
	}
	if (least_trust(track) < LEAST_TRUST) {
		wt_says_make(says, "an observation did not fit the rest of the load");
		return "observation";
	}
	if (isfinite(pace) && fabs(pace) >= 0.05)
		wt_says_make(says, "the leaf gave its water %.0f%% %s than first thought",
			     100.0 * fabs(exp(pace) - 1.0),
			     pace > 0.0 ? WT_SAYS_WORD("faster") : WT_SAYS_WORD("slower"));
	else
		wt_says_make(says, "the leaf's pace changed on the way");
	return "pace";
}
