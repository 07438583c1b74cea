/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * Widths, cuts, times, tables, plots, exports and replies.
 */
#include <locale.h>
#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>

#include <cmocka.h>

#include "cli/csv.h"
#include "cli/page.h"
#include "cli/plot.h"
#include "cli/say.h"
#include "cli/socket.h"
#include "cli/table.h"
#include "cli/when.h"

static const struct wt_term utf8 = {40, 20, true, false}, ascii = {40, 20, false, false};

static void wide_characters_take_two_cells(void **state)
{
	(void)state;
	assert_int_equal(wt_term_cells("creek"), 5);
	assert_int_equal(wt_term_cells("老茶园"), 6);
	assert_int_equal(wt_term_cells("e\xcc\x81"), 1); /* e and a combining acute */
	assert_int_equal(wt_term_cells("⠿░│●…"), 5);
	assert_int_equal(wt_term_cells(""), 0);
}

static void check_copy(const struct wt_term *term, const char *text, int cells, const char *wish)
{
	char out[64];

	assert_int_equal(wt_term_copy(term, out, sizeof out, cells, text), wt_term_cells(wish));
	assert_string_equal(out, wish);
}

static void cuts_end_in_an_ellipsis(void **state)
{
	(void)state;
	check_copy(&utf8, "ridge garden", 12, "ridge garden");
	check_copy(&utf8, "ridge garden", 11, "ridge gard…");
	check_copy(&utf8, "ridge garden", 1, "…");
	check_copy(&utf8, "ridge garden", 0, "");
	check_copy(&ascii, "ridge garden", 11, "ridge gard~");
	check_copy(&utf8, "老茶园", 5, "老茶…");
	check_copy(&utf8, "老茶园", 4, "老…");
	check_copy(&utf8, "老茶园", 6, "老茶园");
	check_copy(&ascii, "18°C → 5 m²", 40, "18C > 5 m2");
	check_copy(&ascii, "老茶园", 40, "???");
}

static void harmful_bytes_are_replaced(void **state)
{
	(void)state;
	check_copy(&utf8, "a\033[31mb\nc\x7f", 40, "a [31mb c ");
	check_copy(&utf8, "\xff\xfe", 40, "\xef\xbf\xbd\xef\xbf\xbd");
	check_copy(&utf8,
		   "a\xe2\x80\xae"
		   "b",
		   40,
		   "a\xef\xbf\xbd"
		   "b");
	check_copy(&utf8,
		   "a\xc2\x9b"
		   "31m",
		   40, "a 31m");
	check_copy(&utf8, "cut \xe8\x8c", 40, "cut \xef\xbf\xbd\xef\xbf\xbd");
}

/* A buffer that is too small cuts too, and never in the middle of a character. */
static void small_buffers_are_respected(void **state)
{
	char out[64];

	(void)state;
	for (size_t size = 8; size < sizeof out; size++) {
		memset(out, '#', sizeof out);
		wt_term_copy(&utf8, out, size, 1000, "老茶园老茶园老茶园老茶园老茶园老茶园");
		assert_true(strlen(out) < size);
		assert_null(strstr(out, "\xef\xbf\xbd"));
	}
}

static char *lay(const struct wt_term *term, int indent, const char *text)
{
	char *out = NULL;
	size_t size = 0;
	FILE *memory = open_memstream(&out, &size);
	struct wt_page page;

	assert_non_null(memory);
	wt_page_open(&page, memory, term);
	wt_page_text(&page, WT_MARK_NONE, indent, text);
	fclose(memory);
	return out;
}

