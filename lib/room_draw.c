/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * Paths of the coming air.
 */
#include "lib/room_fit.h"

#include <stdlib.h>

#define NO_DATA_SLOTS (12 * ROOM_SLOTS_HOUR)
#define PATHS_MAX 65536
#define STEPS_MAX (3 * ROOM_SLOTS_DAY)

/* Counter-based: the n-th number of a seed is the same whatever was asked before. */
static uint64_t mix(uint64_t x)
{
	x += 0x9e3779b97f4a7c15u;
	x = (x ^ (x >> 30)) * 0xbf58476d1ce4e5b9u;
	x = (x ^ (x >> 27)) * 0x94d049bb133111ebu;
	return x ^ (x >> 31);
}

/* Standard normal, nearly: four uniforms of 16 bits. */
static float normal(uint64_t key)
{
	uint64_t x = mix(key);
	float sum = (float)(x & 0xffff) + (float)((x >> 16) & 0xffff) +
		    (float)((x >> 32) & 0xffff) + (float)(x >> 48);
	return (sum / 65536.0f - 2.0f) * 1.7320508f;
}

enum wt_status wt_room_draw(const struct wt_room_series *series, const struct wt_room_fit *fit,
			    int64_t now_unix_s, uint64_t seed, size_t n_paths, size_t n_steps,
			    float *temp_c, float *vapour_pa)
{
	int64_t last;
	if (!series || !fit || !temp_c || !vapour_pa || n_paths == 0 || n_steps == 0)
		return WT_ERR_ARG;
	if (n_paths > PATHS_MAX || n_steps > STEPS_MAX)
		return WT_ERR_RANGE;
	int64_t first = room_floor_slot(now_unix_s);
	if (!wt_room_newest_slot(series, now_unix_s, &last) || first - last > NO_DATA_SLOTS)
		return WT_ERR_NODATA;
	const struct room_slot *slot = room_slot_at(series, last);
	const double now[2] = {room_slot_temp_c(slot), room_slot_vapour_pa(slot)};
	float *out[2] = {temp_c, vapour_pa};
	const float keep = (float)exp(-1.0 / (12.0 * ROOM_SLOTS_HOUR));
	const float kick = sqrtf(1.0f - keep * keep);
	float *state = calloc(2 * n_paths, sizeof *state);
	if (!state)
		return WT_ERR_NOMEM;
	size_t behind = first > last ? (size_t)(first - last) : 0;
	for (size_t step = 0; step < n_steps + behind; step++) {
		size_t day = room_slot_of_day(last + (int64_t)step, fit->utc_offset_s);
		size_t day0 = room_slot_of_day(last, fit->utc_offset_s);
		float fade = powf(keep, (float)step);
		for (size_t i = 0; i < n_paths; i++) {
			float mean_t = fit->profile[0][day] +
				       fade * ((float)now[0] - fit->profile[0][day0]);
			float mean_e = fit->profile[1][day] +
				       fade * ((float)now[1] - fit->profile[1][day0]);
			for (size_t v = 0; step > 0 && v < 2; v++) {
				uint64_t key =
					seed * 0x2545f4914f6cdd1du + (step * 2 + v) * PATHS_MAX + i;
				float *x = &state[v * n_paths + i];
				*x = keep * *x + kick * normal(key);
			}
			if (step < behind)
				continue;
			float t = mean_t + (float)fit->sd[0] * state[i];
			float e = mean_e + (float)fit->sd[1] * state[n_paths + i];
			float most = (float)room_saturation_pa((double)t);
			out[0][(step - behind) * n_paths + i] = t;
			out[1][(step - behind) * n_paths + i] = fmaxf(0.02f * most, fminf(e, most));
		}
	}
	free(state);
	return WT_OK;
}
