/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * What a closed load taught: kept as a record of its own, so that the readings
 * behind it may be thinned.
 */
#include <math.h>
#include <string.h>

#include "daemon/site_inner.h"

/* A load's last word is spoken when it has been ready in the hindcast, or this long after
 * spreading. */
#define FINAL_AFTER_S (48 * (int64_t)SITE_HOUR_S)

static json_t *feel_pairs(const struct site_job_load *done)
{
	json_t *pairs = json_array();

	for (size_t i = 0; done->view.known && i < done->n_observations; i++) {
		const struct wt_observation *seen = &done->observations[i].seen;
		if (seen->kind != WT_OBSERVED_FEEL)
			continue;
		/* 10 and 90 % quantiles of a normal lie 2.563 sd apart. */
		double p[3];
		site_view_mark(&done->view, i, p);
		double sd = (p[2] - p[0]) / 2.563;
		json_array_append_new(pairs,
				      json_pack("{s:s,s:f,s:f}", "step",
						wt_words_text(WT_WORDS_FEEL, (int)seen->value),
						"loss_pct", p[1], "loss_sd_pct", sd));
	}
	return pairs;
}

static json_t *observation_list(const struct site_job_load *done)
{
	json_t *list = json_array();

	for (size_t i = 0; i < done->n_observations; i++) {
		const struct site_observation *it = &done->observations[i];
		if (it->seen.kind == WT_OBSERVED_CELL || i >= done->posterior->n_reports)
			continue;
		const struct wt_observation_report *report = &done->posterior->reports[i];
		json_array_append_new(list,
				      json_pack("{s:I,s:o,s:o,s:o}", "act", (json_int_t)it->act,
						"expected", site_number(report->expected),
						"surprise", site_number(report->surprise), "trust",
						site_number(report->trust)));
	}
	return list;
}

static int count_weighings(const struct site_job_load *done)
{
	int n = 0;

	for (size_t i = 0; i < done->n_observations; i++)
		n += done->observations[i].seen.kind != WT_OBSERVED_FEEL;
	return n;
}

static void spread_of(const float *values, size_t n, double *mean, double *sd)
{
	double sum = 0.0, squares = 0.0;

	for (size_t i = 0; i < n; i++)
		sum += (double)values[i];
	*mean = sum / (double)n;
	for (size_t i = 0; i < n; i++)
		squares += ((double)values[i] - *mean) * ((double)values[i] - *mean);
	*sd = sqrt(squares / (double)(n > 1 ? n - 1 : 1));
}

#define WORD_SIZE (WT_DIM_COUNT + WT_DIM_COUNT * (WT_DIM_COUNT + 1) / 2)

/* The load's word for the gardens: pull, and info row by row up to the diagonal. */
static json_t *word_list(const struct wt_learn_word *word)
{
	json_t *list = json_array();

	for (int d = 0; d < WT_DIM_COUNT; d++)
		json_array_append_new(list, site_number(word->pull[d]));
	for (int d = 0; d < WT_DIM_COUNT; d++) {
		for (int c = 0; c <= d; c++)
			json_array_append_new(list, site_number(word->info[d][c]));
	}
	return list;
}

static bool word_read(const double *list, struct wt_learn_word *out)
{
	const size_t n = WT_DIM_COUNT;
	size_t k = n;

	*out = (struct wt_learn_word){0};
	if (!list)
		return false;
	for (size_t d = 0; d < n; d++) {
		out->pull[d] = list[d];
		for (size_t c = 0; c <= d; c++, k++)
			out->info[d][c] = out->info[c][d] = list[k];
	}
	return true;
}

