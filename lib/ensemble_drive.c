/* SPDX-License-Identifier: GPL-3.0-or-later */
#include <math.h>
#include <stdlib.h>

#include "lib/air.h"
#include "lib/ensemble_kernel.h"
#include "lib/leaf.h"

enum { MOST_STEPS = 200000 };

static enum wt_status new_drive(int64_t start_unix_s, size_t n_steps, size_t n_paths,
				double pressure_pa, struct wt_drive **out)
{
	size_t lanes = (n_paths + WT_TILE - 1) / WT_TILE * WT_TILE;
	struct wt_drive *drive = calloc(1, sizeof *drive);
	if (!drive)
		return WT_ERR_NOMEM;
	drive->start_unix_s = start_unix_s;
	drive->n_steps = n_steps;
	drive->n_paths = n_paths;
	drive->pressure_pa = pressure_pa;
	if (n_paths > 0)
		drive->path = aligned_alloc(64, lanes * n_steps * WT_AIR_COUNT * sizeof(uint16_t));
	else
		drive->air = malloc(n_steps * WT_AIR_COUNT * sizeof(float));
	if (!drive->path && !drive->air) {
		free(drive);
		return WT_ERR_NOMEM;
	}
	*out = drive;
	return WT_OK;
}

void wt_drive_free(struct wt_drive **drive)
{
	if (!drive || !*drive)
		return;
	free((*drive)->air);
	free((*drive)->path);
	free(*drive);
	*drive = NULL;
}

/* Mean air of a step between two instants. */
static enum wt_status put_air(float temp0_c, float temp1_c, float vapour0_pa, float vapour1_pa,
			      double pressure_pa, float out[WT_AIR_COUNT])
{
	struct wt_leaf_air air;
	enum wt_status status =
		wt_leaf_air(0.5 * ((double)temp0_c + (double)temp1_c),
			    0.5 * ((double)vapour0_pa + (double)vapour1_pa), pressure_pa, &air);
	if (status != WT_OK)
		return status;
	out[0] = (float)air.a_kg_m3;
	out[1] = (float)air.e_kg_m3;
	out[2] = (float)air.slope_ratio;
	out[3] = (float)air.warm;
	return WT_OK;
}

static enum wt_status check_times(int64_t start_unix_s, size_t n_steps, double pressure_pa)
{
	if (start_unix_s % WT_GRID_S != 0 || !isfinite(pressure_pa))
		return WT_ERR_ARG;
	return n_steps > MOST_STEPS ? WT_ERR_RANGE : WT_OK;
}

enum wt_status wt_drive_from_track(const struct wt_track *track, double pressure_pa,
				   struct wt_drive **out)
{
	if (!track || !out || !track->temp_c || !track->vapour_pa || track->n == 0)
		return WT_ERR_ARG;
	enum wt_status status = check_times(track->start_unix_s, track->n, pressure_pa);
	struct wt_drive *drive = NULL;
	if (status == WT_OK)
		status = new_drive(track->start_unix_s, track->n, 0, pressure_pa, &drive);
	/* One step more than there are pairs: the air of the last instant, held. */
	for (size_t s = 0; status == WT_OK && s < track->n; s++) {
		size_t next = s + 1 < track->n ? s + 1 : s;
		status =
			put_air(track->temp_c[s], track->temp_c[next], track->vapour_pa[s],
				track->vapour_pa[next], pressure_pa, drive->air + s * WT_AIR_COUNT);
	}
	if (status != WT_OK) {
		wt_drive_free(&drive);
		return status;
	}
	drive->n_steps = track->n - 1;
	*out = drive;
	return WT_OK;
}

/* Units from the warmest air of the paths, so that its values just fit in sixteen bits. */
static enum wt_status set_units(const struct wt_paths *paths, struct wt_drive *drive)
{
	size_t n = paths->n_steps * paths->n_paths;
	float temp_c = wt_kernel_most(paths->temp_c, n, -40.0f);
	float vapour_pa = wt_kernel_most(paths->vapour_pa, n, 0.0f);
	struct wt_leaf_air air;
	enum wt_status status =
		wt_leaf_air((double)temp_c, (double)vapour_pa, drive->pressure_pa, &air);
	if (status != WT_OK)
		return status;
	/* Vapour of fog may exceed saturation; of a colder path it is denser, by less than 1.4. */
	double most[WT_AIR_COUNT] = {fmax(air.a_kg_m3, 1.4 * air.e_kg_m3), 0.0, air.slope_ratio,
				     air.warm};
	most[1] = most[0];
	for (int q = 0; q < WT_AIR_COUNT; q++)
		drive->unit[q] = (float)(most[q] / 65000.0);
	return WT_OK;
}

/* A tile's share of an instant lies on a page of its own, which the machine does not foresee.
 * Our choice, by trial. */
enum { AHEAD = 6, LINE_FLOATS = 16 };

static void fetch(const struct wt_paths *paths, size_t first, size_t n)
{
	for (size_t l = 0; l < n; l += LINE_FLOATS) {
		__builtin_prefetch(paths->temp_c + first + l);
		__builtin_prefetch(paths->vapour_pa + first + l);
	}
}

static enum wt_status fill_paths(const struct wt_paths *paths, struct wt_drive *drive)
{
	const size_t n = paths->n_paths;
	double gamma_pa_k;
	enum wt_status status = wt_air_psychrometric_pa_k(drive->pressure_pa, &gamma_pa_k);
	if (status == WT_OK)
		status = set_units(paths, drive);
	for (size_t p = 0; p < n && status == WT_OK; p += WT_TILE) {
		size_t lanes = n - p < WT_TILE ? n - p : WT_TILE;
		uint16_t(*out)[WT_TILE] =
			(uint16_t(*)[WT_TILE])(drive->path + p * drive->n_steps * WT_AIR_COUNT);
		for (size_t s = 0; s < drive->n_steps && status == WT_OK;
		     s++, out += WT_AIR_COUNT) {
			size_t i = s * n + p, j = i + n;
			struct wt_air_pair pair = {
				{paths->temp_c + i, paths->temp_c + j},
				{paths->vapour_pa + i, paths->vapour_pa + j},
				(float)(1.0 / gamma_pa_k),
				drive->unit,
			};
			if (s + AHEAD < paths->n_steps)
				fetch(paths, i + AHEAD * n, lanes);
			if (!wt_kernel_air(&pair, lanes, out))
				status = WT_ERR_RANGE;
			for (size_t l = lanes; l < WT_TILE; l++)
				for (size_t q = 0; q < WT_AIR_COUNT; q++)
					out[q][l] = out[q][0];
		}
	}
	return status;
}

enum wt_status wt_drive_from_paths(const struct wt_paths *paths, double pressure_pa,
				   struct wt_drive **out)
{
	if (!paths || !out || !paths->temp_c || !paths->vapour_pa || paths->n_steps < 2 ||
	    paths->n_paths == 0)
		return WT_ERR_ARG;
	if (paths->n_paths > 65536)
		return WT_ERR_RANGE;
	enum wt_status status = check_times(paths->start_unix_s, paths->n_steps, pressure_pa);
	struct wt_drive *drive = NULL;
	if (status == WT_OK)
		status = new_drive(paths->start_unix_s, paths->n_steps - 1, paths->n_paths,
				   pressure_pa, &drive);
	if (status == WT_OK)
		status = fill_paths(paths, drive);
	if (status != WT_OK) {
		wt_drive_free(&drive);
		return status;
	}
	*out = drive;
	return WT_OK;
}
