/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * The thread of the store, and the spool that writes through it, on a real file.
 */
#include <event2/event.h>
#include <event2/thread.h>
#include <pthread.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include <cmocka.h>

#include "daemon/spool.h"

struct place {
	char folder[64];
	struct event_base *base;
	struct wt_store *store;
	struct wt_keeper *keeper;
	struct wt_spool *spool;
	/* as told */
	int n_storing, n_stored;
	enum wt_store_result result;
	/* a turn of the thread that is held up */
	pthread_mutex_t lock;
	pthread_cond_t moved;
	bool held, holding;
};

static void storing(void *context)
{
	((struct place *)context)->n_storing++;
}

static void stored(void *context, enum wt_store_result result)
{
	struct place *place = context;
	place->n_stored++;
	place->result = result;
}

static int setup(void **state)
{
	struct place *place = calloc(1, sizeof *place);
	char path[96], text[512];
	bool set_aside;
	strcpy(place->folder, "/tmp/wither-keeper.XXXXXX");
	assert_non_null(mkdtemp(place->folder));
	snprintf(path, sizeof path, "%s/w.db", place->folder);
	assert_int_equal(evthread_use_pthreads(), 0);
	place->base = event_base_new();
	assert_int_equal(wt_store_open(path, &place->store, &set_aside, text, sizeof text),
			 WT_STORE_OK);
	pthread_mutex_init(&place->lock, NULL);
	pthread_cond_init(&place->moved, NULL);
	const struct wt_spool_setup spool = {.store = place->store,
					     .limit = 10,
					     .storing = storing,
					     .stored = stored,
					     .context = place};
	place->spool = wt_spool_new(&spool);
	place->keeper = wt_keeper_new(place->base, place->store);
	wt_spool_use(place->spool, place->keeper);
	*state = place;
	return 0;
}

static void give_up_keeper(struct place *place)
{
	wt_spool_use(place->spool, NULL);
	wt_keeper_free(&place->keeper);
}

static int teardown(void **state)
{
	struct place *place = *state;
	char command[128];
	give_up_keeper(place);
	wt_spool_free(&place->spool);
	wt_store_close(&place->store);
	event_base_free(place->base);
	pthread_cond_destroy(&place->moved);
	pthread_mutex_destroy(&place->lock);
	snprintf(command, sizeof command, "rm -rf '%s'", place->folder);
	int rc = system(command);
	free(place);
	return rc;
}

static void put(struct place *place, int number)
{
	struct wt_row row = {.kind = WT_ROW_READING,
			     .name = strdup("shelf"),
			     .room = strdup("north"),
			     .reading = {.at_unix_ms = number * 1000,
					 .received_unix_ms = number * 1000 + 1,
					 .temp_c = number,
					 .rh_pct = 60}};
	wt_spool_put(place->spool, &row);
}

static int64_t rows(struct place *place)
{
	struct wt_store_facts facts;
	wt_keeper_facts(place->keeper, &facts);
	return facts.readings;
}

static bool hold_turn(void *context, struct wt_store *store)
{
	struct place *place = context;
	(void)store;
	pthread_mutex_lock(&place->lock);
	place->holding = true;
	pthread_cond_broadcast(&place->moved);
	while (place->held)
		pthread_cond_wait(&place->moved, &place->lock);
	pthread_mutex_unlock(&place->lock);
	return false;
}

static void count_done(void *context, bool ran)
{
	(void)context;
	(void)ran;
}

/* The disk stalls: returns when the thread does. */
static void stall(struct place *place)
{
	place->held = true;
	place->holding = false;
	assert_true(wt_keeper_put(place->keeper, true, hold_turn, count_done, place));
	pthread_mutex_lock(&place->lock);
	while (!place->holding)
		pthread_cond_wait(&place->moved, &place->lock);
	pthread_mutex_unlock(&place->lock);
}

static void heal(struct place *place)
{
	pthread_mutex_lock(&place->lock);
	place->held = false;
	pthread_cond_broadcast(&place->moved);
	pthread_mutex_unlock(&place->lock);
}

static void drain(struct place *place)
{
	while (wt_keeper_waiting(place->keeper) > 0)
		wt_keeper_turn(place->keeper, 1000);
}

static void a_batch_is_told_of_when_it_is_there(void **state)
{
	struct place *place = *state;
	struct wt_spool_facts facts;
	put(place, 1);
	put(place, 2);
	wt_spool_commit(place->spool, false);
	assert_int_equal(place->n_storing, 1);
	/* Told on the loop only. */
	assert_int_equal(place->n_stored, 0);
	while (place->n_stored == 0)
		event_base_loop(place->base, EVLOOP_ONCE);
	assert_int_equal(place->result, WT_STORE_OK);
	assert_int_equal(rows(place), 2);
	wt_spool_facts(place->spool, &facts);
	assert_int_equal(facts.waiting, 0);
	/* With nothing to write it is there at once. */
	wt_spool_commit(place->spool, false);
	assert_int_equal(place->n_stored, 2);
}

