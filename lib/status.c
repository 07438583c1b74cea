/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "lib/status.h"

const char *wt_status_text(enum wt_status status)
{
	switch (status) {
#define X(name, value, text)                                                                       \
	case name:                                                                                 \
		return text;
		WT_STATUS_LIST(X)
#undef X
	}
	return "unknown status";
}
