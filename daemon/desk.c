/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * The desk: what is asked through the control socket, and by whom it is answered.
 */
#include <stdlib.h>
#include <string.h>

#include "daemon/log.h"
#include "daemon/service_inner.h"
#include "lib/wire/text.h"

/* How long a question waits for a fresh forecast before it is answered with the last (our choice).
 */
#define WAIT_S 2.0

enum kind {
	KIND_QUERY, /* the site, at once */
	KIND_FRESH, /* the site, after a forecast that knows all that came in */
	KIND_STUDY, /* a run of its own */
	KIND_STATIONS,
	KIND_REVIEW,
	KIND_HEALTH,
	KIND_EXPORT,
	KIND_BACKUP,
	KIND_WATCH
};

static const struct verb {
	const char *name;
	enum kind kind;
} verbs[] = {
	{"tonight", KIND_FRESH}, {"show", KIND_FRESH},    {"loads", KIND_FRESH},
	{"air", KIND_FRESH},     {"plan", KIND_FRESH},    {"gardens", KIND_QUERY},
	{"ledger", KIND_QUERY},  {"style", KIND_QUERY},   {"stations", KIND_STATIONS},
	{"what-if", KIND_STUDY}, {"density", KIND_STUDY}, {"review", KIND_REVIEW},
	{"health", KIND_HEALTH}, {"export", KIND_EXPORT}, {"backup", KIND_BACKUP},
	{"watch", KIND_WATCH},
};

static const struct verb *find_verb(const char *method)
{
	for (size_t i = 0; i < sizeof verbs / sizeof verbs[0]; i++)
		if (wt_text_same_name(verbs[i].name, method))
			return &verbs[i];
	return NULL;
}

json_t *wt_desk_dress(struct wt_service *service, json_t *result)
{
	if (!json_is_object(result))
		return result;
	if (!json_object_get(result, "format"))
		json_object_set_new(result, "format", json_integer(1));
	if (!json_object_get(result, "now_unix_s"))
		json_object_set_new(result, "now_unix_s",
				    json_integer(wt_service_now_ms(service) / 1000));
	if (!json_object_get(result, "timezone"))
		json_object_set_new(result, "timezone", json_string(service->config->timezone));
	if (!json_object_get(result, "site"))
		json_object_set_new(result, "site", json_string(service->config->site_name));
	return result;
}

void wt_desk_answer(struct wt_service *service, struct wt_control_ticket **ticket, json_t *result,
		    const struct wt_refusal *refusal)
{
	if (result)
		wt_control_reply(ticket, wt_desk_dress(service, result));
	else
		wt_control_refuse(ticket, refusal);
}

/* --- stations ------------------------------------------------------------------------------ */

static json_t *last_fault(const struct wt_engine_station *seen)
{
	if (seen->fault == WT_PAYLOAD_FINE)
		return json_null();
	return json_pack("{s:i,s:s,s:I,s:s}", "code", (int)seen->fault, "text",
			 wt_payload_fault_text(seen->fault), "at_unix_s",
			 (json_int_t)(seen->fault_unix_ms / 1000), "quoted", seen->quoted);
}

static json_t *broker(struct wt_service *service)
{
	struct wt_feed_status status = {.state = WT_FEED_OFF};
	const char *text = service->setup.frozen
				   ? WT_SAYS_WORD("no feed: the daemon shows a past moment")
				   : WT_SAYS_WORD("no broker is configured");
	const char *says = text;
	if (service->feed) {
		wt_feed_status(service->feed, &status);
		text = status.text;
		says = status.says;
	}
	return json_pack("{s:s,s:s,s:o,s:o}", "state", wt_feed_state_text(status.state), "text",
			 text, "says", wt_says_json(says), "since_unix_s",
			 status.since_unix_s ? json_integer(status.since_unix_s) : json_null());
}

