/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * Hundreds of rooms on one daemon: all that is done in a five-minute period, from the payloads of
 * the stations to the rows on disk, by the engine that live running and replay share.
 *
 * usage: county [ROOMS ...]
 * Each room has one station at one reading a minute and four open loads.  Processor time of the
 * whole process, so that a busy machine counts little; an hour of periods, since some of the work
 * is done once an hour.  The limit is our choice: a tenth of one core.
 */
#include <errno.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/resource.h>
#include <sys/stat.h>
#include <time.h>
#include <unistd.h>

#include "daemon/engine.h"
#include "lib/wire/rpc.h"

#define START_UNIX_S INT64_C(1774915200) /* a midnight, UTC */
#define PERIOD_S 300
#define HISTORY_S (4 * 86400)
#define LOADS_A_ROOM 4
#define PERIODS 12
#define LIMIT_S 30.0

struct county {
	int rooms;
	struct wt_config *config;
	struct wt_store *store;
	struct wt_engine *engine;
	bool forecasting;
	size_t ticks;
	char folder[64];
};

static void die(const char *what)
{
	fprintf(stderr, "county: %s\n", what);
	exit(2);
}

static double processor_s(void)
{
	struct rusage use;
	getrusage(RUSAGE_SELF, &use);
	return (double)(use.ru_utime.tv_sec + use.ru_stime.tv_sec) +
	       1e-6 * (double)(use.ru_utime.tv_usec + use.ru_stime.tv_usec);
}

static void run_tick(void *context, struct wt_job *job, int64_t tick_unix_s)
{
	struct county *county = context;
	if (!county->forecasting) {
		wt_job_free(&job);
		return;
	}
	wt_job_run(job);
	wt_engine_adopt(county->engine, &job, tick_unix_s);
	county->ticks++;
}

static void open_county(struct county *county)
{
	char *text = NULL, why[512];
	size_t size = 0;
	bool aside = false;
	FILE *out = open_memstream(&text, &size);
	strcpy(county->folder, "/tmp/wither-county.XXXXXX");
	if (!out || !mkdtemp(county->folder))
		die(strerror(errno));
	fprintf(out,
		"[site]\nname=invented\ntimezone=UTC\naltitude_m=600\n"
		"[daemon]\ndatabase=%s/county.db\nsocket=%s/county.sock\nforecast_every_s=%d\n"
		"members=1024\nseed=1\n"
		"[tray]\narea_m2=1\nperforated=yes\n"
		"[hearth]\nwoks=3\nwok_kg=4\nminutes_spring=20\nminutes_summer=22\n"
		"minutes_autumn=27\nlast_start=22:30\nfirst_start=05:30\n",
		county->folder, county->folder, PERIOD_S);
	for (int r = 0; r < county->rooms; r++)
		fprintf(out,
			"[room r%d]\n[station s%d]\nroom=r%d\ntopic=made/%d\ntemp_pointer=/t\n"
			"rh_pointer=/h\nexpected_every_s=60\n",
			r, r, r, r);
	fclose(out);
	if (wt_config_parse("county", text, size, stderr, &county->config) != 0)
		die("the configuration is not taken");
	free(text);
	if (wt_store_open(county->config->database, &county->store, &aside, why, sizeof why) !=
	    WT_STORE_OK)
		die(why);
	struct wt_engine_setup setup = {.config = county->config,
					.store = county->store,
					.replay = true,
					.tick = run_tick,
					.context = county};
	county->engine = wt_engine_new(&setup);
	if (!county->engine)
		die("out of memory");
}

static void close_county(struct county *county)
{
	char path[128];
	wt_engine_free(&county->engine);
	wt_store_close(&county->store);
	wt_config_free(&county->config);
	for (int i = 0; i < 3; i++) {
		static const char *const ends[] = {"", "-wal", "-shm"};
		snprintf(path, sizeof path, "%s/county.db%s", county->folder, ends[i]);
		unlink(path);
	}
	rmdir(county->folder);
}

/* One reading of every room: a daily wave, a little different from room to room. */
static void read_all(struct county *county, int64_t at_unix_s)
{
	char topic[32], payload[64];
	double day = 2.0 * M_PI * (double)((at_unix_s - START_UNIX_S) % 86400) / 86400.0;
	for (int r = 0; r < county->rooms; r++) {
		double odd = sin(0.7 * r + (double)(at_unix_s / 60 % 97));
		double temp_c = 19.0 - 4.0 * cos(day - 0.8) + 0.01 * r + 0.2 * odd;
		double rh_pct = 65.0 + 12.0 * cos(day - 0.8) - 0.8 * odd;
		snprintf(topic, sizeof topic, "made/%d", r);
		int n = snprintf(payload, sizeof payload, "{\"t\":%.2f,\"h\":%.1f}", temp_c,
				 rh_pct);
		struct wt_message message = {.at_unix_ms = at_unix_s * 1000 + 500,
					     .topic = topic,
					     .payload = payload,
					     .length = (size_t)n};
		wt_engine_message(county->engine, &message);
	}
}

