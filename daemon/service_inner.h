/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * What the files of the running daemon share.  Nobody else includes this.
 */
#ifndef WT_DAEMON_SERVICE_INNER_H
#define WT_DAEMON_SERVICE_INNER_H

#include <event2/event.h>

#include "daemon/control.h"
#include "daemon/engine.h"
#include "daemon/feed.h"
#include "daemon/http.h"
#include "daemon/keeper.h"
#include "daemon/listen.h"
#include "daemon/monotonic.h"
#include "daemon/notice.h"
#include "daemon/outlook.h"
#include "daemon/publish.h"
#include "daemon/service.h"
#include "daemon/worker.h"

/* A question that waits for a forecast newer than what it was asked on. */
struct wt_waiter {
	struct wt_waiter *next;
	struct wt_control_ticket *ticket;
	char *method;
	json_t *params;
	uint64_t generation;
	double until_s; /* monotonic: answered then with what there is */
};

struct wt_watcher {
	struct wt_watcher *next;
	struct wt_control_ticket *ticket;
};

/* A question that the keeper answers; the first member of what a kind of question needs. */
struct wt_question {
	struct wt_question *next;
	struct wt_service *service;
	struct wt_control_ticket *ticket; /* NULL: answered already */
	double until_s;                   /* monotonic: late() then */
	bool (*work)(struct wt_question *question, struct wt_store *store); /* on the thread */
	/* On the loop.  True: it goes to the thread once more. */
	bool (*done)(struct wt_question *question);
	void (*late)(struct wt_question *question); /* answers with what there is; NULL: refused */
	void (*clear)(struct wt_question *question);
	enum wt_store_result result;
	char error[512];
};

struct wt_desk_act;

struct wt_service {
	struct wt_service_setup setup;
	struct wt_config *config;
	struct event_base *base;
	bool beat_busy; /* the next beat comes soon */
	struct event *beat, *on_term, *on_int, *on_hup;
	struct wt_store *store;   /* the keeper's while there is one */
	struct wt_keeper *keeper; /* NULL: while starting, stopping and beginning anew */
	struct wt_engine *engine;
	struct wt_worker *worker;
	struct wt_control *control;
	struct wt_feed *feed;            /* NULL: no broker configured, or frozen */
	struct wt_listen *listen;        /* NULL: nobody looks for a station */
	struct wt_http *http;            /* NULL: nothing is fetched or sent */
	struct wt_outlook_feed *outlook; /* NULL: not configured */
	struct wt_notice *notice;        /* NULL: not configured */
	struct wt_publish *publish;      /* NULL: not configured */
	double told_at_s;                /* when dashboards were last told; monotonic */
	bool tell_due;                   /* there was something since, too soon to tell */
	int status;
	int64_t started_unix_s;
	/* forecasts */
	bool display_running;
	struct wt_waiter *waiters;
	struct wt_watcher *watchers;
	/* the store */
	double batch_since_s; /* monotonic time of the oldest row not on its way; 0: none */
	uint64_t batch_mark;  /* the feed's messages that are in the batch under way */
	double retry_at_s;
	double retain_at_s;
	bool retaining, retain_more;
	int64_t retain_before_unix_s;
	char *subscriptions; /* as last kept */
	struct wt_desk_act *acts, *acting;
	struct wt_question *questions;
	const char *copying; /* where a backup is being written; NULL: nowhere */
	/* health */
	json_t *since; /* code -> unix s at which the concern began */
	double health_at_s;
	double watchdog_at_s;
	uint64_t watchdog_us;
	char set_aside[256];     /* a damaged database was found at start */
	char reload_fault[256];  /* the configuration could not be read again */
	char status_text[128];   /* as last told to the service manager */
	int64_t clock_offset_ms; /* wall minus boot clock at the last look */
	bool clock_looked, clock_unset;
};

/* Now, ms: the wall clock, or the frozen moment. */
int64_t wt_service_now_ms(const struct wt_service *service);

/* --- desk.c: requests ---------------------------------------------------------------------- */
void wt_desk_request(void *context, struct wt_control_ticket *ticket,
		     const struct wt_rpc_request *request);
/* Answers the waiters a new forecast serves; starts another when some are left. */
void wt_desk_forecast_adopted(struct wt_service *service);
/* Answers those that have waited long enough. */
void wt_desk_beat(struct wt_service *service);
/* Something waits for the beat. */
bool wt_desk_is_busy(const struct wt_service *service);
/* Ends all open questions. */
void wt_desk_close(struct wt_service *service);
/* Adds what every result carries. */
json_t *wt_desk_dress(struct wt_service *service, json_t *result);
/* Ends the ticket: result, taken over, or the refusal when it is NULL. */
void wt_desk_answer(struct wt_service *service, struct wt_control_ticket **ticket, json_t *result,
		    const struct wt_refusal *refusal);

/* --- desk_acts.c: acts, one after the other, confirmed when they are on disk ---------------- */
/* Takes over the ticket. */
void wt_desk_act(struct wt_service *service, struct wt_control_ticket **ticket, const char *method,
		 const json_t *params);
void wt_desk_acts_beat(struct wt_service *service);
void wt_desk_acts_close(struct wt_service *service);

/* --- desk_store.c: questions that go to the store; each takes over the ticket ---------------- */
void wt_desk_export(struct wt_service *service, struct wt_control_ticket **ticket,
		    const json_t *params);
/* Adds what the store knows of past forecasts to the document of `air`, taken over. */
void wt_desk_air(struct wt_service *service, struct wt_control_ticket **ticket, json_t *document);
void wt_desk_review(struct wt_service *service, struct wt_control_ticket **ticket,
		    const json_t *params);
void wt_desk_questions_beat(struct wt_service *service);
void wt_desk_questions_close(struct wt_service *service);
/* Hands a question, malloc'd, to the keeper: it is answered within patience_s, or refused. */
void wt_desk_put_question(struct wt_service *service, struct wt_question *question,
			  struct wt_control_ticket **ticket, double patience_s);

/* --- desk_backup.c ------------------------------------------------------------------------- */
/* Takes over the ticket. */
void wt_desk_backup(struct wt_service *service, struct wt_control_ticket **ticket,
		    const json_t *params);

/* --- health.c ------------------------------------------------------------------------------ */
/* What needs a person, worst first: [{"code","severity","text","since_unix_s"}]. */
json_t *wt_health_items(struct wt_service *service);
json_t *wt_health_report(struct wt_service *service);
/* Logs what began and what ended since the last look; tells the service manager. */
void wt_health_beat(struct wt_service *service);

/* --- tell.c: what goes out without being asked for ----------------------------------------- */
bool wt_tell_start(struct wt_service *service);
void wt_tell_stop(struct wt_service *service);
/* A new forecast is there. */
void wt_tell_forecast(struct wt_service *service);
void wt_tell_beat(struct wt_service *service);

/* --- service.c ----------------------------------------------------------------------------- */
/* Something is under way that the beat looks after: it comes soon. */
void wt_service_stir(struct wt_service *service);
/* Starts a forecast for the screen unless one is running. */
void wt_service_start_display(struct wt_service *service);
/* What the store says of itself and of what waits for it. */
void wt_service_store_facts(struct wt_service *service, struct wt_store_facts *out);
/* For how long the disk has not answered, s; 0: it does. */
double wt_service_stalled_s(struct wt_service *service);
/* Something was taken in or acted on: put it on disk within the window. */
void wt_service_took_rows(struct wt_service *service, bool at_once);

#endif /* WT_DAEMON_SERVICE_INNER_H */
