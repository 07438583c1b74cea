/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "follow.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>

#include "lib/wire/journal.h"

static void die(const char *what, const char *about)
{
	fprintf(stderr, "%s: %s\n", about, what);
	exit(1);
}

/* --- opening --------------------------------------------------------------------------------- */

static FILE *open_in(const struct follow *follow, const char *name)
{
	char path[4096];
	snprintf(path, sizeof path, "%s/%s", follow->folder, name);
	FILE *file = fopen(path, "re");
	if (!file)
		die("cannot be read", path);
	return file;
}

static void read_truth(struct follow *follow)
{
	FILE *file = open_in(follow, "truth.csv");
	char line[512];
	while (fgets(line, sizeof line, file)) {
		long long spread, ready, fixed, past;
		int number;
		if (sscanf(line, "%d,%*[^,],%lld,%lld,%lld,%*f,%*f,%lld", &number, &spread, &ready,
			   &fixed, &past) != 5 ||
		    number < 1 || number >= FOLLOW_LOADS)
			continue;
		follow->loads[number] = (struct follow_load){.spread_unix_s = spread,
							     .ready_unix_s = ready,
							     .past_unix_s = past,
							     .due_unix_s = HUGE_VAL};
		follow->n_loads = number > follow->n_loads ? number : follow->n_loads;
	}
	fclose(file);
}

static void read_leaf(struct follow *follow)
{
	FILE *file = open_in(follow, "leaf.csv");
	char line[256];
	while (fgets(line, sizeof line, file)) {
		long long at;
		double loss_pct, kg;
		int number;
		if (sscanf(line, "%d,%lld,%lf,%lf", &number, &at, &loss_pct, &kg) != 4)
			continue;
		struct follow_load *load = &follow->loads[number];
		if (load->n_notes == FOLLOW_NOTES)
			continue;
		load->note_unix_s[load->n_notes] = at;
		load->loss_pct[load->n_notes] = loss_pct;
		load->kg[load->n_notes++] = kg;
	}
	fclose(file);
}

static void run_tick(void *context, struct wt_job *job, int64_t tick_unix_s)
{
	struct follow *follow = context;
	wt_job_run(job);
	wt_engine_adopt(follow->engine, &job, tick_unix_s);
}

static void start_engine(struct follow *follow)
{
	char path[4096], text[512];
	bool set_aside;
	snprintf(path, sizeof path, "%s/%s.db", follow->folder, follow->rule);
	(void)remove(path);
	if (wt_store_open(path, &follow->store, &set_aside, text, sizeof text) != WT_STORE_OK)
		die(text, path);
	struct wt_engine_setup setup = {.config = follow->config,
					.store = follow->store,
					.replay = true,
					.tick = run_tick,
					.context = follow};
	follow->engine = wt_engine_new(&setup);
	if (!follow->engine)
		die("out of memory", path);
}

void follow_open(struct follow *follow, const char *folder, const char *rule, bool with_engine)
{
	char path[4096];
	*follow = (struct follow){.folder = folder, .rule = rule, .random = 1};
	wt_costs_default(&follow->costs);
	snprintf(path, sizeof path, "%s/season.ini", folder);
	if (wt_config_read(path, stderr, &follow->config) != 0)
		exit(1);
	setenv("TZ", "UTC", 1);
	tzset();
	if (follow->config->woks > FOLLOW_WOKS)
		die("too many woks", path);
	read_truth(follow);
	read_leaf(follow);
	if (with_engine)
		start_engine(follow);
}

void follow_close(struct follow *follow)
{
	if (follow->engine)
		(void)wt_engine_commit(follow->engine, true);
	wt_engine_free(&follow->engine);
	if (follow->store)
		wt_store_close(&follow->store);
	wt_config_free(&follow->config);
}

/* --- the engine ------------------------------------------------------------------------------ */

/* As the daemon does before it answers: a forecast that knows of the last act. */
static void refresh(struct follow *follow, int64_t at_unix_s)
{
	struct wt_site *site = wt_engine_site(follow->engine);
	if (wt_site_forecast_unix_s(site) == at_unix_s &&
	    wt_site_forecast_generation(site) == wt_site_generation(site))
		return;
	struct wt_job *job = wt_site_job(site, at_unix_s, false);
	wt_job_run(job);
	wt_engine_adopt(follow->engine, &job, 0);
}

