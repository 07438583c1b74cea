/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * How good the room forecast is, over invented rooms and weather (tests/bench/room_made.c): its
 * bands, its error against persistence and against yesterday, what spoiled records and spoiled
 * outlooks do to it.
 */
#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>

#include <cmocka.h>

#include "tests/bench/room_made.h"
#include "tests/bench/room_score.h"

static const int step_s[MADE_KINDS] = {600, 900, 3600, 900, 600};

static struct score_options usual_options(void)
{
	return (struct score_options){.warm_days = 14,
				      .origin_step_s = 5 * 3600,
				      .fit_step_s = 12 * 3600,
				      .n_paths = 256};
}

static struct score scored(enum made_kind kind, unsigned seed, const struct score_options *options)
{
	struct record record = {0};
	struct score score;
	assert_int_equal(made_room(kind, seed, 36, step_s[kind], &record), 0);
	assert_int_equal(score_record(&record, options, &score), 0);
	record_free(&record);
	return score;
}

/* Share inside a band over temperature and vapour pressure, all leads up to 36 h. */
static double share_in(const struct score *score, int band)
{
	double in = 0.0;
	double n = 0.0;
	for (size_t w = 0; w < 2; w++)
		for (size_t lead = 0; lead < SCORE_LEADS - 1; lead++) {
			const struct score_cell *c = &score->cell[w][lead];
			in += band == 50 ? c->in50 : band == 80 ? c->in80 : c->in95;
			n += c->n;
		}
	return in / n;
}

/* Mean over 3-24 h of crps over the better baseline. */
static double mean_ratio(const struct score *score)
{
	double sum = 0.0;
	double n = 0.0;
	for (size_t w = 0; w < 2; w++)
		for (size_t lead = 0; lead < SCORE_LEADS; lead++)
			if (score_lead_h[lead] >= 3.0 && score_lead_h[lead] <= 24.0) {
				sum += score_ratio(&score->cell[w][lead]);
				n += 1.0;
			}
	return sum / n;
}

static void bands_hold_and_baselines_are_beaten(void **state)
{
	(void)state;
	struct score_options options = usual_options();
	struct score all = {0};
	for (int kind = 0; kind < MADE_KINDS; kind++) {
		struct score score = scored((enum made_kind)kind, 31, &options);
		print_message("%s: ratio %.3f, 80 %% band %.1f %%\n", made_name[kind],
			      mean_ratio(&score), 100.0 * share_in(&score, 80));
		assert_true(share_in(&score, 80) >= 0.70);
		assert_true(mean_ratio(&score) <= 0.75);
		score_add(&all, &score);
	}
	print_message("all: ratio %.3f, bands %.1f, %.1f, %.1f %%\n", mean_ratio(&all),
		      100.0 * share_in(&all, 50), 100.0 * share_in(&all, 80),
		      100.0 * share_in(&all, 95));
	assert_true(share_in(&all, 50) >= 0.45 && share_in(&all, 50) <= 0.55);
	assert_true(share_in(&all, 80) >= 0.76 && share_in(&all, 80) <= 0.84);
	assert_true(share_in(&all, 95) >= 0.91 && share_in(&all, 95) <= 0.98);
	assert_true(mean_ratio(&all) <= 0.62);
}

static void short_histories_give_an_honest_band(void **state)
{
	(void)state;
	static const double history_h[] = {6, 24, 72};
	for (size_t h = 0; h < sizeof history_h / sizeof history_h[0]; h++) {
		struct score_options options = usual_options();
		options.warm_days = 0;
		options.history_h = history_h[h];
		options.origin_step_s = 17 * 3600;
		for (int kind = 0; kind < MADE_KINDS; kind++) {
			struct score score = scored((enum made_kind)kind, 32, &options);
			print_message("%2.0f h of %s: ratio %.3f, 80 %% band %.1f %%\n",
				      history_h[h], made_name[kind], mean_ratio(&score),
				      100.0 * share_in(&score, 80));
			assert_true(share_in(&score, 80) >= 0.75);
		}
	}
}

static void an_outlook_helps_and_a_bad_one_does_no_harm(void **state)
{
	(void)state;
	static const enum made_kind kinds[] = {MADE_HILL, MADE_SUMMER, MADE_ATTIC};
	for (size_t k = 0; k < sizeof kinds / sizeof kinds[0]; k++) {
		struct score_options options = usual_options();
		struct score alone = scored(kinds[k], 33, &options);
		for (int told = OUTLOOK_GOOD; told <= OUTLOOK_STUCK; told++) {
			options.outlook = (enum outlook_kind)told;
			struct score with = scored(kinds[k], 33, &options);
			double share = mean_ratio(&with) / mean_ratio(&alone);
			print_message("%s, outlook %d: %.3f of station alone, 80 %% band %.1f %%\n",
				      made_name[kinds[k]], told, share,
				      100.0 * share_in(&with, 80));
			if (told == OUTLOOK_GOOD)
				assert_true(mean_ratio(&with) <= 0.45);
			assert_true(share <= 1.05);
			assert_true(share_in(&with, 80) >= 0.70);
		}
	}
}

