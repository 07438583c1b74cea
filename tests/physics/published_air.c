/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * Humid air and the combination equation against published tables and worked examples.
 * A tolerance is the rounding of the source plus what is known to lie between its formula and ours.
 * Books and standards were read where open implementations quote them in their own tests.
 */
#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>

#include <cmocka.h>

#include "lib/air.h"
#include "lib/leaf.h"
#include "tests/physics/leaf_balance.h"
#include "tests/physics/psychrolib_grid.h"
#include "tests/physics/table.h"

static double saturation_pa(double temp_c)
{
	double out = NAN;
	assert_int_equal(wt_air_saturation_pa(temp_c, &out), WT_OK);
	return out;
}

static double slope_pa_k(double temp_c)
{
	double out = NAN;
	assert_int_equal(wt_air_saturation_slope_pa_k(temp_c, &out), WT_OK);
	return out;
}

static double pressure_pa(double altitude_m)
{
	double out = NAN;
	assert_int_equal(wt_air_pressure_pa(altitude_m, &out), WT_OK);
	return out;
}

static double gamma_pa_k(double at_pa)
{
	double out = NAN;
	assert_int_equal(wt_air_psychrometric_pa_k(at_pa, &out), WT_OK);
	return out;
}

static void test_saturation(void **state)
{
	(void)state;
	static const double iapws[][2] = {
		{0.01, 611.657}, {5, 872.53},   {10, 1228.11}, {15, 1705.68}, {20, 2339.19},
		{25, 3169.82},   {30, 4246.92}, {35, 5629.06}, {40, 7385.11}, {50, 12352.5}};
	static const double ashrae[][2] = {
		{5, 872.6}, {25, 3169.7}, {50, 12351.3}, {100, 101418.0}};
	static const double fao[][2] = {{1, 657},   {5, 872},   {10, 1228}, {15, 1705},
					{20, 2338}, {25, 3168}, {30, 4243}};
	static const double wmo_c[] = {-20, -10, 0.01, 10, 20, 30, 40, 50};
	char name[80];
	table_begin("Saturation vapour pressure over water, Pa");
	for (size_t i = 0; i < sizeof iapws / sizeof iapws[0]; i++) {
		snprintf(name, sizeof name, "%g C", iapws[i][0]);
		table_value(name, "IAPWS SR1-86(1992) eq. 1, worked from the formula", iapws[i][1],
			    6e-6 * iapws[i][1], saturation_pa(iapws[i][0]));
	}
	table_value("273.16 K", "IAPWS SR1-86(1992) Table 1", 611.657, 0.0005,
		    saturation_pa(273.16 - 273.15));
	table_value("373.1243 K", "IAPWS SR1-86(1992) Table 1", 101325.0, 0.5,
		    saturation_pa(373.1243 - 273.15));
	table_value("300 K", "IAPWS-IF97 Table 35", 3536.589, 1e-4 * 3536.589,
		    saturation_pa(300.0 - 273.15));
	for (size_t i = 0; i < sizeof ashrae / sizeof ashrae[0]; i++) {
		snprintf(name, sizeof name, "%g C", ashrae[i][0]);
		table_value(name, "ASHRAE Fundamentals 2017 ch. 1 Table 3", ashrae[i][1],
			    3e-4 * ashrae[i][1], saturation_pa(ashrae[i][0]));
	}
	for (size_t i = 0; i < sizeof fao / sizeof fao[0]; i++) {
		snprintf(name, sizeof name, "%g C", fao[i][0]);
		table_value(name, "FAO-56 Table 2.3 (rounded to 1 Pa; Tetens 0.1 % lower)",
			    fao[i][1], 0.5 + 1.1e-3 * fao[i][1], saturation_pa(fao[i][0]));
	}
	for (size_t i = 0; i < sizeof wmo_c / sizeof wmo_c[0]; i++) {
		double t = wmo_c[i], wmo = 611.2 * exp(17.62 * t / (243.12 + t));
		snprintf(name, sizeof name, "%g C", t);
		table_value(name, "WMO-No. 8 Annex 4.B (Magnus form, 0.6 % allowed)", wmo,
			    6e-3 * wmo, saturation_pa(t));
	}
	assert_int_equal(table_surprises(), 0);
}