static void a_stall_holds_up_nobody_and_loses_nothing(void **state)
{
	struct place *place = *state;
	struct wt_spool_facts facts;
	stall(place);
	for (int i = 1; i <= 4; i++) {
		put(place, i);
		wt_spool_commit(place->spool, false);
	}
	wt_spool_facts(place->spool, &facts);
	assert_true(facts.writing);
	assert_int_equal(facts.waiting, 4);
	assert_int_equal(place->n_stored, 0);
	assert_true(wt_keeper_running_s(place->keeper) >= 0.0);
	heal(place);
	drain(place);
	assert_int_equal(rows(place), 4);
	/* The first went alone, the others together. */
	assert_int_equal(place->n_stored, 2);
}

static void beyond_the_limit_the_oldest_that_waits_goes(void **state)
{
	struct place *place = *state;
	struct wt_spool_facts facts;
	stall(place);
	put(place, 1);
	wt_spool_commit(place->spool, false);
	for (int i = 2; i <= 15; i++)
		put(place, i);
	wt_spool_facts(place->spool, &facts);
	assert_int_equal(facts.waiting, 10);
	assert_int_equal(facts.dropped, 5);
	heal(place);
	drain(place);
	wt_spool_commit(place->spool, false);
	drain(place);
	assert_int_equal(rows(place), 10);
}

struct told {
	int n;
	enum wt_store_result result;
	int64_t id;
};

static void tell(void *context, enum wt_store_result result, int64_t id)
{
	struct told *told = context;
	*told = (struct told){told->n + 1, result, id};
}

static void put_act(struct place *place, struct told *told)
{
	struct wt_act act = {.received_unix_ms = 1000,
			     .method = (char[]){"spread"},
			     .params = json_pack("{s:i}", "kg", 5)};
	wt_spool_put_act(place->spool, &act, tell, told);
	json_decref(act.params);
}

static void an_act_is_confirmed_or_taken_back(void **state)
{
	struct place *place = *state;
	struct told first = {0}, second = {0};
	stall(place);
	put_act(place, &first);
	assert_int_equal(first.n, 0);
	/* It is being written: too late. */
	assert_false(wt_spool_withdraw_act(place->spool));
	heal(place);
	drain(place);
	assert_int_equal(first.n, 1);
	assert_int_equal(first.result, WT_STORE_OK);
	assert_int_equal(first.id, 1);
	stall(place);
	put(place, 1);
	wt_spool_commit(place->spool, false);
	put_act(place, &second);
	assert_true(wt_spool_withdraw_act(place->spool));
	heal(place);
	drain(place);
	assert_int_equal(second.n, 0);
	put_act(place, &second);
	drain(place);
	assert_int_equal(second.id, 2);
	assert_int_equal(rows(place), 1);
}

/* As much as may wait is on its way, when an act comes, and a forecast after it. */
static void an_act_never_gives_way(void **state)
{
	struct place *place = *state;
	struct told told = {0};
	struct wt_spool_facts facts;
	stall(place);
	for (int i = 1; i <= 10; i++)
		put(place, i);
	wt_spool_commit(place->spool, false);
	put_act(place, &told);
	put(place, 11);
	put(place, 12);
	wt_spool_facts(place->spool, &facts);
	heal(place);
	drain(place);
	assert_int_equal(facts.dropped, 1);
	assert_int_equal(told.n, 1);
	assert_int_equal(told.result, WT_STORE_OK);
	assert_int_equal(rows(place), 11);
}

/* The store is taken back in the midst of it: what was not written waits for the next commit. */
static void nothing_is_lost_when_the_thread_goes(void **state)
{
	struct place *place = *state;
	struct wt_spool_facts facts;
	struct wt_store_facts there;
	struct told told = {0};
	stall(place);
	put(place, 1);
	wt_spool_commit(place->spool, false);
	put(place, 2);
	put_act(place, &told);
	heal(place);
	give_up_keeper(place);
	assert_int_equal(told.n, 1);
	assert_int_equal(wt_spool_commit(place->spool, true), WT_STORE_OK);
	wt_spool_facts(place->spool, &facts);
	assert_int_equal(facts.waiting, 0);
	wt_store_facts(place->store, &there);
	assert_int_equal(there.readings, 2);
}

static bool three_turns(void *context, struct wt_store *store)
{
	(void)store;
	return ++*(int *)context < 3;
}

static void long_work_lets_other_work_in_between(void **state)
{
	struct place *place = *state;
	int turns = 0;
	assert_true(wt_keeper_put(place->keeper, false, three_turns, count_done, &turns));
	put(place, 1);
	wt_spool_commit(place->spool, false);
	drain(place);
	assert_int_equal(turns, 3);
	assert_int_equal(rows(place), 1);
}

int main(void)
{
	const struct CMUnitTest tests[] = {
#define T(name) cmocka_unit_test_setup_teardown(name, setup, teardown)
		T(a_batch_is_told_of_when_it_is_there),
		T(a_stall_holds_up_nobody_and_loses_nothing),
		T(beyond_the_limit_the_oldest_that_waits_goes),
		T(an_act_is_confirmed_or_taken_back),
		T(an_act_never_gives_way),
		T(nothing_is_lost_when_the_thread_goes),
		T(long_work_lets_other_work_in_between),
	};
	return cmocka_run_group_tests(tests, NULL, NULL);
}
