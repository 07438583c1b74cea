/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * What a closed load taught: kept as a record of its own, so that the readings
 * behind it may be thinned.
 */
#include <math.h>
#include <stddef.h>
#include <string.h>

#include "daemon/site_inner.h"

/* A load's last word is spoken when it has been ready in the hindcast, or this long after
 * spreading. */
#define FINAL_AFTER_S (48 * (int64_t)SITE_HOUR_S)

/* --- as it is stored ------------------------------------------------------------------------- */

enum kind { NUMBER, TIME, COUNT };
#define FIELD(name, kind)                                                                          \
	{                                                                                          \
#name, offsetof(struct site_closing, name), kind                                   \
	}

static const struct field {
	const char *name;
	size_t at;
	enum kind kind;
} fields[] = {
	FIELD(ready_unix_s, TIME),          FIELD(ready_p10_unix_s, TIME),
	FIELD(ready_p90_unix_s, TIME),      FIELD(past_unix_s, TIME),
	FIELD(loss_closed_pct, NUMBER),     FIELD(ready_from_loss_pct, NUMBER),
	FIELD(pace_mean, NUMBER),           FIELD(pace_sd, NUMBER),
	FIELD(moisture_mean, NUMBER),       FIELD(moisture_sd, NUMBER),
	FIELD(prior_pace_mean, NUMBER),     FIELD(prior_pace_sd, NUMBER),
	FIELD(prior_moisture_mean, NUMBER), FIELD(prior_moisture_sd, NUMBER),
	FIELD(n_weighings, COUNT),          FIELD(first_observed_unix_s, TIME),
};
#define N_FIELDS (sizeof(fields) / sizeof(fields[0]))

static double *field_of(struct site_closing *closing, size_t i)
{
	return (double *)(void *)((char *)closing + fields[i].at);
}

/* The load's word for the gardens: pull, and the lower half of info row by row. */
#define WORD_PULL WT_DIM_COUNT
#define WORD_INFO (sizeof((struct wt_learn_word){0}.info) / sizeof(double))

static json_t *word_list(const struct wt_learn_word *word)
{
	json_t *list = json_array();

	for (size_t i = 0; i < WORD_PULL; i++)
		json_array_append_new(list, site_number(word->pull[i]));
	for (size_t i = 0; i < WORD_INFO; i++)
		json_array_append_new(list, site_number(word->info[i]));
	return list;
}

static bool read_word(const json_t *list, struct wt_learn_word *out)
{
	if (json_array_size(list) != WORD_PULL + WORD_INFO)
		return false;
	for (size_t i = 0; i < WORD_PULL; i++)
		out->pull[i] = json_number_value(json_array_get(list, i));
	for (size_t i = 0; i < WORD_INFO; i++)
		out->info[i] = json_number_value(json_array_get(list, WORD_PULL + i));
	return true;
}

static json_t *feel_list(const struct site_closing *closing)
{
	json_t *list = json_array();

	for (size_t i = 0; i < closing->n_feels; i++) {
		const struct wt_feel_pair *pair = &closing->feels[i];
		json_array_append_new(list, json_pack("{s:s,s:f,s:f}", "step",
						      wt_words_text(WT_WORDS_FEEL, (int)pair->step),
						      "loss_pct", pair->loss_pct, "loss_sd_pct",
						      pair->loss_sd_pct));
	}
	return list;
}

static json_t *seen_list(const struct site_closing *closing)
{
	json_t *list = json_array();

	for (size_t i = 0; i < closing->n_seen; i++) {
		const struct wt_observation_report *report = &closing->seen[i].report;
		json_array_append_new(list, json_pack("{s:I,s:o,s:o,s:o}", "act",
						      (json_int_t)closing->seen[i].act, "expected",
						      site_number(report->expected), "surprise",
						      site_number(report->surprise), "trust",
						      site_number(report->trust)));
	}
	return list;
}

json_t *site_closing_document(const struct site_load *load)
{
	struct site_closing *closing = load->closing;

	if (!closing)
		return json_null();
	json_t *document =
		json_pack("{s:i,s:I,s:b,s:o,s:o}", "load", load->number, "act",
			  (json_int_t)closing->act, "final", (int)closing->final, "feels",
			  feel_list(closing), "observations", seen_list(closing));
	for (size_t i = 0; i < N_FIELDS; i++) {
		double value = *field_of(closing, i);
		json_object_set_new(document, fields[i].name,
				    fields[i].kind == NUMBER ? site_number(value)
							     : site_time(value));
	}
	if (closing->heard)
		json_object_set_new(document, "word", word_list(&closing->record.word));
	return document;
}

