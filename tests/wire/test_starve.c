/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * Every reader of outside text with its 1st, 2nd, ... allocation refused: it
 * must refuse or do without, crash never, and leave nothing behind.  The linker
 * puts the functions below in the place of the C library's (--wrap).
 */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <cmocka.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "daemon/config.h"
#include "lib/wire/journal.h"
#include "lib/wire/outlook_doc.h"
#include "lib/wire/propose.h"
#include "lib/wire/rpc.h"

void *__real_malloc(size_t size);
void *__real_calloc(size_t n, size_t size);
void *__real_realloc(void *old, size_t size);
void __real_free(void *old);
void *__wrap_malloc(size_t size);
void *__wrap_calloc(size_t n, size_t size);
void *__wrap_realloc(void *old, size_t size);
void __wrap_free(void *old);
char *__wrap_strdup(const char *text);
char *__wrap_strndup(const char *text, size_t length);

static long refuse_at; /* counts down; at 1 the allocation is refused */
static long refused;   /* how many were */
static long alive;     /* blocks not freed */

static bool starved(void)
{
	if (refuse_at <= 0 || --refuse_at != 0)
		return false;
	refused++;
	return true;
}

void *__wrap_malloc(size_t size)
{
	void *block = starved() ? NULL : __real_malloc(size);
	alive += block != NULL;
	return block;
}

void *__wrap_calloc(size_t n, size_t size)
{
	void *block = starved() ? NULL : __real_calloc(n, size);
	alive += block != NULL;
	return block;
}

void *__wrap_realloc(void *old, size_t size)
{
	void *block = starved() ? NULL : __real_realloc(old, size);
	alive += block != NULL && old == NULL;
	return block;
}

void __wrap_free(void *old)
{
	alive -= old != NULL;
	__real_free(old);
}

char *__wrap_strndup(const char *text, size_t length)
{
	size_t n = strnlen(text, length);
	char *copy = __wrap_malloc(n + 1);

	if (copy) {
		memcpy(copy, text, n);
		copy[n] = '\0';
	}
	return copy;
}

char *__wrap_strdup(const char *text)
{
	return __wrap_strndup(text, strlen(text));
}

static void *give(size_t size)
{
	void *block = __real_malloc(size);
	alive += block != NULL;
	return block;
}

static FILE *nowhere;

static bool run_config(void)
{
	static const char text[] =
		"[site]\nname = Shed\n[broker]\nhost = h\npublish_prefix = p\n[room r]\n[room q]\n"
		"[station s]\nroom = q\ntopic = a\ntemp_pointer = /t\nrh_pointer = /h\n"
		"match_pointer = /i\nmatch_value = 4\n[scale w]\nroom = r\ntopic = w\n"
		"[style own]\nready_from_loss_pct = 20\nlatest_loss_pct = 30\n";
	struct wt_config *config = NULL;
	bool fine = wt_config_parse("t", text, sizeof text - 1, nowhere, &config) == 0;

	assert_int_equal(fine, config != NULL);
	if (fine) {
		assert_non_null(config->rooms[1].name);
		assert_non_null(config->stations[0].name);
		assert_non_null(config->stations[0].rule.temp_topic);
		assert_non_null(config->stations[0].rule.rh_topic);
		assert_non_null(config->scales[0].name);
		for (size_t i = 0; i < config->n_styles; i++)
			assert_non_null(config->styles[i].name);
	}
	wt_config_free(&config);
	return fine;
}

static bool run_journal_line(const char *line)
{
	struct wt_journal_entry entry;
	char why[128], *written;

	if (!wt_journal_parse(line, strlen(line), &entry, why, sizeof why))
		return false;
	written = wt_journal_format(&entry);
	wt_journal_clear(&entry);
	free(written);
	return written != NULL;
}

static bool run_journal(void)
{
	bool message = run_journal_line("{\"at\":1,\"topic\":\"a\",\"payload\":\"20\"}");
	bool binary = run_journal_line("{\"at\":1,\"topic\":\"a\",\"payload_base64\":\"AAH/\"}");
	bool call = run_journal_line("{\"at\":1,\"call\":{\"method\":\"undo\"}}");
	bool outlook = run_journal_line("{\"at\":1,\"outlook\":{\"hourly\":{}}}");

	return message && binary && call && outlook;
}

static bool run_rpc(void)
{
	static const char line[] = "{\"jsonrpc\":\"2.0\",\"id\":7,\"method\":\"weigh\","
				   "\"params\":{\"load\":3,\"sample_fresh\":\"800g\"}}";
	struct wt_rpc_request request;
	struct wt_refusal refusal = {0};
	bool fine = wt_rpc_parse(line, sizeof line - 1, &request, &refusal);
	char *answer = fine ? wt_rpc_reply_line(request.id, request.params)
			    : wt_rpc_error_line(request.id, &refusal);

	assert_true(fine || refusal.text[0]);
	fine &= answer != NULL;
	free(answer);
	wt_rpc_clear(&request);
	return fine;
}

static bool run_outlook(void)
{
	static struct wt_outlook_doc doc;
	static const char text[] = "{\"hourly\":{\"time\":[0],\"temperature_2m\":[1],"
				   "\"relative_humidity_2m\":[50]}}";
	json_t *document = json_loads(text, 0, NULL),
	       *wrong = json_loads("{\"hourly\":5}", 0, NULL);
	char why[128];
	bool fine = document && wt_outlook_doc_parse(document, &doc, why, sizeof why);

	assert_false(wt_outlook_doc_parse(wrong, &doc, why, sizeof why));
	json_decref(document);
	json_decref(wrong);
	return fine;
}

static bool run_propose(void)
{
	struct wt_propose *propose = wt_propose_new();
	json_t *document;
	bool fine;

	if (!propose)
		return false;
	wt_propose_add(propose, "a", "{\"t\":20,\"h\":60}", 15);
	wt_propose_add(propose, "b/temperature", "20", 2);
	document = wt_propose_document(propose);
	fine = document != NULL;
	json_decref(document);
	wt_propose_free(&propose);
	return fine;
}

/* Refuses the n-th allocation for each n until one run needs fewer. */
static void starve(bool (*run)(void))
{
	long n = 0;

	do {
		long before = alive;
		refused = 0;
		refuse_at = ++n;
		bool fine = run();
		refuse_at = 0;
		assert_int_equal(alive, before);
		if (!refused)
			assert_true(fine);
	} while (refused);
	assert_true(n > 2);
}

#define STARVE(part)                                                                               \
	static void part##_starved(void **state)                                                   \
	{                                                                                          \
		(void)state;                                                                       \
		starve(run_##part);                                                                \
	}
STARVE(config)
STARVE(journal)
STARVE(rpc)
STARVE(outlook)
STARVE(propose)

int main(void)
{
	const struct CMUnitTest tests[] = {
		cmocka_unit_test(config_starved),  cmocka_unit_test(journal_starved),
		cmocka_unit_test(rpc_starved),     cmocka_unit_test(outlook_starved),
		cmocka_unit_test(propose_starved),
	};
	nowhere = fopen("/dev/null", "w");
	/* Counted, but not refused: jansson 2.14 itself writes past a string that it could not
	 * grow. */
	json_set_alloc_funcs(give, __wrap_free);
	return cmocka_run_group_tests(tests, NULL, NULL);
}