/* What stations do: gaps, coarse steps, a sensor moved, noise, other intervals. */
static void spoil(struct record *r, int how)
{
	size_t kept = 0;
	unsigned random = 7;
	for (size_t i = 0; i < r->n; i++) {
		double age_d = (double)(r->at_unix_s[i] - r->at_unix_s[0]) / 86400.0;
		random = random * 1664525u + 1013904223u;
		double share = (double)(random >> 8) / (double)(1u << 24);
		if (how == 0 && fmod(age_d, 1.9) > 1.55)
			continue; /* dumb for eight hours every other day */
		r->at_unix_s[kept] = r->at_unix_s[i];
		r->temp_c[kept] = r->temp_c[i];
		r->rh_pct[kept] = r->rh_pct[i];
		if (how == 1 && age_d > 20.0)
			r->temp_c[kept] += 1.5; /* moved to a warmer corner */
		if (how == 2) {
			r->temp_c[kept] += 0.6 * (share - 0.5);
			r->rh_pct[kept] =
				fmin(100.0, fmax(1.0, r->rh_pct[kept] + 5.0 * (share - 0.5)));
		}
		if (how == 3) {
			r->temp_c[kept] = round(r->temp_c[kept] * 2.0) / 2.0;
			r->rh_pct[kept] = round(r->rh_pct[kept]);
		}
		kept++;
	}
	r->n = kept;
}

static void spoiled_records_keep_their_bands(void **state)
{
	(void)state;
	static const char *const names[] = {"gaps", "step", "noise", "coarse"};
	for (int how = 0; how < 4; how++) {
		struct record record = {0};
		struct score score;
		struct score_options options = usual_options();
		assert_int_equal(made_room(MADE_HILL, 34, 36, 600, &record), 0);
		spoil(&record, how);
		assert_int_equal(score_record(&record, &options, &score), 0);
		print_message("%s: ratio %.3f, 80 %% band %.1f %%\n", names[how],
			      mean_ratio(&score), 100.0 * share_in(&score, 80));
		assert_true(share_in(&score, 80) >= 0.70 && share_in(&score, 80) <= 0.90);
		assert_true(mean_ratio(&score) <= 0.72);
		record_free(&record);
	}
}

static void records_are_read_in_the_usual_forms(void **state)
{
	(void)state;
	char text[] = "time,temp_c,rh_pct,out_temp_c,out_rh_pct\n"
		      "1717200000,20.5,60,18.0,70\n"
		      "1717200600.5,20.6,,18.0,70\n"
		      "2024-06-01 00:20,20.7,61\n"
		      "2024-06-01T02:30:00.25+02:00,20.8,62,,\n"
		      "2024-05-31T20:40:00-04:00,20.9,63\n"
		      "2024-06-01T00:50:00Z,21.0,64,17.5,72\r\n";
	struct record record = {0};
	FILE *file = fmemopen(text, sizeof text - 1, "r");
	assert_non_null(file);
	assert_int_equal(record_read(&record, file), 0);
	fclose(file);
	assert_int_equal(record.n, 5); /* a gap is no reading */
	for (size_t i = 1; i < record.n; i++)
		assert_int_equal(record.at_unix_s[i], 1717200000 + 600 * ((int64_t)i + 1));
	assert_float_equal(record.rh_pct[4], 64.0, 0.0);
	assert_float_equal(record.out_temp_c[4], 17.5, 0.0);
	assert_true(isnan(record.out_temp_c[2]));
	record_free(&record);

	char bad[] = "time,temp_c,rh_pct\n1717200000,20,60\nyesterday,20,60\n";
	file = fmemopen(bad, sizeof bad - 1, "r");
	assert_non_null(file);
	assert_int_equal(record_read(&record, file), 3);
	fclose(file);
	record_free(&record);
}

int main(void)
{
	const struct CMUnitTest tests[] = {
		cmocka_unit_test(records_are_read_in_the_usual_forms),
		cmocka_unit_test(bands_hold_and_baselines_are_beaten),
		cmocka_unit_test(short_histories_give_an_honest_band),
		cmocka_unit_test(an_outlook_helps_and_a_bad_one_does_no_harm),
		cmocka_unit_test(spoiled_records_keep_their_bands),
	};
	return cmocka_run_group_tests(tests, NULL, NULL);
}
