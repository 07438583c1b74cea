/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * Writes a synthetic season into a folder: season.ini, journal.jsonl, truth.csv, leaf.csv (what
 * each load would weigh if it were left for two days).
 *
 * usage: make_season FOLDER [seed=N] [days=N] [structure=0|1] [wet=0|1] [wrong=0|1] [cells=0|1]
 *        [outlook=0|1] [unweighed=0|1] [every=S] [calm=0|1] [biased=0|1] [noisy=0|1]
 *        [stress=0|1]
 */
#include <gsl/gsl_randist.h>
#include <math.h>
#include <stdarg.h>
#include <stdlib.h>
#include <string.h>

#include "season.h"

enum { GARDENS = 5, CELLS = 6, LEAD_IN_DAYS = 5, MOST_LOADS = 400 };

static const double ready_from_pct = 18.0, aim_pct = 21.0, latest_pct = 28.0;
/* A load is followed for so long, and written down so often. */
enum { FOLLOW_S = 48 * 3600, NOTE_S = 900 };
static const char *const garden_names[GARDENS] = {"high-terrace", "stone-wall", "lower-field",
						  "old-hedge", "east-slope"};

struct line {
	int64_t at_unix_s;
	size_t order;
	char *text;
};

struct journal {
	struct line *lines;
	size_t n, capacity;
};

static void *must(void *memory)
{
	if (memory == NULL) {
		fputs("out of memory\n", stderr);
		exit(1);
	}
	return memory;
}

__attribute__((format(printf, 3, 4))) static void say(struct journal *journal, int64_t at_unix_s,
						      const char *format, ...)
{
	char body[16384];
	va_list arguments;
	va_start(arguments, format);
	vsnprintf(body, sizeof(body), format, arguments);
	va_end(arguments);
	if (journal->n == journal->capacity) {
		journal->capacity = journal->capacity * 2 + 1024;
		journal->lines =
			must(realloc(journal->lines, journal->capacity * sizeof(*journal->lines)));
	}
	char *text = must(malloc(strlen(body) + 40));
	sprintf(text, "{\"at\":%lld,%s}\n", (long long)at_unix_s, body);
	journal->lines[journal->n] = (struct line){at_unix_s, journal->n, text};
	journal->n++;
}

static int compare_lines(const void *a, const void *b)
{
	const struct line *x = a, *y = b;
	if (x->at_unix_s != y->at_unix_s)
		return x->at_unix_s > y->at_unix_s ? 1 : -1;
	return (x->order > y->order) - (x->order < y->order);
}

struct world {
	struct season_options options;
	gsl_rng *rng;
	/* Of scales and cells, and of outlooks: what is looked at does not change the season. */
	gsl_rng *look, *ahead;
	struct season_air air;
	struct journal journal;
	FILE *leaf_file;
	double garden_pace[GARDENS], garden_moisture[GARDENS];
	struct season_load loads[MOST_LOADS];
	int n_loads;
	int64_t cell_free_s[CELLS];
};

static size_t index_at(const struct world *w, int64_t at_unix_s)
{
	return (size_t)((at_unix_s - w->air.start_unix_s) / SEASON_STEP_S);
}

/* A cheap sensor: steady bias, noise, coarse steps, some messages lost. */
static void write_station(struct world *w)
{
	const double usual_bias = season_normal(w->rng, 1.0, 1.5);
	const double rh_bias = w->options.biased ? copysign(3.0, usual_bias - 1.0) : usual_bias;
	const double t_bias = season_normal(w->rng, 0.0, 0.2);
	double missing_s = 0;
	for (int64_t s = 0; s < (int64_t)w->options.days * 86400; s += w->options.station_every_s) {
		const size_t i = (size_t)(s / SEASON_STEP_S);
		if (gsl_rng_uniform(w->rng) < 0.0005)
			missing_s = gsl_ran_exponential(w->rng, 3600.0);
		missing_s -= w->options.station_every_s;
		if (missing_s > 0 || gsl_rng_uniform(w->rng) < 0.01)
			continue;
		const double t = w->air.temp_c[i];
		double rh = 100.0 * w->air.vapour_pa[i] / season_saturation_pa(t) + rh_bias +
			    season_normal(w->rng, 0.0, 0.3);
		rh = fmin(fmax(rh, 1.0), 100.0);
		say(&w->journal, w->air.start_unix_s + s,
		    "\"topic\":\"hill/room\",\"payload\":\"{\\\"t\\\":%.1f,\\\"h\\\":%.1f}\"",
		    t + t_bias + season_normal(w->rng, 0.0, 0.05), rh);
	}
}

