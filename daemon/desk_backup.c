/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * A copy of the database while it runs, a part a turn.
 */
#include <stdlib.h>
#include <string.h>

#include "daemon/log.h"
#include "daemon/service_inner.h"

/* A copy to a slow stick takes its time, our choice. */
#define PATIENCE_S 1800.0

struct copy {
	struct wt_question question;
	struct wt_store_backup *backup;
	char *path;
	bool begun, done;
	int64_t bytes;
	char text[400];
};

static bool work(struct wt_question *question, struct wt_store *store)
{
	struct copy *copy = (struct copy *)question;
	if (!copy->begun) {
		question->result = wt_store_backup_start(store, copy->path, &copy->backup,
							 copy->text, sizeof copy->text);
		copy->begun = question->result == WT_STORE_OK;
		return copy->begun;
	}
	question->result = wt_store_backup_step(&copy->backup, &copy->done, &copy->bytes,
						copy->text, sizeof copy->text);
	return question->result == WT_STORE_OK && !copy->done;
}

static bool done(struct wt_question *question)
{
	struct copy *copy = (struct copy *)question;
	struct wt_refusal refusal = {0};
	json_t *result = NULL;
	if (copy->done) {
		wt_log(WT_LOG_NOTICE, "backup written to %s", copy->path);
		result = json_pack("{s:s,s:I}", "file", copy->path, "bytes",
				   (json_int_t)copy->bytes);
	} else {
		if (copy->begun)
			wt_log(WT_LOG_WARNING, "backup: %s", copy->text);
		wt_rpc_refuse(&refusal, copy->begun ? WT_RPC_TRY_AGAIN : WT_RPC_BAD_PARAM, "%s",
			      copy->text);
	}
	if (question->ticket)
		wt_desk_answer(question->service, &question->ticket, result, &refusal);
	else
		json_decref(result);
	return false;
}

static void clear(struct wt_question *question)
{
	struct copy *copy = (struct copy *)question;
	wt_store_backup_cancel(&copy->backup);
	question->service->copying = NULL;
	free(copy->path);
}

void wt_desk_backup(struct wt_service *service, struct wt_control_ticket **ticket,
		    const json_t *params)
{
	static const char *const known[] = {"file", NULL};
	struct wt_refusal refusal = {0};
	const char *file = NULL;
	struct copy *copy = NULL;
	if (!wt_rpc_check_names(params, known, &refusal) ||
	    !wt_rpc_get_text(params, "file", 3000, true, &file, &refusal))
		goto refused;
	if (service->copying) {
		wt_rpc_refuse(&refusal, WT_RPC_TRY_AGAIN, "a backup to '%s' is being written",
			      service->copying);
		goto refused;
	}
	copy = calloc(1, sizeof *copy);
	if (!copy || !(copy->path = strdup(file))) {
		free(copy);
		wt_rpc_refuse(&refusal, WT_RPC_FAULT, "out of memory");
		goto refused;
	}
	copy->question = (struct wt_question){.work = work, .done = done, .clear = clear};
	/* What waits belongs into the copy. */
	wt_service_took_rows(service, true);
	service->copying = copy->path;
	wt_desk_put_question(service, &copy->question, ticket, PATIENCE_S);
	return;
refused:
	wt_control_refuse(ticket, &refusal);
}
