/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "room_score.h"

#include <math.h>
#include <stdbool.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>

#include "lib/air.h"
#include "lib/room.h"

const double score_lead_h[SCORE_LEADS] = {0.5, 1, 3, 6, 9, 12, 18, 24, 36, 48};
#define STEPS (48 * 12 + 1)

static double saturation_pa(double temp_c)
{
	double saturation = NAN;
	if (wt_air_saturation_pa(temp_c, &saturation) != WT_OK)
		return NAN;
	return saturation;
}

void record_free(struct record *record)
{
	free(record->at_unix_s);
	free(record->temp_c);
	free(record->rh_pct);
	free(record->out_temp_c);
	free(record->out_rh_pct);
	*record = (struct record){0};
}

static int grow(void **array, size_t n, size_t size)
{
	void *more = realloc(*array, n * size);
	if (!more)
		return -1;
	*array = more;
	return 0;
}

int record_push(struct record *record, int64_t at_unix_s, const double values[4])
{
	if (record->n == record->capacity) {
		size_t n = record->capacity ? 2 * record->capacity : 4096;
		if (grow((void **)&record->at_unix_s, n, sizeof(int64_t)) ||
		    grow((void **)&record->temp_c, n, sizeof(double)) ||
		    grow((void **)&record->rh_pct, n, sizeof(double)) ||
		    grow((void **)&record->out_temp_c, n, sizeof(double)) ||
		    grow((void **)&record->out_rh_pct, n, sizeof(double)))
			return -1;
		record->capacity = n;
	}
	record->at_unix_s[record->n] = at_unix_s;
	record->temp_c[record->n] = values[0];
	record->rh_pct[record->n] = values[1];
	record->out_temp_c[record->n] = values[2];
	record->out_rh_pct[record->n] = values[3];
	record->n++;
	return 0;
}

static const char *read_time(const char *text, int64_t *at)
{
	struct tm tm = {0};
	char *end;
	const char *rest = strptime(text, "%Y-%m-%d", &tm);
	if (!rest) {
		*at = strtoll(text, &end, 10);
		if (*end == '.')
			end += 1 + strspn(end + 1, "0123456789");
		return end == text ? NULL : end;
	}
	if (*rest == 'T' || *rest == ' ') {
		const char *clock = strptime(rest + 1, "%H:%M:%S", &tm);
		if (!clock)
			clock = strptime(rest + 1, "%H:%M", &tm);
		rest = clock ? clock : rest;
	}
	*at = (int64_t)timegm(&tm);
	if (*rest == '.') /* parts of a second */
		rest += 1 + strspn(rest + 1, "0123456789");
	int hours;
	int minutes;
	int length = 0;
	if (sscanf(rest, "%3d:%2d%n", &hours, &minutes, &length) == 2 && length == 6) {
		int sign = *rest == '-' ? -1 : 1;
		*at -= hours * 3600 + sign * minutes * 60;
		rest += length;
	}
	return *rest == 'Z' ? rest + 1 : rest;
}

long record_read(struct record *record, FILE *file)
{
	char line[512];
	for (long number = 1; fgets(line, sizeof line, file); number++) {
		int64_t at;
		double values[4] = {NAN, NAN, NAN, NAN};
		const char *rest = read_time(line, &at);
		if (!rest || *rest != ',') {
			if (number == 1)
				continue;
			return number;
		}
		for (size_t k = 0; k < 4 && *rest == ','; k++) {
			char *end;
			double value = strtod(rest + 1, &end);
			values[k] = end == rest + 1 ? NAN : value;
			rest = end;
		}
		if (!isfinite(values[0]) || !isfinite(values[1]))
			continue; /* a gap */
		if (record->n > 0 && at <= record->at_unix_s[record->n - 1])
			continue; /* a repeated hour of a record in local time */
		if (record_push(record, at, values))
			return -1;
	}
	return 0;
}

/* The reading nearest to an instant, within five minutes. */
static bool truth_at(const struct record *r, int64_t at, double *temp_c, double *vapour_pa)
{
	size_t low = 0;
	size_t high = r->n;
	while (low < high) {
		size_t middle = (low + high) / 2;
		if (r->at_unix_s[middle] < at)
			low = middle + 1;
		else
			high = middle;
	}
	size_t best = low;
	if (low == r->n || (low > 0 && at - r->at_unix_s[low - 1] < r->at_unix_s[low] - at))
		best = low - 1;
	if (r->n == 0 || llabs(r->at_unix_s[best] - at) > 300)
		return false;
	*temp_c = r->temp_c[best];
	*vapour_pa = fmin(r->rh_pct[best], 100.0) / 100.0 * saturation_pa(*temp_c);
	return true;
}

