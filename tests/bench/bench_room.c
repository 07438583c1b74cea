/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * Scores the room forecast, over invented rooms or over records given as CSV:
 *
 *     room_score                        invented rooms, and the speed
 *     room_score [options] FILE...      time,temp_c,rh_pct[,out_temp_c,out_rh_pct]
 *
 *     --paths N       members of each forecast (512)
 *     --every H       hours between forecasts (3)
 *     --refit H       hours between fits (6)
 *     --warm D        days of history before the first forecast (14)
 *     --history H     give each forecast only so many hours of history
 *     --utc-offset H  local time, for the hour of the day (0)
 *     --outlook KIND  good, biased, turned, frozen, stuck: made of the outdoor columns
 *     --brief         one line a record: crps over the better baseline at 1 to 36 h
 */
#include <math.h>
#include <stdbool.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>

#include "lib/room.h"
#include "room_made.h"
#include "room_score.h"

static void print_brief(const struct score *score, const char *name)
{
	static const char *const what[SCORE_WHATS] = {"temp", "vapour", "mean_vpd"};
	for (size_t w = 0; w < SCORE_WHATS; w++) {
		double n = 0.0;
		double in50 = 0.0;
		double in80 = 0.0;
		printf("%-22s %-8s", name, what[w]);
		for (size_t lead = 1; lead < SCORE_LEADS - 1; lead++) {
			const struct score_cell *c = &score->cell[w][lead];
			n += c->n;
			in50 += c->in50;
			in80 += c->in80;
			if (c->n > 0.0)
				printf(" %5.2f", score_ratio(c));
			else
				printf("     -");
		}
		printf("  in50 %4.1f%% in80 %4.1f%%\n", 100.0 * in50 / n, 100.0 * in80 / n);
	}
}

static void print_brief_head(void)
{
	printf("%-22s %-8s", "crps / better baseline", "lead_h");
	for (size_t lead = 1; lead < SCORE_LEADS - 1; lead++)
		printf(" %5.0f", score_lead_h[lead]);
	printf("\n");
}

static double seconds(void)
{
	struct timespec t;
	clock_gettime(CLOCK_PROCESS_CPUTIME_ID, &t);
	return (double)t.tv_sec + 1e-9 * (double)t.tv_nsec;
}

/* 30 days at one minute; 1024 paths over 36 and 48 h. */
static int print_speed(void)
{
	struct record record = {0};
	struct wt_room_series *series = NULL;
	struct wt_room_fit *fit = NULL;
	enum { PATHS = 1024, STEPS = 577, TIMES = 20 };
	float *temp_c = calloc((size_t)PATHS * STEPS, sizeof *temp_c);
	float *vapour_pa = calloc((size_t)PATHS * STEPS, sizeof *vapour_pa);
	int result = 1;
	if (!temp_c || !vapour_pa || made_room(MADE_HILL, 5, 30, 300, &record) ||
	    wt_room_series_new(0, &series) != WT_OK)
		goto out;
	double start = seconds();
	double n_add = 0.0;
	for (size_t i = 0; i < record.n; i++)
		for (int k = 0; k < 5; k++, n_add += 1.0)
			if (wt_room_series_add(series, record.at_unix_s[i] - 240 + 60 * k,
					       record.temp_c[i], record.rh_pct[i], 1.0) != WT_OK)
				goto out;
	double add_s = (seconds() - start) / n_add;
	int64_t now = record.at_unix_s[record.n - 1];
	start = seconds();
	for (int k = 0; k < TIMES; k++) {
		wt_room_fit_free(&fit);
		if (wt_room_fit_new(series, now, &fit) != WT_OK)
			goto out;
	}
	printf("\nfit from 30 days: %.2f ms; adding a reading: %.2f us\n",
	       1e3 * (seconds() - start) / TIMES, 1e6 * add_s);
	for (size_t steps = 433; steps <= STEPS; steps += 144) {
		start = seconds();
		for (uint64_t k = 0; k < TIMES; k++)
			if (wt_room_draw(series, fit, now, k, PATHS, steps, temp_c, vapour_pa) !=
			    WT_OK)
				goto out;
		printf("draw of %d paths over %zu h: %.2f ms\n", PATHS, (steps - 1) / 12,
		       1e3 * (seconds() - start) / TIMES);
	}
	result = 0;
out:
	wt_room_fit_free(&fit);
	wt_room_series_free(&series);
	record_free(&record);
	free(temp_c);
	free(vapour_pa);
	return result;
}