static json_t *make(const struct site_job_load *done, bool final)
{
	const struct wt_members *members = done->posterior->members;
	double pace, pace_sd, moisture, moisture_sd;

	spread_of(members->theta[WT_DIM_PACE], members->n, &pace, &pace_sd);
	spread_of(members->theta[WT_DIM_MOISTURE], members->n, &moisture, &moisture_sd);
	json_t *record =
		json_pack("{s:i,s:I,s:b,s:o,s:o,s:o,s:o,s:o,s:o}", "load", done->load.number, "act",
			  (json_int_t)done->load.closing_act, "final", (int) final, "ready_unix_s",
			  site_time(done->view.ready_unix_s[SITE_P50]), "ready_p10_unix_s",
			  site_time(done->view.ready_unix_s[SITE_P10]), "ready_p90_unix_s",
			  site_time(done->view.ready_unix_s[SITE_P90]), "past_unix_s",
			  site_time(done->view.past_unix_s[SITE_P50]), "loss_closed_pct",
			  site_number(done->closed_loss_pct), "ready_from_loss_pct",
			  site_number(done->load_case.ready_from_loss_pct));
	json_object_update_new(
		record,
		json_pack("{s:f,s:f,s:f,s:f,s:f,s:f,s:f,s:f,s:i,s:o,s:o}", "pace_mean", pace,
			  "pace_sd", pace_sd, "moisture_mean", moisture, "moisture_sd", moisture_sd,
			  "prior_pace_mean", done->prior.mean[WT_DIM_PACE], "prior_pace_sd",
			  sqrt(done->prior.cov[WT_DIM_PACE][WT_DIM_PACE]), "prior_moisture_mean",
			  done->prior.mean[WT_DIM_MOISTURE], "prior_moisture_sd",
			  sqrt(done->prior.cov[WT_DIM_MOISTURE][WT_DIM_MOISTURE]), "n_weighings",
			  count_weighings(done), "feels", feel_pairs(done), "observations",
			  observation_list(done)));
	json_object_set_new(record, "first_observed_unix_s",
			    done->n_observations
				    ? json_integer(done->observations[0].seen.at_unix_s)
				    : json_null());
	json_object_set_new(record, "word", word_list(&done->posterior->report.word));
	return record;
}

/* The word is by far the most of a record: it is kept as numbers beside the rest. */
static void keep(struct site_load *load, const json_t *record)
{
	const json_t *list = json_object_get(record, "word");

	json_decref(load->closing);
	free(load->word);
	load->word = NULL;
	load->closing = json_copy((json_t *)(uintptr_t)record);
	if (!load->closing)
		abort();
	load->closing_final = json_is_true(json_object_get(record, "final"));
	json_object_del(load->closing, "word");
	if (json_array_size(list) != WORD_SIZE)
		return;
	load->word = site_alloc(WORD_SIZE * sizeof(*load->word));
	for (size_t i = 0; i < WORD_SIZE; i++)
		load->word[i] = json_number_value(json_array_get(list, i));
}

json_t *site_closing_document(const struct site_load *load)
{
	if (!load->closing)
		return json_null();
	json_t *document = json_copy(load->closing);
	if (load->word) {
		json_t *list = json_array();
		for (size_t i = 0; i < WORD_SIZE; i++)
			json_array_append_new(list, json_real(load->word[i]));
		json_object_set_new(document, "word", list);
	}
	return document;
}

void site_closing_make(struct wt_site *site, struct site_load *load, const struct wt_job *job,
		       const struct site_job_load *done)
{
	if (!done->view.known || !done->posterior)
		return;
	bool final = isfinite(done->view.ready_unix_s[SITE_P50]) ||
		     job->now_unix_s >= load->spread_unix_s + FINAL_AFTER_S;
	/* A record that is not final yet stands until it is. */
	if (load->closing && !final)
		return;
	json_t *record = make(done, final);
	keep(load, record);
	json_array_append_new(site->closings_out, record);
	/* The final record mostly teaches what the first one did. */
	site_drop(&site->taught);
}

json_t *wt_site_take_closings(struct wt_site *site)
{
	json_t *out = site->closings_out;

	site->closings_out = json_array();
	return out;
}

