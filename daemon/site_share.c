/* SPDX-License-Identifier: GPL-3.0-or-later */
#include <stdio.h>
#include <string.h>

#include "daemon/site_inner.h"

static void *checked(void *memory)
{
	if (!memory) {
		fputs("out of memory\n", stderr);
		abort();
	}
	return memory;
}

void *site_alloc(size_t size)
{
	return checked(calloc(1, size ? size : 1));
}

void *site_alloc_bare(size_t size)
{
	return checked(malloc(size ? size : 1));
}

char *site_strdup(const char *text)
{
	return text ? checked(strdup(text)) : NULL;
}

void site_grow(void *array, size_t n, size_t *capacity, size_t element_size)
{
	void **address = array;

	if (n < *capacity)
		return;
	size_t wanted = *capacity ? *capacity * 2 : 4;
	*address = checked(reallocarray(*address, wanted, element_size));
	*capacity = wanted;
}

void site_shared_init(struct site_shared *shared, void (*release)(void *self))
{
	atomic_init(&shared->count, 1);
	shared->release = release;
}

void *site_take(void *shared)
{
	struct site_shared *it = shared;

	if (it)
		atomic_fetch_add(&it->count, 1);
	return shared;
}

void site_drop(void *address)
{
	struct site_shared **it = address;

	if (*it && atomic_fetch_sub(&(*it)->count, 1) == 1)
		(*it)->release(*it);
	*it = NULL;
}

static void series_release(void *self)
{
	struct site_series *series = self;

	wt_room_series_free(&series->series);
	free(series);
}

struct site_series *site_series_wrap(struct wt_room_series *series)
{
	struct site_series *it = site_alloc(sizeof(*it));

	site_shared_init(&it->shared, series_release);
	it->series = series;
	return it;
}

static void fit_release(void *self)
{
	struct site_fit *fit = self;

	wt_room_fit_free(&fit->fit);
	free(fit);
}

struct site_fit *site_fit_wrap(struct wt_room_fit *fit, int64_t upto_unix_s, uint64_t epoch)
{
	struct site_fit *it = site_alloc(sizeof(*it));

	site_shared_init(&it->shared, fit_release);
	it->fit = fit;
	it->upto_unix_s = upto_unix_s;
	it->epoch = epoch;
	return it;
}

static void posterior_release(void *self)
{
	struct site_posterior *posterior = self;

	wt_members_free(&posterior->members);
	free(posterior->reports);
	free(posterior);
}

struct site_posterior *site_posterior_new(size_t members, size_t n_reports)
{
	struct site_posterior *it = site_alloc(sizeof(*it));

	site_shared_init(&it->shared, posterior_release);
	if (wt_members_new(members, &it->members) != WT_OK)
		checked(NULL);
	it->reports = site_alloc((n_reports + 1) * sizeof(*it->reports));
	it->n_reports = n_reports;
	return it;
}

static void taught_release(void *self)
{
	struct site_taught *taught = self;

	for (size_t i = 0; i < taught->n; i++)
		site_drop(&taught->closings[i]);
	free(taught->closings);
	free(taught);
}

struct site_taught *site_taught_new(size_t most)
{
	struct site_taught *it = site_alloc(sizeof(*it));

	site_shared_init(&it->shared, taught_release);
	it->closings = site_alloc((most + 1) * sizeof(*it->closings));
	return it;
}

static void closing_release(void *self)
{
	struct site_closing *closing = self;

	free(closing->seen);
	free(closing->feels);
	free(closing);
}

struct site_closing *site_closing_new(size_t most_seen, size_t most_feels)
{
	struct site_closing *it = site_alloc(sizeof(*it));

	site_shared_init(&it->shared, closing_release);
	if (most_seen)
		it->seen = site_alloc(most_seen * sizeof(*it->seen));
	if (most_feels)
		it->feels = site_alloc(most_feels * sizeof(*it->feels));
	return it;
}

static void before_release(void *self)
{
	free(self);
}

struct site_before *site_before_new(void)
{
	struct site_before *it = site_alloc(sizeof(*it));

	site_shared_init(&it->shared, before_release);
	return it;
}

static void lore_release(void *self)
{
	struct site_lore *lore = self;

	wt_gardens_free(&lore->gardens);
	free(lore);
}

struct site_lore *site_lore_new(void)
{
	struct site_lore *it = site_alloc(sizeof(*it));

	site_shared_init(&it->shared, lore_release);
	return it;
}
