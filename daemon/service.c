/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "daemon/service.h"

#include <errno.h>
#include <event2/thread.h>
#ifdef __GLIBC__
#include <malloc.h>
#endif
#include <signal.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/random.h>
#include <time.h>

#include "daemon/log.h"
#include "daemon/sdnotify.h"
#include "daemon/service_inner.h"
#include "daemon/version.h"
#include "lib/wire/text.h"

/* How often the loop looks after what no event tells of, our choice: while something is under way,
 * and while nothing is. */
#define BEAT_BUSY_US 200000
#define BEAT_IDLE_US 1000000
/* Our choice: an array that counts in the size of the daemon. */
#define LARGE_BYTES (256 * 1024)
/* Readings that nobody waits for reach the disk within this time (our choice). */
#define BATCH_WINDOW_S 1.0
/* Between two attempts while the store does not take rows (our choice). */
#define RETRY_S 5.0
/* Between two looks for old readings to thin (our choice). */
#define RETAIN_EVERY_S 3600.0
/* The room's history is 40 days: fresher readings are never thinned. */
#define KEEP_LEAST_DAYS 41
/* A clock that moves by less against that of boot is being slewed, not set (our choice). */
#define LEAST_STEP_MS 2000
/* From then on a turn of the store is a stall (our choice). */
#define STALL_S 1.0
/* Messages taken in one turn of the loop, so that questions are answered in between. */
#define MOST_MESSAGES_A_TURN 4000

int64_t wt_service_now_ms(const struct wt_service *service)
{
	struct timespec now;
	if (service->setup.frozen)
		return service->setup.frozen_unix_ms;
	clock_gettime(CLOCK_REALTIME, &now);
	return (int64_t)now.tv_sec * 1000 + now.tv_nsec / 1000000;
}

/* --- the beat ------------------------------------------------------------------------------ */

static void set_beat(struct wt_service *service, bool busy)
{
	const struct timeval wait = {busy ? 0 : BEAT_IDLE_US / 1000000, busy ? BEAT_BUSY_US : 0};
	service->beat_busy = busy;
	(void)event_add(service->beat, &wait);
}

void wt_service_stir(struct wt_service *service)
{
	if (!service->beat_busy)
		set_beat(service, true);
}

/* --- forecasts ----------------------------------------------------------------------------- */

static void display_done(void *context, struct wt_job *job)
{
	struct wt_service *service = context;
	service->display_running = false;
	if (!job)
		return;
	wt_engine_adopt(service->engine, &job, 0);
	wt_tell_forecast(service);
	wt_desk_forecast_adopted(service);
}

void wt_service_start_display(struct wt_service *service)
{
	if (service->display_running)
		return;
	struct wt_job *job = wt_site_job(wt_engine_site(service->engine),
					 wt_service_now_ms(service) / 1000, false);
	if (!job)
		return;
	service->display_running = wt_worker_put(service->worker, job, display_done, service);
	if (!service->display_running)
		wt_job_free(&job);
}

struct tick {
	struct wt_service *service;
	int64_t at_unix_s;
};

static void tick_done(void *context, struct wt_job *job)
{
	struct tick *tick = context;
	struct wt_service *service = tick->service;
	int64_t at_unix_s = tick->at_unix_s;
	free(tick);
	if (!job)
		return;
	wt_engine_adopt(service->engine, &job, at_unix_s);
	wt_tell_forecast(service);
	wt_desk_forecast_adopted(service);
}

static void run_tick(void *context, struct wt_job *job, int64_t tick_unix_s)
{
	struct tick *tick = malloc(sizeof *tick);
	struct wt_service *service = context;
	if (tick) {
		*tick = (struct tick){.service = service, .at_unix_s = tick_unix_s};
		if (wt_worker_put(service->worker, job, tick_done, tick))
			return;
	}
	free(tick);
	wt_job_free(&job);
}

/* --- taking in ----------------------------------------------------------------------------- */

/* Begins to put on disk what waits; stored() tells how it went. */
static void commit_now(struct wt_service *service, bool retry)
{
	(void)wt_engine_commit(service->engine, retry);
}

