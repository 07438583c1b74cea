/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * What costs nothing and a maker likes better: a firing begins as early as it may, so that no wok
 * stands idle before leaf whose cost does not change with time, and the firings of a load follow
 * each other, for nobody fetches gladly from two racks in turn.
 */
#include "lib/decide_shop.h"

#include <stdlib.h>

#define EPSILON 1e-9
/* Our choice: longer plans are left as they are. */
#define PLACED_MAX 400

struct slot {
	int start, job_class;
	size_t job;
};

static int by_start(const void *a, const void *b)
{
	const struct slot *x = a, *y = b;
	if (x->start != y->start)
		return x->start < y->start ? -1 : 1;
	if (x->job_class != y->job_class)
		return x->job_class < y->job_class ? -1 : 1;
	return (x->job > y->job) - (x->job < y->job);
}

/* Where the jobs of a class lie in the order of time. */
struct lie {
	double n, sum, squares;
};

/* Sum of squared distances from the middle of the class. */
static double scatter(const struct lie *lie)
{
	return lie->squares - lie->sum * lie->sum / lie->n;
}

static struct lie moved(struct lie lie, double from, double to)
{
	lie.sum += to - from;
	lie.squares += to * to - from * from;
	return lie;
}

static double cost_at(const struct wt_shop *shop, const struct slot *what, const struct slot *where)
{
	return shop->cost[(size_t)what->job_class * (size_t)shop->n_steps + (size_t)where->start];
}

static void swap_jobs(struct slot *a, struct slot *b)
{
	struct slot kept = *a;
	a->job_class = b->job_class;
	a->job = b->job;
	b->job_class = kept.job_class;
	b->job = kept.job;
}

static bool try_swap(const struct wt_shop *shop, struct lie *lie, struct slot *slot, size_t i,
		     size_t k)
{
	struct slot *a = &slot[i], *b = &slot[k];
	if (a->job_class == b->job_class)
		return false;
	double rise = cost_at(shop, a, b) + cost_at(shop, b, a) - cost_at(shop, a, a) -
		      cost_at(shop, b, b);
	if (!(rise <= EPSILON))
		return false;
	struct lie *lie_a = &lie[a->job_class], *lie_b = &lie[b->job_class];
	struct lie to_a = moved(*lie_a, (double)i, (double)k);
	struct lie to_b = moved(*lie_b, (double)k, (double)i);
	if (scatter(&to_a) + scatter(&to_b) > scatter(lie_a) + scatter(lie_b) - EPSILON)
		return false;
	*lie_a = to_a;
	*lie_b = to_b;
	swap_jobs(a, b);
	return true;
}

static void occupy(const struct wt_shop *shop, int *busy, const struct slot *slot, int woks)
{
	for (int t = 0; t < shop->duration_steps[slot->job_class]; t++)
		busy[slot->start + t] += woks;
}

static bool has_room(const struct wt_shop *shop, const int *busy, const struct slot *slot)
{
	for (int t = 0; t < shop->duration_steps[slot->job_class]; t++) {
		if (busy[slot->start + t] >= shop->woks)
			return false;
	}
	return true;
}

/* Each firing at the earliest start where it costs no more than where it was and a wok is free; in
 * order of time, since one that moves makes room for those after it. */
static bool begin_early(const struct wt_shop *shop, struct slot *slot, size_t n)
{
	int longest = 0;
	for (int c = 0; c < shop->n_classes; c++)
		longest = shop->duration_steps[c] > longest ? shop->duration_steps[c] : longest;
	int *busy = calloc((size_t)(shop->n_steps + longest) + 1, sizeof *busy);
	if (!busy)
		return false;
	for (size_t k = 0; k < n; k++)
		occupy(shop, busy, &slot[k], 1);
	for (size_t k = 0; k < n; k++) {
		double most = cost_at(shop, &slot[k], &slot[k]) + EPSILON;
		struct slot to = slot[k];
		occupy(shop, busy, &slot[k], -1);
		for (to.start = 0; to.start < slot[k].start; to.start++) {
			if (cost_at(shop, &to, &to) <= most && has_room(shop, busy, &to))
				break;
		}
		slot[k] = to;
		occupy(shop, busy, &slot[k], 1);
	}
	free(busy);
	qsort(slot, n, sizeof *slot, by_start);
	return true;
}

static void group(const struct wt_shop *shop, struct lie *lie, struct slot *slot, size_t n)
{
	for (int c = 0; c < shop->n_classes; c++)
		lie[c] = (struct lie){0};
	for (size_t k = 0; k < n; k++) {
		struct lie *of_class = &lie[slot[k].job_class];
		of_class->n++;
		of_class->sum += (double)k;
		of_class->squares += (double)k * (double)k;
	}
	for (bool swapped = true; swapped;) {
		swapped = false;
		for (size_t i = 0; i + 1 < n; i++) {
			for (size_t k = i + 1; k < n; k++)
				swapped = try_swap(shop, lie, slot, i, k) || swapped;
		}
	}
}

enum wt_status wt_shop_tidy(const struct wt_shop *shop, struct wt_shop_plan *plan)
{
	struct slot *slot = malloc((plan->n + 1) * sizeof *slot);
	struct lie *lie = calloc((size_t)shop->n_classes + 1, sizeof *lie);
	enum wt_status status = WT_ERR_NOMEM;
	if (!slot || !lie)
		goto out;
	size_t n = 0;
	for (size_t j = 0; j < plan->n; j++) {
		if (plan->start[j] >= 0)
			slot[n++] = (struct slot){plan->start[j], plan->job_class[j], j};
	}
	qsort(slot, n, sizeof *slot, by_start);
	if (n <= PLACED_MAX)
		group(shop, lie, slot, n);
	if (!begin_early(shop, slot, n))
		goto out;
	if (n <= PLACED_MAX)
		group(shop, lie, slot, n);
	for (size_t k = 0; k < n; k++)
		plan->start[slot[k].job] = slot[k].start;
	status = WT_OK;
out:
	free(slot);
	free(lie);
	return status;
}
