/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * Notices: a POST of one JSON object, or of one plain sentence, to an address of
 * the maker's choice when a call changes, a station falls silent or a load will
 * soon be past its best; not in the quiet hours, and at most a few a day.
 */
#ifndef WT_DAEMON_NOTICE_H
#define WT_DAEMON_NOTICE_H

#include <jansson.h>

#include "daemon/config.h"
#include "daemon/http.h"

struct wt_notice;

/* NULL when no notice is configured, or without memory. */
struct wt_notice *wt_notice_new(struct wt_http *http, const struct wt_config *config);
void wt_notice_free(struct wt_notice **notice);

/* Looks at a new `tonight` document and the present concerns; what is new is sent.  The first look
 * after a start only remembers. */
void wt_notice_look(struct wt_notice *notice, const json_t *tonight, const json_t *concerns,
		    int64_t now_unix_s);

/* Notices that could not be delivered since the last that could; 0: all is well. */
unsigned wt_notice_failures(const struct wt_notice *notice);
const char *wt_notice_fault(const struct wt_notice *notice);

#endif /* WT_DAEMON_NOTICE_H */