static void test_slope_gamma_pressure(void **state)
{
	(void)state;
	static const double slope[][2] = {{1, 47},   {2, 50},   {5, 61},   {10, 82},
					  {15, 110}, {20, 145}, {25, 189}, {30, 243},
					  {35, 311}, {40, 393}, {45, 494}};
	static const struct {
		double at_pa, pa_k, within;
		const char *source;
	} gamma[] = {{101300, 67.4, 0.05, "FAO-56 example 17"},
		     {100100, 66.6, 0.05, "FAO-56 example 18"},
		     {81800, 54.0, 0.5, "FAO-56 example 2"},
		     {101300, 67.0, 0.5, "Monteith and Unsworth 2013, p. 230 (at 20 C)"}};
	static const double isa[][2] = {
		{-500, 107478}, {0, 101325}, {500, 95461}, {1000, 89875}, {4000, 61640}};
	static const double isa_law[][2] = {{1500, 84556}, {2000, 79495}, {2500, 74682}};
	static const double fao_pressure[][2] = {
		{0, 101300}, {500, 95530}, {1000, 90020}, {1500, 84780}, {2000, 79790}};
	char name[80];
	table_begin("Slope, Pa/K; psychrometric constant, Pa/K; pressure, Pa");
	for (size_t i = 0; i < sizeof slope / sizeof slope[0]; i++) {
		snprintf(name, sizeof name, "slope at %g C", slope[i][0]);
		table_value(name, "FAO-56 Table 2.4 (rounded to 1 Pa/K; 0.4 % for the formula)",
			    slope[i][1], 0.55 + 4e-3 * slope[i][1], slope_pa_k(slope[i][0]));
	}
	for (size_t i = 0; i < sizeof gamma / sizeof gamma[0]; i++) {
		snprintf(name, sizeof name, "psychrometric constant at %g Pa", gamma[i].at_pa);
		table_value(name, gamma[i].source, gamma[i].pa_k, gamma[i].within,
			    gamma_pa_k(gamma[i].at_pa));
	}
	table_value("slope at 273.16 K", "IAPWS SR1-86(1992) Table 1", 44.436693, 5e-7,
		    slope_pa_k(273.16 - 273.15));
	table_value("slope at 373.1243 K", "IAPWS SR1-86(1992) Table 1", 3616.0, 0.5,
		    slope_pa_k(373.1243 - 273.15));
	for (size_t i = 0; i < sizeof isa / sizeof isa[0]; i++) {
		snprintf(name, sizeof name, "pressure at %g m", isa[i][0]);
		table_value(name, "ASHRAE Fundamentals 2017 ch. 1 Table 1", isa[i][1], 1.0,
			    pressure_pa(isa[i][0]));
	}
	for (size_t i = 0; i < sizeof isa_law / sizeof isa_law[0]; i++) {
		snprintf(name, sizeof name, "pressure at %g m", isa_law[i][0]);
		table_value(name, "law of the ISO 2533 atmosphere, worked by hand (from memory)",
			    isa_law[i][1], 1.5, pressure_pa(isa_law[i][0]));
	}
	for (size_t i = 0; i < sizeof fao_pressure / sizeof fao_pressure[0]; i++) {
		snprintf(name, sizeof name, "pressure at %g m", fao_pressure[i][0]);
		table_value(name, "FAO-56 eq. 7 (warmer atmosphere, up to 0.4 % above ISA)",
			    fao_pressure[i][1], 4e-3 * fao_pressure[i][1],
			    pressure_pa(fao_pressure[i][0]));
	}
	assert_int_equal(table_surprises(), 0);
}

/* Moist air is not quite ideal: at saturation it holds this much more (from memory). */
static const double enhancement = 1.0044;

/* Humidity ratio over a wet bulb, ASHRAE ch. 1 eq. 33. */
static double ratio_from_wet_bulb(double dry_c, double wet_c, double at_pa)
{
	double e = saturation_pa(wet_c) * enhancement;
	double full = 0.621945 * e / (at_pa - e);
	return ((2501.0 - 2.326 * wet_c) * full - 1.006 * (dry_c - wet_c)) /
	       (2501.0 + 1.86 * dry_c - 4.186 * wet_c);
}

