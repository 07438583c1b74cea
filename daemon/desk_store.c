/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * Questions that go to the store: exports, the track record.  The keeper's thread reads, a part a
 * turn, so that rows on their way to the disk are not held up; the loop answers.
 */
#include <inttypes.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "daemon/service_inner.h"

/* Rows of one answer to `export`, our choice: some milliseconds' work. */
#define PAGE_ROWS 2000
/* How long a question waits for the disk, our choices: well within what `wither` waits. */
#define EXPORT_PATIENCE_S 8.0
#define AIR_PATIENCE_S 3.0
#define REVIEW_PATIENCE_S 45.0
/* Questions that may wait for the disk (our choice). */
#define MOST_QUESTIONS 256

/* --- any question -------------------------------------------------------------------------- */

static bool work_on_thread(void *context, struct wt_store *store)
{
	struct wt_question *question = context;
	bool more = question->work(question, store);
	if (question->result != WT_STORE_OK && !question->error[0])
		snprintf(question->error, sizeof question->error, "%s", wt_store_error(store));
	return more;
}

static void end_question(struct wt_question *question)
{
	struct wt_question **link = &question->service->questions;
	struct wt_refusal refusal = {0};
	while (*link != question)
		link = &(*link)->next;
	*link = question->next;
	if (question->ticket) {
		wt_rpc_refuse(&refusal, WT_RPC_TRY_AGAIN, "the daemon begins anew; try again");
		wt_control_refuse(&question->ticket, &refusal);
	}
	if (question->clear)
		question->clear(question);
	free(question);
}

static void question_done(void *context, bool ran)
{
	struct wt_question *question = context;
	struct wt_service *service = question->service;
	if (ran && question->done(question) && service->keeper &&
	    wt_keeper_put(service->keeper, false, work_on_thread, question_done, question))
		return;
	end_question(question);
}

void wt_desk_put_question(struct wt_service *service, struct wt_question *question,
			  struct wt_control_ticket **ticket, double patience_s)
{
	struct wt_refusal refusal = {0};
	question->service = service;
	question->ticket = *ticket;
	question->until_s = wt_monotonic_s() + patience_s;
	question->next = service->questions;
	service->questions = question;
	*ticket = NULL;
	if (service->keeper && wt_keeper_waiting(service->keeper) < MOST_QUESTIONS &&
	    wt_keeper_put(service->keeper, false, work_on_thread, question_done, question))
		return;
	wt_rpc_refuse(&refusal, WT_RPC_TRY_AGAIN,
		      "too many questions wait for the disk; try again");
	wt_control_refuse(&question->ticket, &refusal);
	end_question(question);
}

static void be_late(struct wt_question *question)
{
	struct wt_refusal refusal = {0};
	if (question->late) {
		question->late(question);
		return;
	}
	wt_rpc_refuse(&refusal, WT_RPC_TRY_AGAIN, "the disk has not answered for %.0f s; try again",
		      wt_service_stalled_s(question->service));
	wt_control_refuse(&question->ticket, &refusal);
}

void wt_desk_questions_beat(struct wt_service *service)
{
	double now_s = wt_monotonic_s();
	for (struct wt_question *q = service->questions; q; q = q->next)
		if (q->ticket && now_s >= q->until_s)
			be_late(q);
}

void wt_desk_questions_close(struct wt_service *service)
{
	struct wt_refusal refusal = {0};
	wt_rpc_refuse(&refusal, WT_RPC_TRY_AGAIN, "the daemon is stopping");
	for (struct wt_question *q = service->questions; q; q = q->next)
		if (q->ticket)
			wt_control_refuse(&q->ticket, &refusal);
}

/* The store's word when it could not be read. */
static void refuse_question(struct wt_question *question)
{
	struct wt_refusal refusal = {0};
	wt_rpc_refuse(&refusal, WT_RPC_TRY_AGAIN, "%s", question->error);
	wt_control_refuse(&question->ticket, &refusal);
}

