/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * Loss follows from the moistures of the standards by 1 - (1 - m0) / (1 - m1), fresh leaf m0 at
 * 76 % wet basis: 72 % is 14.3, 70 % 20.0, 68 % 25.0, 65 % 31.4, 62 % 36.8, 58 % 42.9, 20 % 70.0.
 */
#include "lib/style_table.h"

#include <math.h>
#include <string.h>

static const struct wt_style styles[] = {
	{"green", 14.0, 20.0, 25.0, 2.0, 24.0, WT_PREFER_NONE, "pan-fired green tea",
	 "70 +-2 % wet basis, 6-12 h: common practice (attributed to DB33/T 239-2023, not read); "
	 "2 h least and 24 h most: our choice"},
	{"raw", 10.0, 16.0, 22.0, 3.0, 18.0, WT_PREFER_NONE, "sun-dried raw leaf",
	 "loss 10-20 %, leaf 68-72 % wet basis, 4-8 h or overnight: common practice, no source"},
	{"yellow", 14.0, 22.0, 31.0, 5.0, 20.0, WT_PREFER_NONE, "yellow tea",
	 "65-70 % or 72-74 % wet basis, 6-15 h, at most 20: common practice (attributed to "
	 "DB330326/T 02.02-2022 and DB34/T 2891-2017, not read)"},
	{"oolong", 8.0, 12.0, 16.0, 3.0, 10.0, WT_PREFER_NONE, "oolong, room phase",
	 "loss 5-15 % in 3-6 h: common practice (attributed to GB/T 19598-2025 and GB/T "
	 "35863-2018, "
	 "not read); 10 h most: our choice"},
	{"black", 33.0, 38.0, 43.0, 8.0, 24.0, WT_PREFER_MORNING, "black tea, natural wither",
	 "58-64 % wet basis, natural 18-24 h: common practice (attributed to DB34/T 1086-2026, not "
	 "read); 8-20 h: common practice, no source"},
	{"white", 66.0, 69.0, 71.5, 30.0, 72.0, WT_PREFER_NONE,
	 "white tea, to the end of its wither",
	 "at most 20 % wet basis after 36-50 h: common practice (attributed to GB/T 32743-2016, "
	 "not "
	 "read); hours here: our choice"},
};

size_t wt_style_table_count(void)
{
	return sizeof styles / sizeof styles[0];
}

const struct wt_style *wt_style_table_at(size_t i)
{
	return i < wt_style_table_count() ? &styles[i] : NULL;
}

const struct wt_style *wt_style_table_find(const char *name)
{
	if (!name)
		return NULL;
	for (size_t i = 0; i < wt_style_table_count(); i++)
		if (strcmp(styles[i].name, name) == 0)
			return &styles[i];
	return NULL;
}
