/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * Inside of a fit: what learning, spread and drawing share.
 *
 * The forecast of a variable (temperature or vapour pressure) at a lead is
 *
 *     usual at that hour of the day + beta . features + error,
 *
 * the usual being an exponentially weighted mean of the days before, the features
 * how odd the room is now and was lately (in units of the room's own spread).
 * beta is a ridge regression per lead, shrunk towards the table of
 * lib/room_prior.c; errors are scaled by lead, hour and recent unrest, their
 * quantiles and their correlation between leads and variables are the room's
 * own, shrunk towards the same table.
 */
#ifndef WT_LIB_ROOM_FIT_H
#define WT_LIB_ROOM_FIT_H

#include "lib/room_internal.h"

#define ROOM_KNOTS 15
#define ROOM_FEATURES 12
#define ROOM_OUT_FEATURES 7
#define ROOM_ALL_FEATURES (ROOM_FEATURES + ROOM_OUT_FEATURES)
#define ROOM_HOUR_FEATURES 4
#define ROOM_SCALE_FEATURES 6
#define ROOM_Z 27
#define ROOM_Z_MIN (-3.25)
#define ROOM_Z_STEP 0.25
#define ROOM_DIMS (2 * ROOM_KNOTS)

/* Leads in slots, ascending. */
extern const uint16_t wt_room_knot_slots[ROOM_KNOTS];

/* What is believed of any room, fitted elsewhere: lib/room_prior.c. */
struct room_prior {
	float beta[2][ROOM_KNOTS][ROOM_FEATURES];
	float beta_out[2][ROOM_KNOTS][ROOM_ALL_FEATURES];
	float variance[ROOM_ALL_FEATURES];               /* between rooms, of every coefficient */
	float gamma[2][ROOM_KNOTS][ROOM_SCALE_FEATURES]; /* of the spread */
	float log_scale[2][ROOM_KNOTS]; /* of errors, in units of the room's spread */
	float quantile[2][3][ROOM_Z];   /* of scaled errors: short, middle, long leads */
	float lead_decay[2];            /* correlation of errors: exp(-decay |ln(lead ratio)|) */
	float cross;                    /* of temperature and vapour at one lead */
};
extern const struct room_prior wt_room_prior;

/* The usual by slot of the day: weighted sums. */
struct room_usual {
	float sum[2][ROOM_SLOTS_DAY];
	float weight[ROOM_SLOTS_DAY];
};

/* A dense past with what was usual at each instant, as known a day before it.  usual runs
 * a day beyond the end. */
struct room_past {
	struct room_grid grid;
	float *value[2];    /* the grid's arrays */
	float *usual[2];    /* n + ROOM_SLOTS_DAY */
	float *odd[2];      /* value - usual */
	double *odd_sum[2]; /* of the first i values, n + 1 */
	float *unrest[2];   /* ln of recent hourly changes against the room's mean */
};

struct room_law {
	double beta[ROOM_FEATURES];
	/* Lower Cholesky factor of what was learned from: tells how well beta is known. */
	float known[ROOM_FEATURES][ROOM_FEATURES];
	double beta_out[ROOM_ALL_FEATURES];
	double trust; /* share of the law with outlook, 0..1 */
	double log_scale;
	double log_scale_out; /* of the mixture */
	double gamma[ROOM_SCALE_FEATURES];
	float quantile[ROOM_Z];
};

struct wt_room_fit {
	int32_t utc_offset_s;
	int64_t last;      /* slot of the newest reading learned from */
	int64_t seed_last; /* the usual below is as of this slot */
	struct room_usual seed;
	double days;     /* of readings */
	double level[2]; /* mean, for the time before the first reading */
	/* Half the height of the day of a room seen for hours only, and its uncertainty. */
	double swing[2];
	double swing_sd[2];
	double sd[2]; /* spread of the odd */
	double unrest_ref[2];
	struct room_law law[2][ROOM_KNOTS];
	float root[ROOM_DIMS][ROOM_DIMS]; /* lower Cholesky factor of the errors' correlation */
};

/* The past from slot first to slot last, given the usual before it; *usual is brought to last.
 * fit gives level, sd, unrest_ref.  When snapshot is not NULL the usual as of slot snapshot_at is
 * kept there. */
enum wt_status wt_room_past_new(const struct wt_room_series *series, const struct wt_room_fit *fit,
				int64_t first, int64_t last, struct room_usual *usual,
				int64_t snapshot_at, struct room_usual *snapshot,
				struct room_past *out) WT_MUST_CHECK;
void wt_room_past_free(struct room_past *past);
/* The usual of a room of which only its level and its swing are known. */
void wt_room_usual_start(const double level[2], const double swing[2], struct room_usual *out);
/* Daily shape of an unknown room about its mean, -1..1. */
double wt_room_shape_start(size_t slot_of_day);

/* Index of the usual that stands for target i + lead as known at i: in (i, i + a day]. */
static inline size_t room_usual_index(size_t i, size_t lead)
{
	return i + 1 + (lead - 1) % ROOM_SLOTS_DAY;
}

void wt_room_features(const struct room_past *past, const struct wt_room_fit *fit, size_t v,
		      size_t i, size_t lead, double out[ROOM_FEATURES]);
/* The part of the spread's features that hangs on the hour of the target. */
void wt_room_hour_features(size_t slot_of_day, double out[ROOM_HOUR_FEATURES]);
/* Features of the spread of variable v at a slot of the day, seen from i. */
void wt_room_scale_features(const struct room_past *past, const struct wt_room_fit *fit, size_t v,
			    size_t i, size_t slot_of_day, double out[ROOM_SCALE_FEATURES]);

/* Variance that the features add by what is not known of beta, in units of the error's. */
double wt_room_law_doubt(const struct room_law *law, const double x[ROOM_FEATURES]);

/* Coefficients of every law; past must reach back as far as wished. */
enum wt_status wt_room_learn(const struct wt_room_series *series, const struct room_past *past,
			     struct wt_room_fit *fit) WT_MUST_CHECK;

#endif /* WT_LIB_ROOM_FIT_H */
