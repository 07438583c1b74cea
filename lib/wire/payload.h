/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * From a station's message to a reading.  Pure: no I/O, no clock.
 */
#ifndef WT_WIRE_PAYLOAD_H
#define WT_WIRE_PAYLOAD_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

enum wt_temp_unit { WT_TEMP_UNIT_C, WT_TEMP_UNIT_F, WT_TEMP_UNIT_K };

/* How one station's messages are read.  Strings owned by the rule's owner; NULL when unset (an
 * empty pointer "" is the whole document, so it is not the same as unset). */
struct wt_payload_rule {
	char *temp_topic; /* filters: + and # allowed; equal when one message carries both */
	char *rh_topic;
	char *temp_pointer; /* NULL: the whole payload is the number */
	char *rh_pointer;
	enum wt_temp_unit temp_unit;
	char *time_pointer;
	char *battery_pointer;
	char *match_pointer; /* message counts only where this holds match_value */
	char *match_value;
};

/* Why a message gave no value; X-macro with texts in payload.c. */
#define WT_PAYLOAD_FAULT_LIST(X)                                                                   \
	X(WT_PAYLOAD_FINE, "ok")                                                                   \
	X(WT_PAYLOAD_OTHER, "not for this station")                                                \
	X(WT_PAYLOAD_ABSENT, "the value is absent")                                                \
	X(WT_PAYLOAD_NO_READING, "the station says it has no reading")                             \
	X(WT_PAYLOAD_NOT_NUMBER, "the value is not a number")                                      \
	X(WT_PAYLOAD_NOT_JSON, "the payload is not JSON")                                          \
	X(WT_PAYLOAD_RANGE, "the value is out of range")                                           \
	X(WT_PAYLOAD_EMPTY, "the payload is empty")                                                \
	X(WT_PAYLOAD_TOO_LONG, "the payload is longer than 64 KiB")                                \
	X(WT_PAYLOAD_TIME, "the station's time cannot be used")

enum wt_payload_fault {
#define X(name, text) name,
	WT_PAYLOAD_FAULT_LIST(X)
#undef X
};
const char *wt_payload_fault_text(enum wt_payload_fault fault);

enum {
	WT_FLAG_RH_CLAMPED = 1,
	WT_FLAG_TIME_RECEIVED = 2,
	WT_FLAG_RETAINED = 4,
	WT_FLAG_STUCK = 8,
	WT_FLAG_JUMP = 16,
	WT_FLAG_SATURATED = 32,
	WT_FLAG_CLOCK_UNSURE = 64
};

/* What one message gave.  NAN where it carries no such value. */
struct wt_payload_values {
	double temp_c;
	double rh_pct;
	double battery;       /* as sent */
	double source_unix_s; /* the station's own time, or NAN */
	unsigned flags;
	enum wt_payload_fault temp_fault, rh_fault, time_fault;
	char quoted[64]; /* the offending text, control characters replaced, when a fault */
};

/* True when the MQTT topic filter matches the topic (MQTT 5.0, section 4.7). */
bool wt_payload_topic_matches(const char *filter, const char *topic);

/* Reads one message by a rule.  received_unix_s decides whether the station's own time is used
 * (-15 min .. +2 min); retained says that the broker replayed a stored copy.  Flags: RETAINED when
 * so; RH_CLAMPED when a humidity of 100..105 % became 100; TIME_RECEIVED when the rule has a time
 * pointer but this message's time cannot be used. */
void wt_payload_read(const struct wt_payload_rule *rule, const char *topic, const void *payload,
		     size_t length, bool retained, double received_unix_s,
		     struct wt_payload_values *out);

/* Reads the one number of a message: the whole payload when pointer is NULL, else where it leads.
 * quoted (64 bytes) receives the offending text on a fault.  *out is set only on WT_PAYLOAD_FINE.
 */
enum wt_payload_fault wt_payload_number(const char *pointer, const void *payload, size_t length,
					double *out, char *quoted);

/* True when text is a usable MQTT topic filter (MQTT 5.0, section 4.7.1). */
bool wt_payload_filter_valid(const char *filter);

#endif /* WT_WIRE_PAYLOAD_H */