static void storing(void *context)
{
	struct wt_service *service = context;
	service->batch_since_s = 0.0;
	service->batch_mark = service->feed ? wt_feed_mark(service->feed) : 0;
}

static void stored(void *context, enum wt_store_result result)
{
	struct wt_service *service = context;
	if (result == WT_STORE_OK && service->feed)
		wt_feed_done(service->feed, service->batch_mark);
	else if (result != WT_STORE_OK)
		service->retry_at_s = wt_monotonic_s() + RETRY_S;
}

void wt_service_took_rows(struct wt_service *service, bool at_once)
{
	if (at_once)
		commit_now(service, false);
	else if (service->batch_since_s == 0.0)
		service->batch_since_s = wt_monotonic_s();
	wt_service_stir(service);
}

void wt_service_store_facts(struct wt_service *service, struct wt_store_facts *out)
{
	if (service->keeper)
		wt_keeper_facts(service->keeper, out);
	else
		wt_store_facts(service->store, out);
}

double wt_service_stalled_s(struct wt_service *service)
{
	return service->keeper ? wt_keeper_running_s(service->keeper) : 0.0;
}

/* Nothing is taken in while an act is on its way, since the order in the file is that of taking in,
 * and while very much waits for a disk that does not answer: then the sender is held back. */
static bool takes_nothing(struct wt_service *service)
{
	struct wt_spool_facts facts;
	wt_engine_spool_facts(service->engine, &facts);
	return wt_engine_is_calling(service->engine) ||
	       (facts.writing && facts.waiting >= WT_SPOOL_LIMIT / 2);
}

static void on_arrived(void *context)
{
	struct wt_service *service = context;
	struct wt_message message;
	bool must_commit = false, any_must = false, any = false;
	if (takes_nothing(service))
		return;
	for (int i = 0; i < MOST_MESSAGES_A_TURN; i++) {
		if (!wt_feed_take(service->feed, &message, &must_commit))
			break;
		wt_engine_message(service->engine, &message);
		any = true;
		any_must |= must_commit;
	}
	if (any)
		wt_service_took_rows(service, any_must);
}

/* --- the broker ---------------------------------------------------------------------------- */

/* A name of this installation, kept in the database: two daemons of one name would push each
 * other out of the broker for ever. */
static char *own_client_id(struct wt_service *service)
{
	if (service->config->broker_client_id)
		return strdup(service->config->broker_client_id);
	char *kept = wt_store_get(service->store, "client_id");
	unsigned char random[6];
	char *made = NULL;
	if (kept)
		return kept;
	if (getrandom(random, sizeof random, 0) != (ssize_t)sizeof random ||
	    asprintf(&made, "witherd-%02x%02x%02x%02x%02x%02x", random[0], random[1], random[2],
		     random[3], random[4], random[5]) < 0)
		return NULL;
	(void)wt_store_set(service->store, "client_id", made);
	return made;
}

static void on_subscribed(void *context)
{
	struct wt_service *service = context;
	json_t *filters = wt_feed_filters(service->config);
	char *text = json_dumps(filters, JSON_COMPACT);
	json_decref(filters);
	if (text && (!service->subscriptions || strcmp(service->subscriptions, text) != 0)) {
		wt_engine_keep_value(service->engine, "subscriptions", text);
		wt_service_took_rows(service, true);
		free(service->subscriptions);
		service->subscriptions = text;
		text = NULL;
	}
	free(text);
}

