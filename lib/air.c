/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "lib/air.h"

#include <math.h>

/* IAPWS SR1-86(1992), eq. 1, as open implementations quote it. */
static const double kelvin_0c = 273.15;
static const double critical_k = 647.096;
static const double critical_pa = 22.064e6;
/* Coefficients of the saturation equation, in the order of its powers 1, 1.5, 3, 3.5, 4, 7.5. */
static const double sat_a[6] = {-7.85951783, 1.84408259,  -11.7866497,
				22.6807411,  -15.9618719, 1.80122502};

static enum wt_status check_temp(double temp_c, const double *out)
{
	if (!out || !isfinite(temp_c))
		return WT_ERR_ARG;
	if (temp_c < WT_AIR_TEMP_MIN_C || temp_c > WT_AIR_TEMP_MAX_C)
		return WT_ERR_RANGE;
	return WT_OK;
}

static double ln_saturation_ratio(double temp_k)
{
	double d = 1.0 - temp_k / critical_k;
	double root = sqrt(d);
	double d3 = d * d * d;
	double sum = sat_a[0] * d + sat_a[1] * d * root + sat_a[2] * d3 + sat_a[3] * d3 * root +
		     sat_a[4] * d3 * d + sat_a[5] * d3 * d3 * d * root;
	return sum * critical_k / temp_k;
}

static double saturation_pa(double temp_c)
{
	return critical_pa * exp(ln_saturation_ratio(temp_c + kelvin_0c));
}

static double slope_pa_k(double temp_c)
{
	double temp_k = temp_c + kelvin_0c;
	double d = 1.0 - temp_k / critical_k;
	double root = sqrt(d);
	double d2 = d * d;
	double sum = sat_a[0] + 1.5 * sat_a[1] * root + 3.0 * sat_a[2] * d2 +
		     3.5 * sat_a[3] * d2 * root + 4.0 * sat_a[4] * d2 * d +
		     7.5 * sat_a[5] * d2 * d2 * d2 * root;
	double ln_ratio = ln_saturation_ratio(temp_k);
	return -critical_pa * exp(ln_ratio) / temp_k * (ln_ratio + sum);
}

enum wt_status wt_air_saturation_pa(double temp_c, double *out)
{
	enum wt_status status = check_temp(temp_c, out);
	if (status == WT_OK)
		*out = saturation_pa(temp_c);
	return status;
}

enum wt_status wt_air_saturation_slope_pa_k(double temp_c, double *out)
{
	enum wt_status status = check_temp(temp_c, out);
	if (status == WT_OK)
		*out = slope_pa_k(temp_c);
	return status;
}

enum wt_status wt_air_vapour_pa(double temp_c, double rh_pct, double *out)
{
	if (!isfinite(rh_pct))
		return WT_ERR_ARG;
	enum wt_status status = check_temp(temp_c, out);
	if (status != WT_OK)
		return status;
	if (rh_pct < 0.0 || rh_pct > WT_AIR_RH_MAX_PCT)
		return WT_ERR_RANGE;
	*out = saturation_pa(temp_c) * rh_pct / 100.0;
	return WT_OK;
}

static enum wt_status check_vapour(double temp_c, double vapour_pa, const double *out)
{
	if (!isfinite(vapour_pa))
		return WT_ERR_ARG;
	enum wt_status status = check_temp(temp_c, out);
	if (status == WT_OK && vapour_pa < 0.0)
		status = WT_ERR_RANGE;
	return status;
}

enum wt_status wt_air_rh_pct(double temp_c, double vapour_pa, double *out)
{
	enum wt_status status = check_vapour(temp_c, vapour_pa, out);
	if (status == WT_OK)
		*out = 100.0 * vapour_pa / saturation_pa(temp_c);
	return status;
}

enum wt_status wt_air_deficit_pa(double temp_c, double vapour_pa, double *out)
{
	enum wt_status status = check_vapour(temp_c, vapour_pa, out);
	if (status == WT_OK)
		*out = saturation_pa(temp_c) - vapour_pa;
	return status;
}

enum wt_status wt_air_dew_point_c(double vapour_pa, double *out)
{
	if (!out || !isfinite(vapour_pa))
		return WT_ERR_ARG;
	if (vapour_pa < saturation_pa(WT_AIR_TEMP_MIN_C) ||
	    vapour_pa > saturation_pa(WT_AIR_TEMP_MAX_C))
		return WT_ERR_RANGE;
	/* WMO-No. 8's Magnus form as a first guess, then Newton on the logarithm, which is nearly
	 * straight. */
	double u = log(vapour_pa / 611.2);
	double temp_c = 243.12 * u / (17.62 - u);
	for (int i = 0; i < 20; i++) {
		double p = saturation_pa(temp_c);
		double step = (log(vapour_pa) - log(p)) * p / slope_pa_k(temp_c);
		temp_c += step;
		if (fabs(step) < 1e-11)
			break;
	}
	*out = fmin(fmax(temp_c, WT_AIR_TEMP_MIN_C), WT_AIR_TEMP_MAX_C);
	return WT_OK;
}

enum wt_status wt_air_pressure_pa(double altitude_m, double *out)
{
	if (!out || !isfinite(altitude_m))
		return WT_ERR_ARG;
	if (altitude_m < -500.0 || altitude_m > 5000.0)
		return WT_ERR_RANGE;
	/* ASHRAE Fundamentals 2017, ch. 1, eq. 3, the exponent to one more digit (from memory). */
	*out = 101325.0 * pow(1.0 - 2.25577e-5 * altitude_m, 5.25588);
	return WT_OK;
}

enum wt_status wt_air_latent_heat_j_kg(double temp_c, double *out)
{
	enum wt_status status = check_temp(temp_c, out);
	if (status == WT_OK)
		*out = 2.501e6 - 2361.0 * temp_c;
	return status;
}

enum wt_status wt_air_psychrometric_pa_k(double pressure_pa, double *out)
{
	if (!out || !isfinite(pressure_pa))
		return WT_ERR_ARG;
	if (pressure_pa < 40000.0 || pressure_pa > 120000.0)
		return WT_ERR_RANGE;
	*out = 0.665e-3 * pressure_pa;
	return WT_OK;
}