json_t *follow_ask(struct follow *follow, const char *method, int64_t at_unix_s)
{
	refresh(follow, at_unix_s);
	struct wt_refusal refusal = {0};
	json_t *answer =
		wt_site_query(wt_engine_site(follow->engine), method, NULL, at_unix_s, &refusal);
	if (!answer)
		die(refusal.text, method);
	return answer;
}

bool follow_act(struct follow *follow, int64_t at_unix_s, const char *method, json_t *params)
{
	struct wt_refusal refusal = {0};
	json_t *result = NULL;
	bool done = wt_engine_call(follow->engine, at_unix_s * 1000 + 1, method, params, &result,
				   &refusal);
	json_decref(result);
	json_decref(params);
	follow->refused += !done;
	if (!done)
		fprintf(stderr, "%s: %s refused: %s\n", follow->rule, method, refusal.text);
	return done;
}

static void play_call(struct follow *follow, const struct wt_journal_entry *entry)
{
	int number = (int)json_integer_value(json_object_get(entry->params, "load"));
	struct follow_load *load = &follow->loads[number];
	struct wt_refusal refusal = {0};
	json_t *result = NULL;
	if (strcmp(entry->method, "fix") == 0 && !follow->keeps_fixes)
		return;
	if (strcmp(entry->method, "weigh") == 0) {
		load->weighed_unix_s = entry->at_unix_ms / 1000;
		load->weighed_kg = json_number_value(json_object_get(entry->params, "kg"));
	}
	/* What the journal does to a load that is in the wok already is refused, rightly. */
	if (follow->engine)
		(void)wt_engine_call(follow->engine, entry->at_unix_ms, entry->method,
				     entry->params, &result, &refusal);
	json_decref(result);
}

static void note_spread(struct follow *follow, const struct wt_journal_entry *entry, int *spread)
{
	if (entry->kind != WT_JOURNAL_CALL || strcmp(entry->method, "spread") != 0)
		return;
	struct follow_load *load = &follow->loads[++*spread];
	load->said_kg = json_number_value(json_object_get(entry->params, "kg"));
	load->firings = (int)wt_decide_firings(load->said_kg, follow->config->wok_kg);
}

static void play(struct follow *follow, const struct wt_journal_entry *entry)
{
	char why[512];
	struct wt_message message = {.at_unix_ms = entry->at_unix_ms,
				     .topic = entry->topic,
				     .payload = entry->payload,
				     .length = entry->payload_length};
	if (entry->kind == WT_JOURNAL_CALL)
		play_call(follow, entry);
	else if (!follow->engine)
		return;
	else if (entry->kind == WT_JOURNAL_MESSAGE)
		wt_engine_message(follow->engine, &message);
	else if (!wt_engine_outlook(follow->engine, entry->at_unix_ms, entry->document, why,
				    sizeof why))
		die(why, "outlook");
}

static void look(struct follow *follow, int64_t at_unix_s)
{
	if (follow->engine)
		wt_engine_advance(follow->engine, at_unix_s * 1000 + 1);
	follow->look(follow, at_unix_s);
}

void follow_play(struct follow *follow)
{
	FILE *file = open_in(follow, "journal.jsonl");
	struct wt_journal_entry entry;
	int64_t next_unix_s = 0;
	char *line = NULL, why[512];
	size_t capacity = 0;
	ssize_t length;
	int spread = 0;
	while ((length = getline(&line, &capacity, file)) >= 0) {
		if (!wt_journal_parse(line, (size_t)length, &entry, why, sizeof why))
			die(why, "journal.jsonl");
		if (!next_unix_s)
			next_unix_s = entry.at_unix_ms / 1000 / FOLLOW_LOOK_S * FOLLOW_LOOK_S +
				      FOLLOW_LOOK_S;
		/* What falls on a look comes before it. */
		for (; next_unix_s * 1000 < entry.at_unix_ms; next_unix_s += FOLLOW_LOOK_S)
			look(follow, next_unix_s);
		note_spread(follow, &entry, &spread);
		play(follow, &entry);
		wt_journal_clear(&entry);
	}
	free(line);
	fclose(file);
}

/* --- the truth ------------------------------------------------------------------------------- */

double follow_kg(const struct follow_load *load, double at_unix_s)
{
	int k = 0;
	while (k + 1 < load->n_notes && (double)load->note_unix_s[k + 1] <= at_unix_s)
		k++;
	if (k + 1 >= load->n_notes)
		return load->kg[k];
	double share = (at_unix_s - (double)load->note_unix_s[k]) /
		       (double)(load->note_unix_s[k + 1] - load->note_unix_s[k]);
	return load->kg[k] + (load->kg[k + 1] - load->kg[k]) * fmin(fmax(share, 0), 1);
}