static void test_worked_examples(void **state)
{
	(void)state;
	double rh, dew, vapour;
	table_begin("Worked examples of humid air");
	double mean = 0.5 * (saturation_pa(24.5) + saturation_pa(15.0));
	table_value("mean saturation of 24.5 and 15 C, kPa", "FAO-56 example 3", 2.39, 0.006,
		    mean / 1000.0);
	table_value("vapour pressure, dry 25.6 C wet 19.5 C at 1200 m, kPa", "FAO-56 example 4",
		    1.91, 0.006,
		    (saturation_pa(19.5) - 0.000662 * 87900.0 * (25.6 - 19.5)) / 1000.0);
	double low, high;
	assert_int_equal(wt_air_vapour_pa(18.0, 82.0, &low), WT_OK);
	assert_int_equal(wt_air_vapour_pa(25.0, 54.0, &high), WT_OK);
	table_value("vapour pressure, 18 C 82 % and 25 C 54 %, kPa", "FAO-56 example 5", 1.70,
		    0.006, 0.5 * (low + high) / 1000.0);
	double ratio = ratio_from_wet_bulb(40.0, 20.0, 101325.0);
	vapour = ratio * 101325.0 / (0.621945 + ratio) / enhancement;
	assert_int_equal(wt_air_rh_pct(40.0, vapour, &rh), WT_OK);
	assert_int_equal(wt_air_dew_point_c(vapour, &dew), WT_OK);
	table_value("humidity ratio, dry 40 C wet 20 C (chart, 4 digits)",
		    "ASHRAE Fundamentals 2017 ch. 1 example 1", 0.0065, 0.00005, ratio);

	/* Read off a chart: the ratio printed beside it has its dew point at 7.6 C. */
	table_known_miss("dew point of it, C (chart, whole degrees)",
			 "ASHRAE Fundamentals 2017 ch. 1 example 1", 6.5, 7.5, 7.52, 0.005, dew);
	table_value("relative humidity of it, % (chart, whole %)",
		    "ASHRAE Fundamentals 2017 ch. 1 example 1", 14.0, 0.5, rh);
	static const double full[][2] = {{5, 0.005425}, {25, 0.020173}, {50, 0.086863}};
	for (size_t i = 0; i < 3; i++) {
		char name[80];
		double e = saturation_pa(full[i][0]) * enhancement;
		snprintf(name, sizeof name, "humidity ratio at saturation, %g C", full[i][0]);
		table_value(name, "ASHRAE Fundamentals 2017 ch. 1 Table 2", full[i][1],
			    2e-3 * full[i][1], 0.621945 * e / (101325.0 - e));
	}
	/* The depressions of trough practice (tests/physics/published_leaf.c), by the psychrometer
	 * of FAO-56 example 4, a = 0.000662; theirs is the balance of an adiabatic saturation. */
	for (size_t i = 0; i < sizeof psychrolib_wet_bulb / sizeof psychrolib_wet_bulb[0]; i++) {
		const double *r = psychrolib_wet_bulb[i];
		char name[80];
		double e = saturation_pa(r[0] - r[1]) - 0.000662 * 101325.0 * r[1];
		assert_int_equal(wt_air_rh_pct(r[0], e, &rh), WT_OK);
		snprintf(name, sizeof name, "humidity, wet bulb %.1f C below %g C, %%", r[1], r[0]);
		table_value(name, "psychrolib 1.1.1", r[2], 0.5, rh);
	}
	assert_int_equal(table_surprises(), 0);
}

static void test_psychrolib_grid(void **state)
{
	(void)state;
	double worst_saturation = 0.0, worst_vapour = 0.0, worst_dew_c = 0.0, worst_pressure = 0.0;
	for (size_t i = 0; i < sizeof psychrolib_air / sizeof psychrolib_air[0]; i++) {
		const double *r = psychrolib_air[i];
		double vapour, dew;
		assert_int_equal(wt_air_vapour_pa(r[0], r[1], &vapour), WT_OK);
		worst_saturation = fmax(worst_saturation, fabs(saturation_pa(r[0]) / r[2] - 1.0));
		worst_vapour = fmax(worst_vapour, fabs(vapour / r[3] - 1.0));
		if (r[4] < 0.01)
			continue; /* theirs is then over ice */
		assert_int_equal(wt_air_dew_point_c(r[3], &dew), WT_OK);
		worst_dew_c = fmax(worst_dew_c, fabs(dew - r[4]));
	}
	for (size_t i = 0; i < sizeof psychrolib_pressure / sizeof psychrolib_pressure[0]; i++)
		worst_pressure = fmax(worst_pressure, fabs(pressure_pa(psychrolib_pressure[i][0]) -
							   psychrolib_pressure[i][1]));
	table_begin("Against an independent implementation, worst over a grid");
	table_range("saturation pressure, relative (80 points, 0.5-45 C)", "psychrolib 1.1.1", 0.0,
		    3e-4, worst_saturation);
	table_range("vapour pressure, relative (10-100 % RH)", "psychrolib 1.1.1", 0.0, 3e-4,
		    worst_vapour);
	table_range("dew point above 0 C, C", "psychrolib 1.1.1", 0.0, 0.01, worst_dew_c);
	table_range("pressure, -500..5000 m, Pa", "psychrolib 1.1.1", 0.0, 0.5, worst_pressure);
	assert_int_equal(table_surprises(), 0);
}

