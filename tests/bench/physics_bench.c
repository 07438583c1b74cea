/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * The ensemble kernel measured in one run against
 *   - an adaptive integrator, member by member, at equal accuracy (GSL rkf45),
 *   - what this machine can do at most: bytes streamed, fused multiply-adds, divisions.
 * With --write FILE the same case goes to a file for the other contenders (physics_compare.py).
 */
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>

#include <gsl/gsl_errno.h>
#include <gsl/gsl_odeiv2.h>

#include "lib/ensemble.h"
#include "lib/ensemble_kernel.h"
#include "lib/leaf.h"
#include "lib/leaf_schedule.h"
#include "tests/physics/cases.h"

enum { MEMBERS = 1024, STEPS = 48 * 12, CELLS = STEPS / 6, CHECKED = 64 };

/* Operations of the kernel for one member and one step with dry, shut leaf, counted in its source:
 * each sum, product, fused multiply-add, comparison or conversion is one.  The other cases do more.
 */
static const double kernel_operations = 42.0, kernel_divisions = 1.0;
static const double kernel_bytes = WT_AIR_COUNT * sizeof(uint16_t);

static double now_s(void)
{
	struct timespec t;
	clock_gettime(CLOCK_THREAD_CPUTIME_ID, &t);
	return (double)t.tv_sec + 1e-9 * (double)t.tv_nsec;
}

static void must(enum wt_status status)
{
	if (status != WT_OK) {
		fprintf(stderr, "failed: %s\n", wt_status_text(status));
		exit(1);
	}
}

/* ---- the case: one load of dry leaf, its members, one path of air each ---- */

struct bench {
	struct wt_load_case load;
	struct wt_members *members;
	struct wt_drive *past, *future;
	float *temp_c, *vapour_pa; /* [instant * MEMBERS + path] */
	struct wt_outcome *outcome;
	double end_loss_pct[CHECKED];
};

static void make_case(struct bench *b)
{
	struct case_random random = {42};
	static struct case_room room;
	struct wt_gauss prior;
	size_t n = STEPS + 1;
	b->load = case_load_standard();
	b->load.pressure_pa = 95000.0;
	b->temp_c = malloc(n * MEMBERS * sizeof(float));
	b->vapour_pa = malloc(n * MEMBERS * sizeof(float));
	if (!b->temp_c || !b->vapour_pa)
		exit(1);
	for (size_t p = 0; p < MEMBERS; p++) {
		case_room_random(&random, n, &room);
		for (size_t s = 0; s < n; s++) {
			b->temp_c[s * MEMBERS + p] = room.temp_c[s];
			b->vapour_pa[s * MEMBERS + p] = room.vapour_pa[s];
		}
	}
	struct wt_track track = {CASE_START_S, 1, b->temp_c, b->vapour_pa};
	struct wt_paths paths = {CASE_START_S, n, MEMBERS, b->temp_c, b->vapour_pa};
	int64_t end = CASE_START_S + STEPS * WT_GRID_S;
	must(wt_drive_from_track(&track, b->load.pressure_pa, &b->past));
	must(wt_drive_from_paths(&paths, b->load.pressure_pa, &b->future));
	must(wt_members_new(MEMBERS, &b->members));
	must(wt_traits_prior(&b->load, &prior));
	/* No surface water to speak of, in any contender. */
	prior.mean[WT_DIM_SURFACE] = -20.0;
	prior.cov[WT_DIM_SURFACE][WT_DIM_SURFACE] = 0.0;
	must(wt_members_draw(&prior, 1, b->members));
	must(wt_outcome_new(MEMBERS, &end, 1, &b->outcome));
}

/* Path of member i, as the ensemble pairs them (found by looking: the pairing is one to one). */
static size_t path_of(size_t i)
{
	size_t k = (size_t)(0.618034 * MEMBERS);
	while (k % 2 == 0)
		k++;
	return i * k % MEMBERS;
}

static double kernel_ns(struct bench *b)
{
	double best = HUGE_VAL;
	for (int round = 0; round < 40; round++) {
		double start = now_s();
		must(wt_ensemble_run(&b->load, b->past, b->future, b->members, b->outcome));
		best = fmin(best, now_s() - start);
	}
	return 1e9 * best / (MEMBERS * (double)STEPS);
}

/* ---- GSL, one member after the other ---- */