static bool read_feel(const json_t *pair, struct wt_feel_pair *out)
{
	int step = 0;
	const char *text = json_string_value(json_object_get(pair, "step"));

	if (!text || wt_words_parse(WT_WORDS_FEEL, text, &step) != WT_OK)
		return false;
	out->step = (enum wt_feel)step;
	out->loss_pct = site_real(pair, "loss_pct");
	out->loss_sd_pct = site_real(pair, "loss_sd_pct");
	return isfinite(out->loss_pct) && isfinite(out->loss_sd_pct);
}

static struct site_closing *read_document(const json_t *document)
{
	const json_t *seen = json_object_get(document, "observations"), *one;
	const json_t *feels = json_object_get(document, "feels");
	struct site_closing *it = site_closing_new(json_array_size(seen), json_array_size(feels));
	size_t k;

	it->act = json_integer_value(json_object_get(document, "act"));
	it->final = json_is_true(json_object_get(document, "final"));
	for (size_t i = 0; i < N_FIELDS; i++)
		*field_of(it, i) = site_real(document, fields[i].name);
	if (isnan(it->n_weighings))
		it->n_weighings = 0.0;
	if (json_is_null(json_object_get(document, "past_unix_s")))
		it->past_unix_s = HUGE_VAL;
	json_array_foreach(seen, k, one) it->seen[it->n_seen++] = (struct site_seen){
		json_integer_value(json_object_get(one, "act")),
		{site_real(one, "expected"), site_real(one, "surprise"), site_real(one, "trust")}};
	json_array_foreach(feels, k, one) it->n_feels += read_feel(one, &it->feels[it->n_feels]);
	it->heard = read_word(json_object_get(document, "word"), &it->record.word);
	return it;
}

/* --- made ------------------------------------------------------------------------------------ */

static void take_feels(const struct site_job_load *done, struct site_closing *out)
{
	for (size_t i = 0; done->view.known && i < done->n_observations; i++) {
		const struct wt_observation *seen = &done->observations[i].seen;
		double p[3];
		if (seen->kind != WT_OBSERVED_FEEL)
			continue;
		site_view_mark(&done->view, i, p);
		/* 10 and 90 % quantiles of a normal lie 2.563 sd apart. */
		double sd = (p[2] - p[0]) / 2.563;
		if (isfinite(p[1]) && isfinite(sd))
			out->feels[out->n_feels++] =
				(struct wt_feel_pair){p[1], sd, (enum wt_feel)seen->value};
	}
}

static void take_seen(const struct site_job_load *done, struct site_closing *out)
{
	for (size_t i = 0; i < done->n_observations && i < done->posterior->n_reports; i++) {
		const struct site_observation *it = &done->observations[i];
		if (it->seen.kind != WT_OBSERVED_CELL)
			out->seen[out->n_seen++] =
				(struct site_seen){it->act, done->posterior->reports[i]};
	}
}

