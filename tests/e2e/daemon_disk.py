#!/usr/bin/env python3
# SPDX-License-Identifier: GPL-3.0-or-later
"""A disk that is full, takes no writes, stalls, or is another's: the daemon answers all the time,
keeps what it can hold, says so, and recovers alone.

usage: daemon_disk.py WITHERD DISK_SHIM [--stall SECONDS] [TEST...]
A small file system is mounted for some of it, which needs root; else those parts are passed over.
"""
import argparse
import json
import os
import sqlite3
import subprocess
import sys
import threading
import time

sys.path.insert(0, os.path.dirname(os.path.abspath(__file__)))
import rig  # noqa: E402

TOPIC = "shed/north-room"
# The longest a question may take here: far above what it takes, far below what a stall lasts.
ANSWER_S = 10.0
QUESTIONS = ("tonight", "health", "loads", "air", "stations", "gardens", "plan")


def reading(number):
    return json.dumps({"temperature": round(10 + number * 0.01, 2), "humidity": 60})


def temps(bench):
    return [row["temp_c"] for row in bench.export("readings")]


def sent(first, last):
    return [round(10 + number * 0.01, 2) for number in range(first, last)]


class Asker(threading.Thread):
    """Asks all the time; keeps the longest wait and what was not answered."""

    def __init__(self, bench):
        super().__init__(daemon=True)
        self.bench, self.running = bench, True
        self.n, self.longest_s, self.faults = 0, 0.0, []

    def run(self):
        while self.running:
            method = QUESTIONS[self.n % len(QUESTIONS)]
            began = time.monotonic()
            try:
                answer = self.bench.raw(json.dumps({"jsonrpc": "2.0", "id": 1, "method": method,
                                                    "params": {}}).encode() + b"\n", timeout=60)
                if "result" not in answer and answer["error"]["code"] != -32001:
                    self.faults.append((method, answer))
            except (OSError, AssertionError, ValueError) as fault:
                self.faults.append((method, repr(fault)))
            self.longest_s = max(self.longest_s, time.monotonic() - began)
            self.n += 1
            time.sleep(0.1)

    def end(self):
        self.running = False
        self.join(90)
        assert not self.faults, self.faults[:3]
        assert self.n >= 5 and self.longest_s < ANSWER_S, (self.n, self.longest_s)
        print(f"   {self.n} questions meanwhile, the longest took {self.longest_s:.2f} s")


def says(bench, code, seconds=30):
    def said():
        """the trouble to be said"""
        found = [i for i in bench.ask("health")["items"] if i["code"] == code]
        return found[0]["text"] if found else None
    said.__doc__ = f"'{code}' to be said"
    return rig.wait_for(said, seconds, 0.1)


def over(bench, count, seconds=60):
    rig.wait_for(lambda: not {"store_busy", "store_stalled"} & set(bench.codes()), seconds, 0.1)
    rig.wait_for(lambda: len(temps(bench)) >= count, seconds, 0.1)

    def fine():
        """the trouble to be over and nothing to wait"""
        health = bench.ask("health")
        return health["facts"]["queue"] == 0 and health["facts"]["not_durable"] == 0 and \
            not [i for i in health["items"] if i["code"] in ("store_busy", "store_stalled",
                                                             "not_durable")]
    rig.wait_for(fine, seconds, 0.1)


def live(bench, env=None):
    bench.start_broker()
    bench.start(env=env)
    rig.wait_for(bench.connected)
    time.sleep(0.3)
    station = rig.Publisher(bench.port)
    for number in range(5):
        station.publish(TOPIC, reading(number))
    rig.wait_for(lambda: len(temps(bench)) == 5)
    return station


def mounted(bench, size, options=""):
    """A small file system for the database; False without the right to."""
    place = f"{bench.work}/disk"
    os.mkdir(place)
    if os.geteuid() != 0 or subprocess.run(["mount", "-t", "tmpfs", "-o", f"size={size}{options}",
                                            "none", place], check=False,
                                           stderr=subprocess.DEVNULL).returncode != 0:
        print("   passed over: a file system cannot be mounted here")
        return False
    with open(bench.config, encoding="utf-8") as text:
        config = text.read().replace(bench.database, f"{place}/wither.db")
    with open(bench.config, "w", encoding="utf-8") as out:
        out.write(config)
    bench.database = f"{place}/wither.db"
    return True


def leave(bench):
    if bench.process:
        bench.process.kill()
        bench.process.wait()
        bench.process = None
    subprocess.run(["umount", "-l", f"{bench.work}/disk"], check=False, stderr=subprocess.DEVNULL)
    bench.close()


def test_full(setup):
    bench = rig.Rig(setup.witherd)
    try:
        if not mounted(bench, "3m"):
            return
        station = live(bench)
        with open(f"{bench.work}/disk/filler", "wb", buffering=0) as filler:
            try:
                while True:
                    filler.write(b"x" * 4096)
            except OSError:
                pass
        asker = Asker(bench)
        asker.start()
        number = 5
        end = time.monotonic() + 60
        # Until it does not fit any more what is in the log's own room.
        while "store_busy" not in bench.codes():
            assert time.monotonic() < end, "the disk never became full"
            station.publish(TOPIC, reading(number), qos=0)
            number += 1
            time.sleep(0.01)
        assert "full" in says(bench, "store_busy")
        error = bench.refused("spread", origin="creek", kg=5, area=5)
        assert "not noted" in error["message"], error
        for _ in range(300):
            station.publish(TOPIC, reading(number), qos=0)
            number += 1
        station.publish(TOPIC, reading(number))
        number += 1
        rig.wait_for(lambda: bench.ask("health")["facts"]["queue"] >= 300)
        time.sleep(6.0)  # longer than from one attempt to the next
        asker.end()
        os.unlink(f"{bench.work}/disk/filler")
        over(bench, number)
        assert temps(bench) == sent(0, number)
        bench.ask("spread", origin="creek", kg=5, area=5)
        lines = bench.log_text().splitlines()
        assert len(lines) < 20, "\n".join(lines)
        assert bench.stop() == 0, bench.log_text()[-4000:]
    finally:
        leave(bench)


