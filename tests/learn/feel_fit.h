/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * Made by feel_fit.py with SciPy.  Not edited by hand.
 */
#ifndef WT_TESTS_LEARN_FEEL_FIT_H
#define WT_TESTS_LEARN_FEEL_FIT_H

#include "lib/learn.h"

static const struct {
	size_t n;
	struct wt_feel_pair pairs[60];
	struct wt_feel_scale best;
} feel_fits[] = {
	{6,
	 {{41.9, 1.8, (enum wt_feel)4},
	  {28.4, 0.6, (enum wt_feel)3},
	  {13.0, 0.9, (enum wt_feel)2},
	  {35.0, 0.6, (enum wt_feel)4},
	  {31.0, 1.1, (enum wt_feel)3},
	  {15.5, 1.5, (enum wt_feel)2}},
	 {{5.0648, 10.6827, 20.1787, 32.3492}, 2.6589}},
	{15,
	 {{19.5, 0.6, (enum wt_feel)2},
	  {21.8, 1.2, (enum wt_feel)2},
	  {23.4, 1.5, (enum wt_feel)2},
	  {30.4, 0.5, (enum wt_feel)3},
	  {35.5, 1.5, (enum wt_feel)3},
	  {12.0, 1.6, (enum wt_feel)1},
	  {8.5, 1.4, (enum wt_feel)0},
	  {4.6, 1.1, (enum wt_feel)0},
	  {29.1, 2.0, (enum wt_feel)3},
	  {16.9, 0.3, (enum wt_feel)2},
	  {21.6, 1.5, (enum wt_feel)3},
	  {8.4, 0.8, (enum wt_feel)1},
	  {11.5, 1.3, (enum wt_feel)1},
	  {33.6, 1.4, (enum wt_feel)3},
	  {39.2, 0.9, (enum wt_feel)4}},
	 {{8.1371, 14.5332, 23.4180, 36.0031}, 2.4377}},
	{30,
	 {{18.1, 0.9, (enum wt_feel)2}, {23.4, 1.9, (enum wt_feel)3}, {40.0, 0.9, (enum wt_feel)4},
	  {17.1, 0.6, (enum wt_feel)3}, {39.9, 1.8, (enum wt_feel)4}, {39.1, 1.0, (enum wt_feel)4},
	  {28.9, 1.1, (enum wt_feel)4}, {3.7, 1.6, (enum wt_feel)1},  {21.5, 1.7, (enum wt_feel)2},
	  {16.6, 1.0, (enum wt_feel)2}, {39.0, 1.7, (enum wt_feel)4}, {36.8, 0.9, (enum wt_feel)4},
	  {14.9, 0.5, (enum wt_feel)2}, {26.1, 1.4, (enum wt_feel)3}, {39.2, 1.8, (enum wt_feel)4},
	  {32.5, 1.1, (enum wt_feel)4}, {40.1, 1.8, (enum wt_feel)4}, {31.6, 1.7, (enum wt_feel)4},
	  {13.1, 1.9, (enum wt_feel)2}, {27.7, 1.6, (enum wt_feel)3}, {34.4, 1.8, (enum wt_feel)4},
	  {13.2, 1.8, (enum wt_feel)2}, {12.5, 0.5, (enum wt_feel)2}, {1.6, 1.0, (enum wt_feel)0},
	  {18.7, 0.3, (enum wt_feel)2}, {20.2, 1.6, (enum wt_feel)3}, {4.6, 0.6, (enum wt_feel)0},
	  {24.0, 1.9, (enum wt_feel)3}, {35.7, 1.9, (enum wt_feel)4}, {39.1, 0.5, (enum wt_feel)4}},
	 {{4.0120, 9.2290, 19.2170, 29.6996}, 2.5533}},
	{60,
	 {{6.9, 0.6, (enum wt_feel)0},  {19.0, 1.9, (enum wt_feel)2}, {30.4, 0.9, (enum wt_feel)3},
	  {29.9, 0.9, (enum wt_feel)3}, {19.5, 1.7, (enum wt_feel)2}, {8.0, 0.8, (enum wt_feel)1},
	  {32.2, 1.2, (enum wt_feel)4}, {41.0, 0.5, (enum wt_feel)4}, {20.6, 0.7, (enum wt_feel)2},
	  {5.9, 1.1, (enum wt_feel)1},  {13.3, 1.5, (enum wt_feel)2}, {21.2, 1.5, (enum wt_feel)3},
	  {40.1, 1.3, (enum wt_feel)4}, {38.9, 2.0, (enum wt_feel)4}, {14.1, 1.9, (enum wt_feel)2},
	  {18.1, 0.8, (enum wt_feel)2}, {28.3, 1.2, (enum wt_feel)3}, {40.2, 2.0, (enum wt_feel)4},
	  {15.8, 0.4, (enum wt_feel)2}, {36.0, 1.3, (enum wt_feel)4}, {27.9, 1.1, (enum wt_feel)3},
	  {38.9, 1.4, (enum wt_feel)4}, {33.1, 1.2, (enum wt_feel)3}, {29.5, 0.8, (enum wt_feel)3},
	  {6.3, 0.4, (enum wt_feel)1},  {19.7, 1.9, (enum wt_feel)2}, {40.3, 1.2, (enum wt_feel)4},
	  {27.2, 0.8, (enum wt_feel)3}, {13.0, 0.9, (enum wt_feel)1}, {36.0, 1.6, (enum wt_feel)4},
	  {31.2, 0.7, (enum wt_feel)3}, {36.1, 0.5, (enum wt_feel)4}, {39.2, 2.0, (enum wt_feel)4},
	  {4.3, 0.5, (enum wt_feel)0},  {36.7, 1.0, (enum wt_feel)4}, {22.3, 1.0, (enum wt_feel)3},
	  {19.9, 0.5, (enum wt_feel)2}, {19.2, 0.4, (enum wt_feel)2}, {24.1, 1.9, (enum wt_feel)3},
	  {38.9, 0.6, (enum wt_feel)4}, {5.0, 1.1, (enum wt_feel)0},  {19.6, 1.8, (enum wt_feel)3},
	  {33.4, 1.5, (enum wt_feel)3}, {35.0, 1.5, (enum wt_feel)4}, {17.1, 0.9, (enum wt_feel)2},
	  {34.8, 0.8, (enum wt_feel)4}, {2.3, 0.7, (enum wt_feel)0},  {16.6, 1.5, (enum wt_feel)2},
	  {10.5, 0.6, (enum wt_feel)2}, {28.9, 0.8, (enum wt_feel)3}, {20.5, 1.7, (enum wt_feel)2},
	  {36.1, 1.5, (enum wt_feel)4}, {25.5, 1.5, (enum wt_feel)3}, {5.0, 1.3, (enum wt_feel)0},
	  {14.5, 1.3, (enum wt_feel)2}, {32.8, 0.7, (enum wt_feel)3}, {25.9, 1.1, (enum wt_feel)3},
	  {13.3, 1.5, (enum wt_feel)2}, {24.5, 0.3, (enum wt_feel)3}, {16.9, 0.7, (enum wt_feel)2}},
	 {{6.2310, 11.2970, 21.3303, 33.2025}, 1.9331}},
};

#endif /* WT_TESTS_LEARN_FEEL_FIT_H */
