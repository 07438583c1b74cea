/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * The store on real files.
 */
#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include <cmocka.h>
#include <sqlite3.h>

#include "daemon/spool.h"
#include "daemon/store.h"

struct place {
	char folder[64];
	char path[96];
	struct wt_store *store;
};

static void open_store(struct place *place)
{
	char text[512];
	bool set_aside;
	assert_int_equal(wt_store_open(place->path, &place->store, &set_aside, text, sizeof text),
			 WT_STORE_OK);
	assert_false(set_aside);
}

static int setup(void **state)
{
	struct place *place = calloc(1, sizeof *place);
	strcpy(place->folder, "/tmp/wither-store.XXXXXX");
	assert_non_null(mkdtemp(place->folder));
	snprintf(place->path, sizeof place->path, "%s/w.db", place->folder);
	open_store(place);
	*state = place;
	return 0;
}

static int teardown(void **state)
{
	struct place *place = *state;
	char command[128];
	wt_store_close(&place->store);
	snprintf(command, sizeof command, "rm -rf '%s'", place->folder);
	int rc = system(command);
	free(place);
	return rc;
}

/* station's own time at_ms, received a second later */
static bool add(struct wt_store *store, int64_t at_ms, int64_t received_ms, double temp_c)
{
	struct wt_reading reading = {.at_unix_ms = at_ms,
				     .received_unix_ms = received_ms,
				     .temp_c = temp_c,
				     .rh_pct = 60};
	bool fresh = false;
	assert_int_equal(wt_store_add_reading(store, "shelf", "north", &reading, 0, &fresh),
			 WT_STORE_OK);
	return fresh;
}

struct seen {
	size_t n;
	int64_t at_unix_ms[64];
	double temp_c[64];
};

static bool see(void *context, const char *station, const char *room,
		const struct wt_reading *reading)
{
	struct seen *seen = context;
	assert_string_equal(station, "shelf");
	assert_string_equal(room, "north");
	seen->at_unix_ms[seen->n] = reading->at_unix_ms;
	seen->temp_c[seen->n++] = reading->temp_c;
	return seen->n < 64;
}

static const struct wt_store_span everything = {INT64_MIN, INT64_MAX};

static void a_reading_comes_back_after_a_reopening(void **state)
{
	struct place *place = *state;
	struct seen seen = {0};
	assert_true(add(place->store, 1000, 2000, 20.123456789));
	assert_true(add(place->store, 500, 3000, NAN));
	wt_store_close(&place->store);
	open_store(place);
	assert_int_equal(wt_store_each_reading(place->store, &everything, see, &seen), WT_STORE_OK);
	/* In the order of taking, every bit kept, unknown stays unknown. */
	assert_int_equal(seen.n, 2);
	assert_int_equal(seen.at_unix_ms[0], 1000);
	assert_true(seen.temp_c[0] == 20.123456789);
	assert_true(isnan(seen.temp_c[1]));
	assert_false(wt_store_is_empty(place->store));
}

static void the_same_reading_is_kept_once(void **state)
{
	struct place *place = *state;
	struct seen seen = {0};
	assert_true(add(place->store, 1000, 2000, 20.0));
	assert_false(add(place->store, 1000, 2500, 20.0));
	/* Another value of the same moment is another reading, once. */
	assert_true(add(place->store, 1000, 2600, 20.5));
	assert_false(add(place->store, 1000, 2700, 20.5));
	/* Without a time of the station's own equal values are two readings. */
	assert_true(add(place->store, 5000, 5000, 21.0));
	assert_true(add(place->store, 5000, 5000, 21.0));
	assert_int_equal(wt_store_each_reading(place->store, &everything, see, &seen), WT_STORE_OK);
	assert_int_equal(seen.n, 4);
	assert_int_equal(seen.at_unix_ms[1], 1000);
	assert_int_equal(seen.at_unix_ms[3], 5000);
}

static void a_span_looks_at_both_times(void **state)
{
	struct place *place = *state;
	struct seen seen = {0};
	add(place->store, 1000, 2000, 1.0);
	add(place->store, 2000, 9000, 2.0);
	add(place->store, 3000, 4000, 3.0);
	const struct wt_store_span span = {1500, 5000};
	assert_int_equal(wt_store_each_reading(place->store, &span, see, &seen), WT_STORE_OK);
	assert_int_equal(seen.n, 1);
	assert_true(seen.temp_c[0] == 3.0);
}

