/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * A load is what its acts say: rebuilt from those in force each time one is
 * added or taken back.
 */
#include <math.h>
#include <string.h>

#include "daemon/site_inner.h"

/* A load cell is read as means of this length: our choice; its errors within a quarter of an hour
 * are hardly independent. */
#define CELL_MEAN_S 900

static int word_of(const json_t *params, const char *name, enum wt_words list)
{
	int value = 0;
	const char *text = json_string_value(json_object_get(params, name));

	if (!text || wt_words_parse(list, text, &value) != WT_OK)
		return 0;
	return value;
}

static int64_t time_of(const json_t *params)
{
	return (int64_t)json_integer_value(json_object_get(params, "at_unix_s"));
}

static void add_observation(struct site_load *load, int64_t act, enum wt_observation_kind kind,
			    int64_t at_unix_s, double value)
{
	site_grow(&load->observations, load->n_observations, &load->cap_observations,
		  sizeof(*load->observations));
	size_t at = load->n_observations++;
	for (; at > 0 && load->observations[at - 1].seen.at_unix_s > at_unix_s; at--)
		load->observations[at] = load->observations[at - 1];
	load->observations[at] = (struct site_observation){
		act, {.kind = kind, .at_unix_s = at_unix_s, .value = value}};
}

static void add_event(struct site_load *load, struct wt_bed_event event)
{
	site_grow(&load->events, load->n_events, &load->cap_events, sizeof(*load->events));
	size_t at = load->n_events++;
	for (; at > 0 && load->events[at - 1].at_unix_s > event.at_unix_s; at--)
		load->events[at] = load->events[at - 1];
	load->events[at] = event;
}

static void take_spread(const struct wt_site *site, struct site_load *load, const json_t *params)
{
	const char *room = json_string_value(json_object_get(params, "room"));

	load->origin =
		site_origin_find(site, json_string_value(json_object_get(params, "origin")), true);
	load->room = site_room_find(site, room);
	if (load->room == SIZE_MAX)
		load->room = 0;
	load->style = site_strdup(json_string_value(json_object_get(params, "style")));
	load->scale = site_strdup(json_string_value(json_object_get(params, "scale")));
	load->grade = (enum wt_grade)word_of(params, "grade", WT_WORDS_GRADE);
	load->season = (enum wt_season)word_of(params, "season", WT_WORDS_SEASON);
	load->wet = (enum wt_wet)word_of(params, "wet", WT_WORDS_WET);
	load->kg = site_real(params, "kg");
	load->area_m2 = site_real(params, "area_m2");
	load->perforated = json_is_true(json_object_get(params, "perforated"));
	load->moisture_pct = site_real(params, "moisture_pct");
	load->price = site_real(params, "price");
	load->spread_unix_s = time_of(params);
}

static void take_weigh(struct site_load *load, const struct wt_act *act)
{
	double kg = site_real(act->params, "kg");
	double fresh = site_real(act->params, "sample_fresh_kg");

	if (isfinite(fresh))
		add_observation(load, act->id, WT_OBSERVED_SAMPLE, time_of(act->params),
				kg / fresh);
	else
		add_observation(load, act->id, WT_OBSERVED_WEIGHT, time_of(act->params), kg);
}

static void take_turn(struct site_load *load, const struct wt_act *act)
{
	const json_t *fan = json_object_get(act->params, "fan");

	add_event(load,
		  (struct wt_bed_event){.at_unix_s = time_of(act->params),
					.turned = true,
					.area_m2 = site_real(act->params, "area_m2"),
					.fan = json_is_boolean(fan) ? json_is_true(fan) : -1});
}

