/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * What the maker does: checked and completed here, then stored, then taken in.
 */
#include <assert.h>
#include <math.h>
#include <stdio.h>
#include <string.h>

#include "daemon/site_inner.h"
#include "lib/salt.h"

#define REFUSED (-32000)
/* Less than this share of a load on the tray is nothing: our choice. */
#define LEAST_SHARE 0.03

struct context {
	const struct wt_site *site;
	const struct site_verb_rule *verb;
	const struct site_value *values;
	int64_t now_unix_s;
	int64_t at_unix_s;
	const struct site_load *load; /* NULL when the verb has none */
	json_t *params;               /* to be filled */
	struct wt_refusal *refusal;
};

static const struct site_value *value(const struct context *context, const char *name)
{
	return site_value(context->verb, context->values, name);
}

/* An act is never noted without a part of it: only memory can be wanting. */
static void put(const struct context *context, const char *name, json_t *value)
{
	if (json_object_set_new(context->params, name, value) != 0)
		abort();
}

static void put_number(const struct context *context, const char *name, double number)
{
	put(context, name, site_number(number));
}

static void put_text(const struct context *context, const char *name, const char *text)
{
	put(context, name, text ? json_string(text) : json_null());
}

void wt_act_clear(struct wt_act *act)
{
	free(act->method);
	json_decref(act->params);
	*act = (struct wt_act){0};
}

bool wt_site_is_act(const char *method)
{
	const struct site_verb_rule *verb = site_verb_find(method);

	return verb && verb->kind == SITE_VERB_ACT;
}

/* --- spread ---------------------------------------------------------------------------------- */

/* The area given, or that of the trays given; NAN when neither is. */
static bool read_area(const struct context *context, double *area_m2)
{
	const struct site_value *area = value(context, "area"), *trays = value(context, "trays");
	double tray_m2 = context->site->config->tray_area_m2;

	if (area->given || !trays->given) {
		*area_m2 = area->number;
		return true;
	}
	if (!(tray_m2 > 0.0))
		return site_refuse(
			context->refusal, -32602, "trays", "",
			"the configuration does not tell the area of a tray ([tray] area_m2): "
			"give the area in m2");
	*area_m2 = trays->number * tray_m2;
	return true;
}

static const char *default_style(const struct wt_config *config)
{
	return config->n_styles ? config->styles[config->usual_style].name : "green";
}

static bool prepare_spread(struct context *context)
{
	const struct wt_config *config = context->site->config;
	const struct site_value *style = value(context, "style"), *room = value(context, "room");
	double area_m2 = NAN;

	if (!config->n_rooms)
		return site_refuse(context->refusal, REFUSED, "room", "",
				   "no room is configured: add a [room NAME] section");
	if (!read_area(context, &area_m2))
		return false;
	if (isnan(area_m2))
		return site_refuse(context->refusal, -32602, "area", "",
				   "spread needs the area in m2 or the number of trays");
	int season = value(context, "season")->given
			     ? value(context, "season")->word
			     : (int)site_season(context->site, context->at_unix_s);
	int grade = value(context, "grade")->given ? value(context, "grade")->word : WT_GRADE_YOUNG;
	int wet = value(context, "wet")->given ? value(context, "wet")->word : WT_WET_NONE;
	put(context, "load", json_integer((json_int_t)context->site->n_loads + 1));
	put_text(context, "origin", value(context, "origin")->text);
	put_number(context, "kg", value(context, "kg")->number);
	put_number(context, "area_m2", area_m2);
	put_number(context, "trays", value(context, "trays")->number);
	put_text(context, "room", room->given ? room->text : config->rooms[0].name);
	put_text(context, "style", style->given ? style->text : default_style(config));
	put_text(context, "grade", wt_words_text(WT_WORDS_GRADE, grade));
	put_text(context, "season", wt_words_text(WT_WORDS_SEASON, season));
	put_text(context, "wet", wt_words_text(WT_WORDS_WET, wet));
	put_number(context, "moisture_pct", value(context, "moisture")->number);
	put_number(context, "price", value(context, "price")->number);
	put_text(context, "scale", value(context, "scale")->text);
	put(context, "perforated", json_boolean(config->tray_perforated));
	return true;
}

