/* SPDX-License-Identifier: GPL-3.0-or-later */
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "daemon/config.h"
#include "fuzz.h"

static void check(const struct wt_config *c)
{
	fuzz_require(c->n_rooms > 0, "an accepted configuration has a room");
	fuzz_require(c->members >= 64 && c->forecast_every_s >= 10, "numbers are in their ranges");
	fuzz_require(c->broker_port >= 1 && c->broker_port <= 65535, "the port is one");
	for (size_t i = 0; i < c->n_stations; i++) {
		const struct wt_config_station *station = &c->stations[i];
		fuzz_require(station->room < c->n_rooms, "a station is in a room");
		fuzz_require(wt_payload_filter_valid(station->rule.temp_topic) &&
				     wt_payload_filter_valid(station->rule.rh_topic),
			     "a station has topics");
	}
	for (size_t i = 0; i < c->n_scales; i++)
		fuzz_require(c->scales[i].topic && c->scales[i].room < c->n_rooms,
			     "a scale has topic and room");
	for (size_t i = 0; i < c->n_styles; i++)
		fuzz_require(c->styles[i].ready_from_loss_pct <= c->styles[i].aim_loss_pct &&
				     c->styles[i].aim_loss_pct <= c->styles[i].latest_loss_pct,
			     "a style's losses ascend");
}

void fuzz_config(const uint8_t *data, size_t size)
{
	struct wt_config *config = NULL;
	char *said = NULL;
	size_t said_length = 0;
	FILE *errors = open_memstream(&said, &said_length);
	int result = wt_config_parse("f", (const char *)data, size, errors, &config);

	(void)fclose(errors);
	fuzz_require((result == 0) == (config != NULL), "result and configuration agree");
	fuzz_require((result == 0) == (said_length == 0), "a refusal is told, else nothing is");
	fuzz_require_printable(said, 1);
	if (config)
		check(config);
	wt_config_free(&config);
	free(said);
}
