/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * The log: one line a call to standard error, with the journal's level prefix
 * when standard error leads there, else with the time.  Safe from any thread.
 */
#ifndef WT_DAEMON_LOG_H
#define WT_DAEMON_LOG_H

/* Values of syslog(3).  err: a person is needed; warning: it goes on, worse; notice: a state
 * changed; info: start and stop; debug: each message. */
enum wt_log_level {
	WT_LOG_ERR = 3,
	WT_LOG_WARNING = 4,
	WT_LOG_NOTICE = 5,
	WT_LOG_INFO = 6,
	WT_LOG_DEBUG = 7
};

/* Looks where standard error leads.  Lines above `most` are left out. */
void wt_log_open(enum wt_log_level most);

/* Control characters in what is printed become '?'. */
void wt_log(enum wt_log_level level, const char *format, ...) __attribute__((format(printf, 2, 3)));

#endif /* WT_DAEMON_LOG_H */
