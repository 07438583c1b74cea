/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * Stations, the daemon's health, backups.
 */
#include <math.h>
#include <stdio.h>
#include <string.h>

#include "cli/doc.h"
#include "cli/page.h"
#include "cli/print.h"
#include "cli/print_jar.h"
#include "cli/say.h"
#include "cli/tongue.h"
#include "cli/when.h"
#include "cli/worded.h"

enum { GEAR_LABEL = 9 };

static void print_fault(struct wt_page *page, const json_t *fault, double now)
{
	char when[WT_WHEN_SIZE];
	char text[WT_WORDED_SIZE];
	const char *quoted = wt_doc_text(fault, "quoted");

	if (!fault)
		return;
	wt_worded(text, fault, NULL);
	wt_when_clock(when, wt_doc_number(fault, "at_unix_s"), now);
	wt_page_textf(page, WT_MARK_ALARM, 4, "  %s %s%s%s%s", when, text, quoted ? ": '" : "",
		      quoted ? quoted : "", quoted ? "'" : "");
}

static void print_flags(struct wt_page *page, const json_t *flags)
{
	char text[256] = "";
	size_t used = 0, i;
	json_t *flag;

	json_array_foreach(flags, i, flag) if (json_is_string(flag) && used + 64 < sizeof text)
		used += (size_t)snprintf(text + used, sizeof text - used, "%s%.48s",
					 used ? ", " : "", json_string_value(flag));
	if (*text)
		wt_page_textf(page, WT_MARK_ALARM, 4, _("  marked: %s"), text);
}

static void print_salt(struct wt_page *page, const json_t *salt, double now)
{
	const char *name = wt_doc_text(salt, "salt");
	char day[WT_WHEN_SIZE], off[WT_SAY_SIZE];

	if (!name)
		return;
	wt_when_day(day, wt_doc_number(salt, "at_unix_s"), now);
	wt_say_number(off, wt_doc_number(salt, "shown_rh_pct") - wt_doc_number(salt, "true_rh_pct"),
		      1, "%");
	wt_page_textf(page, WT_MARK_FAINT, 4, _("  salt check %s in %s: off by %s"), day, name,
		      off);
	wt_print_jar_line(page, salt);
}

static void print_station(struct wt_page *page, const json_t *station, double now)
{
	char temp[WT_SAY_SIZE], rh[WT_SAY_SIZE], battery[WT_SAY_SIZE], age[WT_WHEN_SIZE];
	const char *name = wt_doc_text(station, "station"), *room = wt_doc_text(station, "room");
	double age_s = wt_doc_number(station, "age_s");
	double every_s = wt_doc_number(station, "expected_every_s");
	/* Three reports missed: the same patience that the health check has, our choice. */
	bool late = !isfinite(age_s) || age_s > 3 * every_s;

	wt_say_number(temp, wt_doc_number(station, "temp_c"), 1, "°C");
	wt_say_number(rh, wt_doc_number(station, "rh_pct"), 0, "%");
	wt_say_number(battery, wt_doc_number(station, "battery"), 2, "");
	wt_page_cellf(page, WT_MARK_HEAD, 0, "%s", name ? name : "-");
	if (isfinite(age_s))
		wt_page_textf(page, WT_MARK_NONE, 2, _(" in %s: %s %s"), room ? room : "-", temp,
			      rh);
	else
		wt_page_textf(page, WT_MARK_NONE, 2, _(" in %s: no reading"), room ? room : "-");
	if (isfinite(age_s)) {
		wt_when_span(age, age_s);
		wt_page_textf(page, late ? WT_MARK_ALARM : WT_MARK_NONE, 4,
			      late ? _("  SILENT for %s") : _("  heard %s ago"), age);
	} else {
		wt_page_row(page, WT_MARK_ALARM, "%s", _("  never heard"));
	}
	wt_page_textf(page, WT_MARK_FAINT, 4, _("  %lld readings, topic %s"),
		      wt_doc_integer(station, "readings", 0),
		      wt_doc_text(station, "topic") ? wt_doc_text(station, "topic") : "-");
	if (strcmp(battery, "-") != 0)
		wt_page_row(page, WT_MARK_FAINT, _("  battery %s"), battery);
	print_salt(page, wt_doc_object(station, "salt"), now);
	print_flags(page, wt_doc_list(station, "flags"));
	print_fault(page, wt_doc_object(station, "last_fault"), now);
}

