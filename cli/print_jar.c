/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * The salt jar: how it is made, what the station shows in it, what came out.
 */
#include "cli/print_jar.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

#include "cli/doc.h"
#include "cli/say.h"
#include "cli/table.h"
#include "cli/tongue.h"
#include "lib/salt.h"

enum { JAR_LABEL = 9 };

static void say_range(char out[static WT_SAY_SIZE], double low, double high)
{
	struct wt_doc_triple range = {.p10 = low, .p50 = NAN, .p90 = high};

	wt_say_triple(out, range, 1, "%");
}

void wt_print_jar_hour(struct wt_page *page, const json_t *station)
{
	const json_t *hour = wt_doc_object(station, "hour");
	double low = wt_doc_number(hour, "low_rh_pct"), high = wt_doc_number(hour, "high_rh_pct");
	char range[WT_SAY_SIZE], move[WT_SAY_SIZE];

	if (!isfinite(low)) {
		wt_page_fact(page, JAR_LABEL, _("last hour"), "%s", _("nothing heard"));
		return;
	}
	say_range(range, low, high);
	wt_say_number(move, high - low, 1, "%");
	if (wt_doc_true(hour, "steady"))
		wt_page_fact(page, JAR_LABEL, _("last hour"), _("%s: steady"), range);
	else if (high - low > 0.5)
		wt_page_fact(page, JAR_LABEL, _("last hour"), _("%s: moves by %s; 0.5%% is steady"),
			     range, move);
	else
		wt_page_fact(page, JAR_LABEL, _("last hour"),
			     _("%s: %lld readings in %lld min; 6 in an hour are needed"), range,
			     wt_doc_integer(hour, "readings", 0),
			     wt_doc_integer(hour, "span_s", 0) / 60);
}

static void print_effect(struct wt_page *page, const json_t *effect)
{
	char error[WT_SAY_SIZE], hours[WT_SAY_SIZE], high[WT_SAY_SIZE], low[WT_SAY_SIZE];

	if (!effect || !isfinite(wt_doc_number(effect, "hours")))
		return;
	wt_say_number(error, wt_doc_number(effect, "error_pct"), 1, "%");
	wt_say_number(hours, wt_doc_number(effect, "hours"), 1, " h");
	wt_say_number(high, wt_doc_number(effect, "hours_high"), 1, " h");
	wt_say_number(low, wt_doc_number(effect, "hours_low"), 1, " h");
	wt_page_textf(
		page, WT_MARK_FAINT, 2,
		_("What it is for: green leaf, 1 kg/m² at %.0f °C and %.0f%%, withers in %s. Shown "
		  "%s too much, %s is forecast; %s too little, %s."),
		wt_doc_number(effect, "temp_c"), wt_doc_number(effect, "rh_pct"), hours, error,
		high, error, low);
}

/* What the salts hold at the station's temperature, two a row. */
static void print_salts(struct wt_page *page, double temp_c)
{
	struct wt_table table = wt_table_new("llrlr");

	if (!(temp_c >= 0.0 && temp_c <= 50.0))
		temp_c = 20.0;
	wt_page_textf(page, WT_MARK_NONE, 2, _("Over the salts, at %.1f °C (NaCl is table salt):"),
		      temp_c);
	for (int salt = 0; salt < WT_SALT_COUNT; salt++) {
		double rh_pct = NAN;

		if (wt_salt_rh_pct((enum wt_salt)salt, temp_c, &rh_pct) != WT_OK)
			continue;
		if (salt % 2 == 0)
			wt_table_add(&table, WT_MARK_NONE, " ");
		wt_table_add(&table, WT_MARK_NONE, wt_salt_formula((enum wt_salt)salt));
		wt_table_addf(&table, WT_MARK_NONE, "%.1f%%", rh_pct);
	}
	wt_table_finish(&table, page);
}

static void print_steps(struct wt_page *page, const char *station)
{
	static const char *const steps[] = {
		N_("1. Salt into a cup, water to it until it is wet sand: salt must stay solid, no "
		   "clear water on top."),
		N_("2. Cup and station into a jar with a tight lid, side by side: no salt on the "
		   "station."),
		N_("3. Keep it at one temperature, 15-30 °C, out of sun and draught."),
		N_("4. Wait 12 hours; a day for K2SO4."),
	};

	for (size_t i = 0; i < sizeof steps / sizeof *steps; i++)
		wt_page_text(page, WT_MARK_NONE, 3, _(steps[i]));
	wt_page_textf(page, WT_MARK_HEAD, 3, _("5. wither salt %s NaCl"), station);
	wt_page_text(page, WT_MARK_NONE, 3,
		     _("6. A second salt, such as MgCl2, makes a line of it: right when dry too."));
}

void wt_print_jar_cautions(struct wt_page *page)
{
	wt_page_text(page, WT_MARK_FAINT, 2,
		     _("! Not for eating: mark cup and jar, keep them from leaf and kitchen, wash "
		       "your hands. LiCl is harmful, nitrate feeds fire."));
	wt_page_text(page, WT_MARK_FAINT, 2,
		     _("! In the jar it does not read the room: do it while no leaf lies there."));
}

void wt_print_jar_guide(struct wt_page *page, const json_t *station, const json_t *effect)
{
	const char *name = wt_doc_text(station, "station");

	wt_page_row(page, WT_MARK_HEAD, _("%s in a salt jar"), name ? name : "-");
	print_steps(page, name ? name : "-");
	print_salts(page, wt_doc_number(station, "temp_c"));
	wt_print_jar_hour(page, station);
	wt_print_jar_line(page, wt_doc_object(station, "salt"));
	print_effect(page, effect);
	wt_print_jar_cautions(page);
}

void wt_print_jar_line(struct wt_page *page, const json_t *salt)
{
	double gain = wt_doc_number(salt, "gain"), offset = wt_doc_number(salt, "offset_pct");
	const char *sign = offset < 0 ? "-" : "+";

	if (!isfinite(gain) || !isfinite(offset))
		return;
	if (gain == 1.0)
		wt_page_fact(page, JAR_LABEL, _("corrected"), _("true = shown %s %.1f%%"), sign,
			     fabs(offset));
	else
		wt_page_fact(page, JAR_LABEL, _("corrected"), _("true = %.3f × shown %s %.1f%%"),
			     gain, sign, fabs(offset));
}

void wt_print_jar_result(struct wt_page *page, const json_t *result)
{
	wt_print_jar_line(page, wt_doc_object(wt_doc_object(result, "station"), "salt"));
	print_effect(page, wt_doc_object(result, "rh_effect"));
	if (wt_doc_object(result, "station"))
		wt_page_text(page, WT_MARK_FAINT, 2,
			     _("Noted with its date; wither health reminds you in a year. Wash "
			       "your hands."));
}
