/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * A good plan for any number of firings.  A plan is one sequence of jobs per
 * wok; the best starts of a sequence, gaps included, follow by dynamic
 * programming over the grid.  With the programme run from both ends, taking a
 * job out and trying it at every place of every wok costs about as much as
 * timing the plan once.
 */
#include "lib/decide_shop.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

/* Our choice: above so many steps the assignment gives way to a plain filling of places. */
#define ASSIGN_MAX 2e7
/* Our choice: the part of the jobs taken out by a kick, and the least and most of them. */
#define KICK_SHARE 0.15
#define KICK_LEAST 2
#define KICK_MOST 8
/* Our choice: so many kicks per job without gain end the search.  Over a season of four loads a day
 * hardly any kick gained. */
#define PATIENCE 6
#define EPSILON 1e-9
/* Our choice: effort per job squared, and the least and most of it. */
#define EFFORT_JOB2 8000u
#define EFFORT_LEAST 500000u
#define EFFORT_MOST 30000000u

struct wok {
	int n, room;
	int *job;
	int *from, *until; /* [i]: see set_bounds() */
	double *before;    /* [i * width + t]: cost of the first i jobs, all done by t */
	double *after;     /* [i * width + t]: cost of jobs i and later, none begun before t */
};

struct search {
	const struct wt_shop *shop;
	int n_jobs, width; /* width: moments 0 .. n_steps + longest job - 1 */
	int *class_of;
	struct wok *wok;
	int *left; /* jobs left undone */
	int n_left;
	uint64_t spent, effort, random;
	int *scratch, *order;
};

static uint64_t next_random(struct search *s)
{
	/* SplitMix64 (Steele, Lea and Flood 2014; as open code has it). */
	uint64_t z = (s->random += 0x9e3779b97f4a7c15u);
	z = (z ^ (z >> 30)) * 0xbf58476d1ce4e5b9u;
	z = (z ^ (z >> 27)) * 0x94d049bb133111ebu;
	return z ^ (z >> 31);
}

static int random_below(struct search *s, int n)
{
	return (int)(next_random(s) % (uint64_t)n);
}

static const double *cost_of(const struct search *s, int job)
{
	return s->shop->cost + (size_t)s->class_of[job] * (size_t)s->shop->n_steps;
}

static int duration_of(const struct search *s, int job)
{
	return s->shop->duration_steps[s->class_of[job]];
}

static double *row(const struct search *s, double *table, int i)
{
	return table + (size_t)i * (size_t)s->width;
}

/* Moments between which the jobs before a place can be done and those after it not yet begun;
 * outside them the rows are left as they are and never looked at. */
static void set_bounds(struct search *s, struct wok *wok)
{
	wok->from[0] = 0;
	for (int i = 0; i < wok->n; i++)
		wok->from[i + 1] = wok->from[i] + duration_of(s, wok->job[i]);
	wok->until[wok->n] = s->width - 1;
	for (int i = wok->n - 1; i >= 0; i--) {
		int latest = wok->until[i + 1] - duration_of(s, wok->job[i]);
		wok->until[i] = latest < s->shop->n_steps ? latest : s->shop->n_steps - 1;
		s->spent += (uint64_t)(2 * abs(wok->until[i] - wok->from[i]) + 8);
	}
}

static void time_forward(struct search *s, struct wok *wok)
{
	double *first = row(s, wok->before, 0);
	for (int t = 0; t <= wok->until[0]; t++)
		first[t] = 0;
	for (int i = 0; i < wok->n; i++) {
		const double *cost = cost_of(s, wok->job[i]), *from = row(s, wok->before, i);
		double *to = row(s, wok->before, i + 1), least = INFINITY;
		int duration = duration_of(s, wok->job[i]);
		for (int t = wok->from[i + 1]; t <= wok->until[i + 1]; t++) {
			int start = t - duration;
			if (start <= wok->until[i]) {
				double total = from[start] + cost[start];
				least = total < least ? total : least;
			}
			to[t] = least;
		}
	}
}

static void time_backward(struct search *s, struct wok *wok)
{
	double *last = row(s, wok->after, wok->n);
	for (int t = wok->from[wok->n]; t < s->width; t++)
		last[t] = 0;
	for (int i = wok->n - 1; i >= 0; i--) {
		const double *cost = cost_of(s, wok->job[i]), *from = row(s, wok->after, i + 1);
		double *to = row(s, wok->after, i), least = INFINITY;
		int duration = duration_of(s, wok->job[i]);
		for (int t = wok->until[i]; t >= wok->from[i]; t--) {
			double total = cost[t] + from[t + duration];
			least = total < least ? total : least;
			to[t] = least;
		}
	}
}

