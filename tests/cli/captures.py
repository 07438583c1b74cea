#!/usr/bin/env python3
# SPDX-License-Identifier: GPL-3.0-or-later
"""Every screen of wither, as the real programs print it on a phone: 40 columns, no colour.

usage: captures.py WITHER WITHERD CLOCK_SHIM              prints the captures
       captures.py WITHER WITHERD CLOCK_SHIM README       checks that the file holds them
       captures.py WITHER WITHERD CLOCK_SHIM README --write   puts them there

An invented workshop is replayed: three weeks of spring air with a station, fourteen loads, a shower
on the last afternoon.  Questions are asked of the daemon standing at 16:00 of that day; acts of a
daemon whose clock stands still there.  Between the marks <!-- captures: NAME --> and <!-- end -->
the file holds the captures named NAME.  The check lets figures differ, digit for digit: they are the
model's, and its tests are elsewhere.
"""
import fcntl
import json
import math
import os
import pty
import random
import re
import select
import shutil
import struct
import subprocess
import sys
import tempfile
import termios
import time
import unicodedata

ZONE_S = 8 * 3600
NOW = 1775721600  # 2026-04-09 16:00 in the workshop's zone
DAYS = 16
WIDTH = 40

CONFIG = """[site]
name = Ridge House
timezone = Asia/Shanghai
altitude_m = 900
[daemon]
database = {folder}/store.db
socket = {folder}/s
forecast_every_s = 3600
members = 512
seed = 7
{broker}[room north]
[station shelf]
room = north
topic = shed/shelf
temp_pointer = /t
rh_pointer = /h
expected_every_s = 300
[tray]
area_m2 = 1
[hearth]
woks = 2
wok_kg = 4
minutes_spring = 28
last_start = 22:00
first_start = 05:30
"""


def weather():
    """Each six hours' share of a warm or a cool spell, and each day's share of sun: no day is the next."""
    draw = random.Random(80)
    spells, value = [], 0.0
    for _ in range(4 * DAYS + 5):
        value = 0.75 * value + draw.gauss(0, 0.9)
        spells.append(value)
    return spells, [draw.uniform(0.6, 1.25) for _ in range(DAYS + 1)]


SPELLS, SUNS = weather()
START = NOW - DAYS * 86400