/* --- acts on an open load -------------------------------------------------------------------- */

/* The share of a load that lay on its trays at the moment of the act: parts fired by then are gone.
 */
static double share_then(const struct context *context)
{
	const struct wt_site *site = context->site;
	double share = 1.0;

	for (size_t i = 0; context->load->left_share < 1.0 && i < site->n_acts; i++) {
		const struct site_act *act = &site->acts[i];
		if (act->load != context->load->number || act->undone_by ||
		    strcmp(act->method, "fix"))
			continue;
		json_t *params = site_act_params(act);
		double left = site_real(params, "left_share");
		if (site_real(params, "at_unix_s") <= (double)context->at_unix_s && left < share)
			share = left;
		json_decref(params);
	}
	return share;
}

static bool prepare_weigh(struct context *context)
{
	const struct site_value *kg = value(context, "kg"), *fresh = value(context, "sample-fresh");
	double most_kg = context->load->kg * share_then(context);

	if (fresh->given && kg->number > fresh->number)
		return site_refuse(context->refusal, -32602, "kg", kg->text,
				   "a sample of %g kg fresh cannot weigh %g kg now", fresh->number,
				   kg->number);
	if (fresh->given && fresh->number > context->load->kg)
		return site_refuse(context->refusal, -32602, "sample-fresh", "",
				   "the sample's fresh weight %g kg is more than the load's %g kg",
				   fresh->number, context->load->kg);
	if (!fresh->given && kg->number > most_kg)
		return site_refuse(
			context->refusal, -32602, "kg", "",
			"load %d cannot weigh %g kg: %.4g kg of fresh leaf is on its trays",
			context->load->number, kg->number, most_kg);
	put_number(context, "kg", kg->number);
	put_number(context, "sample_fresh_kg", fresh->number);
	return true;
}

static bool prepare_feel(struct context *context)
{
	put_text(context, "step", value(context, "step")->text);
	return true;
}

static bool prepare_turn(struct context *context)
{
	const struct site_value *fan = value(context, "fan");
	double area_m2 = NAN;

	if (!read_area(context, &area_m2))
		return false;
	put_number(context, "area_m2", area_m2);
	put(context, "fan", fan->given ? json_boolean(fan->number > 0.5) : json_null());
	return true;
}

/* What the rest of a load weighs now, by the forecast: between its 10 and 90 % quantiles.
 * Without one, no more than it did fresh. */
static void weight_now(const struct context *context, double *most_kg, double *likely_kg)
{
	double fresh_kg = context->load->kg * context->load->left_share;
	*most_kg = *likely_kg = fresh_kg;
	if (!isfinite(context->load->regular_loss_p50_pct))
		return;
	*most_kg = fresh_kg * (1.0 - context->load->regular_loss_p10_pct / 100.0) * 1.03;
	*likely_kg = fresh_kg * (1.0 - context->load->regular_loss_p50_pct / 100.0);
}

static bool prepare_fix(struct context *context)
{
	const struct site_value *kg = value(context, "kg"), *part = value(context, "part");
	double share = context->load->left_share, most_kg, likely_kg;

	weight_now(context, &most_kg, &likely_kg);
	if (kg->given && kg->number > context->load->kg * share)
		return site_refuse(
			context->refusal, -32602, "kg", "",
			"load %d cannot weigh %g kg: %.4g kg of fresh leaf is on its trays",
			context->load->number, kg->number, context->load->kg * share);
	if (kg->given)
		most_kg = likely_kg = kg->number;
	if (part->given && part->number > most_kg)
		return site_refuse(
			context->refusal, -32602, "part", "",
			"part must be at most what is left of load %d, about %.3g kg, not '%g'",
			context->load->number, likely_kg, part->number);
	double left = 0.0;
	if (part->given && likely_kg > 0.0)
		left = share * (1.0 - part->number / likely_kg);
	put_number(context, "kg", kg->number);
	put_number(context, "part_kg", part->number);
	put_number(context, "minutes", value(context, "minutes")->number);
	put_number(context, "left_share", left < LEAST_SHARE ? 0.0 : left);
	return true;
}

