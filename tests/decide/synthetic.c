/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "decide/synthetic.h"

#include <assert.h>
#include <math.h>

static uint64_t next(struct synthetic_random *r)
{
	uint64_t z = (r->state += 0x9e3779b97f4a7c15u);
	z = (z ^ (z >> 30)) * 0xbf58476d1ce4e5b9u;
	z = (z ^ (z >> 27)) * 0x94d049bb133111ebu;
	return z ^ (z >> 31);
}

double synthetic_uniform(struct synthetic_random *r, double low, double high)
{
	return low + (high - low) * ((double)(next(r) >> 11) / 9007199254740992.0);
}

int synthetic_below(struct synthetic_random *r, int n)
{
	return (int)(next(r) % (uint64_t)n);
}

double synthetic_normal(struct synthetic_random *r)
{
	double u = synthetic_uniform(r, 1e-12, 1), v = synthetic_uniform(r, 0, 1);
	return sqrt(-2 * log(u)) * cos(6.283185307179586 * v);
}

struct wt_hearth synthetic_hearth(int woks)
{
	return (struct wt_hearth){
		.woks = woks,
		.wok_kg = 2,
		.firing_s = 20 * 60,
		.evening_from_unix_s = SYNTHETIC_NOW,
		.last_start_unix_s = SYNTHETIC_NOW + 6 * 3600,
		.first_start_unix_s = SYNTHETIC_NOW + 14 * 3600,
		.morning_until_unix_s = SYNTHETIC_NOW + 30 * 3600,
	};
}

void synthetic_fill(struct synthetic_load *l, struct synthetic_random *r, int number, double kg,
		    size_t members, double ready_s, double sd_s, double window_s)
{
	assert(members <= SYNTHETIC_MEMBERS_MAX);
	l->load = (struct wt_decide_load){.load = number,
					  .left_kg = kg,
					  .n = members,
					  .ready_unix_s = l->ready_unix_s,
					  .past_unix_s = l->past_unix_s};
	for (size_t i = 0; i < members; i++) {
		l->ready_unix_s[i] = SYNTHETIC_NOW + ready_s + sd_s * synthetic_normal(r);
		l->past_unix_s[i] = l->ready_unix_s[i] + window_s * exp(0.2 * synthetic_normal(r));
	}
}