struct piece {
	struct wt_leaf leaf;
	struct wt_leaf_path path;
	double dry_kg_m2, drift;
	const struct wt_leaf_air *air; /* at the instants, made beforehand */
	const double (*room)[2];       /* or temperature and vapour pressure, or NULL */
	double pressure_pa;
};

struct member_air {
	struct wt_leaf_air made[STEPS + 1];
	double room[STEPS + 1][2];
};

static int slope(double t, const double y[], double dy[], void *params)
{
	const struct piece *p = params;
	double x = fmin(fmax(t / WT_GRID_S, 0.0), STEPS - 1e-9);
	size_t i = (size_t)x;
	double f = x - (double)i;
	const struct wt_leaf_air *a = &p->air[i], *z = &p->air[i + 1];
	struct wt_leaf_air air = {a->a_kg_m3 + f * (z->a_kg_m3 - a->a_kg_m3),
				  a->e_kg_m3 + f * (z->e_kg_m3 - a->e_kg_m3),
				  a->slope_ratio + f * (z->slope_ratio - a->slope_ratio),
				  a->warm + f * (z->warm - a->warm)};
	if (p->room && wt_leaf_air(p->room[i][0] + f * (p->room[i + 1][0] - p->room[i][0]),
				   p->room[i][1] + f * (p->room[i + 1][1] - p->room[i][1]),
				   p->pressure_pa, &air) != WT_OK)
		return GSL_EBADFUNC;
	struct wt_leaf_state s = {fmax(y[0], 0.0), 0.0, y[1]};
	struct wt_leaf_rate rate;
	wt_leaf_rate(&p->leaf, &p->path, p->dry_kg_m2, 0.0, p->drift, &air, t, &s, &rate);
	dy[0] = rate.y_per_s;
	dy[1] = rate.breath_per_s;
	return GSL_SUCCESS;
}

static double integrate(const struct bench *b, size_t member, const gsl_odeiv2_step_type *type,
			double tolerance, const struct member_air *air, bool made)
{
	struct piece p = {.air = air->made,
			  .room = made ? NULL : air->room,
			  .pressure_pa = b->load.pressure_pa};
	double theta[WT_DIM_COUNT], y[2] = {1.0, 0.0}, t = 0.0;
	for (int d = 0; d < WT_DIM_COUNT; d++)
		theta[d] = (double)b->members->theta[d][member];
	must(wt_leaf_from_theta(&b->load, theta, &p.leaf));
	p.dry_kg_m2 = p.leaf.dry_kg / b->load.area_m2;
	gsl_odeiv2_system system = {slope, NULL, 2, &p};
	gsl_odeiv2_driver *driver =
		gsl_odeiv2_driver_alloc_y_new(&system, type, 300.0, tolerance, 0.0);
	struct wt_leaf_bed bed = {.fresh_kg_m2 = p.dry_kg_m2 * (1.0 + p.leaf.water_ratio),
				  .perforated = b->load.perforated};
	for (int c = 0; c < CELLS; c++) {
		p.drift = wt_leaf_pace_drift(p.leaf.drift, (c + 0.5) * WT_CELL_S);
		bed.turned_s_ago = (c + 0.5) * WT_CELL_S;
		must(wt_leaf_path(&bed, p.leaf.bed, &p.path));
		if (gsl_odeiv2_driver_apply(driver, &t, (c + 1) * (double)WT_CELL_S, y) !=
		    GSL_SUCCESS)
			exit(1);
	}
	gsl_odeiv2_driver_free(driver);
	return wt_leaf_loss_pct(&p.leaf, &(struct wt_leaf_state){y[0], 0.0, y[1]});
}

static void air_of_member(const struct bench *b, size_t member, struct member_air *air)
{
	for (size_t s = 0; s <= STEPS; s++) {
		size_t i = s * MEMBERS + path_of(member);
		air->room[s][0] = (double)b->temp_c[i];
		air->room[s][1] = (double)b->vapour_pa[i];
		must(wt_leaf_air(air->room[s][0], air->room[s][1], b->load.pressure_pa,
				 &air->made[s]));
	}
}

static struct member_air member_air[CHECKED];

