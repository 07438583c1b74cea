/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "lib/salt.h"

#include <ctype.h>
#include <math.h>
#include <stdbool.h>
#include <string.h>

/* Valid for all six together, and all a tea room needs; the fits reach further for some. */
static const double temp_least_c = 0, temp_most_c = 50;

static const struct {
	const char *formula, *name;
} salts[WT_SALT_COUNT] = {
#define X(id, formula_text, name_text) [id] = {.formula = formula_text, .name = name_text},
	WT_SALT_LIST(X)
#undef X
};

/* Greenspan 1977, %, % per C, % per C^2, % per C^3, as three public transcriptions give them
 * (K2SO4: one; the paper's own table could not be read), save that all print the linear term of
 * LiCl with a minus: with it the fit misses the printed tables by 0.3 % at 20 C, with a plus it
 * meets them. Mg(NO3)2: from memory; a printed list has its value at 25 C, 52.89. */
static const double coefficients[WT_SALT_COUNT][4] = {
	[WT_SALT_LICL] = {11.2323, 0.00824245, -0.214890e-3, 0},
	[WT_SALT_MGCL2] = {33.6686, -0.00797397, -0.108988e-2, 0},
	[WT_SALT_MGNO32] = {60.3514, -0.298290, 0, 0},
	[WT_SALT_NACL] = {75.5164, 0.0398321, -0.265459e-2, 0.2848e-4},
	[WT_SALT_KCL] = {88.6190, -0.193340, 0.899706e-3, 0},
	[WT_SALT_K2SO4] = {98.7792, -0.0590502, 0, 0},
};

const char *wt_salt_formula(enum wt_salt salt)
{
	return salts[salt].formula;
}

const char *wt_salt_name(enum wt_salt salt)
{
	return salts[salt].name;
}

const char *wt_salt_accepted(void)
{
	return "LiCl, MgCl2, Mg(NO3)2, NaCl, KCl, K2SO4";
}

/* Letters and digits only, in lower case. */
static bool plain(const char *text, char *out, size_t out_size)
{
	size_t used = 0;

	for (; *text; text++) {
		if (!isalnum((unsigned char)*text)) {
			if (!strchr("-_ ()", *text))
				return false;
			continue;
		}
		if (used + 1 >= out_size)
			return false;
		out[used++] = (char)tolower((unsigned char)*text);
	}
	out[used] = '\0';
	return used > 0;
}

enum wt_status wt_salt_parse(const char *text, enum wt_salt *out)
{
	char given[32], known[32];

	if (!text || !out || !plain(text, given, sizeof given))
		return WT_ERR_ARG;
	for (int i = 0; i < WT_SALT_COUNT; i++) {
		const char *const names[] = {salts[i].formula, salts[i].name};
		for (size_t j = 0; j < 2; j++) {
			if (plain(names[j], known, sizeof known) && !strcmp(known, given)) {
				*out = (enum wt_salt)i;
				return WT_OK;
			}
		}
	}
	if (!strcmp(given, "sodiumchloride")) {
		*out = WT_SALT_NACL;
		return WT_OK;
	}
	return WT_ERR_ARG;
}

enum wt_status wt_salt_rh_pct(enum wt_salt salt, double temp_c, double *out)
{
	const double *a;

	if (!out || !isfinite(temp_c) || (int)salt < 0 || salt >= WT_SALT_COUNT)
		return WT_ERR_ARG;
	if (temp_c < temp_least_c || temp_c > temp_most_c)
		return WT_ERR_RANGE;
	a = coefficients[salt];
	*out = a[0] + temp_c * (a[1] + temp_c * (a[2] + temp_c * a[3]));
	return WT_OK;
}

enum wt_status wt_salt_steady_rh_pct(size_t n, const int64_t *at_unix_s, const double *rh_pct,
				     double *out)
{
	double low = HUGE_VAL, high = -HUGE_VAL, sum = 0;
	size_t count = 0, i = n;

	if (!out || (n && (!at_unix_s || !rh_pct)))
		return WT_ERR_ARG;
	while (i > 0 && at_unix_s[n - 1] - at_unix_s[i - 1] <= 3600) {
		i--;
		if (!isfinite(rh_pct[i]))
			return WT_ERR_ARG;
		low = fmin(low, rh_pct[i]);
		high = fmax(high, rh_pct[i]);
		sum += rh_pct[i];
		count++;
	}
	if (count < 6 || at_unix_s[n - 1] - at_unix_s[i] < 3000 || high - low > 0.5)
		return WT_ERR_NODATA;
	*out = sum / (double)count;
	return WT_OK;
}

enum wt_status wt_salt_line(size_t n, const double *shown_rh_pct, const double *true_rh_pct,
			    double *gain, double *offset_pct)
{
	double mean_shown = 0, mean_true = 0, low = HUGE_VAL, high = -HUGE_VAL;
	double square = 0, product = 0, slope, shift;

	if (n == 0)
		return WT_ERR_NODATA;
	if (!shown_rh_pct || !true_rh_pct || !gain || !offset_pct)
		return WT_ERR_ARG;
	for (size_t i = 0; i < n; i++) {
		if (!isfinite(shown_rh_pct[i]) || !isfinite(true_rh_pct[i]))
			return WT_ERR_ARG;
		mean_shown += shown_rh_pct[i] / (double)n;
		mean_true += true_rh_pct[i] / (double)n;
		low = fmin(low, true_rh_pct[i]);
		high = fmax(high, true_rh_pct[i]);
	}
	for (size_t i = 0; i < n; i++) {
		square += (shown_rh_pct[i] - mean_shown) * (shown_rh_pct[i] - mean_shown);
		product += (shown_rh_pct[i] - mean_shown) * (true_rh_pct[i] - mean_true);
	}
	slope = high - low < 20 ? 1 : square > 0 ? product / square : HUGE_VAL;
	if (!(slope >= 0.7 && slope <= 1.4))
		return WT_ERR_RANGE;
	shift = mean_true - slope * mean_shown;
	for (size_t i = 0; i < n; i++) {
		if (fabs(slope * shown_rh_pct[i] + shift - shown_rh_pct[i]) > 20)
			return WT_ERR_RANGE;
	}
	*gain = slope;
	*offset_pct = shift;
	return WT_OK;
}
