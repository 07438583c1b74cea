#!/usr/bin/env python3
# SPDX-License-Identifier: GPL-3.0-or-later
"""Allocations are refused, one in each run: the command's own and those of its libraries.  It prints
what it prints always, or says on standard error what went wrong and ends with another status than 0;
it never runs wild.  An act goes out whole or not at all.

usage: wither_starve.py WITHER WITHERD STARVE_SHIM CLOCK_SHIM [--runs N | --all]
N runs (default 300) are spread evenly over all allocations of all commands; --all refuses each of them
in turn, some twenty thousand runs.
"""
import argparse
import collections
import fcntl
import json
import os
import pty
import select
import socket
import struct
import subprocess
import sys
import termios
import time

HERE = os.path.dirname(os.path.abspath(__file__))
sys.path.insert(0, os.path.join(HERE, "..", "cli"))
import captures  # noqa: E402
import rig  # noqa: E402

# Done, not possible, not accepted, a condition holds.
FINE = (0, 1, 2, 3)
QUESTIONS = (["tonight"], ["tonight", "--json"], ["plan"], ["loads", "--all"], ["show", "14"], ["show"],
             ["air"], ["density", "creek", "12", "--ready-by", "22:00"],
             ["what-if", "14", "--area", "18m2", "--fan"], ["review"], ["ledger"], ["gardens"],
             ["stations"], ["salt", "shelf"], ["health"], ["export", "loads"],
             ["export", "loads", "--csv"], ["help"], ["help", "weigh"], ["show", "77"],
             ["wiegh", "14", "9"])
# On a terminal: colours, the live screen.
SCREENS = (["tonight"], ["watch"])
ACTS = (["spread", "creek", "6.2", "5m2", "--grade", "young", "--wet", "damp", "--price", "60"],
        ["weigh", "14", "15.1", "--at", "15:40"], ["turn", "14", "13m2", "--fan", "on"],
        ["style", "green", "--ready-from", "15"])
# A text that its catalogue cannot be read for is English; a shell that completes is not disturbed.
FREE = ((["tonight"], "zh_CN.UTF-8"), (["plan"], "zh_CN.UTF-8"), (["complete", "show", ""], "C.UTF-8"))


class Bench(captures.Workshop):
    def __init__(self, wither, witherd, starve, clock):
        super().__init__(wither, witherd, clock)
        self.starve = os.path.abspath(starve)
        self.count = f"{self.folder}/count"
        self.seen = collections.Counter()
        self.faults = []

    def configure(self, broker="", record=""):
        super().configure(broker)
        with open(f"{self.folder}/w.conf", encoding="utf-8") as text:
            lines = text.read()
        with open(f"{self.folder}/w.conf", "w", encoding="utf-8") as out:
            out.write(lines.replace("[daemon]\n", "[daemon]\n" + record))

    def env(self, at, tongue):
        # Nobody's leak check: the process may stop in the middle.
        return dict(os.environ, LD_PRELOAD=self.starve, STARVE_AT=str(at), STARVE_COUNT=self.count,
                    WITHER_SOCKET=f"{self.folder}/s", LC_ALL=tongue, LANGUAGE="", COLUMNS="60",
                    LINES="40", TERM="xterm-256color")

    def run(self, words, at, tongue):
        done = subprocess.run([self.wither, *words], capture_output=True, check=False, timeout=60,
                              env=self.env(at, tongue), stdin=subprocess.DEVNULL)
        return done.returncode, done.stdout, done.stderr

    def run_screen(self, words, at, tongue):
        """On a terminal; the live screen is left with a key once something stands on it."""
        pid, fd = pty.fork()
        if pid == 0:
            os.execve(self.wither, [self.wither, *words], self.env(at, tongue))
        fcntl.ioctl(fd, termios.TIOCSWINSZ, struct.pack("HHHH", 40, 60, 0, 0))
        data, asked, end = b"", False, time.monotonic() + 60
        while time.monotonic() < end:
            if select.select([fd], [], [], 0.1)[0]:
                try:
                    got = os.read(fd, 65536)
                except OSError:
                    break
                if not got:
                    break
                data += got
            elif words == ["watch"] and not asked and len(data) > 100:
                os.write(fd, b"q")
                asked = True
        else:
            os.kill(pid, 9)
        status = os.waitstatus_to_exitcode(os.waitpid(pid, 0)[1])
        os.close(fd)
        # What was said is on the same screen.
        return status, data, data

    def total(self):
        with open(self.count, encoding="ascii") as text:
            return int(text.read().split()[0])

    def judge(self, words, at, usual, got, free=False):
        """usual: what it does with memory enough, in its letters and in plain ones, which it takes
        where the others cannot be had; free: what is printed is looked at elsewhere."""
        status, printed, said = got
        self.seen[status] += 1
        where = f"{' '.join(words)}, allocation {at} refused"
        # One allocation of the C library's own, for a catalogue, is not looked at by it (glibc 2.36).
        if status == -11 and b"(__gconv_open+" in said:
            return
        if status not in FINE:
            self.faults.append(f"{where}: status {status}: {said[-500:]!r}")
        elif status == usual[0][0]:
            if not free and got not in usual:
                self.faults.append(f"{where}: ends as ever, but prints {printed[-500:]!r} "
                                   f"{said[-500:]!r}")
        elif b"wither: " not in said:
            self.faults.append(f"{where}: status {status}, but nothing is said: {said[-500:]!r}")


