#!/usr/bin/env python3
# SPDX-License-Identifier: GPL-3.0-or-later
"""Makes synthetic seasons, replays them and holds the forecasts against the truth.

usage: season_table.py WITHERD WITHER MAKE_SEASON [--keep FOLDER] [--check] [--against OPTIONS]
       SEASON [SEASON ...]

A SEASON is a list of options of make_season joined by commas (seed=1,structure=1,days=30);
seed=1..12 stands for twelve of them.  Forecasts are read as anyone would: a daemon frozen after the
last entry, and `wither export`.  --against plays each season again with OPTIONS added (unweighed=1,
cells=1, wrong=1), leaf and weather the same, and holds the same loads at the same leads side by
side: loads that still wait six hours after a weighing are slow ones, and so not to be compared with
others.
--check ends with 1 when a pooled figure leaves the wide limits below; they catch what is broken,
not what is a little worse.
"""
import csv
import io
import json
import math
import os
import statistics
import subprocess
import sys
import tempfile
import time

QUANTILES = ("ready_p10_unix_s", "ready_p25_unix_s", "ready_p50_unix_s", "ready_p75_unix_s",
             "ready_p90_unix_s")
LEVELS = (0.1, 0.25, 0.5, 0.75, 0.9)
LAST_START_H = 21.5
ASKED_H = 16
HORIZON_S = 48 * 3600
LIMITS = {"coverage_80": (62.0, 97.0), "coverage_50": (32.0, 75.0), "crps_gain": (20.0, 100.0)}


def replay(witherd, wither, folder):
    """Rows of `wither export forecasts` after a replay of the season in folder."""
    config = os.path.join(folder, "season.ini")
    subprocess.run([witherd, "--config", config, "--replay",
                    os.path.join(folder, "journal.jsonl")], check=True,
                   stderr=subprocess.DEVNULL)
    last = None
    with open(os.path.join(folder, "journal.jsonl"), encoding="utf-8") as journal:
        for last in journal:
            pass
    frozen_at = json.loads(last)["at"] + 1
    socket = os.path.join(folder, "season.sock")
    daemon = subprocess.Popen([witherd, "--config", config, "--frozen-at", str(frozen_at)],
                              stderr=subprocess.DEVNULL)
    try:
        # The socket's file is there a moment before anybody listens.
        for left in range(600, 0, -1):
            asked = subprocess.run([wither, "--socket", socket, "export", "forecasts", "--csv"],
                                   check=left == 1, capture_output=True, text=True)
            if asked.returncode == 0:
                break
            time.sleep(0.1)
        text = asked.stdout
    finally:
        daemon.terminate()
        daemon.wait()
    return list(csv.DictReader(io.StringIO(text)))


def read_truth(folder):
    with open(os.path.join(folder, "truth.csv"), encoding="utf-8") as handle:
        return {int(r["load"]): r for r in csv.DictReader(handle)}


def read_weighings(folder):
    times = {}
    with open(os.path.join(folder, "journal.jsonl"), encoding="utf-8") as journal:
        for line in journal:
            if '"weigh"' in line:
                entry = json.loads(line)
                times.setdefault(entry["call"]["params"]["load"], []).append(entry["at"])
    return times


def gather(folder, forecasts):
    """Forecasts before the outcome, each with what was known then."""
    truth, weighings = read_truth(folder), read_weighings(folder)
    out = []
    for row in forecasts:
        load = int(row["load"])
        mine, issued = truth[load], float(row["issued_unix_s"])
        ready, spread = float(mine["ready_unix_s"]), float(mine["spread_unix_s"])
        if not ready or issued >= ready:
            continue
        past = [t for t in truth.values() if 0 < float(t["fix_unix_s"]) < spread]
        hours = [(float(t["ready_unix_s"]) - float(t["spread_unix_s"])) for t in past]
        out.append({
            "load": (folder, load), "issued": issued, "ready": ready, "spread": spread,
            "quantiles": [float(row[q]) if row[q] else math.inf for q in QUANTILES],
            "weighed": sum(t <= issued for t in weighings.get(load, [])),
            "of_origin": sum(t["garden"] == mine["garden"] for t in past),
            "reference": spread + statistics.median(hours) if hours else None,
            "p_tonight": float(row["p_ready_tonight"]) if row["p_ready_tonight"] else None,
            "call": row["call"],
            "lead_h": (ready - issued) / 3600.0})
    return out