static void a_rollback_leaves_nothing(void **state)
{
	struct place *place = *state;
	struct wt_store_facts facts;
	struct seen seen = {0};
	assert_int_equal(wt_store_begin(place->store), WT_STORE_OK);
	add(place->store, 1000, 2000, 1.0);
	wt_store_rollback(place->store);
	wt_store_facts(place->store, &facts);
	assert_int_equal(facts.readings, 0);
	/* The names met in it are met again. */
	add(place->store, 1000, 2000, 1.0);
	assert_int_equal(wt_store_each_reading(place->store, &everything, see, &seen), WT_STORE_OK);
	assert_int_equal(seen.n, 1);
}

static bool see_act(void *context, const struct wt_act *act)
{
	int64_t *sum = context;
	*sum = *sum * 10 + act->id;
	assert_string_equal(act->method, "spread");
	assert_true(json_real_value(json_object_get(act->params, "kg")) == 11.2);
	return true;
}

static void acts_get_ascending_numbers(void **state)
{
	struct place *place = *state;
	int64_t sum = 0;
	for (int i = 0; i < 3; i++) {
		struct wt_act act = {.received_unix_ms = 1000 + i,
				     .method = (char[]){"spread"},
				     .params = json_pack("{s:f}", "kg", 11.2)};
		assert_int_equal(wt_store_add_act(place->store, &act), WT_STORE_OK);
		assert_int_equal(act.id, i + 1);
		json_decref(act.params);
	}
	assert_int_equal(wt_store_each_act(place->store, &everything, see_act, &sum), WT_STORE_OK);
	assert_int_equal(sum, 123);
}

static void pages_join_without_a_gap(void **state)
{
	struct place *place = *state;
	struct wt_store_cursor cursor;
	bool more = true;
	size_t n = 0, pages = 0;
	double last = -1;
	for (int i = 0; i < 50; i++)
		add(place->store, 100000 - i * 1000, 200000, i);
	wt_store_cursor_first(&cursor);
	while (more) {
		json_t *rows = json_array(), *row;
		size_t index;
		assert_int_equal(wt_store_page(place->store, WT_STORE_READINGS, &everything,
					       &cursor, 7, rows, &more),
				 WT_STORE_OK);
		json_array_foreach(rows, index, row)
		{
			double at_unix_s = json_number_value(json_array_get(row, 2));
			assert_true(at_unix_s > last);
			last = at_unix_s;
			n++;
		}
		json_decref(rows);
		pages++;
	}
	assert_int_equal(n, 50);
	assert_int_equal(pages, 8);
}

static void forecasts_come_back_with_their_unknowns(void **state)
{
	struct place *place = *state;
	struct wt_store_cursor cursor;
	bool more;
	json_t *rows = json_array();
	json_t *document = json_pack(
		"{s:[{s:I,s:i,s:f,s:I,s:n,s:s,s:s}],s:[{s:I,s:s,s:i,s:f}]}", "forecasts",
		"issued_unix_s", (json_int_t)1775000100, "load", 3, "loss_p50_pct", 12.5,
		"ready_p50_unix_s", (json_int_t)1775010000, "ready_p90_unix_s", "call", "tonight",
		"reason", "ready_in_time", "air_forecasts", "issued_unix_s", (json_int_t)1775000100,
		"room", "north", "lead_s", 3600, "temp_p50_c", 19.25);
	assert_non_null(document);
	assert_int_equal(wt_store_add_forecasts(place->store, document), WT_STORE_OK);
	/* The same tick again replaces, it does not add. */
	assert_int_equal(wt_store_add_forecasts(place->store, document), WT_STORE_OK);
	json_decref(document);
	wt_store_cursor_first(&cursor);
	assert_int_equal(wt_store_page(place->store, WT_STORE_FORECASTS, &everything, &cursor, 10,
				       rows, &more),
			 WT_STORE_OK);
	assert_int_equal(json_array_size(rows), 1);
	json_t *row = json_array_get(rows, 0);
	json_t *columns = wt_store_columns(WT_STORE_FORECASTS);
	assert_int_equal(json_array_size(row), json_array_size(columns));
	assert_int_equal(json_integer_value(json_array_get(row, 7)), 1775010000);
	assert_true(json_is_null(json_array_get(row, 9)));
	assert_string_equal(json_string_value(json_array_get(row, 12)), "tonight");
	assert_string_equal(json_string_value(json_array_get(row, 13)), "ready_in_time");
	json_decref(columns);
	json_array_clear(rows);
	wt_store_cursor_first(&cursor);
	assert_int_equal(wt_store_page(place->store, WT_STORE_AIR_FORECASTS, &everything, &cursor,
				       10, rows, &more),
			 WT_STORE_OK);
	assert_int_equal(json_array_size(rows), 1);
	assert_string_equal(json_string_value(json_array_get(json_array_get(rows, 0), 1)), "north");
	json_decref(rows);
}

