/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * What a load came to: out-turn, yellow leaf, cost of a kilogram that can be sold.
 *
 * Out-turn is fresh weight over made weight (kg of leaf for 1 kg of tea).  Dry
 * matter sets its bounds: from fresh leaf of moisture M0 (wet basis) to made tea
 * of moisture M1 it is (1 - M1) / (1 - M0) when nothing is lost, more when dust,
 * stalk and burnt leaf are.
 */
#ifndef WT_LIB_LEDGER_H
#define WT_LIB_LEDGER_H

#include <stddef.h>

#include "lib/status.h"

/* Published out-turn: 4.5 and 4.65 kg to 1 kg (Sri Lanka Tea Board circular MF/BL 66, 1985);
 * about 4 (a dictionary of tea), 3 to 5 (common practice, no source).  The bounds below are wider,
 * by dry matter: leaf of 68 % made at 6 % gives 2.94; leaf of 84 % made at 3 %, a tenth of it lost,
 * gives 6.7.  Our choice. */
#define WT_LEDGER_OUTTURN_LEAST 2.9
#define WT_LEDGER_OUTTURN_MOST 6.8

enum wt_ledger_note {
	WT_LEDGER_FINE,
	WT_LEDGER_UNKNOWN,      /* not enough was told */
	WT_LEDGER_TOO_MUCH_TEA, /* more tea than the leaf had dry matter for: look at the weights */
	WT_LEDGER_TOO_LITTLE_TEA, /* much lost on the way, or a part not weighed */
};

/* Weights kg, NAN when unknown. */
struct wt_ledger_entry {
	double fresh_kg;        /* as weighed on arrival */
	double made_kg;         /* made tea, yellow leaf included */
	double yellow_kg;       /* yellow leaf sorted out of it; NAN: not sorted */
	double price_per_kg;    /* paid for a kilogram of fresh leaf; NAN: not told */
	double loss_pct, hours; /* at fixing, NAN when unknown */
};

/* Every part NAN when it cannot be known. */
struct wt_ledger_sum {
	size_t n;           /* loads counted */
	double outturn;     /* fresh kg for 1 kg of made tea */
	double yellow_pct;  /* of made weight */
	double cost_per_kg; /* leaf paid for per kg of sorted tea (made less yellow) */
	double loss_pct, hours;
	enum wt_ledger_note note;
};

/* One load.  WT_ERR_ARG: infinite; WT_ERR_RANGE: weight or price negative, fresh or made weight
 * zero, more yellow than made. */
enum wt_status wt_ledger_reckon(const struct wt_ledger_entry *entry,
				struct wt_ledger_sum *out) WT_MUST_CHECK;

/* A group of loads.  Out-turn, yellow share and cost are ratios of sums over the loads for which
 * both sides are known, so that a large load weighs more; loss and hours are means weighted by
 * fresh weight.  n counts loads with made weight. */
enum wt_status wt_ledger_total(const struct wt_ledger_entry *entries, size_t n,
			       struct wt_ledger_sum *out) WT_MUST_CHECK;

#endif /* WT_LIB_LEDGER_H */