static struct wt_store_span span_of(struct wt_service *service, int64_t since_unix_s)
{
	return (struct wt_store_span){
		.since_unix_ms = since_unix_s == INT64_MIN ? INT64_MIN : since_unix_s * 1000,
		.until_unix_ms = service->setup.frozen ? service->setup.frozen_unix_ms : INT64_MAX,
	};
}

/* Rows of a page as objects with the keys of the export. */
static void add_objects(enum wt_store_table table, const json_t *rows, json_t *objects)
{
	json_t *columns = wt_store_columns(table);
	const json_t *row;
	size_t index;
	json_array_foreach(rows, index, row)
	{
		json_t *object = json_object();
		for (size_t i = 0; i < json_array_size(columns); i++)
			json_object_set(object, json_string_value(json_array_get(columns, i)),
					json_array_get(row, i));
		json_array_append_new(objects, object);
	}
	json_decref(columns);
}

/* The air's forecasts of one issue, the first in [from, until]. */
static enum wt_store_result read_issue(struct wt_store *store, struct wt_store_span span,
				       json_t *objects)
{
	struct wt_store_cursor cursor;
	bool more;
	json_t *rows = json_array();
	wt_store_cursor_first(&cursor);
	enum wt_store_result result = wt_store_page(store, WT_STORE_AIR_FORECASTS, &span, &cursor,
						    PAGE_ROWS, rows, &more);
	add_objects(WT_STORE_AIR_FORECASTS, rows, objects);
	json_decref(rows);
	return result;
}

/* --- export -------------------------------------------------------------------------------- */

static const char *const load_columns[] = {"load",          "origin",       "grade",    "season",
					   "style",         "room",         "kg",       "area_m2",
					   "spread_unix_s", "fixed_unix_s", "fixed_kg", "made_kg",
					   "yellow_kg",     "ready_unix_s"};
#define N_LOAD_COLUMNS (sizeof load_columns / sizeof load_columns[0])

static json_t *export_loads(struct wt_service *service, int64_t since_unix_s)
{
	json_t *objects = wt_site_loads_rows(wt_engine_site(service->engine)), *object;
	json_t *columns = json_array(), *rows = json_array();
	size_t index;
	for (size_t i = 0; i < N_LOAD_COLUMNS; i++)
		json_array_append_new(columns, json_string(load_columns[i]));
	json_array_foreach(objects, index, object)
	{
		if (json_number_value(json_object_get(object, "spread_unix_s")) <
		    (double)since_unix_s)
			continue;
		json_t *row = json_array();
		for (size_t i = 0; i < N_LOAD_COLUMNS; i++) {
			json_t *value = json_object_get(object, load_columns[i]);
			json_array_append_new(row, value ? json_incref(value) : json_null());
		}
		json_array_append_new(rows, row);
	}
	json_decref(objects);
	return json_pack("{s:o,s:o,s:b,s:n}", "columns", columns, "rows", rows, "more", 0,
			 "cursor");
}

static bool read_cursor(const json_t *params, struct wt_store_cursor *cursor,
			struct wt_refusal *refusal)
{
	const char *text = NULL;
	int end = 0;
	wt_store_cursor_first(cursor);
	if (!wt_rpc_get_text(params, "cursor", 80, false, &text, refusal))
		return false;
	if (!text)
		return true;
	struct wt_store_cursor read;
	if (sscanf(text, "%" SCNd64 ":%" SCNd64 ":%" SCNd64 "%n", &read.key[0], &read.key[1],
		   &read.key[2], &end) != 3 ||
	    text[end] != '\0') {
		wt_rpc_refuse_param(refusal, "cursor", text, "the cursor of the answer before");
		return false;
	}
	*cursor = read;
	return true;
}

static bool read_table(const json_t *params, enum wt_store_table *table, bool *loads,
		       struct wt_refusal *refusal)
{
	static const char *const names[] = {[WT_STORE_READINGS] = "readings",
					    [WT_STORE_FORECASTS] = "forecasts",
					    [WT_STORE_AIR_FORECASTS] = "air-forecasts"};
	const char *what = NULL;
	*loads = false;
	if (!wt_rpc_get_text(params, "what", 40, false, &what, refusal))
		return false;
	if (what && strcmp(what, "loads") == 0) {
		*loads = true;
		return true;
	}
	for (size_t i = 0; what && i < sizeof names / sizeof names[0]; i++) {
		if (strcmp(what, names[i]) == 0) {
			*table = (enum wt_store_table)i;
			return true;
		}
	}
	wt_rpc_refuse_param(refusal, "what", what, "readings, loads, forecasts or air-forecasts");
	return false;
}