static void values_are_kept_and_removed(void **state)
{
	struct place *place = *state;
	assert_null(wt_store_get(place->store, "name"));
	assert_int_equal(wt_store_set(place->store, "name", "one"), WT_STORE_OK);
	assert_int_equal(wt_store_set(place->store, "name", "two"), WT_STORE_OK);
	char *value = wt_store_get(place->store, "name");
	assert_string_equal(value, "two");
	free(value);
	assert_int_equal(wt_store_set(place->store, "name", NULL), WT_STORE_OK);
	assert_null(wt_store_get(place->store, "name"));
}

static int64_t ask(const char *path, const char *sql)
{
	sqlite3 *db = NULL;
	sqlite3_stmt *statement = NULL;
	assert_int_equal(sqlite3_open(path, &db), SQLITE_OK);
	assert_int_equal(sqlite3_prepare_v2(db, sql, -1, &statement, NULL), SQLITE_OK);
	assert_int_equal(sqlite3_step(statement), SQLITE_ROW);
	int64_t value = sqlite3_column_int64(statement, 0);
	sqlite3_finalize(statement);
	sqlite3_close(db);
	return value;
}

static void old_readings_are_thinned(void **state)
{
	struct place *place = *state;
	const int64_t day_ms = 86400000;
	bool more = true;
	struct wt_store_facts facts;
	int turns = 0;
	assert_int_equal(wt_store_begin(place->store), WT_STORE_OK);
	for (int64_t minute = 0; minute < 3 * 1440; minute++)
		add(place->store, minute * 60000 + 1, minute * 60000 + 2, 20.0);
	assert_int_equal(wt_store_commit(place->store), WT_STORE_OK);
	/* Two of the three days are old: 96 quarters of an hour each are left. */
	while (more && turns++ < 10)
		assert_int_equal(wt_store_retain(place->store, 2 * day_ms / 1000 + 3600, &more),
				 WT_STORE_OK);
	wt_store_facts(place->store, &facts);
	assert_int_equal(facts.readings, 2 * 96 + 1440);
	assert_int_equal(turns, 2);
	assert_int_equal(wt_store_retain(place->store, 2 * day_ms / 1000, &more), WT_STORE_OK);
	assert_false(more);
}

/* What was thinned gives its pages back to the file system. */
static void thinning_makes_the_file_smaller(void **state)
{
	struct place *place = *state;
	bool more = true;
	struct wt_store_facts before, after;
	assert_int_equal(wt_store_begin(place->store), WT_STORE_OK);
	for (int64_t second = 0; second < 2 * 86400; second += 3)
		add(place->store, second * 1000 + 1, second * 1000 + 2, 20.0);
	assert_int_equal(wt_store_commit(place->store), WT_STORE_OK);
	wt_store_close(&place->store);
	open_store(place);
	wt_store_facts(place->store, &before);
	while (more)
		assert_int_equal(wt_store_retain(place->store, 3 * 86400, &more), WT_STORE_OK);
	wt_store_close(&place->store);
	assert_int_equal(ask(place->path, "SELECT count(*) FROM reading"), 2 * 96);
	open_store(place);
	wt_store_facts(place->store, &after);
	assert_int_equal(after.readings, 2 * 96);
	assert_true(after.database_bytes < before.database_bytes / 2);
}