def crps(quantiles, at, issued):
    """Piecewise linear between the quantiles; beyond the horizon counts as at its end."""
    q = [min(x, issued + HORIZON_S) for x in quantiles]
    total = max(q[0] - at, 0.0) + max(at - q[-1], 0.0)
    for low, high, p, r in zip(q, q[1:], LEVELS, LEVELS[1:]):
        def square(a, b, width):
            return width * (a * a + a * b + b * b) / 3.0
        if at >= high:
            total += square(p, r, high - low)
        elif at <= low:
            total += square(1 - p, 1 - r, high - low)
        else:
            m = p + (r - p) * (at - low) / (high - low)
            total += square(p, m, at - low) + square(1 - m, 1 - r, high - at)
    return total / 60.0


def errors(rows):
    return [abs(r["quantiles"][2] - r["ready"]) / 60.0 for r in rows]


def cover(rows, low, high):
    inside = sum(r["quantiles"][low] <= r["ready"] <= r["quantiles"][high] for r in rows)
    return 100.0 * inside / len(rows) if rows else math.nan


def median(values):
    values = list(values)
    return statistics.median(values) if values else math.nan


def near(rows, lead_h):
    """The forecast of each load closest to a lead, if within half an hour."""
    best = {}
    for r in rows:
        gap = abs(r["lead_h"] - lead_h)
        if gap <= 0.51 and (r["load"] not in best or gap < best[r["load"]][0]):
            best[r["load"]] = (gap, r)
    return [r for _, r in best.values()]


def evening(rows):
    """(right, asked, Brier) of the calls at 16:00; right counts loads an hour or more from the
    last start."""
    asked = {}
    for r in rows:
        hour = r["issued"] / 3600.0 % 24.0
        if hour <= ASKED_H < hour + 1.01 and r["p_tonight"] is not None:
            asked[r["load"]] = r
    right = counted = 0
    squares = []
    for r in asked.values():
        last = r["issued"] - r["issued"] % 86400 + LAST_START_H * 3600
        tonight = r["ready"] <= last
        squares.append((r["p_tonight"] - tonight) ** 2)
        if abs(r["ready"] - last) <= 3600:
            continue
        counted += 1
        right += r["call"] == "either" or (r["call"] in ("tonight", "now", "past")) == tonight
    return right, counted, sum(squares) / len(squares) if squares else math.nan


def table(rows):
    pool = [r for r in rows if 2.0 <= r["lead_h"] <= 14.0]
    lines = [("80 % bands, leads 2-14 h, %", cover(pool, 0, 4), "75 to 85", len(pool)),
             ("50 % bands, leads 2-14 h, %", cover(pool, 1, 3), "43 to 57", len(pool))]
    for lead, wanted in ((6, (80, 60)), (12, (150, 125))):
        here = near(rows, lead)
        learned = [r for r in here if not r["weighed"] and r["of_origin"] >= 3]
        once = [r for r in here if r["weighed"] == 1]
        lines.append((f"error {lead} h ahead, garden known, min", median(errors(learned)),
                      f"<= {wanted[0]}", len(learned)))
        lines.append((f"error {lead} h ahead, weighed once, min", median(errors(once)),
                      f"<= {wanted[1]}", len(once)))
    three = near(rows, 3)
    lines.append(("error 3 h ahead (<= 20 with a cell), min", median(errors(three)), "", len(three)))
    six = [r for r in near(rows, 6) if r["weighed"] == 1 and r["reference"]]
    ours = sum(crps(r["quantiles"], r["ready"], r["issued"]) for r in six)
    theirs = sum(abs(r["reference"] - r["ready"]) / 60.0 for r in six)
    gain = 100.0 * (1.0 - ours / theirs) if theirs else math.nan
    lines.append(("CRPS below the median hours, 6 h, weighed, %", gain, ">= 45", len(six)))
    right, counted, brier = evening(rows)
    lines.append(("evening calls right, %", 100.0 * right / counted if counted else math.nan,
                  ">= 90", counted))
    lines.append(("Brier score of the evening", brier, "<= 0.10", counted))
    return lines, {"coverage_80": cover(pool, 0, 4), "coverage_50": cover(pool, 1, 3),
                   "crps_gain": gain}


