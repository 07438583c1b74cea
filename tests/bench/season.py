#!/usr/bin/env python3
# SPDX-License-Identifier: GPL-3.0-or-later
"""Replays invented seasons of one station and four loads a day, and shows how the cost grows with
the length of the history and the size of the database.

usage: season.py WITHERD [DAYS ...]
Processor time (user + system) of the replay; beside it the size of the database and what a daemon
needs to start on it and answer.  The shortest season is replayed twice: both databases must hold the
same forecasts.
"""
import contextlib
import os
import resource
import socket
import sqlite3
import subprocess
import sys
import tempfile
import time

import season_made

LIMIT_S_PER_DAY = 60.0 / 90.0


def replay(witherd, work, days):
    """(cpu s, wall s, database bytes, rows of forecasts)"""
    os.makedirs(work, exist_ok=True)
    config, journal = os.path.join(work, "season.ini"), os.path.join(work, "journal.jsonl")
    loads = season_made.write_journal(journal, days)
    with open(config, "w") as out:
        out.write(season_made.config(work))
    before, began = resource.getrusage(resource.RUSAGE_CHILDREN), time.monotonic()
    subprocess.run([witherd, "--config", config, "--replay", journal], check=True,
                   stderr=subprocess.DEVNULL)
    wall_s, after = time.monotonic() - began, resource.getrusage(resource.RUSAGE_CHILDREN)
    cpu_s = after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime
    path = os.path.join(work, "season.db")
    return cpu_s, wall_s, os.path.getsize(path), forecasts(work), loads


def forecasts(work):
    """Closed at once: a daemon wants the file for itself."""
    with contextlib.closing(sqlite3.connect(os.path.join(work, "season.db"))) as database:
        return database.execute("SELECT * FROM forecast ORDER BY issued_unix_s, load").fetchall()


def start_s(witherd, work, days):
    """Processor time of a daemon that shows the season's last moment, answers once and ends."""
    before = resource.getrusage(resource.RUSAGE_CHILDREN)
    daemon = subprocess.Popen([witherd, "--config", os.path.join(work, "season.ini"), "--frozen-at",
                               str(season_made.START_UNIX_S + days * 86400)],
                              stderr=subprocess.DEVNULL)
    question = b'{"jsonrpc":"2.0","id":1,"method":"loads"}\n'
    try:
        for left in range(600, 0, -1):
            with socket.socket(socket.AF_UNIX) as line:
                try:
                    line.connect(os.path.join(work, "season.sock"))
                    line.sendall(question)
                    if line.recv(1):
                        break
                except OSError:
                    if left == 1:
                        raise
            time.sleep(0.1)
    finally:
        daemon.terminate()
        daemon.wait()
    after = resource.getrusage(resource.RUSAGE_CHILDREN)
    return after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime


def main():
    witherd, days = sys.argv[1], [int(d) for d in sys.argv[2:]] or [11, 22, 45, 90]
    same = True
    with tempfile.TemporaryDirectory() as work:
        print("days  loads  ticks  cpu s  ms a tick  wall s  database MiB  start s")
        for n in days:
            cpu_s, wall_s, size, rows, loads = replay(witherd, f"{work}/{n}", n)
            print(f"{n:4d} {loads:6d} {n * 96:6d} {cpu_s:6.1f} {1e3 * cpu_s / (n * 96):10.2f} "
                  f"{wall_s:7.1f} {size / 2**20:13.1f} {start_s(witherd, f'{work}/{n}', n):8.2f}",
                  flush=True)
        first = days[0]
        again = replay(witherd, f"{work}/again", first)[3]
        same = again == forecasts(f"{work}/{first}")
    print(f"two replays of {first} days: forecasts {'the same' if same else 'DIFFER'}")
    limit_s = LIMIT_S_PER_DAY * days[-1]
    print(f"limit for {days[-1]} days: {limit_s:.0f} s, ratio {cpu_s / limit_s:.2f}")
    return 0 if same and cpu_s <= limit_s else 1


sys.exit(main())
