/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * The lines to the outside that the daemon opens itself: the weather service,
 * notices, dashboards.  None of them matters to a reading or an answer.
 */
#include <stdlib.h>
#include <string.h>

#include "daemon/log.h"
#include "daemon/service_inner.h"

/* Dashboards and notices get a new document at most this often (our choice). */
#define TELL_EVERY_S 5.0

static bool take_outlook(void *context, const json_t *document, char *why, size_t why_size)
{
	struct wt_service *service = context;
	if (!wt_engine_outlook(service->engine, wt_service_now_ms(service), document, why,
			       why_size))
		return false;
	wt_service_took_rows(service, false);
	return true;
}

static void keep_value(void *context, const char *name, const char *value)
{
	struct wt_service *service = context;
	wt_engine_keep_value(service->engine, name, value);
	wt_service_took_rows(service, false);
}

bool wt_tell_start(struct wt_service *service)
{
	const struct wt_config *config = service->config;
	if (service->setup.frozen)
		return true;
	if (config->outlook_url || config->notice_url) {
		service->http = wt_http_new(service->base);
		if (!service->http) {
			wt_log(WT_LOG_ERR, "HTTP cannot be set up");
			return false;
		}
	}
	struct wt_outlook_setup setup = {.http = service->http,
					 .store = service->store,
					 .config = config,
					 .take = take_outlook,
					 .keep = keep_value,
					 .context = service};
	service->outlook = wt_outlook_feed_new(&setup, wt_service_now_ms(service) / 1000);
	service->notice = wt_notice_new(service->http, config);
	if (config->publish_prefix && config->broker_host)
		service->publish = wt_publish_new(config->publish_prefix, config->discovery_prefix);
	return true;
}

void wt_tell_stop(struct wt_service *service)
{
	/* Answers under way refer to the others: they go first. */
	wt_http_free(&service->http);
	wt_outlook_feed_free(&service->outlook);
	wt_notice_free(&service->notice);
	wt_publish_free(&service->publish);
}

void wt_tell_forecast(struct wt_service *service)
{
	struct wt_refusal refusal;
	double now_s = wt_monotonic_s();
	int64_t now_unix_s = wt_service_now_ms(service) / 1000;
	if (!service->notice && !(service->publish && service->feed))
		return;
	/* What comes too soon after the last is told by the beat: the last word must not be lost.
	 */
	service->tell_due = service->told_at_s > 0.0 && now_s - service->told_at_s < TELL_EVERY_S;
	if (service->tell_due)
		return;
	service->told_at_s = now_s;
	json_t *tonight = wt_site_query(wt_engine_site(service->engine), "tonight", NULL,
					now_unix_s, &refusal);
	if (!tonight)
		return;
	tonight = wt_desk_dress(service, tonight);
	if (service->publish && service->feed)
		wt_publish_tonight(service->publish, service->feed, tonight);
	if (service->notice) {
		json_t *concerns = wt_site_concerns(wt_engine_site(service->engine), now_unix_s);
		wt_notice_look(service->notice, tonight, concerns, now_unix_s);
		json_decref(concerns);
	}
	json_decref(tonight);
}

void wt_tell_beat(struct wt_service *service)
{
	if (service->tell_due)
		wt_tell_forecast(service);
	if (service->outlook)
		wt_outlook_feed_beat(service->outlook, wt_service_now_ms(service) / 1000);
}
