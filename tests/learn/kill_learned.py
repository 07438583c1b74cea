#!/usr/bin/env python3
# SPDX-License-Identifier: GPL-3.0-or-later
"""kill -9 while a load that was just fixed is being learned from.

usage: kill_learned.py WITHERD [--rounds N] [--seed S]
A daemon that is killed after the fixing was confirmed learns, once it runs again, what one learns
that was left alone, to the last digit; and what was learned before is there at once.
"""
import argparse
import json
import os
import random
import shutil
import sys
import time

sys.path.insert(0, os.path.join(os.path.dirname(os.path.abspath(__file__)), "..", "e2e"))
import rig  # noqa: E402

HOURS = 40
GARDENS = ("creek", "terrace", "old-wall", "creek")


def journal(path, begin):
    """Four loads of one day, all weighed, the first three fixed in the evening."""
    entries = []
    for minute in range(0, HOURS * 60, 5):
        entries.append((begin + 60 * minute, {"topic": "shed/north-room", "payload": json.dumps(
            {"temperature": 20 + minute % 30 * 0.01, "humidity": 66})}))
    for number, garden in enumerate(GARDENS, 1):
        spread = begin + 3600 * 12 + 600 * number
        acts = [(0, "spread", {"origin": garden, "kg": 8, "area": 9, "grade": "young",
                               "season": "spring"}),
                (4, "weigh", {"load": number, "kg": 7.2 - 0.1 * number})]
        if number < len(GARDENS):
            acts.append((20, "fix", {"load": number, "kg": 5.9 - 0.1 * number}))
        entries += [(spread + 3600 * h, {"call": {"method": verb, "params": params}})
                    for h, verb, params in acts]
    entries.sort(key=lambda entry: entry[0])
    with open(path, "w", encoding="utf-8") as out:
        for at, entry in entries:
            out.write(json.dumps({"at": at, **entry}) + "\n")


def learned(bench):
    """(closed loads, what was learned of them)"""
    document = bench.ask("gardens")
    every = [row for row in document["rows"] if row["kind"] == "all"]
    return every[0]["loads"], {key: document[key] for key in ("rows", "feel", "styles")}


def fix(bench, begin):
    """The last load, fixed at the same moment in every copy."""
    at = time.strftime("%Y-%m-%dT%H:%M:%SZ", time.gmtime(begin + 3600 * 33))
    return bench.ask("fix", load=len(GARDENS), kg=5.4, at=at)["act"]


def paces(lore):
    return [row["pace"] for row in lore["rows"]]


def all_learned(bench):
    def learned_all():
        """the last load to be learned from"""
        loads, lore = learned(bench)
        return lore if loads == len(GARDENS) else None
    return rig.wait_for(learned_all, seconds=90, every=0.1)


def restore(bench, kept):
    for ending in ("", "-wal", "-shm"):
        if os.path.exists(bench.database + ending):
            os.unlink(bench.database + ending)
    shutil.copy(kept, bench.database)


def main():
    parser = argparse.ArgumentParser()
    parser.add_argument("witherd")
    parser.add_argument("--rounds", type=int, default=3)
    parser.add_argument("--seed", type=int, default=1)
    options = parser.parse_args()
    chance = random.Random(options.seed)
    bench = rig.Rig(options.witherd, broker=False, daemon="forecast_every_s = 900")
    # On the hour, so that all copies see the same marks.
    begin = (int(time.time()) - 3600 * HOURS) // 3600 * 3600
    try:
        journal(f"{bench.work}/journal.jsonl", begin)
        out = bench.run("--replay", f"{bench.work}/journal.jsonl")
        assert out.returncode == 0 and "refused: " not in out.stderr, out.stderr
        bench.write_config(daemon="forecast_every_s = 10")
        kept = f"{bench.work}/kept.db"
        shutil.copy(bench.database, kept)
        bench.start()
        loads, before = learned(bench)
        assert loads == len(GARDENS) - 1, loads
        assert fix(bench, begin)["load"] == len(GARDENS)
        alone = all_learned(bench)
        assert paces(alone)[0] != paces(before)[0], "the last load taught nothing"
        bench.kill()
        for number in range(options.rounds):
            restore(bench, kept)
            bench.start()
            assert learned(bench) == (len(GARDENS) - 1, before)
            assert fix(bench, begin)["load"] == len(GARDENS)
            time.sleep(chance.uniform(0.0, 12.0) if number else 0.0)
            bench.kill()
            bench.start()
            # Whatever was learned before is there with the first answer.
            loads, _ = learned(bench)
            assert loads >= len(GARDENS) - 1, loads
            again = all_learned(bench)
            assert again == alone, f"round {number}: {paces(again)} is not {paces(alone)}"
            bench.kill()
            # And once more: now it comes from the file alone.
            bench.start()
            assert learned(bench)[0] == len(GARDENS)
            again = all_learned(bench)
            assert again == alone, f"round {number}, from the file: {paces(again)} is not {paces(alone)}"
            bench.kill()
            print(f"round {number}: the same was learned", flush=True)
    finally:
        bench.close()


main()