/* Mean deficit over a span from readings at most 65 min apart. */
static bool mean_deficit(const struct record *r, int64_t from, int64_t to, double *out)
{
	double sum = 0.0;
	double n = 0.0;
	for (int64_t at = from; at <= to; at += 300) {
		double t;
		double e;
		if (!truth_at(r, at, &t, &e))
			continue;
		sum += saturation_pa(t) - e;
		n += 1.0;
	}
	*out = sum / n;
	return n >= (double)(to - from) / 3900.0;
}

static int by_value(const void *a, const void *b)
{
	float x = *(const float *)a;
	float y = *(const float *)b;
	return (x > y) - (x < y);
}

/* CRPS of a sample of equal weights, its median and bands; sorts. */
static void cell_add(struct score_cell *cell, float *sample, size_t n, double truth,
		     double persistence, double yesterday)
{
	double crps = 0.0;
	double count = (double)n;
	qsort(sample, n, sizeof *sample, by_value);
	for (size_t i = 0; i < n; i++) {
		crps += fabs((double)sample[i] - truth) / count;
		crps -= (double)sample[i] * (2.0 * (double)i + 1.0 - count) / (count * count);
	}
	double share[6] = {0.25, 0.75, 0.10, 0.90, 0.025, 0.975};
	bool in[3];
	for (size_t b = 0; b < 3; b++) {
		double low = (double)sample[(size_t)(share[2 * b] * (count - 1.0) + 0.5)];
		double high = (double)sample[(size_t)(share[2 * b + 1] * (count - 1.0) + 0.5)];
		in[b] = truth >= low && truth <= high;
	}
	cell->n += 1.0;
	cell->crps += crps;
	cell->miss += fabs((double)sample[n / 2] - truth);
	cell->persistence += fabs(persistence - truth);
	cell->yesterday += fabs(yesterday - truth);
	cell->in50 += in[0];
	cell->in80 += in[1];
	cell->in95 += in[2];
}

struct replay {
	const struct record *record;
	const struct score_options *options;
	struct wt_room_series *series;
	struct wt_room_fit *fit;
	size_t fed;
	int64_t fit_at;
	int64_t outlook_at;
	uint64_t noise;
	float *temp_c;
	float *vapour_pa;
	float *sample;
};

static void score_instant(const struct replay *p, int64_t now, size_t lead, struct score *out)
{
	size_t n = p->options->n_paths;
	int64_t ahead = (int64_t)(score_lead_h[lead] * 3600.0);
	int64_t back = (ahead + 86399) / 86400 * 86400;
	size_t step = (size_t)(ahead / 300);
	double truth[2];
	double last[2];
	double yesterday[2];
	if (!truth_at(p->record, now + ahead, &truth[0], &truth[1]) ||
	    !truth_at(p->record, now, &last[0], &last[1]) ||
	    !truth_at(p->record, now + ahead - back, &yesterday[0], &yesterday[1]))
		return;
	const float *paths[2] = {p->temp_c, p->vapour_pa};
	for (size_t v = 0; v < 2; v++) {
		memcpy(p->sample, paths[v] + step * n, n * sizeof *p->sample);
		cell_add(&out->cell[v][lead], p->sample, n, truth[v], last[v], yesterday[v]);
	}
}

static void score_deficit(const struct replay *p, int64_t now, size_t lead, struct score *out)
{
	size_t n = p->options->n_paths;
	int64_t ahead = (int64_t)(score_lead_h[lead] * 3600.0);
	int64_t back = (ahead + 86399) / 86400 * 86400;
	double truth;
	double yesterday;
	double t;
	double e;
	if (!mean_deficit(p->record, now, now + ahead, &truth) ||
	    !mean_deficit(p->record, now - back, now - back + ahead, &yesterday) ||
	    !truth_at(p->record, now, &t, &e))
		return;
	memset(p->sample, 0, n * sizeof *p->sample);
	size_t n_steps = (size_t)(ahead / 300) + 1;
	float part = 1.0f;
	size_t used = 0;
	for (size_t step = 0; step < n_steps; step += 3, used++)
		for (size_t i = 0; i < n; i++) {
			float temp = p->temp_c[step * n + i];
			float most = 611.2f * expf(17.62f * temp / (243.12f + temp));
			p->sample[i] += most - p->vapour_pa[step * n + i];
		}
	part /= (float)used;
	for (size_t i = 0; i < n; i++)
		p->sample[i] *= part;
	cell_add(&out->cell[SCORE_DEFICIT][lead], p->sample, n, truth, saturation_pa(t) - e,
		 yesterday);
}

