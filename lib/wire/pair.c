/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "lib/wire/pair.h"

#include <math.h>

static const int64_t repeat_ms = 2000;
static const int64_t window_least_ms = 120 * 1000;
static const int stuck_readings = 12, stuck_intervals = 6;
static const int64_t stuck_least_ms = 3 * 3600 * 1000;
static const double jump_temp_c = 5, jump_temp_c_min = 0.5;
static const double jump_rh_pct = 20, jump_rh_pct_min = 3;

void wt_pair_init(struct wt_pair *pair, double expected_every_s)
{
	*pair = (struct wt_pair){
		.expected_every_ms = (int64_t)(expected_every_s * 1e3),
		.temp.value = (double)NAN,
		.rh.value = (double)NAN,
	};
	pair->window_ms = pair->expected_every_ms / 2;
	if (pair->window_ms < window_least_ms)
		pair->window_ms = window_least_ms;
}

static int64_t apart_ms(int64_t a, int64_t b)
{
	return a > b ? a - b : b - a;
}

/* A value alone.  The repeat of one that is part of a reading already counts for nothing. */
static void hear(struct wt_pair_half *half, double value, int64_t at_unix_ms, unsigned flags)
{
	bool repeat = half->used && half->value == value &&
		      apart_ms(half->at_unix_ms, at_unix_ms) <= repeat_ms;

	if (!isfinite(value) || repeat)
		return;
	*half = (struct wt_pair_half){.value = value, .at_unix_ms = at_unix_ms, .flags = flags};
}

static bool complete(const struct wt_pair *pair)
{
	return isfinite(pair->temp.value) && isfinite(pair->rh.value) && !pair->temp.used &&
	       !pair->rh.used &&
	       apart_ms(pair->temp.at_unix_ms, pair->rh.at_unix_ms) <= pair->window_ms;
}

static bool repeats_last(const struct wt_pair *pair, const struct wt_payload_values *values,
			 int64_t at_unix_ms)
{
	return pair->any && values->temp_c == pair->last_temp_c &&
	       values->rh_pct == pair->last_rh_pct &&
	       apart_ms(at_unix_ms, pair->last_unix_ms) <= repeat_ms;
}

static bool jumped(const struct wt_pair *pair, const struct wt_pair_reading *reading)
{
	double minutes = (double)apart_ms(reading->at_unix_ms, pair->last_unix_ms) / 60e3;

	return fabs(reading->temp_c - pair->last_temp_c) >
		       jump_temp_c + jump_temp_c_min * minutes ||
	       fabs(reading->rh_pct - pair->last_rh_pct) > jump_rh_pct + jump_rh_pct_min * minutes;
}

static void count_same(struct wt_pair *pair, const struct wt_pair_reading *reading)
{
	bool same = pair->any && reading->temp_c == pair->last_temp_c &&
		    reading->rh_pct == pair->last_rh_pct;

	if (!same) {
		pair->same_since_unix_ms = reading->at_unix_ms;
		pair->same_count = 0;
	}
	pair->same_count++;
}

static unsigned sense_flags(const struct wt_pair *pair, const struct wt_pair_reading *reading)
{
	unsigned flags = 0;

	if (pair->any && jumped(pair, reading))
		flags |= WT_FLAG_JUMP;
	if (reading->rh_pct >= 100)
		flags |= WT_FLAG_SATURATED;
	if (pair->same_count >= stuck_readings &&
	    reading->at_unix_ms - pair->same_since_unix_ms >=
		    stuck_intervals * pair->expected_every_ms &&
	    reading->at_unix_ms - pair->same_since_unix_ms >= stuck_least_ms)
		flags |= WT_FLAG_STUCK;
	return flags;
}

bool wt_pair_add(struct wt_pair *pair, const struct wt_payload_values *values,
		 int64_t received_unix_ms, struct wt_pair_reading *out)
{
	int64_t at_unix_ms = isfinite(values->source_unix_s)
				     ? (int64_t)llround(values->source_unix_s * 1e3)
				     : received_unix_ms;
	struct wt_pair_reading reading;

	if ((values->flags & WT_FLAG_RETAINED) || repeats_last(pair, values, at_unix_ms))
		return false;
	if (isfinite(values->temp_c) && isfinite(values->rh_pct))
		pair->temp.used = pair->rh.used = false;
	hear(&pair->temp, values->temp_c, at_unix_ms,
	     values->flags & ~(unsigned)WT_FLAG_RH_CLAMPED);
	hear(&pair->rh, values->rh_pct, at_unix_ms, values->flags);
	if (!complete(pair))
		return false;
	reading = (struct wt_pair_reading){
		.at_unix_ms = pair->temp.at_unix_ms > pair->rh.at_unix_ms ? pair->temp.at_unix_ms
									  : pair->rh.at_unix_ms,
		.temp_c = pair->temp.value,
		.rh_pct = pair->rh.value,
		.flags = pair->temp.flags | pair->rh.flags,
	};
	count_same(pair, &reading);
	reading.flags |= sense_flags(pair, &reading);
	pair->temp.used = pair->rh.used = true;
	pair->any = true;
	pair->last_unix_ms = reading.at_unix_ms;
	pair->last_temp_c = reading.temp_c;
	pair->last_rh_pct = reading.rh_pct;
	*out = reading;
	return true;
}
