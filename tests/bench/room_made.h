/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * Invented rooms under invented weather, for tests and benchmarks.  No measured data; every
 * number is our choice.  The model is close to the one that helped to fit lib/room_prior.c (other
 * seeds), so scores here are kinder than on strange rooms.
 */
#ifndef WT_TESTS_ROOM_MADE_H
#define WT_TESTS_ROOM_MADE_H

#include "room_score.h"

enum made_kind {
	MADE_HILL,   /* airy work room in humid hills, a shower on most afternoons */
	MADE_SUMMER, /* lived-in house room in summer, windows opened */
	MADE_ATTIC,  /* unheated attic under a dark roof */
	MADE_HEATED, /* heated room in a cold spring */
	MADE_STONE,  /* slow room with thick walls */
	MADE_KINDS
};
extern const char *const made_name[MADE_KINDS];

/* Readings every step_s from 1717200000 on, with the air outdoors.  0, or -1 without memory. */
int made_room(enum made_kind kind, unsigned seed, int days, int step_s, struct record *out);

#endif
