/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * The built-in styles.  A style is data: the window of loss in which leaf is
 * fixed, the least and most hours, and when the maker would rather fix it.
 */
#ifndef WT_LIB_STYLE_TABLE_H
#define WT_LIB_STYLE_TABLE_H

#include <stddef.h>

#include "lib/words.h"

/* The losses a window may be set from and to, %: leaf has no more water to lose than this.  Our
 * choice. */
#define WT_STYLE_LEAST_LOSS_PCT 1
#define WT_STYLE_MOST_LOSS_PCT 85

struct wt_style {
	const char *name;
	double ready_from_loss_pct, aim_loss_pct, latest_loss_pct; /* of fresh weight */
	double least_hours;
	double most_hours; /* HUGE_VAL when none */
	enum wt_prefer prefer;
	const char *says; /* what is made, in words */
	const char *source;
};

/* Number of built-in styles, and style i of them (NULL past the end).  The first is the default. */
size_t wt_style_table_count(void);
const struct wt_style *wt_style_table_at(size_t i);
/* By name, NULL when there is none. */
const struct wt_style *wt_style_table_find(const char *name);

#endif /* WT_LIB_STYLE_TABLE_H */
