/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * Inside of a fit, for the drawing.
 */
#ifndef WT_LIB_ROOM_FIT_H
#define WT_LIB_ROOM_FIT_H

#include "lib/room_internal.h"

struct wt_room_fit {
	int32_t utc_offset_s;
	float profile[2][ROOM_SLOTS_DAY];
	double sd[2];
};

#endif /* WT_LIB_ROOM_FIT_H */
