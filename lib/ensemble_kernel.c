/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * The inner loop.  One evaluation of the physics a step: the state in the middle
 * of the step is foretold with the slope of the step before (second order, as
 * the explicit midpoint rule).  Written for the compiler to do many lanes in
 * one instruction; compiled for several instruction sets, of which the best is
 * taken at run time.  No two sets round alike, one set always does.
 */
#include "lib/ensemble_kernel.h"

#include <string.h>

#include "lib/traits.h"

#define REAL float
#include "lib/leaf_physics.h"

#define ALWAYS_INLINE static inline __attribute__((always_inline))

#if defined(__clang__)
#define LANES _Pragma("clang loop vectorize(enable) interleave(disable)")
#else
#define LANES _Pragma("GCC ivdep")
#endif

/* Surface water below this share of the tissue's is left where it is. */
static const float wet_least = 2e-5f;
/* Stomata closed this many fourths of their mean closing time count as shut: 1e-6 is left. */
static const float shut_fourths = 22.0f;
static const float breath_per_s = (float)(WT_TRAIT_BREATH_PER_H / 3600.0);

/* exp(x) for |x| < 80, relative error below 3e-7: 2^n times a polynomial (Taylor, degree 6). */
ALWAYS_INLINE float exp_lane(float x)
{
	float t = x * 1.44269504f;
	float n = (t + 12582912.0f) - 12582912.0f; /* nearest whole number */
	float r = (t - n) * 0.693147181f;
	float p = 1.0f +
		  r * (1.0f + r * (0.5f + r * (1.66666667e-1f +
					       r * (4.16666667e-2f +
						    r * (8.33333333e-3f + r * 1.38888889e-3f)))));
	int32_t bits = ((int32_t)n + 127) << 23;
	float scale;
	memcpy(&scale, &bits, sizeof scale);
	return p * scale;
}

ALWAYS_INLINE void cell_lanes(struct wt_lanes *restrict l, const struct wt_cell *c, float since_s,
			      bool *wet, bool *open)
{
	int n_wet = 0, n_open = 0;
	LANES
	for (int i = 0; i < WT_TILE; i++) {
		float ln_drift = c->drift[0] * l->drift[0][i] + c->drift[1] * l->drift[1][i] +
				 c->drift[2] * l->drift[2][i] + c->drift[3] * l->drift[3][i];
		ln_drift = ln_drift > 60.0f ? 60.0f : ln_drift;
		ln_drift = ln_drift < -60.0f ? -60.0f : ln_drift;
		float dry = l->dry_kg_m2[i];
		float water = dry * l->water_ratio[i];
		float bed = l->bed[i] * (dry + water);
		l->skin[i] = l->closed[i] * dry * exp_lane(ln_drift);
		l->vapour[i] = c->face + c->through * bed;
		l->heat[i] = c->face_heat + c->through_heat * bed;
		l->take[i] = 1.0f / water;
		n_wet += l->z[i] > wet_least;
		n_open += since_s * l->fourth[i] < shut_fourths;
	}
	*wet = n_wet > 0;
	*open = n_open > 0;
}

/* One step of all lanes.  own: each lane has its own air. */
ALWAYS_INLINE void step(struct wt_lanes *restrict l, const struct wt_burst *b,
			const float *restrict air, float middle_s, bool own, bool wet, bool open,
			float *restrict loss_pct, float *restrict z_out)
{
	const int stride = own ? 1 : 0;
	const int row = own ? WT_TILE : 1;
	const float h = b->step_s, half_h = 0.5f * h, breath_h = breath_per_s * h;
	const float radiation = l->radiation;
	const float *restrict half = b->half;
	LANES
	for (int i = 0; i < WT_TILE; i++) {
		float a = air[i * stride];
		float heat = air[2 * row + i * stride] * l->heat[i];
		float warm = air[3 * row + i * stride];
		float e =
			leaf_biased_vapour(a, air[row + i * stride], l->bias[i]) - heat * radiation;
		float u = l->skin[i] * warm;
		if (open) {
			float closing = l->closing[i] * half[i];
			float left = leaf_closing(closing, middle_s * l->fourth[i]);
			u += u * l->open[i] * left;
			closing *= half[i];
			/* Kept out of the range where arithmetic is slow. */
			l->closing[i] = closing > 1e-30f ? closing : 1e-30f;
		}
		float y = l->y[i], take = l->take[i], vapour = l->vapour[i];
		float middle = y + half_h * l->slope[i];
		middle = middle > 0.0f ? middle : 0.0f;
		float over, under, slope;
		leaf_tissue_parts(u, middle, l->shrink[i], l->b2[i], a, e, vapour, heat, &over,
				  &under);
		if (wet) {
			float left, share, wet_under;
			leaf_wet_parts(l->z[i], h * take * leaf_free_drive(a, e), vapour + heat,
				       l->surface_half[i], &left, &share, &wet_under);
			float inverse = 1.0f / (under * wet_under);
			float z = left * under * inverse;
			slope = -take * over * (wet_under - share) * inverse;
			l->z[i] = z;
			z_out[i] = z;
		} else {
			slope = -take * over / under;
		}
		y += h * slope;
		y = y > 0.0f ? y : 0.0f;
		float breath = l->breath[i] + breath_h * leaf_breath_factor(warm);
		l->slope[i] = slope;
		l->y[i] = y;
		l->breath[i] = breath;
		loss_pct[i] = l->loss_water[i] * (1.0f - y) + l->loss_dry[i] * breath;
	}
}