static void take_fix(struct site_load *load, const struct wt_act *act)
{
	int64_t at_unix_s = time_of(act->params);
	double kg = site_real(act->params, "kg"), part = site_real(act->params, "part_kg");
	double minutes = site_real(act->params, "minutes");

	if (isfinite(kg))
		add_observation(load, act->id, WT_OBSERVED_WEIGHT, at_unix_s, kg);
	double gone = isfinite(part) ? part : kg;
	if (isfinite(gone))
		load->fixed_kg = isfinite(load->fixed_kg) ? load->fixed_kg + gone : gone;
	if (isfinite(minutes))
		load->fixed_minutes = minutes;
	load->left_share = site_real(act->params, "left_share");
	load->firings_done++;
	if (load->left_share > 0.0) {
		add_event(load, (struct wt_bed_event){.at_unix_s = at_unix_s,
						      .area_m2 = NAN,
						      .fan = -1,
						      .taken_kg = part});
		return;
	}
	load->state = SITE_FIXED;
	load->closed_unix_s = at_unix_s;
	load->closing_act = act->id;
}

static void take_yield(struct site_load *load, const struct wt_act *act)
{
	load->made_kg = site_real(act->params, "made_kg");
	load->yellow_kg = site_real(act->params, "yellow_kg");
}

static void take_act(const struct wt_site *site, struct site_load *load, const struct wt_act *act)
{
	const struct site_verb_rule *verb = site_verb_find(act->method);

	switch (verb ? verb - site_verbs : SITE_VERB_COUNT) {
	case SITE_SPREAD:
		load->gone = false;
		take_spread(site, load, act->params);
		break;
	case SITE_WEIGH:
		take_weigh(load, act);
		break;
	case SITE_FEEL:
		add_observation(load, act->id, WT_OBSERVED_FEEL, time_of(act->params),
				word_of(act->params, "step", WT_WORDS_FEEL));
		break;
	case SITE_TURN:
		take_turn(load, act);
		break;
	case SITE_FIX:
		take_fix(load, act);
		break;
	case SITE_YIELD:
		take_yield(load, act);
		break;
	case SITE_DROP:
		load->state = SITE_DROPPED;
		load->closed_unix_s = time_of(act->params);
		load->closing_act = act->id;
		break;
	default:
		break;
	}
}

static void free_parts(struct site_load *load)
{
	free(load->style);
	free(load->scale);
	free(load->observations);
	free(load->events);
}

void site_load_clear(struct site_load *load)
{
	free_parts(load);
	site_drop(&load->posterior);
	site_drop(&load->closing);
	site_drop(&load->before);
}

/* A closing holds as long as the act that closed the load does. */
static void keep_closing(struct wt_site *site, struct site_load *load)
{
	if (!load->closing ||
	    (!load->gone && load->state != SITE_OPEN && load->closing->act == load->closing_act))
		return;
	site_drop(&load->closing);
	site_closing_forget(site);
}

void site_load_rebuild(struct wt_site *site, struct site_load *load)
{
	struct site_load fresh = {.number = load->number,
				  .gone = true,
				  .posterior = load->posterior,
				  .closing = load->closing,
				  .before = load->before,
				  .fixed_kg = NAN,
				  .made_kg = NAN,
				  .yellow_kg = NAN,
				  .fixed_minutes = NAN,
				  .moisture_pct = NAN,
				  .price = NAN,
				  .left_share = 1.0,
				  .noted_unix_s = load->noted_unix_s,
				  .regular_loss_p10_pct = load->regular_loss_p10_pct,
				  .regular_loss_p50_pct = load->regular_loss_p50_pct};

	free_parts(load);
	*load = fresh;
	for (size_t i = 0; i < site->n_acts; i++) {
		const struct site_act *entry = &site->acts[i];
		if (entry->load != load->number || entry->undone_by)
			continue;
		const struct wt_act act = {
			.id = entry->id, .method = entry->method, .params = site_act_params(entry)};
		take_act(site, load, &act);
		json_decref(act.params);
	}
	keep_closing(site, load);
}

void site_load_case(const struct wt_site *site, const struct site_load *load,
		    struct wt_load_case *out)
{
	struct wt_config_style style = {
		.ready_from_loss_pct = 20.0, .latest_loss_pct = 30.0, .most_hours = HUGE_VAL};

