/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * Each file of config/ is loaded as it stands; the station it describes is fed
 * messages in its payload's convention, with invented values.
 */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <cmocka.h>
#include <dirent.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>

#include "daemon/config.h"
#include "lib/wire/pair.h"

static const double now_unix_s = 1775556300; /* 2026-04-07T10:05:00Z */
static const char *folder;

/* One message, and what the station has after it: a reading, or nothing (temp_c NAN). */
struct step {
	const char *topic, *payload;
	double temp_c, rh_pct;
	double battery;       /* NAN: none */
	double source_unix_s; /* NAN: none */
};

struct snippet {
	const char *file;
	struct step steps[6];
};

#define NONE ((double)NAN)

static const struct snippet snippets[] = {
	{"rtl_433-events.conf",
	 {{"rtl_433/hut/events",
	   "{\"time\":\"2026-04-07 10:04:58\",\"model\":\"Nexus-TH\",\"id\":42,\"channel\":2,"
	   "\"battery_ok\":1,\"temperature_C\":20.5,\"humidity\":83}",
	   20.5, 83, 1, 1775556298},
	  {"rtl_433/hut/events",
	   "{\"time\":\"2026-04-07 10:04:59\",\"model\":\"Nexus-TH\",\"id\":42,\"channel\":2,"
	   "\"battery_ok\":1,\"temperature_C\":20.5,\"humidity\":83}",
	   NONE, NONE, 1, 1775556299}, /* the radio repeats itself */
	  {"rtl_433/hut/events",
	   "{\"time\":\"2026-04-07T12:05:00+0200\",\"model\":\"Nexus-TH\",\"id\":43,"
	   "\"temperature_C\":4.5,\"humidity\":99}",
	   NONE, NONE, NONE, NONE}, /* another sensor */
	  {"rtl_433/hut/states", "{\"enabled\":1}", NONE, NONE, NONE, NONE}}},
	{"rtl_433-devices.conf",
	 {{"rtl_433/hut/devices/Nexus-TH/2/42/temperature_C", "20.5", NONE, NONE, NONE, NONE},
	  {"rtl_433/hut/devices/Nexus-TH/2/42/humidity", "83", 20.5, 83, NONE, NONE},
	  {"rtl_433/hut/devices/Nexus-TH/2/42/time", "2026-04-07 10:04:58", NONE, NONE, NONE,
	   NONE}}},
	{"zigbee2mqtt.conf",
	 {{"zigbee2mqtt/loft",
	   "{\"battery\":100,\"humidity\":63.5,\"humidity_calibration\":0,\"last_seen\":"
	   "\"2026-04-07T06:04:52-04:00\",\"linkquality\":192,\"temperature\":18.2,"
	   "\"temperature_calibration\":0,\"temperature_units\":\"celsius\",\"voltage\":3200}",
	   18.2, 63.5, 100, 1775556292},
	  {"zigbee2mqtt/loft",
	   "{\"battery\":\"99.00\",\"humidity\":null,\"last_seen\":1775556294000,\"temperature\":"
	   "18.3}",
	   NONE, NONE, 99, 1775556294},
	  {"zigbee2mqtt/loft/availability", "{\"state\":\"online\"}", NONE, NONE, NONE, NONE}}},
	{"tasmota.conf",
	 {{"tele/loft/SENSOR",
	   "{\"Time\":\"2026-04-07T10:05:00\",\"AM2301\":{\"Temperature\":24.6,\"Humidity\":58.2},"
	   "\"TempUnit\":\"C\"}",
	   24.6, 58.2, NONE, 1775556300},
	  {"tele/loft/SENSOR",
	   "{\"Time\":\"2026-04-07T10:05:00\",\"AM2301\":{\"Temperature\":null,\"Humidity\":null},"
	   "\"TempUnit\":\"C\"}",
	   NONE, NONE, NONE, NONE},
	  {"tele/loft/SENSOR",
	   "{\"Time\":\"1970-01-01T00:00:09\",\"AM2301\":{\"Temperature\":24.7,\"Humidity\":58.1},"
	   "\"TempUnit\":\"C\"}",
	   24.7, 58.1, NONE, NONE},
	  {"tele/loft/LWT", "Online", NONE, NONE, NONE, NONE}}},
	{"esphome.conf",
	 {{"loft/sensor/temperature/state", "21.5", NONE, NONE, NONE, NONE},
	  {"loft/sensor/humidity/state", "58.2", 21.5, 58.2, NONE, NONE},
	  {"loft/sensor/temperature/state", "nan", NONE, NONE, NONE, NONE},
	  {"loft/status", "online", NONE, NONE, NONE, NONE}}},
	{"shelly-rpc.conf",
	 {{"shellyplusht-loft/events/rpc",
	   "{\"src\":\"shellyplusht-loft\",\"method\":\"NotifyFullStatus\",\"params\":{\"ts\":"
	   "1775556299.62,\"devicepower:0\":{\"id\":0,\"battery\":{\"V\":0.43,\"percent\":0},"
	   "\"external\":{\"present\":true}},\"humidity:0\":{\"id\":0,\"rh\":42.2},"
	   "\"temperature:0\":{\"id\":0,\"tC\":19.8,\"tF\":67.6}}}",
	   19.8, 42.2, 0, 1775556299.62},
	  {"shellyplusht-loft/events/rpc",
	   "{\"src\":\"shellyplusht-loft\",\"method\":\"NotifyStatus\",\"params\":{\"ts\":"
	   "1775556299.9,\"temperature:0\":{\"id\":0,\"tC\":19.9,\"tF\":67.8}}}",
	   NONE, NONE, NONE, 1775556299.9},
	  {"shellyplusht-loft/events/rpc",
	   "{\"src\":\"shellyplusht-loft\",\"method\":\"NotifyEvent\",\"params\":{\"ts\":"
	   "1775556299.9,"
	   "\"events\":[{\"component\":\"sys\",\"event\":\"sleep\"}]}}",
	   NONE, NONE, NONE, NONE}}},
	{"shelly-status.conf",
	 {{"shellyplusht-loft/status/temperature:0", "{\"id\":0,\"tC\":19.8,\"tF\":67.6}", NONE,
	   NONE, NONE, NONE},
	  {"shellyplusht-loft/status/humidity:0", "{\"id\":0,\"rh\":42.2}", 19.8, 42.2, NONE, NONE},
	  {"shellyplusht-loft/status/devicepower:0", "{\"id\":0,\"battery\":{\"percent\":88}}",
	   NONE, NONE, NONE, NONE}}},
	{"theengs.conf",
	 {{"home/gateway/BTtoMQTT/A4C138010203",
	   "{\"brand\":\"any\",\"model\":\"T(H) Sensor\",\"type\":\"THB\",\"acts\":true,"
	   "\"tempc\":26.62,\"tempf\":79.916,\"extprobe\":false,\"hum\":53.79,\"batt\":89}",
	   26.62, 53.79, 89, NONE},
	  {"home/gateway/BTtoMQTT/A4C138010203", "{\"tempc\":26.7}", NONE, NONE, NONE, NONE},
	  {"home/gateway/BTtoMQTT/A4C138010203", "{\"hum\":\"52.6\"}", 26.7, 52.6, NONE, NONE},
	  {"home/gateway/LWT", "offline", NONE, NONE, NONE, NONE}}},
	{"homie.conf",
	 {{"homie/5/loft/climate/humidity", "63", NONE, NONE, NONE, NONE},
	  {"homie/5/loft/climate/temperature", "21.5", 21.5, 63, NONE, NONE},
	  {"homie/5/loft/climate/temperature", "", NONE, NONE, NONE, NONE},
	  {"homie/5/loft/$state", "ready", NONE, NONE, NONE, NONE}}},
	{"statestream.conf",
	 {{"statestream/sensor/loft_temperature/state", "21.5", NONE, NONE, NONE, NONE},
	  {"statestream/sensor/loft_humidity/state", "unavailable", NONE, NONE, NONE, NONE},
	  {"statestream/sensor/loft_humidity/state", "61", 21.5, 61, NONE, NONE}}},
};