static double seconds(void)
{
	struct timespec t;
	clock_gettime(CLOCK_PROCESS_CPUTIME_ID, &t);
	return (double)t.tv_sec + 1e-9 * (double)t.tv_nsec;
}

static double noise(uint64_t *state)
{
	double sum = -6.0;
	for (int i = 0; i < 12; i++) {
		*state = *state * 6364136223846793005u + 1442695040888963407u;
		sum += (double)(*state >> 40) / (double)(1 << 24);
	}
	return sum;
}

static bool outdoors_at(const struct record *r, int64_t at, double *temp_c, double *rh_pct)
{
	size_t low = 0;
	size_t high = r->n;
	while (low < high) {
		size_t middle = (low + high) / 2;
		if (r->at_unix_s[middle] < at)
			low = middle + 1;
		else
			high = middle;
	}
	if (low == r->n || r->at_unix_s[low] - at > 1800 || !isfinite(r->out_temp_c[low]) ||
	    !isfinite(r->out_rh_pct[low]))
		return false;
	*temp_c = r->out_temp_c[low];
	*rh_pct = r->out_rh_pct[low];
	return true;
}

/* An outlook made of what came.  Its noise grows to 1 K and 6 % at a day. */
static void give_outlook(struct replay *p, int64_t now)
{
	enum { HOURS = 72 };
	int64_t at[HOURS];
	double temp_c[HOURS];
	double rh_pct[HOURS];
	size_t n = 0;
	enum outlook_kind kind = p->options->outlook;
	bool turned = now - p->record->at_unix_s[0] > 20 * 86400;
	int64_t first = now / 3600 * 3600;
	double slow_t = noise(&p->noise);
	double slow_h = noise(&p->noise);
	for (int64_t k = 0; k < HOURS; k++) {
		int64_t look = first + k * 3600;
		double t;
		double h;
		if (kind == OUTLOOK_STUCK && turned)
			look = p->record->at_unix_s[0] + 20 * 86400 + (k % 24) * 3600;
		if (!outdoors_at(p->record, look, &t, &h))
			continue;
		double size = fmin(1.0, sqrt((double)(k + 1) / 24.0));
		double e = h / 100.0 * saturation_pa(t);
		t += size * (0.8 * slow_t + 0.6 * noise(&p->noise));
		if (kind == OUTLOOK_BIASED || (kind == OUTLOOK_TURNED && turned))
			t += 3.0;
		h = 100.0 * e / saturation_pa(t) + size * (4.0 * slow_h + 3.0 * noise(&p->noise));
		if (kind == OUTLOOK_FROZEN) {
			t = 17.0;
			h = 70.0;
		}
		at[n] = first + k * 3600;
		temp_c[n] = t;
		rh_pct[n++] = fmin(fmax(h, 5.0), 100.0);
	}
	const struct wt_outlook outlook = {now, n, at, temp_c, rh_pct};
	if (n > 0 && wt_room_series_add_outlook(p->series, &outlook) != WT_OK)
		fprintf(stderr, "outlook refused\n");
}

/* Feeds readings up to now, refits when due. */
static int replay_to(struct replay *p, int64_t now, struct score *out)
{
	const struct record *r = p->record;
	const struct score_options *o = p->options;
	if (o->history_h > 0.0) {
		wt_room_series_free(&p->series);
		wt_room_fit_free(&p->fit);
		if (wt_room_series_new(o->utc_offset_s, &p->series) != WT_OK)
			return -1;
		while (p->fed < r->n && r->at_unix_s[p->fed] <= now)
			p->fed++;
		for (size_t i = p->fed;
		     i-- > 0 && (double)(now - r->at_unix_s[i]) <= o->history_h * 3600.0;)
			if (wt_room_series_add(p->series, r->at_unix_s[i], r->temp_c[i],
					       r->rh_pct[i], 1.0) != WT_OK)
				return -1;
		p->fit_at = INT64_MIN / 2;
	}
	for (; p->fed < r->n && r->at_unix_s[p->fed] <= now && o->history_h <= 0.0; p->fed++)
		if (wt_room_series_add(p->series, r->at_unix_s[p->fed], r->temp_c[p->fed],
				       r->rh_pct[p->fed], 1.0) != WT_OK)
			fprintf(stderr, "reading %zu refused\n", p->fed);
	if (o->outlook != OUTLOOK_NONE && now - p->outlook_at >= 3 * 3600) {
		give_outlook(p, now);
		p->outlook_at = now;
	}
	if (now - r->at_unix_s[0] < (int64_t)(o->warm_days * 86400.0) ||
	    now - p->fit_at < o->fit_step_s)
		return 0;
	wt_room_fit_free(&p->fit);
	double start = seconds();
	p->fit_at = now;
	if (wt_room_fit_new(p->series, now, &p->fit) != WT_OK)
		return 0;
	out->fit_s += seconds() - start;
	out->n_fits += 1.0;
	return 0;
}

