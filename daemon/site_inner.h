/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * What the site's own files share.  Nobody else includes this.
 *
 * The site is owned by the main loop.  A job never looks into the site: it
 * holds copies, or counted references to things that are not changed any more.
 */
#ifndef WT_DAEMON_SITE_INNER_H
#define WT_DAEMON_SITE_INNER_H

#include <stdatomic.h>
#include <stdlib.h>

#include "daemon/site.h"
#include "lib/decide.h"
#include "lib/ensemble.h"
#include "lib/learn.h"
#include "lib/room.h"
#include "lib/wire/quantity.h"

#define SITE_HOUR_S 3600
#define SITE_DAY_S 86400

/* --- memory (site_share.c) -------------------------------------------------------------------
 * The daemon cannot go on without memory for a few bytes of state: these end it, and the journal
 * on disk brings the state back. */
void *site_alloc(size_t size);
void *site_alloc_bare(size_t size); /* not zeroed: for what is filled at once */
char *site_strdup(const char *text);
/* Makes room for one more element; array is the address of the pointer. */
void site_grow(void *array, size_t n, size_t *capacity, size_t element_size);

/* A counted reference: the first member of what is shared between the loop and jobs. */
struct site_shared {
	atomic_int count;
	void (*release)(void *self);
};
void site_shared_init(struct site_shared *shared, void (*release)(void *self));
void *site_take(void *shared); /* NULL stays NULL */
void site_drop(void *address); /* address of a pointer to a shared thing; sets it to NULL */

struct site_series {
	struct site_shared shared;
	struct wt_room_series *series;
};
struct site_series *site_series_wrap(struct wt_room_series *series);

struct site_fit {
	struct site_shared shared;
	int64_t upto_unix_s;
	uint64_t epoch; /* of the room when made: a late reading makes it stale */
	struct wt_room_fit *fit;
};

struct site_fit *site_fit_wrap(struct wt_room_fit *fit, int64_t upto_unix_s, uint64_t epoch);

struct site_posterior {
	struct site_shared shared;
	uint64_t key; /* of everything it was computed from */
	struct wt_members *members;
	struct wt_learn_report report;
	struct wt_observation_report *reports; /* one per observation */
	size_t n_reports;
};
struct site_posterior *site_posterior_new(size_t members, size_t n_reports);

/* What closed loads taught. */
struct site_lore {
	struct site_shared shared;
	uint64_t key;               /* of the taught it was learned from */
	struct wt_gardens *gardens; /* NULL: nothing yet */
	struct wt_feel_scale feel;
};
struct site_lore *site_lore_new(void);

/* What became of an observation. */
struct site_seen {
	int64_t act; /* that told of it */
	struct wt_observation_report report;
};

/* How a closed load ended and what it taught.  One is kept of each load for ever: numbers only, and
 * jobs refer to it.  Not changed once made.  NAN: unknown. */
struct site_closing {
	struct site_shared shared;
	int64_t act; /* that closed the load */
	bool final;
	bool heard;                                              /* it has a record */
	double ready_unix_s, ready_p10_unix_s, ready_p90_unix_s; /* whole; NAN: not yet */
	double past_unix_s; /* whole; HUGE_VAL: not yet, NAN: an old record that does not say */
	double loss_closed_pct, ready_from_loss_pct;
	double pace_mean, pace_sd, moisture_mean, moisture_sd;
	double prior_pace_mean, prior_pace_sd, prior_moisture_mean, prior_moisture_sd;
	double n_weighings, first_observed_unix_s;
	struct site_seen *seen; /* what was weighed and felt */
	size_t n_seen;
	struct wt_feel_pair *feels;
	size_t n_feels;
	struct wt_garden_record record;
	uint64_t hash; /* of what it taught */
};
struct site_closing *site_closing_new(size_t most_seen, size_t most_feels);

/* What lore is made of: the closings of the closed loads, ascending with them. */
struct site_taught {
	struct site_shared shared;
	uint64_t key; /* of all below */
	struct site_closing **closings;
	size_t n;
};
struct site_taught *site_taught_new(size_t most);

/* What the gardens said of a closed load before it was closed; counted. */
struct site_before {
	struct site_shared shared;
	uint64_t key; /* of what it was computed from */
	bool known;
	struct wt_garden_guess guess;
};
struct site_before *site_before_new(void);

/* --- the state ------------------------------------------------------------------------------- */

struct site_raw {           /* a reading as it came, kept to be corrected again */
	uint32_t at_unix_s; /* many are kept: until the year 2106 */
	float temp_c, rh_pct, weight;
};