double follow_hour(double at_unix_s)
{
	return fmod(at_unix_s, 86400) / 3600;
}

bool follow_hearth_open(const struct follow *follow, double at_unix_s)
{
	double minute = 60 * follow_hour(at_unix_s);
	return minute >= follow->config->first_start_min &&
	       minute <= follow->config->last_start_min;
}

int64_t follow_last_start(const struct follow *follow, int64_t at_unix_s)
{
	return at_unix_s / 86400 * 86400 + 60 * follow->config->last_start_min;
}

double follow_uniform(struct follow *follow)
{
	/* SplitMix64 (Steele, Lea and Flood 2014; as open code has it). */
	uint64_t z = (follow->random += 0x9e3779b97f4a7c15u);
	z = (z ^ (z >> 30)) * 0xbf58476d1ce4e5b9u;
	z = (z ^ (z >> 27)) * 0x94d049bb133111ebu;
	return (double)((z ^ (z >> 31)) >> 11) / 9007199254740992.0;
}

double follow_normal(struct follow *follow)
{
	double u = 1 - follow_uniform(follow), v = follow_uniform(follow);
	return sqrt(-2 * log(u)) * cos(6.283185307179586 * v);
}

static double capped(double hours, double per_h, double most)
{
	return hours <= 0 ? 0 : fmin(hours * per_h, most);
}

/* The published cost of one firing, against the truth. */
static double cost_of(const struct follow *follow, const struct follow_load *load, double at_s)
{
	const struct wt_costs *c = &follow->costs;
	double ready_s = load->ready_unix_s ? (double)load->ready_unix_s : HUGE_VAL;
	double past_s = load->past_unix_s ? (double)load->past_unix_s : HUGE_VAL;
	double late_h = (60 * follow_hour(at_s) - follow->config->last_start_min) / 60 +
			c->late_before_last_h;
	int nights = 0;
	for (int64_t last_s = follow_last_start(follow, load->spread_unix_s);
	     (double)last_s + 6 * 3600 < at_s; last_s += 86400)
		nights += ready_s <= (double)last_s;
	return capped((ready_s - at_s) / 3600, c->under_per_h, c->under_most) +
	       capped((at_s - past_s) / 3600, c->over_per_h, c->over_most) +
	       (at_s < ready_s || at_s >= past_s ? c->outside : 0) +
	       fmax(0, late_h) * c->late_night_per_h + nights * c->overnight;
}

void follow_fire(struct follow *follow, int number, int wok, double at_s)
{
	struct follow_load *load = &follow->loads[number];
	bool early = !load->ready_unix_s || at_s < (double)load->ready_unix_s;
	bool late = load->past_unix_s && at_s >= (double)load->past_unix_s;
	follow->wok_free_unix_s[wok] =
		at_s + 60 * follow->config->minutes_by_season[WT_SEASON_SPRING];
	load->fired++;
	printf("fire,%s,%d,%.0f,%.4f,%d\n", follow->rule, number, at_s, cost_of(follow, load, at_s),
	       early ? -1 : late);
}

static int next_due(const struct follow *follow, double before_s)
{
	int best = 0;
	for (int i = 1; i <= follow->n_loads; i++) {
		const struct follow_load *load = &follow->loads[i];
		if (load->fired >= load->firings || !(load->due_unix_s < before_s))
			continue;
		if (!best || load->due_unix_s < follow->loads[best].due_unix_s)
			best = i;
	}
	return best;
}

static void fix(struct follow *follow, int64_t at_unix_s, int number)
{
	if (follow->engine && follow->loads[number].fired == follow->loads[number].firings)
		(void)follow_act(follow, at_unix_s, "fix", json_pack("{s:i}", "load", number));
}

void follow_due(struct follow *follow, int64_t at_unix_s)
{
	double end_s = (double)at_unix_s + FOLLOW_LOOK_S;
	for (int wok = 0; wok < follow->config->woks; wok++) {
		for (;;) {
			int number = next_due(follow, end_s);
			if (!number)
				return;
			double start_s = fmax(fmax(follow->loads[number].due_unix_s,
						   follow->wok_free_unix_s[wok]),
					      (double)at_unix_s);
			if (start_s >= end_s || !follow_hearth_open(follow, start_s))
				break;
			follow_fire(follow, number, wok, start_s);
			fix(follow, at_unix_s, number);
		}
	}
}