static void sentences_break_between_words(void **state)
{
	const struct wt_term narrow = {20, 20, true, false};
	char *text;

	(void)state;
	text = lay(&narrow, 2, "the leaf is ready in a little while now");
	assert_string_equal(text, "the leaf is ready in\n  a little while now\n");
	free(text);
	text = lay(&narrow, 2, "averyveryverylongwordwithoutaspace");
	assert_string_equal(text, "averyveryverylongwor\n  dwithoutaspace\n");
	free(text);
	text = lay(&narrow, 0, "今晚可以炒第三批和第五批，明早再炒第四批。");
	assert_string_equal(text, "今晚可以炒第三批和第\n五批，明早再炒第四\n批。\n");
	free(text);
	text = lay(&narrow, 0, "");
	assert_string_equal(text, "\n");
	free(text);
}

static double at(const char *zone, int year, int month, int day, int hour, int minute)
{
	struct tm local = {.tm_year = year - 1900,
			   .tm_mon = month - 1,
			   .tm_mday = day,
			   .tm_hour = hour,
			   .tm_min = minute,
			   .tm_isdst = -1};

	wt_when_zone(zone);
	return (double)mktime(&local);
}

static void check_range(double from, double to, double now, const char *wish)
{
	char out[WT_WHEN_SIZE];

	wt_when_range(out, from, to, now);
	assert_string_equal(out, wish);
	assert_true(wt_term_cells(out) <= 11);
}

static void ranges_fit_in_eleven_cells(void **state)
{
	const char *zone = "Asia/Shanghai";
	double now = at(zone, 2026, 4, 5, 18, 42);

	(void)state;
	check_range(at(zone, 2026, 4, 5, 20, 10), at(zone, 2026, 4, 5, 22, 40), now, "20:10-22:40");
	check_range(now - 60, at(zone, 2026, 4, 5, 21, 0), now, "now-21:00");
	check_range(at(zone, 2026, 4, 5, 22, 40), at(zone, 2026, 4, 6, 1, 5), now, "22:40-Mon01");
	check_range(at(zone, 2026, 4, 6, 3, 10), at(zone, 2026, 4, 6, 7, 5), now, "Mon 03-07h");
	check_range(at(zone, 2026, 4, 6, 1, 5), at(zone, 2026, 4, 6, 1, 50), now, "Mon 01h");
	check_range(at(zone, 2026, 4, 6, 23, 10), at(zone, 2026, 4, 7, 2, 5), now, "Mon23-Tue02");
	check_range(at(zone, 2026, 4, 6, 3, 10), NAN, now, "Mon03-?");
	check_range(at(zone, 2026, 4, 5, 23, 10), NAN, now, "23:10-?");
	check_range(now - 7200, now - 3600, now, "reached");
	check_range(now + 7200, now + 7200, now, "20:42");
	check_range(NAN, NAN, now, "-");
	check_range(NAN, now + 60, now, "?-18:43");
}

static void days_and_summer_time_are_told(void **state)
{
	char out[WT_WHEN_SIZE];
	double now;

	(void)state;
	/* Europe/Berlin went from 02:00 to 03:00 on 29 March 2026 (tz database). */
	now = at("Europe/Berlin", 2026, 3, 28, 23, 30);
	wt_when_clock(out, now + 3 * 3600, now);
	assert_string_equal(out, "Sun 03:30");
	wt_when_clock(out, now + 1800 - 1, now);
	assert_string_equal(out, "23:59");
	wt_when_clock(out, now + 1800, now);
	assert_string_equal(out, "Sun 00:00");
	wt_when_clock(out, now - 40 * 86400.0, now);
	assert_string_equal(out, "16 Feb 23:30");
	wt_when_clock(out, NAN, now);
	assert_string_equal(out, "-");
	wt_when_full(out, now);
	assert_string_equal(out, "Sat 28 Mar 23:30");
	wt_when_day(out, now - 400 * 86400.0, now);
	assert_string_equal(out, "2025-02-21");
	wt_when_span(out, 41);
	assert_string_equal(out, "41 s");
	wt_when_span(out, 7800);
	assert_string_equal(out, "2 h 10 min");
	wt_when_span(out, 3 * 86400.0);
	assert_string_equal(out, "3 d");
}