/* The file's text after the sections that it needs; caller frees. */
static char *load(const char *file, const char *before)
{
	char path[512], *text = NULL;
	size_t length = 0, n;
	FILE *in, *out = open_memstream(&text, &length);

	(void)snprintf(path, sizeof path, "%s/%s", folder, file);
	in = fopen(path, "r");
	assert_non_null(in);
	(void)fputs(before, out);
	for (char part[512]; (n = fread(part, 1, sizeof part, in)) > 0;)
		(void)fwrite(part, 1, n, out);
	(void)fclose(in);
	(void)fclose(out);
	return text;
}

static bool same(double a, double b)
{
	return (isnan(a) && isnan(b)) || fabs(a - b) < 1e-6;
}

static void feed(const struct snippet *snippet, const struct wt_config_station *station)
{
	struct wt_pair pair;

	wt_pair_init(&pair, station->expected_every_s);
	for (const struct step *step = snippet->steps; step->topic; step++) {
		struct wt_payload_values values;
		struct wt_pair_reading reading = {.temp_c = NONE, .rh_pct = NONE};
		wt_payload_read(&station->rule, step->topic, step->payload, strlen(step->payload),
				false, now_unix_s, &values);
		bool any = wt_pair_add(&pair, &values, (int64_t)(now_unix_s * 1000), &reading);
		if (any != !isnan(step->temp_c) || !same(reading.temp_c, step->temp_c))
			print_error("%s: %s %s\n", snippet->file, step->topic, step->payload);
		assert_int_equal(any, !isnan(step->temp_c));
		assert_true(same(reading.temp_c, step->temp_c));
		assert_true(same(reading.rh_pct, step->rh_pct));
		assert_true(same(values.battery, step->battery));
		assert_true(same(values.source_unix_s, step->source_unix_s));
	}
}

