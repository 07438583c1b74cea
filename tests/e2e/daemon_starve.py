#!/usr/bin/env python3
# SPDX-License-Identifier: GPL-3.0-or-later
"""Allocations are refused, one in each run: the daemon's own and those of its libraries.  It may refuse,
do without, or stop (by abort() where the site cannot go on; the service manager starts it again).  It
never runs wild, and what was confirmed is on disk.

usage: daemon_starve.py WITHERD SHIM [--runs N | --all] [--part check|zone|replay|evening]
N runs are spread evenly over all allocations (default 120, a quarter of them for an evening); --all refuses each of them in turn, some
twenty thousand runs.
"""
import argparse
import collections
import json
import math
import os
import signal
import sqlite3
import subprocess
import sys
import time

sys.path.insert(0, os.path.dirname(os.path.abspath(__file__)))
import rig  # noqa: E402

BEGIN = 1775001600
# Done, refused, a configuration that could not be read, a clean stop for want of memory.
FINE = (0, 1, 78, -signal.SIGABRT)


def journal(path):
    entries = [(BEGIN + 60 * minute, {"topic": "shed/north-room", "payload": json.dumps(
        {"temperature": 20 + minute % 7 / 10, "humidity": 60 + minute % 9})})
        for minute in range(0, 180, 5)]
    entries.append((BEGIN + 61, {"topic": "shed/north-room", "payload": "junk"}))
    entries.append((BEGIN + 90, {"outlook": {
        "hourly_units": {"temperature_2m": "°C", "relative_humidity_2m": "%"}, "hourly": {
            "time": [BEGIN + 3600 * i for i in range(30)], "temperature_2m": [20] * 30,
            "relative_humidity_2m": [60] * 30}}}))
    for at, method, params in (
            (600, "spread", {"origin": "creek", "kg": 8, "area": 8}),
            (1200, "spread", {"origin": "slope", "kg": 5, "area": 5}),
            (3000, "weigh", {"load": 1, "kg": 7.5}), (4000, "feel", {"load": 2, "step": "soft"}),
            (5000, "turn", {"load": 1}), (6000, "fix", {"load": 1, "kg": 6}),
            (6100, "yield", {"load": 1, "made": 1.5}), (6200, "drop", {"load": 2, "why": "rain"}),
            (6300, "undo", {})):
        entries.append((BEGIN + at, {"call": {"method": method, "params": params}}))
    entries.sort(key=lambda entry: entry[0])
    with open(path, "w", encoding="utf-8") as out:
        for at, what in entries:
            out.write(json.dumps({"at": at, **what}) + "\n")


class Bench(rig.Rig):
    def __init__(self, witherd, shim):
        super().__init__(witherd, daemon="forecast_every_s = 900", broker=False)
        self.shim = os.path.abspath(shim)
        self.count = f"{self.work}/count"
        self.seen = collections.Counter()
        self.faults = []

    def env(self, at):
        # Nobody's leak check: the process may stop in the middle.
        return dict(os.environ, LD_PRELOAD=self.shim, STARVE_AT=str(at), STARVE_COUNT=self.count)

    def fresh(self):
        for ending in ("", "-wal", "-journal"):
            if os.path.exists(self.database + ending):
                os.unlink(self.database + ending)

    def total(self):
        with open(self.count, encoding="ascii") as text:
            return int(text.read().split()[0])

    def left(self):
        """Blocks not given back by a program that came to its end, NAN when it did not."""
        if not os.path.exists(self.count):
            return math.nan
        with open(self.count, encoding="ascii") as text:
            return int(text.read().split()[1])

    def judge_left(self, what, at, usual):
        # One that stopped early may hold less than one that did all, never more.
        if self.left() > usual:
            self.faults.append(f"{what}, allocation {at} refused: {self.left() - usual} blocks more "
                               f"than the usual {usual} were not given back")

    def judge(self, what, at, status, said):
        self.seen[status] += 1
        if status not in FINE:
            self.faults.append(f"{what}, allocation {at} refused: status {status}: {said[-2000:]}")

    def sound(self, what, at):
        """The file as it was left."""
        if not os.path.exists(self.database) or os.path.getsize(self.database) == 0:
            return
        base = sqlite3.connect(self.database)
        word = base.execute("PRAGMA integrity_check").fetchone()[0]
        base.close()
        if word != "ok":
            self.faults.append(f"{what}, allocation {at} refused: integrity_check says {word}")


def starve_check(bench, _):
    out = bench.run("--check", env=bench.env(0))
    assert out.returncode == 0, out
    total, usual = bench.total(), bench.left()
    for at in range(1, total + 1):
        os.unlink(bench.count)
        out = bench.run("--check", env=bench.env(at))
        bench.judge("--check", at, out.returncode, out.stderr)
        bench.judge_left("--check", at, usual)
    return total


