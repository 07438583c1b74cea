/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * Why a load is called as it is: one plain sentence from the model's own terms.
 */
#include <math.h>
#include <stdio.h>
#include <string.h>

#include "daemon/site_run.h"

static const char *const codes[WT_REASON_COUNT] = {
	[WT_REASON_READY_IN_TIME] = "ready_in_time",
	[WT_REASON_NOT_READY] = "not_ready",
	[WT_REASON_WILL_NOT_KEEP] = "will_not_keep",
	[WT_REASON_KEEPS] = "keeps",
	[WT_REASON_TOO_UNSURE] = "too_unsure",
	[WT_REASON_READY_NOW] = "ready_now",
	[WT_REASON_PAST_NOW] = "past_now",
	[WT_REASON_NO_CAPACITY] = "no_capacity",
	[WT_REASON_NOT_BY_MORNING] = "not_by_morning",
	[WT_REASON_TOO_LATE] = "too_late",
	[WT_REASON_NO_WOK] = "no_wok",
};

const char *site_reason_code(enum wt_reason reason)
{
	return codes[reason];
}

bool site_reason_parse(const char *code, enum wt_reason *out)
{
	for (int i = 0; code && i < WT_REASON_COUNT; i++) {
		if (strcmp(codes[i], code) == 0) {
			*out = (enum wt_reason)i;
			return true;
		}
	}
	return false;
}

/* Leaf that is more likely unripe tonight than not, and still better fired than kept. */
static bool early_better(const struct site_view *view)
{
	return view->advice.reason == WT_REASON_WILL_NOT_KEEP && view->advice.p_ready_tonight < 0.5;
}

bool site_is_too_slow(const struct wt_job *job, const struct site_job_load *load)
{
	double most_unix_s =
		(double)load->load.spread_unix_s + load->load_case.most_hours * SITE_HOUR_S;

	return load->view.known && most_unix_s < (double)(job->now_unix_s + WT_HORIZON_S) &&
	       load->view.ready_unix_s[SITE_P50] > most_unix_s;
}

/* Its hours end before it is ready: that, not the night, is why it will not keep. */
static bool slow_reason(const struct wt_job *job, const struct site_job_load *load)
{
	enum wt_reason reason = load->view.advice.reason;

	return (reason == WT_REASON_WILL_NOT_KEEP || reason == WT_REASON_PAST_NOW) &&
	       site_is_too_slow(job, load);
}

static void slow_sentence(const struct site_job_load *load, const char *ready,
			  char says[static WT_SAYS_SIZE])
{
	double most_h = load->load_case.most_hours;

	if (load->view.advice.reason == WT_REASON_PAST_NOW)
		wt_says_make(says,
			     "too slow: ready only %s, after the %.0f h it may lie at most; fix it "
			     "or let it go",
			     ready, most_h);
	else
		wt_says_make(says, "too slow: ready only %s, after the %.0f h it may lie at most",
			     ready, most_h);
}

struct clocks {
	char ready[32], past[32], last[16], first[16];
};

/* "about 19:10", "about Fri 10:20", or "beyond 48 h". */
static void about(int64_t now_unix_s, double unix_s, char out[32])
{
	char when[24];

	if (!isfinite(unix_s)) {
		snprintf(out, 32, WT_SAYS_WORD("beyond 48 h"));
		return;
	}
	/* Ten minutes are as fine as it is known. */
	site_local_when(now_unix_s, ((int64_t)unix_s + 300) / 600 * 600, when);
	snprintf(out, 32, WT_SAYS_WORD("about %s"), when);
}

