/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * Humid air.  Temperatures in deg C, pressures in Pa, relative humidity in % over liquid water at
 * every temperature, as a sensor gives it.
 */
#ifndef WT_LIB_AIR_H
#define WT_LIB_AIR_H

#include "lib/status.h"

/* Temperatures for which the functions below answer. */
#define WT_AIR_TEMP_MIN_C (-40.0)
#define WT_AIR_TEMP_MAX_C 100.0
/* Highest relative humidity taken, %: a sensor in fog may read a little above 100. */
#define WT_AIR_RH_MAX_PCT 110.0

/* Saturation vapour pressure over water.  Wagner and Pruss 1993 (IAPWS SR1-86(1992), equation 1),
 * valid from the triple point; carried on below it as supercooled water, where it lies within
 * 0.5 % of the WMO formula down to -20 deg C (checked in tests/physics).
 * WT_ERR_ARG when not finite or out is NULL, WT_ERR_RANGE outside -40..100 deg C. */
enum wt_status wt_air_saturation_pa(double temp_c, double *out) WT_MUST_CHECK;
/* Its slope, Pa per K: the derivative of the same equation. */
enum wt_status wt_air_saturation_slope_pa_k(double temp_c, double *out) WT_MUST_CHECK;
/* Vapour pressure of air; rh_pct 0..110. */
enum wt_status wt_air_vapour_pa(double temp_c, double rh_pct, double *out) WT_MUST_CHECK;
/* Relative humidity; vapour_pa >= 0.  May come out above 100 when foggy. */
enum wt_status wt_air_rh_pct(double temp_c, double vapour_pa, double *out) WT_MUST_CHECK;
/* Saturation minus actual vapour pressure; below 0 when foggy. */
enum wt_status wt_air_deficit_pa(double temp_c, double vapour_pa, double *out) WT_MUST_CHECK;
/* Dew point over water; WT_ERR_RANGE when it would lie outside -40..100 deg C. */
enum wt_status wt_air_dew_point_c(double vapour_pa, double *out) WT_MUST_CHECK;
/* ICAO standard atmosphere / ISO 2533, -500..5000 m. */
enum wt_status wt_air_pressure_pa(double altitude_m, double *out) WT_MUST_CHECK;
/* Latent heat of vaporisation, J/kg: 2.501e6 - 2361 t (Allen et al. 1998, FAO-56, equation 3-1). */
enum wt_status wt_air_latent_heat_j_kg(double temp_c, double *out) WT_MUST_CHECK;
/* Psychrometric constant, Pa/K: 0.665e-3 times the pressure (FAO-56, equation 8).
 * pressure_pa 40000..120000. */
enum wt_status wt_air_psychrometric_pa_k(double pressure_pa, double *out) WT_MUST_CHECK;

#endif /* WT_LIB_AIR_H */