static void retime(struct search *s, int w)
{
	struct wok *wok = &s->wok[w];
	set_bounds(s, wok);
	time_forward(s, wok);
	time_backward(s, wok);
}

static double wok_cost(const struct wok *wok)
{
	return wok->n ? wok->after[0] : 0;
}

static double total_cost(const struct search *s)
{
	double total = 0;
	for (int w = 0; w < s->shop->woks; w++)
		total += wok_cost(&s->wok[w]);
	for (int i = 0; i < s->n_left; i++)
		total += s->shop->leave[s->class_of[s->left[i]]];
	return total;
}

struct place {
	int wok, position; /* wok -1: left undone */
	double rise;
};

/* The best place for a job that is in no sequence. */
static struct place best_place(struct search *s, int job)
{
	struct place best = {-1, 0, s->shop->leave[s->class_of[job]]};
	const double *cost = cost_of(s, job);
	int duration = duration_of(s, job), n_steps = s->shop->n_steps;
	for (int w = 0; w < s->shop->woks; w++) {
		struct wok *wok = &s->wok[w];
		if (wok->n == wok->room)
			continue;
		for (int i = 0; i <= wok->n; i++) {
			/* Behind one of its own kind it is the same plan as before it. */
			if (i && s->class_of[wok->job[i - 1]] == s->class_of[job])
				continue;
			const double *before = row(s, wok->before, i);
			const double *after = row(s, wok->after, i) + duration;
			double least = INFINITY;
			int until = wok->until[i] - duration;
			until = until < n_steps ? until : n_steps - 1;
			for (int t = wok->from[i]; t <= until; t++) {
				double total = before[t] + cost[t] + after[t];
				least = total < least ? total : least;
			}
			s->spent += until > wok->from[i] ? (uint64_t)(until - wok->from[i]) + 4 : 4;
			double rise = least - wok_cost(wok);
			if (rise < best.rise - EPSILON)
				best = (struct place){w, i, rise};
		}
	}
	return best;
}

static void put(struct search *s, int job, struct place place)
{
	if (place.wok < 0) {
		s->left[s->n_left++] = job;
		return;
	}
	struct wok *wok = &s->wok[place.wok];
	memmove(wok->job + place.position + 1, wok->job + place.position,
		(size_t)(wok->n - place.position) * sizeof *wok->job);
	wok->job[place.position] = job;
	wok->n++;
	retime(s, place.wok);
}

static void take(struct search *s, int w, int position)
{
	struct wok *wok = &s->wok[w];
	memmove(wok->job + position, wok->job + position + 1,
		(size_t)(wok->n - position - 1) * sizeof *wok->job);
	wok->n--;
	retime(s, w);
}

/* Takes a job out of wherever it is. */
static struct place find_and_take(struct search *s, int job)
{
	for (int i = 0; i < s->n_left; i++) {
		if (s->left[i] == job) {
			s->left[i] = s->left[--s->n_left];
			return (struct place){-1, 0, 0};
		}
	}
	for (int w = 0; w < s->shop->woks; w++) {
		for (int i = 0; i < s->wok[w].n; i++) {
			if (s->wok[w].job[i] == job) {
				take(s, w, i);
				return (struct place){w, i, 0};
			}
		}
	}
	return (struct place){-1, 0, 0};
}

/* Moves each job to its best place until a round changes nothing or the effort is used. */
static void improve(struct search *s)
{
	bool moved = true;
	while (moved && s->spent < s->effort) {
		moved = false;
		for (int job = 0; job < s->n_jobs && s->spent < s->effort; job++) {
			double cost = total_cost(s);
			struct place from = find_and_take(s, job);
			double without = total_cost(s);
			struct place to = best_place(s, job);
			if (without + to.rise < cost - EPSILON) {
				moved = true;
				put(s, job, to);
			} else {
				put(s, job, from);
			}
		}
	}
}

