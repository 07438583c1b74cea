/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "tests/site/fixture.h"

#include <stdio.h>
#include <time.h>

#include "lib/wire/pointer.h"

static const char base[] = "[site]\n"
			   "name = Cloud terrace\n"
			   "timezone = Asia/Shanghai\n"
			   "altitude_m = 600\n"
			   "latitude = 27.5\n"
			   "longitude = 118.0\n"
			   "[daemon]\n"
			   "database = /nowhere/wither.db\n"
			   "socket = /nowhere/witherd.sock\n"
			   "seed = 7\n"
			   "members = 256\n"
			   "[room loft]\n"
			   "[room cellar]\n"
			   "[station north]\n"
			   "room = loft\n"
			   "topic = tea/north\n"
			   "temp_pointer = /t\n"
			   "rh_pointer = /h\n"
			   "expected_every_s = 300\n"
			   "[scale bench]\n"
			   "room = loft\n"
			   "topic = tea/scale\n"
			   "unit = kg\n"
			   "[tray]\n"
			   "area_m2 = 1.2\n"
			   "perforated = yes\n"
			   "[hearth]\n"
			   "woks = 2\n"
			   "wok_kg = 3\n"
			   "minutes_spring = 20\n"
			   "minutes_summer = 25\n"
			   "minutes_autumn = 25\n"
			   "last_start = 22:00\n"
			   "first_start = 06:30\n";

void workshop_open(struct workshop *w, const char *extra)
{
	char *text = NULL, *errors = NULL;
	size_t size = 0;
	FILE *file = open_memstream(&errors, &size);

	setenv("TZ", "Asia/Shanghai", 1);
	tzset();
	*w = (struct workshop){.now_unix_s = DAY0, .next_act = 1};
	assert_true(asprintf(&text, "%s%s", base, extra ? extra : "") > 0);
	if (wt_config_parse("test.ini", text, strlen(text), file, &w->config) != 0) {
		fclose(file);
		fail_msg("%s", errors);
	}
	fclose(file);
	free(text);
	free(errors);
	w->site = wt_site_new(w->config);
}

void workshop_close(struct workshop *w)
{
	wt_site_free(&w->site);
	wt_config_free(&w->config);
}

void workshop_air(const struct workshop *w, int64_t at_unix_s, double *temp_c, double *rh_pct)
{
	double phase = 2.0 * M_PI * (double)((at_unix_s - DAY0) % 86400 - 14 * HOUR) / 86400.0;
	double day = cos(phase), wander = sin((double)at_unix_s / 37000.0 + w->noise);

	*temp_c = 19.0 + 5.0 * day + 0.7 * wander + w->warmer_c;
	*rh_pct = 72.0 - 16.0 * day - 3.0 * wander + w->wetter_pct;
	*rh_pct = *rh_pct > 99.0 ? 99.0 : *rh_pct;
}

void workshop_feed(struct workshop *w, int64_t until_unix_s)
{
	for (int64_t at = w->now_unix_s - w->now_unix_s % 300 + 300; at <= until_unix_s;
	     at += 300) {
		struct wt_reading reading = {.station = 0,
					     .at_unix_ms = (at - 20) * 1000,
					     .received_unix_ms = (at - 20) * 1000};
		workshop_air(w, at - 20, &reading.temp_c, &reading.rh_pct);
		wt_site_add_reading(w->site, &reading);
	}
	w->now_unix_s = until_unix_s;
}

static json_t *params_of(const char *format, va_list arguments)
	__attribute__((format(printf, 1, 0)));
static json_t *params_of(const char *format, va_list arguments)
{
	char text[2048];
	json_error_t error;

	vsnprintf(text, sizeof(text), format, arguments);
	for (char *c = text; *c; c++)
		*c = *c == '\'' ? '"' : *c;
	json_t *params = json_loads(text, 0, &error);
	if (!params)
		fail_msg("%s: %s", text, error.text);
	return params;
}

json_t *workshop_act(struct workshop *w, const char *method, const char *format, ...)
{
	struct wt_act act = {0};
	va_list arguments;
	json_t *result = NULL;

	va_start(arguments, format);
	json_t *params = params_of(format, arguments);
	va_end(arguments);
	w->refusal = (struct wt_refusal){0};
	if (wt_site_prepare(w->site, method, params, w->now_unix_s, &act, &w->refusal)) {
		act.id = w->next_act++;
		wt_site_apply(w->site, &act);
		result = wt_site_act_result(w->site, &act, w->now_unix_s);
		assert_non_null(result);
		wt_act_clear(&act);
	}
	json_decref(params);
	return result;
}

json_t *workshop_query(struct workshop *w, const char *method, const char *format, ...)
{
	va_list arguments;

	va_start(arguments, format);
	json_t *params = params_of(format, arguments);
	va_end(arguments);
	w->refusal = (struct wt_refusal){0};
	json_t *result = wt_site_query(w->site, method, params, w->now_unix_s, &w->refusal);
	json_decref(params);
	return result;
}

json_t *workshop_study(struct workshop *w, const char *method, const char *format, ...)
{
	va_list arguments;
	json_t *result = NULL;

	va_start(arguments, format);
	json_t *params = params_of(format, arguments);
	va_end(arguments);
	w->refusal = (struct wt_refusal){0};
	struct wt_job *job = wt_site_study(w->site, method, params, w->now_unix_s, &w->refusal);
	if (job) {
		wt_job_run(job);
		result = wt_job_result(job);
		wt_job_free(&job);
	}
	json_decref(params);
	return result;
}

void workshop_forecast(struct workshop *w)
{
	bool kept = w->now_unix_s % w->config->forecast_every_s == 0;
	struct wt_job *job = wt_site_job(w->site, w->now_unix_s, kept);

	wt_job_run(job);
	wt_site_adopt(w->site, &job);
}

const json_t *value_at(const json_t *document, const char *path)
{
	char pointer[200];

	snprintf(pointer, sizeof(pointer), "/%s", path);
	const json_t *value = wt_pointer_get(document, pointer);
	if (!value) {
		char *text = json_dumps(document, JSON_COMPACT);
		fail_msg("no %s in %.2000s", path, text ? text : "nothing");
	}
	return value;
}

double number_at(const json_t *document, const char *path)
{
	const json_t *value = value_at(document, path);

	return json_is_number(value) ? json_number_value(value) : NAN;
}

const char *text_at(const json_t *document, const char *path)
{
	const char *text = json_string_value(value_at(document, path));

	return text ? text : "";
}