static bool start_feed(struct wt_service *service)
{
	char why[512];
	if (!service->config->broker_host || service->setup.frozen)
		return true;
	char *client_id = own_client_id(service);
	char *kept = wt_store_get(service->store, "subscriptions");
	free(service->subscriptions);
	service->subscriptions = kept;
	json_t *old = kept ? json_loads(kept, 0, NULL) : NULL;
	size_t n = json_array_size(old);
	const char **filters = calloc(n + 1, sizeof *filters);
	for (size_t i = 0; filters && i < n; i++)
		filters[i] = json_string_value(json_array_get(old, i));
	struct wt_feed_setup setup = {.base = service->base,
				      .config = service->config,
				      .client_id = client_id,
				      .old_filters = filters,
				      .n_old_filters = filters ? n : 0,
				      .arrived = on_arrived,
				      .subscribed = on_subscribed,
				      .context = service};
	if (client_id)
		service->feed = wt_feed_new(&setup, why, sizeof why);
	if (!service->feed)
		wt_log(WT_LOG_ERR, "no feed: %s", client_id ? why : "out of memory");
	free(filters);
	json_decref(old);
	free(client_id);
	return service->feed != NULL;
}

/* Lets the broker go; what still arrives is taken and committed until the line is closed. */
static void stop_feed(struct wt_service *service)
{
	double until_s = wt_monotonic_s() + 4.0;
	wt_listen_free(&service->listen);
	if (!service->feed)
		return;
	wt_feed_stop(service->feed);
	while (wt_feed_wait(service->feed, 20) && wt_monotonic_s() < until_s) {
		on_arrived(service);
		commit_now(service, false);
		if (service->keeper)
			wt_keeper_turn(service->keeper, 30);
	}
	wt_feed_free(&service->feed);
}

/* The store is the loop's again: waits for the turn that runs. */
static void take_store(struct wt_service *service)
{
	struct wt_keeper *keeper = service->keeper;
	service->keeper = NULL;
	if (service->engine)
		wt_engine_use(service->engine, NULL);
	wt_keeper_free(&keeper);
}

static bool give_store(struct wt_service *service)
{
	service->keeper = wt_keeper_new(service->base, service->store);
	if (!service->keeper) {
		wt_log(WT_LOG_ERR, "the store's thread cannot be made");
		return false;
	}
	wt_engine_use(service->engine, service->keeper);
	return true;
}

/* --- start, stop, reload ------------------------------------------------------------------- */

static bool start_engine(struct wt_service *service)
{
	char why[512];
	struct wt_engine_setup setup = {.config = service->config,
					.store = service->store,
					.frozen = service->setup.frozen,
					.tick = run_tick,
					.storing = storing,
					.stored = stored,
					.context = service};
	service->engine = wt_engine_new(&setup);
	if (!service->engine) {
		wt_log(WT_LOG_ERR, "out of memory");
		return false;
	}
	if (wt_engine_restore(service->engine, wt_service_now_ms(service)) != WT_STORE_OK) {
		wt_log(WT_LOG_ERR, "%s", wt_store_error(service->store));
		return false;
	}
	if (service->config->record && !service->setup.frozen &&
	    !wt_engine_record(service->engine, service->config->record, why, sizeof why)) {
		wt_log(WT_LOG_ERR, "%s", why);
		return false;
	}
	/* The first forecast takes its time where there is much leaf: questions are answered
	 * meanwhile, those about it wait as they do for any. */
	wt_service_start_display(service);
	return true;
}

static bool same_text(const char *a, const char *b)
{
	return a == b || (a && b && strcmp(a, b) == 0);
}

/* What cannot change while running; NULL when nothing of it did. */
static const char *needs_restart(const struct wt_config *old, const struct wt_config *new)
{
	if (!same_text(old->database, new->database))
		return "database";
	if (!same_text(old->socket, new->socket))
		return "socket";
	if (!same_text(old->socket_group, new->socket_group))
		return "socket_group";
	if (!same_text(old->timezone, new->timezone))
		return "timezone";
	return NULL;
}

static void reload_failed(struct wt_service *service, const char *sentence)
{
	snprintf(service->reload_fault, sizeof service->reload_fault, "%s", sentence);
	wt_text_mend_end(service->reload_fault);
	wt_log(WT_LOG_ERR, "the configuration was not taken: %s; the old one stays", sentence);
}

/* The worker's jobs belong to the site that is given up. */
static bool restart_worker(struct wt_service *service)
{
	wt_worker_free(&service->worker);
	service->display_running = false;
	service->worker = wt_worker_new(service->base);
	return service->worker != NULL;
}