/* Starts of a timed sequence, the earliest where several are as good. */
static void starts_of(const struct search *s, const struct wok *wok, int *start)
{
	int t = 0;
	for (int i = 0; i < wok->n; i++) {
		const double *cost = cost_of(s, wok->job[i]);
		const double *after = row(s, wok->after, i + 1);
		int duration = duration_of(s, wok->job[i]);
		double want = row(s, wok->after, i)[t];
		while (t < s->shop->n_steps - 1 && cost[t] + after[t + duration] > want + EPSILON)
			t++;
		start[i] = t;
		t += duration;
	}
}

/* Places for the assignment: those in use, and packed ones in the gaps. */
struct places {
	int n;
	int *wok, *start;
};

static void add_gap(const struct search *s, struct places *p, int w, int from, int until)
{
	int duration = s->shop->duration_steps[0];
	for (int t = from; t + duration <= until && t < s->shop->n_steps; t += duration) {
		while (t < s->shop->n_steps && !isfinite(s->shop->cost[t]))
			t++;
		if (t >= s->shop->n_steps || t + duration > until)
			return;
		p->wok[p->n] = w;
		p->start[p->n++] = t;
	}
}

static void collect_places(struct search *s, struct places *p)
{
	p->n = 0;
	for (int w = 0; w < s->shop->woks; w++) {
		struct wok *wok = &s->wok[w];
		int free_from = 0, duration = s->shop->duration_steps[0];
		starts_of(s, wok, s->scratch);
		for (int i = 0; i < wok->n; i++) {
			add_gap(s, p, w, free_from, s->scratch[i]);
			p->wok[p->n] = w;
			p->start[p->n++] = s->scratch[i];
			free_from = s->scratch[i] + duration;
		}
		add_gap(s, p, w, free_from, s->width);
	}
}

/* Gives each job one of the places, or none, at least total cost, and times the result.  False,
 * and nothing changed, when that would take too long. */
static bool assign(struct search *s, const struct places *p)
{
	size_t n = (size_t)s->n_jobs, m = (size_t)p->n + n;
	if ((double)n * (double)n * (double)m > ASSIGN_MAX)
		return false;
	double *cost = malloc(n * m * sizeof *cost + 1);
	int *column = s->order;
	if (!cost)
		return false;
	for (size_t j = 0; j < n; j++) {
		int class = s->class_of[j];
		for (int k = 0; k < p->n; k++) {
			double c = cost_of(s, (int)j)[p->start[k]];
			cost[j * m + (size_t)k] = isfinite(c) ? c : 1e9;
		}
		for (size_t k = (size_t)p->n; k < m; k++)
			cost[j * m + k] = s->shop->leave[class];
	}
	bool ok = wt_shop_assign(n, m, cost, column) == WT_OK;
	free(cost);
	if (!ok)
		return false;
	s->spent += n * n * m / 4;
	s->n_left = 0;
	for (int w = 0; w < s->shop->woks; w++)
		s->wok[w].n = 0;
	/* Places are in order of time within a wok. */
	for (int k = 0; k < p->n; k++) {
		for (int j = 0; j < s->n_jobs; j++) {
			struct wok *wok = &s->wok[p->wok[k]];
			if (column[j] == k && wok->n < wok->room)
				wok->job[wok->n++] = j;
		}
	}
	for (int j = 0; j < s->n_jobs; j++) {
		if (column[j] >= p->n)
			s->left[s->n_left++] = j;
	}
	for (int w = 0; w < s->shop->woks; w++)
		retime(s, w);
	return true;
}

static bool all_last_alike(const struct wt_shop *shop)
{
	for (int c = 1; c < shop->n_classes; c++) {
		if (shop->duration_steps[c] != shop->duration_steps[0])
			return false;
	}
	return true;
}

/* Too many jobs to assign: fills packed places one after another with the job that gains most. */
static void fill(struct search *s, const struct places *p)
{
	const struct wt_shop *shop = s->shop;
	bool *done = calloc((size_t)s->n_jobs + 1, sizeof *done);
	for (int k = 0; done && k < p->n; k++) {
		struct wok *wok = &s->wok[p->wok[k]];
		int best = -1;
		double most = EPSILON;
		for (int j = 0; j < s->n_jobs; j++) {
			double gain = shop->leave[s->class_of[j]] - cost_of(s, j)[p->start[k]];
			if (!done[j] && gain > most) {
				most = gain;
				best = j;
			}
			while (j + 1 < s->n_jobs && s->class_of[j + 1] == s->class_of[j] &&
			       !done[j])
				j++;
		}
		if (best < 0 || wok->n == wok->room)
			continue;
		done[best] = true;
		wok->job[wok->n++] = best;
	}
	s->n_left = 0;
	for (int j = 0; done && j < s->n_jobs; j++) {
		if (!done[j])
			s->left[s->n_left++] = j;
	}
	for (int w = 0; w < shop->woks; w++)
		retime(s, w);
	free(done);
}

