#!/usr/bin/env python3
# SPDX-License-Identifier: GPL-3.0-or-later
"""A year of one-minute readings and four loads a day, played into a daemon: its memory, its open files
and its database must not grow beyond what is told of them.

usage: year.py WITHERD [--days N] [--every SECONDS] [--loads N] [--season DAYS] [--most-growth KIB]
The journal is invented; loads come on the first days of each year only, as many as --season says.
Sampled each day, a few minutes after midnight, when what the day's forecasts worked in has been given
back: resident memory, open files, size of the database.
"""
import argparse
import array
import fcntl
import heapq
import json
import os
import random
import subprocess
import sys
import tempfile
import termios
import time

sys.path.insert(0, os.path.join(os.path.dirname(os.path.abspath(__file__)), "..", "bench"))
import season_made  # noqa: E402

SAMPLE_AFTER_LINES = 5
# What is told in README.md, of one room and one station at a reading a minute.
MOST_READINGS_BYTES_A_DAY = 150_000
MOST_BYTES_A_TICK = 1_500


def days_of(days, loads_a_day, season):
    """The journal's lines, a day at a time."""
    air, chance = season_made.Air(1), random.Random(2)
    waiting, n_loads, order = [], 0, 0
    deficits = {}
    for day in range(days + 1):
        start = season_made.START_UNIX_S + day * 86400
        fresh = []
        for at in range(start, start + 86400, 60):
            temp_c, rh_pct = air.next(at, 60)
            deficits[at // 600] = season_made.saturation_pa(temp_c) * (1.0 - rh_pct / 100.0)
            payload = json.dumps({"t": round(temp_c, 2), "h": round(rh_pct, 1)})
            fresh.append((at, json.dumps({"at": at, "topic": "made/loft", "payload": payload})))
        # Loads of the day before: their air is known a day ahead.
        if day >= 2 and day % 365 < season:
            for spread in sorted(start - 86400 + 60 * int(chance.uniform(9, 17) * 60)
                                 for _ in range(loads_a_day)):
                n_loads += 1
                for at, method, params in season_made.acts_of(
                        n_loads, spread + n_loads % 7, chance,
                        lambda at: deficits.get(at // 600, 600.0)):
                    order += 1
                    heapq.heappush(waiting, (at, order, json.dumps(
                        {"at": at, "call": {"method": method, "params": params}})))
        deficits = {key: value for key, value in deficits.items() if key * 600 > start - 2 * 86400}
        if day == 0:
            held = fresh
            continue
        out = []
        for at, line in held:
            while waiting and waiting[0][0] <= at:
                out.append(heapq.heappop(waiting)[2])
            out.append(line)
        held = fresh
        yield out


def play(process, lines):
    """Until all of it has been taken in and the daemon waits for more."""
    process.stdin.write("".join(line + "\n" for line in lines).encode())
    process.stdin.flush()
    left, quiet = array.array("i", [0]), 0
    while quiet < 2 and process.poll() is None:
        fcntl.ioctl(process.stdin, termios.FIONREAD, left)
        with open(f"/proc/{process.pid}/stat", encoding="utf-8") as stat:
            sleeps = stat.read().rpartition(")")[2].split()[0] == "S"
        quiet = quiet + 1 if left[0] == 0 and sleeps else 0
        time.sleep(0.002)


def peak_kib(process):
    with open(f"/proc/{process.pid}/status", encoding="utf-8") as status:
        return int(status.read().split("VmHWM:")[1].split()[0])


def sample(process, work):
    # Exact, where VmRSS may be off by some pages a processor.
    with open(f"/proc/{process.pid}/smaps_rollup", encoding="utf-8") as rollup:
        rss_kib = int(rollup.read().split("Rss:")[1].split()[0])
    files = len(os.listdir(f"/proc/{process.pid}/fd"))
    size = sum(os.path.getsize(f"{work}/season.db{end}") for end in ("", "-wal")
               if os.path.exists(f"{work}/season.db{end}"))
    return rss_kib, files, size


def middle(values):
    return sorted(values)[len(values) // 2]


def main():
    parser = argparse.ArgumentParser()
    parser.add_argument("witherd")
    parser.add_argument("--days", type=int, default=14)
    parser.add_argument("--every", type=int, default=3600)
    parser.add_argument("--loads", type=int, default=4)
    parser.add_argument("--season", type=int, default=365)
    parser.add_argument("--members", type=int, default=256)
    parser.add_argument("--most-growth", type=int, default=2048, help="KiB, after the first week")
    setup = parser.parse_args()
    samples = []
    with tempfile.TemporaryDirectory() as work:
        with open(f"{work}/c.ini", "w", encoding="utf-8") as out:
            out.write(season_made.config(work, every_s=setup.every, members=setup.members))
        with open(f"{work}/log", "wb") as log:
            process = subprocess.Popen([setup.witherd, "--config", f"{work}/c.ini", "--replay", "-"],
                                       stdin=subprocess.PIPE, stderr=log)
        for number, lines in enumerate(days_of(setup.days, setup.loads, setup.season)):
            play(process, lines[:SAMPLE_AFTER_LINES])
            samples.append(sample(process, work))
            play(process, lines[SAMPLE_AFTER_LINES:])
            if number % 30 == 7 or number == setup.days - 1:
                print("day %d: %d KiB resident, %d files, %.2f MB" %
                      (number, *samples[-1][:2], samples[-1][2] / 1e6), flush=True)
        most_kib = peak_kib(process)
        process.stdin.close()
        status = process.wait()
        text = open(f"{work}/log", encoding="utf-8").read()
        size = os.path.getsize(f"{work}/season.db")
    print(text.strip().splitlines()[-1])
    assert status == 0, text[-2000:]
    assert "0 refused" in text, text[-2000:]
    week, last = samples[5:10], samples[-5:]
    growth_kib = middle([s[0] for s in last]) - middle([s[0] for s in week])
    a_day = size / setup.days
    most = MOST_READINGS_BYTES_A_DAY + MOST_BYTES_A_TICK * 86400 / setup.every
    print(f"resident memory grew by {growth_kib} KiB from the first week to the end, "
          f"at most {most_kib} KiB")
    print(f"open files: {sorted({s[1] for s in samples[1:]})}")
    print(f"database: {size / 1e6:.1f} MB, {a_day / 1e3:.0f} kB a day, told: at most {most / 1e3:.0f}")
    fine = growth_kib < setup.most_growth and len({s[1] for s in samples[1:]}) == 1 and a_day <= most
    return 0 if fine else 1


sys.exit(main())
