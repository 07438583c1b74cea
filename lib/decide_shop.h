/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * The firing plan as a scheduling problem, apart from leaf and hours: jobs of a
 * few classes on equal machines, starts on a grid, each class with its own cost
 * of starting at each step.  Internal to lib/decide*.c and their tests.
 */
#ifndef WT_LIB_DECIDE_SHOP_H
#define WT_LIB_DECIDE_SHOP_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "lib/decide.h"

struct wt_shop {
	int woks;
	int n_steps; /* starts are 0 .. n_steps - 1 */
	int n_classes;
	int *duration_steps; /* per class, at least 1 */
	int *count;          /* jobs per class */
	double *cost;        /* [class * n_steps + start]; INFINITY: no start there */
	double *leave;       /* per class: cost of not doing a job at all */
};

/* One start per job, jobs in order of class; -1: left undone. */
struct wt_shop_plan {
	size_t n;
	int *job_class;
	int *start;
	double cost;
};

/* Arrays of a shop, zeroed.  On error *shop is unchanged. */
enum wt_status wt_shop_init(struct wt_shop *shop, int woks, int n_classes,
			    int n_steps) WT_MUST_CHECK;
void wt_shop_clear(struct wt_shop *shop);
void wt_shop_plan_clear(struct wt_shop_plan *plan);

int wt_shop_jobs(const struct wt_shop *shop);

/* Inner steps that a plan of this size deserves where it cannot be proved: a round of insertion
 * costs about the square of the jobs.  Some milliseconds for 15 jobs, some 40 for 60. */
uint64_t wt_shop_effort(const struct wt_shop *shop);

/* Construct and improve: assignment to packed places where all jobs last as long, insertion with
 * re-timing, then kicks until they gain no more or `effort` inner steps are used.  Deterministic.
 */
enum wt_status wt_shop_search(const struct wt_shop *shop, uint64_t effort, uint64_t seed,
			      struct wt_shop_plan *out) WT_MUST_CHECK;

/* Proves or improves *plan (a plan of the same shop) to the optimum by dynamic programming in
 * order of time.  Jobs must last equally long.  WT_ERR_NOCONV when more than max_nodes states
 * would be needed: *plan is then unchanged. */
enum wt_status wt_shop_exact(const struct wt_shop *shop, size_t max_nodes,
			     struct wt_shop_plan *plan) WT_MUST_CHECK;

/* Moves jobs to earlier starts where that costs nothing, then swaps jobs of equal length between
 * places where that costs nothing and jobs of a class then follow each other more often. */
enum wt_status wt_shop_tidy(const struct wt_shop *shop, struct wt_shop_plan *plan) WT_MUST_CHECK;

/* States per step that wt_shop_exact() may meet, before pruning; HUGE_VAL when beyond count. */
double wt_shop_exact_states(const struct wt_shop *shop);

/* Minimum-cost assignment of n rows to m >= n columns; cost [row * m + column], finite.
 * column[row] receives the answer. */
enum wt_status wt_shop_assign(size_t n, size_t m, const double *cost, int *column) WT_MUST_CHECK;

/* The hours of a hearth on the grid. */
struct wt_slots {
	int n_evening;  /* steps 0 .. n_evening - 1 are tonight */
	int morning_at; /* first step of the morning; between the two no start is allowed */
	int n_steps;
	int firing_steps;
	double step_s;
	double evening_unix_s, morning_unix_s; /* of steps 0 and morning_at */
};
enum wt_status wt_slots_of(const struct wt_hearth *hearth, int64_t now_unix_s,
			   struct wt_slots *out) WT_MUST_CHECK;
double wt_slots_unix_s(const struct wt_slots *slots, int step);

enum wt_status wt_costs_check(const struct wt_costs *costs) WT_MUST_CHECK;

/* Expected cost to the leaf (too early, too late) of firing at each of n ascending times. */
enum wt_status wt_decide_leaf_cost(const struct wt_costs *costs, const struct wt_decide_load *load,
				   const double *at_unix_s, size_t n, double *out) WT_MUST_CHECK;

/* Expected cost per firing at every step, INFINITY between the blocks, and of leaving the load;
 * leaf (may be NULL) receives the leaf's part alone.  Arrays of slots->n_steps. */
enum wt_status wt_slots_cost(const struct wt_slots *slots, const struct wt_hearth *hearth,
			     const struct wt_costs *costs, const struct wt_decide_load *load,
			     double *cost, double *leaf, double *leave) WT_MUST_CHECK;

/* What a start costs beside the leaf: late night, night kept, preference.  p_ready: chance of
 * ready before the last start. */
double wt_decide_start_cost(const struct wt_slots *slots, const struct wt_hearth *hearth,
			    const struct wt_costs *costs, enum wt_prefer prefer, double p_ready,
			    int step);

/* Share of members with value <= limit. */
double wt_decide_share_by(const double *unix_s, size_t n, double limit_unix_s);

/* A number and whose it is. */
struct wt_valued {
	double value;
	uint32_t member;
	bool half;
};
/* Sorts ascending by value, equal ones kept in order.  spare: n more of them to work in.  No NAN.
 */
void wt_decide_sort(struct wt_valued *items, struct wt_valued *spare, size_t n);

#endif /* WT_LIB_DECIDE_SHOP_H */
