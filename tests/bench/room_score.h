/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * Scores of the room forecast over a record of readings: strictly from the past, origin by
 * origin, as the daemon would have forecast.
 */
#ifndef WT_TESTS_ROOM_SCORE_H
#define WT_TESTS_ROOM_SCORE_H

#include <stddef.h>
#include <stdint.h>
#include <stdio.h>

/* A record; outdoor arrays NAN where unknown. */
struct record {
	size_t n;
	size_t capacity;
	int64_t *at_unix_s;
	double *temp_c;
	double *rh_pct;
	double *out_temp_c;
	double *out_rh_pct;
};

void record_free(struct record *record);
int record_push(struct record *record, int64_t at_unix_s, const double values[4]);
/* Reads time,temp_c,rh_pct[,out_temp_c,out_rh_pct] with a heading line; time in Unix seconds or
 * as YYYY-MM-DD HH:MM[:SS], UTC unless it ends in an offset such as +02:00.  0, or the number of
 * the line that is wrong, or -1. */
long record_read(struct record *record, FILE *file);

enum outlook_kind {
	OUTLOOK_NONE,
	OUTLOOK_GOOD,   /* what came, with noise that grows with the lead */
	OUTLOOK_BIASED, /* the same and 3 K too warm, vapour to match */
	OUTLOOK_TURNED, /* good for 20 days, then biased */
	OUTLOOK_FROZEN, /* the same values for ever */
	OUTLOOK_STUCK,  /* good for 20 days, then its last hours repeated */
};

struct score_options {
	double warm_days; /* history before the first forecast */
	double history_h; /* if > 0: only so much history for each forecast */
	int64_t origin_step_s;
	int64_t fit_step_s;
	size_t n_paths;
	enum outlook_kind outlook;
	int32_t utc_offset_s;
};

enum { SCORE_TEMP, SCORE_VAPOUR, SCORE_DEFICIT, SCORE_WHATS };
#define SCORE_LEADS 10
extern const double score_lead_h[SCORE_LEADS];

struct score_cell {
	double n;
	double crps;
	double miss; /* of the median */
	double persistence;
	double yesterday;
	double in50, in80, in95;
};

/* Instants for temperature and vapour pressure; for the deficit its mean from now to the lead. */
struct score {
	struct score_cell cell[SCORE_WHATS][SCORE_LEADS];
	double n_forecasts;
	double draw_s, fit_s, n_fits;
};

int score_record(const struct record *record, const struct score_options *options,
		 struct score *out);
void score_add(struct score *sum, const struct score *more);
/* crps over the better baseline. */
double score_ratio(const struct score_cell *cell);
void score_print(const struct score *score, const char *name, FILE *file);

#endif