struct site_salt_point {
	int64_t act;
	int64_t at_unix_s;
	int64_t jar_from_unix_s; /* since when the station lay in the jar */
	int salt;                /* enum wt_salt */
	double shown_rh_pct, true_rh_pct;
};

struct site_station {
	char *name;
	bool configured;
	size_t config; /* index there */
	size_t room;
	struct site_raw *raws; /* in order of arrival */
	size_t n_raws, cap_raws;
	uint64_t n_readings;
	int64_t first_unix_ms, last_unix_ms; /* 0: none */
	double last_temp_c, last_rh_pct;     /* newest, as it came */
	unsigned last_flags;
	struct site_salt_point *salts;
	size_t n_salts, cap_salts;
};

struct site_room {
	char *name;
	bool configured;
	struct site_series *series; /* copied before a change when a job holds it */
	struct site_fit *fit;       /* newest; NULL */
	uint64_t epoch;             /* counts changes of the past */
	int64_t newest_unix_s;
};

struct site_cell_reading {
	int64_t at_unix_s;
	double kg;
};
struct site_scale {
	char *name;
	struct site_cell_reading *readings;
	size_t n, cap;
};

enum site_load_state { SITE_OPEN, SITE_FIXED, SITE_DROPPED };

struct site_observation {
	int64_t act; /* 0: a load cell */
	struct wt_observation seen;
};

struct site_load {
	int number;
	bool gone; /* its spreading was undone */
	size_t origin;
	size_t room;
	char *style;
	char *scale; /* NULL */
	enum wt_grade grade;
	enum wt_season season;
	enum wt_wet wet;
	double kg, area_m2;
	bool perforated;
	double moisture_pct, price;          /* NAN when not told */
	int64_t spread_unix_s, noted_unix_s; /* when it was spread, when that was said */
	enum site_load_state state;
	int64_t closed_unix_s; /* when fixed wholly or dropped */
	int64_t closing_act;
	double fixed_kg; /* as told, all parts; NAN */
	double made_kg, yellow_kg;
	double left_share; /* of the fresh leaf, still on the tray */
	double fixed_minutes;
	struct site_observation *observations; /* in order of time */
	size_t n_observations, cap_observations;
	struct wt_bed_event *events; /* in order of time */
	size_t n_events, cap_events;
	struct site_posterior *posterior; /* NULL */
	struct site_closing *closing;     /* NULL while open */
	struct site_before *before;       /* kept until the closing is final; NULL */
	int firings_done;
	/* By the last forecast at a regular time, so that what an act makes of it does not depend
	 * on when somebody looked. */
	double regular_loss_p10_pct, regular_loss_p50_pct;
};

struct site_act {
	int64_t id;
	char *method;
	char *params;      /* as JSON text, a tenth of the memory; see site_act_params() */
	int load;          /* 0: none */
	int64_t undone_by; /* id of the undo; 0: in force */
};

struct site_style_shift { /* a style's threshold moved by the maker */
	char *style;
	int64_t act;
	double ready_from_loss_pct;
};

struct site_outlook {
	int64_t issued_unix_s;
	size_t n;
	int64_t *at_unix_s;
	double *temp_c, *rh_pct;
};

struct wt_site {
	const struct wt_config *config;
	uint64_t generation;
	double pressure_pa;
	struct site_room *rooms;
	size_t n_rooms, cap_rooms;
	struct site_station *stations;
	size_t n_stations, cap_stations;
	size_t *station_of_config; /* configuration index -> station */
	struct site_scale *scales;
	size_t n_scales, cap_scales;
	char **origins;
	size_t n_origins, cap_origins;
	struct site_load *loads; /* number n at n - 1 */
	size_t n_loads, cap_loads;
	struct site_act *acts;
	size_t n_acts, cap_acts;
	struct site_style_shift *shifts;
	size_t n_shifts, cap_shifts;
	struct site_taught *taught;    /* NULL: to be read again, lore then if it differs */
	struct site_lore *lore;        /* NULL: to be learned again */
	json_t *closings_out;          /* to be stored */
	struct site_outlook *outlooks; /* in order of issue */
	size_t n_outlooks, cap_outlooks;
	struct wt_job *forecast; /* the adopted one; NULL */
};

/* --- state (site.c, site_air.c) */
size_t site_room_find(const struct wt_site *site, const char *name); /* SIZE_MAX: none */
size_t site_origin_find(const struct wt_site *site, const char *name, bool add);
struct site_load *site_load_get(const struct wt_site *site, double number);
/* The style of a name as it stands with the maker's shifts; NULL when there is none. */
const struct wt_config_style *site_style(const struct wt_site *site, const char *name,
					 struct wt_config_style *out);