static void act(struct county *county, int64_t at_unix_s, const char *method, json_t *params)
{
	json_t *result = NULL;
	struct wt_refusal refusal = {0};
	if (!wt_engine_call(county->engine, at_unix_s * 1000 + 600, method, params, &result,
			    &refusal))
		die(refusal.text);
	json_decref(result);
	json_decref(params);
}

/* Load n of each room, spread at that time. */
static void spread_all(struct county *county, int n, int64_t at_unix_s)
{
	char room[16], origin[16];
	for (int r = 0; r < county->rooms; r++) {
		double kg = 6.0 + (double)((r * 7 + n * 3) % 8);
		snprintf(room, sizeof room, "r%d", r);
		snprintf(origin, sizeof origin, "g%d", (r + n) % 40);
		act(county, at_unix_s, "spread",
		    json_pack("{s:s,s:s,s:f,s:f}", "origin", origin, "room", room, "kg", kg, "area",
			      kg / 1.1));
	}
}

/* One weighing of each load of a room. */
static void weigh_all(struct county *county, int64_t at_unix_s)
{
	for (int l = 0; l < county->rooms * LOADS_A_ROOM; l++) {
		int n = l / county->rooms, r = l % county->rooms;
		double kg = 6.0 + (double)((r * 7 + n * 3) % 8);
		act(county, at_unix_s, "weigh",
		    json_pack("{s:i,s:f}", "load", l + 1, "kg", kg * (0.93 + 0.01 * n)));
	}
}

static double one_size(int rooms)
{
	struct county county = {.rooms = rooms};
	struct rusage use;
	double most_s = 0.0, sum_s = 0.0;
	open_county(&county);
	int64_t now = START_UNIX_S, noon = START_UNIX_S + HISTORY_S + 12 * 3600;
	for (; now < noon; now += PERIOD_S) {
		int64_t since = now - (noon - 6 * 3600);
		if (since >= 0 && since % 3600 == 0 && since / 3600 < LOADS_A_ROOM)
			spread_all(&county, (int)(since / 3600), now - 1);
		read_all(&county, now);
	}
	weigh_all(&county, now - 120);
	if (wt_engine_commit(county.engine, true) != WT_STORE_OK)
		die(wt_store_error(county.store));
	/* The first forecast learns all rooms and all weighings: no usual period. */
	county.forecasting = true;
	double began = processor_s();
	for (int p = 0; p <= PERIODS; p++) {
		for (int minute = 0; minute < 5; minute++, now += 60)
			read_all(&county, now);
		wt_engine_advance(county.engine, now * 1000 + 1);
		if (wt_engine_commit(county.engine, true) != WT_STORE_OK)
			die(wt_store_error(county.store));
		double s = processor_s() - began;
		began += s;
		if (p == 0) {
			printf("%5d %6d %8.2f", rooms, rooms * LOADS_A_ROOM, s);
			continue;
		}
		most_s = s > most_s ? s : most_s;
		sum_s += s;
	}
	getrusage(RUSAGE_SELF, &use);
	printf(" %8.2f %8.2f %8.1f %9.1f %8ld\n", sum_s / PERIODS, most_s,
	       100.0 * sum_s / PERIODS / PERIOD_S, 1e3 * sum_s / PERIODS / (rooms * LOADS_A_ROOM),
	       use.ru_maxrss / 1024);
	fflush(stdout);
	if (county.ticks < PERIODS)
		die("the ticks did not come");
	close_county(&county);
	return most_s;
}

int main(int argc, char **argv)
{
	static const int usual[] = {62, 125, 250, 500};
	double most_s = 0.0;
	printf("processor time of a period of 5 min, s\n"
	       "rooms  loads    first     mean     most   %% core ms a load  MiB most\n");
	for (int i = 0; i < (argc > 1 ? argc - 1 : 4); i++)
		most_s = one_size(argc > 1 ? atoi(argv[i + 1]) : usual[i]);
	printf("the last one's longest period %.1f s, limit %.0f s: ratio %.2f\n", most_s, LIMIT_S,
	       most_s / LIMIT_S);
	return most_s <= LIMIT_S ? 0 : 1;
}