static void reason_sentence(const struct wt_job *job, const struct site_job_load *load,
			    char says[static WT_SAYS_SIZE])
{
	const struct site_view *view = &load->view;
	struct clocks c;
	double p = 100.0 * view->advice.p_ready_tonight;

	about(job->now_unix_s, view->ready_unix_s[SITE_P50], c.ready);
	about(job->now_unix_s, view->past_unix_s[SITE_P50], c.past);
	site_local_clock(NULL, job->hearth.last_start_unix_s, c.last);
	site_local_clock(NULL, job->hearth.first_start_unix_s, c.first);
	if (slow_reason(job, load)) {
		slow_sentence(load, c.ready, says);
		return;
	}
	switch (view->advice.reason) {
	case WT_REASON_READY_IN_TIME:
		wt_says_make(says, "ready %s, in time for the last start at %s", c.ready, c.last);
		break;
	case WT_REASON_NOT_READY:
		wt_says_make(says, "ready %s, after the last start at %s; holds until morning",
			     c.ready, c.last);
		break;
	case WT_REASON_WILL_NOT_KEEP:
		if (early_better(view)) {
			wt_says_make(says,
				     "%.0f%% ready by %s, but past its best by %s: better early", p,
				     c.last, c.first);
			break;
		}
		wt_says_make(says, "ready %s, past its best %s: it will not keep till %s", c.ready,
			     c.past, c.first);
		break;
	case WT_REASON_KEEPS:
		wt_says_make(says, "ready %s and still good at %s: both will do", c.ready, c.first);
		break;
	case WT_REASON_TOO_UNSURE:
		wt_says_make(says, "%.0f%% chance to be ready by %s: weigh it to know", p, c.last);
		break;
	case WT_REASON_READY_NOW:
		wt_says_make(says, "in its window now, past its best %s", c.past);
		break;
	case WT_REASON_PAST_NOW:
		wt_says_make(says, "past its best since %s: fix it or let it go", c.past);
		break;
	case WT_REASON_NO_CAPACITY:
		wt_says_make(says,
			     "ready %s, but the woks are taken tonight; %.0f%% chance it keeps "
			     "till %s",
			     c.ready, 100.0 * (1.0 - view->advice.p_past_by_morning), c.first);
		break;
	case WT_REASON_NOT_BY_MORNING:
		wt_says_make(says, "not ready by %s; ready %s", c.first, c.ready);
		break;
	case WT_REASON_TOO_LATE:
		wt_says_make(says, "ready, but tonight's last start at %s has gone by", c.last);
		break;
	case WT_REASON_NO_WOK:
		wt_says_make(says, "ready %s; no wok is set up ([hearth] woks = 0)", c.ready);
		break;
	case WT_REASON_COUNT:
		break;
	}
}

static void event_clause(const struct site_view *view, const struct wt_room_event *event,
			 char says[static WT_SAYS_SIZE])
{
	char clock[16];
	double now = view->rate_pct_h;

	says[0] = '\0';
	if (event->kind == WT_ROOM_EVENT_NONE)
		return;
	double before = site_view_loss_pct(view, event->since_unix_s) -
			site_view_loss_pct(view, event->since_unix_s - SITE_HOUR_S);
	site_local_clock(NULL, event->since_unix_s, clock);
	bool wetter = event->kind == WT_ROOM_EVENT_WETTER;
	/* Spoken of only where the load felt it. */
	if (isfinite(before) && (wetter ? now < 0.85 * before : now > 1.15 * before))
		wt_says_make(says, "air turned %s at %s; drying %s from %.1f to %.1f%%/h",
			     wetter ? WT_SAYS_WORD("wet") : WT_SAYS_WORD("dry"), clock,
			     wetter ? WT_SAYS_WORD("fell") : WT_SAYS_WORD("rose"), before, now);
	else if (!isfinite(before))
		wt_says_make(says, "air turned %s at %s",
			     wetter ? WT_SAYS_WORD("wet") : WT_SAYS_WORD("dry"), clock);
}