/* FAO-56's reference crop through our combination equation: the air's heat capacity by the same
 * simplifications as in its Box 6. */
static double reference_mm_per_s(double temp_c, double deficit_pa, double wind_m_s, double gamma,
				 double slope, double radiation_w_m2)
{
	const double latent_j_kg = 2.45e6;
	double air_heat = gamma * 0.622 * latent_j_kg / (1.01 * (temp_c + 273.0) * 287.0);
	struct wt_leaf_combination in = {
		slope, gamma, radiation_w_m2, air_heat, deficit_pa, 208.0 / wind_m_s, 70.0};
	double out = NAN;
	assert_int_equal(wt_leaf_latent_w_m2(&in, &out), WT_OK);
	return out / latent_j_kg;
}

static void test_combination_examples(void **state)
{
	(void)state;
	const double day = 86400.0;
	table_begin("Combination equation, evaporation of the reference crop");
	double es = 0.5 * (saturation_pa(34.8) + saturation_pa(25.6));
	table_value("Bangkok, April, mm/day", "FAO-56 example 17", 5.72, 0.03,
		    day * reference_mm_per_s(30.2, es - 2850.0, 2.0, gamma_pa_k(101300.0),
					     slope_pa_k(30.2), (14.33 - 0.14) * 1e6 / day));
	es = 0.5 * (saturation_pa(21.5) + saturation_pa(12.3));
	table_value("Uccle, 6 July, mm/day", "FAO-56 example 18", 3.88, 0.03,
		    day * reference_mm_per_s(16.9, es - 1409.0, 2.078, gamma_pa_k(100100.0),
					     slope_pa_k(16.9), 13.28e6 / day));
	es = saturation_pa(28.0);
	table_value("N'Diaye, 1 October, 02-03 h, mm/h", "FAO-56 example 19", 0.00, 0.006,
		    3600.0 * reference_mm_per_s(28.0, 0.1 * es, 1.9, gamma_pa_k(101300.0),
						slope_pa_k(28.0), -0.05e6 / 3600.0));
	es = saturation_pa(38.0);
	table_value("N'Diaye, 1 October, 14-15 h, mm/h", "FAO-56 example 19", 0.63, 0.006,
		    3600.0 * reference_mm_per_s(38.0, 0.48 * es, 3.3, gamma_pa_k(101300.0),
						slope_pa_k(38.0), (1.749 - 0.175) * 1e6 / 3600.0));
	assert_int_equal(table_surprises(), 0);
}

/* What a leaf gives off by our rates, g m-2 h-1: no isotherm, no shrinkage, stomata as they are. */
static double flux_g_m2_h(const double *r)
{
	double vapour_pa;
	struct wt_leaf_air air;
	assert_int_equal(wt_air_vapour_pa(r[0], r[1], &vapour_pa), WT_OK);
	assert_int_equal(wt_leaf_air(r[0], vapour_pa, r[2], &air), WT_OK);
	/* The warmth of the skin is another matter: its resistance is what the row says. */
	struct wt_leaf leaf = {.moisture_pct = 76.0,
			       .water_ratio = 76.0 / 24.0,
			       .surface_half = 1.0,
			       .skin_m_s = 1.0 / (fmax(r[5], 1e-6) * 0.24 * air.warm),
			       .close_s = 1.0};
	struct wt_leaf_path path = {r[3], r[4], 85.0};
	struct wt_leaf_state whole = {1.0, 0.0, 0.0};
	struct wt_leaf_rate rate;
	wt_leaf_rate(&leaf, &path, 0.24, 0.0, 1.0, &air, 1e6, &whole, &rate);
	return -rate.y_per_s * 0.24 * leaf.water_ratio * 3.6e6;
}