void wt_site_add_closing(struct wt_site *site, const json_t *closing)
{
	json_int_t number = json_integer_value(json_object_get(closing, "load"));
	struct site_load *load = site_load_get(site, (double)number);

	if (!load || load->state == SITE_OPEN ||
	    json_integer_value(json_object_get(closing, "act")) != load->closing_act)
		return;
	/* The last record of a load counts, a final one in any case. */
	if (load->closing_final && !json_is_true(json_object_get(closing, "final")))
		return;
	json_t *copy = json_deep_copy(closing);
	keep(load, copy);
	json_decref(copy);
	site_closing_forget(site);
	site->generation++;
}

static double real_of(const json_t *record, const char *name)
{
	const json_t *value = json_object_get(record, name);

	return json_is_number(value) ? json_number_value(value) : NAN;
}

static bool read_record(const struct site_load *load, struct wt_garden_record *out)
{
	/* Without holes of random content, for the hash over it. */
	memset(out, 0, sizeof(*out));
	out->origin = (int)load->origin;
	out->grade = load->grade;
	out->season = load->season;
	out->wet = load->wet;
	/* A load nobody looked at again taught nothing. */
	return word_read(load->word, &out->word);
}

static bool read_feel(const json_t *pair, struct wt_feel_pair *out)
{
	int step = 0;
	const char *text = json_string_value(json_object_get(pair, "step"));

	if (!text || wt_words_parse(WT_WORDS_FEEL, text, &step) != WT_OK)
		return false;
	out->step = (enum wt_feel)step;
	out->loss_pct = real_of(pair, "loss_pct");
	out->loss_sd_pct = real_of(pair, "loss_sd_pct");
	return isfinite(out->loss_pct) && isfinite(out->loss_sd_pct);
}

static void add_taught(const struct site_load *load, struct site_taught *taught, size_t *cap)
{
	const json_t *feels = json_object_get(load->closing, "feels"), *pair;
	size_t k, n = taught->n_records;

	if (read_record(load, &taught->records[n])) {
		taught->record_acts[n] = load->closing_act;
		taught->record_hashes[n] =
			site_hash((uint64_t)load->closing_act, &taught->records[n],
				  sizeof(taught->records[n]));
		taught->n_records++;
	}
	json_array_foreach(feels, k, pair)
	{
		site_grow(&taught->feel_pairs, taught->n_feel_pairs, cap,
			  sizeof(*taught->feel_pairs));
		if (read_feel(pair, &taught->feel_pairs[taught->n_feel_pairs]))
			taught->n_feel_pairs++;
	}
}

void site_closing_read(struct wt_site *site)
{
	size_t cap = 0;

	if (site->taught)
		return;
	site->taught = site_taught_new(site->n_loads);
	for (size_t i = 0; i < site->n_loads; i++) {
		const struct site_load *load = &site->loads[i];
		if (!load->gone && load->closing && load->state != SITE_OPEN)
			add_taught(load, site->taught, &cap);
	}
	struct site_taught *taught = site->taught;
	taught->key = site_hash(taught->n_records, taught->record_hashes,
				taught->n_records * sizeof(*taught->record_hashes));
	for (size_t i = 0; i < taught->n_feel_pairs; i++) {
		const struct wt_feel_pair *pair = &taught->feel_pairs[i];
		double parts[] = {(double)pair->step, pair->loss_pct, pair->loss_sd_pct};
		taught->key = site_hash(taught->key, parts, sizeof(parts));
	}
	if (site->lore && site->lore->key != taught->key)
		site_drop(&site->lore);
}

struct site_lore *site_lore_learn(const struct site_taught *taught)
{
	struct site_lore *lore = site_lore_new();

	lore->key = taught->key;
	if (taught->n_records &&
	    wt_gardens_fit(taught->records, taught->n_records, &lore->gardens) != WT_OK)
		lore->gardens = NULL;
	if (!taught->n_feel_pairs ||
	    wt_feel_scale_fit(taught->feel_pairs, taught->n_feel_pairs, &lore->feel) != WT_OK)
		wt_feel_scale_default(&lore->feel);
	return lore;
}

void site_closing_forget(struct wt_site *site)
{
	site_drop(&site->taught);
	site_drop(&site->lore);
}
