/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * Air over a wet salt has a known humidity (lib/salt.h).
 */
#include <math.h>

#include "daemon/site_inner.h"
#include "lib/salt.h"

int site_salt_find(const char *name)
{
	enum wt_salt salt;

	return name && wt_salt_parse(name, &salt) == WT_OK ? (int)salt : -1;
}

const char *site_salt_accepted(void)
{
	return wt_salt_accepted();
}

const char *site_salt_name(int salt)
{
	return wt_salt_formula((enum wt_salt)salt);
}

double site_salt_rh_pct(int salt, double temp_c)
{
	/* The table ends there; a jar in a workshop lies within. */
	double within_c = temp_c < 0.0 ? 0.0 : temp_c > 50.0 ? 50.0 : temp_c, rh_pct;

	return wt_salt_rh_pct((enum wt_salt)salt, within_c, &rh_pct) == WT_OK ? rh_pct : NAN;
}
