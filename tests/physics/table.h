/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * The table of published checks: check | source | expected | ours | verdict.
 *
 * A miss that is known and written down in the README is entered as such: the
 * row says "known miss".  One that has begun to hit fails too, and so does one
 * that is not as far off as told, so that the README does not go stale.
 */
#ifndef WT_TESTS_PHYSICS_TABLE_H
#define WT_TESTS_PHYSICS_TABLE_H

#include <stdbool.h>

/* Prints the head of the table. */
void table_begin(const char *title);
/* value between low and high. */
void table_range(const char *check, const char *source, double low, double high, double ours);
/* value within tolerance of expected. */
void table_value(const char *check, const char *source, double expected, double tolerance,
		 double ours);
/* As table_range(), for a miss that we know: ours is told, give or take (told HUGE_VAL: endless).
 */
void table_known_miss(const char *check, const char *source, double low, double high, double told,
		      double give_or_take, double ours);
/* Rows whose verdict was not the one foretold, since table_begin(). */
int table_surprises(void);

#endif /* WT_TESTS_PHYSICS_TABLE_H */