/* A series that a job holds is copied before it is changed. */
struct wt_room_series *site_room_writable(struct site_room *room);
int64_t site_room_first_unix_s(const struct wt_site *site, size_t room); /* 0: no reading */
void site_outlooks_into(const struct wt_site *site, struct wt_room_series *series);
void site_outlook_clear(struct site_outlook *outlook);
void site_room_rebuild(struct wt_site *site, size_t room);
/* daemon/site_jar.c: a year, after which a station should go into a salt jar again (common practice
 * is a year for cheap sensors, no source). */
#define SITE_JAR_EVERY_S (365 * (int64_t)SITE_DAY_S)
bool site_jar_due(const struct site_station *station, int64_t now_unix_s);
/* The line by the newest check in each salt; false without one. */
bool site_jar_line(const struct site_station *station, double *gain, double *offset_pct);
/* One line goes through this check and the newest ones in other salts. */
bool site_jar_agrees(const struct site_station *station, int salt, double shown_rh_pct,
		     double true_rh_pct);
/* What it has shown in the hour up to a moment, %; false when that was not steady. */
bool site_jar_steady(const struct site_station *station, int64_t at_unix_s, double *out);
/* The last check and the line, or null; what was shown in the last hour; what an error costs. */
json_t *site_jar_checked(const struct site_station *station);
json_t *site_jar_hour(const struct site_station *station, int64_t now_unix_s);
json_t *site_jar_effect(void);
/* A row of `stations`. */
json_t *site_station_row(const struct wt_site *site, const struct site_station *station,
			 int64_t now_unix_s);
/* RH as corrected by offset and salt tests. */
double site_station_rh_pct(const struct wt_site *site, const struct site_station *station,
			   double rh_pct);
double site_station_temp_c(const struct wt_site *site, const struct site_station *station,
			   double temp_c);

/* What was said with an act.  New reference. */
json_t *site_act_params(const struct site_act *entry);

/* --- loads (site_loads.c) */
void site_load_rebuild(struct wt_site *site, struct site_load *load);
void site_load_clear(struct site_load *load);
/* Weighings and feels of the hand together with the thinned load cell; malloc'd. */
size_t site_load_observations(const struct wt_site *site, const struct site_load *load,
			      int64_t upto_unix_s, struct site_observation **out);
void site_load_case(const struct wt_site *site, const struct site_load *load,
		    struct wt_load_case *out);
bool site_load_open_at(const struct site_load *load);

/* --- local time (site_clock.c) */
/* Unix seconds of minutes after local midnight, `days` after the local day of at. */
int64_t site_local_unix_s(const struct wt_site *site, int64_t at_unix_s, int days, int minutes);
void site_local_clock(const struct wt_site *site, int64_t at_unix_s, char out[16]); /* "15:20" */
void site_local_when(int64_t now_unix_s, int64_t at_unix_s,
		     char out[24]); /* "Thu 15:20": not today */
int site_local_offset_s(const struct wt_site *site, int64_t at_unix_s);
/* TIME of the protocol; wish: HH:MM is the next such moment, else the latest one. */
bool site_clock_parse(const json_t *value, int64_t now_unix_s, bool wish, int64_t *out);
void site_hearth(const struct wt_site *site, int64_t now_unix_s, struct wt_hearth *out);
enum wt_season site_season(const struct wt_site *site, int64_t at_unix_s);

/* --- documents (site_doc.c) */
/* A copy with every number at the precision that makes sense for its name (our choice): what was
 * asked for in params and what a closing holds stay as they are.  Takes over the reference. */
json_t *site_rounded(json_t *document);
json_t *site_number(double value);                        /* null for what is not finite */
double site_real(const json_t *object, const char *name); /* NAN for what is no number */
json_t *site_time(double unix_s);                         /* whole seconds, null when unknown */
json_t *site_document(const struct wt_site *site, int64_t now_unix_s);
json_t *site_triple(double p10, double p50, double p90);
json_t *site_time_triple(double p10, double p50, double p90);
json_t *site_note(const char *code, const char *format, ...) __attribute__((format(printf, 2, 3)));

json_t *site_load_row(const struct wt_site *site, const struct site_load *load);

/* A threshold learned from what the maker fixed (site_gardens.c); false when too few loads. */
#define SITE_PROPOSAL_LEAST 5
bool site_style_proposal(const struct wt_site *site, const char *style, double *ready_from_loss_pct,
			 int *from_loads);

