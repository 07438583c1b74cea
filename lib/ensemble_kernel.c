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

/* Also makes a number of what is none. */
ALWAYS_INLINE float between(float x, float low, float high)
{
	x = x > low ? x : low;
	return x < high ? x : high;
}

/* Saturated vapour density, slope ratio and temperature factor of the skin, as polynomials of
 * (t - 10) / 50 fitted to wt_leaf_air() over -40..60 deg C; relative errors 3e-7, 2e-6, 2e-5. */
ALWAYS_INLINE float saturated_lane(float x)
{
	return exp_lane(-4.667225247f +
			x * (3.173786788f +
			     x * (-6.518107243e-1f +
				  x * (1.209957280e-1f +
				       x * (-2.104782977e-2f +
					    x * (3.639262981e-3f +
						 x * (-6.806462041e-4f + x * 1.211407931e-4f)))))));
}

ALWAYS_INLINE float slope_lane(float x, float saturated)
{
	return saturated *
	       (8756.120929f +
		x * (-1942.256983f +
		     x * (346.8532277f +
			  x * (-52.74384478f + x * (9.194218441f + x * -1.702510860f)))));
}

ALWAYS_INLINE float warm_lane(float x)
{
	return 8.049062813e-1f +
	       x * (8.759153971e-1f +
		    x * (4.640271433e-1f +
			 x * (1.605116963e-1f +
			      x * (4.107668504e-2f +
				   x * (8.663329146e-3f + x * 1.436571144e-3f)))));
}

ALWAYS_INLINE uint16_t in_units(float value, float per_unit)
{
	float n = value * per_unit + 0.5f;
	n = n < 65535.0f ? n : 65535.0f;
	return (uint16_t)(int32_t)n;
}

ALWAYS_INLINE bool air_lanes(const struct wt_air_pair *p, size_t n,
			     uint16_t out[WT_AIR_COUNT][WT_TILE])
{
	const float *restrict t0 = p->temp_c[0], *restrict t1 = p->temp_c[1];
	const float *restrict v0 = p->vapour_pa[0], *restrict v1 = p->vapour_pa[1];
	float per[WT_AIR_COUNT];
	int sound = 0;
	for (int q = 0; q < WT_AIR_COUNT; q++)
		per[q] = 1.0f / p->unit[q];
	LANES
	for (size_t i = 0; i < n; i++) {
		float t = 0.5f * (t0[i] + t1[i]);
		float e = 0.5f * (v0[i] + v1[i]);
		sound += t >= -40.0f && t <= 60.0f && e >= 0.0f && e < 1e6f;
		t = between(t, -40.0f, 60.0f);
		e = between(e, 0.0f, 1e6f);
		float x = (t - 10.0f) * 0.02f;
		float a = saturated_lane(x);
		out[0][i] = in_units(a, per[0]);
		out[1][i] = in_units(e / (461.5f * (t + 273.15f)), per[1]);
		out[2][i] = in_units(slope_lane(x, a) * p->per_psychrometric_k_pa, per[2]);
		out[3][i] = in_units(warm_lane(x), per[3]);
	}
	return (size_t)sound == n;
}

/* Greatest value, at least `least`; what is no number is passed over. */
ALWAYS_INLINE float most_lanes(const float *restrict values, size_t n, float least)
{
	float most[WT_TILE];
	size_t i = 0;
	for (int l = 0; l < WT_TILE; l++)
		most[l] = least;
	for (; i + WT_TILE <= n; i += WT_TILE) {
		LANES
		for (int l = 0; l < WT_TILE; l++)
			most[l] = values[i + (size_t)l] > most[l] ? values[i + (size_t)l] : most[l];
	}
	for (; i < n; i++)
		least = values[i] > least ? values[i] : least;
	for (int l = 0; l < WT_TILE; l++)
		least = most[l] > least ? most[l] : least;
	return least;
}