static int score_made(const struct score_options *options)
{
	static const int step_s[MADE_KINDS] = {600, 300, 3600, 900, 600};
	struct score all = {0};
	printf("Rooms and weather here are invented.\n");
	print_brief_head();
	for (int told = 0; told < 2; told++) {
		for (int kind = 0; kind < MADE_KINDS; kind++) {
			struct record record = {0};
			struct score score;
			struct score_options o = *options;
			char name[64];
			o.outlook = told ? OUTLOOK_GOOD : OUTLOOK_NONE;
			snprintf(name, sizeof name, "%s%s", made_name[kind],
				 told ? ", outlook" : "");
			if (made_room((enum made_kind)kind, 11, 40, step_s[kind], &record) ||
			    score_record(&record, &o, &score))
				return 1;
			print_brief(&score, name);
			if (!told)
				score_add(&all, &score);
			record_free(&record);
		}
	}
	printf("\n");
	score_print(&all, "all invented rooms, station alone", stdout);
	return print_speed();
}

static enum outlook_kind outlook_of(const char *name)
{
	static const char *const names[] = {"none", "good", "biased", "turned", "frozen", "stuck"};
	for (size_t k = 0; k < sizeof names / sizeof names[0]; k++)
		if (strcmp(name, names[k]) == 0)
			return (enum outlook_kind)k;
	fprintf(stderr, "outlook '%s': none, good, biased, turned, frozen or stuck\n", name);
	exit(2);
}

static int score_file(const char *path, const struct score_options *options, bool brief)
{
	struct record record = {0};
	struct score score;
	FILE *file = fopen(path, "r");
	if (!file) {
		perror(path);
		return 1;
	}
	long bad = record_read(&record, file);
	fclose(file);
	if (bad)
		fprintf(stderr, "%s:%ld: want time,temp_c,rh_pct\n", path, bad);
	else if (score_record(&record, options, &score))
		bad = 1;
	else if (brief)
		print_brief(&score, strrchr(path, '/') ? strrchr(path, '/') + 1 : path);
	else
		score_print(&score, path, stdout);
	record_free(&record);
	return bad != 0;
}

/* Takes an option with its value; false when it is none of ours. */
static bool take_option(struct score_options *o, const char *name, const char *value)
{
	double number = strtod(value, NULL);
	if (strcmp(name, "--paths") == 0)
		o->n_paths = (size_t)number;
	else if (strcmp(name, "--every") == 0)
		o->origin_step_s = (int64_t)(number * 3600.0);
	else if (strcmp(name, "--refit") == 0)
		o->fit_step_s = (int64_t)(number * 3600.0);
	else if (strcmp(name, "--warm") == 0)
		o->warm_days = number;
	else if (strcmp(name, "--history") == 0)
		o->history_h = number;
	else if (strcmp(name, "--utc-offset") == 0)
		o->utc_offset_s = (int32_t)(number * 3600.0);
	else if (strcmp(name, "--outlook") == 0)
		o->outlook = outlook_of(value);
	else
		return false;
	if (o->history_h > 0.0)
		o->warm_days = 0.0;
	return o->n_paths >= 8 && o->n_paths <= 65536 && o->origin_step_s >= 60;
}

int main(int argc, char **argv)
{
	struct score_options options = {
		.warm_days = 14, .origin_step_s = 3 * 3600, .fit_step_s = 6 * 3600, .n_paths = 512};
	bool brief = false;
	int i = 1;
	for (; i < argc && strncmp(argv[i], "--", 2) == 0; i++) {
		if (strcmp(argv[i], "--brief") == 0) {
			brief = true;
			continue;
		}
		if (i + 1 >= argc || !take_option(&options, argv[i], argv[i + 1])) {
			fprintf(stderr, "'%s': see the head of tests/bench/bench_room.c\n",
				argv[i]);
			return 2;
		}
		i++;
	}
	if (i == argc)
		return score_made(&options);
	if (brief)
		print_brief_head();
	int result = 0;
	for (; i < argc; i++)
		result |= score_file(argv[i], &options, brief);
	return result;
}
