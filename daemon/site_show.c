/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * One load in full, and the list of loads.
 */
#include <math.h>
#include <stdio.h>
#include <string.h>

#include "daemon/site_query.h"
#include "lib/wire/text.h"

static const char *const states[] = {"open", "fixed", "dropped"};

/* Its forecast, when the adopted job holds one that is still about it. */
const struct site_job_load *site_forecast_of(const struct wt_site *site,
					     const struct site_load *load)
{
	const struct site_job_load *job = site_job_find(site->forecast, load->number);

	return job && !job->closing && load->state == SITE_OPEN && job->view.known ? job : NULL;
}

json_t *site_load_row(const struct wt_site *site, const struct site_load *load)
{
	const struct site_job_load *job = site_forecast_of(site, load);
	json_t *row = json_pack("{s:i,s:s,s:s,s:s,s:s,s:s,s:f,s:f,s:I,s:s}", "load", load->number,
				"origin", site->origins[load->origin], "grade",
				wt_words_text(WT_WORDS_GRADE, (int)load->grade), "season",
				wt_words_text(WT_WORDS_SEASON, (int)load->season), "style",
				load->style, "room", site->rooms[load->room].name, "kg", load->kg,
				"area_m2", load->area_m2, "spread_unix_s",
				(json_int_t)load->spread_unix_s, "state", states[load->state]);

	json_object_set_new(row, "fixed_unix_s",
			    load->state == SITE_FIXED
				    ? json_integer((json_int_t)load->closed_unix_s)
				    : json_null());
	json_object_set_new(row, "fixed_kg", site_number(load->fixed_kg));
	json_object_set_new(row, "made_kg", site_number(load->made_kg));
	json_object_set_new(row, "yellow_kg", site_number(load->yellow_kg));
	json_object_set_new(row, "left_share", site_number(load->left_share));
	json_object_set_new(row, "loss_pct",
			    job ? site_triple(job->view.loss_pct[SITE_P10],
					      job->view.loss_pct[SITE_P50],
					      job->view.loss_pct[SITE_P90])
				: json_null());
	json_object_set_new(row, "call", job ? site_call(&job->view) : json_null());
	return row;
}

json_t *site_query_loads(const struct wt_site *site, const struct site_verb_rule *verb,
			 const struct site_value *values, int64_t now_unix_s)
{
	json_t *document = site_document(site, now_unix_s), *rows = json_array();
	bool all = site_value(verb, values, "all")->number > 0.5;

	for (size_t i = 0; i < site->n_loads; i++) {
		const struct site_load *load = &site->loads[i];
		if (load->gone || (!all && load->state != SITE_OPEN))
			continue;
		const struct site_job_load *advised = site_advice_of(site, load, now_unix_s);
		json_t *row = site_load_row(site, load);
		if (!advised) /* a silent room calls nothing */
			json_object_set_new(row, "call", json_null());
		json_object_set_new(row, "fire_unix_s",
				    advised ? site_fire(&advised->view) : json_null());
		json_array_append_new(rows, row);
	}
	json_object_set_new(document, "loads", rows);
	return document;
}

/* --- the acts in words ----------------------------------------------------------------------- */

static void act_text(const struct wt_act *act, char *out, size_t size)
{
	const json_t *p = act->params;
	const struct site_verb_rule *verb = site_verb_find(act->method);
	double kg = site_real(p, "kg"), other;
	const char *why = json_string_value(json_object_get(p, "why"));
	char clean[64];

	snprintf(out, size, "%s", act->method);
	switch (verb ? verb - site_verbs : SITE_VERB_COUNT) {
	case SITE_SPREAD:
		snprintf(out, size, "spread %.4g kg on %.4g m2", kg, site_real(p, "area_m2"));
		break;
	case SITE_WEIGH:
		other = site_real(p, "sample_fresh_kg");
		if (isfinite(other))
			snprintf(out, size, "sample weighed %.4g kg of %.4g kg fresh", kg, other);
		else
			snprintf(out, size, "weighed %.4g kg", kg);
		break;
	case SITE_FEEL:
		snprintf(out, size, "felt %s", json_string_value(json_object_get(p, "step")));
		break;
	case SITE_TURN:
		other = site_real(p, "area_m2");
		if (isfinite(other))
			snprintf(out, size, "turned, now on %.4g m2", other);
		else
			snprintf(out, size, "turned%s",
				 json_is_true(json_object_get(p, "fan"))    ? ", fan on"
				 : json_is_false(json_object_get(p, "fan")) ? ", fan off"
									    : "");
		break;
	case SITE_FIX:
		other = site_real(p, "part_kg");
		if (isfinite(other) && site_real(p, "left_share") > 0.0)
			snprintf(out, size, "fixed a part of %.4g kg", other);
		else if (isfinite(kg))
			snprintf(out, size, "fixed at %.4g kg", kg);
		else
			snprintf(out, size, "fixed");
		break;
	case SITE_YIELD:
		snprintf(out, size, "made %.4g kg of tea", site_real(p, "made_kg"));
		break;
	case SITE_DROP:
		wt_text_clean(why ? why : "", why ? strlen(why) : 0, clean, sizeof(clean));
		snprintf(out, size, "dropped: %s", clean);
		break;
	default:
		break;
	}
}

static void set_report(json_t *row, const struct wt_observation_report *report)
{
	json_object_set_new(row, "expected", site_number(report->expected));
	json_object_set_new(row, "surprise", site_number(report->surprise));
	json_object_set_new(row, "trust", site_number(report->trust));
}