static void give_up(struct wt_service *service)
{
	service->status = 1;
	event_base_loopbreak(service->base);
}

/* Stops the feed and puts all on disk; the store is the loop's then.  False when the disk does not
 * take it: all goes on as before. */
static bool settle(struct wt_service *service)
{
	stop_feed(service);
	take_store(service);
	if (wt_engine_commit(service->engine, true) == WT_STORE_OK)
		return true;
	if (!start_feed(service) || !give_store(service))
		give_up(service);
	return false;
}

/* After settle(): everything but the store, the socket and the loop, from what is on disk.  *config
 * NULL: as before; else it is taken, and the old one given back. */
static void begin_anew(struct wt_service *service, struct wt_config **config)
{
	wt_tell_stop(service);
	bool fine = restart_worker(service);
	wt_engine_free(&service->engine);
	if (*config) {
		struct wt_config *old = service->config;
		service->config = *config;
		*config = old;
	}
	if (!fine || !start_engine(service) || !start_feed(service) || !wt_tell_start(service) ||
	    !give_store(service))
		give_up(service);
}

/* The disk takes rows and is not in the midst of something long. */
static bool store_is_well(struct wt_service *service)
{
	struct wt_spool_facts facts;
	wt_engine_spool_facts(service->engine, &facts);
	return facts.state == WT_STORE_OK && wt_service_stalled_s(service) < STALL_S;
}

/* A machine without a battery clock says 1970 until the network tells the time.  What came before
 * is then put where it belongs, by the clock that only counts from boot. */
static void watch_clock(struct wt_service *service)
{
	struct timespec boot;
	struct wt_config *none = NULL;
	clock_gettime(CLOCK_BOOTTIME, &boot);
	int64_t now_ms = wt_service_now_ms(service);
	int64_t offset_ms = now_ms - ((int64_t)boot.tv_sec * 1000 + boot.tv_nsec / 1000000);
	int64_t step_ms = offset_ms - service->clock_offset_ms;
	bool was_unset = service->clock_unset;
	/* Put off until the disk takes it. */
	if (was_unset && now_ms >= WT_CLOCK_FLOOR_UNIX_MS && !store_is_well(service))
		return;
	service->clock_offset_ms = offset_ms;
	service->clock_unset = now_ms < WT_CLOCK_FLOOR_UNIX_MS;
	if (!service->clock_looked || llabs(step_ms) < LEAST_STEP_MS) {
		service->clock_looked = true;
		return;
	}
	wt_log(WT_LOG_NOTICE, "the clock of this machine was set by %.1f s", (double)step_ms / 1e3);
	if (!was_unset || service->clock_unset)
		return;
	if (service->feed)
		on_arrived(service);
	if (!settle(service)) {
		service->clock_unset = true;
		service->clock_offset_ms -= step_ms;
		return;
	}
	if (wt_store_correct_times(service->store, step_ms) != WT_STORE_OK) {
		wt_log(WT_LOG_ERR, "%s", wt_store_error(service->store));
		give_up(service);
		return;
	}
	begin_anew(service, &none);
}

static void on_hup(evutil_socket_t fd, short what, void *context)
{
	struct wt_service *service = context;
	struct wt_config *config = NULL;
	char sentence[256];
	(void)fd;
	(void)what;
	if (service->setup.frozen)
		return;
	wt_sdnotify("RELOADING=1");
	char *errors = NULL;
	size_t size = 0;
	FILE *stream = open_memstream(&errors, &size);
	int rc = stream ? wt_config_read(service->setup.config_path, stream, &config) : -1;
	if (stream)
		fclose(stream);
	const char *fixed = rc == 0 ? needs_restart(service->config, config) : NULL;
	if (rc != 0) {
		if (errors)
			errors[strcspn(errors, "\n")] = '\0';
		reload_failed(service, errors ? errors : "out of memory");
	} else if (fixed) {
		snprintf(sentence, sizeof sentence, "a new '%s' needs a restart", fixed);
		reload_failed(service, sentence);
	} else if (!store_is_well(service) || !settle(service)) {
		reload_failed(service, "the database does not take rows now");
	} else {
		service->reload_fault[0] = '\0';
		begin_anew(service, &config);
		wt_log(WT_LOG_NOTICE, "the configuration was read again");
	}
	wt_config_free(&config);
	free(errors);
	wt_sdnotify("READY=1");
}

