/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * A refresh of the whole site: what the worker does every five minutes.  Processor
 * time, so that a busy machine does not count.  The limits are our choice.
 */
#include "tests/site/fixture.h"

#include <stdio.h>
#include <time.h>

static double processor_s(void)
{
	struct timespec t;

	clock_gettime(CLOCK_PROCESS_CPUTIME_ID, &t);
	return (double)t.tv_sec + (double)t.tv_nsec / 1e9;
}

/* The refresh after the one that learned the hour and the weighings. */
static double refresh_s(struct workshop *w)
{
	workshop_forecast(w);
	workshop_feed(w, w->now_unix_s + 300);
	double begin = processor_s();
	workshop_forecast(w);
	return processor_s() - begin;
}

static double few_loads_s(int loads)
{
	struct workshop w;

	workshop_open(&w, NULL);
	w.config->members = 1024;
	workshop_feed(&w, DAY0 + 20 * 86400 + 14 * HOUR);
	for (int i = 0; i < loads; i++)
		json_decref(workshop_act(&w, "spread", "{'origin':'G%d','kg':%d,'area':5}", i % 4,
					 6 + i % 5));
	workshop_feed(&w, w.now_unix_s + 2 * HOUR);
	for (int i = 0; i < loads; i++)
		json_decref(workshop_act(&w, "weigh", "{'load':%d,'kg':%g}", i + 1,
					 (6 + i % 5) * 0.95));
	double s = refresh_s(&w);
	workshop_close(&w);
	return s;
}

#define ROOMS 240
#define LOADS 2000

static double many_loads_s(void)
{
	struct workshop w;
	char *extra = NULL;
	size_t size = 0;
	FILE *file = open_memstream(&extra, &size);

	for (int i = 0; i < ROOMS; i++)
		fprintf(file,
			"[room r%d]\n[station "
			"s%d]\nroom=r%d\ntopic=a/%d\ntemp_pointer=/t\nrh_pointer=/h\n",
			i, i, i, i);
	fclose(file);
	workshop_open(&w, extra);
	free(extra);
	w.config->members = 1024;
	w.now_unix_s = DAY0 + 86400 + 14 * HOUR;
	for (size_t station = 1; station <= ROOMS; station++) {
		for (int64_t at = DAY0; at <= w.now_unix_s; at += 300) {
			struct wt_reading reading = {.station = station, .at_unix_ms = at * 1000};
			workshop_air(&w, at, &reading.temp_c, &reading.rh_pct);
			wt_site_add_reading(w.site, &reading);
		}
	}
	for (int i = 0; i < LOADS; i++)
		json_decref(workshop_act(&w, "spread",
					 "{'origin':'G%d','kg':8,'area':5,'room':'r%d'}", i % 9,
					 i % ROOMS));
	double begin = processor_s();
	workshop_forecast(&w);
	double s = processor_s() - begin;
	workshop_close(&w);
	return s;
}

static void refreshes_are_quick(void **state)
{
	(void)state;
	for (int loads = 0; loads <= 20; loads = loads ? 2 * loads : 5) {
		double s = few_loads_s(loads);
		printf("%4d loads, 1 room: %.0f ms\n", loads, 1000.0 * s);
		assert_true(s < 0.5);
	}
	double s = many_loads_s();
	printf("%4d loads, %d rooms: %.2f s\n", LOADS, ROOMS, s);
	assert_true(s < 10.0);
}

int main(void)
{
	const struct CMUnitTest tests[] = {cmocka_unit_test(refreshes_are_quick)};

	return cmocka_run_group_tests_name("bench_site", tests, NULL, NULL);
}
