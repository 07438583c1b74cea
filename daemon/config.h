/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * The configuration file: strict INI, every error with file:line, the offending
 * text and what is accepted.  Keys and their checks come from one table
 * (daemon/config_keys.c).
 */
#ifndef WT_DAEMON_CONFIG_H
#define WT_DAEMON_CONFIG_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>

#include "lib/wire/payload.h"
#include "lib/words.h"

struct wt_config_room {
	char *name;
};

struct wt_config_station {
	char *name;
	size_t room; /* index */
	struct wt_payload_rule rule;
	double expected_every_s;
	double temp_offset_c;
	double rh_offset_pct;
};

struct wt_config_scale {
	char *name;
	size_t room;
	char *topic;
	char *pointer; /* NULL: the payload is the number */
	double kg_per_unit;
	double tare_kg;
};

struct wt_config_style {
	char *name;
	double ready_from_loss_pct, aim_loss_pct, latest_loss_pct;
	double least_hours, most_hours; /* most_hours HUGE_VAL when unset */
	enum wt_prefer prefer;
};

struct wt_config {
	/* [site] */
	char *site_name;
	char *timezone; /* IANA name */
	double altitude_m;
	double latitude_deg, longitude_deg; /* NAN when unset */
	/* [daemon] */
	char *database;
	char *socket;
	char *socket_group; /* NULL when unset */
	int32_t forecast_every_s;
	size_t members;
	uint64_t seed;
	char *record; /* NULL when unset */
	int32_t keep_raw_days;
	/* [broker]; host NULL when the section is missing: no feed */
	char *broker_host;
	int broker_port;
	int broker_version;     /* 5 or 3 */
	char *broker_client_id; /* NULL: derived per install */
	char *broker_user, *broker_password_file;
	bool broker_tls;
	char *broker_ca_file, *broker_cert_file, *broker_key_file;
	/* "file:line" of what names things of this machine, for messages; NULL when unset */
	char *socket_group_where;
	char *broker_password_where, *broker_ca_where, *broker_cert_where, *broker_key_where;
	char *publish_prefix;   /* NULL: nothing is published */
	char *discovery_prefix; /* NULL: dashboards are told nothing unasked */
	/* lists */
	struct wt_config_room *rooms;
	size_t n_rooms;
	struct wt_config_station *stations;
	size_t n_stations;
	struct wt_config_scale *scales;
	size_t n_scales;
	struct wt_config_style *styles; /* built-in styles first, overridden or added by the file */
	size_t n_styles;
	size_t usual_style; /* the first one the file names, else the first built-in one */
	bool usual_style_told;
	/* [tray] */
	double tray_area_m2; /* of one tray, for --trays; NAN when unset */
	bool tray_perforated;
	/* [hearth] */
	int woks;
	double wok_kg;
	double minutes_by_season[WT_SEASON_COUNT];
	int last_start_min, first_start_min; /* minutes after local midnight */
	/* [outlook]; url NULL when unset */
	char *outlook_url;
	bool outlook_timeseries; /* else columns */
	char *outlook_contact;
	int32_t outlook_refresh_s;
	/* [notice]; url NULL when unset */
	char *notice_url;
	bool notice_call_changes, notice_station_silent, notice_past_soon;
	bool notice_text; /* a plain sentence instead of JSON */
	int notice_quiet_from_min,
		notice_quiet_to_min; /* minutes after local midnight; equal: none */
	int notice_most_a_day;
};

/* Where things are when the configuration does not say. */
#define WT_CONFIG_DATABASE "/var/lib/witherd/wither.db"
#define WT_CONFIG_SOCKET "/run/witherd/witherd.sock"

/* Reads a file.  On success *out is owned by the caller and 0 is returned; on failure -1, *out
 * unchanged and every error found, one "file:line: ..." a line, is written to errors. */
int wt_config_read(const char *path, FILE *errors, struct wt_config **out)
	__attribute__((warn_unused_result));

/* The same from memory, for tests and the fuzz harness; name stands in messages. */
int wt_config_parse(const char *name, const char *text, size_t length, FILE *errors,
		    struct wt_config **out) __attribute__((warn_unused_result));

void wt_config_free(struct wt_config **config);

/* The site's zone for every time that is read or written as local, in the whole program, so before
 * there are threads.  false: without memory for it, the zone is not to be used. */
bool wt_config_take_zone(const struct wt_config *config) __attribute__((warn_unused_result));

/* Looks at the files of secrets that config names: true when each is there and may be read by
 * nobody but its owner and group; else false, with one "file:line: ..." a line in errors. */
bool wt_config_secrets_check(const struct wt_config *config, FILE *errors)
	__attribute__((warn_unused_result));

/* Whether the files of certificates can be read and are there; lines in errors as above. */
bool wt_config_certificates_check(const struct wt_config *config, FILE *errors)
	__attribute__((warn_unused_result));

/* Whether this machine knows the group; a line in errors as above. */
bool wt_config_group_check(const struct wt_config *config, FILE *errors)
	__attribute__((warn_unused_result));

/* The first line of a file that holds a secret, malloc'd, without its line end.  NULL with a
 * sentence in errors when the file cannot be read, is empty, longer than 1 KiB, not a plain file,
 * or may be read or written by group or others.  The sentence never holds the secret. */
char *wt_config_secret_read(const char *path, FILE *errors) __attribute__((warn_unused_result));

#endif /* WT_DAEMON_CONFIG_H */
