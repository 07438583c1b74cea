/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "daemon/config_keys.h"

#include <math.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "lib/style_table.h"
#include "lib/wire/pointer.h"
#include "lib/wire/quantity.h"
#include "lib/wire/text.h"

const struct wt_config_section_def wt_config_sections[WT_SECTION_COUNT] = {
	[WT_SECTION_SITE] = {"site", false},      [WT_SECTION_DAEMON] = {"daemon", false},
	[WT_SECTION_BROKER] = {"broker", false},  [WT_SECTION_ROOM] = {"room", true},
	[WT_SECTION_STATION] = {"station", true}, [WT_SECTION_SCALE] = {"scale", true},
	[WT_SECTION_STYLE] = {"style", true},     [WT_SECTION_TRAY] = {"tray", false},
	[WT_SECTION_HEARTH] = {"hearth", false},  [WT_SECTION_OUTLOOK] = {"outlook", false},
	[WT_SECTION_NOTICE] = {"notice", false},
};

typedef struct wt_config_key_def key_def;

static bool put_text(const char *text, void *target)
{
	char *copy = strdup(text);

	if (!copy)
		return false;
	free(*(char **)target);
	*(char **)target = copy;
	return true;
}

static bool set_text(const key_def *key, const char *text, void *target)
{
	(void)key;
	return *text && wt_text_is_clean(text, strlen(text)) && put_text(text, target);
}

static bool set_path(const key_def *key, const char *text, void *target)
{
	return text[0] == '/' && set_text(key, text, target);
}

/* sun_path of a Unix socket holds 108 bytes with the 0 (unix(7)). */
static bool set_socket(const key_def *key, const char *text, void *target)
{
	return strlen(text) <= 107 && set_path(key, text, target);
}

static bool set_filter(const key_def *key, const char *text, void *target)
{
	return wt_payload_filter_valid(text) && set_text(key, text, target);
}

/* A topic to publish under: no wildcard, no slash at its end, none of the broker's own. */
static bool set_prefix(const key_def *key, const char *text, void *target)
{
	return !strpbrk(text, "+#") && text[0] != '$' && *text && text[strlen(text) - 1] != '/' &&
	       set_filter(key, text, target);
}

static bool set_pointer(const key_def *key, const char *text, void *target)
{
	(void)key;
	return wt_pointer_valid(text) && wt_text_is_clean(text, strlen(text)) &&
	       put_text(text, target);
}

/* Known to the system's zone data; UTC needs none. */
static bool set_zone(const key_def *key, const char *text, void *target)
{
	static const char letters[] =
		"ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789_+-/";
	char path[128] = "/usr/share/zoneinfo/";

	if (!*text || text[strspn(text, letters)] || *text == '/' || strlen(text) > 64 ||
	    text[strlen(text) - 1] == '/')
		return false;
	strcat(path, text);
	return (!strcmp(text, "UTC") || access(path, R_OK) == 0) && set_text(key, text, target);
}

/* Plain http only to this very machine: nothing on the way can read or change it there. */
static bool loopback_url(const char *text)
{
	static const char *const hosts[] = {"http://127.0.0.1", "http://[::1]", "http://localhost"};

	for (size_t i = 0; i < sizeof hosts / sizeof hosts[0]; i++) {
		size_t length = strlen(hosts[i]);
		if (!strncmp(text, hosts[i], length) &&
		    (text[length] == ':' || text[length] == '/' || !text[length]))
			return true;
	}
	return false;
}

static bool set_url(const key_def *key, const char *text, void *target)
{
	bool secure = !strncmp(text, "https://", 8) && text[8] && text[8] != '/';

	return (secure || loopback_url(text)) && !strpbrk(text, " \t\"<>") &&
	       set_text(key, text, target);
}

/* A number within the key's bounds. */
static bool bounded(const key_def *key, const char *text, double *out)
{
	return wt_quantity_number(text, strlen(text), out) == WT_OK && *out >= key->least &&
	       *out <= key->most;
}

