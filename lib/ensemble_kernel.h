/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * Inside of the ensemble: lanes of one tile, the drive, and the loop over them.
 * Not for use outside lib/ensemble*.c and the benchmarks.
 */
#ifndef WT_LIB_ENSEMBLE_KERNEL_H
#define WT_LIB_ENSEMBLE_KERNEL_H

#include <stdalign.h>
#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "lib/ensemble.h"

/* Members run together: their state stays in the first-level cache. */
#define WT_TILE 128
/* Quantities of air per step: a, e, q, warm, in this order. */
#define WT_AIR_COUNT 4
/* Most steps between two looks at the state. */
#define WT_BURST 6
#define WT_DRIFT_TERMS 4

/* Air of each step (its mean), made once.  Shared: [step][WT_AIR_COUNT].  Paths: blocks of WT_TILE
 * paths, [block][step][WT_AIR_COUNT][WT_TILE], the last block filled up with its first path.  Paths
 * are kept as sixteen-bit multiples of `unit`, because a refresh reads all of them once a load and
 * the memory is slower than the arithmetic; a and e share one unit, so that full air stays full. */
struct wt_drive {
	int64_t start_unix_s;
	size_t n_steps;
	size_t n_paths; /* 0: shared air of a track */
	double pressure_pa;
	float *air;     /* of a track, else NULL */
	uint16_t *path; /* of paths, else NULL */
	float unit[WT_AIR_COUNT];
};

struct wt_lanes {
	/* What the members are; the bed of each changes only by acts. */
	alignas(64) float closed[WT_TILE]; /* skin per kg dry per m2, times (1 + k), no drift, m/s
					    */
	float dry_kg_m2[WT_TILE];
	float water_ratio[WT_TILE];
	float bed[WT_TILE];
	float drift[WT_DRIFT_TERMS][WT_TILE];
	float open[WT_TILE];   /* open over closed, less one */
	float half[WT_TILE];   /* exp(-x), x of half a grid step: see leaf_closing() */
	float fourth[WT_TILE]; /* fourths of the mean closing time per s */
	float shrink[WT_TILE];
	float b2[WT_TILE];
	float bias[WT_TILE];
	float surface_half[WT_TILE];
	float loss_water[WT_TILE]; /* loss % for all water gone, and for all dry matter gone */
	float loss_dry[WT_TILE];
	float radiation; /* net radiation over latent heat, kg m-2 s-1 */
	/* What holds for half an hour: wt_kernel_cell(). */
	alignas(64) float skin[WT_TILE];
	float vapour[WT_TILE]; /* resistances, s/m */
	float heat[WT_TILE];

	float take[WT_TILE]; /* c: share of the tissue's water per kg/m2 */
	float film[WT_TILE]; /* conductance of the leaf's own air, all of it wet, m/s */
	/* State. */
	float y[WT_TILE];
	float z[WT_TILE];
	float slope[WT_TILE];   /* of y over the step before, per s */
	float closing[WT_TILE]; /* exp(-x) at the end of the last step */
	float breath[WT_TILE];
};

/* Half an hour of the bed. */
struct wt_cell {
	float drift[WT_DRIFT_TERMS]; /* the terms at its middle */
	float face, radiation;       /* of the faces, s/m */

	float through, through_heat; /* s/m per kg/m2, packing included */
	float film;                  /* m/s per kg dry per m2 */
};

struct wt_burst {

	const float *air;     /* [n][WT_AIR_COUNT]: one air for all lanes; or NULL and */
	const uint16_t *path; /* [n][WT_AIR_COUNT][WT_TILE] in these units: */
	const float *unit;

	bool wet;  /* some lane has surface water */
	bool open; /* some lane has open stomata */
	int n;     /* steps, 1..WT_BURST */
	float step_s;
	float since_s;     /* from spreading to the start of the burst */
	const float *half; /* exp(-x) of half a step, WT_TILE of them */
};

/* Mean air between two instants for n <= WT_TILE paths, as a drive keeps it.  per_pa: 1 over the
 * psychrometric constant.  False when any value is not finite or outside of wt_leaf_air()'s range;
 * out is then of no use. */
struct wt_air_pair {
	const float *temp_c[2], *vapour_pa[2];
	float per_psychrometric_k_pa;
	const float *unit;
};
bool wt_kernel_air(const struct wt_air_pair *pair, size_t n, uint16_t out[WT_AIR_COUNT][WT_TILE]);

/* Greatest of n values, at least `least`; what is no number is passed over. */
float wt_kernel_most(const float *values, size_t n, float least);

/* Makes lanes from the members' coordinates.  Same as wt_leaf_from_theta(), in single precision. */
struct wt_lane_load {
	float fresh_kg, area_m2;
	float skin_m_s; /* closed skin at pace 1, per kg dry per m2 */
	float film;     /* surface water that covers half, kg per kg dry */
	float isotherm; /* moisture at water activity 0.5, kg/kg dry */
};
void wt_kernel_start(struct wt_lanes *lanes, const struct wt_lane_load *load,
		     float theta[WT_DIM_COUNT][WT_TILE], float tissue_kg[WT_TILE],
		     float dry_kg[WT_TILE]);

/* Sets what holds for half an hour; says whether any lane is wet, or open from since_s on. */
void wt_kernel_cell(struct wt_lanes *lanes, const struct wt_cell *cell, float since_s, bool *wet,
		    bool *open);

/* Runs a burst; after each step loss (and z when wet) is written to a row.  True when some lane has
 * reached its limit. */
bool wt_kernel_burst(struct wt_lanes *lanes, const struct wt_burst *burst,
		     const float limit_pct[WT_TILE], float (*loss_pct)[WT_TILE],
		     float (*z)[WT_TILE]);

/* Name of the instruction set the kernel uses on this machine. */
const char *wt_kernel_name(void);

#endif /* WT_LIB_ENSEMBLE_KERNEL_H */
