/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * What the program says about itself, from the table of verbs.
 */
#include <stdio.h>
#include <string.h>

#include "cli/page.h"
#include "cli/run.h"
#include "cli/tongue.h"
#include "cli/verbs.h"
#include "lib/decide.h"

static void print_usage(struct wt_page *page, const struct wt_verb *verb)
{
	char text[1024];
	size_t used = (size_t)snprintf(text, sizeof text, "wither %s", verb->name), n = 0;

	for (const struct wt_arg *arg = verb->words; arg && arg->name && used < sizeof text;
	     arg++, n++)
		used += (size_t)snprintf(text + used, sizeof text - used,
					 n < verb->least_words ? " %s" : " [%s]", arg->shown);
	for (const struct wt_arg *arg = verb->options; arg && arg->name && used < sizeof text;
	     arg++) {
		bool needed = verb->needs && strcmp(verb->needs, arg->name) == 0;

		used += (size_t)snprintf(text + used, sizeof text - used, " %s--%s%s%s%s",
					 needed ? "" : "[", arg->name, arg->shown ? " " : "",
					 arg->shown ? arg->shown : "", needed ? "" : "]");
	}
	wt_page_text(page, WT_MARK_HEAD, 4, text);
}

static void print_arg(struct wt_page *page, const struct wt_arg *arg, bool option)
{
	char left[64];
	const char *accepted = arg->words;

	if (arg->kind == WT_ARG_WORD && !accepted)
		accepted = wt_words_accepted(arg->list);
	if (arg->kind == WT_ARG_QUANTITY && *wt_units_accepted(arg->quantity))
		accepted = wt_units_accepted(arg->quantity);
	snprintf(left, sizeof left, option ? "--%s" : "%s", option ? arg->name : arg->shown);
	wt_page_cell(page, WT_MARK_NONE, 15, left);
	wt_page_gap(page, 1);
	wt_page_textf(page, WT_MARK_NONE, 16, accepted ? "%s (%s)" : "%s",
		      arg->help ? _(arg->help) : "", accepted);
}

/* What the plan weighs, from the planner itself, so that the help cannot differ from it. */
static void print_costs(struct wt_page *page)
{
	struct wt_costs c;

	wt_costs_default(&c);
	wt_page_text(page, WT_MARK_HEAD, 0, _("What it weighs, in firings spoiled wholly:"));
	wt_page_textf(page, WT_MARK_NONE, 2, _("fired before ready: %g an hour, %g at most"),
		      c.under_per_h, c.under_most);
	wt_page_textf(page, WT_MARK_NONE, 2, _("fired past its best: %g an hour, %g at most"),
		      c.over_per_h, c.over_most);
	wt_page_textf(page, WT_MARK_NONE, 2, _("outside the window, however little: %g more"),
		      c.outside);
	wt_page_textf(page, WT_MARK_NONE, 2,
		      _("a late night: %g for each hour, in the last %g h before the last start"),
		      c.late_night_per_h, c.late_before_last_h);
	wt_page_textf(page, WT_MARK_NONE, 2, _("ready leaf kept over night: %g"), c.overnight);
	wt_page_textf(page, WT_MARK_NONE, 2,
		      _("against the style's wish: %g in the evening, %g in the morning"),
		      c.evening_when_morning, c.morning_when_evening);
	wt_page_textf(page, WT_MARK_NONE, 2,
		      _("a wrong call, when a weighing is proposed: %g a load"), c.wrong_call);
	wt_page_text(
		page, WT_MARK_FAINT, 2,
		_("! Open fire, CO and hot metal are dangerous: wither plan lists the cautions."));
}

static void print_verb(struct wt_page *page, const struct wt_verb *verb)
{
	print_usage(page, verb);
	wt_page_text(page, WT_MARK_NONE, 0, _(verb->help));
	for (const struct wt_arg *arg = verb->words; arg && arg->name; arg++)
		print_arg(page, arg, false);
	for (const struct wt_arg *arg = verb->options; arg && arg->name; arg++)
		print_arg(page, arg, true);
	wt_page_textf(page, WT_MARK_HEAD, 4, _("for instance: %s"), verb->example);
	if (strcmp(verb->name, "plan") == 0)
		print_costs(page);
}

static void print_all(struct wt_page *page)
{
	wt_page_text(page, WT_MARK_HEAD, 2,
		     _("wither: when the leaf is ready to be fixed, and what to do tonight"));
	for (size_t i = 0; i < wt_verbs_count(); i++) {
		wt_page_cell(page, WT_MARK_NONE, 9, wt_verbs_table[i].name);
		wt_page_gap(page, 1);
		wt_page_text(page, WT_MARK_FAINT, 10, _(wt_verbs_table[i].summary));
	}
	wt_page_text(page, WT_MARK_NONE, 2,
		     _("Verbs, options and gardens may be shortened. wither help VERB tells more, "
		       "with an "
		       "example."));
	wt_page_text(page, WT_MARK_NONE, 2,
		     _("Everywhere: --json for machines, --socket PATH (or WITHER_SOCKET), --help, "
		       "--version."));
	wt_page_text(page, WT_MARK_NONE, 2,
		     _("TIME: 17:30, -2h, -30min or 2026-04-05T17:30+08:00; now if left out."));
	wt_page_text(page, WT_MARK_NONE, 2,
		     _("Exit: 0 fine, 1 failed or refused, 2 not understood or not accepted, 3 "
		       "health needs a person."));
}

int wt_run_help(const struct wt_command *call)
{
	struct wt_page page = wt_run_page();
	const char *name = json_string_value(json_object_get(call->params, "verb"));
	const struct wt_verb *verb = call->help ? call->verb : NULL;
	char why[512];

	if (name) {
		verb = wt_verbs_find(name, why, sizeof why);
		if (!verb) {
			wt_run_complain("%s", why);
			return WT_EXIT_USAGE;
		}
	}
	if (verb)
		print_verb(&page, verb);
	else
		print_all(&page);
	return wt_run_finish(WT_EXIT_FINE);
}