/* Without an orderly stop the file is looked through at the next start; with one it is not. */
static void a_hurt_file_is_found_after_an_unclean_stop_only(void **state)
{
	struct place *place = *state;
	char text[512] = "", aside[128];
	bool set_aside = false;
	assert_int_equal(wt_store_begin(place->store), WT_STORE_OK);
	for (int i = 0; i < 5000; i++)
		add(place->store, i * 1000 + 1, i * 1000 + 2, i);
	assert_int_equal(wt_store_commit(place->store), WT_STORE_OK);
	wt_store_close(&place->store);
	/* In the midst of the rows, where no opening looks. */
	FILE *file = fopen(place->path, "r+");
	assert_non_null(file);
	assert_int_equal(fseek(file, 100000, SEEK_SET), 0);
	for (int i = 0; i < 8192; i++)
		fputc(0xa5, file);
	fclose(file);
	open_store(place);
	wt_store_close(&place->store);
	/* As a kill leaves it. */
	sqlite3 *db = NULL;
	assert_int_equal(sqlite3_open(place->path, &db), SQLITE_OK);
	assert_int_equal(sqlite3_exec(db, "UPDATE value SET text = '0' WHERE name = 'clean_stop'",
				      NULL, NULL, NULL),
			 SQLITE_OK);
	sqlite3_close(db);
	assert_int_equal(wt_store_open(place->path, &place->store, &set_aside, text, sizeof text),
			 WT_STORE_OK);
	assert_true(set_aside);
	snprintf(aside, sizeof aside, "%s.damaged-1", place->path);
	assert_non_null(strstr(text, aside));
	assert_int_equal(access(aside, F_OK), 0);
	assert_true(wt_store_is_empty(place->store));
}

static void a_second_opening_is_refused(void **state)
{
	struct place *place = *state;
	struct wt_store *other = NULL;
	char text[512] = "";
	bool set_aside;
	assert_int_equal(wt_store_open(place->path, &other, &set_aside, text, sizeof text),
			 WT_STORE_LOCKED);
	assert_null(other);
	assert_non_null(strstr(text, "another witherd"));
	/* The first is none the worse for it. */
	assert_true(add(place->store, 1, 2, 3.0));
}

static void a_copy_follows_what_is_written_meanwhile(void **state)
{
	struct place *place = *state;
	struct wt_store_backup *backup = NULL;
	char text[512], path[128];
	bool done = false;
	int64_t bytes = 0;
	int n = 0;
	snprintf(path, sizeof path, "%s/copy.db", place->folder);
	assert_int_equal(wt_store_begin(place->store), WT_STORE_OK);
	for (int i = 0; i < 60000; i++)
		add(place->store, i * 1000, i * 1000 + 1, i);
	assert_int_equal(wt_store_commit(place->store), WT_STORE_OK);
	assert_int_equal(wt_store_backup_start(place->store, path, &backup, text, sizeof text),
			 WT_STORE_OK);
	while (!done) {
		assert_int_equal(wt_store_backup_step(&backup, &done, &bytes, text, sizeof text),
				 WT_STORE_OK);
		if (!done)
			add(place->store, 100000000 + n * 1000, 5, n);
		n++;
	}
	assert_null(backup);
	assert_true(n > 2);
	sqlite3 *copy = NULL;
	sqlite3_stmt *count = NULL;
	assert_int_equal(sqlite3_open(path, &copy), SQLITE_OK);
	assert_int_equal(sqlite3_prepare_v2(copy, "SELECT count(*) FROM reading", -1, &count, NULL),
			 SQLITE_OK);
	assert_int_equal(sqlite3_step(count), SQLITE_ROW);
	assert_int_equal(sqlite3_column_int(count, 0), 60000 + n - 1);
	sqlite3_finalize(count);
	sqlite3_close(copy);
}

/* A database of schema 1 in place of the one of setup(). */
static void put_schema_1(struct place *place)
{
	char text[32768], path[160];
	snprintf(path, sizeof path, "%s/schema-1.sql", WT_TEST_STORE_FOLDER);
	FILE *in = fopen(path, "r");
	assert_non_null(in);
	size_t length = fread(text, 1, sizeof text - 1, in);
	assert_true(feof(in));
	fclose(in);
	text[length] = '\0';
	wt_store_close(&place->store);
	assert_int_equal(unlink(place->path), 0);
	sqlite3 *db = NULL;
	assert_int_equal(sqlite3_open(place->path, &db), SQLITE_OK);
	assert_int_equal(sqlite3_exec(db, text, NULL, NULL, NULL), SQLITE_OK);
	assert_int_equal(sqlite3_close(db), SQLITE_OK);
}