static bool prepare_drop(struct context *context)
{
	put_text(context, "why", value(context, "why")->text);
	return true;
}

static bool prepare_yield(struct context *context)
{
	double made = value(context, "made")->number, yellow = value(context, "yellow")->number;
	const struct site_load *load = context->load;

	if (load->state == SITE_OPEN)
		return site_refuse(context->refusal, REFUSED, "load", "",
				   "load %d is not fixed yet: its made tea cannot be weighed",
				   load->number);
	if (load->state == SITE_DROPPED)
		return site_refuse(context->refusal, REFUSED, "load", "",
				   "load %d was dropped: it gave no tea", load->number);
	if (made > load->kg)
		return site_refuse(
			context->refusal, -32602, "made", "",
			"made must be at most the %g kg of fresh leaf of load %d, not '%g'",
			load->kg, load->number, made);
	if (isfinite(yellow) && yellow > made)
		return site_refuse(context->refusal, -32602, "yellow", "",
				   "yellow must be at most the %g kg made, not '%g'", made, yellow);
	put_number(context, "made_kg", made);
	put_number(context, "yellow_kg", yellow);
	return true;
}

/* --- acts without a load --------------------------------------------------------------------- */

static const struct site_act *last_act(const struct wt_site *site)
{
	for (size_t i = site->n_acts; i-- > 0;) {
		if (!site->acts[i].undone_by && strcmp(site->acts[i].method, "undo"))
			return &site->acts[i];
	}
	return NULL;
}

static bool prepare_undo(struct context *context)
{
	const struct site_act *last = last_act(context->site);

	if (!last)
		return site_refuse(context->refusal, REFUSED, "", "",
				   "there is nothing to take back");
	json_t *params = site_act_params(last);
	put(context, "undone",
	    json_pack("{s:I,s:s,s:o,s:O*}", "id", (json_int_t)last->id, "verb", last->method,
		      "load", last->load ? json_integer(last->load) : json_null(), "at_unix_s",
		      json_object_get(params, "at_unix_s")));
	json_decref(params);
	return true;
}

static bool prepare_style(struct context *context)
{
	const struct site_value *style = value(context, "style"),
				*from = value(context, "ready-from");
	struct wt_config_style now;
	double wanted = from->number;

	if (!site_style(context->site, style->text, &now))
		return site_refuse(context->refusal, -32602, "style", style->text,
				   "there is no style '%s'", style->text);
	if (!from->given) {
		int loads;
		if (!(value(context, "accept")->number > 0.5))
			return site_refuse(context->refusal, -32602, "ready-from", "",
					   "style needs ready-from (a loss in %%) or accept");
		if (!site_style_proposal(context->site, style->text, &wanted, &loads))
			return site_refuse(context->refusal, REFUSED, "accept", "",
					   "there is no proposal for %s yet: at least %d fixed "
					   "loads are needed",
					   style->text, SITE_PROPOSAL_LEAST);
	}
	if (!(wanted < now.latest_loss_pct))
		return site_refuse(
			context->refusal, -32602, "ready-from", "",
			"ready-from must be below the style's latest loss of %g%%, not '%g'",
			now.latest_loss_pct, wanted);
	put_text(context, "style", style->text);
	put_number(context, "ready_from_loss_pct", wanted);
	return true;
}

