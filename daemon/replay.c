/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "daemon/replay.h"

#include <errno.h>
#include <malloc.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "daemon/engine.h"
#include "daemon/log.h"
#include "lib/wire/journal.h"
#include "lib/wire/rpc.h"

struct replay {
	struct wt_engine *engine;
	const char *path;
	size_t line_number;
	int64_t at_unix_ms;
	bool any;
	size_t n_messages, n_calls, n_refused, n_outlooks, n_untaken, n_ticks;
};

static void run_tick(void *context, struct wt_job *job, int64_t tick_unix_s)
{
	struct replay *replay = context;
	wt_job_run(job);
	/* As the live daemon does now and then. */
	if (tick_unix_s % 86400 == 0)
		(void)malloc_trim(0);
	wt_engine_adopt(replay->engine, &job, tick_unix_s);
	replay->n_ticks++;
}

static void play_call(struct replay *replay, const struct wt_journal_entry *entry)
{
	json_t *result = NULL;
	struct wt_refusal refusal = {0};
	replay->n_calls++;
	if (!wt_site_is_act(entry->method))
		wt_rpc_refuse(
			&refusal, WT_RPC_NO_METHOD,
			"'%s' is not an act; a journal holds acts only: spread, weigh, feel, turn, "
			"fix, yield, drop, undo, style, salt",
			entry->method);
	else if (wt_engine_call(replay->engine, entry->at_unix_ms, entry->method, entry->params,
				&result, &refusal)) {
		json_decref(result);
		return;
	}
	replay->n_refused++;
	wt_log(WT_LOG_WARNING, "%s:%zu: %s refused: %s", replay->path, replay->line_number,
	       entry->method, refusal.text);
}

static void play(struct replay *replay, const struct wt_journal_entry *entry)
{
	char why[512];
	struct wt_message message = {
		.at_unix_ms = entry->at_unix_ms,
		.topic = entry->topic,
		.payload = entry->payload,
		.length = entry->payload_length,
		.retained = entry->retained,
	};
	switch (entry->kind) {
	case WT_JOURNAL_MESSAGE:
		replay->n_messages++;
		wt_engine_message(replay->engine, &message);
		break;
	case WT_JOURNAL_CALL:
		play_call(replay, entry);
		break;
	case WT_JOURNAL_OUTLOOK:
		replay->n_outlooks++;
		if (!wt_engine_outlook(replay->engine, entry->at_unix_ms, entry->document, why,
				       sizeof why)) {
			replay->n_untaken++;
			wt_log(WT_LOG_WARNING, "%s:%zu: the outlook is not taken: %s", replay->path,
			       replay->line_number, why);
		}
		break;
	}
}

static bool blank(const char *line, size_t length)
{
	return strspn(line, " \t\r\n") == length;
}

/* false ends the replay. */
static bool play_line(struct replay *replay, const char *line, size_t length)
{
	struct wt_journal_entry entry = {0};
	struct wt_spool_facts facts;
	char why[512];
	if (blank(line, length))
		return true;
	if (!wt_journal_parse(line, length, &entry, why, sizeof why)) {
		wt_log(WT_LOG_ERR, "%s:%zu: %s", replay->path, replay->line_number, why);
		return false;
	}
	bool fine = !replay->any || entry.at_unix_ms >= replay->at_unix_ms;
	if (!fine)
		wt_log(WT_LOG_ERR,
		       "%s:%zu: 'at' %.3f is before %.3f of an earlier line; times may not "
		       "decrease",
		       replay->path, replay->line_number, (double)entry.at_unix_ms / 1e3,
		       (double)replay->at_unix_ms / 1e3);
	else {
		replay->any = true;
		replay->at_unix_ms = entry.at_unix_ms;
		play(replay, &entry);
	}
	wt_journal_clear(&entry);
	wt_engine_spool_facts(replay->engine, &facts);
	if (facts.state != WT_STORE_OK || facts.dropped) {
		wt_log(WT_LOG_ERR, "%s:%zu: the database does not take it", replay->path,
		       replay->line_number);
		return false;
	}
	return fine;
}

static bool play_file(struct replay *replay, FILE *file)
{
	char *line = NULL;
	size_t capacity = 0;
	ssize_t length;
	bool fine = true;
	while (fine && (length = getline(&line, &capacity, file)) >= 0) {
		replay->line_number++;
		fine = play_line(replay, line, (size_t)length);
	}
	if (fine && ferror(file)) {
		wt_log(WT_LOG_ERR, "%s: cannot be read: %s", replay->path, strerror(errno));
		fine = false;
	}
	free(line);
	/* The tick that falls on the last entry counts it. */
	if (fine && replay->any)
		wt_engine_advance(replay->engine, replay->at_unix_ms + 1);
	return fine;
}

int wt_replay_run(const struct wt_config *config, struct wt_store *store, const char *path)
{
	struct replay replay = {.path = path};
	int status = 1;
	if (!wt_store_is_empty(store)) {
		wt_log(WT_LOG_ERR,
		       "the database %s holds data already; a replay wants a new one, so that the "
		       "same "
		       "journal always gives the same database",
		       config->database);
		return 1;
	}
	FILE *file = strcmp(path, "-") == 0 ? stdin : fopen(path, "re");
	if (!file) {
		wt_log(WT_LOG_ERR, "the journal '%s' cannot be read: %s", path, strerror(errno));
		return 1;
	}
	struct wt_engine_setup setup = {.config = config,
					.store = store,
					.replay = true,
					.tick = run_tick,
					.context = &replay};
	replay.engine = wt_engine_new(&setup);
	if (!replay.engine) {
		wt_log(WT_LOG_ERR, "out of memory");
		goto out;
	}
	if (play_file(&replay, file))
		status = 0;
	/* What was played up to a bad line stays, as a look at where it went wrong. */
	if (wt_engine_commit(replay.engine, true) != WT_STORE_OK) {
		wt_log(WT_LOG_ERR, "%s", wt_store_error(store));
		status = 1;
	}
	wt_log(WT_LOG_INFO,
	       "replayed %zu messages, %zu acts (%zu refused), %zu outlooks (%zu not taken); "
	       "%zu forecasts",
	       replay.n_messages, replay.n_calls, replay.n_refused, replay.n_outlooks,
	       replay.n_untaken, replay.n_ticks);
out:
	wt_engine_free(&replay.engine);
	if (file != stdin)
		fclose(file);
	return status;
}