ALWAYS_INLINE void start_lanes(struct wt_lanes *restrict l, const struct wt_lane_load *load,
			       float theta[WT_DIM_COUNT][WT_TILE], float *restrict tissue_kg,
			       float *restrict dry_kg)
{
	LANES
	for (int i = 0; i < WT_TILE; i++) {
		float surface = between(exp_lane(between(theta[WT_DIM_SURFACE][i], -80.0f, 0.0f)),
					0.0f, 1.0f);
		float m = between(theta[WT_DIM_MOISTURE][i], 40.0f, 92.0f) * 0.01f;
		float shrink = exp_lane(between(theta[WT_DIM_SHRINK][i], -80.0f, 80.0f));
		float pace = exp_lane(between(theta[WT_DIM_PACE][i], -80.0f, 80.0f));
		float open = exp_lane(between(theta[WT_DIM_OPEN][i], -80.0f, 80.0f)) - 1.0f;
		float fourth = 4.0f * exp_lane(between(-theta[WT_DIM_CLOSE][i], -80.0f, 80.0f));
		float water = m / (1.0f - m);
		float half = load->isotherm / water;
		float tissue = load->fresh_kg / (1.0f + surface);
		float dry = tissue * (1.0f - m);
		tissue_kg[i] = tissue;
		dry_kg[i] = dry;
		l->closed[i] = pace * load->skin_m_s * (1.0f + shrink);
		l->water_ratio[i] = water;
		l->dry_kg_m2[i] = dry / load->area_m2;
		l->bed[i] = exp_lane(between(theta[WT_DIM_BED][i], -80.0f, 80.0f));
		l->open[i] = open > 0.0f ? open : 0.0f;
		l->fourth[i] = fourth;
		l->half[i] = exp_lane(between(-0.5f * WT_GRID_S * fourth, -80.0f, 0.0f));
		l->shrink[i] = shrink;
		l->b2[i] = half * half;
		l->bias[i] = theta[WT_DIM_RH_BIAS][i] * 0.01f;
		l->surface_half[i] = load->film / water;
		l->loss_water[i] = 100.0f * m;
		l->loss_dry[i] = 100.0f - 100.0f * m;
		l->y[i] = 1.0f;
		l->z[i] = surface / m;
		l->slope[i] = 0.0f;
		l->breath[i] = 0.0f;
		l->closing[i] = 1.0f;
	}
	memcpy(l->drift, theta[WT_DIM_DRIFT0], sizeof l->drift);
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
		float face = c->face * l->bed[i];
		l->vapour[i] = face + c->through * bed;
		l->heat[i] = face * c->radiation / (face + c->radiation) + c->through_heat * bed;
		l->take[i] = 1.0f / water;
		l->film[i] = c->film * dry;
		n_wet += l->z[i] > 0.0f;
		n_open += since_s * l->fourth[i] < shut_fourths;
	}
	*wet = n_wet > 0;
	*open = n_open > 0;
}