def ask(bench, run, words, runs, tongue="C.UTF-8", free=False):
    usual = [run(words, 0, "C"), run(words, 0, tongue)]
    total = bench.total()
    assert usual[1][0] in FINE and usual[1] == run(words, 0, tongue), (words, usual)
    for at in rig.chosen(total, runs):
        bench.judge(words, at, usual, run(words, at, tongue), free)
    return total


def call(bench, method, **params):
    with socket.socket(socket.AF_UNIX) as sock:
        sock.settimeout(60)
        sock.connect(f"{bench.folder}/s")
        sock.sendall(json.dumps({"jsonrpc": "2.0", "id": 1, "method": method,
                                 "params": params}).encode() + b"\n")
        with sock.makefile("rb") as stream:
            return json.loads(stream.readline())


def acts(bench):
    """Every act in the daemon's journal."""
    with open(f"{bench.folder}/record", encoding="utf-8") as text:
        found = [json.loads(line).get("call") for line in text]
    return [act for act in found if act and act["method"] != "undo"]


def act(bench, words, runs):
    """Each is taken back, so that the next finds the same site."""
    before = len(acts(bench))
    status, _, said = bench.run(words, 0, "C.UTF-8")
    assert status == 0, (words, said)
    total, usual = bench.total(), acts(bench)[before:]
    assert len(usual) == 1, (words, usual)
    call(bench, "undo")
    for at in rig.chosen(total, runs):
        before = len(acts(bench))
        got = bench.run(words, at, "C.UTF-8")
        bench.judge(words, at, [(0,)], got, free=True)
        noted = acts(bench)[before:]
        if noted not in (usual, []) or (got[0] == 0 and not noted):
            bench.faults.append(f"{' '.join(words)}, allocation {at} refused: status {got[0]}, "
                                f"noted {noted}, not {usual}")
        if noted:
            call(bench, "undo")
    return total


def tell(bench, name, total, began):
    print(f"{name}: {total} allocations, {sum(bench.seen.values())} runs, exit statuses "
          f"{dict(sorted(bench.seen.items()))}, {time.monotonic() - began:.0f} s", flush=True)
    bench.seen.clear()


def run_all(bench, runs):
    n = len(QUESTIONS) + len(SCREENS) + len(ACTS) + len(FREE)
    each = runs and max(1, runs // n)
    bench.configure()
    captures.write_journal(f"{bench.folder}/journal")
    done = subprocess.run([bench.witherd, "--config", f"{bench.folder}/w.conf", "--replay",
                           f"{bench.folder}/journal"], capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr
    bench.start("--frozen-at", str(captures.NOW))
    began = time.monotonic()
    tell(bench, "questions", sum(ask(bench, bench.run, words, each) for words in QUESTIONS), began)
    began = time.monotonic()
    tell(bench, "on a terminal", sum(ask(bench, bench.run_screen, words, each) for words in SCREENS),
         began)
    began = time.monotonic()
    tell(bench, "in Chinese, for the shell", sum(ask(bench, bench.run, words, each, tongue, True)
                                                 for words, tongue in FREE), began)
    bench.stop()
    with open(f"{bench.folder}/clock", "w", encoding="utf-8") as out:
        out.write(f"={captures.NOW}")
    bench.configure(record=f"record = {bench.folder}/record\n")
    bench.start(LD_PRELOAD=bench.shim, WITHER_TEST_CLOCK=f"{bench.folder}/clock")
    began = time.monotonic()
    tell(bench, "acts", sum(act(bench, words, each) for words in ACTS), began)
    bench.stop()


def main():
    parser = argparse.ArgumentParser()
    for name in ("wither", "witherd", "starve", "clock"):
        parser.add_argument(name)
    parser.add_argument("--runs", type=int, default=300)
    parser.add_argument("--all", action="store_true")
    options = parser.parse_args()
    bench = Bench(options.wither, options.witherd, options.starve, options.clock)
    try:
        run_all(bench, None if options.all else options.runs)
    finally:
        bench.close()
    rig.end_with(bench.faults)


main()
