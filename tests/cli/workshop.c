/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "tests/cli/workshop.h"

#include <jansson.h>
#include <math.h>
#include <poll.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

static bool write_config(const struct workshop *workshop)
{
	FILE *file = fopen(workshop->config, "w");

	if (!file)
		return false;
	fprintf(file,
		"[site]\nname = Mill house\ntimezone = Asia/Shanghai\naltitude_m = 400\n"
		"[daemon]\ndatabase = %s/store.db\nsocket = %s\nforecast_every_s = 3600\n"
		"members = 256\nseed = 7\n",
		workshop->folder, workshop->socket);
	if (workshop->port)
		fprintf(file, "[broker]\nhost = 127.0.0.1\nport = %d\n", workshop->port);
	fputs("[room hall]\n[station loft]\nroom = hall\ntopic = sheds/loft\ntemp_pointer = /t\n"
	      "rh_pointer = /h\nexpected_every_s = 300\n[tray]\narea_m2 = 0.9\n"
	      "[hearth]\nwoks = 2\nwok_kg = 5\nminutes_spring = 20\nlast_start = 23:30\n"
	      "first_start = 06:00\n",
	      file);
	return fclose(file) == 0;
}

static bool make_folder(struct workshop *out)
{
	memset(out, 0, sizeof *out);
	strcpy(out->folder, "/tmp/wither-cli.XXXXXX");
	if (!mkdtemp(out->folder))
		return false;
	snprintf(out->socket, sizeof out->socket, "%s/s", out->folder);
	snprintf(out->config, sizeof out->config, "%s/w.conf", out->folder);
	snprintf(out->log, sizeof out->log, "%s/log", out->folder);
	return true;
}

static void write_reading(FILE *file, int64_t at_unix_s)
{
	double phase = 2 * M_PI * (double)((at_unix_s + 8 * 3600 - 15 * 3600) % 86400) / 86400.0;
	double temp_c = 17.5 + 4 * cos(phase), rh_pct = 68 - 14 * cos(phase);

	/* An afternoon shower on the last day. */
	if (at_unix_s > WORKSHOP_NOW - 3 * 3600)
		rh_pct = fmin(rh_pct + 15, 96);
	fprintf(file,
		"{\"at\":%lld,\"topic\":\"sheds/"
		"loft\",\"payload\":\"{\\\"t\\\":%.2f,\\\"h\\\":%.1f}\"}\n",
		(long long)at_unix_s, temp_c, rh_pct);
}

/* Loads come in one after the other through the last eleven hours. */
static void write_loads(FILE *file, int64_t at_unix_s, int64_t step_s, int loads)
{
	static const char *const gardens[] = {"creek", "old dike",
					      "ridge garden of the upper terrace", "上坡老茶园",
					      "mill slope"};

	for (int i = 0; i < loads; i++) {
		int64_t spread =
			WORKSHOP_NOW - 11 * 3600 + (int64_t)i * 9 * 3600 / (loads ? loads : 1);

		if (spread >= at_unix_s && spread < at_unix_s + step_s)
			fprintf(file,
				"{\"at\":%lld,\"call\":{\"method\":\"spread\",\"params\":{"
				"\"origin\":"
				"\"%s\",\"kg\":%.1f,\"area\":%.1f,\"wet\":\"%s\"}}}\n",
				(long long)at_unix_s, gardens[i % 5], 6.0 + i % 7, 2.0 + i % 4,
				i % 3 == 2 ? "damp" : "none");
	}
	if (loads > 0 && WORKSHOP_NOW - 5400 >= at_unix_s &&
	    WORKSHOP_NOW - 5400 < at_unix_s + step_s)
		fprintf(file,
			"{\"at\":%lld,\"call\":{\"method\":\"weigh\",\"params\":{\"load\":1,\"kg\":"
			"5.1}}}\n",
			(long long)at_unix_s);
}