/* --- parameters (site_params.c) */
enum site_param_kind {
	SITE_PARAM_END,
	SITE_PARAM_TEXT,
	SITE_PARAM_NAME, /* like text, at most 60 characters, none of them a control */
	SITE_PARAM_NUMBER,
	SITE_PARAM_TIME, /* of an act: not after now */
	SITE_PARAM_WISH, /* a time to come */
	SITE_PARAM_WORD,
	SITE_PARAM_ROOM,
	SITE_PARAM_STYLE,
	SITE_PARAM_STATION,
	SITE_PARAM_SCALE,
	SITE_PARAM_SALT,
	SITE_PARAM_LOAD,
	SITE_PARAM_SWITCH,
};

struct site_param_rule {
	const char *name;
	enum site_param_kind kind;
	bool required;
	bool above; /* least itself is refused */
	double least, most;
	enum wt_quantity quantity;
	enum wt_words words;
};

#define SITE_PARAMS_MAX 14
enum site_verb_kind { SITE_VERB_ACT, SITE_VERB_QUERY, SITE_VERB_STUDY };
enum site_verb {
	SITE_SPREAD,
	SITE_WEIGH,
	SITE_FEEL,
	SITE_TURN,
	SITE_FIX,
	SITE_YIELD,
	SITE_DROP,
	SITE_UNDO,
	SITE_STYLE,
	SITE_SALT,
	SITE_TONIGHT,
	SITE_SHOW,
	SITE_LOADS,
	SITE_AIR,
	SITE_PLAN,
	SITE_GARDENS,
	SITE_LEDGER,
	SITE_STATIONS,
	SITE_WHAT_IF,
	SITE_DENSITY,
	SITE_VERB_COUNT
};
struct site_verb_rule {
	const char *name;
	enum site_verb_kind kind;
	struct site_param_rule params[SITE_PARAMS_MAX];
};
extern const struct site_verb_rule site_verbs[SITE_VERB_COUNT];
const struct site_verb_rule *site_verb_find(const char *name);

struct site_value {
	bool given;
	const char *text; /* borrowed from the parameters */
	double number;    /* NAN when absent; a switch: 0 or 1 */
	int64_t unix_s;
	int word;     /* -1 when absent */
	size_t index; /* room, style, station, scale */
};
/* One value per rule of the verb. */
bool site_params_read(const struct wt_site *site, const struct site_verb_rule *verb,
		      const json_t *params, int64_t now_unix_s, struct site_value *values,
		      struct wt_refusal *refusal);
const struct site_value *site_value(const struct site_verb_rule *verb,
				    const struct site_value *values, const char *name);
bool site_refuse(struct wt_refusal *refusal, int code, const char *field, const char *given,
		 const char *format, ...) __attribute__((format(printf, 5, 6)));

/* --- forecasts (site_job.c and others) */
#define SITE_LEADS 8
extern const int64_t site_lead_s[SITE_LEADS];
enum { SITE_P10, SITE_P25, SITE_P50, SITE_P75, SITE_P90, SITE_QUANTILES };
extern const double site_probability[SITE_QUANTILES];

/* What a forecast says of one load. */
struct site_view {
	bool known; /* false: no air to run on */
	double ready_unix_s[SITE_QUANTILES];
	double past_unix_s[SITE_QUANTILES];
	double loss_pct[SITE_QUANTILES];
	double moisture_pct[SITE_QUANTILES];
	double pace[SITE_QUANTILES];
	double rate_pct_h;
	double rate_before_pct_h;   /* two hours ago; NAN */
	struct wt_outcome *outcome; /* the members themselves */
	struct wt_advice advice;
	bool advised;
	int64_t fire_unix_s[2]; /* first and last start on the call's side of the night; 0: none */
	char why[256];
	json_t *reason;
	json_t *why_says; /* what `why` is made of: one list a clause, lib/wire/says.h */
	json_t *notes;    /* array */
};

struct site_job_load {
	struct site_load load; /* a copy with its own arrays; no closing */
	struct wt_load_case load_case;
	enum wt_prefer prefer;
	size_t room; /* index in the job */
	struct site_observation *observations;
	size_t n_observations;
	bool closing; /* closed: its last word is wanted */
	struct site_posterior *posterior;
	struct wt_gauss prior;
	struct site_view view;
	double closed_loss_pct; /* at fixing, by the posterior; NAN */
	float *settle_loss_pct;
	int64_t *settle_unix_s;
	size_t n_settle;
};

