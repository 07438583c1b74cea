#!/usr/bin/env python3
# SPDX-License-Identifier: GPL-3.0-or-later
"""The drying kernel against SciPy and R deSolve on the same case.

usage: physics_compare.py BENCH_PHYSICS PHYSICS_DESOLVE_R

Runs bench_physics (which measures the kernel and writes the case), then the same equations as users
of those packages would write them: all members in one vector, the air made beforehand.  Each
contender takes the loosest setting that stays within 0.05 points of loss of the reference.
A contender that is not installed is named and left out.
"""
import re
import shutil
import subprocess
import sys
import tempfile
import time

try:
    import numpy as np
    from scipy.integrate import solve_ivp
except ImportError:
    np = None

BREATH_PER_S = 0.0005 * 0.4 / 3600.0
STEP_S, CELL_S = 300.0, 1800.0
NAMES = ("moisture_pct", "water_ratio", "dry_kg_m2", "skin_m_s", "open_extra", "close_s", "shrink",
         "isotherm_b2", "rh_bias", "face", "face_heat", "through", "through_heat",
         "drift0", "drift1", "drift2", "drift3")


def read_case(path):
    with open(path) as file:
        n, steps = map(int, file.readline().split())
        numbers = np.array(file.read().split(), dtype=float)
    row = len(NAMES) + 1 + 4 * (steps + 1)
    numbers = numbers.reshape(n, row)
    member = {name: numbers[:, i].copy() for i, name in enumerate(NAMES)}
    air = numbers[:, len(NAMES) + 1:].reshape(n, steps + 1, 4).transpose(1, 2, 0).copy()
    return member, numbers[:, len(NAMES)].copy(), air, steps


def drift_factor(m, t_h):
    span = 72.0
    total = 0.0
    for k in range(4):
        w = (k + 0.5) * np.pi
        total = total + m["drift%d" % k] * 0.03 * np.sqrt(2.0 * span) * np.sin(w * t_h / span) / w
    return np.exp(total)


class Cell:
    """Half an hour: what does not change within it, and the slope of all members."""

    def __init__(self, m, air, cell):
        middle_s = (cell + 0.5) * CELL_S
        packed = 1.0 + 0.5 * (1.0 - np.exp(-middle_s / 10800.0))
        self.m, self.air = m, air
        self.vapour = m["face"] + packed * m["through"]
        self.heat = m["face_heat"] + packed * m["through_heat"]
        self.skin = (m["skin_m_s"] * m["dry_kg_m2"] * (1.0 + m["shrink"]) *
                     drift_factor(m, middle_s / 3600.0))
        self.take = 1.0 / (m["dry_kg_m2"] * m["water_ratio"])

    def slope(self, t, y):
        m = self.m
        i = min(int(t / STEP_S), len(self.air) - 2)
        f = t / STEP_S - i
        a, e, q, warm = (1.0 - f) * self.air[i] + f * self.air[i + 1]
        room = np.maximum(10.0 * (a - e), 0.0)
        e = np.maximum(e + m["rh_bias"] * np.minimum(room, a), 0.0)
        heat = q * self.heat
        x = 4.0 * t / m["close_s"]
        closing = np.exp(-x) * (1.0 + x * (1.0 + x * (0.5 + x / 6.0)))
        u = self.skin * warm * (1.0 + m["open_extra"] * closing)
        n = len(a)
        z = np.maximum(y[:n], 0.0)
        z2 = z * z
        total = z2 + m["isotherm_b2"]
        drive = np.maximum((a - e) * z2 - e * m["isotherm_b2"], 0.0)
        flux = u * z * drive / (u * z * (self.vapour * total + heat * z2) + (z + m["shrink"]) * total)
        return np.concatenate([-self.take * flux, BREATH_PER_S * warm ** 4])


def loss_pct(m, y):
    n = len(m["moisture_pct"])
    return m["moisture_pct"] * (1.0 - y[:n]) + (100.0 - m["moisture_pct"]) * y[n:]


def run_adaptive(m, air, steps, method, tolerance):
    n = len(m["moisture_pct"])
    y = np.concatenate([np.ones(n), np.zeros(n)])
    for cell in range(int(steps * STEP_S / CELL_S)):
        c = Cell(m, air, cell)
        s = solve_ivp(c.slope, (cell * CELL_S, (cell + 1) * CELL_S), y, method=method,
                      rtol=tolerance, atol=tolerance, t_eval=[(cell + 1) * CELL_S])
        y = s.y[:, -1]
    return loss_pct(m, y)


def run_fixed(m, air, steps, h):
    n = len(m["moisture_pct"])
    y = np.concatenate([np.ones(n), np.zeros(n)])
    per_cell = int(CELL_S / h)
    for cell in range(int(steps * STEP_S / CELL_S)):
        c = Cell(m, air, cell)
        for s in range(per_cell):
            t = cell * CELL_S + s * h
            middle = y + 0.5 * h * c.slope(t, y)
            y = y + h * c.slope(t + 0.5 * h, middle)
    return loss_pct(m, y)


def contender(name, runs, expected, count, ours_ns):
    known = ~np.isnan(expected)
    for setting, run in runs:
        start = time.process_time()
        loss = run()
        ns = 1e9 * (time.process_time() - start) / count
        worst = np.max(np.abs(loss - expected)[known])
        if worst < 0.05:
            print("%s, %s: %.0f ns per member and step, within %.4f points: %.0f times as long" %
                  (name, setting, ns, worst, ns / ours_ns))
            return ns
    print("%s: no setting stays within 0.05 points" % name)
    return float("inf")


def main():
    if np is None:
        print("SciPy is not installed (Debian: python3-scipy): left out")
        return 0
    with tempfile.NamedTemporaryFile(suffix=".case") as case:
        said = subprocess.run([sys.argv[1], "--write", case.name], check=True, text=True,
                              capture_output=True).stdout
        print(said, end="")
        ours_ns = float(re.search(r"\): ([0-9.]+) ns per member", said).group(1))
        member, expected, air, steps = read_case(case.name)
        n = len(expected)
        count = float(n * steps)
        print("others: %d members in one vector, %d steps" % (n, steps))
        best = contender("NumPy, explicit midpoint", [
            ("h %d s" % h, lambda h=h: run_fixed(member, air, steps, float(h)))
            for h in (1800, 900, 600, 300)], expected, count, ours_ns)
        best = min(best, contender("SciPy solve_ivp RK45", [
            ("tolerance %.0e" % t, lambda t=t: run_adaptive(member, air, steps, "RK45", t))
            for t in (1e-3, 1e-4, 1e-5, 1e-6, 1e-7)], expected, count, ours_ns))
        if shutil.which("Rscript"):
            r = subprocess.run(["Rscript", sys.argv[2], case.name], text=True, capture_output=True)
            print(r.stdout, end="")
            found = re.findall(r": ([0-9.]+) ns per member", r.stdout)
            for ns in found:
                print("  that is %.0f times as long" % (float(ns) / ours_ns))
            best = min([best] + [float(ns) for ns in found])
            if r.returncode != 0:
                print("R deSolve failed: %s" % r.stderr.strip().splitlines()[-1:])
        else:
            print("R is not installed (Debian: r-cran-desolve): left out")
        print("fastest of the others: %.0f times as long as the kernel" % (best / ours_ns))
    return 0


if __name__ == "__main__":
    sys.exit(main())
