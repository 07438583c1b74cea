/* SPDX-License-Identifier: GPL-3.0-or-later */
#include <math.h>
#include <stdarg.h>
#include <stdio.h>

#include "daemon/site_inner.h"

json_t *site_number(double value)
{
	return isfinite(value) ? json_real(value) : json_null();
}

json_t *site_time(double unix_s)
{
	return isfinite(unix_s) ? json_integer((json_int_t)llround(unix_s)) : json_null();
}

json_t *site_document(const struct wt_site *site, int64_t now_unix_s)
{
	return json_pack("{s:i,s:I,s:s,s:s}", "format", 1, "now_unix_s", (json_int_t)now_unix_s,
			 "timezone", site->config->timezone ? site->config->timezone : "UTC",
			 "site", site->config->site_name ? site->config->site_name : "");
}

json_t *site_triple(double p10, double p50, double p90)
{
	return json_pack("{s:o,s:o,s:o}", "p10", site_number(p10), "p50", site_number(p50), "p90",
			 site_number(p90));
}

json_t *site_time_triple(double p10, double p50, double p90)
{
	return json_pack("{s:o,s:o,s:o}", "p10", site_time(p10), "p50", site_time(p50), "p90",
			 site_time(p90));
}

json_t *site_note(const char *code, const char *format, ...)
{
	char text[256];
	va_list arguments;

	va_start(arguments, format);
	vsnprintf(text, sizeof(text), format, arguments);
	va_end(arguments);
	return json_pack("{s:s,s:s}", "code", code, "text", text);
}
