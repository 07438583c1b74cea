/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * Messages in the payload conventions of common firmwares, invented values; what
 * is proposed is read as configuration and tried on those messages.
 */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <cmocka.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "daemon/config.h"
#include "lib/wire/pair.h"
#include "lib/wire/pointer.h"
#include "lib/wire/propose.h"

struct message {
	const char *topic, *payload;
};

/* Messages, and what the proposed station reads from them. */
static const struct {
	struct message messages[4];
	double temp_c, rh_pct;
	const char *says; /* part of the proposal */
	const char *asks; /* part of one undecided sentence, or NULL */
} cases[] = {
	{{{"rtl_433/hut/events",
	   "{\"time\":\"2026-04-07 10:04:58\",\"model\":\"Nexus-TH\",\"id\":42,\"channel\":2,"
	   "\"battery_ok\":1,\"temperature_C\":20.5,\"humidity\":83}"}},
	 20.5,
	 83,
	 "match_pointer = /id\nmatch_value = 42",
	 "several sensors"},
	{{{"rtl_433/hut/events",
	   "{\"time\":\"x\",\"model\":\"Any-TH\",\"id\":7,\"temperature_F\":68,\"humidity\":50}"}},
	 20,
	 50,
	 "temp_unit = F",
	 NULL},
	{{{"rtl_433/hut/devices/Nexus-TH/2/42/temperature_C", "20.5"},
	  {"rtl_433/hut/devices/Nexus-TH/2/42/time", "2026-04-07 10:04:58"},
	  {"rtl_433/hut/devices/Nexus-TH/2/42/humidity", "83"}},
	 20.5,
	 83,
	 "rh_topic = rtl_433/hut/devices/Nexus-TH/2/42/humidity",
	 NULL},
	{{{"zigbee2mqtt/loft",
	   "{\"battery\":100,\"humidity\":63.5,\"humidity_calibration\":0,\"linkquality\":192,"
	   "\"temperature\":18.2,\"temperature_calibration\":0,\"temperature_units\":"
	   "\"celsius\"}"}},
	 18.2,
	 63.5,
	 "[station loft]\ntopic = zigbee2mqtt/loft\n",
	 NULL},
	{{{"tele/loft/SENSOR",
	   "{\"Time\":\"2026-04-07T10:05:00\",\"AM2301\":{\"Temperature\":24.6,\"Humidity\":58.2},"
	   "\"TempUnit\":\"C\"}"}},
	 24.6,
	 58.2,
	 "[station loft]\n",
	 NULL},
	{{{"loft/sensor/temperature/state", "21.5"}, {"loft/sensor/humidity/state", "58.2"}},
	 21.5,
	 58.2,
	 "temp_topic = loft/sensor/temperature/state",
	 NULL},
	{{{"shellyplusht-loft/events/rpc",
	   "{\"src\":\"shellyplusht-loft\",\"method\":\"NotifyFullStatus\",\"params\":{\"ts\":"
	   "1775556299.62,\"devicepower:0\":{\"id\":0,\"battery\":{\"V\":0.43,\"percent\":0}},"
	   "\"humidity:0\":{\"id\":0,\"rh\":42.2},\"temperature:0\":{\"id\":0,\"tC\":19.8,\"tF\":"
	   "67.6}}}"}},
	 19.8,
	 42.2,
	 "temp_pointer = /params/temperature:0/tC",
	 NULL},
	{{{"home/gateway/BTtoMQTT/A4C138010203",
	   "{\"tempc\":26.62,\"tempf\":79.916,\"hum\":53.79,\"batt\":89}"}},
	 26.62,
	 53.79,
	 "[station A4C138010203]\n",
	 NULL},
	{{{"homie/5/loft/climate/temperature", "21.5"}, {"homie/5/loft/climate/humidity", "63"}},
	 21.5,
	 63,
	 "rh_topic = homie/5/loft/climate/humidity",
	 NULL},
	{{{"statestream/sensor/loft_temperature/state", "21.5"},
	  {"statestream/sensor/loft_humidity/state", "61"}},
	 21.5,
	 61,
	 "rh_topic = statestream/sensor/loft_humidity/state",
	 NULL},
	{{{"shed/a", "{\"temp\":70.5,\"rh\":61}"}},
	 21.388888888888889,
	 61,
	 "temp_unit = F",
	 "C or F"},
	{{{"shed/a", "{\"in\":{\"t\":20,\"h\":60},\"out\":{\"t\":9,\"h\":90}}"}},
	 20,
	 60,
	 "temp_pointer = /in/t",
	 "2 values named like a temperature; /in/t was taken"},
	{{{"shed/a", "{\"a/b\":{\"m~n\":{\"t\":\"20.5\",\"h\":\"60\"}}}"}},
	 20.5,
	 60,
	 "temp_pointer = /a~1b/m~0n/t",
	 NULL},
};

static json_t *listen(const struct message *messages, size_t n)
{
	struct wt_propose *propose = wt_propose_new();
	json_t *document;

	for (size_t i = 0; i < n && messages[i].topic; i++)
		wt_propose_add(propose, messages[i].topic, messages[i].payload,
			       strlen(messages[i].payload));
	document = wt_propose_document(propose);
	wt_propose_free(&propose);
	return document;
}