/* Since when it has shown nearly that: its time in the jar, which is no air of the room. */
#define JAR_MOST_S (24 * (int64_t)SITE_HOUR_S)
#define JAR_WITHIN_PCT 2.0
static int64_t jar_from(const struct site_station *station, int64_t at_unix_s, double shown_rh_pct)
{
	int64_t from = at_unix_s;

	for (size_t i = station->n_raws; i-- > 0;) {
		const struct site_raw *raw = &station->raws[i];
		if (raw->at_unix_s > at_unix_s)
			continue;
		if (raw->at_unix_s < at_unix_s - JAR_MOST_S ||
		    fabs((double)raw->rh_pct - shown_rh_pct) > JAR_WITHIN_PCT)
			break;
		from = raw->at_unix_s;
	}
	return from;
}

static bool prepare_salt(struct context *context)
{
	const struct site_value *station = value(context, "station"), *rh = value(context, "rh");
	const struct site_station *it =
		&context->site->stations[context->site->station_of_config[station->index]];
	enum wt_salt salt = (enum wt_salt)value(context, "salt")->word;
	double temp_c =
		it->n_readings ? site_station_temp_c(context->site, it, it->last_temp_c) : 20.0;
	double shown = rh->number, truth, gain, offset;

	if (!rh->given && !site_jar_steady(it, context->at_unix_s, &shown))
		return site_refuse(
			context->refusal, REFUSED, "rh", "",
			"station %s is not steady yet: an hour within 0.5%% is needed in the jar, "
			"or tell rh",
			station->text);
	if (wt_salt_rh_pct(salt, temp_c, &truth) != WT_OK)
		return site_refuse(context->refusal, REFUSED, "station", "",
				   "at %.1f C the humidity over %s is not known: 0 to 50 C is",
				   temp_c, wt_salt_formula(salt));
	if (wt_salt_line(1, &shown, &truth, &gain, &offset) != WT_OK)
		return site_refuse(context->refusal, REFUSED, "rh", "",
				   "the station shows %.1f%% where %s has %.1f%%: has it lain in "
				   "the jar for "
				   "half a day?",
				   shown, wt_salt_formula(salt), truth);
	if (!site_jar_agrees(it, (int)salt, shown, truth))
		return site_refuse(
			context->refusal, REFUSED, "salt", "",
			"%.1f%% in %s does not go with the earlier test: take that back, or test "
			"again",
			shown, wt_salt_formula(salt));
	put_text(context, "station", station->text);
	put_text(context, "salt", wt_salt_formula(salt));
	put_number(context, "shown_rh_pct", shown);
	put_number(context, "true_rh_pct", truth);
	put_number(context, "temp_c", temp_c);
	put(context, "jar_from_unix_s",
	    json_integer((json_int_t)jar_from(it, context->at_unix_s, shown)));
	return true;
}

/* --- the frame around them ------------------------------------------------------------------- */

static bool check_load(struct context *context)
{
	const struct site_value *number = value(context, "load");
	char clock[24], given[24];

	if (!number->given)
		return true;
	context->load = site_load_get(context->site, number->number);
	if (!context->load)
		return site_refuse(context->refusal, -32602, "load", "", "there is no load '%g'",
				   number->number);
	if (context->load->state != SITE_OPEN && context->verb != &site_verbs[SITE_YIELD]) {
		site_local_when(context->now_unix_s, context->load->closed_unix_s, clock);
		return site_refuse(context->refusal, REFUSED, "load", "",
				   "load %d was %s at %s already", context->load->number,
				   context->load->state == SITE_FIXED ? "fixed" : "dropped", clock);
	}
	int64_t least = context->verb == &site_verbs[SITE_YIELD] && context->load->closed_unix_s
				? context->load->closed_unix_s
				: context->load->spread_unix_s;
	if (context->at_unix_s < least) {
		site_local_when(context->now_unix_s, least, clock);
		site_local_when(context->now_unix_s, context->at_unix_s, given);
		return site_refuse(context->refusal, -32602, "at", given,
				   "at must not lie before load %d was %s (%s), and that is %s",
				   context->load->number,
				   least == context->load->spread_unix_s ? "spread" : "fixed",
				   clock, given);
	}
	put(context, "load", json_integer(context->load->number));
	return true;
}