static bool set_number(const key_def *key, const char *text, void *target)
{
	double number;

	if (!bounded(key, text, &number))
		return false;
	*(double *)target = number;
	return true;
}

/* More than least, not least itself. */
static bool set_positive(const key_def *key, const char *text, void *target)
{
	double number;

	if (!bounded(key, text, &number) || number <= key->least)
		return false;
	*(double *)target = number;
	return true;
}

static bool whole(const key_def *key, const char *text, double *out)
{
	return bounded(key, text, out) && *out == floor(*out);
}

static bool set_int(const key_def *key, const char *text, void *target)
{
	double number;

	if (!whole(key, text, &number))
		return false;
	*(int *)target = (int)number;
	return true;
}

static bool set_int32(const key_def *key, const char *text, void *target)
{
	double number;

	if (!whole(key, text, &number))
		return false;
	*(int32_t *)target = (int32_t)number;
	return true;
}

static bool set_size(const key_def *key, const char *text, void *target)
{
	double number;

	if (!whole(key, text, &number))
		return false;
	*(size_t *)target = (size_t)number;
	return true;
}

static bool set_seed(const key_def *key, const char *text, void *target)
{
	double number;

	if (!whole(key, text, &number))
		return false;
	*(uint64_t *)target = (uint64_t)number;
	return true;
}

static bool set_yes(const key_def *key, const char *text, void *target)
{
	(void)key;
	if (strcmp(text, "yes") != 0 && strcmp(text, "no") != 0)
		return false;
	*(bool *)target = text[0] == 'y';
	return true;
}

static bool set_version(const key_def *key, const char *text, void *target)
{
	(void)key;
	if (strcmp(text, "5") != 0 && strcmp(text, "3") != 0)
		return false;
	*(int *)target = text[0] - '0';
	return true;
}

static bool set_temp_unit(const key_def *key, const char *text, void *target)
{
	static const char letters[] = {
		[WT_TEMP_UNIT_C] = 'C', [WT_TEMP_UNIT_F] = 'F', [WT_TEMP_UNIT_K] = 'K'};
	(void)key;
	for (size_t i = 0; i < sizeof letters; i++) {
		if (text[0] == letters[i] && !text[1]) {
			*(enum wt_temp_unit *)target = (enum wt_temp_unit)i;
			return true;
		}
	}
	return false;
}

/* Kilograms per unit the load cell sends. */
static bool set_mass_unit(const key_def *key, const char *text, void *target)
{
	bool grams = !strcmp(text, "g");

	(void)key;
	if (!grams && strcmp(text, "kg") != 0)
		return false;
	*(double *)target = grams ? 1e-3 : 1;
	return true;
}

static bool set_prefer(const key_def *key, const char *text, void *target)
{
	int value;

	(void)key;
	if (wt_words_parse(WT_WORDS_PREFER, text, &value))
		return false;
	*(enum wt_prefer *)target = (enum wt_prefer)value;
	return true;
}

/* HH:MM as minutes after midnight. */
static bool set_clock(const key_def *key, const char *text, void *target)
{
	static const char shape[] = "00:00";
	int hours, minutes;

	(void)key;
	if (strlen(text) != sizeof shape - 1)
		return false;
	for (size_t i = 0; shape[i]; i++) {
		bool digit = text[i] >= '0' && text[i] <= '9';
		if (shape[i] == '0' ? !digit : text[i] != shape[i])
			return false;
	}
	hours = (text[0] - '0') * 10 + text[1] - '0';
	minutes = (text[3] - '0') * 10 + text[4] - '0';
	if (hours > 23 || minutes > 59)
		return false;
	*(int *)target = hours * 60 + minutes;
	return true;
}

static bool set_outlook_format(const key_def *key, const char *text, void *target)
{
	(void)key;
	if (strcmp(text, "columns") != 0 && strcmp(text, "timeseries") != 0)
		return false;
	*(bool *)target = text[0] == 't';
	return true;
}