struct export
{
	struct wt_question question;
	enum wt_store_table table;
	struct wt_store_span span;
	struct wt_store_cursor cursor;
	json_t *rows;
	bool more;
};

static bool export_work(struct wt_question *question, struct wt_store *store)
{
	struct export *e = (struct export *)question;
	question->result =
		wt_store_page(store, e->table, &e->span, &e->cursor, PAGE_ROWS, e->rows, &e->more);
	return false;
}

/* Takes a column of the store that is not for the outside from a page of rows. */
static void leave_out(json_t *columns, json_t *rows, const char *name)
{
	size_t at = 0, index;
	json_t *row;
	while (at < json_array_size(columns) &&
	       strcmp(json_string_value(json_array_get(columns, at)), name) != 0)
		at++;
	json_array_remove(columns, at);
	json_array_foreach(rows, index, row) json_array_remove(row, at);
}

/* Readings are kept as they came and shown as they are taken. */
static void correct(const struct wt_site *site, const json_t *rows)
{
	enum { STATION, TEMP_C = 4, RH_PCT };
	size_t index;
	json_t *row;
	json_array_foreach(rows, index, row)
	{
		double temp_c = json_number_value(json_array_get(row, TEMP_C));
		double rh_pct = json_number_value(json_array_get(row, RH_PCT));
		const char *station = json_string_value(json_array_get(row, STATION));
		double was_c = temp_c, was_pct = rh_pct;
		wt_site_correct(site, station ? station : "", &temp_c, &rh_pct);
		if (temp_c != was_c)
			json_array_set_new(row, TEMP_C, json_real(temp_c));
		if (rh_pct != was_pct)
			json_array_set_new(row, RH_PCT, json_real(rh_pct));
	}
}

static bool export_done(struct wt_question *question)
{
	struct export *e = (struct export *)question;
	char text[80];
	if (!question->ticket)
		return false;
	if (question->result != WT_STORE_OK) {
		refuse_question(question);
		return false;
	}
	snprintf(text, sizeof text, "%" PRId64 ":%" PRId64 ":%" PRId64, e->cursor.key[0],
		 e->cursor.key[1], e->cursor.key[2]);
	json_t *columns = wt_store_columns(e->table);
	if (e->table == WT_STORE_FORECASTS)
		leave_out(columns, e->rows, "reason");
	if (e->table == WT_STORE_READINGS)
		correct(wt_engine_site(question->service->engine), e->rows);
	json_t *result =
		json_pack("{s:o,s:O,s:b,s:o}", "columns", columns, "rows", e->rows, "more",
			  (int)e->more, "cursor", e->more ? json_string(text) : json_null());
	wt_desk_answer(question->service, &question->ticket, result, NULL);
	return false;
}

static void export_clear(struct wt_question *question)
{
	json_decref(((struct export *)question)->rows);
}

void wt_desk_export(struct wt_service *service, struct wt_control_ticket **ticket,
		    const json_t *params)
{
	/* `csv` is how wither prints it. */
	static const char *const known[] = {"what", "since", "csv", "cursor", NULL};
	struct wt_refusal refusal = {0};
	enum wt_store_table table = WT_STORE_READINGS;
	struct wt_store_cursor cursor;
	int64_t since_unix_s = INT64_MIN;
	bool loads = false;
	if (!wt_rpc_check_names(params, known, &refusal) ||
	    !read_table(params, &table, &loads, &refusal) ||
	    !wt_rpc_get_time(params, "since", wt_service_now_ms(service) / 1000, WT_TIMEFMT_PAST,
			     false, &since_unix_s, &refusal) ||
	    !read_cursor(params, &cursor, &refusal)) {
		wt_control_refuse(ticket, &refusal);
		return;
	}
	if (loads) {
		wt_desk_answer(service, ticket, export_loads(service, since_unix_s), &refusal);
		return;
	}
	struct export *e = calloc(1, sizeof *e);
	if (!e) {
		wt_rpc_refuse(&refusal, WT_RPC_FAULT, "out of memory");
		wt_control_refuse(ticket, &refusal);
		return;
	}
	*e = (struct export){
		.question = {.work = export_work, .done = export_done, .clear = export_clear},
		.table = table,
		.span = span_of(service, since_unix_s),
		.cursor = cursor,
		.rows = json_array(),
	};
	wt_desk_put_question(service, &e->question, ticket, EXPORT_PATIENCE_S);
}