static json_t *reason_args(const struct wt_job *job, const struct site_view *view,
			   const struct wt_room_event *event)
{
	return json_pack("{s:o,s:o,s:o,s:o,s:o,s:o,s:o}", "ready_p50_unix_s",
			 site_time(view->ready_unix_s[SITE_P50]), "past_p50_unix_s",
			 site_time(view->past_unix_s[SITE_P50]), "last_start_unix_s",
			 site_time((double)job->hearth.last_start_unix_s), "first_start_unix_s",
			 site_time((double)job->hearth.first_start_unix_s), "p_ready_tonight",
			 site_number(view->advice.p_ready_tonight), "rate_pct_h",
			 site_number(view->rate_pct_h), "event_unix_s",
			 event->kind == WT_ROOM_EVENT_NONE
				 ? json_null()
				 : site_time((double)event->since_unix_s));
}

/* A weighing this many sd from what the rest of the load tells is spoken of: of the weighings of
 * invented seasons 2 in a hundred sound ones, 98 in a hundred that were 8 % off once there was
 * another to hold it against, 7 in ten before. */
#define SURPRISING 2.0

/* An observation the air does not allow is said. */
static void observation_notes(const struct wt_job *job, struct site_job_load *load)
{
	for (size_t i = 0; load->posterior && i < load->posterior->n_reports; i++) {
		const struct wt_observation_report *report = &load->posterior->reports[i];
		const struct wt_observation *seen = &load->observations[i].seen;
		char when[24];
		if (seen->kind == WT_OBSERVED_FEEL || seen->kind == WT_OBSERVED_CELL ||
		    !isfinite(report->expected) ||
		    (fabs(report->surprise) < SURPRISING && report->trust >= 0.5))
			continue;
		site_local_when(job->now_unix_s, seen->at_unix_s, when);
		json_array_append_new(
			load->view.notes,
			site_note("observation",
				  "the %s weighing is %.0f%% %s what the air allows: check the "
				  "scale or the load",
				  when, 100.0 * fabs(seen->value / report->expected - 1.0),
				  seen->value > report->expected ? WT_SAYS_WORD("above")
								 : WT_SAYS_WORD("below")));
	}
}

/* While something can still be done about it. */
static void slow_note(const struct wt_job *job, struct site_job_load *load)
{
	if (site_is_too_slow(job, load) &&
	    load->view.ready_unix_s[SITE_P50] > (double)job->now_unix_s)
		json_array_append_new(load->view.notes,
				      site_note("too_slow",
						"too slow to be ready in the %.0f h it may lie at "
						"most: spread it wider or move the air",
						load->load_case.most_hours));
}

void site_words_load(const struct wt_job *job, struct site_job_load *load)
{
	struct site_view *view = &load->view;
	const struct wt_room_event *event = &job->rooms[load->room].event;
	char clause[96], sentence[112] = "", clause_says[WT_SAYS_SIZE], says[WT_SAYS_SIZE] = "";

	view->notes = json_array();
	if (!view->known)
		return;
	observation_notes(job, load);
	slow_note(job, load);
	if (!view->advised)
		return;
	reason_sentence(job, load, says);
	wt_says_text(says, sentence, sizeof(sentence));
	event_clause(view, event, clause_says);
	wt_says_text(clause_says, clause, sizeof(clause));
	view->why_says = json_array();
	size_t length = strlen(clause);
	if (length && length + strlen(sentence) + 2 < sizeof(view->why)) {
		snprintf(view->why, sizeof(view->why), "%s; ", clause);
		snprintf(view->why + length + 2, sizeof(view->why) - length - 2, "%s", sentence);
		json_array_append_new(view->why_says, wt_says_json(clause_says));
	} else {
		snprintf(view->why, sizeof(view->why), "%s", sentence);
	}
	json_array_append_new(view->why_says, wt_says_json(says));
	view->reason = json_pack("{s:s,s:o}", "code",
				 slow_reason(job, load) ? "too_slow"
				 : early_better(view)   ? "early_better"
							: codes[view->advice.reason],
				 "args", reason_args(job, view, event));
}
