/* SPDX-License-Identifier: GPL-3.0-or-later */
#include <math.h>
#include <stdlib.h>

#include "lib/ensemble_kernel.h"
#include "lib/leaf.h"

enum { MOST_STEPS = 200000 };

static enum wt_status new_drive(int64_t start_unix_s, size_t n_steps, size_t n_paths,
				double pressure_pa, struct wt_drive **out)
{
	size_t blocks = (n_paths + WT_TILE - 1) / WT_TILE;
	size_t floats = n_paths > 0 ? blocks * WT_TILE * n_steps : n_steps;
	struct wt_drive *drive = malloc(sizeof *drive);
	float *air =
		aligned_alloc(64, ((floats + 16) * WT_AIR_COUNT * sizeof(float) + 63) / 64 * 64);
	if (!drive || !air) {
		free(drive);
		free(air);
		return WT_ERR_NOMEM;
	}
	*drive = (struct wt_drive){start_unix_s, n_steps, n_paths, pressure_pa, air};
	*out = drive;
	return WT_OK;
}

void wt_drive_free(struct wt_drive **drive)
{
	if (!drive || !*drive)
		return;
	free((*drive)->air);
	free(*drive);
	*drive = NULL;
}

/* Mean air of a step between two instants into out[0], out[stride], ... */
static enum wt_status put_air(float temp0_c, float temp1_c, float vapour0_pa, float vapour1_pa,
			      double pressure_pa, size_t stride, float *out)
{
	struct wt_leaf_air air;
	enum wt_status status =
		wt_leaf_air(0.5 * ((double)temp0_c + (double)temp1_c),
			    0.5 * ((double)vapour0_pa + (double)vapour1_pa), pressure_pa, &air);
	if (status != WT_OK)
		return status;
	out[0] = (float)air.a_kg_m3;
	out[stride] = (float)air.e_kg_m3;
	out[2 * stride] = (float)air.slope_ratio;
	out[3 * stride] = (float)air.warm;
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
		status = put_air(track->temp_c[s], track->temp_c[next], track->vapour_pa[s],
				 track->vapour_pa[next], pressure_pa, 1,
				 drive->air + s * WT_AIR_COUNT);
	}
	if (status != WT_OK) {
		wt_drive_free(&drive);
		return status;
	}
	drive->n_steps = track->n - 1;
	*out = drive;
	return WT_OK;
}

static enum wt_status fill_paths(const struct wt_paths *paths, struct wt_drive *drive)
{
	const size_t n = paths->n_paths;
	const size_t padded = (n + WT_TILE - 1) / WT_TILE * WT_TILE;
	for (size_t p = 0; p < padded; p++) {
		size_t block = p / WT_TILE;
		size_t from = p < n ? p : block * WT_TILE;
		float *at =
			drive->air + block * drive->n_steps * WT_AIR_COUNT * WT_TILE + p % WT_TILE;
		for (size_t s = 0; s < drive->n_steps; s++) {
			size_t i = s * n + from, j = i + n;
			enum wt_status status =
				put_air(paths->temp_c[i], paths->temp_c[j], paths->vapour_pa[i],
					paths->vapour_pa[j], drive->pressure_pa, WT_TILE,
					at + s * WT_AIR_COUNT * WT_TILE);
			if (status != WT_OK)
				return status;
		}
	}
	return WT_OK;
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