/* --- review -------------------------------------------------------------------------------- */

/* Forecasts looked up in one turn, our choice: some milliseconds' work. */
#define LOOK_UPS 100

/* First the forecasts that the record asks for are fetched, then the air of the worst misses. */
struct review {
	struct wt_question question;
	int64_t since_unix_s, until_unix_ms;
	json_t *wanted, *forecasts; /* see wt_site_review_wanted() */
	json_t *issues, *air;       /* NULL: not that far yet */
	size_t next;
};

static bool review_work(struct wt_question *question, struct wt_store *store)
{
	struct review *r = (struct review *)question;
	const json_t *list = r->issues ? r->issues : r->wanted;
	for (size_t i = 0; i < LOOK_UPS && r->next < json_array_size(list); i++) {
		const json_t *item = json_array_get(list, r->next++);
		if (r->issues) {
			int64_t at_unix_ms = json_integer_value(item) * 1000;
			question->result = read_issue(
				store, (struct wt_store_span){at_unix_ms, at_unix_ms + 999},
				r->air);
		} else {
			json_t *rows = json_array();
			question->result = wt_store_forecast_at(
				store, json_integer_value(json_array_get(item, 0)),
				json_integer_value(json_array_get(item, 1)),
				json_integer_value(json_array_get(item, 2)), rows);
			add_objects(WT_STORE_FORECASTS, rows, r->forecasts);
			json_decref(rows);
		}
		if (question->result != WT_STORE_OK)
			return false;
	}
	return r->next < json_array_size(list);
}

static bool review_done(struct wt_question *question)
{
	struct review *r = (struct review *)question;
	struct wt_service *service = question->service;
	const struct wt_site *site = wt_engine_site(service->engine);
	struct wt_refusal refusal = {0};
	if (!question->ticket)
		return false;
	if (question->result != WT_STORE_OK) {
		refuse_question(question);
		return false;
	}
	if (!r->issues) {
		r->issues = wt_site_review_issues(site, r->forecasts, r->since_unix_s);
		r->air = json_array();
		r->next = 0;
		if (json_array_size(r->issues) > 0)
			return true;
	}
	json_t *result = wt_site_review(site, r->forecasts, r->air, r->since_unix_s,
					wt_service_now_ms(service) / 1000);
	if (!result)
		wt_rpc_refuse(&refusal, WT_RPC_FAULT, "out of memory");
	wt_desk_answer(service, &question->ticket, result, &refusal);
	return false;
}

static void review_clear(struct wt_question *question)
{
	struct review *r = (struct review *)question;
	json_decref(r->wanted);
	json_decref(r->forecasts);
	json_decref(r->issues);
	json_decref(r->air);
}

void wt_desk_review(struct wt_service *service, struct wt_control_ticket **ticket,
		    const json_t *params)
{
	static const char *const known[] = {"since", NULL};
	struct wt_refusal refusal = {0};
	int64_t since_unix_s = 0, now_unix_s = wt_service_now_ms(service) / 1000;
	struct review *r = NULL;
	if (!wt_rpc_check_names(params, known, &refusal) ||
	    !wt_rpc_get_time(params, "since", now_unix_s, WT_TIMEFMT_PAST, false, &since_unix_s,
			     &refusal)) {
		wt_control_refuse(ticket, &refusal);
		return;
	}
	if (!(r = calloc(1, sizeof *r))) {
		wt_rpc_refuse(&refusal, WT_RPC_FAULT, "out of memory");
		wt_control_refuse(ticket, &refusal);
		return;
	}
	*r = (struct review){
		.question = {.work = review_work, .done = review_done, .clear = review_clear},
		.since_unix_s = since_unix_s,
		.wanted = wt_site_review_wanted(wt_engine_site(service->engine), since_unix_s,
						now_unix_s),
		.forecasts = json_array(),
	};
	wt_desk_put_question(service, &r->question, ticket, REVIEW_PATIENCE_S);
}

