// SPDX-License-Identifier: GPL-3.0-or-later
// Writes psychrolib_grid.h.  Run by hand: npm install psychrolib@1.1.1 && node psychrolib_grid.js
// psychrolib is an independent implementation of ASHRAE Handbook Fundamentals 2017, chapter 1.
const psy = require('psychrolib');
psy.SetUnitSystem(psy.SI);
const out = [];
for (const t of [0.5, 5, 10, 15, 20, 25, 30, 35, 40, 45])
	for (const rh of [10, 30, 50, 70, 80, 90, 99, 100]) {
		const dew = psy.GetTDewPointFromRelHum(t, rh / 100);
		const vapour = psy.GetVapPresFromRelHum(t, rh / 100);
		out.push(`\t{${t}, ${rh}, ${psy.GetSatVapPres(t).toFixed(4)}, ${vapour.toFixed(4)}, ${dew.toFixed(5)}},`);
	}
const altitude = [-500, 0, 250, 500, 1000, 1500, 2000, 3000, 5000].map(
	(m) => `\t{${m}, ${psy.GetStandardAtmPressure(m).toFixed(3)}},`);
const wet = [];
for (const t of [20, 25, 30])
	for (const below of [2.2, 3.3, 4.5, 5.5])
		wet.push(`\t{${t}, ${below}, ${(100 * psy.GetRelHumFromTWetBulb(t, t - below, 101325)).toFixed(3)}},`);
console.log(`/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * Made by psychrolib_grid.js with psychrolib 1.1.1 (npm, MIT licence), an independent
 * implementation of ASHRAE Handbook Fundamentals 2017, chapter 1.  Not edited by hand.
 */
#ifndef WT_TESTS_PHYSICS_PSYCHROLIB_GRID_H
#define WT_TESTS_PHYSICS_PSYCHROLIB_GRID_H

/* temp_c, rh_pct, saturation_pa, vapour_pa, dew_point_c */
static const double psychrolib_air[][5] = {
${out.join('\n')}
};

/* altitude_m, pressure_pa */
static const double psychrolib_pressure[][2] = {
${altitude.join('\n')}
};

/* temp_c, wet bulb below it (C), rh_pct at 101325 Pa */
static const double psychrolib_wet_bulb[][3] = {
${wet.join('\n')}
};

#endif /* WT_TESTS_PHYSICS_PSYCHROLIB_GRID_H */`);
