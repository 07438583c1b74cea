/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * Values are dealt into bins of equal width, bins in order; only the bins that hold a wanted rank
 * are looked into.
 */
#include "lib/order.h"

#include <math.h>
#include <stdbool.h>
#include <stdint.h>
#include <string.h>

/* Our choice: some values a bin with the usual thousand, and the counts stay in the first-level
 * cache. */
#define BINS 512

/* Element k in order (Hoare 1961, FIND, from memory); values are reordered around it. */
static double select_kth(double *values, ptrdiff_t n, ptrdiff_t k)
{
	ptrdiff_t low = 0, high = n - 1;

	while (low < high) {
		double pivot = values[k];
		ptrdiff_t i = low, j = high;
		do {
			while (values[i] < pivot)
				i++;
			while (pivot < values[j])
				j--;
			if (i <= j) {
				double swapped = values[i];
				values[i++] = values[j];
				values[j--] = swapped;
			}
		} while (i <= j);
		if (j < k)
			low = i;
		if (k < i)
			high = j;
	}
	return values[k];
}

/* Bin 0 holds minus infinity, the last one plus infinity. */
struct bins {
	double least, per_width;
	uint32_t end[BINS]; /* after dealing: where each bin ends */
};

static size_t bin_of(const struct bins *bins, double value)
{
	double at = (value - bins->least) * bins->per_width;

	/* Not below 0 or above the last for any value, an infinite one included. */
	at = at > 0.0 ? at : 0.0;
	at = at < BINS - 3 ? at : BINS - 3;
	return isinf(value) ? (value > 0.0 ? BINS - 1 : 0) : 1 + (size_t)at;
}

/* Finite ends of the values; false when there are not two different ones. */
static bool set_width(const double *values, size_t n, struct bins *bins)
{
	double least = HUGE_VAL, most = -HUGE_VAL;

	for (size_t i = 0; i < n; i++) {
		double low = values[i] > -HUGE_VAL ? values[i] : HUGE_VAL;
		double high = values[i] < HUGE_VAL ? values[i] : -HUGE_VAL;
		least = low < least ? low : least;
		most = high > most ? high : most;
	}
	bins->least = least;
	bins->per_width = (BINS - 2) / (most - least);
	return most > least && isfinite(bins->per_width) && bins->per_width > 0.0;
}

static void deal(const double *values, size_t n, struct bins *bins, double *out)
{
	uint32_t next[BINS], at = 0;

	memset(bins->end, 0, sizeof bins->end);
	for (size_t i = 0; i < n; i++)
		bins->end[bin_of(bins, values[i])]++;
	for (size_t b = 0; b < BINS; b++) {
		next[b] = at;
		at += bins->end[b];
		bins->end[b] = at;
	}
	for (size_t i = 0; i < n; i++)
		out[next[bin_of(bins, values[i])]++] = values[i];
}

static double pick(const struct bins *bins, double *dealt, size_t rank)
{
	size_t low = 0, high = BINS - 1;

	while (low < high) {
		size_t middle = (low + high) / 2;
		if (bins->end[middle] > rank)
			high = middle;
		else
			low = middle + 1;
	}
	size_t from = low > 0 ? bins->end[low - 1] : 0;
	return select_kth(dealt + from, (ptrdiff_t)(bins->end[low] - from),
			  (ptrdiff_t)(rank - from));
}

void wt_order_pick(const double *values, size_t n, const size_t *rank, size_t n_rank,
		   double *scratch, double *out)
{
	struct bins bins;

	if (n > UINT32_MAX || !set_width(values, n, &bins)) {
		memcpy(scratch, values, n * sizeof *scratch);
		for (size_t i = 0; i < n_rank; i++)
			out[i] = select_kth(scratch, (ptrdiff_t)n, (ptrdiff_t)rank[i]);
		return;
	}
	deal(values, n, &bins, scratch);
	for (size_t i = 0; i < n_rank; i++)
		out[i] = pick(&bins, scratch, rank[i]);
}