static double warp(double value, double lead_h, double sd_per_root_h, gsl_rng *rng, double *state)
{
	*state = *state * 0.85 + season_normal(rng, 0.0, 0.5);
	return value + *state * sd_per_root_h * sqrt(lead_h);
}

static void write_outlooks(struct world *w)
{
	for (int64_t s = 86400; s + 3 * 86400 < (int64_t)w->options.days * 86400; s += 3 * 3600) {
		char time[1200] = "", temp[1200] = "", rh[1200] = "";
		double a = 0.0, b = 0.0;
		for (int h = 0; h < 60; h++) {
			const size_t i = (size_t)((s + h * 3600) / SEASON_STEP_S);
			const double t = warp(w->air.out_temp_c[i], h, 0.22, w->ahead, &a);
			const double e = warp(w->air.out_vapour_pa[i], h, 14.0, w->ahead, &b);
			const double r = 100.0 * e / season_saturation_pa(t);
			const char *comma = h ? "," : "";
			sprintf(time + strlen(time), "%s%lld", comma,
				(long long)(w->air.start_unix_s + s + h * 3600));
			sprintf(temp + strlen(temp), "%s%.1f", comma, t);
			sprintf(rh + strlen(rh), "%s%.0f", comma, fmin(r, 100.0));
		}
		say(&w->journal, w->air.start_unix_s + s + 600,
		    "\"outlook\":{\"hourly\":{\"time\":[%s],\"temperature_2m\":[%s],"
		    "\"relative_humidity_2m\":[%s]}}",
		    time, temp, rh);
	}
}

static int take_cell(struct world *w, int64_t from_s, int64_t until_s)
{
	for (int c = 0; w->options.cells && c < CELLS; c++) {
		if (w->cell_free_s[c] <= from_s) {
			w->cell_free_s[c] = until_s + 7200;
			return c;
		}
	}
	return -1;
}

static double scale_reads(struct world *w, double kg)
{
	return kg * (1.0 + season_normal(w->look, 0.0, w->options.noisy_scale ? 0.02 : 0.01));
}

/* Which hours a load is weighed at, by its pattern; 0 ends the list. */
static const double weigh_hours[4][3] = {{0}, {3.5, 0}, {3.2, 7.0, 0}, {5.5, 9.0, 0}};

static void weigh_when_due(struct world *w, struct season_load *load, double hours, int *next)
{
	if (w->options.no_weighing || *next >= 3)
		return;
	const double due = weigh_hours[load->pattern][*next];
	if (due <= 0.0 || hours < due)
		return;
	double kg = scale_reads(w, season_leaf_weight_kg(&load->leaf));
	/* Drawn in any case, so that the season with and without the fault is the same one. */
	const double wrong = gsl_rng_uniform(w->look) < 0.5 ? 0.92 : 1.08;
	if (w->options.wrong_scale && *next == 0)
		kg *= wrong;
	(*next)++;
	if (kg < load->said_kg)
		say(&w->journal, load->spread_unix_s + (int64_t)(hours * 3600),
		    "\"call\":{\"method\":\"weigh\",\"params\":{\"load\":%d,\"kg\":%.2f}}",
		    load->number, kg);
}

static void read_cell(struct world *w, const struct season_load *load, double tray_kg, int64_t at)
{
	const double share = season_leaf_weight_kg(&load->leaf) / load->leaf.kg;
	say(&w->journal, at, "\"topic\":\"hill/cell%d\",\"payload\":\"%.0f\"", load->cell,
	    1000.0 * tray_kg * share + season_normal(w->look, 0.0, 2.0));
}

static bool may_fix(double hour)
{
	return hour >= 6.5 && hour <= 22.5;
}