static void an_older_schema_is_brought_up_with_a_copy_kept(void **state)
{
	struct place *place = *state;
	struct wt_store_cursor cursor;
	struct seen seen = {0};
	char kept[128];
	bool more;
	put_schema_1(place);
	open_store(place);
	snprintf(kept, sizeof kept, "%s.schema-1", place->path);
	assert_int_equal(ask(kept, "PRAGMA user_version"), 1);
	assert_int_equal(ask(kept, "SELECT count(*) FROM reading"), 19);
	/* All of it is there, and what was not known then is unknown. */
	assert_int_equal(wt_store_each_reading(place->store, &everything, see, &seen), WT_STORE_OK);
	assert_int_equal(seen.n, 19);
	json_t *rows = json_array();
	wt_store_cursor_first(&cursor);
	assert_int_equal(wt_store_page(place->store, WT_STORE_FORECASTS, &everything, &cursor, 50,
				       rows, &more),
			 WT_STORE_OK);
	assert_int_equal(json_array_size(rows), 5);
	json_t *row = json_array_get(rows, 0);
	assert_int_equal(json_array_size(row), 14);
	assert_string_equal(json_string_value(json_array_get(row, 12)), "morning");
	assert_true(json_is_null(json_array_get(row, 13)));
	json_decref(rows);
	wt_store_close(&place->store);
	assert_int_equal(ask(place->path, "PRAGMA user_version"), 2);
	assert_int_equal(ask(place->path, "SELECT count(*) FROM act"), 3);
	/* Once more, and nothing is left to do. */
	open_store(place);
}

static void a_newer_schema_is_left_alone(void **state)
{
	struct place *place = *state;
	char text[512] = "";
	bool set_aside;
	wt_store_close(&place->store);
	sqlite3 *db = NULL;
	assert_int_equal(sqlite3_open(place->path, &db), SQLITE_OK);
	assert_int_equal(sqlite3_exec(db, "PRAGMA user_version=99", NULL, NULL, NULL), SQLITE_OK);
	sqlite3_close(db);
	assert_int_equal(wt_store_open(place->path, &place->store, &set_aside, text, sizeof text),
			 WT_STORE_FATAL);
	assert_null(place->store);
	assert_false(set_aside);
	assert_non_null(strstr(text, "newer witherd (schema 99)"));
	assert_int_equal(ask(place->path, "PRAGMA user_version"), 99);
}

static struct wt_row reading_row(int64_t at_ms)
{
	return (struct wt_row){.kind = WT_ROW_READING,
			       .name = strdup("shelf"),
			       .room = strdup("north"),
			       .reading = {.at_unix_ms = at_ms,
					   .received_unix_ms = at_ms + 1,
					   .temp_c = 20,
					   .rh_pct = 60}};
}

/* A row that no file will take (a forecast without its key) is dropped and counted, and does not
 * take the others with it. */
static void the_spool_passes_by_a_bad_row(void **state)
{
	struct place *place = *state;
	const struct wt_spool_setup setup = {.store = place->store, .limit = 10};
	struct wt_spool *spool = wt_spool_new(&setup);
	struct wt_spool_facts facts;
	struct wt_row row = reading_row(1000);
	wt_spool_put(spool, &row);
	row = (struct wt_row){.kind = WT_ROW_FORECASTS,
			      .document = json_pack("{s:[{s:s}]}", "forecasts", "call", "wait")};
	wt_spool_put(spool, &row);
	row = reading_row(2000);
	wt_spool_put(spool, &row);
	row = reading_row(2000);
	wt_spool_put(spool, &row);
	assert_int_equal(wt_spool_commit(spool, false), WT_STORE_OK);
	wt_spool_facts(spool, &facts);
	assert_int_equal(facts.dropped, 1);
	assert_int_equal(facts.waiting, 0);
	wt_spool_free(&spool);
	struct seen seen = {0};
	assert_int_equal(wt_store_each_reading(place->store, &everything, see, &seen), WT_STORE_OK);
	assert_int_equal(seen.n, 2);
}

int main(void)
{
	const struct CMUnitTest tests[] = {
#define T(name) cmocka_unit_test_setup_teardown(name, setup, teardown)
		T(a_reading_comes_back_after_a_reopening),
		T(the_same_reading_is_kept_once),
		T(a_span_looks_at_both_times),
		T(a_rollback_leaves_nothing),
		T(acts_get_ascending_numbers),
		T(pages_join_without_a_gap),
		T(forecasts_come_back_with_their_unknowns),
		T(values_are_kept_and_removed),
		T(old_readings_are_thinned),
		T(thinning_makes_the_file_smaller),
		T(a_hurt_file_is_found_after_an_unclean_stop_only),
		T(a_second_opening_is_refused),
		T(a_copy_follows_what_is_written_meanwhile),
		T(an_older_schema_is_brought_up_with_a_copy_kept),
		T(a_newer_schema_is_left_alone),
		T(the_spool_passes_by_a_bad_row),
	};
	return cmocka_run_group_tests(tests, NULL, NULL);
}