static const char *first_proposal(const json_t *document)
{
	const json_t *topics = json_object_get(document, "topics");

	for (size_t i = 0; i < json_array_size(topics); i++) {
		const json_t *proposal = json_object_get(json_array_get(topics, i), "proposal");
		if (json_is_string(proposal))
			return json_string_value(proposal);
	}
	return NULL;
}

static bool asked(const json_t *document, const char *part)
{
	const json_t *list = json_object_get(document, "undecided");

	for (size_t i = 0; i < json_array_size(list); i++) {
		if (strstr(json_string_value(json_array_get(list, i)), part))
			return true;
	}
	return false;
}

static void each_convention_is_understood(void **state)
{
	(void)state;
	for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
		json_t *document = listen(cases[i].messages, 4);
		const char *proposal = first_proposal(document);
		char text[2000];
		struct wt_config *config = NULL;
		struct wt_pair pair;
		struct wt_pair_reading reading = {.temp_c = (double)NAN};

		assert_non_null(proposal);
		if (!strstr(proposal, cases[i].says))
			print_error("%s", proposal);
		assert_non_null(strstr(proposal, cases[i].says));
		if (cases[i].asks)
			assert_true(asked(document, cases[i].asks));
		(void)snprintf(text, sizeof text, "[room r]\n%s", proposal);
		assert_int_equal(wt_config_parse("p", text, strlen(text), stderr, &config), 0);
		wt_pair_init(&pair, 60);
		for (size_t j = 0; j < 4 && cases[i].messages[j].topic; j++) {
			struct wt_payload_values values;
			const struct message *m = &cases[i].messages[j];
			wt_payload_read(&config->stations[0].rule, m->topic, m->payload,
					strlen(m->payload), false, 1775556300, &values);
			(void)wt_pair_add(&pair, &values, 1775556300000, &reading);
		}
		assert_true(fabs(reading.temp_c - cases[i].temp_c) < 1e-9);
		assert_true(fabs(reading.rh_pct - cases[i].rh_pct) < 1e-9);
		wt_config_free(&config);
		json_decref(document);
	}
}

static void nothing_is_proposed_from_nothing(void **state)
{
	static const struct message messages[] = {
		{"a", ""},
		{"b", "on"},
		{"c", "{\"power\":5}"},
		{"d", "{\"temperature\":null,\"humidity\":\"wet\"}"},
		{"e", "{\"temperature\":"},
		{"f", "20.5"},
		{"g/humidity", "60"},
		{"h", "[20,60]"},
		{"i\033[2J/temperature", "20"},
		{"j", "{\"temperature\":5000}"}};
	json_t *document = listen(messages, sizeof messages / sizeof messages[0]);

	(void)state;
	assert_int_equal(json_array_size(json_object_get(document, "topics")),
			 sizeof messages / sizeof messages[0]);
	assert_null(first_proposal(document));
	assert_int_equal(json_array_size(json_object_get(document, "undecided")), 0);
	json_decref(document);
}

static void what_is_shown_is_printable_and_short(void **state)
{
	struct wt_propose *propose = wt_propose_new();
	char *flood = malloc(10000), topic[32];
	json_t *document, *one;

	(void)state;
	memset(flood, 'x', 10000);
	flood[0] = '\033';
	wt_propose_add(propose, "b\007", flood, 10000);
	wt_propose_add(propose, "b\007", flood, 10000);
	wt_propose_add(propose, "a", NULL, 0);
	for (int i = 0; i < WT_PROPOSE_TOPICS_MAX; i++) {
		(void)snprintf(topic, sizeof topic, "t/%d", i);
		wt_propose_add(propose, topic, "1", 1);
	}
	document = wt_propose_document(propose);
	assert_int_equal(json_array_size(json_object_get(document, "topics")),
			 WT_PROPOSE_TOPICS_MAX);
	assert_true(asked(document, "2 messages of further topics were passed over"));
	one = json_array_get(json_object_get(document, "topics"), 1);
	assert_string_equal(json_string_value(json_object_get(one, "topic")), "b?");
	assert_int_equal(json_integer_value(json_object_get(one, "n")), 2);
	assert_true(json_string_length(json_object_get(one, "payload")) <= 203);
	assert_int_equal(json_string_value(json_object_get(one, "payload"))[0], '?');
	json_decref(document);
	wt_propose_free(&propose);
	wt_propose_free(&propose);
	free(flood);
}

static void what_is_missing_is_asked(void **state)
{
	static const struct message half[] = {{"a", "{\"temperature\":20}"}};
	static const struct message bare[] = {{"a/temperature", "20"}};
	json_t *document = listen(half, 1);

	(void)state;
	assert_true(asked(document, "a: no humidity was heard"));
	assert_true(asked(document, "which room"));
	json_decref(document);
	document = listen(bare, 1);
	assert_true(asked(document, "no humidity was heard beside it"));
	json_decref(document);
}

int main(void)
{
	const struct CMUnitTest tests[] = {
		cmocka_unit_test(each_convention_is_understood),
		cmocka_unit_test(nothing_is_proposed_from_nothing),
		cmocka_unit_test(what_is_shown_is_printable_and_short),
		cmocka_unit_test(what_is_missing_is_asked),
	};
	return cmocka_run_group_tests(tests, NULL, NULL);
}