static void note_leaf(struct world *w, struct season_load *load, const struct season_leaf *leaf,
		      int64_t s)
{
	const int64_t at = load->spread_unix_s + s;
	const double loss = season_leaf_loss_pct(leaf);
	if (load->past_unix_s == 0 && loss >= latest_pct)
		load->past_unix_s = at;
	if (load->ready_unix_s == 0 && loss >= ready_from_pct)
		load->ready_unix_s = at;
	if (s % NOTE_S == 0)
		fprintf(w->leaf_file, "%d,%lld,%.3f,%.4f\n", load->number, (long long)at, loss,
			season_leaf_weight_kg(leaf));
}

/* What would have become of a load that was fixed: with numbers of its own, so that the season goes
 * on as if nobody had looked. */
static void run_left(struct world *w, struct season_load *load, int64_t from_s)
{
	struct season_leaf leaf = load->leaf;
	gsl_rng *rng = gsl_rng_clone(w->rng);
	for (int64_t s = from_s; s <= FOLLOW_S; s += SEASON_STEP_S) {
		const size_t i = index_at(w, load->spread_unix_s + s);
		if (i + 1 >= w->air.n)
			break;
		if (s > from_s)
			note_leaf(w, load, &leaf, s);
		season_leaf_step(&leaf, w->air.temp_c[i], w->air.vapour_pa[i], rng);
	}
	gsl_rng_free(rng);
}

/* Runs a load to its fixing. */
static void run_load(struct world *w, struct season_load *load)
{
	struct season_leaf *leaf = &load->leaf;
	const double tray_kg = 1.0;
	int next = 0;
	load->ready_unix_s = load->past_unix_s = 0;
	for (int64_t s = 0;; s += SEASON_STEP_S) {
		const int64_t at = load->spread_unix_s + s;
		const size_t i = index_at(w, at);
		const double hours = (double)s / 3600.0;
		if (i + 1 >= w->air.n)
			break;
		weigh_when_due(w, load, hours, &next);
		if (load->cell >= 0 && s % 300 == 60)
			read_cell(w, load, tray_kg, at);
		if (load->number % 3 == 0 && s == 4 * 3600) {
			season_leaf_turn(leaf);
			say(&w->journal, at,
			    "\"call\":{\"method\":\"turn\",\"params\":{\"load\":%d}}",
			    load->number);
		}
		const double loss = season_leaf_loss_pct(leaf);
		note_leaf(w, load, leaf, s);
		const double hour = fmod((double)(at - w->air.start_unix_s) / 3600.0, 24.0);
		if (loss >= aim_pct && may_fix(hour)) {
			load->fix_unix_s = at;
			say(&w->journal, at,
			    "\"call\":{\"method\":\"fix\",\"params\":{\"load\":%d,\"kg\":%.2f}}",
			    load->number,
			    fmin(scale_reads(w, season_leaf_weight_kg(leaf)), load->said_kg));
			run_left(w, load, s);
			return;
		}
		season_leaf_step(leaf, w->air.temp_c[i], w->air.vapour_pa[i], w->rng);
	}
	load->fix_unix_s = 0;
}

static void make_load(struct world *w, int64_t at)
{
	struct season_load *load = &w->loads[w->n_loads];
	const int garden = (int)gsl_rng_uniform_int(w->rng, GARDENS);
	const double density = 0.7 + 0.7 * gsl_rng_uniform(w->rng);
	const double rained = gsl_rng_uniform(w->rng);
	double surface = 0.001;
	*load = (struct season_load){.number = w->n_loads + 1,
				     .garden = garden,
				     .pattern = (int)gsl_rng_uniform_int(w->rng, 4),
				     .spread_unix_s = at,
				     .grade = garden == 4 ? "mixed" : "young",
				     .wet = "none"};
	if (rained < 0.15) {
		load->wet = "damp";
		surface = 0.03 * exp(season_normal(w->rng, 0.0, 0.4));
	} else if (rained < 0.25) {
		load->wet = "wet";
		surface = 0.10 * exp(season_normal(w->rng, 0.0, 0.3));
	}
	load->leaf = (struct season_leaf){
		.kg = 6.0 + 14.0 * gsl_rng_uniform(w->rng),
		.moisture_pct = w->garden_moisture[garden] + season_normal(w->rng, 0.0, 0.8),
		.pace = exp(w->garden_pace[garden] + season_normal(w->rng, 0.0, 0.10)),
		.surface_kg_kg = surface,
		.structure = w->options.structure,
		.stress = w->options.stress};
	load->leaf.area_m2 = round(10.0 * load->leaf.kg / density) / 10.0;
	load->said_kg =
		round(100.0 * load->leaf.kg * (1.0 + season_normal(w->rng, 0.0, 0.004))) / 100.0;
	load->cell = take_cell(w, at, at + 40 * 3600);
	season_leaf_start(&load->leaf, w->rng);
	char scale[40] = "";
	if (load->cell >= 0) {
		snprintf(scale, sizeof(scale), ",\"scale\":\"c%d\"", load->cell);
		read_cell(w, load, 1.0, at - 30);
	}
	say(&w->journal, at,
	    "\"call\":{\"method\":\"spread\",\"params\":{\"origin\":\"%s\",\"kg\":%.2f,"
	    "\"area\":%.1f,\"grade\":\"%s\",\"season\":\"spring\",\"wet\":\"%s\","
	    "\"style\":\"hill\"%s}}",
	    garden_names[garden], load->said_kg, load->leaf.area_m2, load->grade, load->wet, scale);
	w->n_loads++;
	run_load(w, load);
}

