#!/usr/bin/python3
# SPDX-License-Identifier: GPL-3.0-or-later
"""Writes data/parallel.txt: firings on several equal woks, with optima proved by integer programming.
Run by hand: /usr/bin/python3 parallel_optima.py > data/parallel.txt

A load has a window in which a firing costs nothing; before it a step costs `early`, after it `late`, never more
than `most`; each step of waiting costs 1 beside; no start from `night` to `morning`; `leave` when it is not fired.
Whole numbers throughout.  The programme counts the firings of a load that start at each step and is solved by HiGHS
by way of scipy.optimize.milp, with no gap left; nothing of lib/ has a part in it.
"""
import random

import numpy as np
from scipy.optimize import Bounds, LinearConstraint, milp
from scipy.sparse import lil_matrix

STEPS, MOST, LEAVE = 72, 1000, 1300
SEED = 20261129


def cost(load, start):
    ready, past, early, late = load[2:]
    miss = early * (ready - start) if start < ready else late * (start - past) if start > past else 0
    return min(miss, MOST) + start


def optimum(woks, night, morning, loads):
    """loads: (firings, steps each takes, ready, past, early, late)."""
    n = len(loads) * (STEPS + 1)
    prices = np.zeros(n)
    upper = np.zeros(n)
    rows, least, most = lil_matrix((STEPS + 40 + len(loads), n)), [], []
    for i, load in enumerate(loads):
        base = i * (STEPS + 1)
        for t in range(STEPS):
            prices[base + t] = cost(load, t)
            upper[base + t] = 0 if t + load[1] > night and t < morning else load[0]
            for busy in range(t, t + load[1]):
                rows[busy, base + t] = 1
        prices[base + STEPS], upper[base + STEPS] = LEAVE, load[0]
        rows[STEPS + 40 + i, base:base + STEPS + 1] = 1
    least = [0] * (STEPS + 40) + [load[0] for load in loads]
    most = [woks] * (STEPS + 40) + [load[0] for load in loads]
    found = milp(prices, integrality=np.ones(n), bounds=Bounds(0, upper),
                 constraints=LinearConstraint(rows.tocsr(), least, most), options={"mip_rel_gap": 0})
    assert found.status == 0 and found.mip_gap == 0, found.message
    assert abs(found.fun - round(found.fun)) < 1e-6
    return round(found.fun)


def main():
    draw = random.Random(SEED)
    print(f"# Firings on equal woks and their least cost, made by parallel_optima.py (seed {SEED}; HiGHS by way of SciPy).")
    print("# woks loads night morning optimum, then for each load: firings, steps each takes, ready, past, early, late.")
    print(f"# {STEPS} steps; a start costs at most {MOST} and its step beside, a firing left undone {LEAVE}.")
    for case in range(16):
        woks, n = 2 + case % 3, 3 + case % 4
        night = draw.randint(24, 32)
        morning = night + draw.randint(4, 10)
        steps = draw.randint(3, 6)
        loads = []
        for _ in range(n):
            ready = draw.randint(5, 40)
            # The first half last equally long, as all firings of one evening do.
            each = steps if case < 8 else draw.randint(2, 7)
            loads.append((draw.randint(2, 9), each, ready, ready + draw.randint(1, 12), draw.randint(5, 60),
                          draw.randint(5, 60)))
        print(woks, n, night, morning, optimum(woks, night, morning, loads))
        for load in loads:
            print(*load)


if __name__ == "__main__":
    main()
