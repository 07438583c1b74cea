/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "tests/physics/table.h"

#include <math.h>
#include <stdio.h>

static int surprises;

static void row(const char *check, const char *source, const char *expected, double ours,
		const char *verdict)
{
	printf("%-62s | %-60s | %-22s | %10.5g | %s\n", check, source, expected, ours, verdict);
}

void table_begin(const char *title)
{
	surprises = 0;
	printf("\n%s\n%-62s | %-60s | %-22s | %10s | %s\n", title, "check", "source", "expected",
	       "ours", "verdict");
}

void table_range(const char *check, const char *source, double low, double high, double ours)
{
	char expected[64];
	bool hit = ours >= low && ours <= high;
	snprintf(expected, sizeof expected, "%.5g .. %.5g", low, high);
	row(check, source, expected, ours, hit ? "hit" : "MISS");
	surprises += !hit;
}

void table_value(const char *check, const char *source, double expected_value, double tolerance,
		 double ours)
{
	char expected[64];
	bool hit = fabs(ours - expected_value) <= tolerance;
	snprintf(expected, sizeof expected, "%.6g +-%.2g", expected_value, tolerance);
	row(check, source, expected, ours, hit ? "hit" : "MISS");
	surprises += !hit;
}

void table_known_miss(const char *check, const char *source, double low, double high, double told,
		      double give_or_take, double ours)
{
	char expected[64];
	bool hit = ours >= low && ours <= high;
	bool as_told = isinf(told) ? isinf(ours) : fabs(ours - told) <= give_or_take;
	snprintf(expected, sizeof expected, "%.5g .. %.5g", low, high);
	row(check, source, expected, ours,
	    hit       ? "hit, but listed as a miss"
	    : as_told ? "known miss"
		      : "MISS, not as told");
	surprises += hit || !as_told;
}

int table_surprises(void)
{
	return surprises;
}