static int compare_times(const void *a, const void *b)
{
	const int64_t x = *(const int64_t *)a, y = *(const int64_t *)b;
	return (x > y) - (x < y);
}

static void make_loads(struct world *w)
{
	for (int g = 0; g < GARDENS; g++) {
		w->garden_pace[g] = season_normal(w->rng, -0.05, 0.25);
		w->garden_moisture[g] = season_normal(w->rng, 76.5, 1.2);
	}
	for (int day = LEAD_IN_DAYS; day < w->options.days - 3; day++) {
		int64_t at[3];
		const size_t n = 1 + gsl_rng_uniform_int(w->rng, 3);
		for (size_t k = 0; k < n; k++)
			at[k] = w->air.start_unix_s + day * INT64_C(86400) +
				60 * (int64_t)(60.0 * (9.5 + 7.0 * gsl_rng_uniform(w->rng)));
		qsort(at, n, sizeof(at[0]), compare_times);
		for (size_t k = 0; k < n && w->n_loads < MOST_LOADS; k++)
			make_load(w, at[k]);
	}
}

static FILE *open_in(const char *folder, const char *name)
{
	char path[4096];
	snprintf(path, sizeof(path), "%s/%s", folder, name);
	FILE *file = fopen(path, "w");
	if (file == NULL) {
		fprintf(stderr, "%s cannot be written\n", path);
		exit(1);
	}
	return file;
}

static void write_config(const struct world *w, const char *folder)
{
	FILE *f = open_in(folder, "season.ini");
	fprintf(f,
		"[site]\nname = hill\ntimezone = UTC\naltitude_m = 540\n"
		"[daemon]\ndatabase = %s/season.db\nsocket = %s/season.sock\n"
		"forecast_every_s = %ld\nmembers = 256\nseed = 1\n"
		"[room loft]\n[station loft]\nroom = loft\ntopic = hill/room\n"
		"temp_pointer = /t\nrh_pointer = /h\nexpected_every_s = %d\n",
		folder, folder, w->options.forecast_every_s, w->options.station_every_s);
	for (int c = 0; w->options.cells && c < CELLS; c++)
		fprintf(f, "[scale c%d]\nroom = loft\ntopic = hill/cell%d\nunit = g\n", c, c);
	fprintf(f, "[style hill]\nready_from_loss_pct = 18\naim_loss_pct = 21\n"
		   "latest_loss_pct = 28\nleast_hours = 0\n"
		   "[tray]\narea_m2 = 1\nperforated = yes\n"
		   "[hearth]\nwoks = 2\nwok_kg = 4\nminutes_spring = 20\nminutes_summer = 22\n"
		   "minutes_autumn = 27\nlast_start = 21:30\nfirst_start = 06:30\n");
	fclose(f);
}

