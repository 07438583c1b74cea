/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "daemon/version.h"

const char *wt_daemon_version(void)
{
	return WT_VERSION;
}
