/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * Humid air.  Temperatures in deg C, pressures in Pa, relative humidity in % over water.
 */
#ifndef WT_LIB_AIR_H
#define WT_LIB_AIR_H

#include "lib/status.h"

/* Saturation vapour pressure over water, valid 0..100 deg C here from -40 (supercooled, error said
 * in lib/air.c).  Wagner and Pruss 1993 / IAPWS SR1-86(1992). */
enum wt_status wt_air_saturation_pa(double temp_c, double *out) WT_MUST_CHECK;
/* Its slope, Pa per K. */
enum wt_status wt_air_saturation_slope_pa_k(double temp_c, double *out) WT_MUST_CHECK;
enum wt_status wt_air_vapour_pa(double temp_c, double rh_pct, double *out) WT_MUST_CHECK;
enum wt_status wt_air_rh_pct(double temp_c, double vapour_pa, double *out) WT_MUST_CHECK;
/* Saturation minus actual vapour pressure; never negative inputs' fault: may be < 0 when foggy. */
enum wt_status wt_air_deficit_pa(double temp_c, double vapour_pa, double *out) WT_MUST_CHECK;
enum wt_status wt_air_dew_point_c(double vapour_pa, double *out) WT_MUST_CHECK;
/* ICAO standard atmosphere / ISO 2533, -500..5000 m. */
enum wt_status wt_air_pressure_pa(double altitude_m, double *out) WT_MUST_CHECK;

#endif /* WT_LIB_AIR_H */
