/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * A synthetic season played again by somebody who decides: the journal goes through the daemon's
 * engine as in --replay, and at each forecast the maker looks at the answer and acts.
 */
#ifndef WT_TESTS_SEASON_FOLLOW_H
#define WT_TESTS_SEASON_FOLLOW_H

#include <stdbool.h>
#include <stdint.h>

#include "daemon/engine.h"
#include "lib/decide.h"

enum { FOLLOW_LOADS = 401, FOLLOW_NOTES = 200, FOLLOW_WOKS = 8, FOLLOW_LOOK_S = 900 };

/* A load as it truly is, and what was done to it. */
struct follow_load {
	int64_t spread_unix_s, ready_unix_s, past_unix_s; /* 0: never */
	double said_kg;
	int n_notes;
	int64_t note_unix_s[FOLLOW_NOTES];
	double loss_pct[FOLLOW_NOTES], kg[FOLLOW_NOTES];
	int64_t weighed_unix_s; /* the last weighing of the journal so far; 0: none */
	double weighed_kg;
	int firings, fired;
	double fired_kg; /* as fresh leaf */
	bool asked;
	double due_unix_s; /* for rules that set a time; HUGE_VAL: not yet */
};

struct follow {
	const char *folder, *rule;
	struct wt_config *config;
	struct wt_store *store;
	struct wt_engine *engine;
	struct wt_costs costs;
	struct follow_load loads[FOLLOW_LOADS]; /* by number */
	int n_loads;
	double wok_free_unix_s[FOLLOW_WOKS];
	bool keeps_fixes; /* of the journal */
	void (*look)(struct follow *follow, int64_t at_unix_s);
	int refused;
	uint64_t random;
};

void follow_open(struct follow *follow, const char *folder, const char *rule, bool with_engine);
/* Plays the journal to its end, looking every FOLLOW_LOOK_S. */
void follow_play(struct follow *follow);
void follow_close(struct follow *follow);

json_t *follow_ask(struct follow *follow, const char *method, int64_t at_unix_s);
/* An act; false when refused. */
bool follow_act(struct follow *follow, int64_t at_unix_s, const char *method, json_t *params);
/* True weight at a time, between the notes. */
double follow_kg(const struct follow_load *load, double at_unix_s);

/* Hours of the fire, UTC. */
double follow_hour(double at_unix_s);
bool follow_hearth_open(const struct follow *follow, double at_unix_s);
int64_t follow_last_start(const struct follow *follow, int64_t at_unix_s);

double follow_uniform(struct follow *follow);
double follow_normal(struct follow *follow);

/* One firing begins: paid for by the truth and written out. */
void follow_fire(struct follow *follow, int load, int wok, double at_unix_s);
/* Firings of loads whose time has come, up to the next look. */
void follow_due(struct follow *follow, int64_t at_unix_s);

#endif /* WT_TESTS_SEASON_FOLLOW_H */