/* A reference to judge by; returns the kernel's worst miss. */
static double judge(struct bench *b)
{
	double worst_pct = 0.0;
	for (size_t i = 0; i < CHECKED; i++) {
		air_of_member(b, i, &member_air[i]);
		b->end_loss_pct[i] =
			integrate(b, i, gsl_odeiv2_step_rk8pd, 1e-10, &member_air[i], false);
		worst_pct = fmax(worst_pct,
				 fabs((double)b->outcome->mark_loss_pct[i] - b->end_loss_pct[i]));
	}
	return worst_pct;
}

/* The loosest tolerance (by powers of ten) that stays within 0.05 points on the checked members;
 * says what it costs. */
static void against_gsl(const struct bench *b, bool made, double ours_ns)
{
	for (double tolerance = 1e-2; tolerance > 1e-9; tolerance *= 0.1) {
		double start = now_s(), worst_pct = 0.0;
		for (size_t i = 0; i < CHECKED; i++) {
			double end = integrate(b, i, gsl_odeiv2_step_rkf45, tolerance,
					       &member_air[i], made);
			worst_pct = fmax(worst_pct, fabs(end - b->end_loss_pct[i]));
		}
		double ns = 1e9 * (now_s() - start) / (CHECKED * (double)STEPS);
		if (worst_pct >= 0.05)
			continue;
		printf("GSL rkf45, one member after the other, %s: %.0f ns, within %.4f points at "
		       "tolerance %.0e: %.0f times as long\n",
		       made ? "air properties made beforehand"
			    : "air properties in the right-hand side",
		       ns, worst_pct, tolerance, ns / ours_ns);
		return;
	}
}

/* ---- what the machine can do ---- */

typedef float lanes16 __attribute__((vector_size(64)));

#define FLOPS_BODY(OPERATION)                                                                      \
	lanes16 x[12];                                                                             \
	for (int i = 0; i < 12; i++)                                                               \
		for (int l = 0; l < 16; l++)                                                       \
			x[i][l] = 1.0f + 0.01f * (float)(i + l);                                   \
	lanes16 b = x[0] * 0.0f + 0.999f, c = x[0] * 0.0f + 1e-3f;                                 \
	double start = now_s();                                                                    \
	for (int n = 0; n < rounds; n++) {                                                         \
		_Pragma("GCC unroll 12") for (int i = 0; i < 12; i++) x[i] = OPERATION;            \
	}                                                                                          \
	double seconds = now_s() - start;                                                          \
	for (int i = 1; i < 12; i++)                                                               \
		x[0] += x[i];                                                                      \
	*sink += x[0][3];                                                                          \
	return 12.0 * 16.0 * rounds / seconds;

#define MEASURES(name, attribute)                                                                  \
	attribute static double fma_##name(int rounds, float *sink){FLOPS_BODY(                    \
		x[i] * b + c)} attribute static double div_##name(int rounds,                      \
								  float *sink){FLOPS_BODY(         \
		b / (x[i] + c))} attribute static double read_##name(const uint16_t *data,         \
								     size_t n, float *sink)        \
	{                                                                                          \
		double start = now_s();                                                            \
		unsigned sum = 0;                                                                  \
		for (size_t i = 0; i < n; i++)                                                     \
			sum += data[i];                                                            \
		*sink += (float)sum;                                                               \
		return (double)n * sizeof *data / (now_s() - start);                               \
	}

#if defined(__x86_64__)
MEASURES(avx512, __attribute__((target("avx512f,avx512dq,avx512vl,avx512bw,avx2,fma"))))
MEASURES(avx2, __attribute__((target("avx2,fma"))))
#endif
MEASURES(plain, )

struct limits {
	double fma_per_s, div_per_s, bytes_per_s;
};

static struct limits measure(const struct bench *b, float *sink)
{
	struct limits best = {0.0, 0.0, 0.0};
	size_t n = (size_t)MEMBERS * STEPS * WT_AIR_COUNT;
	const uint16_t *data = b->future->path;
	const char *name = wt_kernel_name();
	for (int round = 0; round < 10; round++) {
		struct limits m = {0.0, 0.0, 0.0};
#if defined(__x86_64__)
		if (strcmp(name, "avx512") == 0)
			m = (struct limits){fma_avx512(1000000, sink), div_avx512(200000, sink),
					    read_avx512(data, n, sink)};
		if (strcmp(name, "avx2") == 0)
			m = (struct limits){fma_avx2(1000000, sink), div_avx2(200000, sink),
					    read_avx2(data, n, sink)};
#endif
		if (strcmp(name, "plain") == 0)
			m = (struct limits){fma_plain(1000000, sink), div_plain(200000, sink),
					    read_plain(data, n, sink)};
		best.fma_per_s = fmax(best.fma_per_s, m.fma_per_s);
		best.div_per_s = fmax(best.div_per_s, m.div_per_s);
		best.bytes_per_s = fmax(best.bytes_per_s, m.bytes_per_s);
	}
	return best;
}