struct saved {
	int *job; /* sequences one after another, -1 between woks, then those left */
	double cost;
};

static void save(const struct search *s, struct saved *saved)
{
	int k = 0;
	for (int w = 0; w < s->shop->woks; w++) {
		for (int i = 0; i < s->wok[w].n; i++)
			saved->job[k++] = s->wok[w].job[i];
		saved->job[k++] = -1;
	}
	for (int i = 0; i < s->n_left; i++)
		saved->job[k++] = s->left[i];
	saved->cost = total_cost(s);
}

static void restore(struct search *s, const struct saved *saved)
{
	int k = 0;
	for (int w = 0; w < s->shop->woks; w++) {
		struct wok *wok = &s->wok[w];
		wok->n = 0;
		while (saved->job[k] >= 0)
			wok->job[wok->n++] = saved->job[k++];
		k++;
		retime(s, w);
	}
	s->n_left = 0;
	while (k < s->n_jobs + s->shop->woks)
		s->left[s->n_left++] = saved->job[k++];
}

/* Takes a few jobs out and puts them back one by one where they then do best. */
static void kick(struct search *s)
{
	int n = (int)(KICK_SHARE * s->n_jobs);
	n = n < KICK_LEAST ? KICK_LEAST : n > KICK_MOST ? KICK_MOST : n;
	n = n > s->n_jobs ? s->n_jobs : n;
	for (int j = 0; j < s->n_jobs; j++)
		s->order[j] = j;
	for (int k = 0; k < n; k++) {
		int other = k + random_below(s, s->n_jobs - k), job = s->order[other];
		s->order[other] = s->order[k];
		s->order[k] = job;
		(void)find_and_take(s, job);
	}
	s->spent += (uint64_t)s->n_jobs;
	for (int k = 0; k < n; k++)
		put(s, s->order[k], best_place(s, s->order[k]));
}

static void construct(struct search *s, struct places *places, bool alike)
{
	for (int w = 0; w < s->shop->woks; w++) {
		s->wok[w].n = 0;
		retime(s, w);
	}
	s->n_left = 0;
	if (alike) {
		collect_places(s, places);
		if (!assign(s, places))
			fill(s, places);
		return;
	}
	for (int job = 0; job < s->n_jobs; job++)
		put(s, job, best_place(s, job));
}

/* Assignment to the present places and insertion in turn, while it helps. */
static void polish(struct search *s, struct places *places, struct saved *trial, bool alike)
{
	improve(s);
	while (alike && s->spent < s->effort) {
		save(s, trial);
		collect_places(s, places);
		if (!assign(s, places) || total_cost(s) > trial->cost - EPSILON) {
			restore(s, trial);
			return;
		}
		improve(s);
	}
}

static void run(struct search *s, struct places *places, struct saved *best, struct saved *trial)
{
	bool alike = all_last_alike(s->shop);
	if (!s->n_jobs)
		return;
	construct(s, places, alike);
	polish(s, places, trial, alike);
	save(s, best);
	if (!s->shop->woks || !s->shop->n_steps)
		return;
	for (int vain = 0; s->spent < s->effort && vain < PATIENCE * s->n_jobs; vain++) {
		kick(s);
		polish(s, places, trial, alike);
		if (total_cost(s) < best->cost - EPSILON)
			vain = 0;
		if (total_cost(s) < best->cost + EPSILON)
			save(s, best);
		else
			restore(s, best);
	}
	restore(s, best);
}

static int longest(const struct wt_shop *shop, int *shortest)
{
	int most = 1;
	*shortest = shop->n_classes ? shop->duration_steps[0] : 1;
	for (int c = 0; c < shop->n_classes; c++) {
		most = shop->duration_steps[c] > most ? shop->duration_steps[c] : most;
		*shortest =
			shop->duration_steps[c] < *shortest ? shop->duration_steps[c] : *shortest;
	}
	return most;
}