/* --- skill of the air ---------------------------------------------------------------------- */

/* Our choice: how far back, and how far apart the forecasts are that are looked at; further where
 * there are many rooms, so that the answer stays a matter of milliseconds. */
#define SKILL_DAYS 14
#define SKILL_EVERY_S (3 * 3600)
#define SKILL_ROOMS 8
/* Issues read in one turn. */
#define SKILL_ISSUES 16

struct skill {
	struct wt_question question;
	json_t *document; /* of the air, to be completed */
	json_t *air;
	int64_t at_unix_s, now_unix_s, every_s, forecast_every_s;
	struct wt_store_span span;
};

static bool skill_work(struct wt_question *question, struct wt_store *store)
{
	struct skill *s = (struct skill *)question;
	for (int i = 0; i < SKILL_ISSUES && s->at_unix_s < s->now_unix_s; i++) {
		/* The one forecast that begins the span. */
		struct wt_store_span span = s->span;
		int64_t last_unix_ms = (s->at_unix_s + s->forecast_every_s) * 1000 - 1;
		span.since_unix_ms = s->at_unix_s * 1000;
		if (span.until_unix_ms > last_unix_ms)
			span.until_unix_ms = last_unix_ms;
		question->result = read_issue(store, span, s->air);
		if (question->result != WT_STORE_OK)
			return false;
		s->at_unix_s += s->every_s;
	}
	return s->at_unix_s < s->now_unix_s;
}

/* With no rows the skill is unknown, and the rest of the answer as good as ever. */
static void answer_air(struct skill *s, const json_t *air)
{
	struct wt_service *service = s->question.service;
	json_t *room = json_object_get(s->document, "room");
	json_object_set_new(s->document, "skill",
			    wt_site_air_skill(wt_engine_site(service->engine),
					      json_string_value(room), air, s->now_unix_s));
	wt_desk_answer(service, &s->question.ticket, json_incref(s->document), NULL);
}

static void skill_late(struct wt_question *question)
{
	json_t *none = json_array();
	answer_air((struct skill *)question, none);
	json_decref(none);
}

static bool skill_done(struct wt_question *question)
{
	struct skill *s = (struct skill *)question;
	if (question->ticket && question->result == WT_STORE_OK)
		answer_air(s, s->air);
	else if (question->ticket)
		skill_late(question);
	return false;
}

static void skill_clear(struct wt_question *question)
{
	struct skill *s = (struct skill *)question;
	json_decref(s->document);
	json_decref(s->air);
}

void wt_desk_air(struct wt_service *service, struct wt_control_ticket **ticket, json_t *document)
{
	int64_t now_unix_s = wt_service_now_ms(service) / 1000;
	int64_t every_s =
		SKILL_EVERY_S * (1 + (int64_t)(service->config->n_rooms / (SKILL_ROOMS + 1)));
	int64_t from = now_unix_s - SKILL_DAYS * 86400;
	struct skill *s = calloc(1, sizeof *s);
	if (!s) {
		wt_desk_answer(service, ticket, document, NULL);
		return;
	}
	*s = (struct skill){
		.question = {.work = skill_work,
			     .done = skill_done,
			     .late = skill_late,
			     .clear = skill_clear},
		.document = document,
		.air = json_array(),
		.at_unix_s = from - from % every_s,
		.now_unix_s = now_unix_s,
		.every_s = every_s,
		.forecast_every_s = service->config->forecast_every_s,
		.span = span_of(service, INT64_MIN),
	};
	wt_desk_put_question(service, &s->question, ticket, AIR_PATIENCE_S);
}