/* Observations that are, or are not, of a kind. */
static size_t count(const struct site_job_load *done, enum wt_observation_kind kind, bool are)
{
	size_t n = 0;

	for (size_t i = 0; i < done->n_observations; i++)
		n += (done->observations[i].seen.kind == kind) == are;
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

static double whole(double value)
{
	return isfinite(value) ? round(value) : NAN;
}

static struct site_closing *make(const struct site_job_load *done, bool final)
{
	const struct wt_members *members = done->posterior->members;
	const double *ready_unix_s = done->view.ready_unix_s;
	struct site_closing *it = site_closing_new(count(done, WT_OBSERVED_CELL, false),
						   count(done, WT_OBSERVED_FEEL, true));

	it->act = done->load.closing_act;
	it->final = final;
	it->ready_unix_s = whole(ready_unix_s[SITE_P50]);
	it->ready_p10_unix_s = whole(ready_unix_s[SITE_P10]);
	it->ready_p90_unix_s = whole(ready_unix_s[SITE_P90]);
	it->past_unix_s = isfinite(done->view.past_unix_s[SITE_P50])
				  ? round(done->view.past_unix_s[SITE_P50])
				  : HUGE_VAL;
	it->loss_closed_pct = done->closed_loss_pct;
	it->ready_from_loss_pct = done->load_case.ready_from_loss_pct;
	spread_of(members->theta[WT_DIM_PACE], members->n, &it->pace_mean, &it->pace_sd);
	spread_of(members->theta[WT_DIM_MOISTURE], members->n, &it->moisture_mean,
		  &it->moisture_sd);
	it->prior_pace_mean = done->prior.mean[WT_DIM_PACE];
	it->prior_pace_sd = sqrt(done->prior.cov[WT_DIM_PACE][WT_DIM_PACE]);
	it->prior_moisture_mean = done->prior.mean[WT_DIM_MOISTURE];
	it->prior_moisture_sd = sqrt(done->prior.cov[WT_DIM_MOISTURE][WT_DIM_MOISTURE]);
	it->n_weighings = (double)count(done, WT_OBSERVED_FEEL, false);
	it->first_observed_unix_s =
		done->n_observations ? (double)done->observations[0].seen.at_unix_s : NAN;
	take_seen(done, it);
	take_feels(done, it);
	it->heard = true;
	it->record.word = done->posterior->report.word;
	return it;
}

/* --- kept ------------------------------------------------------------------------------------ */

/* What is not a number is stored as none, and read as saying nothing. */
static void mend(double *values, size_t n)
{
	for (size_t i = 0; i < n; i++)
		values[i] = isfinite(values[i]) ? values[i] : 0.0;
}

/* Takes the closing over. */
static void keep(struct site_load *load, struct site_closing *closing)
{
	struct wt_garden_record *record = &closing->record;

	record->origin = (int)load->origin;
	record->grade = load->grade;
	record->season = load->season;
	record->wet = load->wet;
	mend(record->word.pull, WORD_PULL);
	mend(record->word.info, WORD_INFO);
	closing->hash = site_hash((uint64_t)closing->act, record, sizeof(*record));
	for (size_t i = 0; i < closing->n_feels; i++) {
		const struct wt_feel_pair *pair = &closing->feels[i];
		double parts[] = {(double)pair->step, pair->loss_pct, pair->loss_sd_pct};
		closing->hash = site_hash(closing->hash, parts, sizeof(parts));
	}
	site_drop(&load->closing);
	load->closing = closing;
}

bool site_closing_final(const struct site_load *load)
{
	return load->closing && load->closing->final;
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
	keep(load, make(done, final));
	json_array_append_new(site->closings_out, site_closing_document(load));
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
	if (site_closing_final(load) && !json_is_true(json_object_get(closing, "final")))
		return;
	keep(load, read_document(closing));
	site_closing_forget(site);
	site->generation++;
}

/* --- learned from ---------------------------------------------------------------------------- */

void site_closing_read(struct wt_site *site)
{
	if (site->taught)
		return;
	struct site_taught *taught = site_taught_new(site->n_loads);
	for (size_t i = 0; i < site->n_loads; i++) {
		const struct site_load *load = &site->loads[i];
		if (load->gone || !load->closing || load->state == SITE_OPEN)
			continue;
		taught->closings[taught->n++] = site_take(load->closing);
		taught->key = site_mix(taught->key, load->closing->hash);
	}
	site->taught = taught;
	if (site->lore && site->lore->key != taught->key)
		site_drop(&site->lore);
}

struct wt_gardens *site_lore_gardens(const struct site_taught *taught, int64_t before_act)
{
	const struct wt_garden_record **records = site_alloc((taught->n + 1) * sizeof(*records));
	struct wt_gardens *gardens = NULL;
	size_t n = 0;

	/* A load nobody looked at again taught nothing. */
	for (size_t i = 0; i < taught->n; i++) {
		if (taught->closings[i]->heard && taught->closings[i]->act < before_act)
			records[n++] = &taught->closings[i]->record;
	}
	if (n && wt_gardens_fit(records, n, &gardens) != WT_OK)
		gardens = NULL;
	free(records);
	return gardens;
}

static void learn_feel(const struct site_taught *taught, struct wt_feel_scale *out)
{
	struct wt_feel_pair *pairs = NULL;
	size_t n = 0, cap = 0;

	for (size_t i = 0; i < taught->n; i++) {
		for (size_t k = 0; k < taught->closings[i]->n_feels; k++) {
			site_grow(&pairs, n, &cap, sizeof(*pairs));
			pairs[n++] = taught->closings[i]->feels[k];
		}
	}
	if (!n || wt_feel_scale_fit(pairs, n, out) != WT_OK)
		wt_feel_scale_default(out);
	free(pairs);
}

struct site_lore *site_lore_learn(const struct site_taught *taught)
{
	struct site_lore *lore = site_lore_new();

	lore->key = taught->key;
	lore->gardens = site_lore_gardens(taught, INT64_MAX);
	learn_feel(taught, &lore->feel);
	return lore;
}

void site_closing_forget(struct wt_site *site)
{
	site_drop(&site->taught);
	site_drop(&site->lore);
}
