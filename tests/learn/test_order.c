/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * Values by rank against qsort() of the C library, on shapes that are hard for bins.
 */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "lib/order.h"

#define MOST 3000

static uint64_t state_of_random = 1;

static double uniform(void)
{
	state_of_random = state_of_random * 6364136223846793005u + 1442695040888963407u;
	return (double)(state_of_random >> 11) * 0x1p-53;
}

static int by_value(const void *a, const void *b)
{
	const double x = *(const double *)a, y = *(const double *)b;
	return (x > y) - (x < y);
}

enum shape { EVEN, EQUAL, TWO, FAR, ENDLESS, WIDE, TINY, SHAPES };

static double value_of(enum shape shape, size_t i)
{
	double u = uniform();
	switch (shape) {
	case EQUAL:
		return 7.25;
	case TWO:
		return u < 0.5 ? -1.0 : 1.0;
	case FAR: /* all but one in one bin */
		return i == 3 ? 1e12 : u;
	case ENDLESS:
		return u < 0.3 ? HUGE_VAL : u < 0.4 ? -HUGE_VAL : 1.77e9 + 1e5 * u;
	case WIDE: /* the width is beyond the numbers */
		return (2.0 * u - 1.0) * 1.7e308;
	case TINY: /* and here one over it */
		return u < 0.5 ? 0.0 : 5e-324 * (double)(int)(10.0 * u);
	default:
		return u * u * 100.0 - 20.0;
	}
}

static void ranks_are_those_of_a_sort(void **state)
{
	static double values[MOST], kept[MOST], sorted[MOST], scratch[MOST], got[MOST];
	static size_t rank[MOST];
	(void)state;
	for (int round = 0; round < 40 * SHAPES; round++) {
		enum shape shape = (enum shape)(round % SHAPES);
		size_t n = 1 + (size_t)(uniform() * uniform() * (MOST - 1));
		for (size_t i = 0; i < n; i++)
			values[i] = value_of(shape, i);
		memcpy(kept, values, n * sizeof kept[0]);
		memcpy(sorted, values, n * sizeof sorted[0]);
		qsort(sorted, n, sizeof sorted[0], by_value);
		for (size_t i = 0; i < n; i++)
			rank[i] = (i * 7919) % n;
		wt_order_pick(values, n, rank, n, scratch, got);
		for (size_t i = 0; i < n; i++)
			if (got[i] < sorted[rank[i]] || got[i] > sorted[rank[i]])
				fail_msg("shape %d, n %zu, rank %zu: got %g, want %g", (int)shape,
					 n, rank[i], got[i], sorted[rank[i]]);
		assert_memory_equal(values, kept, n * sizeof kept[0]);
	}
}

int main(void)
{
	const struct CMUnitTest tests[] = {
		cmocka_unit_test(ranks_are_those_of_a_sort),
	};
	return cmocka_run_group_tests(tests, NULL, NULL);
}
