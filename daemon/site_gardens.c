/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * What was learned: of gardens, grades and seasons, of the hand, of the maker's
 * own threshold.
 */
#include <math.h>
#include <string.h>

#include "daemon/site_query.h"

/* A proposal rests on the newest this many loads of a style, and is made only where it would move
 * the threshold by this much: our choice. */
#define PROPOSAL_MOST 30
#define PROPOSAL_LEAST_MOVE_PCT 0.5
/* Loads fired at their best lie some way into the window; a quarter of them before this much of it
 * is what "ready from" means to the maker (our choice). */
#define PROPOSAL_QUANTILE 0.25

static int by_size(const void *a, const void *b)
{
	double x = *(const double *)a, y = *(const double *)b;

	return (x > y) - (x < y);
}

bool site_style_proposal(const struct wt_site *site, const char *style, double *ready_from_loss_pct,
			 int *from_loads)
{
	double losses[PROPOSAL_MOST];
	struct wt_config_style now;
	size_t n = 0;

	for (size_t i = site->n_loads; i-- > 0 && n < PROPOSAL_MOST;) {
		const struct site_load *load = &site->loads[i];
		const struct site_closing *closing = load->closing;
		/* Only loads whose loss was measured tell what the maker likes. */
		if (load->gone || load->state != SITE_FIXED || strcmp(load->style, style) ||
		    !closing || closing->n_weighings < 1.0 || !isfinite(closing->loss_closed_pct))
			continue;
		losses[n++] = closing->loss_closed_pct;
	}
	if (n < SITE_PROPOSAL_LEAST || !site_style(site, style, &now))
		return false;
	qsort(losses, n, sizeof(losses[0]), by_size);
	double at = losses[(size_t)floor(PROPOSAL_QUANTILE * (double)(n - 1))];
	double rounded = round(2.0 * at) / 2.0;
	if (fabs(rounded - now.ready_from_loss_pct) < PROPOSAL_LEAST_MOVE_PCT ||
	    !(rounded < now.latest_loss_pct) || rounded < 1.0)
		return false;
	*ready_from_loss_pct = rounded;
	*from_loads = (int)n;
	return true;
}

/* --- rows ------------------------------------------------------------------------------------ */

static json_t *normal_triple(double mean, double sd)
{
	return site_triple(mean - 1.2816 * sd, mean, mean + 1.2816 * sd);
}

static json_t *garden_row(const char *kind, const char *name, int loads,
			  const struct wt_garden_guess *guess)
{
	double m = guess->pace_mean, s = guess->pace_sd;

	return json_pack("{s:s,s:s,s:i,s:o,s:o}", "kind", kind, "name", name, "loads", loads,
			 "pace", site_triple(exp(m - 1.2816 * s), exp(m), exp(m + 1.2816 * s)),
			 "moisture_pct", normal_triple(guess->moisture_mean, guess->moisture_sd));
}

static bool counted(const struct site_load *load)
{
	return !load->gone && load->closing && load->state != SITE_OPEN;
}

static int count(const struct wt_site *site, size_t origin, int grade, int season)
{
	int n = 0;

	for (size_t i = 0; i < site->n_loads; i++) {
		const struct site_load *load = &site->loads[i];
		n += counted(load) && (origin == SIZE_MAX || load->origin == origin) &&
		     (grade < 0 || (int)load->grade == grade) &&
		     (season < 0 || (int)load->season == season);
	}
	return n;
}

static void add_row(const struct wt_site *site, json_t *rows, const char *kind, const char *name,
		    size_t origin, int grade, int season)
{
	const struct wt_gardens *gardens = site->lore ? site->lore->gardens : NULL;
	struct wt_garden_guess guess;
	int n = count(site, origin, grade, season);
	/* Grade and season left open are shown as young leaf of this season's kind. */
	enum wt_grade g = grade < 0 ? WT_GRADE_YOUNG : (enum wt_grade)grade;
	enum wt_season s = season < 0 ? WT_SEASON_SPRING : (enum wt_season)season;

	if (!n && strcmp(kind, "all"))
		return;
	if (wt_gardens_guess(gardens, origin == SIZE_MAX ? -1 : (int)origin, g, s, &guess) != WT_OK)
		return;
	json_array_append_new(rows, garden_row(kind, name, n, &guess));
}

static json_t *styles(const struct wt_site *site)
{
	json_t *rows = json_array();

	for (size_t i = 0; i < site->config->n_styles; i++) {
		struct wt_config_style style;
		double proposed;
		int loads;
		if (!site_style(site, site->config->styles[i].name, &style))
			continue;
		json_t *proposal = site_style_proposal(site, style.name, &proposed, &loads)
					   ? json_pack("{s:f,s:i}", "ready_from_loss_pct", proposed,
						       "from_loads", loads)
					   : json_null();
		json_array_append_new(
			rows, json_pack("{s:s,s:f,s:o}", "style", style.name, "ready_from_loss_pct",
					style.ready_from_loss_pct, "proposal", proposal));
	}
	return rows;
}

json_t *site_query_gardens(struct wt_site *site, int64_t now_unix_s)
{
	json_t *document = site_document(site, now_unix_s), *rows = json_array(),
	       *cuts = json_array();

	/* What was learned goes with the loads that are counted, before the next forecast too. */
	site_closing_read(site);
	if (!site->lore)
		site->lore = site_lore_learn(site->taught);

	add_row(site, rows, "all", "all", SIZE_MAX, -1, -1);
	for (size_t i = 0; i < site->n_origins; i++)
		add_row(site, rows, "origin", site->origins[i], i, -1, -1);
	for (int g = 0; g < WT_GRADE_COUNT; g++)
		add_row(site, rows, "grade", wt_words_text(WT_WORDS_GRADE, g), SIZE_MAX, g, -1);
	for (int s = 0; s < WT_SEASON_COUNT; s++)
		add_row(site, rows, "season", wt_words_text(WT_WORDS_SEASON, s), SIZE_MAX, -1, s);
	const struct wt_feel_scale feel = site->lore->feel;
	for (int k = 0; k < WT_FEEL_COUNT - 1; k++)
		json_array_append_new(cuts, site_number(feel.cut_loss_pct[k]));
	json_object_set_new(document, "rows", rows);
	json_object_set_new(document, "feel",
			    json_pack("{s:o,s:o}", "cut_loss_pct", cuts, "sd_loss_pct",
				      site_number(feel.sd_loss_pct)));
	json_object_set_new(document, "styles", styles(site));
	return document;
}