/* To be copied into the configuration: its lines are neither broken nor cut, only made harmless. */
static void print_proposal(const struct wt_page *page, const char *proposal)
{
	while (*proposal && !page->dry) {
		char line[1024], shown[1024];
		size_t length = strcspn(proposal, "\n");

		snprintf(line, sizeof line, "%.*s", (int)(length < 1000 ? length : 1000), proposal);
		wt_term_copy(&page->term, shown, sizeof shown, (int)sizeof shown, line);
		fprintf(page->out, "%s\n", shown);
		proposal += length + (proposal[length] == '\n');
	}
}

static void print_learned(struct wt_page *page, const json_t *result)
{
	size_t i;
	json_t *item;

	if (json_array_size(wt_doc_list(result, "topics")) == 0)
		wt_page_text(page, WT_MARK_NONE, 2,
			     _("Listening. Ask again when the station has sent something."));
	json_array_foreach(wt_doc_list(result, "topics"), i, item)
	{
		const char *topic = wt_doc_text(item, "topic"),
			   *payload = wt_doc_text(item, "payload");
		const char *proposal = wt_doc_text(item, "proposal");

		wt_page_row(page, WT_MARK_HEAD, "%s", topic ? topic : "-");
		wt_page_textf(page, WT_MARK_FAINT, 2, "%s", payload ? payload : "-");
		if (proposal)
			print_proposal(page, proposal);
	}
	json_array_foreach(wt_doc_list(result, "undecided"), i, item)
	{
		char text[WT_WORDED_SIZE];
		json_t *says = json_array_get(wt_doc_list(result, "undecided_says"), i);
		json_t *note = says ? json_pack("{s:O}", "says", says) : NULL;

		wt_worded(text, note, json_string_value(item));
		wt_page_textf(page, WT_MARK_NONE, 2, _("? not decided: %s"), text);
		json_decref(note);
	}
}

void wt_print_stations(struct wt_page *page, const json_t *result)
{
	const json_t *stations = wt_doc_list(result, "stations");
	const json_t *broker = wt_doc_object(result, "broker");
	double now = wt_doc_number(result, "now_unix_s");
	size_t i;
	json_t *station;

	if (!stations) {
		print_learned(page, result);
		return;
	}
	if (json_array_size(stations) == 0)
		wt_page_text(
			page, WT_MARK_NONE, 2,
			_("No [station] in the configuration. See what is sent: wither stations "
			  "--learn '#'"));
	json_array_foreach(stations, i, station) print_station(page, station, now);
	if (broker) {
		const char *state = wt_doc_text(broker, "state");
		char text[WT_WORDED_SIZE] = "";
		bool fine = state && (strcmp(state, "connected") == 0 || strcmp(state, "off") == 0);

		if (wt_doc_text(broker, "text"))
			wt_worded(text, broker, NULL);
		wt_page_textf(page, fine ? WT_MARK_FAINT : WT_MARK_ALARM, 2, _("broker %s%s%s"),
			      wt_say_word(state), *text ? ": " : "", text);
	}
}

static const char *severity_word(const char *severity)
{
	if (severity && strcmp(severity, "err") == 0)
		return _("ACT");
	if (severity && strcmp(severity, "warning") == 0)
		return _("LOOK");
	return _("note");
}

static void say_bytes(char out[static WT_SAY_SIZE], double bytes)
{
	if (bytes < 1e6)
		wt_say_number(out, bytes / 1e3, 0, " kB");
	else
		wt_say_number(out, bytes / 1e6, 1, " MB");
}