static void replay_score(struct replay *p, int64_t now, struct score *out)
{
	double t;
	double e;
	if (!p->fit || !truth_at(p->record, now, &t, &e))
		return;
	double start = seconds();
	if (wt_room_draw(p->series, p->fit, now, (uint64_t)now, p->options->n_paths, STEPS,
			 p->temp_c, p->vapour_pa) != WT_OK)
		return;
	out->draw_s += seconds() - start;
	out->n_forecasts += 1.0;
	for (size_t lead = 0; lead < SCORE_LEADS; lead++) {
		score_instant(p, now, lead, out);
		if (score_lead_h[lead] >= 3.0 && score_lead_h[lead] <= 24.0)
			score_deficit(p, now, lead, out);
	}
}

int score_record(const struct record *record, const struct score_options *options,
		 struct score *out)
{
	struct replay p = {.record = record, .options = options, .noise = 12345};
	struct score score = {0};
	int result = -1;
	size_t cells = options->n_paths * STEPS;
	p.temp_c = calloc(cells, sizeof *p.temp_c);
	p.vapour_pa = calloc(cells, sizeof *p.vapour_pa);
	p.sample = calloc(options->n_paths, sizeof *p.sample);
	p.fit_at = INT64_MIN / 2;
	p.outlook_at = INT64_MIN / 2;
	if (!p.temp_c || !p.vapour_pa || !p.sample || record->n == 0 ||
	    wt_room_series_new(options->utc_offset_s, &p.series) != WT_OK)
		goto out;
	int64_t first = record->at_unix_s[0] + (int64_t)(options->history_h * 3600.0);
	int64_t last = record->at_unix_s[record->n - 1];
	for (int64_t now = first; now <= last; now += options->origin_step_s) {
		if (replay_to(&p, now, &score))
			goto out;
		replay_score(&p, now, &score);
	}
	*out = score;
	result = 0;
out:
	wt_room_series_free(&p.series);
	wt_room_fit_free(&p.fit);
	free(p.temp_c);
	free(p.vapour_pa);
	free(p.sample);
	return result;
}

void score_add(struct score *sum, const struct score *more)
{
	double *to = (double *)(void *)sum;
	const double *from = (const double *)(const void *)more;
	for (size_t i = 0; i < sizeof *sum / sizeof *to; i++)
		to[i] += from[i];
}

double score_ratio(const struct score_cell *cell)
{
	return cell->crps / fmin(cell->persistence, cell->yesterday);
}

void score_print(const struct score *score, const char *name, FILE *file)
{
	static const char *const what[SCORE_WHATS] = {"temp_c", "vapour_pa", "mean_vpd_pa"};
	fprintf(file, "%s: %.0f forecasts\n", name, score->n_forecasts);
	fprintf(file, "  %-12s %6s %7s %7s %7s %7s %6s %6s %6s %6s\n", "what", "lead_h", "crps",
		"mae", "persist", "yesterd", "ratio", "in50", "in80", "in95");
	for (size_t w = 0; w < SCORE_WHATS; w++)
		for (size_t lead = 0; lead < SCORE_LEADS; lead++) {
			const struct score_cell *c = &score->cell[w][lead];
			if (c->n < 1.0)
				continue;
			fprintf(file,
				"  %-12s %6.1f %7.3f %7.3f %7.3f %7.3f %6.3f %5.1f%% %5.1f%% "
				"%5.1f%%\n",
				what[w], score_lead_h[lead], c->crps / c->n, c->miss / c->n,
				c->persistence / c->n, c->yesterday / c->n, score_ratio(c),
				100.0 * c->in50 / c->n, 100.0 * c->in80 / c->n,
				100.0 * c->in95 / c->n);
		}
}