static void unknown_is_never_zero(void **state)
{
	char out[WT_SAY_SIZE];

	(void)state;
	wt_say_number(out, NAN, 1, "%");
	assert_string_equal(out, "-");
	wt_say_loss(out, (struct wt_doc_triple){NAN, NAN, NAN});
	assert_string_equal(out, "-");
	wt_say_chance(out, NAN);
	assert_string_equal(out, "-");
	wt_say_chance(out, 0.001);
	assert_string_equal(out, "<1%");
	wt_say_chance(out, 0.9999);
	assert_string_equal(out, ">99%");
	wt_say_number(out, -0.01, 1, "");
	assert_string_equal(out, "0");
	wt_say_number(out, 100, 0, "");
	assert_string_equal(out, "100");
	wt_say_number(out, 2.50, 2, " kg");
	assert_string_equal(out, "2.5 kg");
}

static void curves_are_straight_between_values(void **state)
{
	const double t[] = {0, 10, 20}, y[] = {0, 5, NAN};

	(void)state;
	assert_float_equal(wt_plot_at(3, t, y, 5), 2.5, 1e-12);
	assert_float_equal(wt_plot_at(3, t, y, 10), 5, 1e-12);
	assert_true(isnan(wt_plot_at(3, t, y, 15)));
	assert_true(isnan(wt_plot_at(3, t, y, -1)));
	assert_true(isnan(wt_plot_at(3, t, y, 21)));
	assert_true(isnan(wt_plot_at(0, t, y, 0)));
	assert_float_equal(wt_plot_at(1, t, y, 0), 0, 1e-12);
}

static void empty_plots_are_refused(void **state)
{
	struct wt_page page;

	(void)state;
	wt_page_open(&page, stdout, &utf8);
	assert_null(wt_plot_new(&page, 8, 10, 10, 0, 1));
	assert_null(wt_plot_new(&page, 8, 0, 10, 1, 1));
	assert_null(wt_plot_new(&page, 8, NAN, 10, 0, 1));
	assert_null(wt_plot_new(&page, 1, 0, 10, 0, 1));
	assert_null(wt_plot_new(&page, 8, 0, 61 * 86400.0, 0, 1));
	assert_null(wt_plot_new(&page, 8, 1e300, 1.5e300, 0, 1));
}

static void points_outside_are_left_out(void **state)
{
	char *out = NULL;
	size_t size = 0;
	FILE *memory = open_memstream(&out, &size);
	struct wt_page page;
	struct wt_plot *plot;
	const double t[] = {0, 3600}, y[] = {1e9, -1e9};

	(void)state;
	wt_page_open(&page, memory, &ascii);
	plot = wt_plot_new(&page, 4, 0, 3600, 0, 1);
	assert_non_null(plot);
	wt_plot_point(plot, -5, 0.5);
	wt_plot_point(plot, 5000, 0.5);
	wt_plot_point(plot, 100, 7);
	wt_plot_point(plot, NAN, NAN);
	wt_plot_now(plot, 1e12);
	wt_plot_now(plot, -1e12);
	wt_plot_line(plot, 2, t, y);
	wt_plot_print(plot, &page, 1, true);
	fclose(memory);
	assert_null(strchr(out, 'o'));
	wt_plot_free(&plot);
	assert_null(plot);
	free(out);
}

/* RFC 4180, section 2, points 5 to 7: fields with a comma, a quote or a line end are quoted, a
 * quote within is doubled. */
static void exports_follow_rfc_4180(void **state)
{
	char *out = NULL;
	size_t size = 0;
	FILE *memory = open_memstream(&out, &size);
	json_t *row = json_pack("[s, s, s, s, n, i, f, f, b]", "plain", "a,b", "say \"x\"",
				"two\nrows", 7, 0.1, 1.0 / 3.0, 1);

	(void)state;
	wt_csv_row(memory, row);
	fclose(memory);
	assert_string_equal(out, "plain,\"a,b\",\"say \"\"x\"\"\",\"two\nrows\",,7,0.1,"
				 "0.33333333333333331,true\n");
	json_decref(row);
	free(out);
}

