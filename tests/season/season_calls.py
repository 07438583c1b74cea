#!/usr/bin/env python3
# SPDX-License-Identifier: GPL-3.0-or-later
"""Plays synthetic seasons under the calls and under rules of thumb, and shows what each costs.

usage: season_calls.py MAKE_SEASON SEASON_FOLLOW [--check] [--settle] SEASON [SEASON ...]

A SEASON is a list of options of make_season joined by commas (seed=1,structure=1,days=30).  Each is
played through the daemon's own engine, readings and weighings as they came, and the maker fixes as
the rule says; season_follow.c tells the rules.  A firing costs what `wither help plan` says, by
the true leaf.  --settle shows instead what a proposed weighing is worth, on seasons without other
weighings.  At least 40 % less than by each rule is wished for, in cost and in firings outside their
window; --check ends with 1 when that is missed by far, so that it catches what is broken.
"""
import os
import subprocess
import sys
import tempfile

RULES = {"known": "knowing when it is ready and past", "calls": "as the plan says",
         "hours8": "when 8 h have passed", "morning": "always in the morning",
         "weighed": "evening if the last weighing says so", "median": "evening if the median says so"}
SETTLE = {"none": "no weighing", "random": "one, any load and time", "proposed": "one, as proposed",
          "random3": "up to three, any", "proposed3": "up to three, as proposed"}
# Of a rule's cost, and of its firings outside the window, the most that --check lets pass (our
# choice): rules that go by the clock are far worse, those that use the forecast or a weighing less.
MOST = {"hours8": (0.6, 0.75), "morning": (0.6, 0.75), "weighed": (0.9, 1.0), "median": (0.9, 1.0)}


def play(season_follow, folder, rule):
    text = subprocess.run([season_follow, folder, rule], check=True, capture_output=True,
                          text=True).stdout
    return [line.split(",") for line in text.splitlines()]


def bill(lines):
    """(firings, cost, before ready, past best)"""
    fires = [line for line in lines if line[0] == "fire"]
    return (len(fires), sum(float(line[4]) for line in fires),
            sum(line[5] == "-1" for line in fires), sum(line[5] == "1" for line in fires))


def add(sums, rule, numbers):
    sums[rule] = tuple(a + b for a, b in zip(sums.get(rule, (0,) * len(numbers)), numbers))


def show_rules(sums):
    """False when the calls do not cost much less, by either count."""
    print(f"{'fixed':37s} {'firings':>7s} {'cost each':>9s} {'early':>6s} {'late':>6s}   calls save")
    n, cost, early, late = sums["calls"]
    if n == 0:
        sys.exit("no load was fixed in these seasons: give them more days")
    best_cost, best_outside, fine = cost / n, (early + late) / n, True
    for rule, label in RULES.items():
        n, cost, early, late = sums[rule]
        saved = ""
        if rule not in ("calls", "known"):
            by_cost, by_count = best_cost / (cost / n), best_outside / ((early + late) / n)
            fine = fine and by_cost <= MOST[rule][0] and by_count <= MOST[rule][1]
            saved = f"{100 * (1 - by_cost):3.0f} % of cost, {100 * (1 - by_count):3.0f} % of misses"
        print(f"{label:37s} {n:7d} {cost / n:9.3f} {100 * early / n:5.1f}% {100 * late / n:5.1f}%   "
              f"{saved}")
    return fine


def judged(lines):
    """(evenings, loads, wrong, weighings, evenings with a proposal)"""
    rows = [[int(x) for x in line[2:]] for line in lines if line[0] == "judge"]
    return (len(rows), sum(r[1] for r in rows), sum(r[2] for r in rows), sum(r[3] for r in rows),
            sum(r[4] for r in rows))


def show_settle(sums):
    print("calls a quarter of an hour before the last start")
    for rule, label in SETTLE.items():
        evenings, loads, wrong, weighings, proposed = sums[rule]
        print(f"{label:27s} {wrong:4d} wrong of {loads}, {weighings} weighings on {proposed} of "
              f"{evenings} evenings")
    for one, other in (("proposed", "random"), ("proposed3", "random3")):
        less = 100 * (1 - sums[one][2] / sums[other][2]) if sums[other][2] else 0
        print(f"{SETTLE[one]}: {less:.0f} % fewer wrong than {SETTLE[other]}")


def main(arguments):
    flags = {a for a in arguments if a.startswith("--")}
    words = [a for a in arguments if not a.startswith("--")]
    if len(words) < 3 or flags - {"--check", "--settle"}:
        print(__doc__, file=sys.stderr)
        return 2
    make_season, season_follow, seasons = words[0], words[1], words[2:]
    settle, sums = "--settle" in flags, {}
    for season in seasons:
        options = season.split(",") + (["unweighed=1"] if settle else [])
        with tempfile.TemporaryDirectory() as folder:
            subprocess.run([make_season, folder, *options], check=True)
            for rule in SETTLE if settle else RULES:
                lines = play(season_follow, folder, rule)
                add(sums, rule, judged(lines) if settle else bill(lines))
    if settle:
        show_settle(sums)
        return 0
    return 0 if show_rules(sums) or "--check" not in flags else 1


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