def test_read_only_from_the_start(setup):
    bench = rig.Rig(setup.witherd, broker=False)
    try:
        if mounted(bench, "1m", ",ro"):
            out = bench.run()
            assert out.returncode == 1 and bench.database in out.stderr, out
    finally:
        leave(bench)


def shimmed(setup):
    bench = rig.Rig(setup.witherd)
    mood = f"{bench.work}/mood"

    def set_mood(word):
        with open(mood + ".new", "w", encoding="utf-8") as out:
            out.write(word)
        os.replace(mood + ".new", mood)
    set_mood("well")
    env = dict(os.environ, WITHER_TEST_DISK=mood, LD_PRELOAD=setup.shim,
               ASAN_OPTIONS=os.environ.get("ASAN_OPTIONS", "") + ":verify_asan_link_order=0")
    return bench, env, set_mood


def test_read_only(setup):
    bench, env, set_mood = shimmed(setup)
    try:
        station = live(bench, env)
        bench.ask("spread", origin="terrace", kg=5, area=5)
        asker = Asker(bench)
        asker.start()
        set_mood("readonly")
        for number in range(5, 60):
            station.publish(TOPIC, reading(number), qos=number % 2)
        says(bench, "store_busy")
        error = bench.refused("spread", origin="creek", kg=5, area=5)
        assert "not noted" in error["message"], error
        rig.wait_for(lambda: asker.n >= 2 * len(QUESTIONS))
        asker.end()
        set_mood("well")
        over(bench, 60)
        assert sorted(temps(bench)) == sent(0, 60)
        assert [r["origin"] for r in bench.export("loads")] == ["terrace"]
        bench.ask("spread", origin="creek", kg=5, area=5)
        assert bench.stop() == 0, bench.log_text()[-4000:]
    finally:
        bench.close()


def test_stalled(setup):
    bench, env, set_mood = shimmed(setup)
    try:
        station = live(bench, env)
        asker = Asker(bench)
        asker.start()
        set_mood("stall")
        began = time.monotonic()
        # The first act's own writing is what stalls, the second has not come to that.
        answers = []
        acts = [threading.Thread(target=lambda name=name: answers.append(
            (name, bench.call("spread", origin=name, kg=5, area=5)))) for name in ("one", "two")]
        acts[0].start()
        time.sleep(0.5)
        acts[1].start()
        for number in range(5, 60):
            station.publish(TOPIC, reading(number), qos=number % 2)
        says(bench, "store_stalled")
        for act in acts:
            act.join(30)
        messages = {name: answer["error"]["message"] for name, answer in answers}
        assert "not confirmed" in messages["one"], messages
        assert "not noted" in messages["two"], messages
        text = says(bench, "not_durable")
        assert text[0].isdigit() and text[0] != "0", text
        error = bench.refused("export", what="readings")
        assert "disk" in error["message"], error
        time.sleep(max(0.0, setup.stall - (time.monotonic() - began)))
        assert "store_stalled" in bench.codes()
        asker.end()
        set_mood("well")
        over(bench, 60)
        assert sorted(temps(bench)) == sent(0, 60)
        assert [r["origin"] for r in bench.export("loads")] == ["one"]
        bench.ask("spread", origin="three", kg=5, area=5)
        assert bench.stop() == 0, bench.log_text()[-4000:]
        base = sqlite3.connect(bench.database)
        assert base.execute("PRAGMA integrity_check").fetchone()[0] == "ok"
        assert base.execute("SELECT count(*) FROM act").fetchone()[0] == 2
        base.close()
    finally:
        set_mood("well")
        bench.close()


def test_anothers_lock(setup):
    bench = rig.Rig(setup.witherd, broker=False)
    try:
        other = sqlite3.connect(bench.database, isolation_level=None)
        other.execute("BEGIN EXCLUSIVE")
        out = bench.run()
        assert out.returncode == 1 and "in use" in out.stderr, out
        other.execute("COMMIT")
        other.close()
        bench.start()
        # While it runs nobody else gets in, not even to look, and nothing comes of trying.
        other = sqlite3.connect(bench.database, timeout=0.2)
        try:
            other.execute("SELECT count(*) FROM act").fetchone()
            raise AssertionError("a second program read the database")
        except sqlite3.OperationalError as fault:
            assert "locked" in str(fault), fault
        other.close()
        bench.ask("spread", origin="creek", kg=5, area=5)
        assert "store_busy" not in bench.codes()
        assert bench.stop() == 0, bench.log_text()[-4000:]
    finally:
        bench.close()


def main():
    parser = argparse.ArgumentParser()
    parser.add_argument("witherd")
    parser.add_argument("shim")
    parser.add_argument("tests", nargs="*")
    parser.add_argument("--stall", type=float, default=12.0)
    setup = parser.parse_args()
    setup.shim = os.path.abspath(setup.shim)
    for name, test in sorted(globals().items()):
        if name.startswith("test_") and (not setup.tests or name in setup.tests):
            began = time.monotonic()
            test(setup)
            print(f"ok {name} {time.monotonic() - began:.1f} s", flush=True)


main()