ALWAYS_INLINE void steps(struct wt_lanes *lanes, const struct wt_burst *b, bool own, bool wet,
			 bool open, float (*loss_pct)[WT_TILE], float (*z)[WT_TILE])
{
	const size_t row = (size_t)(own ? WT_TILE : 1) * WT_AIR_COUNT;
	for (int s = 0; s < b->n; s++)
		step(lanes, b, b->air + (size_t)s * row, b->since_s + ((float)s + 0.5f) * b->step_s,
		     own, wet, open, loss_pct[s], z[s]);
}

ALWAYS_INLINE bool burst_lanes(struct wt_lanes *lanes, const struct wt_burst *b,
			       const float *limit_pct, float (*loss_pct)[WT_TILE],
			       float (*z)[WT_TILE])
{
	switch ((b->own ? 4 : 0) + (b->wet ? 2 : 0) + (b->open ? 1 : 0)) {
	case 0:
		steps(lanes, b, false, false, false, loss_pct, z);
		break;
	case 1:
		steps(lanes, b, false, false, true, loss_pct, z);
		break;
	case 2:
		steps(lanes, b, false, true, false, loss_pct, z);
		break;
	case 3:
		steps(lanes, b, false, true, true, loss_pct, z);
		break;
	case 4:
		steps(lanes, b, true, false, false, loss_pct, z);
		break;
	case 5:
		steps(lanes, b, true, false, true, loss_pct, z);
		break;
	case 6:
		steps(lanes, b, true, true, false, loss_pct, z);
		break;
	default:
		steps(lanes, b, true, true, true, loss_pct, z);
		break;
	}
	const float *last = loss_pct[b->n - 1];
	int reached = 0;
	for (int i = 0; i < WT_TILE; i++)
		reached += last[i] >= limit_pct[i];
	return reached > 0;
}

/* One set of the two entries for each instruction set. */
#define VARIANT(name, attribute)                                                                   \
	attribute static void cell_##name(struct wt_lanes *lanes, const struct wt_cell *cell,      \
					  float since_s, bool *wet, bool *open)                    \
	{                                                                                          \
		cell_lanes(lanes, cell, since_s, wet, open);                                       \
	}                                                                                          \
	attribute static bool burst_##name(struct wt_lanes *lanes, const struct wt_burst *b,       \
					   const float *limit_pct, float(*loss_pct)[WT_TILE],      \
					   float(*z)[WT_TILE])                                     \
	{                                                                                          \
		return burst_lanes(lanes, b, limit_pct, loss_pct, z);                              \
	}

#if defined(__x86_64__)
#define HAS_VARIANTS 1
VARIANT(avx512, __attribute__((target("avx512f,avx512dq,avx512vl,avx512bw,avx2,fma"))))
VARIANT(avx2, __attribute__((target("avx2,fma"))))
#else
#define HAS_VARIANTS 0
#endif
VARIANT(plain, )

enum level { PLAIN, AVX2, AVX512 };

static enum level level(void)
{
#if HAS_VARIANTS
	if (__builtin_cpu_supports("avx512f") && __builtin_cpu_supports("avx512dq") &&
	    __builtin_cpu_supports("avx512vl") && __builtin_cpu_supports("avx512bw"))
		return AVX512;
	if (__builtin_cpu_supports("avx2") && __builtin_cpu_supports("fma"))
		return AVX2;
#endif
	return PLAIN;
}

void wt_kernel_cell(struct wt_lanes *lanes, const struct wt_cell *cell, float since_s, bool *wet,
		    bool *open)
{
#if HAS_VARIANTS
	switch (level()) {
	case AVX512:
		cell_avx512(lanes, cell, since_s, wet, open);
		return;
	case AVX2:
		cell_avx2(lanes, cell, since_s, wet, open);
		return;
	case PLAIN:
		break;
	}
#endif
	cell_plain(lanes, cell, since_s, wet, open);
}

bool wt_kernel_burst(struct wt_lanes *lanes, const struct wt_burst *burst,
		     const float limit_pct[WT_TILE], float (*loss_pct)[WT_TILE],
		     float (*z)[WT_TILE])
{
#if HAS_VARIANTS
	switch (level()) {
	case AVX512:
		return burst_avx512(lanes, burst, limit_pct, loss_pct, z);
	case AVX2:
		return burst_avx2(lanes, burst, limit_pct, loss_pct, z);
	case PLAIN:
		break;
	}
#endif
	return burst_plain(lanes, burst, limit_pct, loss_pct, z);
}

const char *wt_kernel_name(void)
{
	static const char *const names[] = {"plain", "avx2", "avx512"};
	return names[level()];
}