static bool set_notice_format(const key_def *key, const char *text, void *target)
{
	(void)key;
	if (strcmp(text, "json") != 0 && strcmp(text, "text") != 0)
		return false;
	*(bool *)target = text[0] == 't';
	return true;
}

/* A list of events; target is the configuration itself, since it sets several fields. */
static bool set_when(const key_def *key, const char *text, void *target)
{
	struct wt_config *config = target;
	struct {
		const char *word;
		bool *field, on;
	} events[] = {{"call-changes", &config->notice_call_changes, false},
		      {"station-silent", &config->notice_station_silent, false},
		      {"past-soon", &config->notice_past_soon, false}};
	const size_t n = sizeof events / sizeof events[0];

	(void)key;
	for (const char *at = text + strspn(text, " ,"); *at; at += strspn(at, " ,")) {
		size_t length = strcspn(at, " ,"), i;
		for (i = 0; i < n; i++) {
			if (strlen(events[i].word) == length && !memcmp(events[i].word, at, length))
				break;
		}
		if (i == n)
			return false;
		events[i].on = true;
		at += length;
	}
	for (size_t i = 0; i < n; i++)
		*events[i].field = events[i].on;
	return true;
}

/* clang-format off */
#define TOP(field) offsetof(struct wt_config, field)
#define STATION(field) offsetof(struct wt_config_station_draft, field)
#define SCALE(field) offsetof(struct wt_config_scale_draft, field)
#define STYLE(field) offsetof(struct wt_config_style, field)
#define ANY_TEXT "text without control characters"
#define AS_TEXT(number) #number
#define FROM_TO(least, most) least, most, AS_TEXT(least) " to " AS_TEXT(most)
#define A_LOSS FROM_TO(WT_STYLE_LEAST_LOSS_PCT, WT_STYLE_MOST_LOSS_PCT)
#define ANY_FILTER "an MQTT topic or filter ('+' and '#' fill whole levels)"
#define ANY_POINTER "a JSON Pointer: empty or starting with '/'"
#define ANY_FILE "an absolute path"
#define ANY_URL "an https:// address (http:// only to this machine)"
#define ANY_CLOCK "a time of day HH:MM"
#define YES_NO "yes or no"