/* What no column can give way for goes on below; only the garden is cut, and only once it must. */
static void narrow_tables_go_on_below(void **state)
{
	static const char *const cells[] = {"#",           "garden",  "loss",        "ready",
					    "call",        "15",      "old terrace", "12-15%",
					    "19:34-Fri01", "tomorrow"};

	(void)state;
	for (int width = 20; width <= 60; width++) {
		struct wt_table table = wt_table_new("rFrll");
		struct wt_term term = {width, 20, true, false};
		struct wt_page page;
		char *out = NULL, *save = NULL, *rows;
		size_t size = 0;
		FILE *memory = open_memstream(&out, &size);

		assert_non_null(memory);
		wt_page_open(&page, memory, &term);
		for (size_t i = 0; i < sizeof cells / sizeof *cells; i++)
			wt_table_add(&table, WT_MARK_NONE, cells[i]);
		wt_table_finish(&table, &page);
		fclose(memory);
		for (size_t i = 0; i < sizeof cells / sizeof *cells; i++)
			if (!strstr(out, cells[i]) && i % 5 != 1)
				fail_msg("%d cells: no %s in: %s", width, cells[i], out);
		assert_non_null(strstr(out, "old"));
		if (width >= 42)
			assert_int_equal(page.rows, 2);
		rows = strdup(out);
		for (char *row = strtok_r(rows, "\n", &save); row;
		     row = strtok_r(NULL, "\n", &save))
			assert_true(wt_term_cells(row) <= width);
		free(rows);
		free(out);
	}
}

static void the_result_is_found_as_received(void **state)
{
	static const struct {
		const char *line, *wish;
	} replies[] = {
		{"{\"jsonrpc\":\"2.0\",\"id\":1,\"result\":{\"a\":1}}", "{\"a\":1}"},
		{"{\"result\":[1,{\"result\":2}],\"id\":1}", "[1,{\"result\":2}]"},
		{"{ \"id\" : \"\\\"result\\\":\" , \"result\" : {\"x\":\"}{,\"} }",
		 "{\"x\":\"}{,\"} "},
		{"{\"e\":{\"result\":9},\"result\":1.50}", "1.50"},
	};
	size_t length;

	(void)state;
	for (size_t i = 0; i < sizeof replies / sizeof *replies; i++) {
		const char *text = wt_socket_result_text(replies[i].line, &length);

		assert_non_null(text);
		assert_int_equal(length, strlen(replies[i].wish));
		assert_memory_equal(text, replies[i].wish, length);
	}
	assert_null(wt_socket_result_text("{\"error\":{\"result\":1}}", &length));
	assert_null(wt_socket_result_text("{}", &length));
}

int main(void)
{
	const struct CMUnitTest tests[] = {
		cmocka_unit_test(wide_characters_take_two_cells),
		cmocka_unit_test(cuts_end_in_an_ellipsis),
		cmocka_unit_test(harmful_bytes_are_replaced),
		cmocka_unit_test(small_buffers_are_respected),
		cmocka_unit_test(sentences_break_between_words),
		cmocka_unit_test(ranges_fit_in_eleven_cells),
		cmocka_unit_test(days_and_summer_time_are_told),
		cmocka_unit_test(unknown_is_never_zero),
		cmocka_unit_test(curves_are_straight_between_values),
		cmocka_unit_test(empty_plots_are_refused),
		cmocka_unit_test(points_outside_are_left_out),
		cmocka_unit_test(exports_follow_rfc_4180),
		cmocka_unit_test(narrow_tables_go_on_below),
		cmocka_unit_test(the_result_is_found_as_received),
	};

	setlocale(LC_CTYPE, "C.UTF-8");
	return cmocka_run_group_tests(tests, NULL, NULL);
}
