/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * The one table of sections and keys, and how a value becomes a field.
 */
#ifndef WT_DAEMON_CONFIG_KEYS_H
#define WT_DAEMON_CONFIG_KEYS_H

#include <stdbool.h>
#include <stddef.h>

#include "daemon/config.h"

enum wt_config_section {
	WT_SECTION_SITE,
	WT_SECTION_DAEMON,
	WT_SECTION_BROKER,
	WT_SECTION_ROOM,
	WT_SECTION_STATION,
	WT_SECTION_SCALE,
	WT_SECTION_STYLE,
	WT_SECTION_TRAY,
	WT_SECTION_HEARTH,
	WT_SECTION_OUTLOOK,
	WT_SECTION_NOTICE,
	WT_SECTION_COUNT
};

struct wt_config_section_def {
	const char *word;
	bool named; /* [station loft] rather than [site] */
};
extern const struct wt_config_section_def wt_config_sections[WT_SECTION_COUNT];

/* What sections of a list are read into before they are checked as a whole. */
struct wt_config_station_draft {
	struct wt_config_station station;
	char *room;
	char *topic;
};
struct wt_config_scale_draft {
	struct wt_config_scale scale;
	char *room;
};

struct wt_config_key_def {
	enum wt_config_section section;
	const char *name;
	/* Stores text into the field at target; false when it is not accepted. */
	bool (*set)(const struct wt_config_key_def *key, const char *text, void *target);
	size_t offset;
	double least, most;
	const char *accepted;
};
extern const struct wt_config_key_def wt_config_keys[];
extern const size_t wt_config_n_keys;

#endif /* WT_DAEMON_CONFIG_KEYS_H */
