/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * How good the air's forecasts were, against what was measured after.
 */
#include <math.h>
#include <string.h>

#include "daemon/site_query.h"
#include "lib/air.h"

struct sums {
	int n, inside;
	double temp_c, vapour_pa;
};

bool site_measured(const struct wt_site *site, size_t room, int64_t at_unix_s, double *temp_c,
		   double *vapour_pa)
{
	float temp[2], vapour[2];
	double known_share = 0.0;
	size_t n = 0;

	if (wt_room_fill(site->rooms[room].series->series, at_unix_s, at_unix_s, 2, temp, vapour,
			 &n, &known_share) != WT_OK ||
	    !n || known_share < 0.5)
		return false;
	*temp_c = (double)temp[0];
	*vapour_pa = (double)vapour[0];
	return isfinite(*temp_c) && isfinite(*vapour_pa);
}

static void add_row(struct sums *sums, const json_t *row, double temp_c, double vapour_pa)
{
	double t = site_real(row, "temp_p50_c"), v = site_real(row, "vapour_p50_pa");

	if (!isfinite(t) || !isfinite(v))
		return;
	sums->n++;
	sums->temp_c += fabs(t - temp_c);
	sums->vapour_pa += fabs(v - vapour_pa);
	sums->inside +=
		temp_c >= site_real(row, "temp_p10_c") && temp_c <= site_real(row, "temp_p90_c");
	sums->inside += vapour_pa >= site_real(row, "vapour_p10_pa") &&
			vapour_pa <= site_real(row, "vapour_p90_pa");
}

static void gather(const struct wt_site *site, size_t room, const json_t *air_rows,
		   int64_t now_unix_s, struct sums sums[SITE_LEADS])
{
	int64_t first = site_room_first_unix_s(site, room);
	const json_t *row;
	size_t i;

	json_array_foreach(air_rows, i, row)
	{
		const char *name = json_string_value(json_object_get(row, "room"));
		int64_t lead_s = json_integer_value(json_object_get(row, "lead_s"));
		int64_t at = json_integer_value(json_object_get(row, "issued_unix_s")) + lead_s;
		double temp_c, vapour_pa;
		if (!name || strcmp(name, site->rooms[room].name) || at < first || at > now_unix_s)
			continue;
		for (int lead = 0; lead < SITE_LEADS; lead++) {
			if (site_lead_s[lead] == lead_s &&
			    site_measured(site, room, at, &temp_c, &vapour_pa))
				add_row(&sums[lead], row, temp_c, vapour_pa);
		}
	}
}

json_t *wt_site_air_skill(const struct wt_site *site, const char *room, const json_t *air_rows,
			  int64_t now_unix_s)
{
	struct sums sums[SITE_LEADS] = {{0}};
	json_t *skill = json_array();
	size_t index = room ? site_room_find(site, room) : SIZE_MAX;

	if (index != SIZE_MAX)
		gather(site, index, air_rows, now_unix_s, sums);
	for (int lead = 0; lead < SITE_LEADS; lead++) {
		const struct sums *s = &sums[lead];
		if (!s->n)
			continue;
		json_array_append_new(
			skill, json_pack("{s:I,s:i,s:f,s:f,s:f}", "lead_s",
					 (json_int_t)site_lead_s[lead], "n", s->n, "temp_mae_c",
					 s->temp_c / s->n, "vapour_mae_pa", s->vapour_pa / s->n,
					 "coverage_80_pct", 100.0 * s->inside / (2.0 * s->n)));
	}
	return site_rounded(skill);
}