typedef bool (*prepare_fn)(struct context *context);
static const prepare_fn prepares[SITE_VERB_COUNT] = {
	[SITE_SPREAD] = prepare_spread, [SITE_WEIGH] = prepare_weigh, [SITE_FEEL] = prepare_feel,
	[SITE_TURN] = prepare_turn,     [SITE_FIX] = prepare_fix,     [SITE_YIELD] = prepare_yield,
	[SITE_DROP] = prepare_drop,     [SITE_UNDO] = prepare_undo,   [SITE_STYLE] = prepare_style,
	[SITE_SALT] = prepare_salt,
};

bool wt_site_prepare(const struct wt_site *site, const char *method, const json_t *params,
		     int64_t now_unix_s, struct wt_act *out, struct wt_refusal *refusal)
{
	struct site_value values[SITE_PARAMS_MAX];
	const struct site_verb_rule *verb = site_verb_find(method);

	if (!verb || verb->kind != SITE_VERB_ACT)
		return site_refuse(refusal, -32601, "", method, "there is no act '%.60s'", method);
	if (!site_params_read(site, verb, params, now_unix_s, values, refusal))
		return false;
	struct context context = {.site = site,
				  .verb = verb,
				  .values = values,
				  .now_unix_s = now_unix_s,
				  .params = json_object(),
				  .refusal = refusal};
	const struct site_value *at = value(&context, "at");
	context.at_unix_s = at->given ? at->unix_s : now_unix_s;
	if (!check_load(&context) || !prepares[verb - site_verbs](&context)) {
		json_decref(context.params);
		return false;
	}
	put(&context, "at_unix_s", json_integer((json_int_t)context.at_unix_s));
	*out = (struct wt_act){.received_unix_ms = now_unix_s * 1000,
			       .method = site_strdup(method),
			       .params = context.params};
	return true;
}

/* --- taking in ------------------------------------------------------------------------------- */

static void add_salt(struct site_station *station, const struct site_act *act)
{
	json_t *p = site_act_params(act);
	const char *of = json_string_value(json_object_get(p, "station"));
	enum wt_salt salt;

	if (of && !strcmp(of, station->name) &&
	    wt_salt_parse(json_string_value(json_object_get(p, "salt")), &salt) == WT_OK) {
		site_grow(&station->salts, station->n_salts, &station->cap_salts,
			  sizeof(*station->salts));
		station->salts[station->n_salts++] = (struct site_salt_point){
			.act = act->id,
			.at_unix_s = json_integer_value(json_object_get(p, "at_unix_s")),
			.jar_from_unix_s =
				json_integer_value(json_object_get(p, "jar_from_unix_s")),
			.salt = (int)salt,
			.shown_rh_pct = json_number_value(json_object_get(p, "shown_rh_pct")),
			.true_rh_pct = json_number_value(json_object_get(p, "true_rh_pct"))};
	}
	json_decref(p);
}

static void apply_salts(struct wt_site *site, const char *name)
{
	for (size_t i = 0; i < site->n_stations; i++) {
		struct site_station *station = &site->stations[i];
		if (strcmp(station->name, name))
			continue;
		station->n_salts = 0;
		for (size_t k = 0; k < site->n_acts; k++) {
			const struct site_act *act = &site->acts[k];
			if (!act->undone_by && !strcmp(act->method, "salt"))
				add_salt(station, act);
		}
		if (station->configured)
			site_room_rebuild(site, station->room);
	}
}