def starve_zone(bench, _):
    """A clock time is of the site's zone, or nothing is taken in: 10:30 at 8 h east is 02:30 UTC."""
    path, config = f"{bench.work}/journal.jsonl", bench.config
    begin = BEGIN - BEGIN % 86400 + 6 * 3600
    with open(path, "w", encoding="utf-8") as out:
        out.write(json.dumps({"at": begin, "call": {"method": "spread", "params": {
            "origin": "creek", "kg": 8, "area": 8, "at": "10:30"}}}) + "\n")
    with open(config, encoding="utf-8") as text:
        lines = text.read()
    bench.config = f"{bench.work}/zone.conf"
    with open(bench.config, "w", encoding="utf-8") as out:
        out.write(lines.replace("timezone = UTC", "timezone = Asia/Shanghai"))
    assert bench.run("--check", env=bench.env(0)).returncode == 0
    # The zone is taken once the configuration is read, in a dozen allocations.
    read = bench.total()
    for at in (0, *range(read - 5, read + 20)):
        bench.fresh()
        out = bench.run("--replay", path, env=bench.env(at))
        bench.judge("--replay of a clock time", at, out.returncode, out.stderr)
        if out.returncode != 0:
            continue
        base = sqlite3.connect(bench.database)
        found = [json.loads(row[0])["at_unix_s"] for row in base.execute(
            "SELECT params FROM act WHERE method = 'spread'")]
        base.close()
        if found != [begin - 3600 * 3 - 1800]:
            bench.faults.append(f"--replay of 10:30, allocation {at} refused: the act is of {found}")
    bench.config = config
    return 25


def starve_replay(bench, runs):
    path = f"{bench.work}/journal.jsonl"
    journal(path)
    out = bench.run("--replay", path, "--calibrate", env=bench.env(0))
    assert out.returncode == 0, out
    total, usual = bench.total(), bench.left()
    for at in rig.chosen(total, runs):
        bench.fresh()
        if os.path.exists(bench.count):
            os.unlink(bench.count)
        out = bench.run("--replay", path, "--calibrate", env=bench.env(at))
        bench.judge("--replay", at, out.returncode, out.stderr)
        bench.judge_left("--replay", at, usual)
        bench.sound("--replay", at)
    return total


def evening(bench, at):
    """A short life with questions and acts: the confirmed loads, and the exit status."""
    with open(bench.log, "wb") as log:
        process = bench.process = subprocess.Popen([bench.witherd, "--config", bench.config],
                                                   stderr=log, env=bench.env(at))
    end = time.monotonic() + 60
    while process.poll() is None and not os.path.exists(bench.socket) and time.monotonic() < end:
        time.sleep(0.005)
    confirmed = []
    for number in range(4):
        for method, params in (("spread", {"origin": f"garden-{number}", "kg": 5, "area": 5}),
                               ("tonight", {}), ("plan", {}), ("stations", {}), ("health", {}),
                               ("show", {"load": 1}), ("what-if", {"load": 1, "warmer": 1}),
                               ("air", {}), ("weigh", {"load": 1, "kg": 4.9 - number / 10}),
                               ("export", {"what": "loads"}),
                               ("backup", {"file": f"{bench.work}/copy-{number}.db"})):
            try:
                answer = bench.call(method, **params)
            except (OSError, AssertionError, ValueError):
                continue
            if method == "spread" and "result" in answer:
                confirmed.append(params["origin"])
    if process.poll() is None:
        process.terminate()
    status = process.wait(timeout=60)
    bench.process = None
    return confirmed, status


def starve_evening(bench, runs):
    bench.fresh()
    confirmed, status = evening(bench, 0)
    assert status == 0 and len(confirmed) == 4, (status, confirmed, bench.log_text())
    total = bench.total()
    for at in rig.chosen(total, runs and runs // 4):
        bench.fresh()
        for name in os.listdir(bench.work):
            if name.startswith(("copy-", "witherd.sock")):
                os.unlink(f"{bench.work}/{name}")
        confirmed, status = evening(bench, at)
        bench.judge("an evening", at, status, bench.log_text())
        bench.sound("an evening", at)
        if not os.path.exists(bench.database):
            continue
        base = sqlite3.connect(bench.database)
        try:
            there = [json.loads(row[0])["origin"] for row in base.execute(
                "SELECT params FROM act WHERE method = 'spread'")]
        except sqlite3.OperationalError:
            there = []  # stopped before there was a table
        base.close()
        lost = [name for name in confirmed if there.count(name) != 1]
        if lost:
            bench.faults.append(f"an evening, allocation {at} refused: {lost} lost or twice")
    return total


def main():
    parser = argparse.ArgumentParser()
    parser.add_argument("witherd")
    parser.add_argument("shim")
    parser.add_argument("--runs", type=int, default=120)
    parser.add_argument("--all", action="store_true")
    parser.add_argument("--part", choices=("check", "zone", "replay", "evening"))
    options = parser.parse_args()
    runs = None if options.all else options.runs
    bench = Bench(options.witherd, options.shim)
    try:
        for name, part in (("check", starve_check), ("zone", starve_zone), ("replay", starve_replay),
                           ("evening", starve_evening)):
            if options.part not in (None, name):
                continue
            began = time.monotonic()
            bench.seen.clear()
            total = part(bench, runs)
            print(f"{name}: {total} allocations, {sum(bench.seen.values())} runs, exit statuses "
                  f"{dict(sorted(bench.seen.items()))}, {time.monotonic() - began:.0f} s", flush=True)
    finally:
        bench.close()
    rig.end_with(bench.faults)


main()