static void on_stop(evutil_socket_t signal_number, short what, void *context)
{
	struct wt_service *service = context;
	(void)what;
	wt_sdnotify("STOPPING=1");
	wt_log(WT_LOG_INFO, "stopping on %s", signal_number == SIGINT ? "SIGINT" : "SIGTERM");
	event_base_loopbreak(service->base);
}

static bool retain_work(void *context, struct wt_store *store)
{
	struct wt_service *service = context;
	(void)wt_store_retain(store, service->retain_before_unix_s, &service->retain_more);
	return false;
}

static void retain_done(void *context, bool ran)
{
	struct wt_service *service = context;
	service->retaining = false;
	/* Memory that came free between what stays goes back too. */
	(void)malloc_trim(0);
	service->retain_at_s =
		wt_monotonic_s() + (ran && service->retain_more ? 1.0 : RETAIN_EVERY_S);
}

static void retain(struct wt_service *service)
{
	int keep_days = service->config->keep_raw_days;
	if (keep_days < KEEP_LEAST_DAYS)
		keep_days = KEEP_LEAST_DAYS;
	int64_t before_unix_s = wt_service_now_ms(service) / 1000 - (int64_t)keep_days * 86400;
	if (service->retaining || service->copying || !service->keeper || before_unix_s <= 0)
		return;
	service->retain_before_unix_s = before_unix_s;
	service->retain_more = false;
	service->retaining =
		wt_keeper_put(service->keeper, false, retain_work, retain_done, service);
}

static bool is_busy(struct wt_service *service)
{
	struct wt_spool_facts facts;
	wt_engine_spool_facts(service->engine, &facts);
	return service->batch_since_s > 0.0 || facts.writing || facts.state != WT_STORE_OK ||
	       wt_desk_is_busy(service);
}

static void on_beat(evutil_socket_t fd, short what, void *context)
{
	struct wt_service *service = context;
	double now_s = wt_monotonic_s();
	struct wt_spool_facts facts;
	(void)fd;
	(void)what;
	if (!service->setup.frozen) {
		watch_clock(service);
		if (service->feed)
			on_arrived(service);
		if (!wt_engine_is_calling(service->engine))
			wt_engine_advance(service->engine, wt_service_now_ms(service));
		wt_engine_spool_facts(service->engine, &facts);
		if (facts.state != WT_STORE_OK && now_s >= service->retry_at_s && !facts.writing)
			commit_now(service, true);
		else if (service->batch_since_s > 0.0 &&
			 now_s - service->batch_since_s >= BATCH_WINDOW_S)
			commit_now(service, false);
		if (now_s >= service->retain_at_s && facts.state == WT_STORE_OK)
			retain(service);
	}
	wt_tell_beat(service);
	wt_desk_beat(service);
	wt_health_beat(service);
	set_beat(service, is_busy(service));
}

static bool add_signal(struct wt_service *service, int number, event_callback_fn fn,
		       struct event **event)
{
	*event = evsignal_new(service->base, number, fn, service);
	return *event && event_add(*event, NULL) == 0;
}

static bool start_loop(struct wt_service *service)
{
	signal(SIGPIPE, SIG_IGN);
	/* A file that may not grow is a full disk to us, not the end. */
	signal(SIGXFSZ, SIG_IGN);
	if (evthread_use_pthreads() != 0 || !(service->base = event_base_new()))
		return false;
	service->beat = event_new(service->base, -1, 0, on_beat, service);
	if (service->beat)
		set_beat(service, true);
	return service->beat && add_signal(service, SIGTERM, on_stop, &service->on_term) &&
	       add_signal(service, SIGINT, on_stop, &service->on_int) &&
	       add_signal(service, SIGHUP, on_hup, &service->on_hup);
}