static void print_facts(struct wt_page *page, const json_t *facts, double now)
{
	char started[WT_WHEN_SIZE], age[WT_WHEN_SIZE], size[WT_SAY_SIZE], space[WT_SAY_SIZE];
	const char *version = wt_doc_text(facts, "version");
	const json_t *broker = json_object_get(facts, "broker");

	wt_when_clock(started, wt_doc_number(facts, "started_unix_s"), now);
	wt_when_span(age, wt_doc_number(facts, "forecast_age_s"));
	say_bytes(size, wt_doc_number(facts, "database_bytes"));
	wt_say_number(space, wt_doc_number(facts, "free_bytes") / 1e9, 1, " GB");
	wt_page_fact(page, GEAR_LABEL, _("witherd"), _("%s since %s%s"), version ? version : "-",
		     started, wt_doc_true(facts, "frozen") ? _(" (frozen)") : "");
	if (isfinite(wt_doc_number(facts, "forecast_age_s")))
		wt_page_fact(page, GEAR_LABEL, _("forecast"), _("%s old"), age);
	else
		wt_page_fact(page, GEAR_LABEL, _("forecast"), "%s", _("none yet"));
	wt_page_fact(page, GEAR_LABEL, _("readings"), "%lld", wt_doc_integer(facts, "readings", 0));
	wt_page_fact(page, GEAR_LABEL, _("loads"), _("%lld open"),
		     wt_doc_integer(facts, "loads_open", 0));
	wt_page_fact(page, GEAR_LABEL, _("store"), _("%s, %s free"), size, space);
	if (json_is_object(broker))
		wt_page_fact(page, GEAR_LABEL, _("broker"), "%s",
			     wt_say_word(wt_doc_text(broker, "state")));
	else if (json_is_string(broker))
		wt_page_fact(page, GEAR_LABEL, _("broker"), "%s",
			     wt_say_word(json_string_value(broker)));
}

/* What says for itself how long it has been so; when the daemon found it would contradict that. */
static bool tells_age(const json_t *item)
{
	static const char *const codes[] = {"station_silent", "load_old", "observation",
					    "salt_due"};
	const char *code = wt_doc_text(item, "code");

	for (size_t i = 0; code && i < sizeof codes / sizeof *codes; i++)
		if (strcmp(code, codes[i]) == 0)
			return true;
	return false;
}

void wt_print_health(struct wt_page *page, const json_t *result)
{
	double now = wt_doc_number(result, "now_unix_s");
	size_t i;
	json_t *item;

	if (wt_doc_true(result, "ok"))
		wt_page_row(page, WT_MARK_HEAD, "%s", _("All is well."));
	else
		wt_page_row(page, WT_MARK_ALARM, "%s", _("Something needs you:"));
	json_array_foreach(wt_doc_list(result, "items"), i, item)
	{
		const char *severity = wt_doc_text(item, "severity");
		bool act = severity && strcmp(severity, "err") == 0;
		char clock[WT_WHEN_SIZE], since[2 * WT_WHEN_SIZE] = "", text[WT_WORDED_SIZE];

		wt_worded(text, item, NULL);
		if (isfinite(wt_doc_number(item, "since_unix_s")) && !tells_age(item)) {
			wt_when_clock(clock, wt_doc_number(item, "since_unix_s"), now);
			snprintf(since, sizeof since, _(" (since %s)"), clock);
		}
		wt_page_textf(page, act ? WT_MARK_ALARM : WT_MARK_NONE, 5, "%-4s %s%s",
			      severity_word(severity), text, since);
	}
	print_facts(page, wt_doc_object(result, "facts"), now);
}

void wt_print_backup(struct wt_page *page, const json_t *result)
{
	char size[WT_SAY_SIZE];
	const char *file = wt_doc_text(result, "file");

	say_bytes(size, wt_doc_number(result, "bytes"));
	wt_page_textf(page, WT_MARK_NONE, 2, _("Written: %s, %s"), file ? file : "-", size);
}
