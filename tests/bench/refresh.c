/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * How long a refresh of many loads takes on one core: loads x members x 48 h.
 */
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <time.h>

#include "lib/ensemble.h"
#include "lib/ensemble_kernel.h"
#include "tests/physics/cases.h"

static double now_s(void)
{
	struct timespec t;
	clock_gettime(CLOCK_THREAD_CPUTIME_ID, &t);
	return (double)t.tv_sec + 1e-9 * (double)t.tv_nsec;
}

static void must(enum wt_status status)
{
	if (status != WT_OK) {
		fprintf(stderr, "failed: %s\n", wt_status_text(status));
		exit(1);
	}
}

static struct wt_drive *paths_of(struct case_random *random, size_t n_steps, size_t n_paths,
				 double *seconds)
{
	float *temp_c = malloc(n_steps * n_paths * sizeof *temp_c);
	float *vapour_pa = malloc(n_steps * n_paths * sizeof *vapour_pa);
	struct case_room room;
	struct wt_drive *drive = NULL;
	if (!temp_c || !vapour_pa)
		exit(1);
	for (size_t p = 0; p < n_paths; p++) {
		case_room_random(random, n_steps, &room);
		for (size_t s = 0; s < n_steps; s++) {
			temp_c[s * n_paths + p] = room.temp_c[s];
			vapour_pa[s * n_paths + p] = room.vapour_pa[s];
		}
	}
	struct wt_paths paths = {CASE_START_S + 96 * WT_GRID_S, n_steps, n_paths, temp_c,
				 vapour_pa};
	double start = now_s();
	must(wt_drive_from_paths(&paths, 95000.0, &drive));
	*seconds = now_s() - start;
	free(temp_c);
	free(vapour_pa);
	return drive;
}

/* CPU seconds of one refresh; *ns per member and step. */
static double refresh(size_t n_loads, size_t n_members, size_t hours, double *ns, double *drive_s)
{
	const size_t n_steps = hours * 12 + 1;
	struct case_random random = {1};
	struct case_room room;
	double run_s = 0.0, steps = 0.0;
	case_room_random(&random, 97, &room);
	struct wt_track track = case_track(&room);
	struct wt_drive *past = NULL, *future = paths_of(&random, n_steps, n_members, drive_s);
	must(wt_drive_from_track(&track, 95000.0, &past));
	struct wt_members *members = NULL;
	struct wt_outcome *outcome = NULL;
	must(wt_members_new(n_members, &members));
	must(wt_outcome_new(n_members, NULL, 0, &outcome));
	for (size_t l = 0; l < n_loads; l++) {
		struct wt_bed_event events[4];
		struct wt_load_case load;
		struct wt_gauss prior;
		case_load_random(&random, events, &load);
		load.spread_unix_s =
			CASE_START_S + (int64_t)case_uniform(&random, 0.0, 96.0 * WT_GRID_S);
		load.n_events = 0;
		load.pressure_pa = 95000.0;
		must(wt_traits_prior(&load, &prior));
		must(wt_members_draw(&prior, l, members));
		double start = now_s();
		must(wt_ensemble_run(&load, past, future, members, outcome));
		run_s += now_s() - start;
		int64_t past_s = CASE_START_S + 96 * WT_GRID_S - load.spread_unix_s;
		steps += (double)n_members * (double)(hours * 12 + (size_t)(past_s / WT_GRID_S));
	}
	wt_outcome_free(&outcome);
	wt_members_free(&members);
	wt_drive_free(&past);
	wt_drive_free(&future);
	*ns = 1e9 * run_s / steps;
	return run_s;
}

static void show(size_t n_loads, size_t n_members, size_t hours)
{
	double ns, drive_s, best_s = HUGE_VAL, best_ns = HUGE_VAL;
	for (int round = 0; round < 3; round++) {
		double seconds = refresh(n_loads, n_members, hours, &ns, &drive_s);
		best_s = fmin(best_s, seconds);
		best_ns = fmin(best_ns, ns);
	}
	printf("%5zu loads x %5zu members x %2zu h: %7.1f ms, %.2f ns per member and step; air of "
	       "a "
	       "room made ready in %.1f ms\n",
	       n_loads, n_members, hours, 1e3 * best_s, best_ns, 1e3 * drive_s);
}

int main(void)
{
	static const size_t loads[] = {50, 100, 200, 400};
	static const size_t members[] = {256, 512, 1024, 2048};
	static const size_t hours[] = {12, 24, 36, 48};
	printf("kernel: %s.  Loads spread 0-8 h ago, a third of them wet.  CPU time of one "
	       "thread.\n",
	       wt_kernel_name());
	show(200, 1024, 48);
	printf("by number of loads, members, hours ahead:\n");
	for (size_t i = 0; i < 4; i++)
		show(loads[i], 1024, 48);
	for (size_t i = 0; i < 4; i++)
		show(200, members[i], 48);
	for (size_t i = 0; i < 4; i++)
		show(200, 1024, hours[i]);
	return 0;
}
