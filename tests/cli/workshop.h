/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * An invented workshop in a throw-away folder: its configuration, two days of
 * its air as a journal, some loads.
 */
#ifndef WT_TESTS_CLI_WORKSHOP_H
#define WT_TESTS_CLI_WORKSHOP_H

#include <stdbool.h>
#include <stdint.h>

#include "tests/cli/runner.h"

struct workshop {
	char folder[64], socket[96], config[96], log[96];
	int port; /* of its broker; 0: none */
	pid_t broker, daemon;
};

/* Spring evening at which the frozen workshop stands: 5 April 2026, 18:42 in its zone. */
#define WORKSHOP_NOW INT64_C(1775385720)

/* Replays two days and `loads` loads, then serves that evening.  false after saying why. */
bool workshop_frozen(struct workshop *out, int loads);
/* Broker and daemon, live, with nothing in them. */
bool workshop_live(struct workshop *out);
/* Sends a reading over the broker and waits until the daemon has it. */
bool workshop_reading(const struct workshop *workshop, double temp_c, double rh_pct);
void workshop_close(struct workshop *workshop);

#endif /* WT_TESTS_CLI_WORKSHOP_H */
