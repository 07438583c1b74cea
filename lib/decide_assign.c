/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * Assignment by shortest augmenting paths with prices on rows and columns
 * (Kuhn 1955; Jonker and Volgenant 1987; written from the method, from memory).
 */
#include "lib/decide_shop.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

struct matching {
	size_t n, m;
	const double *cost;
	double *row_price, *column_price, *distance;
	size_t *row_of, *before; /* row held by a column (0: none), previous column on the path */
	bool *reached;
};

/* Grows the tree from the column `from` by its cheapest edge; returns the column reached. */
static size_t grow(struct matching *a, size_t from)
{
	size_t row = a->row_of[from], next = 0;
	double least = INFINITY;
	const double *cost = a->cost + (row - 1) * a->m;
	for (size_t j = 1; j <= a->m; j++) {
		if (a->reached[j])
			continue;
		double reduced = cost[j - 1] - a->row_price[row] - a->column_price[j];
		if (reduced < a->distance[j]) {
			a->distance[j] = reduced;
			a->before[j] = from;
		}
		if (a->distance[j] < least) {
			least = a->distance[j];
			next = j;
		}
	}
	for (size_t j = 0; j <= a->m; j++) {
		if (a->reached[j]) {
			a->row_price[a->row_of[j]] += least;
			a->column_price[j] -= least;
		} else {
			a->distance[j] -= least;
		}
	}
	return next;
}

static void place_row(struct matching *a, size_t row)
{
	for (size_t j = 0; j <= a->m; j++) {
		a->distance[j] = INFINITY;
		a->reached[j] = false;
	}
	a->row_of[0] = row;
	size_t column = 0;
	do {
		a->reached[column] = true;
		column = grow(a, column);
	} while (a->row_of[column]);
	while (column) {
		size_t previous = a->before[column];
		a->row_of[column] = a->row_of[previous];
		column = previous;
	}
}

enum wt_status wt_shop_assign(size_t n, size_t m, const double *cost, int *column)
{
	if (n > m)
		return WT_ERR_ARG;
	struct matching a = {.n = n, .m = m, .cost = cost};
	a.row_price = calloc(n + 1, sizeof *a.row_price);
	a.column_price = calloc(2 * (m + 1), sizeof *a.column_price);
	a.row_of = calloc(2 * (m + 1), sizeof *a.row_of);
	a.reached = calloc(m + 1, sizeof *a.reached);
	enum wt_status status = WT_ERR_NOMEM;
	if (!a.row_price || !a.column_price || !a.row_of || !a.reached)
		goto out;
	a.distance = a.column_price + m + 1;
	a.before = a.row_of + m + 1;
	for (size_t row = 1; row <= n; row++)
		place_row(&a, row);
	for (size_t j = 1; j <= m; j++) {
		if (a.row_of[j])
			column[a.row_of[j] - 1] = (int)(j - 1);
	}
	status = WT_OK;
out:
	free(a.row_price);
	free(a.column_price);
	free(a.row_of);
	free(a.reached);
	return status;
}
