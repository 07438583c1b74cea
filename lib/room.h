/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * The air of one room: its measured past on a five-minute grid and an ensemble
 * of paths of its coming temperature and vapour pressure.
 *
 * Pure: time enters as an argument.  A series is the only state; it is a pure
 * function of the readings and outlooks put into it.
 */
#ifndef WT_LIB_ROOM_H
#define WT_LIB_ROOM_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "lib/ensemble.h"
#include "lib/status.h"

/* How many days of the grid a series keeps. */
#define WT_ROOM_KEEP_DAYS 40

struct wt_room_series;

/* One room.  utc_offset_s is the site's usual offset: "the same hour" means local solar-ish hour.
 */
enum wt_status wt_room_series_new(int32_t utc_offset_s, struct wt_room_series **out) WT_MUST_CHECK;
void wt_room_series_free(struct wt_room_series **series);
/* An independent copy, for a worker thread. */
enum wt_status wt_room_series_copy(const struct wt_room_series *series,
				   struct wt_room_series **out) WT_MUST_CHECK;

/* Adds a reading.  Order does not matter within the kept days; older ones give WT_ERR_RANGE.
 * weight 1 for a good reading, less for one that is doubted, > 0.  Several stations in one room
 * simply add. */
enum wt_status wt_room_series_add(struct wt_room_series *series, int64_t at_unix_s, double temp_c,
				  double rh_pct, double weight) WT_MUST_CHECK;

/* An outdoor forecast as received at issued_unix_s.  Arrays are copied.  rh_pct, temp_c finite. */
struct wt_outlook {
	int64_t issued_unix_s;
	size_t n;
	const int64_t *at_unix_s;
	const double *temp_c;
	const double *rh_pct;
};
enum wt_status wt_room_series_add_outlook(struct wt_room_series *series,
					  const struct wt_outlook *outlook) WT_MUST_CHECK;

/* Newest reading at or before now; WT_ERR_NODATA when there is none. */
struct wt_room_now {
	int64_t at_unix_s;
	double temp_c;
	double vapour_pa;
	double rh_pct;
	double vpd_pa;
};
enum wt_status wt_room_latest(const struct wt_room_series *series, int64_t now_unix_s,
			      struct wt_room_now *out) WT_MUST_CHECK;

/* Measured air on the grid from the grid instant at or before from_unix_s to the one at or before
 * to_unix_s, gaps filled (lines over short gaps, the daily shape over long ones, the last value
 * before the first reading).  temp_c and vapour_pa have room for capacity floats; *n is set.
 * *known_share is the share of instants within 15 min of a reading. */
enum wt_status wt_room_fill(const struct wt_room_series *series, int64_t from_unix_s,
			    int64_t to_unix_s, size_t capacity, float *temp_c, float *vapour_pa,
			    size_t *n, double *known_share) WT_MUST_CHECK;

/* What was learned from the series up to a moment: daily shape, decay, errors by lead. */
struct wt_room_fit;
/* Deterministic in (series up to upto_unix_s).  Costs several forecasts; using one for six hours
 * costs no measurable skill, for a day about 0.2 % of the CRPS. */
enum wt_status wt_room_fit_new(const struct wt_room_series *series, int64_t upto_unix_s,
			       struct wt_room_fit **out) WT_MUST_CHECK;
void wt_room_fit_free(struct wt_room_fit **fit);

/* Draws n_paths paths of n_steps instants from the grid instant at or before now into temp_c and
 * vapour_pa ([step * n_paths + path]).  Uses readings and outlooks received up to now only.
 * WT_ERR_NODATA with no reading in the last 12 h; WT_ERR_ARG when the fit is from more than a day
 * after now, or older than the kept days. */
enum wt_status wt_room_draw(const struct wt_room_series *series, const struct wt_room_fit *fit,
			    int64_t now_unix_s, uint64_t seed, size_t n_paths, size_t n_steps,
			    float *temp_c, float *vapour_pa) WT_MUST_CHECK;

/* What the air has just done, for words. */
enum wt_room_event_kind {
	WT_ROOM_EVENT_NONE,
	WT_ROOM_EVENT_WETTER, /* drying power fell suddenly: a shower, a door, mist */
	WT_ROOM_EVENT_DRIER,
};
struct wt_room_event {
	enum wt_room_event_kind kind;
	int64_t since_unix_s;
	double vpd_before_pa;
	double vpd_after_pa;
};
enum wt_status wt_room_recent_event(const struct wt_room_series *series, int64_t now_unix_s,
				    struct wt_room_event *out) WT_MUST_CHECK;

/* How far the outlook is trusted now: 0 not at all (or none), 1 wholly; mean over 3-24 h. */
double wt_room_outlook_weight(const struct wt_room_fit *fit);

#endif /* WT_LIB_ROOM_H */
