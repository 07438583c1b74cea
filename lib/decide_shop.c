/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "lib/decide_shop.h"

#include <stdlib.h>

enum wt_status wt_shop_init(struct wt_shop *shop, int woks, int n_classes, int n_steps)
{
	if (woks < 0 || n_classes < 0 || n_steps < 0)
		return WT_ERR_ARG;
	size_t classes = (size_t)n_classes, steps = (size_t)n_steps;
	struct wt_shop s = {.woks = woks, .n_steps = n_steps, .n_classes = n_classes};
	s.duration_steps = calloc(classes + 1, sizeof *s.duration_steps);
	s.count = calloc(classes + 1, sizeof *s.count);
	s.cost = calloc(classes * steps + 1, sizeof *s.cost);
	s.leave = calloc(classes + 1, sizeof *s.leave);
	if (!s.duration_steps || !s.count || !s.cost || !s.leave) {
		wt_shop_clear(&s);
		return WT_ERR_NOMEM;
	}
	*shop = s;
	return WT_OK;
}

void wt_shop_clear(struct wt_shop *shop)
{
	if (!shop)
		return;
	free(shop->duration_steps);
	free(shop->count);
	free(shop->cost);
	free(shop->leave);
	*shop = (struct wt_shop){0};
}

void wt_shop_plan_clear(struct wt_shop_plan *plan)
{
	if (!plan)
		return;
	free(plan->job_class);
	free(plan->start);
	*plan = (struct wt_shop_plan){0};
}