static bool write_journal(const char *path, int loads)
{
	FILE *file = fopen(path, "w");
	const int64_t step_s = 300;

	if (!file)
		return false;
	for (int64_t at = WORKSHOP_NOW - 2 * 86400; at <= WORKSHOP_NOW; at += step_s) {
		write_reading(file, at);
		write_loads(file, at, step_s, loads);
	}
	return fclose(file) == 0;
}

static bool say_log(const struct workshop *workshop, const char *what)
{
	char line[512];
	FILE *file = fopen(workshop->log, "r");

	fprintf(stderr, "%s failed\n", what);
	while (file && fgets(line, sizeof line, file))
		fputs(line, stderr);
	if (file)
		fclose(file);
	return false;
}

bool workshop_frozen(struct workshop *out, int loads)
{
	char journal[96], line[512];
	struct run run;

	if (!make_folder(out) || !write_config(out))
		return false;
	snprintf(journal, sizeof journal, "%s/journal", out->folder);
	if (!write_journal(journal, loads))
		return false;
	snprintf(line, sizeof line, "witherd --config %s --replay %s", out->config, journal);
	run_line(line, NULL, &run);
	if (run.code != 0) {
		fprintf(stderr, "replay: %d %s\n", run.code, run.err);
		run_clear(&run);
		return false;
	}
	run_clear(&run);
	snprintf(line, sizeof line, "witherd --config %s --frozen-at %lld", out->config,
		 (long long)WORKSHOP_NOW);
	out->daemon = daemon_start(line, out->log);
	return daemon_listens(out->daemon, out->socket) || say_log(out, "the frozen daemon");
}

bool workshop_live(struct workshop *out)
{
	char path[96], line[256];
	FILE *file;

	if (!make_folder(out))
		return false;
	out->port = free_port();
	snprintf(path, sizeof path, "%s/broker.conf", out->folder);
	file = fopen(path, "w");
	if (!file || !write_config(out))
		return false;
	fprintf(file, "listener %d 127.0.0.1\nallow_anonymous true\npersistence false\n",
		out->port);
	fclose(file);
	snprintf(line, sizeof line, "mosquitto -c %s", path);
	out->broker = daemon_start(line, out->log);
	if (!port_listens(out->broker, out->port))
		return say_log(out, "the broker");
	snprintf(line, sizeof line, "witherd --config %s", out->config);
	out->daemon = daemon_start(line, out->log);
	return daemon_listens(out->daemon, out->socket) || say_log(out, "the live daemon");
}

static long long readings_known(const struct workshop *workshop)
{
	char line[256];
	struct run run;
	json_t *document;
	long long n;

	snprintf(line, sizeof line, "wither --socket %s stations --json", workshop->socket);
	run_line(line, NULL, &run);
	document = json_loads(run.out, 0, NULL);
	n = json_integer_value(json_object_get(
		json_array_get(json_object_get(document, "stations"), 0), "readings"));
	json_decref(document);
	run_clear(&run);
	return n;
}

bool workshop_reading(const struct workshop *workshop, double temp_c, double rh_pct)
{
	char line[256];
	long long before = readings_known(workshop);
	struct run run;

	/* Until the daemon has subscribed, what is sent is lost: it is sent again. */
	for (int i = 0; i < 200; i++) {
		snprintf(line, sizeof line,
			 "mosquitto_pub -h 127.0.0.1 -p %d -q 1 -t sheds/loft -m "
			 "'{\"t\":%.2f,\"h\":%.1f}'",
			 workshop->port, temp_c, rh_pct);
		run_line(line, NULL, &run);
		run_clear(&run);
		if (readings_known(workshop) > before)
			return true;
		poll(NULL, 0, 20);
	}
	return say_log(workshop, "sending a reading");
}

void workshop_close(struct workshop *workshop)
{
	char line[128];
	struct run run;

	if (workshop->daemon > 0)
		daemon_stop(workshop->daemon);
	if (workshop->broker > 0)
		daemon_stop(workshop->broker);
	if (*workshop->folder) {
		snprintf(line, sizeof line, "rm -rf %s", workshop->folder);
		run_line(line, NULL, &run);
		run_clear(&run);
	}
	memset(workshop, 0, sizeof *workshop);
}
