/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * A workshop on a virtual clock, for the tests of the site.
 */
#ifndef WT_TESTS_SITE_FIXTURE_H
#define WT_TESTS_SITE_FIXTURE_H

#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdlib.h>
#include <string.h>

#include <cmocka.h>

#include "daemon/site.h"

/* 2026-04-06 00:00 in the zone of the tests (UTC+8, no summer time). */
#define DAY0 1775404800
#define HOUR 3600

struct workshop {
	struct wt_config *config;
	struct wt_site *site;
	int64_t now_unix_s;
	int64_t next_act;
	double warmer_c, wetter_pct; /* of the air that feed() makes */
	double noise;                /* seed */
	struct wt_refusal refusal;   /* of the last call */
};

/* extra: more lines for the configuration, or NULL. */
void workshop_open(struct workshop *w, const char *extra);
void workshop_close(struct workshop *w);
/* The air of a mild hill: 14 to 24 C, 55 to 90 % over the day. */
void workshop_air(const struct workshop *w, int64_t at_unix_s, double *temp_c, double *rh_pct);
/* Readings every 5 minutes from the clock to `until`, which the clock then shows. */
void workshop_feed(struct workshop *w, int64_t until_unix_s);
/* One act, stored and taken in; NULL when refused (w->refusal).  format: JSON with ' for ". */
json_t *workshop_act(struct workshop *w, const char *method, const char *format, ...)
	__attribute__((format(printf, 3, 4)));
json_t *workshop_query(struct workshop *w, const char *method, const char *format, ...)
	__attribute__((format(printf, 3, 4)));
json_t *workshop_study(struct workshop *w, const char *method, const char *format, ...)
	__attribute__((format(printf, 3, 4)));
/* A forecast at the clock's time, adopted; one that is kept at regular times. */
void workshop_forecast(struct workshop *w);

/* A number deep in a document, "loads/0/ready_unix_s/p50"; NAN when null, fails when missing. */
double number_at(const json_t *document, const char *path);
const char *text_at(const json_t *document, const char *path);
const json_t *value_at(const json_t *document, const char *path);

/* cmocka compares in single precision. */
#define assert_near(a, b, within)                                                                  \
	do {                                                                                       \
		double near_a = (a), near_b = (b);                                                 \
		if (!(fabs(near_a - near_b) <= (within)))                                          \
			fail_msg("%g is not %g", near_a, near_b);                                  \
	} while (0)

#endif /* WT_TESTS_SITE_FIXTURE_H */