static void write_rest(struct world *w, const char *folder)
{
	qsort(w->journal.lines, w->journal.n, sizeof(*w->journal.lines), compare_lines);
	FILE *f = open_in(folder, "journal.jsonl");
	for (size_t i = 0; i < w->journal.n; i++) {
		fputs(w->journal.lines[i].text, f);
		free(w->journal.lines[i].text);
	}
	fclose(f);
	f = open_in(folder, "truth.csv");
	fputs("load,garden,spread_unix_s,ready_unix_s,fix_unix_s,pace,moisture_pct,past_unix_s\n",
	      f);
	for (int i = 0; i < w->n_loads; i++) {
		const struct season_load *l = &w->loads[i];
		fprintf(f, "%d,%s,%lld,%lld,%lld,%.4f,%.2f,%lld\n", l->number,
			garden_names[l->garden], (long long)l->spread_unix_s,
			(long long)l->ready_unix_s, (long long)l->fix_unix_s, l->leaf.pace,
			l->leaf.moisture_pct, (long long)l->past_unix_s);
	}
	fclose(f);
	f = open_in(folder, "air.csv");
	fputs("at_unix_s,temp_c,vapour_pa\n", f);
	for (size_t i = 0; i < w->air.n; i += 5)
		fprintf(f, "%lld,%.3f,%.2f\n",
			(long long)(w->air.start_unix_s + (int64_t)i * SEASON_STEP_S),
			w->air.temp_c[i], w->air.vapour_pa[i]);
	fclose(f);
}

static bool set_option(struct season_options *o, const char *name, long value)
{
	const struct {
		const char *name;
		long *number;
		bool *flag;
	} known[] = {
		{"seed", &o->seed, NULL},
		{"days", &o->days, NULL},
		{"structure", &o->structure, NULL},
		{"wet", &o->wet_climate, NULL},
		{"every", &o->forecast_every_s, NULL},
		{"wrong", NULL, &o->wrong_scale},
		{"cells", NULL, &o->cells},
		{"outlook", NULL, &o->outlook},
		{"unweighed", NULL, &o->no_weighing},
		{"calm", NULL, &o->calm},
		{"biased", NULL, &o->biased},
		{"noisy", NULL, &o->noisy_scale},
		{"stress", NULL, &o->stress},
	};
	for (size_t k = 0; k < sizeof(known) / sizeof(known[0]); k++) {
		if (strcmp(known[k].name, name) != 0)
			continue;
		if (known[k].flag != NULL)
			*known[k].flag = value != 0;
		else
			*known[k].number = value;
		return true;
	}
	return false;
}

static void read_options(int argc, char **argv, struct season_options *o)
{
	for (int i = 2; i < argc; i++) {
		char name[16] = "";
		const char *equals = strchr(argv[i], '=');
		if (equals != NULL && equals - argv[i] < (long)sizeof(name))
			memcpy(name, argv[i], (size_t)(equals - argv[i]));
		if (equals == NULL || !set_option(o, name, strtol(equals + 1, NULL, 10))) {
			fprintf(stderr,
				"make_season: '%s' is not one of seed= days= structure= wet= "
				"wrong= cells= outlook= unweighed= every= calm= biased= noisy= "
				"stress=\n",
				argv[i]);
			exit(2);
		}
	}
}

int main(int argc, char **argv)
{
	static struct world w;
	w.options = (struct season_options){
		.seed = 1, .days = 40, .station_every_s = 300, .forecast_every_s = 1800};
	if (argc < 2) {
		fputs("usage: make_season FOLDER [seed=N] [days=N] ...\n", stderr);
		return 2;
	}
	read_options(argc, argv, &w.options);
	w.rng = gsl_rng_alloc(gsl_rng_mt19937);
	gsl_rng_set(w.rng, (unsigned long)w.options.seed);
	w.look = gsl_rng_alloc(gsl_rng_mt19937);
	gsl_rng_set(w.look, (unsigned long)w.options.seed + 1000003);
	w.ahead = gsl_rng_alloc(gsl_rng_mt19937);
	gsl_rng_set(w.ahead, (unsigned long)w.options.seed + 2000003);
	season_make_air(&w.options, w.rng, INT64_C(1774915200), &w.air);
	write_station(&w);
	if (w.options.outlook)
		write_outlooks(&w);
	w.leaf_file = open_in(argv[1], "leaf.csv");
	fputs("load,at_unix_s,loss_pct,kg\n", w.leaf_file);
	make_loads(&w);
	fclose(w.leaf_file);
	write_config(&w, argv[1]);
	write_rest(&w, argv[1]);
	free(w.journal.lines);
	season_free_air(&w.air);
	gsl_rng_free(w.ahead);
	gsl_rng_free(w.look);
	gsl_rng_free(w.rng);
	return 0;
}
