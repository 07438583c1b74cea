/* SPDX-License-Identifier: GPL-3.0-or-later */
#include <getopt.h>
#include <gsl/gsl_errno.h>
#include <locale.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <time.h>

#include "daemon/calibrate.h"
#include "daemon/config.h"
#include "daemon/log.h"
#include "daemon/replay.h"
#include "daemon/service.h"
#include "daemon/version.h"
#include "lib/wire/timefmt.h"

/* sysexits.h: something was found in an unconfigured or misconfigured state. */
#define EXIT_CONFIG 78
#define EXIT_USAGE 2

struct choices {
	const char *config, *replay, *socket, *frozen_at;
	bool check, calibrate;
	int verbosity;
};

enum { OPT_CONFIG = 256, OPT_CHECK, OPT_REPLAY, OPT_FROZEN, OPT_SOCKET, OPT_DEBUG, OPT_CALIBRATE };

static const struct option options[] = {
	{"config", required_argument, NULL, OPT_CONFIG},
	{"check", no_argument, NULL, OPT_CHECK},
	{"replay", required_argument, NULL, OPT_REPLAY},
	{"calibrate", no_argument, NULL, OPT_CALIBRATE},
	{"frozen-at", required_argument, NULL, OPT_FROZEN},
	{"socket", required_argument, NULL, OPT_SOCKET},
	{"debug", no_argument, NULL, OPT_DEBUG},
	{"version", no_argument, NULL, 'V'},
	{"help", no_argument, NULL, 'h'},
	{NULL, 0, NULL, 0},
};

static const char usage[] =
	"usage: witherd --config FILE [--socket PATH]\n"
	"       witherd --config FILE --check              exit 0 when it is fine, else 78\n"
	"       witherd --config FILE --replay JOURNAL     plays a journal into a new database\n"
	"               [--calibrate]   and tells how its bands held, and what would be right\n"
	"       witherd --config FILE --frozen-at TIME     answers as of TIME, takes nothing in\n"
	"       witherd --version | --help\n"
	"TIME is RFC 3339 (2026-04-07T16:05:00Z) or unix seconds.  --debug logs more.\n"
	"The daemon runs in the foreground, logs to standard error, stops on SIGTERM and reads "
	"its\n"
	"configuration again on SIGHUP.\n";

static int usage_fault(const char *sentence, const char *given)
{
	fprintf(stderr, "witherd: %s", sentence);
	if (given)
		fprintf(stderr, ", not '%s'", given);
	fprintf(stderr, "\n%s", usage);
	return EXIT_USAGE;
}

/* -1: go on; else the exit status. */
static int read_options(int argc, char **argv, struct choices *out)
{
	int option;
	while ((option = getopt_long(argc, argv, "hV", options, NULL)) != -1) {
		switch (option) {
		case OPT_CONFIG:
			out->config = optarg;
			break;
		case OPT_CHECK:
			out->check = true;
			break;
		case OPT_CALIBRATE:
			out->calibrate = true;
			break;
		case OPT_REPLAY:
			out->replay = optarg;
			break;
		case OPT_FROZEN:
			out->frozen_at = optarg;
			break;
		case OPT_SOCKET:
			out->socket = optarg;
			break;
		case OPT_DEBUG:
			out->verbosity = WT_LOG_DEBUG;
			break;
		case 'V':
			printf("witherd %s\n", wt_daemon_version());
			return EXIT_SUCCESS;
		case 'h':
			fputs(usage, stdout);
			return EXIT_SUCCESS;
		default:
			fputs(usage, stderr);
			return EXIT_USAGE;
		}
	}
	if (optind < argc)
		return usage_fault("there is nothing beside the options", argv[optind]);
	if (!out->config)
		return usage_fault("--config FILE is missing", NULL);
	if (out->check + (out->replay != NULL) + (out->frozen_at != NULL) > 1)
		return usage_fault("--check, --replay and --frozen-at go one at a time", NULL);
	if (out->calibrate && !out->replay)
		return usage_fault("--calibrate goes with --replay JOURNAL", NULL);
	return -1;
}

static bool parse_time(const char *text, int64_t *unix_ms)
{
	char *end;
	double unix_s = strtod(text, &end);
	if (end != text && *end == '\0') {
		if (!(unix_s >= 0.0 && unix_s <= (double)WT_TIMEFMT_LAST_UNIX_S))
			return false;
		*unix_ms = (int64_t)(unix_s * 1000.0 + 0.5);
		return true;
	}
	return wt_timefmt_rfc3339(text, unix_ms) == WT_OK;
}

static int replay(struct wt_config *config, const char *journal, bool calibrate)
{
	struct wt_store *store = NULL;
	char text[512];
	bool set_aside = false;
	if (!wt_config_take_zone(config)) {
		wt_log(WT_LOG_ERR, "out of memory");
		return EXIT_FAILURE;
	}
	if (wt_store_open(config->database, &store, &set_aside, text, sizeof text) != WT_STORE_OK) {
		wt_log(WT_LOG_ERR, "%s", text);
		return EXIT_FAILURE;
	}
	if (set_aside)
		wt_log(WT_LOG_ERR, "%s", text);
	int status = wt_replay_run(config, store, journal);
	if (status == 0 && calibrate && wt_calibrate_store(store, stdout) != 0) {
		wt_log(WT_LOG_ERR, "%s", wt_store_error(store));
		status = EXIT_FAILURE;
	}
	wt_store_close(&store);
	return status;
}

/* What the configuration names on this machine; all that is wrong is told at once. */
static bool all_there(const struct wt_config *config)
{
	bool group = wt_config_group_check(config, stderr);
	bool certificates = wt_config_certificates_check(config, stderr);
	return wt_config_secrets_check(config, stderr) && group && certificates;
}

int main(int argc, char **argv)
{
	struct choices choices = {.verbosity = WT_LOG_INFO};
	struct wt_config *config = NULL;
	struct wt_service_setup setup = {0};
	int status = read_options(argc, argv, &choices);
	if (status >= 0)
		return status;
	setlocale(LC_CTYPE, "");
	umask(0027);
	/* GSL ends the process on an error unless told otherwise; its results are checked. */
	gsl_set_error_handler_off();
	wt_log_open((enum wt_log_level)choices.verbosity);
	if (choices.frozen_at && !parse_time(choices.frozen_at, &setup.frozen_unix_ms))
		return usage_fault("--frozen-at must be RFC 3339 or unix seconds",
				   choices.frozen_at);
	if (wt_config_read(choices.config, stderr, &config) != 0)
		return EXIT_CONFIG;
	if (choices.check && !all_there(config)) {
		status = EXIT_CONFIG;
	} else if (choices.check) {
		printf("%s: fine: %zu rooms, %zu stations\n", choices.config, config->n_rooms,
		       config->n_stations);
		status = EXIT_SUCCESS;
	} else if (choices.replay) {
		status = replay(config, choices.replay, choices.calibrate);
	} else if (!wt_config_group_check(config, stderr)) {
		status = EXIT_CONFIG;
	} else {
		setup.config_path = choices.config;
		setup.socket_path = choices.socket;
		setup.frozen = choices.frozen_at != NULL;
		return wt_service_run(&setup, config);
	}
	wt_config_free(&config);
	return status;
}