const struct wt_config_key_def wt_config_keys[] = {
	{WT_SECTION_SITE, "name", set_text, TOP(site_name), 0, 0, ANY_TEXT},
	{WT_SECTION_SITE, "timezone", set_zone, TOP(timezone), 0, 0,
	 "a time zone of /usr/share/zoneinfo such as UTC or Asia/Shanghai"},
	{WT_SECTION_SITE, "altitude_m", set_number, TOP(altitude_m), -500, 5000, "-500 to 5000"},
	{WT_SECTION_SITE, "latitude", set_number, TOP(latitude_deg), -90, 90, "-90 to 90"},
	{WT_SECTION_SITE, "longitude", set_number, TOP(longitude_deg), -180, 180, "-180 to 180"},

	{WT_SECTION_DAEMON, "database", set_path, TOP(database), 0, 0, ANY_FILE},
	{WT_SECTION_DAEMON, "socket", set_socket, TOP(socket), 0, 0, "an absolute path of at most 107 bytes"},
	{WT_SECTION_DAEMON, "socket_group", set_text, TOP(socket_group), 0, 0, "the name of a group"},
	{WT_SECTION_DAEMON, "forecast_every_s", set_int32, TOP(forecast_every_s), 10, 3600,
	 "a whole number from 10 to 3600"},
	{WT_SECTION_DAEMON, "members", set_size, TOP(members), 64, 16384, "a whole number from 64 to 16384"},
	{WT_SECTION_DAEMON, "seed", set_seed, TOP(seed), 0, 9007199254740992.0,
	 "a whole number from 0 to 9007199254740992"},
	{WT_SECTION_DAEMON, "record", set_path, TOP(record), 0, 0, ANY_FILE},
	{WT_SECTION_DAEMON, "keep_raw_days", set_int32, TOP(keep_raw_days), 7, 36500,
	 "a whole number from 7 to 36500"},

	{WT_SECTION_BROKER, "host", set_text, TOP(broker_host), 0, 0, "a host name or address"},
	{WT_SECTION_BROKER, "port", set_int, TOP(broker_port), 1, 65535, "a whole number from 1 to 65535"},
	{WT_SECTION_BROKER, "version", set_version, TOP(broker_version), 0, 0, "5 or 3"},
	{WT_SECTION_BROKER, "client_id", set_text, TOP(broker_client_id), 0, 0, ANY_TEXT},
	{WT_SECTION_BROKER, "user", set_text, TOP(broker_user), 0, 0, ANY_TEXT},
	{WT_SECTION_BROKER, "password_file", set_path, TOP(broker_password_file), 0, 0, ANY_FILE},
	{WT_SECTION_BROKER, "tls", set_yes, TOP(broker_tls), 0, 0, YES_NO},
	{WT_SECTION_BROKER, "ca_file", set_path, TOP(broker_ca_file), 0, 0, ANY_FILE},
	{WT_SECTION_BROKER, "cert_file", set_path, TOP(broker_cert_file), 0, 0, ANY_FILE},
	{WT_SECTION_BROKER, "key_file", set_path, TOP(broker_key_file), 0, 0, ANY_FILE},
	{WT_SECTION_BROKER, "publish_prefix", set_prefix, TOP(publish_prefix), 0, 0,
	 "a topic without wildcards and without '/' at its end"},
	{WT_SECTION_BROKER, "discovery_prefix", set_prefix, TOP(discovery_prefix), 0, 0,
	 "a topic without wildcards and without '/' at its end"},

	{WT_SECTION_STATION, "room", set_text, STATION(room), 0, 0, "the name of a [room]"},
	{WT_SECTION_STATION, "topic", set_filter, STATION(topic), 0, 0, ANY_FILTER},
	{WT_SECTION_STATION, "temp_topic", set_filter, STATION(station.rule.temp_topic), 0, 0, ANY_FILTER},
	{WT_SECTION_STATION, "temp_pointer", set_pointer, STATION(station.rule.temp_pointer), 0, 0, ANY_POINTER},
	{WT_SECTION_STATION, "temp_unit", set_temp_unit, STATION(station.rule.temp_unit), 0, 0, "C, F or K"},
	{WT_SECTION_STATION, "rh_topic", set_filter, STATION(station.rule.rh_topic), 0, 0, ANY_FILTER},
	{WT_SECTION_STATION, "rh_pointer", set_pointer, STATION(station.rule.rh_pointer), 0, 0, ANY_POINTER},
	{WT_SECTION_STATION, "time_pointer", set_pointer, STATION(station.rule.time_pointer), 0, 0, ANY_POINTER},
	{WT_SECTION_STATION, "battery_pointer", set_pointer, STATION(station.rule.battery_pointer), 0, 0, ANY_POINTER},
	{WT_SECTION_STATION, "match_pointer", set_pointer, STATION(station.rule.match_pointer), 0, 0, ANY_POINTER},
	{WT_SECTION_STATION, "match_value", set_text, STATION(station.rule.match_value), 0, 0, ANY_TEXT},
	{WT_SECTION_STATION, "expected_every_s", set_number, STATION(station.expected_every_s), 1, 86400, "1 to 86400"},
	{WT_SECTION_STATION, "temp_offset_c", set_number, STATION(station.temp_offset_c), -10, 10, "-10 to 10"},
	{WT_SECTION_STATION, "rh_offset_pct", set_number, STATION(station.rh_offset_pct), -20, 20, "-20 to 20"},

	{WT_SECTION_SCALE, "room", set_text, SCALE(room), 0, 0, "the name of a [room]"},
	{WT_SECTION_SCALE, "topic", set_filter, SCALE(scale.topic), 0, 0, ANY_FILTER},
	{WT_SECTION_SCALE, "pointer", set_pointer, SCALE(scale.pointer), 0, 0, ANY_POINTER},
	{WT_SECTION_SCALE, "unit", set_mass_unit, SCALE(scale.kg_per_unit), 0, 0, "kg or g"},
	{WT_SECTION_SCALE, "tare_kg", set_number, SCALE(scale.tare_kg), 0, 500, "0 to 500"},

	{WT_SECTION_STYLE, "ready_from_loss_pct", set_number, STYLE(ready_from_loss_pct), A_LOSS},
	{WT_SECTION_STYLE, "aim_loss_pct", set_number, STYLE(aim_loss_pct), A_LOSS},
	{WT_SECTION_STYLE, "latest_loss_pct", set_number, STYLE(latest_loss_pct), A_LOSS},
	{WT_SECTION_STYLE, "least_hours", set_number, STYLE(least_hours), 0, 72, "0 to 72"},
	{WT_SECTION_STYLE, "most_hours", set_positive, STYLE(most_hours), 0, 96, "more than 0 and at most 96"},
	{WT_SECTION_STYLE, "prefer", set_prefer, STYLE(prefer), 0, 0, "evening, morning or none"},

	{WT_SECTION_TRAY, "area_m2", set_positive, TOP(tray_area_m2), 0, 100, "more than 0 and at most 100"},
	{WT_SECTION_TRAY, "perforated", set_yes, TOP(tray_perforated), 0, 0, YES_NO},

	{WT_SECTION_HEARTH, "woks", set_int, TOP(woks), 0, 20, "a whole number from 0 to 20"},
	{WT_SECTION_HEARTH, "wok_kg", set_positive, TOP(wok_kg), 0, 100, "more than 0 and at most 100"},
	{WT_SECTION_HEARTH, "minutes_spring", set_positive, TOP(minutes_by_season[WT_SEASON_SPRING]), 0, 240,
	 "more than 0 and at most 240"},
	{WT_SECTION_HEARTH, "minutes_summer", set_positive, TOP(minutes_by_season[WT_SEASON_SUMMER]), 0, 240,
	 "more than 0 and at most 240"},
	{WT_SECTION_HEARTH, "minutes_autumn", set_positive, TOP(minutes_by_season[WT_SEASON_AUTUMN]), 0, 240,
	 "more than 0 and at most 240"},
	{WT_SECTION_HEARTH, "last_start", set_clock, TOP(last_start_min), 0, 0, ANY_CLOCK},
	{WT_SECTION_HEARTH, "first_start", set_clock, TOP(first_start_min), 0, 0, ANY_CLOCK},

	{WT_SECTION_OUTLOOK, "url", set_url, TOP(outlook_url), 0, 0, ANY_URL},
	{WT_SECTION_OUTLOOK, "format", set_outlook_format, TOP(outlook_timeseries), 0, 0, "columns or timeseries"},
	{WT_SECTION_OUTLOOK, "contact", set_text, TOP(outlook_contact), 0, 0,
	 "an address at which the weather service can reach you"},
	{WT_SECTION_OUTLOOK, "refresh_s", set_int32, TOP(outlook_refresh_s), 900, 86400,
	 "a whole number from 900 to 86400"},

	{WT_SECTION_NOTICE, "url", set_url, TOP(notice_url), 0, 0, ANY_URL},
	{WT_SECTION_NOTICE, "when", set_when, 0, 0, 0,
	 "any of call-changes, station-silent, past-soon"},
	{WT_SECTION_NOTICE, "format", set_notice_format, TOP(notice_text), 0, 0, "json or text"},
	{WT_SECTION_NOTICE, "quiet_from", set_clock, TOP(notice_quiet_from_min), 0, 0, ANY_CLOCK},
	{WT_SECTION_NOTICE, "quiet_until", set_clock, TOP(notice_quiet_to_min), 0, 0, ANY_CLOCK},
	{WT_SECTION_NOTICE, "most_a_day", set_int, TOP(notice_most_a_day), 1, 24, "a whole number from 1 to 24"},
};
/* clang-format on */

const size_t wt_config_n_keys = sizeof wt_config_keys / sizeof wt_config_keys[0];
