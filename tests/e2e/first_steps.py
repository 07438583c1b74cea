#!/usr/bin/env python3
# SPDX-License-Identifier: GPL-3.0-or-later
"""The steps of README.md, "Your own room, from nothing", each as it stands there, in a throw-away place.

usage: first_steps.py SOURCE_ROOT WITHER WITHERD

A broker on loopback and a station that sends every quarter of a second stand for the reader's own.
Of the commands only these are done by what they stand for: the package's installation (the programs
that were built), the file's group and place, and systemd's start and reload.  What the text leaves to
an editor is done to the file as the text says.
"""
import os
import re
import shlex
import shutil
import socket
import subprocess
import sys
import tempfile
import time

PATIENCE_S = 90


def steps(text):
    """The commands of each numbered step, in order."""
    section = text.split("## Your own room, from nothing")[1].split("\n## ")[0]
    found = re.split(r"^(\d+)\. ", section, flags=re.M)[1:]
    numbered = {int(n): " ".join(body.split("\n\n")[0].split())
                for n, body in zip(found[::2], found[1::2])}
    first = ("apt", "install", "witherd", "systemctl", "wither")
    return [(n, [c for c in re.findall(r"`([^`]+)`", body)
                 if c.split()[0] in first and (" " in c or c == "wither")])
            for n, body in sorted(numbered.items())]


class Reader:
    def __init__(self, root, wither, witherd):
        self.root = root
        self.programs = {"wither": os.path.abspath(wither), "witherd": os.path.abspath(witherd)}
        self.folder = tempfile.mkdtemp(prefix="wither-first.")
        self.config = f"{self.folder}/witherd.conf"
        self.running = []
        self.daemon = None
        with socket.socket() as probe:
            probe.bind(("127.0.0.1", 0))
            self.port = probe.getsockname()[1]

    def background(self, *command):
        self.running.append(subprocess.Popen(command, stderr=open(f"{self.folder}/log", "a",
                                                                  encoding="utf-8")))
        return self.running[-1]

    def surroundings(self):
        with open(f"{self.folder}/broker.conf", "w", encoding="utf-8") as out:
            out.write(f"listener {self.port} 127.0.0.1\nallow_anonymous true\n")
        self.background("mosquitto", "-c", f"{self.folder}/broker.conf")
        self.background("sh", "-c", "n=0; while :; do n=$((n+1)); mosquitto_pub -h 127.0.0.1 -p "
                        f"{self.port} -t shed/attic/air -m '{{\"temperature\":19.'$((n%9))',"
                        "\"humidity\":66.'$((n%7))'}' 2>/dev/null; sleep 0.25; done")

    def edit(self, *changes):
        """What is left to an editor."""
        with open(self.config, encoding="utf-8") as handle:
            text = handle.read()
        for pattern, into in changes:
            text, n = re.subn(pattern, lambda _, into=into: into, text, count=1,
                              flags=re.M | re.S)
            if n != 1:
                sys.exit(f"the example configuration has no {pattern}")
        with open(self.config, "w", encoding="utf-8") as handle:
            handle.write(text)

    def run(self, command, wants=0):
        words = shlex.split(command.replace("/etc/witherd/witherd.conf", self.config))
        if words[0] == "install":
            words = [w for w in words if w not in ("-g", "wither")]
        words[0] = self.programs.get(words[0], words[0])
        done = subprocess.run(words, cwd=self.root, capture_output=True, text=True, check=False,
                              env={**os.environ, "WITHER_SOCKET": f"{self.folder}/s",
                                   "LC_ALL": "C.UTF-8"})
        print("$", command, f"({done.returncode})", done.stdout, done.stderr, sep="\n", end="")
        if wants is not None and done.returncode != wants:
            sys.exit(f"'{command}' ends with {done.returncode}")
        return done.stdout

    def until(self, command, part):
        deadline = time.monotonic() + PATIENCE_S
        while True:
            shown = self.run(command, wants=None)
            if part in shown:
                return shown
            if time.monotonic() > deadline or self.daemon.poll() is not None:
                with open(f"{self.folder}/log", encoding="utf-8") as log:
                    sys.exit(f"'{command}' never shows '{part}'; " + log.read())
            time.sleep(0.2)

    def systemctl(self, verb):
        if verb == "restart":
            self.daemon = self.background(self.programs["witherd"], "--config", self.config)
            self.until("wither health", "witherd")
        else:
            self.daemon.send_signal(1)

    def step(self, command):
        if command.startswith("apt install"):
            if "deploy/package" not in command or not os.access(f"{self.root}/deploy/package", os.X_OK):
                sys.exit("step 1 names no package script that is there")
        elif command.startswith("systemctl"):
            self.systemctl(command.split()[1])
        elif "--check" in command:
            self.edit((r"^host = localhost$.*?^#port = 1883$",
                       f"host = 127.0.0.1\nport = {self.port}"),
                      (r"/var/lib/witherd/wither.db", f"{self.folder}/wither.db"),
                      (r"/run/witherd/witherd.sock", f"{self.folder}/s"))
            self.run(command)
        elif "--learn" in command:
            shown = self.until(command, "[station ")
            section = re.search(r"^\[station.*?(?=^[^a-z[]|\Z)", shown, re.M | re.S)[0]
            self.edit((r"^\[station loft\].*?(?=^#\[scale)", section + "room = loft\n\n"))
        elif command == "wither stations":
            self.until(command, " ago")
        elif command == "wither":
            shown = self.until(command, "%")
            # A forecast: a range or a time in the row of the load, and its call.
            if not re.search(r"^ *1 +creek +\S+% +\S+.*(wait|tonight|morning|either|now)$", shown, re.M):
                sys.exit("the first screen holds no forecast")
        else:
            self.run(command)

    def close(self):
        for process in reversed(self.running):
            process.terminate()
        for process in self.running:
            process.wait(timeout=60)
        shutil.rmtree(self.folder)


def main():
    root, wither, witherd = sys.argv[1:4]
    with open(f"{root}/README.md", encoding="utf-8") as handle:
        todo = steps(handle.read())
    if not 1 <= len(todo) <= 9 or any(not commands for _, commands in todo):
        sys.exit(f"under ten steps with a command each, not {todo}")
    reader = Reader(root, wither, witherd)
    try:
        reader.surroundings()
        for number, commands in todo:
            for command in commands:
                print(f"--- step {number}")
                reader.step(command)
    finally:
        reader.close()
    print(f"{len(todo)} steps, a forecast at the last")
    return 0


if __name__ == "__main__":
    sys.exit(main())
