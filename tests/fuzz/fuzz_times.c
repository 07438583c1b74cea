/* SPDX-License-Identifier: GPL-3.0-or-later */
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "fuzz.h"
#include "lib/salt.h"
#include "lib/wire/quantity.h"
#include "lib/wire/text.h"
#include "lib/wire/timefmt.h"

static void check_clean(const char *text, size_t length)
{
	char clean[32];

	wt_text_clean(text, length, clean, sizeof clean);
	fuzz_require_printable(clean, 0);
	fuzz_require(wt_text_is_clean(clean, strlen(clean)), "what was cleaned is clean");
	if (wt_text_is_clean(text, length) && length < sizeof clean)
		fuzz_require(strlen(clean) == length && !memcmp(clean, text, length),
			     "clean text stays");
}

static void check_user(const char *text)
{
	const int64_t now_unix_s = 1792888200;
	int64_t past = -1, next = -1;

	if (wt_timefmt_user(text, now_unix_s, WT_TIMEFMT_PAST, &past) == WT_OK)
		fuzz_require(past >= 0 && past <= WT_TIMEFMT_LAST_UNIX_S, "a time in range");
	if (wt_timefmt_user(text, now_unix_s, WT_TIMEFMT_NEXT, &next) == WT_OK &&
	    strlen(text) == 5 && text[2] == ':') {
		fuzz_require(past <= now_unix_s && past > now_unix_s - 2 * 86400,
			     "an hour just past");
		fuzz_require(next >= now_unix_s && next < now_unix_s + 2 * 86400, "an hour soon");
	}
}

void fuzz_times(const uint8_t *data, size_t size)
{
	char *text = strndup((const char *)data, size), written[WT_TIMEFMT_SIZE];
	double unix_s = -1, number = 0;
	int64_t unix_ms = -1, back = -1;
	enum wt_salt salt;

	if (!text)
		return;
	check_clean((const char *)data, size);
	if (wt_timefmt_station(text, 1792888200, &unix_s) == WT_OK)
		fuzz_require(unix_s >= 0 && unix_s <= (double)WT_TIMEFMT_LAST_UNIX_S,
			     "a time in range");
	if (wt_timefmt_rfc3339(text, &unix_ms) == WT_OK) {
		wt_timefmt_write(unix_ms, written);
		fuzz_require(wt_timefmt_rfc3339(written, &back) == WT_OK && back == unix_ms,
			     "a written time reads back");
		fuzz_require(wt_timefmt_station(text, (double)NAN, &unix_s) == WT_OK,
			     "RFC 3339 is a station's time too");
	}
	check_user(text);
	for (int kind = 0; kind < WT_QUANTITY_COUNT; kind++) {
		if (wt_quantity_parse((enum wt_quantity)kind, text, &number) == WT_OK)
			fuzz_require(isfinite(number), "a quantity is finite");
	}
	if (wt_salt_parse(text, &salt) == WT_OK)
		fuzz_require(salt < WT_SALT_COUNT, "a salt is one of the list");
	free(text);
}