/* The combination equation takes the curve of saturation between leaf and air for a straight line,
 * which makes a leaf that cools much a little too slow.  1 % is our choice. */
static void test_energy_balance(void **state)
{
	(void)state;
	static const char source[] = "energy balance solved by SciPy, saturation by IAPWS-IF97";
	static const struct {
		double skin_s_m, told;
		const char *name;
	} kinds[] = {{700, -1.3, "skin shut"},
		     {180, -4.7, "stomata as open as at spreading"},
		     {0, -12.0, "no skin"}};
	table_begin("Flux from leaf of 15-30 C and 60-90 % RH, our excess over the exact, %");
	for (size_t k = 0; k < sizeof kinds / sizeof kinds[0]; k++) {
		double least = HUGE_VAL, most = -HUGE_VAL;
		char name[80];
		for (size_t i = 0; i < sizeof leaf_balance / sizeof leaf_balance[0]; i++) {
			const double *r = leaf_balance[i];
			if (fabs(r[5] - kinds[k].skin_s_m) > 0.5)
				continue;
			double excess = 100.0 * (flux_g_m2_h(r) / r[6] - 1.0);
			least = fmin(least, excess);
			most = fmax(most, excess);
		}
		snprintf(name, sizeof name, "%s: most", kinds[k].name);
		table_range(name, source, -1.0, 1.0, most);
		snprintf(name, sizeof name, "%s: least", kinds[k].name);
		table_known_miss(name, source, -1.0, 1.0, kinds[k].told, 0.05, least);
	}
	assert_int_equal(table_surprises(), 0);
}

/* With no isotherm, no shrinkage and equal resistances for heat and vapour the model is that very
 * equation. */
static void test_model_is_the_combination_equation(void **state)
{
	(void)state;
	for (int k = 0; k < 50; k++) {
		double temp_c = 5.0 + 0.7 * k, rh = 30.0 + k, radiation_w_m2 = 10.0 * (k % 5);
		double e_pa, at_pa = 80000.0 + 400.0 * k;
		struct wt_leaf_air air;
		assert_int_equal(wt_air_vapour_pa(temp_c, rh, &e_pa), WT_OK);
		assert_int_equal(wt_leaf_air(temp_c, e_pa, at_pa, &air), WT_OK);
		struct wt_leaf leaf = {.moisture_pct = 76.0,
				       .water_ratio = 76.0 / 24.0,
				       .surface_half = 1.0,
				       .skin_m_s = 0.006,
				       .close_s = 1.0,
				       .shrink = 0.0};
		struct wt_leaf_path path = {100.0 + k, 100.0 + k, 85.0};
		struct wt_leaf_state y = {1.0, 0.0, 0.0};
		struct wt_leaf_rate rate;
		wt_leaf_rate(&leaf, &path, 0.24, radiation_w_m2, 1.0, &air, 1e6, &y, &rate);
		double gamma = gamma_pa_k(at_pa), latent = 2.4538e6;
		struct wt_leaf_combination in = {slope_pa_k(temp_c),
						 gamma,
						 radiation_w_m2,
						 latent * gamma / (461.5 * (temp_c + 273.15)),
						 saturation_pa(temp_c) - e_pa,
						 path.vapour_s_m,
						 1.0 / (0.006 * 0.24 * air.warm)};
		double expected = NAN;
		assert_int_equal(wt_leaf_latent_w_m2(&in, &expected), WT_OK);
		double ours = -rate.y_per_s * 0.24 * leaf.water_ratio * latent;
		assert_true(fabs(ours - expected) < 1e-9 * expected);
	}
}

int main(void)
{
	const struct CMUnitTest tests[] = {
		cmocka_unit_test(test_saturation),
		cmocka_unit_test(test_slope_gamma_pressure),
		cmocka_unit_test(test_worked_examples),
		cmocka_unit_test(test_psychrolib_grid),
		cmocka_unit_test(test_combination_examples),
		cmocka_unit_test(test_energy_balance),
		cmocka_unit_test(test_model_is_the_combination_equation),
	};
	return cmocka_run_group_tests_name("published air", tests, NULL, NULL);
}
