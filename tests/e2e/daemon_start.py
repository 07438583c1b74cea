#!/usr/bin/env python3
# SPDX-License-Identifier: GPL-3.0-or-later
"""A start with much to learn and much to forecast: questions are answered before the first forecast is
there, those about it say that it is being made, and learning from very many gardens costs little.

usage: daemon_start.py WITHERD [--gardens N] [--open N] [--members N]
"""
import argparse
import json
import os
import sqlite3
import sys
import time

import rig

BEGIN_UNIX_S = 1775001600  # a midnight, UTC
HOURS = 40
# Processor time from the start to the first answer: on the slowest of machines, and far below what an
# effort that grows faster than the gardens needs (1500 of them: minutes).
MOST_START_S = 10.0


def journal(path, n_open):
    """One load weighed and fixed, then leaf that lies open, each weighed three times."""
    entries = [(BEGIN_UNIX_S + 60 * minute, {"topic": "shed/north-room", "payload": json.dumps(
        {"temperature": 20 + minute % 30 * 0.01, "humidity": 66})}) for minute in range(0, HOURS * 60, 5)]

    def load(number, hour, fixed):
        acts = [(hour, "spread", {"origin": f"garden {number}", "kg": 8, "area": 9, "grade": "young",
                                  "season": "spring"})]
        acts += [(hour + h, "weigh", {"load": number, "kg": 8.0 - 0.15 * h}) for h in (2, 4, 6)]
        if fixed:
            acts.append((hour + 9, "fix", {"load": number, "kg": 6.4}))
        return [(BEGIN_UNIX_S + 3600 * h + number, {"call": {"method": verb, "params": params}})
                for h, verb, params in acts]
    entries += load(1, 8, True)
    for number in range(2, n_open + 2):
        entries += load(number, HOURS - 8, False)
    entries.sort(key=lambda entry: entry[0])
    with open(path, "w", encoding="utf-8") as out:
        for at, entry in entries:
            out.write(json.dumps({"at": at, **entry}) + "\n")


def multiply(database, n_open, gardens):
    """The first load once more for each garden, as if it had been closed under that name."""
    with sqlite3.connect(database) as db:
        acts = db.execute("SELECT received_unix_ms, method, params FROM act ORDER BY id").fetchall()
        acts = [(at, method, json.loads(text)) for at, method, text in acts]
        mine = [act for act in acts if act[2].get("load") == 1]
        closing = json.loads(db.execute("SELECT document FROM closing ORDER BY id DESC").fetchone()[0])
        assert closing["load"] == 1 and closing["final"], closing
        for number in range(n_open + 2, n_open + gardens + 1):
            for at, method, params in mine:
                params = dict(params, load=number)
                if method == "spread":
                    params["origin"] = f"slope {number}"
                last = db.execute("INSERT INTO act(received_unix_ms, method, params) VALUES(?, ?, ?)",
                                  (at, method, json.dumps(params))).lastrowid
            db.execute("INSERT INTO closing(at_unix_s, document) VALUES(?, ?)",
                       (BEGIN_UNIX_S + 3600 * 30, json.dumps(dict(closing, load=number, act=last))))
    db.close()


def cpu_s(process):
    with open(f"/proc/{process.pid}/stat", encoding="utf-8") as stat:
        fields = stat.read().rpartition(")")[2].split()
    return (int(fields[11]) + int(fields[12])) / os.sysconf("SC_CLK_TCK")


def main():
    parser = argparse.ArgumentParser()
    parser.add_argument("witherd")
    parser.add_argument("--gardens", type=int, default=1500)
    parser.add_argument("--open", type=int, default=40)
    parser.add_argument("--members", type=int, default=8192)
    setup = parser.parse_args()
    bench = rig.Rig(setup.witherd, broker=False)
    try:
        journal(f"{bench.work}/journal.jsonl", setup.open)
        out = bench.run("--replay", f"{bench.work}/journal.jsonl")
        assert out.returncode == 0 and " refused: " not in out.stderr, out.stderr
        multiply(bench.database, setup.open, setup.gardens)
        # A first forecast that takes long.
        with open(bench.config, encoding="utf-8") as config:
            text = config.read().replace("members = 64", f"members = {setup.members}")
        with open(bench.config, "w", encoding="utf-8") as config:
            config.write(text)
        begun = time.monotonic()
        bench.start("--frozen-at", str(BEGIN_UNIX_S + 3600 * HOURS), patience=60.0)
        first = bench.ask("health")
        answered_s, used_s = time.monotonic() - begun, cpu_s(bench.process)
        assert first["facts"]["forecast_age_s"] is None, first
        assert first["facts"]["loads_open"] == setup.open, first

        def forecast():
            """the first forecast"""
            return bench.ask("health")["facts"]["forecast_age_s"] == 0
        # Waits two seconds for the forecast, and then says what it waited for.
        tonight, plan, waited = bench.ask("tonight"), bench.ask("plan"), not forecast()
        if waited:
            assert tonight["answer"]["code"] == plan["empty"]["code"] == "starting", tonight["answer"]
            assert all(row["call"] is None for row in tonight["loads"])
        rig.wait_for(forecast, 200.0, 0.2)
        forecast_s, all_s = time.monotonic() - begun, cpu_s(bench.process)
        tonight = bench.ask("tonight")
        assert len(tonight["loads"]) == setup.open
        assert all(row["call"] for row in tonight["loads"]), tonight["loads"][0]
        rows = [row for row in bench.ask("gardens")["rows"] if row["kind"] == "origin"]
        assert len(rows) == setup.gardens and all(row["loads"] == 1 for row in rows), len(rows)
        assert bench.stop() == 0
    finally:
        bench.close()
    print(f"{setup.gardens} gardens, {setup.open} loads open: the first answer after {answered_s:.1f} s "
          f"({used_s:.2f} s of processor), the first forecast after {forecast_s:.1f} s ({all_s:.1f} s)"
          f"{'' if waited else '; too soon to see a question wait for it in vain'}")
    assert used_s < MOST_START_S, used_s
    return 0


sys.exit(main())
