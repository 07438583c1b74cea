/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * The evening's decision: calls, the firing plan, what would settle it.  Works
 * on the members' ready and past-best times, so it knows nothing of leaf or air.
 *
 * All costs, margins and thresholds here are our own choice; none is a standard.
 * They are listed with struct wt_costs and in wt_decide_calls().
 */
#ifndef WT_LIB_DECIDE_H
#define WT_LIB_DECIDE_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "lib/status.h"
#include "lib/words.h"

#define WT_DECIDE_WOKS_MAX 64
/* A hearth's hours may not reach further than this from now. */
#define WT_DECIDE_SPAN_MAX_S (4 * 86400)

/* The hearth tonight and tomorrow.  Times unix seconds, so a change of the clocks is only a
 * longer or shorter night.  Until the morning's first start has come, "tonight" should stay the
 * night before: a call made at 23:00 then still means the same at 02:00. */
struct wt_hearth {
	int woks; /* 0: nothing can be fired */
	double wok_kg;
	double firing_s;              /* one firing, by season */
	int64_t evening_from_unix_s;  /* earliest firing tonight: now, or first start of today */
	int64_t last_start_unix_s;    /* latest start of a firing tonight */
	int64_t first_start_unix_s;   /* earliest start tomorrow morning */
	int64_t morning_until_unix_s; /* latest start tomorrow (tomorrow's last start) */
};

/* Costs per firing, our own choice and published (wither help plan): 1 unit is one
 * firing spoiled wholly. */
struct wt_costs {
	double under_per_h; /* fired an hour before ready */
	double under_most;
	double over_per_h; /* fired an hour after past its best */
	double over_most;
	double outside;              /* fired before ready or after past, by however little */
	double late_night_per_h;     /* per firing, for every hour after late begins */
	double late_before_last_h;   /* late begins so many hours before the last start */
	double overnight;            /* leaf ready before the last start and kept to the morning */
	double evening_when_morning; /* against the maker's preference */
	double morning_when_evening;
	double wrong_call; /* per load: a fire lit for nothing, or leaf ready and nobody there */
};
/* under 0.4/h up to 1.2, over 0.2/h up to 1, outside 0.1, late 0.02/h in the last 2 h, overnight
 * 0.08, against the preference 0.1 each, a wrong call 0.3. */
void wt_costs_default(struct wt_costs *out);

struct wt_decide_load {
	int load;       /* its number */
	double left_kg; /* leaf still to fire, as fresh weight */
	double over_kg; /* so much beyond full woks is shared among them, not fired apart */
	enum wt_prefer prefer;
	size_t n;                   /* members, at least 1 */
	const double *ready_unix_s; /* borrowed; HUGE_VAL beyond the horizon; no NAN */
	const double *past_unix_s;
};

struct wt_firing {
	int load;
	int wok; /* from 1 */
	double kg;
	int64_t start_unix_s;
	bool morning;
	double p_in_window; /* chance that the load is between ready and past at the start */
	double cost;        /* expected, units of struct wt_costs */
};

struct wt_plan {
	size_t n;
	struct wt_firing *firings; /* owned by the plan, in order of start */
	double cost;               /* expected, total, leaf left over included */
	size_t unplaced;           /* firings for which there is no place */
	size_t waiting;            /* firings better left until after tomorrow's last start */
	bool exact;                /* no plan on the grid of starts costs less */
};
void wt_plan_free(struct wt_plan **plan);

/* Number of firings that leaf needs: left_kg / wok_kg rounded up, leaf shared out evenly. */
size_t wt_decide_firings(double left_kg, double wok_kg);
/* The same for a load, over_kg forgiven. */
size_t wt_decide_load_firings(const struct wt_decide_load *load, double wok_kg);

/* Minimises expected cost over the members.  Starts lie on a grid of at most 5 minutes that
 * divides a firing's length, from evening_from (or now) and from first_start; gaps are allowed.
 * A load that does not fit tonight is split.  Exact up to 8 firings and for more where a few
 * loads make the search small, else construct and improve.  Deterministic.
 * WT_ERR_ARG: not finite, negative, NAN among members; WT_ERR_RANGE: too many woks, hours that
 * reach too far.  The caller owns *out. */
enum wt_status wt_decide_plan(const struct wt_hearth *hearth, const struct wt_costs *costs,
			      const struct wt_decide_load *loads, size_t n_loads,
			      int64_t now_unix_s, struct wt_plan **out) WT_MUST_CHECK;

