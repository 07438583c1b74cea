/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * One set of results for every function of lib/.  Zero is success, errors are
 * negative.  On any error the outputs of a function are as they were before.
 */
#ifndef WT_LIB_STATUS_H
#define WT_LIB_STATUS_H

#define WT_STATUS_LIST(X)                                                                          \
	X(WT_OK, 0, "ok")                                                                          \
	X(WT_ERR_ARG, -1, "argument missing, not finite or malformed")                             \
	X(WT_ERR_RANGE, -2, "value outside the range of validity")                                 \
	X(WT_ERR_NOMEM, -3, "out of memory")                                                       \
	X(WT_ERR_NODATA, -4, "not enough data")                                                    \
	X(WT_ERR_NOCONV, -5, "no convergence")

enum wt_status {
#define X(name, value, text) name = value,
	WT_STATUS_LIST(X)
#undef X
};

/* Result must be looked at. */
#define WT_MUST_CHECK __attribute__((warn_unused_result))

/* Static text for a status, never NULL. */
const char *wt_status_text(enum wt_status status);

#endif /* WT_LIB_STATUS_H */