def print_belief(rows, others):
    """How far the outcome follows what a first weighing changed: slope of ln hours (true over said
    without the weighing) on ln hours (said with it over said without).  1: believed as it should
    be; more: too little; less: too much.  The first forecast after a weighing 3 h or more after
    spreading, of each load."""
    first = {}
    for r in rows:
        if r["weighed"] == 1 and r["issued"] - r["spread"] >= 3 * 3600 and \
                (r["load"] not in first or r["issued"] < first[r["load"]]["issued"]):
            first[r["load"]] = r
    moves, misses = [], []
    for r in first.values():
        other = others.get((r["load"], r["issued"]))
        if other is None:
            continue

        def hours(at):
            return math.log(min(at, r["issued"] + HORIZON_S) - r["spread"])
        without = hours(other["quantiles"][2])
        moves.append(hours(r["quantiles"][2]) - without)
        misses.append(hours(r["ready"]) - without)
    square = sum(m * m for m in moves)
    if len(moves) < 3 or not square:
        return
    slope = sum(m * e for m, e in zip(moves, misses)) / square
    rest = sum((e - slope * m) ** 2 for m, e in zip(moves, misses))
    print(f"a first weighing moves the hours by {100 * math.sqrt(square / len(moves)):.0f} %, of "
          f"{100 * math.sqrt(sum(e * e for e in misses) / len(misses)):.0f} % they are off; the "
          f"outcome follows it by {slope:.2f} +- {math.sqrt(rest / (len(moves) - 1) / square):.2f} "
          f"(1: rightly believed), n {len(moves)}")


def side_by_side(rows, others, options):
    """Median error of the same loads at the same moments, by lead and weighings."""
    other = {(r["load"], r["issued"]): r for r in others}
    print(f"\n{'the same loads, median error, min':35s} {'as is':>8s} {options:>14s}")
    for lead in (3, 6, 12):
        for weighed in (0, 1):
            pairs = [(r, other[r["load"], r["issued"]])
                     for r in near([r for r in rows if r["weighed"] == weighed], lead)
                     if (r["load"], r["issued"]) in other]
            ours, theirs = (median(errors(side)) for side in zip(*pairs)) if pairs else (0, 0)
            print(f"{lead:2d} h ahead, weighed {('never', 'once')[weighed]:21s} {ours:8.1f} "
                  f"{theirs:14.1f}  n {len(pairs)}")
    print_belief(rows, other)
    for low, high, name in ((0, 4, 80), (1, 3, 50)):
        print(f"{name} % bands, leads 2-14 h, % {'':10s}", *(
            f"{cover([r for r in side if 2.0 <= r['lead_h'] <= 14.0], low, high):{w}.1f}"
            for side, w in ((rows, 8), (others, 14))))


def spell_out(season):
    """seed=3..5,days=9 as three seasons."""
    first, dots, last = next((o[5:] for o in season.split(",") if o.startswith("seed=")),
                             "").partition("..")
    if not dots:
        return [season]
    return [season.replace(f"seed={first}..{last}", f"seed={n}")
            for n in range(int(first), int(last) + 1)]


def play(programs, folder, season, number):
    """The forecasts of one season, its loads named by its number."""
    witherd, wither, make_season = programs
    os.makedirs(folder)
    subprocess.run([make_season, folder, *season.split(",")], check=True)
    rows = gather(folder, replay(witherd, wither, folder))
    for row in rows:
        row["load"] = (number, row["load"][1])
    return rows


def main(arguments):
    keep, check, against = None, False, None
    programs, seasons = arguments[:3], []
    rest = iter(arguments[3:])
    for argument in rest:
        if argument == "--keep":
            keep = next(rest)
        elif argument == "--against":
            against = next(rest)
        elif argument == "--check":
            check = True
        else:
            seasons += spell_out(argument)
    if len(programs) < 3 or not seasons:
        print(__doc__, file=sys.stderr)
        return 2
    rows, others = [], []
    with tempfile.TemporaryDirectory() as scratch:
        for i, season in enumerate(seasons):
            folder = os.path.join(keep or scratch, f"season{i}")
            rows += play(programs, folder, season, i)
            if against:
                others += play(programs, folder + "-against", f"{season},{against}", i)
    lines, figures = table(rows)
    for name, value, wanted, n in lines:
        print(f"{name:45s} {value:8.2f}  {wanted:10s} n {n}")
    if against:
        side_by_side(rows, others, against)
    bad = [k for k, (low, high) in LIMITS.items() if not low <= figures[k] <= high]
    for k in bad:
        print(f"{k} is {figures[k]:.1f}, outside {LIMITS[k]}")
    return 1 if check and bad else 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
