/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * Lines of the control socket: JSON-RPC 2.0, one object a line (lib/wire/protocol.md).
 */
#ifndef WT_WIRE_RPC_H
#define WT_WIRE_RPC_H

#include <jansson.h>
#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "lib/wire/quantity.h"
#include "lib/wire/rpc_code.h"
#include "lib/wire/says.h"
#include "lib/wire/timefmt.h"

enum { WT_RPC_LINE_MAX = 64 * 1024 };

/* A refusal in words: the sentence quotes what was given and says what is accepted.  field, given
 * and accepted are "" where they do not apply. */
struct wt_refusal {
	int code;
	char text[512];
	char field[64];
	char given[96];
	char accepted[256];
	char says[WT_SAYS_SIZE]; /* text taken apart, lib/wire/says.h; "" where it is not */
};

/* Fills a refusal that names no field.  format is a sentence without a full stop. */
void wt_rpc_refuse(struct wt_refusal *refusal, int code, const char *format, ...)
	__attribute__((format(printf, 3, 4)));

/* "FIELD must be ACCEPTED, not 'GIVEN'" with code -32602; given NULL: "FIELD is missing; it must be
 * ACCEPTED".  Given text is cleaned and cut short. */
void wt_rpc_refuse_param(struct wt_refusal *refusal, const char *field, const char *given,
			 const char *accepted);

/* One request.  id is NULL for a notification, to which nothing is answered. */
struct wt_rpc_request {
	json_t *id;
	char *method;
	json_t *params; /* an object; '_' in its keys became '-' */
};

/* A line as JSON, any value; NULL with *refusal when it is too long or none. */
json_t *wt_rpc_document(const char *line, size_t length, struct wt_refusal *refusal)
	__attribute__((warn_unused_result));

/* Reads one request.  false: as with wt_rpc_parse(). */
bool wt_rpc_read(const json_t *document, struct wt_rpc_request *request, struct wt_refusal *refusal)
	__attribute__((warn_unused_result));

/* Parses one line that is one request.  false: *refusal tells; request->id is still set when it
 * could be read (to be answered with), the rest is empty.  Clear the request in both cases. */
bool wt_rpc_parse(const char *line, size_t length, struct wt_rpc_request *request,
		  struct wt_refusal *refusal) __attribute__((warn_unused_result));
void wt_rpc_clear(struct wt_rpc_request *request);

/* Lines with line end, malloc'd; NULL when out of memory.  id NULL is written as null. */
char *wt_rpc_reply_line(const json_t *id, const json_t *result);
char *wt_rpc_error_line(const json_t *id, const struct wt_refusal *refusal);

/*
 * Parameters.  Each getter leaves *out as it was when the parameter is absent or null (so put the
 * default there first), and returns false with *refusal filled when it is present and wrong, or
 * needed and missing.
 */

/* The value of a name, '-' and '_' alike; NULL when absent or null. */
const json_t *wt_rpc_param(const json_t *params, const char *name);

/* Text of 1..most bytes without control characters, borrowed from params. */
bool wt_rpc_get_text(const json_t *params, const char *name, size_t most, bool needed,
		     const char **out, struct wt_refusal *refusal)
	__attribute__((warn_unused_result));

/* TIME of the protocol. */
bool wt_rpc_get_time(const json_t *params, const char *name, int64_t now_unix_s,
		     enum wt_timefmt_sense sense, bool needed, int64_t *unix_s,
		     struct wt_refusal *refusal) __attribute__((warn_unused_result));

/* False when params hold a name that known (NULL-terminated) lacks. */
bool wt_rpc_check_names(const json_t *params, const char *const *known, struct wt_refusal *refusal)
	__attribute__((warn_unused_result));

#endif /* WT_WIRE_RPC_H */