struct site_band { /* per instant of the air band */
	float p10, p50, p90;
};

struct site_job_room {
	size_t site_room;
	char *name;
	struct site_series *series;
	int64_t fit_upto_unix_s; /* what the room's fit is to be made of */
	struct site_fit *fit;
	uint64_t epoch;
	bool known;
	bool silent; /* for so long that nothing is called on its air */
	double lead_temp_c[SITE_LEADS][SITE_QUANTILES];
	double lead_vapour_pa[SITE_LEADS][SITE_QUANTILES];
	int64_t band_start_unix_s;
	size_t n_band;
	struct site_band *band[4]; /* temp_c, vapour_pa, rh_pct, vpd_pa */
	struct wt_room_event event;
	struct wt_room_now now;
	double outlook_weight;
};
enum { SITE_BAND_TEMP, SITE_BAND_VAPOUR, SITE_BAND_RH, SITE_BAND_VPD, SITE_BANDS };
#define SITE_BAND_STEP_S 900

struct site_study; /* what-if or density: site_study.c */

struct wt_job {
	int64_t now_unix_s;
	bool kept; /* see wt_site_job() */
	uint64_t generation;
	uint64_t seed;
	size_t members;
	size_t paths; /* of air, per room */
	double pressure_pa;
	struct site_lore *lore;
	bool lore_new;
	struct site_taught *taught;
	struct wt_hearth hearth;
	struct wt_costs costs;
	struct site_job_room *rooms;
	size_t n_rooms;
	struct site_job_load *loads;
	size_t n_loads;
	struct wt_plan *plan;
	bool settled;
	struct wt_settle settle;
	struct site_study *study; /* NULL for a forecast */
	json_t *result;           /* of a study */
	int64_t clock_offset_s;   /* local time for words */
};

uint64_t site_mix(uint64_t a, uint64_t b);
uint64_t site_hash(uint64_t seed, const void *data, size_t size);
/* Takes what closed loads taught as far as it is read: see site_closing_read(). */
/* most_loads: how many site_job_take_load() will be called for. */
struct wt_job *site_job_new(const struct wt_site *site, int64_t now_unix_s, size_t most_loads);
size_t site_job_take_room(struct wt_job *job, const struct wt_site *site, size_t index);
void site_job_take_load(struct wt_job *job, const struct wt_site *site,
			const struct site_load *load);
/* --- closings (site_closing.c) */
void site_closing_make(struct wt_site *site, struct site_load *load, const struct wt_job *job,
		       const struct site_job_load *done);
/* No more will be learned of the load. */
bool site_closing_final(const struct site_load *load);
/* Reads what the closed loads taught, where that has not been done yet. */
void site_closing_read(struct wt_site *site);
/* What closed loads taught, put together; two milliseconds a hundred loads. */
struct site_lore *site_lore_learn(const struct site_taught *taught);
/* The gardens by the loads that were closed before an act; NULL when nothing was learned. */
struct wt_gardens *site_lore_gardens(const struct site_taught *taught, int64_t before_act);
/* The closing of a load as it is stored; null when there is none. */
json_t *site_closing_document(const struct site_load *load);
/* Both what was read and what was learned from it. */
void site_closing_forget(struct wt_site *site);
/* --- studies (site_study.c) */
void site_study_run(struct wt_job *job);
void site_study_free(struct site_study **study);

/* A load as the decision takes it, by a view of it that is known. */
struct wt_decide_load site_decide_load(const struct wt_hearth *hearth, const struct site_load *load,
				       enum wt_prefer prefer, const struct site_view *view);
struct site_job_load *site_job_find(const struct wt_job *job, int load);
void site_view_clear(struct site_view *view);
/* Loss at mark k of the outcome: p10, p50, p90.  Worked out when asked for. */
void site_view_mark(const struct site_view *view, size_t k, double out[3]);
/* Median loss at a time, %, between the marks of the outcome; NAN before and after them. */
double site_view_loss_pct(const struct site_view *view, int64_t at_unix_s);

/* --- site_words.c -------------------------------------------------------------------------- */

/* More likely than not its style's most hours have passed before it is ready. */
bool site_is_too_slow(const struct wt_job *job, const struct site_job_load *load);

/* Why a load is called as it is, as in the documents and the stored rows.  Static text. */
const char *site_reason_code(enum wt_reason reason);
/* False, and *out unchanged, when code is no such word or NULL. */
bool site_reason_parse(const char *code, enum wt_reason *out);

#endif /* WT_DAEMON_SITE_INNER_H */