/* One step of all lanes.  own: each lane has its own air. */
ALWAYS_INLINE void step(struct wt_lanes *restrict l, const struct wt_burst *b, int s, bool own,
			bool wet, bool open, float *restrict loss_pct, float *restrict z_out)
{
	const float *restrict air = own ? NULL : b->air + s * WT_AIR_COUNT;
	const uint16_t *restrict path = own ? b->path + s * WT_AIR_COUNT * WT_TILE : NULL;
	const float middle_s = b->since_s + ((float)s + 0.5f) * b->step_s;
	float unit[WT_AIR_COUNT];
	for (int q = 0; q < WT_AIR_COUNT; q++)
		unit[q] = own ? b->unit[q] : air[q];
	const float h = b->step_s, half_h = 0.5f * h, per_h = 1.0f / h, breath_h = breath_per_s * h;
	const float radiation = l->radiation;
	const float *restrict half = b->half;
	LANES
	for (int i = 0; i < WT_TILE; i++) {
		float a = own ? (float)path[i] * unit[0] : unit[0];
		float e = own ? (float)path[WT_TILE + i] * unit[1] : unit[1];
		float heat = own ? (float)path[2 * WT_TILE + i] * unit[2] : unit[2];
		float warm = own ? (float)path[3 * WT_TILE + i] * unit[3] : unit[3];
		heat *= l->heat[i];
		e = leaf_biased_vapour(a, e, l->bias[i]) - heat * radiation;
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
		if (wet) {
			float z = l->z[i], o = middle + l->shrink[i], resist = vapour + heat;
			float film = l->film[i], pull = a - e;
			pull = pull > 0.0f ? pull : 0.0f;
			float fast = o + resist * u * middle;
			float scale = fast + resist * film * o;
			float left = leaf_wet_left(z, h * take * film * pull * o, scale, fast,
						   l->surface_half[i]);
			/* All vapours times scale, so that one division does for both. */
			float water = l->dry_kg_m2[i] * l->water_ratio[i];
			float wet_flux = (z * scale - left) * water * per_h;
			leaf_tissue_parts(u, middle, l->shrink[i], l->b2[i], a * scale,
					  e * scale + resist * wet_flux, vapour, heat, &over,
					  &under);
			float inverse = 1.0f / (under * scale);
			z = left * under * inverse;
			slope = -take * over * inverse;
			l->z[i] = z;
			z_out[i] = z;
		} else {
			leaf_tissue_parts(u, middle, l->shrink[i], l->b2[i], a, e, vapour, heat,
					  &over, &under);
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
	for (int s = 0; s < b->n; s++)
		step(lanes, b, s, own, wet, open, loss_pct[s], z[s]);
}

ALWAYS_INLINE bool burst_lanes(struct wt_lanes *lanes, const struct wt_burst *b,
			       const float *limit_pct, float (*loss_pct)[WT_TILE],
			       float (*z)[WT_TILE])
{
	switch ((b->path ? 4 : 0) + (b->wet ? 2 : 0) + (b->open ? 1 : 0)) {
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

/* One set of the entries for each instruction set. */
#define VARIANT(name, attribute)                                                                   \
	attribute static void cell_##name(struct wt_lanes *lanes, const struct wt_cell *cell,      \
					  float since_s, bool *wet, bool *open)                    \
	{                                                                                          \
		cell_lanes(lanes, cell, since_s, wet, open);                                       \
	}                                                                                          \
	attribute static bool air_##name(const struct wt_air_pair *pair, size_t n,                 \
					 uint16_t out[WT_AIR_COUNT][WT_TILE])                      \
	{                                                                                          \
		/* Two loops: the whole tile is by far the usual one. */                           \
		return n == WT_TILE ? air_lanes(pair, WT_TILE, out) : air_lanes(pair, n, out);     \
	}                                                                                          \
	attribute static float most_##name(const float *values, size_t n, float least)             \
	{                                                                                          \
		return most_lanes(values, n, least);                                               \
	}                                                                                          \
	attribute static void start_##name(                                                        \
		struct wt_lanes *lanes, const struct wt_lane_load *load,                           \
		float theta[WT_DIM_COUNT][WT_TILE], float *tissue_kg, float *dry_kg)               \
	{                                                                                          \
		start_lanes(lanes, load, theta, tissue_kg, dry_kg);                                \
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

/* Tests build the kernel with a lower one, to try every set that the machine has. */
#ifndef WT_KERNEL_AT_MOST
#define WT_KERNEL_AT_MOST AVX512
#endif

static enum level level(void)
{
#if HAS_VARIANTS
	if (WT_KERNEL_AT_MOST >= AVX512 && __builtin_cpu_supports("avx512f") &&
	    __builtin_cpu_supports("avx512dq") && __builtin_cpu_supports("avx512vl") &&
	    __builtin_cpu_supports("avx512bw"))
		return AVX512;
	if (WT_KERNEL_AT_MOST >= AVX2 && __builtin_cpu_supports("avx2") &&
	    __builtin_cpu_supports("fma"))
		return AVX2;
#endif
	return PLAIN;
}

#if HAS_VARIANTS
#define CHOOSE(entry, ...)                                                                         \
	(level() == AVX512 ? entry##_avx512(__VA_ARGS__)                                           \
	 : level() == AVX2 ? entry##_avx2(__VA_ARGS__)                                             \
			   : entry##_plain(__VA_ARGS__))
#else
#define CHOOSE(entry, ...) entry##_plain(__VA_ARGS__)
#endif

bool wt_kernel_air(const struct wt_air_pair *pair, size_t n, uint16_t out[WT_AIR_COUNT][WT_TILE])
{
	return CHOOSE(air, pair, n, out);
}

float wt_kernel_most(const float *values, size_t n, float least)
{
	return CHOOSE(most, values, n, least);
}

void wt_kernel_start(struct wt_lanes *lanes, const struct wt_lane_load *load,
		     float theta[WT_DIM_COUNT][WT_TILE], float tissue_kg[WT_TILE],
		     float dry_kg[WT_TILE])
{
	CHOOSE(start, lanes, load, theta, tissue_kg, dry_kg);
}

void wt_kernel_cell(struct wt_lanes *lanes, const struct wt_cell *cell, float since_s, bool *wet,
		    bool *open)
{
	CHOOSE(cell, lanes, cell, since_s, wet, open);
}

bool wt_kernel_burst(struct wt_lanes *lanes, const struct wt_burst *burst,
		     const float limit_pct[WT_TILE], float (*loss_pct)[WT_TILE],
		     float (*z)[WT_TILE])
{
	return CHOOSE(burst, lanes, burst, limit_pct, loss_pct, z);
}

const char *wt_kernel_name(void)
{
	static const char *const names[] = {"plain", "avx2", "avx512"};
	return names[level()];
}
