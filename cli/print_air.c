/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * The room's air, as it was and as it will probably be.
 */
#include <math.h>
#include <stdio.h>
#include <string.h>

#include "cli/doc.h"
#include "cli/page.h"
#include "cli/print.h"
#include "cli/say.h"
#include "cli/tongue.h"
#include "cli/when.h"

static double at(const json_t *list, size_t i)
{
	const json_t *value = json_array_get(list, i);

	return json_is_number(value) ? json_number_value(value) : NAN;
}

static struct wt_doc_triple triple_at(const json_t *bands, size_t i)
{
	return (struct wt_doc_triple){
		.p10 = at(wt_doc_list(bands, "p10"), i),
		.p50 = at(wt_doc_list(bands, "p50"), i),
		.p90 = at(wt_doc_list(bands, "p90"), i),
	};
}

/* One row every three hours: enough to plan by, few enough for a phone. */
static void print_hours(struct wt_page *page, const json_t *result, double now)
{
	const json_t *temp = wt_doc_object(result, "temp_c"), *rh = wt_doc_object(result, "rh_pct");
	const json_t *vpd = wt_doc_object(result, "vpd_pa");
	double step_s = wt_doc_number(result, "step_s");
	size_t n = json_array_size(wt_doc_list(temp, "p50"));

	wt_page_cell(page, WT_MARK_FAINT, 10, _("when"));
	wt_page_cell(page, WT_MARK_FAINT, -9, "°C");
	wt_page_cell(page, WT_MARK_FAINT, -9, "%");
	wt_page_cell(page, WT_MARK_FAINT, -11, "VPD kPa");
	wt_page_end(page);
	for (double lead_s = 0; step_s > 0 && lead_s <= 36 * 3600.0; lead_s += 3 * 3600.0) {
		size_t i = (size_t)(lead_s / step_s);
		struct wt_doc_triple kpa = triple_at(vpd, i);
		char when[WT_WHEN_SIZE], text[WT_SAY_SIZE];

		if (i >= n)
			break;
		wt_when_clock(when, now + lead_s, now);
		wt_page_cell(page, WT_MARK_NONE, 10, when);
		wt_say_triple(text, triple_at(temp, i), 0, "");
		wt_page_cell(page, WT_MARK_NONE, -9, text);
		wt_say_triple(text, triple_at(rh, i), 0, "");
		wt_page_cell(page, WT_MARK_NONE, -9, text);
		kpa.p10 /= 1000;
		kpa.p50 /= 1000;
		kpa.p90 /= 1000;
		wt_say_triple(text, kpa, 2, "");
		wt_page_cell(page, WT_MARK_NONE, -11, text);
		wt_page_end(page);
	}
}

static void print_skill(struct wt_page *page, const json_t *skill)
{
	size_t i;
	json_t *row;

	if (json_array_size(skill) == 0)
		return;
	wt_page_row(page, WT_MARK_FAINT, "%s", _("how good the last days' forecasts were"));
	json_array_foreach(skill, i, row)
	{
		char lead[WT_WHEN_SIZE], temp[WT_SAY_SIZE], cover[WT_SAY_SIZE];

		wt_when_span(lead, wt_doc_number(row, "lead_s"));
		wt_say_number(temp, wt_doc_number(row, "temp_mae_c"), 1, "°C");
		wt_say_number(cover, wt_doc_number(row, "coverage_80_pct"), 0, "%");
		wt_page_textf(page, WT_MARK_NONE, 4,
			      _("  %s ahead: off by %s, %s inside the band of 80%%"), lead, temp,
			      cover);
	}
}

void wt_print_air(struct wt_page *page, const json_t *result)
{
	double now = wt_doc_number(result, "now_unix_s");
	const json_t *outlook = wt_doc_object(result, "outlook");
	const char *room = wt_doc_text(result, "room");
	char when[WT_WHEN_SIZE];

	wt_when_full(when, now);
	wt_page_row(page, WT_MARK_HEAD, _("Air in %s, %s"), room ? room : "-", when);
	wt_print_event(page, wt_doc_object(result, "event"), now);
	print_hours(page, result, now);
	print_skill(page, wt_doc_list(result, "skill"));
	if (outlook && wt_doc_text(outlook, "attribution"))
		wt_page_text(page, WT_MARK_FAINT, 2, wt_doc_text(outlook, "attribution"));
}
