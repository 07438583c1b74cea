/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * The evening's decision: calls, the firing plan, what would settle it.  Works
 * on the members' ready and past-best times, so it knows nothing of leaf or air.
 */
#ifndef WT_LIB_DECIDE_H
#define WT_LIB_DECIDE_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "lib/status.h"
#include "lib/words.h"

/* The hearth tonight and tomorrow.  Times unix seconds. */
struct wt_hearth {
	int woks; /* 0: nothing can be fired */
	double wok_kg;
	double firing_s; /* one firing, by season */
	int64_t evening_from_unix_s; /* earliest firing tonight: now, or first start of today */
	int64_t last_start_unix_s;   /* latest start of a firing tonight */
	int64_t first_start_unix_s;  /* earliest start tomorrow morning */
	int64_t morning_until_unix_s; /* latest start tomorrow (tomorrow's last start) */
};

/* Costs per firing, our own choice and published (wither help plan, DEVELOPERS.md): 1 unit is one
 * firing spoiled wholly. */
struct wt_costs {
	double under_per_h;   /* fired an hour before ready */
	double under_most;
	double over_per_h;    /* fired an hour after past its best */
	double over_most;
	double late_night_per_h; /* per firing, hour after late_from */
	double evening_when_morning, morning_when_evening; /* against the maker's preference */
};
void wt_costs_default(struct wt_costs *out);

struct wt_decide_load {
	int load; /* its number */
	double left_kg; /* leaf still to fire, as fresh weight */
	enum wt_prefer prefer;
	size_t n; /* members; the same for all loads */
	const double *ready_unix_s; /* borrowed; HUGE_VAL beyond the horizon */
	const double *past_unix_s;
};

struct wt_firing {
	int load;
	int wok;
	double kg;
	int64_t start_unix_s;
	bool morning;
	double p_in_window; /* chance that the load is between ready and past at the start */
	double cost;        /* expected, units of struct wt_costs */
};

struct wt_plan {
	size_t n;
	struct wt_firing *firings; /* owned by the plan, in order of start */
	double cost;               /* expected, total */
	size_t unplaced;           /* firings for which there is no place */
	bool exact;
};
void wt_plan_free(struct wt_plan **plan);

/* Minimises expected cost over the members.  Exact up to 8 firings, else construct and improve.
 * Deterministic. */
enum wt_status wt_decide_plan(const struct wt_hearth *hearth, const struct wt_costs *costs,
			      const struct wt_decide_load *loads, size_t n_loads, int64_t now_unix_s,
			      struct wt_plan **out) WT_MUST_CHECK;

enum wt_reason {
	WT_REASON_READY_IN_TIME,   /* will be ready before the last start */
	WT_REASON_NOT_READY,       /* will not be ready tonight, holds until morning */
	WT_REASON_WILL_NOT_KEEP,   /* ready tonight and past its best before morning */
	WT_REASON_KEEPS,           /* ready tonight, holds till morning: either */
	WT_REASON_TOO_UNSURE,      /* could go either way: weigh it */
	WT_REASON_READY_NOW,       /* in its window, leaving it costs */
	WT_REASON_PAST_NOW,
	WT_REASON_NO_CAPACITY,     /* ready, but the woks are taken tonight */
	WT_REASON_NOT_BY_MORNING,  /* not ready tonight nor tomorrow's first firing: wait */
	WT_REASON_COUNT
};

struct wt_advice {
	int load;
	enum wt_call call;
	enum wt_reason reason;
	double p_ready_tonight;  /* ready before the last start, room in the woks or not */
	double p_fits_tonight;   /* ready and done in the places the plan has */
	double p_past_by_morning;
	double p_call;           /* chance that the call will prove right */
	double cost_tonight, cost_morning; /* expected cost of firing the load then */
};

/* One advice per load, in the loads' order.  plan is the one made for the same loads. */
enum wt_status wt_decide_calls(const struct wt_hearth *hearth, const struct wt_costs *costs,
			       const struct wt_decide_load *loads, size_t n_loads,
			       const struct wt_plan *plan, int64_t now_unix_s,
			       struct wt_advice *out) WT_MUST_CHECK;

/* What would settle it: for candidate times the members' loss, to value a weighing before it is
 * made.  loss_pct [k * n + i]. */
struct wt_settle_candidate {
	int load;
	size_t n_at;
	const int64_t *at_unix_s;
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
/* *found false when nothing would help enough. */
enum wt_status wt_decide_settle(const struct wt_hearth *hearth, const struct wt_costs *costs,
				const struct wt_decide_load *loads, size_t n_loads,
				const struct wt_settle_candidate *candidates, size_t n_candidates,
				int64_t now_unix_s, struct wt_settle *out, bool *found) WT_MUST_CHECK;

#endif /* WT_LIB_DECIDE_H */
