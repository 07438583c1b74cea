#!/usr/bin/env python3
# SPDX-License-Identifier: GPL-3.0-or-later
"""A machine whose clock is not set at boot, and clocks that are set forward and back.

usage: daemon_clock.py WITHERD SHIM     SHIM moves the daemon's wall clock, see clock_shim.c
"""
import os
import sys
import time

sys.path.insert(0, os.path.dirname(os.path.abspath(__file__)))
import rig  # noqa: E402

TOPIC = "shed/north-room"


class Clock:
    def __init__(self, bench):
        self.bench = bench
        self.path = f"{bench.work}/clock"

    def set(self, offset_s):
        with open(self.path + ".new", "w", encoding="utf-8") as out:
            out.write(f"{offset_s}\n")
        os.replace(self.path + ".new", self.path)

    def step(self, offset_s):
        """Sets it and waits until the daemon has noticed."""
        word = "the clock of this machine was set"
        before = self.bench.log_text().count(word)
        self.set(offset_s)

        def noticed():
            """the daemon to notice the clock"""
            return self.bench.log_text().count(word) > before
        rig.wait_for(noticed)


def publish(station, temp_c):
    station.publish(TOPIC, f'{{"temperature":{temp_c},"humidity":60}}')


def rows(bench, count):
    def arrived():
        """the readings to arrive"""
        there = bench.export("readings")
        return there if len(there) >= count else None
    return rig.wait_for(arrived)


def main():
    witherd, shim = sys.argv[1:3]
    bench = rig.Rig(witherd)
    clock = Clock(bench)
    env = dict(os.environ, LD_PRELOAD=shim, WITHER_TEST_CLOCK=clock.path,
               ASAN_OPTIONS=os.environ.get("ASAN_OPTIONS", "") + ":verify_asan_link_order=0")
    try:
        bench.write_config(broker=f"[broker]\nhost = 127.0.0.1\nport = {bench.port}\n",
                           daemon=f"record = {bench.work}/journal.jsonl")
        bench.start_broker()
        clock.set(-int(time.time()) + 100)  # 1970
        bench.start(env=env)
        rig.wait_for(bench.connected)
        time.sleep(0.3)
        station = rig.Publisher(bench.port)
        for temp_c in (20.0, 20.5, 21.0):
            publish(station, temp_c)
        first = rows(bench, 3)
        received = time.time()
        assert all(r["at_unix_s"] < 1000 and r["flags"] & 64 for r in first), first

        def said():
            """health to say that the clock is not set"""
            return "clock_unset" in bench.codes()
        rig.wait_for(said)
        # An act has no time then: it is not noted, rather than noted of 1970 for ever.
        refusal = bench.refused("spread", origin="creek", kg=5, area=4)
        assert "clock" in refusal["message"], refusal
        assert bench.export("loads") == []
        # The network tells the time: what came before moves to where it belongs.
        clock.set(0)

        def moved():
            """the readings to be put in their place"""
            return all(r["at_unix_s"] > 1e9 for r in bench.export("readings"))
        rig.wait_for(moved)
        there = bench.export("readings")
        assert [r["temp_c"] for r in there] == [20.0, 20.5, 21.0], there
        assert all(abs(r["at_unix_s"] - received) < 10 and not r["flags"] & 64 for r in there)
        rig.wait_for(bench.connected)
        room = bench.ask("tonight")["rooms"][0]
        assert room["temp_c"] == 21.0 and room["age_s"] < 60, room
        assert "clock_unset" not in bench.codes()
        bench.ask("spread", origin="creek", kg=5, area=4)
        assert abs(bench.export("loads")[0]["spread_unix_s"] - time.time()) < 60
        # Forward by two days, back by two days: readings go on, and an answer is there.
        time.sleep(0.5)
        clock.step(2 * 86400)
        publish(station, 22.0)
        rows(bench, 4)
        assert bench.ask("tonight")["rooms"][0]["temp_c"] == 22.0
        clock.step(0)
        publish(station, 23.0)
        there = rows(bench, 5)
        assert sorted(r["temp_c"] for r in there) == [20.0, 20.5, 21.0, 22.0, 23.0]
        assert bench.ask("tonight")["rooms"][0]["temp_c"] == 23.0
        assert bench.stop() == 0
        assert bench.log_text().count("the clock of this machine was set") == 3, bench.log_text()
        bench.start()
        assert bench.export("readings") == there
        assert bench.stop() == 0
        # The journal of all this can still be played.
        os.unlink(bench.database)
        out = bench.run("--replay", f"{bench.work}/journal.jsonl")
        assert out.returncode == 0, out.stderr
        print("ok clock")
    finally:
        bench.close()


main()
