/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * Values by rank without sorting all of them.
 */
#ifndef WT_LIB_ORDER_H
#define WT_LIB_ORDER_H

#include <stddef.h>

/* Writes the rank[i]-th smallest (0: the smallest) of n values to out[i].  Ranks in any order, all
 * below n.  Infinities are in order; NaN is not allowed.  scratch has room for n values and may not
 * overlap the others.  Time is linear in n for values that are spread at all evenly, and never
 * worse than selection one by one. */
void wt_order_pick(const double *values, size_t n, const size_t *rank, size_t n_rank,
		   double *scratch, double *out);

#endif /* WT_LIB_ORDER_H */