/* What only the feed knows is added to the site's rows. */
static void dress_stations(struct wt_service *service, json_t *result)
{
	const struct wt_config *config = service->config;
	size_t index;
	json_t *row;
	json_array_foreach(json_object_get(result, "stations"), index, row)
	{
		const char *name = json_string_value(json_object_get(row, "station"));
		for (size_t i = 0; name && i < config->n_stations; i++) {
			if (strcmp(config->stations[i].name, name) != 0)
				continue;
			const struct wt_engine_station *seen =
				wt_engine_station(service->engine, i);
			json_object_set_new(row, "last_fault", last_fault(seen));
			json_object_set_new(row, "battery",
					    seen->battery == seen->battery
						    ? json_real(seen->battery)
						    : json_null());
		}
	}
	json_object_set_new(result, "broker", broker(service));
}

/* --- questions ----------------------------------------------------------------------------- */

/* Troubles of the daemon itself belong on the first screen too. */
static void add_concerns(struct wt_service *service, json_t *result)
{
	json_t *items = wt_health_items(service), *item;
	json_t *concerns = json_object_get(result, "concerns");
	size_t index;
	if (!concerns)
		json_object_set_new(result, "concerns", concerns = json_array());
	json_array_foreach(items, index, item)
	{
		const char *severity = json_string_value(json_object_get(item, "severity"));
		bool own = json_is_true(json_object_get(item, "daemon"));
		if (own && severity && strcmp(severity, "notice") != 0)
			json_array_append_new(concerns,
					      json_pack("{s:O,s:O,s:O,s:O}", "code",
							json_object_get(item, "code"), "severity",
							json_object_get(item, "severity"), "text",
							json_object_get(item, "text"), "says",
							json_object_get(item, "says")));
	}
	json_decref(items);
}

static json_t *ask_site(struct wt_service *service, const char *method, const json_t *params,
			struct wt_refusal *refusal)
{
	json_t *result = wt_site_query(wt_engine_site(service->engine), method, params,
				       wt_service_now_ms(service) / 1000, refusal);
	if (result && strcmp(method, "stations") == 0)
		dress_stations(service, result);
	if (result && strcmp(method, "tonight") == 0)
		add_concerns(service, result);
	return result;
}

static void answer_from_site(struct wt_service *service, struct wt_control_ticket **ticket,
			     const char *method, const json_t *params)
{
	struct wt_refusal refusal = {0};
	json_t *result = ask_site(service, method, params, &refusal);
	if (result && strcmp(method, "air") == 0)
		wt_desk_air(service, ticket, result);
	else
		wt_desk_answer(service, ticket, result, &refusal);
}

static bool forecast_is_fresh(struct wt_service *service, uint64_t generation)
{
	struct wt_site *site = wt_engine_site(service->engine);
	return wt_site_forecast_generation(site) >= generation;
}

static void ask_fresh(struct wt_service *service, struct wt_control_ticket **ticket,
		      const char *method, const json_t *params)
{
	uint64_t generation = wt_site_generation(wt_engine_site(service->engine));
	if (!forecast_is_fresh(service, generation)) {
		struct wt_waiter *waiter = calloc(1, sizeof *waiter);
		char *name = strdup(method);
		json_t *copy = json_deep_copy(params);
		if (waiter && name && (copy || !params)) {
			*waiter = (struct wt_waiter){.next = service->waiters,
						     .ticket = *ticket,
						     .method = name,
						     .params = copy,
						     .generation = generation,
						     .until_s = wt_monotonic_s() + WAIT_S};
			*ticket = NULL;
			service->waiters = waiter;
			wt_service_start_display(service);
			return;
		}
		free(waiter);
		free(name);
		json_decref(copy);
	}
	answer_from_site(service, ticket, method, params);
}

static void finish_waiter(struct wt_service *service, struct wt_waiter *waiter)
{
	if (wt_control_alive(waiter->ticket))
		answer_from_site(service, &waiter->ticket, waiter->method, waiter->params);
	else
		wt_control_drop(&waiter->ticket);
	free(waiter->method);
	json_decref(waiter->params);
	free(waiter);
}

/* Answers those whose time has come; true when some still wait. */
static bool serve_waiters(struct wt_service *service)
{
	double now_s = wt_monotonic_s();
	struct wt_waiter **link = &service->waiters;
	while (*link) {
		struct wt_waiter *waiter = *link;
		if (!forecast_is_fresh(service, waiter->generation) && now_s < waiter->until_s &&
		    wt_control_alive(waiter->ticket)) {
			link = &waiter->next;
			continue;
		}
		*link = waiter->next;
		finish_waiter(service, waiter);
	}
	return service->waiters != NULL;
}