def air(at):
    """Temperature and humidity: warm dry afternoons, damp nights, a shower on the last day."""
    phase = 2 * math.pi * ((at + ZONE_S - 15 * 3600) % 86400) / 86400
    place = (at - START) / 21600
    before = int(place)
    spell = SPELLS[before] + (place - before) * (SPELLS[before + 1] - SPELLS[before])
    sun = SUNS[(at - START) // 86400] * math.cos(phase)
    temp_c = 18.5 + 3.5 * sun + spell
    rh_pct = 72 - 11 * sun - 1.5 * spell
    if at > NOW - 80 * 60:
        wet = min(1.0, (at - NOW + 80 * 60) / 1500)
        temp_c -= 1.5 * wet
        rh_pct += 14 * wet
    return temp_c, min(rh_pct, 97)


def dried(at, hours):
    """The invented leaf's loss as a share: more where the air is dry."""
    need = 0.0
    for step in range(int(hours * 12)):
        temp_c, rh_pct = air(at + 300 * step)
        need += 0.61 * math.exp(17.6 * temp_c / (temp_c + 243)) * (1 - rh_pct / 100) / 12
    return 1 - math.exp(-0.0285 * need)


def act(at, method, **params):
    return {"at": at, "call": {"method": method, "params": params}}


def past_loads():
    """Twelve loads of earlier days, weighed, fixed and sorted; two days between evenings."""
    draw = random.Random(3)
    lines, number = [], 0
    for back in range(DAYS - 2, 1, -2):
        for garden, quick in (("creek", 1.08), ("old-wall", 0.95)):
            if number == 12:
                break
            number += 1
            midnight = NOW - 16 * 3600 - back * 86400
            spread = midnight + int(8.5 * 3600) + (0 if garden == "creek" else 1800)
            kg = round(draw.uniform(7, 13), 1)
            quick *= draw.uniform(0.93, 1.07)
            early, end = (quick * dried(spread, hours) for hours in (6, 10))
            lines += [
                act(spread, "spread", origin=garden, kg=kg, area=kg, grade="young", price=60),
                act(spread + 6 * 3600, "weigh", load=number, kg=round(kg * (1 - early), 2)),
                act(spread + 6 * 3600, "feel", load=number, step="limp" if early > 0.13 else "soft"),
                act(spread + 10 * 3600, "fix", load=number, kg=round(kg * (1 - end), 2)),
                act(spread + 26 * 3600, "yield", load=number, made=round(kg * draw.uniform(0.222, 0.236), 2),
                    yellow=round(kg * draw.uniform(0.004, 0.012), 3)),
            ]
    return lines


def todays_loads():
    midnight = NOW - 16 * 3600
    return [
        act(midnight + int(7.5 * 3600), "spread", origin="creek", kg=11.2, area=14, grade="young"),
        act(midnight + 11 * 3600, "spread", origin="upper-terrace", kg=15.5, area=10,
            grade="mixed"),
        act(midnight + 13 * 3600, "spread", origin="old-wall", kg=9.4, area=9, grade="young",
            wet="damp"),
        act(NOW - 600, "weigh", load=13, kg=9.5),
    ]


def write_journal(path):
    lines = past_loads() + todays_loads()
    noise = random.Random(5)
    for at in range(START, NOW + 1, 300):
        temp_c, rh_pct = air(at)
        temp_c, rh_pct = temp_c + noise.gauss(0, 0.06), min(rh_pct + noise.gauss(0, 0.4), 99)
        payload = json.dumps({"t": round(temp_c, 2), "h": round(rh_pct, 1)})
        lines.append({"at": at, "topic": "shed/shelf", "payload": payload})
    lines.sort(key=lambda line: line["at"])
    with open(path, "w", encoding="utf-8") as out:
        out.writelines(json.dumps(line) + "\n" for line in lines)


def cells(row):
    return sum(0 if unicodedata.combining(c) else 2 if unicodedata.east_asian_width(c) in "WF" else 1
               for c in row)


class Workshop:
    def __init__(self, wither, witherd, shim):
        self.wither, self.witherd, self.shim = map(os.path.abspath, (wither, witherd, shim))
        self.folder = tempfile.mkdtemp(prefix="wither-captures.")
        self.daemon = self.broker = None

    def configure(self, broker=""):
        with open(f"{self.folder}/w.conf", "w", encoding="utf-8") as out:
            out.write(CONFIG.format(folder=self.folder, broker=broker))

    def start(self, *arguments, **environment):
        self.daemon = subprocess.Popen(
            [self.witherd, "--config", f"{self.folder}/w.conf", *arguments],
            stderr=open(f"{self.folder}/log", "a", encoding="utf-8"),
            env={**os.environ, **environment})
        deadline = time.monotonic() + 60
        while subprocess.run([self.wither, "--socket", f"{self.folder}/s", "health", "--json"],
                             capture_output=True, check=False).returncode not in (0, 3):
            if time.monotonic() > deadline or self.daemon.poll() is not None:
                with open(f"{self.folder}/log", encoding="utf-8") as log:
                    sys.exit("the daemon does not come up: " + log.read())
            time.sleep(0.05)

    def stop(self):
        if self.daemon:
            self.daemon.terminate()
            self.daemon.wait(timeout=60)
            self.daemon = None

    def close(self):
        self.stop()
        if self.broker:
            self.broker.terminate()
            self.broker.wait(timeout=60)
        shutil.rmtree(self.folder)

    def show(self, words):
        """What stands on the terminal, a row each."""
        pid, terminal = pty.fork()
        if pid == 0:
            os.environ.update(LC_ALL="C.UTF-8", LANGUAGE="", NO_COLOR="1", TERM="xterm",
                              COLUMNS=str(WIDTH), LINES="20", WITHER_SOCKET=f"{self.folder}/s")
            os.execv("/bin/sh", ["sh", "-c", words.replace("wither", self.wither, 1)])
        fcntl.ioctl(terminal, termios.TIOCSWINSZ, struct.pack("HHHH", 20, WIDTH, 0, 0))
        text, deadline = b"", time.monotonic() + 60
        while time.monotonic() < deadline:
            if not select.select([terminal], [], [], 1)[0]:
                continue
            try:
                part = os.read(terminal, 65536)
            except OSError:
                break
            text += part
        os.waitpid(pid, 0)
        os.close(terminal)
        shown = text.decode().replace("\r", "").replace(self.wither, "wither")
        shown = shown.replace(self.folder, "/var/lib/wither")
        if "\x1b" in shown:
            sys.exit(f"{words}: an escape on a screen without colour")
        return shown.rstrip("\n").split("\n")


# What is shown: a name, the commands, and whether a row may be wider than the phone.
QUESTIONS = [
    ("first", ["wither"]),
    ("load", ["wither show 14"]),
    ("room", ["wither air"]),
    ("plan", ["wither plan"]),
    ("questions", [
        "wither loads", "wither loads --all | head -5", "wither density creek 12 --ready-by 22:00",
        "wither what-if 14 --area 18m2 --fan", "wither review", "wither ledger", "wither gardens",
        "wither stations", "wither salt shelf", "wither health", "wither export loads --csv | head -3",
        "wither backup {folder}/copy.db", "wither watch"]),
    ("help", ["wither help weigh"]),
]
ACTS = [
    ("acts", [
        "wither spread creek 6.2 5m2", "wither weigh 15 8.7", "wither feel 15 crisp",
        "wither turn 15 11m2", "wither undo", "wither fix 13 --kg 9.2", "wither yield 13 --made 2.5",
        "wither drop 16 --why 'slid off the shelf'", "wither style green --ready-from 15",
        "wither salt shelf NaCl --rh 78.4"]),
    ("refusals", [
        "wither wiegh 14 9", "wither spread creek 12", "wither weigh 14 99", "wither show 77",
        "wither fix 13"]),
]
WIDE = ("wither export", )


def capture(shop, groups):
    made = {}
    for name, commands in groups:
        rows = []
        for command in commands:
            command = command.replace("{folder}", shop.folder)
            # The live screen ends with a key; on no terminal it is printed as it comes.
            run = "timeout 2 wither watch | cat" if command == "wither watch" else command
            shown = shop.show(run)
            for row in shown:
                if cells(row) > WIDTH and not command.startswith(WIDE):
                    sys.exit(f"{command}: {cells(row)} cells: {row}")
            if len(commands) > 1:
                rows += ["$ " + command.replace(shop.folder, "/var/lib/wither")]
            rows += shown + ([""] if len(commands) > 1 else [])
        made[name] = "\n".join(("    " + row).rstrip() for row in rows).rstrip() + "\n"
    return made


def free_port():
    import socket
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return probe.getsockname()[1]


def learn(shop):
    """`stations --learn`, with a station that sends: a broker on loopback, no clock in the way."""
    port = free_port()
    with open(f"{shop.folder}/broker.conf", "w", encoding="utf-8") as out:
        out.write(f"listener {port} 127.0.0.1\nallow_anonymous true\n")
    shop.broker = subprocess.Popen(["mosquitto", "-c", f"{shop.folder}/broker.conf"],
                                   stderr=subprocess.DEVNULL)
    shop.configure(f"[broker]\nhost = 127.0.0.1\nport = {port}\n")
    shop.start()
    sender = subprocess.Popen(["sh", "-c", f"while :; do mosquitto_pub -h 127.0.0.1 -p {port} -t "
                               "hut/new -m '{\"temperature\":18.2,\"humidity\":63.5,"
                               "\"battery\":100}'; sleep 0.3; done"], stderr=subprocess.DEVNULL)
    rows = ["$ wither stations --learn 'hut/#'", *shop.show("wither stations --learn 'hut/#'")]
    sender.kill()
    sender.wait()
    shop.stop()
    return "\n".join(("    " + row).rstrip() for row in rows) + "\n"


def all_captures(arguments):
    shop = Workshop(*arguments)
    try:
        shop.configure()
        write_journal(f"{shop.folder}/journal")
        done = subprocess.run([shop.witherd, "--config", f"{shop.folder}/w.conf", "--replay",
                               f"{shop.folder}/journal"], capture_output=True, text=True, check=False)
        if done.returncode != 0 or "(0 refused)" not in done.stderr:
            sys.exit("the replay failed: " + done.stderr)
        shop.start("--frozen-at", str(NOW))
        made = capture(shop, QUESTIONS)
        shop.stop()
        with open(f"{shop.folder}/clock", "w", encoding="utf-8") as out:
            out.write(f"={NOW}")
        # The shim comes before the sanitizer's library.
        shop.start(LD_PRELOAD=shop.shim, WITHER_TEST_CLOCK=f"{shop.folder}/clock",
                   ASAN_OPTIONS=os.environ.get("ASAN_OPTIONS", "") + ":verify_asan_link_order=0")
        made.update(capture(shop, ACTS))
        shop.stop()
        made["learn"] = learn(shop)
        return made
    finally:
        shop.close()


def parts(text):
    return re.finditer(r"<!-- captures: (\w+) -->\n(.*?)<!-- end -->", text, re.S)


# A free disk's size comes with or without a decimal.
FIGURE = re.compile(r"[<>]?\d+(\.\d+)?(?= GB)|[<>]?\d+")


def alike(text):
    """Without what the model's figures change: digits, and the dots of a plot."""
    return re.sub(r"[\u2800-\u28ff ]+", " ", FIGURE.sub("0", text))


def main():
    made = all_captures(sys.argv[1:4])
    if len(sys.argv) < 5:
        for name, text in made.items():
            print(f"<!-- captures: {name} -->\n\n{text}\n<!-- end -->\n")
        return 0
    with open(sys.argv[4], encoding="utf-8") as handle:
        text = handle.read()
    if "--write" in sys.argv:
        for name, body in made.items():
            text = re.sub(rf"(<!-- captures: {name} -->\n).*?(<!-- end -->)",
                          lambda found, body=body: f"{found[1]}\n{body}\n{found[2]}", text,
                          flags=re.S)
        with open(sys.argv[4], "w", encoding="utf-8") as handle:
            handle.write(text)
        return 0
    faults = 0
    held = {found[1]: found[2].strip("\n") for found in parts(text)}
    for name in sorted(set(held) ^ set(made)):
        print(f"captures '{name}': " + ("not in the file" if name in made else "not made"))
        faults += 1
    for name in held:
        if name in made and alike(held[name]) != alike(made[name].strip("\n")):
            faults += 1
            print(f"captures '{name}' are not what the programs print now; write them anew with\n  "
                  f"{' '.join(sys.argv)} --write")
            for a, b in zip(held[name].split("\n"), made[name].strip("\n").split("\n")):
                if alike(a) != alike(b):
                    print(f"- {a}\n+ {b}")
                    break
    print(f"{len(held)} groups of captures, {faults} faults")
    return faults > 0


if __name__ == "__main__":
    sys.exit(main())
