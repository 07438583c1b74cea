/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * Humid hill weather, and a room that follows it.  All numbers are our choice.
 */
#include <gsl/gsl_randist.h>
#include <math.h>
#include <stdlib.h>

#include "season.h"

double season_normal(gsl_rng *rng, double mean, double sd)
{
	return mean + gsl_ran_gaussian(rng, sd);
}

/* Magnus form: another formula than the library's. */
double season_saturation_pa(double temp_c)
{
	return 611.2 * exp(17.62 * temp_c / (243.12 + temp_c));
}

struct weather {
	double warm, moist, cloud; /* slow states */
	double shower_left_s, shower;
};

static double wander(gsl_rng *rng, double value, double sd, double tau_s)
{
	const double keep = exp(-SEASON_STEP_S / tau_s);
	return value * keep + gsl_ran_gaussian(rng, sd * sqrt(1.0 - keep * keep));
}

static void step_weather(const struct season_options *options, gsl_rng *rng, double hour,
			 struct weather *w, double *temp_c, double *vapour_pa)
{
	if (options->calm)
		w->shower_left_s = -SEASON_STEP_S;
	w->warm = wander(rng, w->warm, options->calm ? 0.1 : 2.2, 50 * 3600.0);
	w->moist = wander(rng, w->moist, options->calm ? 0.1 : 1.6, 36 * 3600.0);
	w->cloud = wander(rng, w->cloud, options->calm ? 0.05 : 1.0, 14 * 3600.0);
	const double cloudy = 1.0 / (1.0 + exp(-1.5 * w->cloud - 0.3));
	/* Showers: likelier in the afternoon and under cloud. */
	const double rate = (options->wet_climate ? 1.6 : 0.7) * (0.4 + cloudy) *
			    (hour > 12 && hour < 20 ? 1.6 : 0.7) / 86400.0;
	if (!options->calm && w->shower_left_s <= 0 && gsl_rng_uniform(rng) < rate * SEASON_STEP_S)
		w->shower_left_s = 1200.0 + gsl_ran_exponential(rng, 3600.0);
	w->shower_left_s -= SEASON_STEP_S;
	const double goal = w->shower_left_s > 0 ? 1.0 : 0.0;
	w->shower += (goal - w->shower) * SEASON_STEP_S / (goal > 0 ? 900.0 : 5400.0);
	const double swing = 4.8 * (1.0 - 0.65 * cloudy);
	const double day = cos((hour - 14.5) / 24.0 * 2.0 * M_PI);
	double t = 17.5 + w->warm + swing * (day + 0.25 * day * day) - 3.0 * w->shower;
	double dew = 13.3 + 0.4 * w->warm + w->moist + 0.5 * day;
	dew += w->shower * 0.8 * fmax(t - dew, 0.0);
	*temp_c = t;
	*vapour_pa = fmin(season_saturation_pa(dew), 0.985 * season_saturation_pa(t));
}

static void step_room(const struct season_options *options, bool hearth, bool door, double out_c,
		      double out_pa, double *temp_c, double *vapour_pa, double *wall_c)
{
	(void)options;
	*wall_c += (out_c + 1.2 - *wall_c) * SEASON_STEP_S / (16 * 3600.0);
	const double goal = 0.55 * *wall_c + 0.45 * (out_c + 0.8) + (hearth ? 1.5 : 0.0);
	*temp_c += (goal - *temp_c) * SEASON_STEP_S / (door ? 1800.0 : 5400.0);
	/* Vapour comes and goes with the air, and walls hold some of it back. */
	const double wall_pa = 0.72 * season_saturation_pa(*wall_c);
	*vapour_pa += (out_pa - *vapour_pa) * SEASON_STEP_S / (door ? 1200.0 : 5400.0) +
		      (wall_pa - *vapour_pa) * SEASON_STEP_S / 14400.0;
	*vapour_pa = fmin(*vapour_pa, 0.985 * season_saturation_pa(*temp_c));
}

void season_make_air(const struct season_options *options, gsl_rng *rng, int64_t start_unix_s,
		     struct season_air *air)
{
	air->start_unix_s = start_unix_s;
	air->n = (size_t)options->days * 86400 / SEASON_STEP_S;
	air->out_temp_c = calloc(air->n, sizeof(double));
	air->out_vapour_pa = calloc(air->n, sizeof(double));
	air->temp_c = calloc(air->n, sizeof(double));
	air->vapour_pa = calloc(air->n, sizeof(double));
	struct weather w = {0};
	w.warm = gsl_ran_gaussian(rng, options->calm ? 0.1 : 2.2);
	w.moist = gsl_ran_gaussian(rng, options->calm ? 0.1 : 1.6);
	double t = 18.0, e = 1500.0, wall = 18.5;
	bool hearth_today = false, door_today = false;
	for (size_t i = 0; i < air->n; i++) {
		const double hour = fmod((double)i * SEASON_STEP_S / 3600.0, 24.0);
		if (i % (86400 / SEASON_STEP_S) == 0) {
			hearth_today = gsl_rng_uniform(rng) < 0.7 || options->calm;
			door_today = gsl_rng_uniform(rng) < 0.5 && !options->calm;
		}
		step_weather(options, rng, hour, &w, &air->out_temp_c[i], &air->out_vapour_pa[i]);
		step_room(options, hearth_today && hour > 19.0 && hour < 22.5,
			  door_today && hour > 10.0 && hour < 17.0, air->out_temp_c[i],
			  air->out_vapour_pa[i], &t, &e, &wall);
		air->temp_c[i] = t;
		air->vapour_pa[i] = e;
	}
}

void season_free_air(struct season_air *air)
{
	free(air->out_temp_c);
	free(air->out_vapour_pa);
	free(air->temp_c);
	free(air->vapour_pa);
}
