/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * Acts: one after the other, each checked against what the one before left, and confirmed when it
 * is on disk.
 */
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "daemon/service_inner.h"

/* How long the maker waits for the disk before he is told that it does not answer, our choice: well
 * within what `wither` waits for an answer. */
#define PATIENCE_S 6.0

struct wt_desk_act {
	struct wt_desk_act *next;
	struct wt_service *service;
	struct wt_control_ticket *ticket; /* NULL: answered already */
	char *method;
	json_t *params;
	double until_s; /* monotonic */
};

static void act_free(struct wt_desk_act *act)
{
	free(act->method);
	json_decref(act->params);
	free(act);
}

static void start_next(struct wt_service *service);

static void act_done(void *context, json_t *result, const struct wt_refusal *refusal)
{
	struct wt_desk_act *act = context;
	struct wt_service *service = act->service;
	bool noted = result != NULL;
	service->acting = NULL;
	if (act->ticket)
		wt_desk_answer(service, &act->ticket, result, refusal);
	else
		json_decref(result);
	act_free(act);
	if (noted)
		wt_service_start_display(service);
	start_next(service);
	/* Messages were held back meanwhile. */
	if (!service->acting && service->feed)
		wt_feed_remind(service->feed);
}

static void start_next(struct wt_service *service)
{
	while (!service->acting && service->acts) {
		struct wt_desk_act *act = service->acts;
		service->acts = act->next;
		service->acting = act;
		wt_engine_begin_call(service->engine, wt_service_now_ms(service), act->method,
				     act->params, act_done, act);
	}
}

void wt_desk_act(struct wt_service *service, struct wt_control_ticket **ticket, const char *method,
		 const json_t *params)
{
	struct wt_desk_act *act = calloc(1, sizeof *act), **last = &service->acts;
	struct wt_refusal refusal = {0};
	char *name = strdup(method);
	json_t *copy = json_deep_copy(params);
	if (!act || !name || (params && !copy)) {
		free(act);
		free(name);
		json_decref(copy);
		wt_rpc_refuse(&refusal, WT_RPC_TRY_AGAIN, "not noted, try again: out of memory");
		wt_control_refuse(ticket, &refusal);
		return;
	}
	*act = (struct wt_desk_act){.service = service,
				    .ticket = *ticket,
				    .method = name,
				    .params = copy,
				    .until_s = wt_monotonic_s() + PATIENCE_S};
	*ticket = NULL;
	while (*last)
		last = &(*last)->next;
	*last = act;
	start_next(service);
}

static void not_noted(struct wt_desk_act *act)
{
	struct wt_refusal refusal = {0};
	wt_rpc_refuse(&refusal, WT_RPC_TRY_AGAIN,
		      "not noted, try again: the disk has not answered for %.0f s",
		      wt_service_stalled_s(act->service));
	wt_control_refuse(&act->ticket, &refusal);
}

/* It is being written, and may come to the disk yet. */
static void not_confirmed(struct wt_desk_act *act)
{
	struct wt_refusal refusal = {0};
	wt_rpc_refuse(&refusal, WT_RPC_TRY_AGAIN,
		      "not confirmed: the disk does not answer; it will be noted when it does, so "
		      "look with wither loads before you say it again");
	wt_control_refuse(&act->ticket, &refusal);
}

void wt_desk_acts_beat(struct wt_service *service)
{
	double now_s = wt_monotonic_s();
	struct wt_desk_act *act = service->acting;
	if (act && act->ticket && now_s >= act->until_s) {
		if (wt_engine_withdraw_call(service->engine)) {
			service->acting = NULL;
			not_noted(act);
			act_free(act);
			start_next(service);
		} else {
			not_confirmed(act);
		}
	}
	while (service->acts && now_s >= service->acts->until_s) {
		act = service->acts;
		service->acts = act->next;
		not_noted(act);
		act_free(act);
	}
}

void wt_desk_acts_close(struct wt_service *service)
{
	while (service->acts) {
		struct wt_desk_act *act = service->acts;
		service->acts = act->next;
		struct wt_refusal refusal = {0};
		wt_rpc_refuse(&refusal, WT_RPC_TRY_AGAIN, "not noted: the daemon is stopping");
		wt_control_refuse(&act->ticket, &refusal);
		act_free(act);
	}
}
