/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * The inner loop.  One evaluation of the physics a step: the state in the middle
 * of the step is foretold with the slope of the step before (second order, as
 * the explicit midpoint rule).
 */
#include "lib/ensemble_kernel.h"

#include "lib/traits.h"

#define REAL float
#include "lib/leaf_physics.h"

#define ALWAYS_INLINE static inline __attribute__((always_inline))

#if defined(__x86_64__)
#define HAS_VARIANTS 1
#define TARGET_V4 __attribute__((target("avx512f,avx512dq,avx512vl,avx512bw,avx2,fma")))
#define TARGET_V3 __attribute__((target("avx2,fma")))
#else
#define HAS_VARIANTS 0
#endif

static const float breath_per_s = (float)(WT_TRAIT_BREATH_PER_H / 3600.0);

/* One step of all lanes.  stride 0: one air for all; 1: each lane its own. */
ALWAYS_INLINE void step(struct wt_lanes *restrict l, const float *restrict air, int stride,
			const float *restrict half, float middle_s, float h, bool wet,
			float *restrict loss_pct, float *restrict z_out)
{
	const int row = stride ? WT_TILE : 1;
	const float half_h = 0.5f * h;
	const float radiation = l->radiation;
#pragma GCC ivdep
	for (int i = 0; i < WT_TILE; i++) {
		float a = air[i * stride];
		float heat = air[2 * row + i * stride] * l->heat[i];
		float warm = air[3 * row + i * stride];
		float e =
			leaf_biased_vapour(a, air[row + i * stride], l->bias[i]) - heat * radiation;

		float closing = l->closing[i] * half[i];
		float open = leaf_closing(closing, middle_s * l->fourth[i]);
		float u = l->skin[i] * warm * (1.0f + l->open[i] * open);
		float y = l->y[i];
		float middle = y + half_h * l->slope[i];
		middle = middle > 0.0f ? middle : 0.0f;
		float slope = -l->take[i] * leaf_tissue_flux(u, middle, l->shrink[i], l->b2[i], a,
							     e, l->vapour[i], heat);
		if (wet) {
			float z = l->z[i];
			float free = l->take[i] * leaf_free_flux(a, e, l->vapour[i], heat);

			float share;
			z = leaf_wet_step(z, h * free, l->surface_half[i], &share);

			slope *= 1.0f - share;
			l->z[i] = z;
			z_out[i] = z;
		}
		y += h * slope;
		y = y > 0.0f ? y : 0.0f;
		float breath = l->breath[i] + h * breath_per_s * leaf_breath_factor(warm);

		closing *= half[i];
		/* Kept out of the range where arithmetic is slow. */
		l->closing[i] = closing > 1e-30f ? closing : 1e-30f;
		l->slope[i] = slope;
		l->y[i] = y;
		l->breath[i] = breath;
		loss_pct[i] = l->loss_water[i] * (1.0f - y) + l->loss_dry[i] * breath;
	}
}

ALWAYS_INLINE void burst_loop(struct wt_lanes *lanes, const struct wt_burst *b, int stride,
			      bool wet, float (*loss_pct)[WT_TILE], float (*z)[WT_TILE])
{
	const size_t row = (size_t)(stride ? WT_TILE : 1) * WT_AIR_COUNT;
	for (int s = 0; s < b->n; s++)
		step(lanes, b->air + (size_t)s * row, stride, b->half,
		     b->since_s + ((float)s + 0.5f) * b->step_s, b->step_s, wet, loss_pct[s], z[s]);
}

/* The four cases, compiled once for each instruction set. */
#define VARIANT(name, attribute)                                                                   \
	attribute static void name(struct wt_lanes *lanes, const struct wt_burst *b, int stride,   \
				   bool wet, float(*loss_pct)[WT_TILE], float(*z)[WT_TILE])        \
	{                                                                                          \
		if (stride && wet)                                                                 \
			burst_loop(lanes, b, 1, true, loss_pct, z);                                \
		else if (stride)                                                                   \
			burst_loop(lanes, b, 1, false, loss_pct, z);                               \
		else if (wet)                                                                      \
			burst_loop(lanes, b, 0, true, loss_pct, z);                                \
		else                                                                               \
			burst_loop(lanes, b, 0, false, loss_pct, z);                               \
	}

VARIANT(run_plain, )
#if HAS_VARIANTS
VARIANT(run_v3, TARGET_V3)
VARIANT(run_v4, TARGET_V4)
#endif

static void run(struct wt_lanes *lanes, const struct wt_burst *b, int stride, bool wet,
		float (*loss_pct)[WT_TILE], float (*z)[WT_TILE])
{
#if HAS_VARIANTS
	if (__builtin_cpu_supports("avx512f") && __builtin_cpu_supports("avx512dq") &&
	    __builtin_cpu_supports("avx512vl") && __builtin_cpu_supports("avx512bw")) {
		run_v4(lanes, b, stride, wet, loss_pct, z);
		return;
	}
	if (__builtin_cpu_supports("avx2") && __builtin_cpu_supports("fma")) {
		run_v3(lanes, b, stride, wet, loss_pct, z);
		return;
	}
#endif
	run_plain(lanes, b, stride, wet, loss_pct, z);
}

void wt_kernel_shared(struct wt_lanes *lanes, const struct wt_burst *burst, bool wet,
		      float (*loss_pct)[WT_TILE], float (*z)[WT_TILE])
{
	run(lanes, burst, 0, wet, loss_pct, z);
}

void wt_kernel_own(struct wt_lanes *lanes, const struct wt_burst *burst, bool wet,
		   float (*loss_pct)[WT_TILE], float (*z)[WT_TILE])
{
	run(lanes, burst, 1, wet, loss_pct, z);
}

const char *wt_kernel_name(void)
{
#if HAS_VARIANTS
	if (__builtin_cpu_supports("avx512f") && __builtin_cpu_supports("avx512dq") &&
	    __builtin_cpu_supports("avx512vl") && __builtin_cpu_supports("avx512bw"))
		return "avx512";
	if (__builtin_cpu_supports("avx2") && __builtin_cpu_supports("fma"))
		return "avx2";
#endif
	return "plain";
}
