/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * Random loads and rooms for the tests of the drying model: seeded, so that every run is the same.
 */
#ifndef WT_TESTS_PHYSICS_CASES_H
#define WT_TESTS_PHYSICS_CASES_H

#include <stddef.h>
#include <stdint.h>

#include "lib/ensemble.h"

#define CASE_START_S INT64_C(1775001600) /* a round hour; the grid starts there */
#define CASE_MOST_INSTANTS 700

struct case_random {
	uint64_t state;
};
double case_uniform(struct case_random *random, double low, double high);

/* A room: daily waves of temperature and humidity, a shower or two, noise. */
struct case_room {
	size_t n;
	float temp_c[CASE_MOST_INSTANTS];
	float vapour_pa[CASE_MOST_INSTANTS];
};
void case_room_random(struct case_random *random, size_t n, struct case_room *room);
void case_room_constant(double temp_c, double rh_pct, size_t n, struct case_room *room);
struct wt_track case_track(const struct case_room *room);

/* A load in that room, spread within the first hour; events has room for 4. */
void case_load_random(struct case_random *random, struct wt_bed_event events[4],
		      struct wt_load_case *load);
/* The standard one: young summer leaf, 1 kg on 1 m2 of perforated tray, sea level. */
struct wt_load_case case_load_standard(void);
/* A member drawn from the load's prior, or its centre when random is NULL. */
void case_theta(struct case_random *random, const struct wt_load_case *load,
		double theta[WT_DIM_COUNT]);

#endif /* WT_TESTS_PHYSICS_CASES_H */
