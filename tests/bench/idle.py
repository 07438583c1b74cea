#!/usr/bin/env python3
# SPDX-License-Identifier: GPL-3.0-or-later
"""What a daemon costs that has little to do: one station at 1 min and ten loads, over a real broker.

usage: idle.py WITHERD [SECONDS]
Samples /proc for the daemon's whole process: share of a core, resident memory, wake-ups (voluntary
context switches of all its threads), bytes sent to the disk.  Limits (our choice): 0.2 % of a core,
24 MiB, 6 wake-ups a second, 20 MiB a day.
"""
import glob
import os
import sys
import time

sys.path.insert(0, os.path.join(os.path.dirname(os.path.abspath(__file__)), "..", "e2e"))
import rig  # noqa: E402


def sample(pid):
    """(cpu s, wake-ups, bytes written, resident bytes)"""
    cpu_s = 0.0
    for path in glob.glob(f"/proc/{pid}/task/*/schedstat"):
        with open(path) as f:
            cpu_s += int(f.read().split()[0]) / 1e9
    wakes = 0
    for path in glob.glob(f"/proc/{pid}/task/*/status"):
        with open(path) as f:
            wakes += sum(int(line.split()[1]) for line in f if line.startswith("voluntary"))
    with open(f"/proc/{pid}/io") as f:
        written = next(int(line.split()[1]) for line in f if line.startswith("write_bytes"))
    with open(f"/proc/{pid}/status") as f:
        resident = next(1024 * int(line.split()[1]) for line in f if line.startswith("VmRSS"))
    return cpu_s, wakes, written, resident


def main():
    seconds = float(sys.argv[2]) if len(sys.argv) > 2 else 120.0
    bench = rig.Rig(sys.argv[1], daemon="")
    try:
        bench.start_broker()
        # The test bench asks for few members; here the usual number counts.
        with open(bench.config) as f:
            text = f.read().replace("members = 64\n", "")
        with open(bench.config, "w") as f:
            f.write(text)
        bench.start()
        rig.wait_for(bench.connected)
        station = rig.Publisher(bench.port, "idle")
        station.publish("shed/north-room", b'{"temperature":19.0,"humidity":60.0}')
        for n in range(10):
            bench.call("spread", origin=f"terrace-{n}", kg=8.0, area=8.0, style="green",
                       season="spring", grade="young", wet="none")
        time.sleep(10.0)
        before, began, sent = sample(bench.process.pid), time.monotonic(), 0
        while time.monotonic() - began < seconds:
            if time.monotonic() - began >= 60.0 * sent:
                sent += 1
                station.publish("shed/north-room",
                                b'{"temperature":%.2f,"humidity":60.0}' % (19.0 + 0.05 * sent))
            time.sleep(0.5)
        after, spent_s = sample(bench.process.pid), time.monotonic() - began
        figures = [("of a core, %", 100.0 * (after[0] - before[0]) / spent_s, 0.2),
                   ("resident, MiB", after[3] / 2**20, 24.0),
                   ("wake-ups a second", (after[1] - before[1]) / spent_s, 6.0),
                   ("written in a day, MiB",
                    (after[2] - before[2]) / spent_s * 86400 / 2**20, 20.0)]
        print(f"one station at 1 min, ten loads, 1024 members, {spent_s:.0f} s")
        for name, value, limit in figures:
            print(f"{name:24s}{value:8.3f}   limit {limit:g}, ratio {value / limit:.2f}")
        assert bench.stop() == 0
        return 0 if all(value <= limit for _, value, limit in figures) else 1
    finally:
        bench.close()


sys.exit(main())