static void each_snippet_reads_its_own_messages(void **state)
{
	(void)state;
	for (size_t i = 0; i < sizeof snippets / sizeof snippets[0]; i++) {
		char name[128], *text;
		struct wt_config *config = NULL;
		(void)snprintf(name, sizeof name, "stations/%s", snippets[i].file);
		text = load(name, "[room loft]\n");
		assert_int_equal(wt_config_parse(name, text, strlen(text), stderr, &config), 0);
		assert_int_equal(config->n_stations, 1);
		feed(&snippets[i], &config->stations[0]);
		wt_config_free(&config);
		free(text);
	}
}

static void no_snippet_is_untested(void **state)
{
	char path[512];
	DIR *dir;
	size_t found = 0;

	(void)state;
	(void)snprintf(path, sizeof path, "%s/stations", folder);
	dir = opendir(path);
	assert_non_null(dir);
	for (struct dirent *entry; (entry = readdir(dir));) {
		bool known = entry->d_name[0] == '.';
		for (size_t i = 0; i < sizeof snippets / sizeof snippets[0]; i++)
			known |= !strcmp(snippets[i].file, entry->d_name);
		if (!known)
			print_error("%s has no messages in this test\n", entry->d_name);
		assert_true(known);
		found += entry->d_name[0] != '.';
	}
	closedir(dir);
	assert_int_equal(found, sizeof snippets / sizeof snippets[0]);
}

static void the_example_is_accepted(void **state)
{
	char path[512];
	struct wt_config *config = NULL;

	(void)state;
	(void)snprintf(path, sizeof path, "%s/witherd.conf", folder);
	assert_int_equal(wt_config_read(path, stderr, &config), 0);
	assert_string_equal(config->rooms[0].name, "loft");
	assert_int_equal(config->woks, 2);
	wt_config_free(&config);
}

/* Every key that is commented out in the example is right too: uncommented, it is accepted. */
static void so_it_is_with_all_its_keys(void **state)
{
	char *text = load("witherd.conf", ""), *all = NULL;
	size_t length = 0;
	FILE *out = open_memstream(&all, &length);
	struct wt_config *config = NULL;

	(void)state;
	for (char *line = strtok(text, "\n"); line; line = strtok(NULL, "\n")) {
		bool key = line[0] == '#' && line[1] != ' ' && line[1];
		(void)fprintf(out, "%s\n", key ? line + 1 : line);
	}
	(void)fclose(out);
	assert_int_equal(wt_config_parse("example", all, length, stderr, &config), 0);
	assert_int_equal(config->n_scales, 1);
	assert_non_null(config->outlook_url);
	assert_non_null(config->notice_url);
	assert_non_null(config->broker_key_file);
	wt_config_free(&config);
	free(all);
	free(text);
}

int main(int argc, char **argv)
{
	const struct CMUnitTest tests[] = {
		cmocka_unit_test(each_snippet_reads_its_own_messages),
		cmocka_unit_test(no_snippet_is_untested),
		cmocka_unit_test(the_example_is_accepted),
		cmocka_unit_test(so_it_is_with_all_its_keys),
	};
	if (argc < 2)
		return 2;
	folder = argv[1];
	setenv("TZ", "UTC0", 1);
	tzset();
	return cmocka_run_group_tests(tests, NULL, NULL);
}
