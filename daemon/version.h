/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef WT_DAEMON_VERSION_H
#define WT_DAEMON_VERSION_H

/* The project's version, "0.1.0".  Static text. */
const char *wt_daemon_version(void);

#endif /* WT_DAEMON_VERSION_H */