/* ---- the case for others ---- */

static void write_case(const struct bench *b, const char *path)
{
	FILE *file = fopen(path, "w");
	if (!file)
		exit(1);
	fprintf(file, "%d %d\n", CHECKED * 4, STEPS);
	for (size_t m = 0; m < CHECKED * 4; m++) {
		double theta[WT_DIM_COUNT];
		struct wt_leaf leaf;
		struct wt_leaf_path face, through;
		static struct member_air air;
		for (int d = 0; d < WT_DIM_COUNT; d++)
			theta[d] = (double)b->members->theta[d][m];
		must(wt_leaf_from_theta(&b->load, theta, &leaf));
		struct wt_leaf_bed bed = {.fresh_kg_m2 = leaf.tissue_kg / b->load.area_m2,
					  .perforated = b->load.perforated};
		wt_leaf_path_parts(&bed, leaf.bed, &face, &through);
		double expected = m < CHECKED ? b->end_loss_pct[m] : NAN;
		fprintf(file,
			"%.17g %.17g %.17g %.17g %.17g %.17g %.17g %.17g %.17g %.17g %.17g %.17g "
			"%.17g %.17g %.17g %.17g %.17g\n",
			leaf.moisture_pct, leaf.water_ratio, leaf.dry_kg / b->load.area_m2,
			leaf.skin_m_s, leaf.open_extra, leaf.close_s, leaf.shrink, leaf.isotherm_b2,
			leaf.rh_bias, face.vapour_s_m, face.heat_s_m, through.vapour_s_m,
			through.heat_s_m, leaf.drift[0], leaf.drift[1], leaf.drift[2],
			leaf.drift[3]);
		fprintf(file, "%.17g\n", expected);
		air_of_member(b, m, &air);
		for (size_t s = 0; s <= STEPS; s++)
			fprintf(file, "%.9g %.9g %.9g %.9g\n", air.made[s].a_kg_m3,
				air.made[s].e_kg_m3, air.made[s].slope_ratio, air.made[s].warm);
	}
	fclose(file);
}

int main(int argc, char **argv)
{
	static struct bench b;
	float sink = 0.0f;
	make_case(&b);
	double ours = kernel_ns(&b), worst_pct = judge(&b);
	printf("kernel (%s): %.2f ns per member and step of 5 min, within %.4f points\n",
	       wt_kernel_name(), ours, worst_pct);
	against_gsl(&b, true, ours);
	against_gsl(&b, false, ours);
	struct limits m = measure(&b, &sink);
	double arithmetic_ns =
		1e9 * (kernel_operations / m.fma_per_s + kernel_divisions / m.div_per_s);
	double memory_ns = 1e9 * kernel_bytes / m.bytes_per_s;
	double limit_ns = fmax(arithmetic_ns, memory_ns);
	printf("machine: %.1f G fused multiply-adds/s, %.2f G divisions/s, %.1f GB/s read\n",
	       1e-9 * m.fma_per_s, 1e-9 * m.div_per_s, 1e-9 * m.bytes_per_s);
	printf("limit: arithmetic %.2f ns (%.0f operations, %.0f division), memory %.2f ns (%.0f "
	       "bytes): "
	       "%s binds, the kernel takes %.2f times that\n",
	       arithmetic_ns, kernel_operations, kernel_divisions, memory_ns, kernel_bytes,
	       arithmetic_ns > memory_ns ? "arithmetic" : "memory", ours / limit_ns);
	if (argc == 3 && strcmp(argv[1], "--write") == 0)
		write_case(&b, argv[2]);
	wt_outcome_free(&b.outcome);
	wt_members_free(&b.members);
	wt_drive_free(&b.past);
	wt_drive_free(&b.future);
	free(b.temp_c);
	free(b.vapour_pa);
	return sink == 12345.678f;
}