static bool search_init(struct search *s, const struct wt_shop *shop)
{
	int shortest;
	s->shop = shop;
	s->width = shop->n_steps + longest(shop, &shortest);
	s->n_jobs = wt_shop_jobs(shop);
	size_t n = (size_t)s->n_jobs, most = (size_t)(shop->n_steps / shortest + 2);
	size_t room = n < most ? n : most, width = (size_t)s->width;
	s->class_of = calloc(n + 1, sizeof *s->class_of);
	s->left = calloc(n + 1, sizeof *s->left);
	s->order = calloc(n + 1, sizeof *s->order);
	s->scratch = calloc(n + 1, sizeof *s->scratch);
	s->wok = calloc((size_t)shop->woks + 1, sizeof *s->wok);
	if (!s->class_of || !s->left || !s->order || !s->scratch || !s->wok)
		return false;
	for (int w = 0; w < shop->woks; w++) {
		struct wok *wok = &s->wok[w];
		wok->room = (int)room;
		wok->job = calloc(room + 1, sizeof *wok->job);
		wok->from = calloc(room + 1, sizeof *wok->from);
		wok->until = calloc(room + 1, sizeof *wok->until);
		wok->before = calloc((room + 1) * width, sizeof *wok->before);
		wok->after = calloc((room + 1) * width, sizeof *wok->after);
		if (!wok->job || !wok->from || !wok->until || !wok->before || !wok->after)
			return false;
	}
	int job = 0;
	for (int c = 0; c < shop->n_classes; c++) {
		for (int k = 0; k < shop->count[c]; k++)
			s->class_of[job++] = c;
	}
	return true;
}

static void search_clear(struct search *s)
{
	for (int w = 0; s->wok && w < s->shop->woks; w++) {
		free(s->wok[w].job);
		free(s->wok[w].from);
		free(s->wok[w].until);
		free(s->wok[w].before);
		free(s->wok[w].after);
	}
	free(s->wok);
	free(s->class_of);
	free(s->left);
	free(s->order);
	free(s->scratch);
}

/* Hands the plan over; the search gives up its classes. */
static enum wt_status give(struct search *s, struct wt_shop_plan *out)
{
	int *start = malloc(((size_t)s->n_jobs + 1) * sizeof *start);
	if (!start)
		return WT_ERR_NOMEM;
	for (int j = 0; j < s->n_jobs; j++)
		start[j] = -1;
	for (int w = 0; w < s->shop->woks; w++) {
		starts_of(s, &s->wok[w], s->scratch);
		for (int i = 0; i < s->wok[w].n; i++)
			start[s->wok[w].job[i]] = s->scratch[i];
	}
	*out = (struct wt_shop_plan){.n = (size_t)s->n_jobs,
				     .job_class = s->class_of,
				     .start = start,
				     .cost = total_cost(s)};
	s->class_of = NULL;
	return WT_OK;
}

int wt_shop_jobs(const struct wt_shop *shop)
{
	int jobs = 0;
	for (int c = 0; c < shop->n_classes; c++)
		jobs += shop->count[c];
	return jobs;
}

uint64_t wt_shop_effort(const struct wt_shop *shop)
{
	uint64_t jobs = (uint64_t)wt_shop_jobs(shop), effort = EFFORT_JOB2 * jobs * jobs;
	effort = effort < EFFORT_LEAST ? EFFORT_LEAST : effort;
	return effort < EFFORT_MOST ? effort : EFFORT_MOST;
}

enum wt_status wt_shop_search(const struct wt_shop *shop, uint64_t effort, uint64_t seed,
			      struct wt_shop_plan *out)
{
	struct search s = {.effort = effort, .random = seed};
	struct saved best = {0}, trial = {0};
	struct places places = {0};
	enum wt_status status = WT_ERR_NOMEM;
	if (!search_init(&s, shop))
		goto out;
	size_t n = (size_t)s.n_jobs, woks = (size_t)shop->woks;
	size_t n_places = (size_t)shop->n_steps * woks + woks + 1;
	best.job = calloc(n + woks + 1, sizeof *best.job);
	trial.job = calloc(n + woks + 1, sizeof *trial.job);
	places.wok = calloc(n_places, sizeof *places.wok);
	places.start = calloc(n_places, sizeof *places.start);
	if (!best.job || !trial.job || !places.wok || !places.start)
		goto out;
	run(&s, &places, &best, &trial);
	status = give(&s, out);
out:
	free(best.job);
	free(trial.job);
	free(places.wok);
	free(places.start);
	search_clear(&s);
	return status;
}