static void apply_shifts(struct wt_site *site)
{
	for (size_t i = 0; i < site->n_shifts; i++)
		free(site->shifts[i].style);
	site->n_shifts = 0;
	for (size_t i = 0; i < site->n_acts; i++) {
		const struct site_act *act = &site->acts[i];
		if (act->undone_by || strcmp(act->method, "style"))
			continue;
		json_t *params = site_act_params(act);
		site_grow(&site->shifts, site->n_shifts, &site->cap_shifts, sizeof(*site->shifts));
		site->shifts[site->n_shifts++] = (struct site_style_shift){
			.style = site_strdup(json_string_value(json_object_get(params, "style"))),
			.act = act->id,
			.ready_from_loss_pct =
				json_number_value(json_object_get(params, "ready_from_loss_pct"))};
		json_decref(params);
	}
}

/* What an act touches is made again from all acts in force. */
static void remake(struct wt_site *site, const struct site_act *entry)
{
	json_t *params = site_act_params(entry);
	const char *station = json_string_value(json_object_get(params, "station"));

	if (entry->load)
		site_load_rebuild(site, &site->loads[entry->load - 1]);
	else if (!strcmp(entry->method, "style"))
		apply_shifts(site);
	else if (!strcmp(entry->method, "salt") && station)
		apply_salts(site, station);
	json_decref(params);
}

static void apply_undo(struct wt_site *site, const struct wt_act *act)
{
	json_int_t id =
		json_integer_value(json_object_get(json_object_get(act->params, "undone"), "id"));

	for (size_t i = 0; i < site->n_acts; i++) {
		if (site->acts[i].id != id || site->acts[i].undone_by)
			continue;
		site->acts[i].undone_by = act->id;
		remake(site, &site->acts[i]);
		/* What a closed load taught is learned again without it. */
		site_closing_forget(site);
		return;
	}
}

json_t *site_act_params(const struct site_act *entry)
{
	json_t *params = json_loads(entry->params, 0, NULL);

	/* It was written by us: only memory can be wanting. */
	if (!params)
		abort();
	return params;
}

void wt_site_apply(struct wt_site *site, const struct wt_act *act)
{
	json_int_t load = json_integer_value(json_object_get(act->params, "load"));

	site->generation++;
	while (load > 0 && site->n_loads < (size_t)load) {
		site_grow(&site->loads, site->n_loads, &site->cap_loads, sizeof(*site->loads));
		site->loads[site->n_loads] = (struct site_load){.number = (int)site->n_loads + 1,
								.gone = true,
								.regular_loss_p10_pct = NAN,
								.regular_loss_p50_pct = NAN};
		site->n_loads++;
	}
	site_grow(&site->acts, site->n_acts, &site->cap_acts, sizeof(*site->acts));
	struct site_act *entry = &site->acts[site->n_acts++];
	*entry = (struct site_act){
		.id = act->id,
		.method = site_strdup(act->method),
		.params = json_dumps(act->params, JSON_COMPACT | JSON_REAL_PRECISION(17)),
		.load = (int)load};
	/* As with any memory of the site: what is on disk is read again by the next start. */
	if (!entry->params)
		abort();
	if (!strcmp(act->method, "spread") && load > 0)
		site->loads[load - 1].noted_unix_s = act->received_unix_ms / 1000;
	if (!strcmp(act->method, "undo"))
		apply_undo(site, act);
	else
		remake(site, entry);
}

/* --- what the caller is told ----------------------------------------------------------------- */

/* A weight at fixing teaches most, a slip of the hand too: told while the scale is at hand when it
 * is further from the last forecast's middle than twice its lower half and this, % (our
 * choice).  Surface water went besides, so wet leaf is let be; so is what was fixed in parts. */
#define FAR_OFF_PCT 6.0