static void feed_watchers(struct wt_service *service)
{
	struct wt_watcher **link = &service->watchers;
	struct wt_refusal refusal;
	while (*link) {
		struct wt_watcher *watcher = *link;
		json_t *tonight = wt_control_alive(watcher->ticket)
					  ? ask_site(service, "tonight", NULL, &refusal)
					  : NULL;
		if (tonight) {
			json_t *result =
				json_pack("{s:o}", "tonight", wt_desk_dress(service, tonight));
			wt_control_stream(watcher->ticket, wt_desk_dress(service, result));
			link = &watcher->next;
			continue;
		}
		*link = watcher->next;
		wt_control_drop(&watcher->ticket);
		free(watcher);
	}
}

void wt_desk_forecast_adopted(struct wt_service *service)
{
	feed_watchers(service);
	if (serve_waiters(service))
		wt_service_start_display(service);
}

void wt_desk_beat(struct wt_service *service)
{
	if (service->waiters && serve_waiters(service))
		wt_service_start_display(service);
	wt_desk_acts_beat(service);
	wt_desk_questions_beat(service);
	wt_listen_beat(&service->listen, wt_monotonic_s());
}

bool wt_desk_is_busy(const struct wt_service *service)
{
	return service->waiters || service->acts || service->acting || service->questions ||
	       service->listen;
}

static void start_watch(struct wt_service *service, struct wt_control_ticket **ticket)
{
	struct wt_watcher *watcher = calloc(1, sizeof *watcher);
	struct wt_refusal refusal = {0};
	json_t *tonight = watcher ? ask_site(service, "tonight", NULL, &refusal) : NULL;
	if (!tonight) {
		free(watcher);
		wt_desk_answer(service, ticket, NULL, &refusal);
		return;
	}
	json_t *result = json_pack("{s:o}", "tonight", wt_desk_dress(service, tonight));
	wt_control_stream(*ticket, wt_desk_dress(service, result));
	*watcher = (struct wt_watcher){.next = service->watchers, .ticket = *ticket};
	service->watchers = watcher;
	*ticket = NULL;
}

/* --- studies ------------------------------------------------------------------------------- */

struct study {
	struct wt_service *service;
	struct wt_control_ticket *ticket;
};

static void study_done(void *context, struct wt_job *job)
{
	struct study *study = context;
	struct wt_refusal refusal = {0};
	json_t *result = job ? wt_job_result(job) : NULL;
	if (!job)
		wt_rpc_refuse(&refusal, WT_RPC_TRY_AGAIN, "the daemon begins anew; try again");
	else if (!result)
		wt_rpc_refuse(&refusal, WT_RPC_NOT_READY,
			      "there is no answer: not enough is known");
	wt_desk_answer(study->service, &study->ticket, result, &refusal);
	wt_job_free(&job);
	free(study);
}

static void start_study(struct wt_service *service, struct wt_control_ticket **ticket,
			const char *method, const json_t *params)
{
	struct wt_refusal refusal = {0};
	struct study *study = malloc(sizeof *study);
	struct wt_job *job = NULL;
	wt_rpc_refuse(&refusal, WT_RPC_FAULT, "out of memory");
	if (study)
		job = wt_site_study(wt_engine_site(service->engine), method, params,
				    wt_service_now_ms(service) / 1000, &refusal);
	if (job) {
		*study = (struct study){.service = service, .ticket = *ticket};
		if (wt_worker_put(service->worker, job, study_done, study)) {
			*ticket = NULL;
			return;
		}
		wt_job_free(&job);
	}
	free(study);
	wt_desk_answer(service, ticket, NULL, &refusal);
}

/* --- requests ------------------------------------------------------------------------------ */

static void not_allowed(struct wt_control_ticket **ticket, const char *method)
{
	struct wt_refusal refusal = {0};
	wt_rpc_refuse(&refusal, WT_RPC_NOT_ALLOWED,
		      "'%s' is for root, the daemon's own user and members of its group", method);
	wt_control_refuse(ticket, &refusal);
}

