/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * Time of one posterior: a load with five weighings, 1024 members, one core.  Ends with 1 when the
 * median of the runs is above 20 ms.
 */
#include <stdio.h>
#include <time.h>

#include "tests/learn/learn_case.h"

enum { RUNS = 41 };

static int compare_doubles(const void *a, const void *b)
{
	const double x = *(const double *)a, y = *(const double *)b;
	return (x > y) - (x < y);
}

/* Time of this process alone: other work on the machine does not count. */
static double now_ms(void)
{
	struct timespec t;
	clock_gettime(CLOCK_PROCESS_CPUTIME_ID, &t);
	return (double)t.tv_sec * 1e3 + (double)t.tv_nsec * 1e-6;
}

int main(void)
{
	static const double hours[] = {3, 5, 7, 10, 14};
	struct learn_case c;
	struct wt_observation o[5];
	struct wt_observation_report each[5];
	struct wt_learn_report report = {0};
	struct wt_feel_scale feel;
	struct wt_members *members;
	double took[RUNS];
	wt_feel_scale_default(&feel);
	if (learn_case_make(20, &c) != 0 || wt_members_new(1024, &members) != WT_OK)
		return 2;
	for (size_t i = 0; i < 5; i++) {
		double kg, loss;
		if (learn_case_truth(&c, 0.25, hours[i], &kg, &loss) != 0)
			return 2;
		o[i] = (struct wt_observation){WT_OBSERVED_WEIGHT,
					       CASE_START_S + (int64_t)(hours[i] * 3600.0), kg};
	}
	for (size_t r = 0; r < RUNS; r++) {
		const double start = now_ms();
		if (wt_learn_posterior(&c.load, c.drive, &c.prior, &feel, o, 5, r, members, &report,
				       each) != WT_OK)
			return 2;
		took[r] = now_ms() - start;
	}
	qsort(took, RUNS, sizeof(took[0]), compare_doubles);
	printf("posterior of five weighings, ms: median %.1f, worst of %d %.1f; last: effective "
	       "members %.0f, rounds %d\n",
	       took[RUNS / 2], RUNS, took[RUNS - 1], report.ess, report.rounds);
	wt_members_free(&members);
	learn_case_free(&c);
	return took[RUNS / 2] > 20.0;
}
