/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "lib/air.h"

#include <math.h>

enum wt_status wt_air_pressure_pa(double altitude_m, double *out)
{
	if (!out || !isfinite(altitude_m))
		return WT_ERR_ARG;
	if (altitude_m < -500.0 || altitude_m > 5000.0)
		return WT_ERR_RANGE;
	*out = 101325.0 * pow(1.0 - 2.25577e-5 * altitude_m, 5.25588);
	return WT_OK;
}