/* Listens to a topic for somebody who looks for a station. */
static void learn(struct wt_service *service, struct wt_control_ticket **ticket,
		  const json_t *params)
{
	static const char *const known[] = {"learn", NULL};
	struct wt_refusal refusal = {0};
	const char *filter = NULL;
	json_t *result = NULL;
	if (!wt_control_may_act(*ticket)) {
		not_allowed(ticket, "stations --learn");
		return;
	}
	if (!service->feed)
		wt_rpc_refuse(&refusal, WT_RPC_REFUSED,
			      "there is no broker to listen at: see [broker] in the configuration");
	else if (wt_rpc_check_names(params, known, &refusal) &&
		 wt_rpc_get_text(params, "learn", 160, true, &filter, &refusal))
		result = wt_listen_ask(&service->listen, service->base, service->config, filter,
				       wt_monotonic_s(), &refusal);
	wt_desk_answer(service, ticket, result, &refusal);
}

static void no_method(struct wt_control_ticket **ticket, const char *method)
{
	char given[80];
	struct wt_refusal refusal = {0};
	wt_text_clean(method, strlen(method), given, sizeof given);
	wt_rpc_refuse(
		&refusal, WT_RPC_NO_METHOD,
		"there is no method '%s'; there are spread, weigh, feel, turn, fix, yield, drop, "
		"undo, style, salt, tonight, show, loads, air, plan, density, what-if, review, "
		"ledger, gardens, stations, health, export, backup, watch",
		given);
	wt_control_refuse(ticket, &refusal);
}

static void ask(struct wt_service *service, struct wt_control_ticket **ticket,
		const struct verb *verb, const json_t *params)
{
	static const char *const none[] = {NULL};
	struct wt_refusal refusal = {0};
	if ((verb->kind == KIND_HEALTH || verb->kind == KIND_WATCH) &&
	    !wt_rpc_check_names(params, none, &refusal)) {
		wt_control_refuse(ticket, &refusal);
		return;
	}
	switch (verb->kind) {
	case KIND_QUERY:
	case KIND_STATIONS:
		if (wt_rpc_param(params, "learn"))
			learn(service, ticket, params);
		else
			wt_desk_answer(service, ticket,
				       ask_site(service, verb->name, params, &refusal), &refusal);
		break;
	case KIND_FRESH:
		ask_fresh(service, ticket, verb->name, params);
		break;
	case KIND_STUDY:
		start_study(service, ticket, verb->name, params);
		break;
	case KIND_REVIEW:
		wt_desk_review(service, ticket, params);
		break;
	case KIND_HEALTH:
		wt_desk_answer(service, ticket, wt_health_report(service), &refusal);
		break;
	case KIND_EXPORT:
		wt_desk_export(service, ticket, params);
		break;
	case KIND_BACKUP:
		if (wt_control_may_act(*ticket))
			wt_desk_backup(service, ticket, params);
		else
			not_allowed(ticket, verb->name);
		break;
	case KIND_WATCH:
		start_watch(service, ticket);
		break;
	}
}

/* "style" asks when nothing is to be changed, and acts otherwise. */
static bool only_asks(const struct wt_rpc_request *request)
{
	return strcmp(request->method, "style") == 0 && !wt_rpc_param(request->params, "accept") &&
	       !wt_rpc_param(request->params, "ready-from");
}

void wt_desk_request(void *context, struct wt_control_ticket *ticket,
		     const struct wt_rpc_request *request)
{
	struct wt_service *service = context;
	const struct verb *verb = find_verb(request->method);
	wt_service_stir(service);
	if (wt_site_is_act(request->method) && !only_asks(request)) {
		if (wt_control_may_act(ticket))
			wt_desk_act(service, &ticket, request->method, request->params);
		else
			not_allowed(&ticket, request->method);
	} else if (verb) {
		ask(service, &ticket, verb, request->params);
	} else {
		no_method(&ticket, request->method);
	}
}

void wt_desk_close(struct wt_service *service)
{
	while (service->waiters) {
		struct wt_waiter *waiter = service->waiters;
		service->waiters = waiter->next;
		finish_waiter(service, waiter);
	}
	while (service->watchers) {
		struct wt_watcher *watcher = service->watchers;
		service->watchers = watcher->next;
		wt_control_drop(&watcher->ticket);
		free(watcher);
	}
	wt_desk_acts_close(service);
	wt_desk_questions_close(service);
}
