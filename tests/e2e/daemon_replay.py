#!/usr/bin/env python3
# SPDX-License-Identifier: GPL-3.0-or-later
"""Replays of an invented day and a half: twice the same, frozen as stored, and the right way round
when the air is wetter, drier, warmer, or the leaf lies thinner.

usage: daemon_replay.py WITHERD
"""
import json
import math
import os
import sys

sys.path.insert(0, os.path.dirname(os.path.abspath(__file__)))
import rig  # noqa: E402

BEGIN = 1775001600  # midnight UTC
MINUTES = 36 * 60
TICK_S = 900


def saturation_hpa(temp_c):
    """Magnus form, WMO No. 8 (from memory); only makes the weather of the test."""
    return 6.112 * math.exp(17.62 * temp_c / (243.12 + temp_c))


def journal(path, vapour=1.0, warmer_c=0.0, area_m2=9.0):
    entries = []
    for minute in range(MINUTES):
        at = BEGIN + 60 * minute + 7
        temp_c = 18 + 4 * math.sin((minute / 60 - 9) / 24 * 2 * math.pi)
        rh_pct = min(98.0, 100 * 14.0 * vapour / saturation_hpa(temp_c))
        entries.append((at, {"topic": "shed/north-room", "payload": json.dumps(
            {"temperature": round(temp_c + warmer_c, 2), "humidity": round(rh_pct, 1)})}))
    for number, hour in enumerate((25, 27, 29)):
        at = BEGIN + 3600 * hour + 11
        entries.append((at, {"call": {"method": "spread", "params": {
            "origin": ("creek", "terrace", "old-wall")[number], "kg": 8, "area": area_m2,
            "grade": "young", "season": "spring"}}}))
    entries.append((BEGIN + 3600 * 31, {"call": {"method": "weigh",
                                                 "params": {"load": 1, "kg": 7.3}}}))
    entries.sort(key=lambda entry: entry[0])
    with open(path, "w", encoding="utf-8") as out:
        for at, entry in entries:
            out.write(json.dumps({"at": at, **entry}) + "\n")


def replay(witherd, **weather):
    bench = rig.Rig(witherd, broker=False, daemon=f"forecast_every_s = {TICK_S}")
    journal(f"{bench.work}/journal.jsonl", **weather)
    out = bench.run("--replay", f"{bench.work}/journal.jsonl")
    assert out.returncode == 0 and "refused: " not in out.stderr, out.stderr
    return bench


def exports(bench, at_unix_s):
    bench.start("--frozen-at", str(at_unix_s))
    out = {what: bench.export(what) for what in ("readings", "loads", "forecasts", "air-forecasts")}
    out["tonight"] = bench.ask("tonight")
    out["skill"] = bench.ask("air")["skill"]
    assert bench.stop() == 0
    return out


def check_row(row, shown):
    quantiles = [row[f"loss_p{p}_pct"] for p in (10, 50, 90)]
    assert quantiles == sorted(quantiles) and quantiles[0] >= 0, row
    ready = [row[f"ready_p{p}_unix_s"] for p in (10, 25, 50, 75, 90)]
    known = [time for time in ready if time is not None]
    assert known == sorted(known) and ready[:len(known)] == known, row
    # The answer of that moment is the forecast that was stored then, to the last digit.
    assert [shown["loss_pct"][p] for p in ("p10", "p50", "p90")] == quantiles, (row, shown)
    assert [shown["ready_unix_s"][p] for p in ("p10", "p50", "p90")] == ready[::2], (row, shown)
    assert shown["call"] == row["call"] and shown["p_ready_tonight"] == row["p_ready_tonight"]


def test_same_twice_and_frozen_as_stored(witherd):
    benches = [replay(witherd), replay(witherd)]
    try:
        end = BEGIN + 60 * MINUTES
        tick = BEGIN + 3600 * 32
        one, other = exports(benches[0], end), exports(benches[1], end)
        assert one == other
        then = exports(benches[0], tick)
        last = [row for row in then["forecasts"] if row["issued_unix_s"] == tick]
        assert max(row["issued_unix_s"] for row in then["forecasts"]) == tick
        assert all(row["received_unix_s"] <= tick for row in then["readings"])
        assert len(last) == len(then["tonight"]["loads"]) == 3
        for row in last:
            check_row(row, [l for l in then["tonight"]["loads"] if l["load"] == row["load"]][0])
        # A forecast every tick from the first reading on; leads as promised.
        ticks = {row["issued_unix_s"] for row in one["air-forecasts"]}
        assert len(ticks) >= MINUTES * 60 // TICK_S - 1
        leads = {row["lead_s"] for row in one["air-forecasts"]}
        assert leads == {3600, 10800, 21600, 32400, 43200, 64800, 86400, 129600}
        # What was forecast is held against what was measured since.
        skill = {row["lead_s"]: row for row in one["skill"]}
        assert set(skill) >= {3600, 10800, 21600}, skill
        assert all(row["n"] > 0 and 0 <= row["coverage_80_pct"] <= 100 and row["temp_mae_c"] < 5
                   for row in skill.values()), skill
        # Loss never falls without rewetting, save for what a weighing taught.
        for load in (2, 3):
            medians = [row["loss_p50_pct"] for row in one["forecasts"] if row["load"] == load]
            assert all(b >= a - 0.05 for a, b in zip(medians, medians[1:])), medians
    finally:
        for bench in benches:
            bench.close()


def ready_of(witherd, **weather):
    bench = replay(witherd, **weather)
    try:
        tick = BEGIN + 3600 * 33
        rows = exports(bench, tick)["forecasts"]
        row = [r for r in rows if r["load"] == 2 and r["issued_unix_s"] == tick][0]
        return row["ready_p50_unix_s"] or math.inf
    finally:
        bench.close()


def test_ready_moves_the_right_way(witherd):
    usual = ready_of(witherd)
    assert usual < math.inf
    assert ready_of(witherd, vapour=1.15) > usual, "wetter air"
    assert ready_of(witherd, vapour=0.85) < usual, "drier air"
    assert ready_of(witherd, warmer_c=2.0) < usual, "warmer at the same humidity"
    assert ready_of(witherd, area_m2=14.0) < usual, "thinner spread"


def main():
    for name, test in sorted(globals().items()):
        if name.startswith("test_"):
            test(sys.argv[1])
            print("ok", name, flush=True)


main()
