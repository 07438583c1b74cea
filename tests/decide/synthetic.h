/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * Made-up evenings for the tests of the decision: a repeatable random source,
 * hearths, and loads whose members scatter about a centre.
 */
#ifndef WT_TESTS_DECIDE_SYNTHETIC_H
#define WT_TESTS_DECIDE_SYNTHETIC_H

#include <stddef.h>
#include <stdint.h>

#include "lib/decide.h"

#define SYNTHETIC_MEMBERS_MAX 1024

struct synthetic_random {
	uint64_t state;
};
double synthetic_uniform(struct synthetic_random *r, double low, double high);
int synthetic_below(struct synthetic_random *r, int n);
double synthetic_normal(struct synthetic_random *r);

/* 16:00 of an invented day; the hearth below burns 16:00-22:00 and 06:00-22:00. */
#define SYNTHETIC_NOW 1775059200
struct wt_hearth synthetic_hearth(int woks);

struct synthetic_load {
	struct wt_decide_load load;
	double ready_unix_s[SYNTHETIC_MEMBERS_MAX], past_unix_s[SYNTHETIC_MEMBERS_MAX];
};
/* Members normal about ready_s, window of window_s, both scattered by sd_s. */
void synthetic_fill(struct synthetic_load *l, struct synthetic_random *r, int number, double kg,
		    size_t members, double ready_s, double sd_s, double window_s);

#endif /* WT_TESTS_DECIDE_SYNTHETIC_H */