static void doubt_fixing(const struct wt_site *site, const struct wt_act *act,
			 const struct site_load *load, json_t *notes)
{
	double kg = json_number_value(json_object_get(act->params, "kg"));
	double p50 = load->regular_loss_p50_pct, expected_kg = load->kg * (1.0 - p50 / 100.0);

	if (!(kg > 0.0) || !isfinite(p50) || load->wet != WT_WET_NONE)
		return;
	for (size_t i = 0; i < site->n_acts; i++) {
		const struct site_act *entry = &site->acts[i];
		if (entry->load == load->number && entry->id != act->id && !entry->undone_by &&
		    !strcmp(entry->method, "fix"))
			return;
	}
	if (fabs(100.0 * (1.0 - kg / load->kg) - p50) <
	    2.0 * (p50 - load->regular_loss_p10_pct) + FAR_OFF_PCT)
		return;
	json_array_append_new(notes,
			      site_note("far_off",
					"about %.3g kg was expected: check the scale and what was "
					"typed",
					expected_kg));
}

static void add_notes(const struct wt_site *site, const struct wt_act *act,
		      const struct site_load *load, json_t *notes)
{
	if (!strcmp(act->method, "spread") && load && load->kg / load->area_m2 > 8.0)
		json_array_append_new(
			notes,
			site_note("thick",
				  "%.1f kg/m2 is thick: above 8 kg/m2 leaf heats and withers "
				  "unevenly (common practice). Turn it often.",
				  load->kg / load->area_m2));
	if (!strcmp(act->method, "spread") && load && !site->rooms[load->room].newest_unix_s)
		json_array_append_new(notes, site_note("no_reading",
						       "No reading of the air of %s has come "
						       "yet: no forecast until one does.",
						       site->rooms[load->room].name));
	if (!strcmp(act->method, "fix") && load)
		doubt_fixing(site, act, load, notes);
	/* It speaks of the newest load on it. */
	for (size_t i = 0;
	     !strcmp(act->method, "spread") && load && load->scale && i < site->n_loads; i++) {
		const struct site_load *other = &site->loads[i];
		if (other == load || other->gone || other->state != SITE_OPEN || !other->scale ||
		    strcmp(other->scale, load->scale) != 0 ||
		    other->spread_unix_s > load->spread_unix_s)
			continue;
		json_array_append_new(
			notes,
			site_note("scale_taken",
				  "Scale %s was under load %d: from now on it weighs load %d.",
				  load->scale, other->number, load->number));
	}
}

static void add_jar(const struct wt_site *site, const struct wt_act *act, int64_t now_unix_s,
		    json_t *document)
{
	const char *name = json_string_value(json_object_get(act->params, "station"));

	for (size_t i = 0; name && i < site->n_stations; i++) {
		if (!strcmp(site->stations[i].name, name))
			json_object_set_new(document, "station",
					    site_station_row(site, &site->stations[i], now_unix_s));
	}
	json_object_set_new(document, "rh_effect", site_jar_effect());
}

json_t *wt_site_act_result(const struct wt_site *site, const struct wt_act *act, int64_t now_unix_s)
{
	json_t *document = site_document(site, now_unix_s), *notes = json_array();
	json_t *number = json_object_get(act->params, "load");
	if (!number)
		number = json_object_get(json_object_get(act->params, "undone"), "load");
	const struct site_load *load =
		json_is_integer(number) ? site_load_get(site, (double)json_integer_value(number))
					: NULL;

	add_notes(site, act, load, notes);
	json_object_set_new(document, "act",
			    json_pack("{s:I,s:s,s:O?,s:O?,s:O}", "id", (json_int_t)act->id, "verb",
				      act->method, "load", number, "at_unix_s",
				      json_object_get(act->params, "at_unix_s"), "params",
				      act->params));
	json_object_set_new(document, "load", load ? site_load_row(site, load) : json_null());
	if (!strcmp(act->method, "salt"))
		add_jar(site, act, now_unix_s, document);
	json_object_set_new(document, "notes", notes);
	json_object_set_new(document, "undo", json_boolean(last_act(site) != NULL));
	return site_rounded(document);
}