enum wt_reason {
	WT_REASON_READY_IN_TIME, /* will be ready before the last start */
	WT_REASON_NOT_READY,     /* will not be ready tonight, holds until morning */
	WT_REASON_WILL_NOT_KEEP, /* ready tonight and past its best before morning */
	WT_REASON_KEEPS,         /* ready tonight, holds till morning: either */
	WT_REASON_TOO_UNSURE,    /* could go either way: weigh it */
	WT_REASON_READY_NOW,     /* in its window, leaving it costs */
	WT_REASON_PAST_NOW,
	WT_REASON_NO_CAPACITY,    /* ready, but the woks are taken tonight */
	WT_REASON_NOT_BY_MORNING, /* not ready tonight nor tomorrow's first firings: wait */
	WT_REASON_TOO_LATE,       /* ready, but tonight's last start has gone by */
	WT_REASON_NO_WOK,         /* the hearth has no wok: there is nothing to call */
	WT_REASON_COUNT
};

struct wt_advice {
	int load;
	enum wt_call call;
	enum wt_reason reason;
	double p_ready_tonight;   /* ready before the last start, room in the woks or not */
	double p_fits_tonight;    /* ready and done in the places the plan has */
	double p_past_by_morning; /* past its best before the first start */
	double p_call;            /* chance that the call will prove right: wt_decide_right() */
	double cost_tonight, cost_morning; /* expected, per firing, had the load the woks to itself;
					    * HUGE_VAL when it cannot be fired then */
	size_t firings_tonight, firings_morning; /* its places in the plan */
};

/* One advice per load, in the loads' order.  plan is the one made for the same loads.  Rules:
 * past when more than half of the members are past; now when most are ready, firing may begin and
 * an hour's or a night's delay costs 0.05 or more; else as the plan places most of the load.
 * either: no preference, at least 0.8 ready tonight, at most 0.1 past by the first start, and the
 * morning costs the leaf at most 0.03.  wait: no place in the plan, or less than half ready 3 h
 * after the first start; without any wok wait says nothing about the leaf.  The reason is
 * too-unsure while p_ready_tonight lies in 0.3 .. 0.7, unless the leaf would be past by morning. */
enum wt_status wt_decide_calls(const struct wt_hearth *hearth, const struct wt_costs *costs,
			       const struct wt_decide_load *loads, size_t n_loads,
			       const struct wt_plan *plan, int64_t now_unix_s,
			       struct wt_advice *out) WT_MUST_CHECK;

/* Whether a call made at now was right for leaf that turned out ready and past then (HUGE_VAL:
 * never).  tonight: ready by the last start.  morning: not ready by then; when it was given for
 * want of room, lateness or because the leaf keeps: not past at the first start.  either: ready
 * tonight and not past at the first start.  wait: not ready at the first start (for want of any
 * place or wok: always).  now: in its window.  past: past. */
bool wt_decide_right(const struct wt_hearth *hearth, enum wt_call call, enum wt_reason reason,
		     int64_t now_unix_s, double ready_unix_s, double past_unix_s);

/* What would settle it: for candidate times the members' loss, to value a weighing before it is
 * made.  loss_pct [k * n + i]. */
struct wt_settle_candidate {
	int load;
	size_t n_at;
	const int64_t *at_unix_s; /* ascending; those before now are passed over */
	const float *loss_pct;
	double sd_loss_pct; /* error of the observation: scale or hand */
	bool by_hand;       /* feel instead of weigh */
};
struct wt_settle {
	int load;
	int64_t at_unix_s;
	bool by_hand;
	double saves; /* expected cost saved, units of struct wt_costs */
};
/* Expected value of the observation: the cost of the best answer of tonight, morning and leave,
 * less the mean cost of the best answer chosen after seeing the observation; firing begins 10
 * minutes after it at the earliest, at the member's own best moment; a wrong answer is charged.
 * *found is false, and *out unchanged, when nothing saves 0.02 or more. */
enum wt_status wt_decide_settle(const struct wt_hearth *hearth, const struct wt_costs *costs,
				const struct wt_decide_load *loads, size_t n_loads,
				const struct wt_settle_candidate *candidates, size_t n_candidates,
				int64_t now_unix_s, struct wt_settle *out,
				bool *found) WT_MUST_CHECK;

#endif /* WT_LIB_DECIDE_H */
