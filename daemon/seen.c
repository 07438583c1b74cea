/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "daemon/seen.h"

#include <math.h>
#include <stdint.h>
#include <stdlib.h>
#include <string.h>

#define LEAST 1024

/* A circle of the marks in the order of coming, and a table of twice the size to find them: open
 * addressing, 0 is free. */
struct wt_seen {
	size_t limit, capacity, first, n;
	uint64_t *ring, *table;
};

struct wt_seen *wt_seen_new(size_t limit)
{
	struct wt_seen *seen = calloc(1, sizeof *seen);
	if (seen)
		seen->limit = limit;
	return seen;
}

void wt_seen_free(struct wt_seen **seen)
{
	if (!*seen)
		return;
	free((*seen)->ring);
	free((*seen)->table);
	free(*seen);
	*seen = NULL;
}

/* The finalizer of splitmix64 (Steele, Lea and Flood 2014; constants as open code has them): any
 * good mixer does. */
static uint64_t mix(uint64_t x)
{
	x ^= x >> 30;
	x *= UINT64_C(0xbf58476d1ce4e5b9);
	x ^= x >> 27;
	x *= UINT64_C(0x94d049bb133111eb);
	return x ^ x >> 31;
}

static uint64_t bits(double value)
{
	uint64_t out = 0;
	/* All unknowns are alike. */
	if (isnan(value))
		return UINT64_MAX;
	memcpy(&out, &value, sizeof out);
	return out;
}

/* 64 bits of it: that two of so many fall together has a chance of 1 in 10^14. */
static uint64_t mark_of(const struct wt_reading *reading)
{
	uint64_t mark = mix((uint64_t)reading->station + 1);
	mark = mix(mark ^ (uint64_t)reading->at_unix_ms);
	mark = mix(mark ^ bits(reading->temp_c));
	mark = mix(mark ^ bits(reading->rh_pct));
	return mark ? mark : 1;
}

/* Where it is, or the free place where it would be. */
static size_t place_of(const uint64_t *table, size_t size, uint64_t mark)
{
	size_t at = (size_t)mark & (size - 1);
	while (table[at] != 0 && table[at] != mark)
		at = (at + 1) & (size - 1);
	return at;
}

/* Those that stand behind move up, so that none is cut off from its place. */
static void take_out(uint64_t *table, size_t size, uint64_t mark)
{
	size_t hole = place_of(table, size, mark);
	size_t at = hole;
	for (;;) {
		at = (at + 1) & (size - 1);
		if (table[at] == 0)
			break;
		size_t home = (size_t)table[at] & (size - 1);
		if (((at - home) & (size - 1)) >= ((at - hole) & (size - 1))) {
			table[hole] = table[at];
			hole = at;
		}
	}
	table[hole] = 0;
}

static bool grow(struct wt_seen *seen)
{
	size_t capacity = seen->capacity ? 2 * seen->capacity : LEAST;
	if (capacity > seen->limit)
		capacity = seen->limit;
	uint64_t *ring = calloc(capacity, sizeof *ring);
	uint64_t *table = calloc(2 * capacity, sizeof *table);
	if (!ring || !table) {
		free(ring);
		free(table);
		return false;
	}
	for (size_t i = 0; i < seen->n; i++) {
		ring[i] = seen->ring[(seen->first + i) % seen->capacity];
		table[place_of(table, 2 * capacity, ring[i])] = ring[i];
	}
	free(seen->ring);
	free(seen->table);
	seen->ring = ring;
	seen->table = table;
	seen->capacity = capacity;
	seen->first = 0;
	return true;
}

bool wt_seen_add(struct wt_seen *seen, const struct wt_reading *reading)
{
	if (reading->at_unix_ms == reading->received_unix_ms)
		return true;
	uint64_t mark = mark_of(reading);
	if (seen->capacity > 0 &&
	    seen->table[place_of(seen->table, 2 * seen->capacity, mark)] == mark)
		return false;
	if (seen->n == seen->capacity && seen->capacity < seen->limit && !grow(seen))
		return true;
	if (seen->n == seen->capacity) {
		take_out(seen->table, 2 * seen->capacity, seen->ring[seen->first]);
		seen->first = (seen->first + 1) % seen->capacity;
		seen->n--;
	}
	seen->ring[(seen->first + seen->n++) % seen->capacity] = mark;
	seen->table[place_of(seen->table, 2 * seen->capacity, mark)] = mark;
	return true;
}