	(void)site_style(site, load->style, &style);
	*out = (struct wt_load_case){.spread_unix_s = load->spread_unix_s,
				     .fresh_kg = load->kg,
				     .area_m2 = load->area_m2,
				     .perforated = load->perforated,
				     .grade = load->grade,
				     .season = load->season,
				     .wet = load->wet,
				     .moisture_pct = load->moisture_pct,
				     .pressure_pa = site->pressure_pa,
				     .events = load->events,
				     .n_events = load->n_events,
				     .ready_from_loss_pct = style.ready_from_loss_pct,
				     .latest_loss_pct = style.latest_loss_pct,
				     .least_hours = style.least_hours,
				     .most_hours = style.most_hours};
}

static const struct site_scale *scale_of(const struct wt_site *site, const struct site_load *load)
{
	for (size_t i = 0; load->scale && i < site->n_scales; i++) {
		if (!strcmp(site->scales[i].name, load->scale))
			return &site->scales[i];
	}
	return NULL;
}

/* Until when the scale under the load is this load's: it is closed, or another is spread on it. */
static int64_t scale_until(const struct wt_site *site, const struct site_load *load,
			   int64_t upto_unix_s)
{
	int64_t until = upto_unix_s;

	if (load->state != SITE_OPEN && load->closed_unix_s < until)
		until = load->closed_unix_s;
	for (size_t i = 0; i < site->n_loads; i++) {
		const struct site_load *other = &site->loads[i];
		if (!other->gone && other->scale && !strcmp(other->scale, load->scale) &&
		    other->spread_unix_s > load->spread_unix_s && other->spread_unix_s < until)
			until = other->spread_unix_s;
	}
	return until;
}

/* Means of whole quarter hours from spreading, as a ratio to the weight at spreading: the line
 * through the first two means, drawn back. */
static size_t cell_means(const struct site_scale *scale, int64_t from_unix_s, int64_t until_unix_s,
			 struct site_observation *out)
{
	size_t n = 0, in_mean = 0;
	int64_t slot = -1;

	for (size_t i = 0; i < scale->n && scale->readings[i].at_unix_s < until_unix_s; i++) {
		int64_t since_s = scale->readings[i].at_unix_s - from_unix_s;
		if (since_s < 0)
			continue;
		if (since_s / CELL_MEAN_S != slot) {
			slot = since_s / CELL_MEAN_S;
			in_mean = 0;
			out[n++].seen = (struct wt_observation){
				WT_OBSERVED_CELL,
				from_unix_s + slot * CELL_MEAN_S + CELL_MEAN_S / 2, 0.0};
		}
		in_mean++;
		out[n - 1].seen.value +=
			(scale->readings[i].kg - out[n - 1].seen.value) / (double)in_mean;
	}
	/* The mean under way is not whole yet. */
	if (n && out[n - 1].seen.at_unix_s + CELL_MEAN_S / 2 > until_unix_s)
		n--;
	if (n < 2 || out[0].seen.at_unix_s != from_unix_s + CELL_MEAN_S / 2)
		return 0;
	double fresh_kg = 1.5 * out[0].seen.value - 0.5 * out[1].seen.value;
	if (!(fresh_kg > 0.0))
		return 0;
	for (size_t i = 0; i < n; i++)
		out[i].seen.value /= fresh_kg;
	memmove(out, out + 1, (n - 1) * sizeof(*out));
	return n - 1;
}

static int by_time(const void *a, const void *b)
{
	const struct site_observation *x = a, *y = b;

	if (x->seen.at_unix_s != y->seen.at_unix_s)
		return x->seen.at_unix_s < y->seen.at_unix_s ? -1 : 1;
	return (x->act > y->act) - (x->act < y->act);
}

size_t site_load_observations(const struct wt_site *site, const struct site_load *load,
			      int64_t upto_unix_s, struct site_observation **out)
{
	const struct site_scale *scale = scale_of(site, load);
	size_t most = load->n_observations + (scale ? scale->n : 0), n = 0;

	*out = site_alloc((most + 1) * sizeof(**out));
	for (size_t i = 0; i < load->n_observations; i++) {
		if (load->observations[i].seen.at_unix_s <= upto_unix_s)
			(*out)[n++] = load->observations[i];
	}
	if (scale)
		n += cell_means(scale, load->spread_unix_s, scale_until(site, load, upto_unix_s),
				*out + n);
	qsort(*out, n, sizeof(**out), by_time);
	return n;
}
