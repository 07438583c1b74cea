/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * A small made-up world to try decisions in: leaf that loses weight at its own
 * pace times the air's drying power, which wanders.  The truth is drawn from the
 * same distribution as the members unless told otherwise.
 */
#ifndef WT_TESTS_DECIDE_SEASON_H
#define WT_TESTS_DECIDE_SEASON_H

#include <stdbool.h>

#include "decide/synthetic.h"
#include "lib/decide.h"

#define SEASON_STEP_S 900
#define SEASON_STEPS 256 /* from 06:00, 64 hours */
#define SEASON_LOADS_MAX 8
#define SEASON_MEMBERS 256
#define SEASON_WEIGHINGS_MAX 4

/* 06:00 of the day; 16:00 is SYNTHETIC_NOW. */
#define SEASON_START (SYNTHETIC_NOW - 10 * 3600)
#define SEASON_AT(step) (SEASON_START + (int64_t)(step)*SEASON_STEP_S)
#define SEASON_STEP_OF(hour) ((int)(((hour)-6) * 4))

/* What the forecaster believes against what is so. */
struct season_error {
	double pace_factor;   /* members' paces are so much off */
	double spread_factor; /* and their scatter */
};

struct season_weighing {
	int step;
	double loss_pct, sd_loss_pct;
};

struct season_leaf {
	int number, spread_step, firings_left;
	double kg, pace, ready_unix_s, past_unix_s; /* the truth */
	struct season_weighing weighing[SEASON_WEIGHINGS_MAX];
	int n_weighings;
};

struct season_evening {
	struct wt_hearth hearth;
	struct season_error error;
	double air[SEASON_STEPS]; /* loss of leaf of pace 1 in a step, % */
	double mood[SEASON_STEPS];
	struct season_leaf leaf[SEASON_LOADS_MAX];
	int n_leaf;
	/* members as of the last season_forecast() */
	double ready_unix_s[SEASON_LOADS_MAX][SEASON_MEMBERS];
	double past_unix_s[SEASON_LOADS_MAX][SEASON_MEMBERS];
	double pace[SEASON_LOADS_MAX][SEASON_MEMBERS];
	double path[SEASON_MEMBERS][SEASON_STEPS]; /* loss of pace 1 from 06:00, % */
	struct wt_decide_load load[SEASON_LOADS_MAX];
};

void season_evening_draw(struct season_evening *e, struct synthetic_random *r, int woks,
			 struct season_error error);
/* The maker weighs: the truth with an error of the scale. */
void season_weigh(struct season_evening *e, struct synthetic_random *r, int leaf, int step,
		  double sd_loss_pct);
/* Members of every load with leaf left, into e->load (in order); returns how many.  The hearth's
 * hours are moved to those that hold at the step. */
size_t season_forecast(struct season_evening *e, struct synthetic_random *r, int step,
		       int index[SEASON_LOADS_MAX]);
double season_loss(const struct season_evening *e, int leaf, int member, int step);

/* Cost of one firing of the leaf, started at a step, against the truth: as published. */
double season_cost(const struct season_evening *e, const struct wt_costs *costs, int leaf,
		   int step);
/* Hours burn 06:00-22:00 on every day. */
bool season_open(int step);

#endif /* WT_TESTS_DECIDE_SEASON_H */