/* What became of an observation: from the running forecast, or from the closing. */
static void add_report(const struct wt_site *site, const struct site_load *load, int64_t act,
		       json_t *row)
{
	const struct site_job_load *job = site_forecast_of(site, load);
	const struct site_closing *closing = load->closing;

	json_object_set_new(row, "expected", json_null());
	json_object_set_new(row, "surprise", json_null());
	json_object_set_new(row, "trust", json_null());
	for (size_t i = 0; closing && i < closing->n_seen; i++) {
		if (closing->seen[i].act == act)
			set_report(row, &closing->seen[i].report);
	}
	for (size_t i = 0; job && job->posterior && i < job->posterior->n_reports; i++) {
		if (job->observations[i].act == act)
			set_report(row, &job->posterior->reports[i]);
	}
}

static json_t *act_rows(const struct wt_site *site, const struct site_load *load)
{
	json_t *rows = json_array();

	for (size_t i = 0; i < site->n_acts; i++) {
		const struct site_act *entry = &site->acts[i];
		char text[128];
		if (entry->load != load->number)
			continue;
		const struct wt_act said = {.id = entry->id,
					    .method = entry->method,
					    .params = site_act_params(entry)},
				    *act = &said;
		act_text(act, text, sizeof(text));
		json_t *row = json_pack("{s:I,s:s,s:O,s:s,s:b}", "id", (json_int_t)act->id, "verb",
					act->method, "at_unix_s",
					json_object_get(act->params, "at_unix_s"), "text", text,
					"undone", (int)(entry->undone_by != 0));
		json_object_set_new(row, "params", act->params);
		add_report(site, load, act->id, row);
		json_array_append_new(rows, row);
	}
	return rows;
}

static json_t *curve(const struct site_job_load *job)
{
	json_t *rows = json_array();

	for (size_t k = 0; job && k < job->view.outcome->n_marks; k++) {
		double p[3];
		site_view_mark(&job->view, k, p);
		json_array_append_new(rows, json_pack("{s:I,s:o,s:o,s:o}", "at_unix_s",
						      (json_int_t)job->view.outcome->mark_unix_s[k],
						      "p10", site_number(p[0]), "p50",
						      site_number(p[1]), "p90", site_number(p[2])));
	}
	return rows;
}

/* Pace and moisture: of the forecast, or as the closing left them (normal: 1.2816 sd). */
static void add_leaf(const struct site_load *load, const struct site_job_load *job, json_t *row)
{
	const struct site_closing *c = load->closing;

	if (job) {
		const struct site_view *v = &job->view;
		json_object_set_new(row, "moisture_pct",
				    site_triple(v->moisture_pct[SITE_P10],
						v->moisture_pct[SITE_P50],
						v->moisture_pct[SITE_P90]));
		json_object_set_new(
			row, "pace",
			site_triple(v->pace[SITE_P10], v->pace[SITE_P50], v->pace[SITE_P90]));
		return;
	}
	double m = c ? c->moisture_mean : NAN, s = c ? c->moisture_sd : NAN;
	json_object_set_new(row, "moisture_pct", site_triple(m - 1.2816 * s, m, m + 1.2816 * s));
	m = c ? c->pace_mean : NAN;
	s = c ? c->pace_sd : NAN;
	json_object_set_new(row, "pace",
			    site_triple(exp(m - 1.2816 * s), exp(m), exp(m + 1.2816 * s)));
}

/* A closed load as it was when it was closed.  Until its last word is spoken, its loss is that of
 * the forecast before. */
static void add_closed(const struct site_load *load, json_t *row)
{
	const struct site_closing *c = load->closing;

	json_object_set_new(
		row, "loss_pct",
		site_triple(NAN, c ? c->loss_closed_pct : load->regular_loss_p50_pct, NAN));
	json_object_set_new(row, "ready_unix_s",
			    site_time_triple(c ? c->ready_p10_unix_s : NAN,
					     c ? c->ready_unix_s : NAN,
					     c ? c->ready_p90_unix_s : NAN));
	json_object_set_new(row, "past_unix_s",
			    site_time_triple(NAN, c ? c->past_unix_s : NAN, NAN));
	json_object_set_new(
		row, "hours",
		json_real((double)(load->closed_unix_s - load->spread_unix_s) / SITE_HOUR_S));
}

json_t *site_query_show(const struct wt_site *site, const struct site_load *load,
			int64_t now_unix_s)
{
	const struct site_job_load *job = site_forecast_of(site, load);
	json_t *document = site_document(site, now_unix_s),
	       *row = site_tonight_row(site, load, now_unix_s);

	json_object_update_new(document, row);
	json_object_update_new(document,
			       json_pack("{s:s,s:s,s:s,s:f,s:f,s:I,s:s}", "grade",
					 wt_words_text(WT_WORDS_GRADE, (int)load->grade), "season",
					 wt_words_text(WT_WORDS_SEASON, (int)load->season), "wet",
					 wt_words_text(WT_WORDS_WET, (int)load->wet), "area_m2",
					 load->area_m2, "density_kg_m2", load->kg / load->area_m2,
					 "spread_unix_s", (json_int_t)load->spread_unix_s, "state",
					 states[load->state]));
	if (job && job->view.why_says)
		json_object_set(document, "why_says", job->view.why_says);
	add_leaf(load, job, document);
	if (load->state != SITE_OPEN)
		add_closed(load, document);
	json_object_set_new(document, "curve", curve(job));
	json_object_set_new(document, "acts", act_rows(site, load));
	json_object_set_new(document, "fixed_unix_s",
			    load->state == SITE_FIXED
				    ? json_integer((json_int_t)load->closed_unix_s)
				    : json_null());
	json_object_set_new(document, "closed", json_boolean(load->state != SITE_OPEN));
	json_object_set_new(document, "closing", site_closing_document(load));
	json_object_set_new(document, "notes",
			    job && job->view.notes ? json_deep_copy(job->view.notes)
						   : json_array());
	return document;
}