static bool open_store(struct wt_service *service)
{
	char text[512];
	bool set_aside = false;
	if (wt_store_open(service->config->database, &service->store, &set_aside, text,
			  sizeof text) != WT_STORE_OK) {
		wt_log(WT_LOG_ERR, "%s", text);
		return false;
	}
	if (set_aside) {
		snprintf(service->set_aside, sizeof service->set_aside, "%.255s", text);
		wt_text_mend_end(service->set_aside);
		wt_log(WT_LOG_ERR, "%s", text);
	}
	return true;
}

static bool start(struct wt_service *service)
{
	char why[512];
	const char *path =
		service->setup.socket_path ? service->setup.socket_path : service->config->socket;
	if (!wt_config_take_zone(service->config)) {
		wt_log(WT_LOG_ERR, "out of memory");
		return false;
	}
	service->started_unix_s = wt_service_now_ms(service) / 1000;
	service->since = json_object();
	service->watchdog_us = wt_sdnotify_watchdog_us();
	/* Signals go to the loop only: threads are made after this and inherit the mask they find,
	 * so the loop's handlers are set first. */
	if (!service->since || !start_loop(service)) {
		wt_log(WT_LOG_ERR, "the event loop cannot be made");
		return false;
	}
	if (!open_store(service))
		return false;
	service->worker = wt_worker_new(service->base);
	if (!service->worker) {
		wt_log(WT_LOG_ERR, "the worker thread cannot be made");
		return false;
	}
	if (!start_engine(service))
		return false;
	service->control = wt_control_new(service->base, path, service->config->socket_group,
					  wt_desk_request, service, why, sizeof why);
	if (!service->control) {
		wt_log(WT_LOG_ERR, "%s", why);
		return false;
	}
	if (!start_feed(service) || !wt_tell_start(service) || !give_store(service))
		return false;
	wt_log(WT_LOG_INFO, "witherd %s serves %s on %s", wt_daemon_version(),
	       service->config->database, path);
	if (!service->config->broker_host && !service->setup.frozen)
		wt_log(WT_LOG_NOTICE, "no [broker] in the configuration: no readings come in");
	return true;
}

static void stop(struct wt_service *service)
{
	wt_desk_close(service);
	wt_tell_stop(service);
	stop_feed(service);
	take_store(service);
	if (service->engine && !service->setup.frozen &&
	    wt_engine_commit(service->engine, true) != WT_STORE_OK) {
		wt_log(WT_LOG_ERR, "%s", wt_store_error(service->store));
		service->status = 1;
	}
	wt_control_free(&service->control);
	wt_worker_free(&service->worker);
	wt_engine_free(&service->engine);
	wt_store_close(&service->store);
	struct event *const events[] = {service->beat, service->on_term, service->on_int,
					service->on_hup};
	for (size_t i = 0; i < sizeof events / sizeof events[0]; i++)
		if (events[i])
			event_free(events[i]);
	if (service->base) {
		/* Calls put off by libevent hold what they are about: one last turn lets them go.
		 */
		event_base_loop(service->base, EVLOOP_NONBLOCK);
		event_base_free(service->base);
	}
	json_decref(service->since);
	free(service->subscriptions);
	wt_config_free(&service->config);
}

/* A forecast works in some large arrays: they go back to the machine when it is done, instead of
 * making the daemon twice as large for the minutes in between.  A replay keeps them, it needs them
 * again at once. */
static void give_back_large(void)
{
#ifdef __GLIBC__
	(void)mallopt(M_MMAP_THRESHOLD, LARGE_BYTES);
	(void)mallopt(M_TRIM_THRESHOLD, 2 * LARGE_BYTES);
#endif
}

int wt_service_run(const struct wt_service_setup *setup, struct wt_config *config)
{
	give_back_large();
	struct wt_service service = {.setup = *setup, .config = config, .status = 1};
	if (start(&service)) {
		service.status = 0;
		wt_sdnotify("READY=1");
		if (event_base_dispatch(service.base) < 0)
			service.status = 1;
	}
	stop(&service);
	return service.status;
}
