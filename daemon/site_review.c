/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * The track record.
 */
#include "daemon/site_query.h"

json_t *wt_site_review(const struct wt_site *site, const json_t *forecast_rows,
		       const json_t *air_forecast_rows, int64_t since_unix_s, int64_t now_unix_s)
{
	(void)forecast_rows;
	(void)air_forecast_rows;
	(void)since_unix_s;
	return site_document(site, now_unix_s);
}
