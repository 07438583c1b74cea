#!/usr/bin/env python3
# SPDX-License-Identifier: GPL-3.0-or-later
"""The daemon does all it can do under the filter of its unit: TLS to the broker, a broker that goes and
comes, weather service, notices, dashboards, every question and act, learning a station, a copy, a journal,
a reload, the service manager.  A call outside the filter would end it.

usage: check_confined.py WITHERD WITHER CONFINE UNIT BROKER_EXAMPLES
"""
import http.server
import json
import os
import re
import shutil
import signal
import socket
import subprocess
import sys
import threading
import time

sys.path.insert(0, os.path.join(os.path.dirname(os.path.abspath(__file__)), "..", "e2e"))
import rig  # noqa: E402


def members(name):
    """The calls of a set, as systemd itself expands it."""
    out = subprocess.run(["systemd-analyze", "syscall-filter", "--no-pager", name], check=True,
                         capture_output=True, text=True)
    for line in out.stdout.splitlines()[1:]:
        word = line.split("#")[0].strip()
        if word.startswith("@"):
            yield from members(word)
        elif word:
            yield word


def allowed(unit):
    calls = set()
    with open(unit, encoding="utf-8") as text:
        for line in text:
            found = re.match(r"SystemCallFilter=(~?)(.*)", line.strip())
            for name in found[2].split() if found else ():
                some = set(members(name)) if name.startswith("@") else {name}
                calls = calls - some if found[1] else calls | some
    assert len(calls) > 100, "the unit has no filter"
    return calls


class Service(http.server.BaseHTTPRequestHandler):
    seen = []

    def log_message(self, *_):
        pass

    def answer(self, body):
        self.send_response(200)
        self.send_header("Content-Type", "application/json")
        self.send_header("Content-Length", str(len(body)))
        self.end_headers()
        self.wfile.write(body)

    def do_GET(self):
        begin = int(time.time()) // 3600 * 3600
        Service.seen.append("outlook")
        self.answer(json.dumps({
            "hourly_units": {"temperature_2m": "°C", "relative_humidity_2m": "%"},
            "hourly": {"time": [begin + 3600 * i for i in range(48)], "temperature_2m": [20] * 48,
                       "relative_humidity_2m": [60] * 48}}).encode())

    def do_POST(self):
        self.rfile.read(int(self.headers["Content-Length"]))
        Service.seen.append("notice")
        self.answer(b"{}")


class Bench(rig.Rig):
    def __init__(self, witherd, wither, confine, unit, examples):
        super().__init__(witherd)
        self.wither = wither
        calls = allowed(unit)
        with open(f"{self.work}/calls", "w", encoding="ascii") as out:
            out.write("\n".join(sorted(calls)) + "\n")
        # Who it is under the filter may not enter root's home, where a tree may well be.
        self.command = [confine, f"{self.work}/calls", shutil.copy(witherd, f"{self.work}/witherd")]
        subprocess.run([f"{examples}/make-certificates", f"{self.work}/certs", "localhost", "127.0.0.1"],
                       check=True)
        with open(f"{self.work}/password", "w", encoding="utf-8") as out:
            out.write("open sesame\n")
        os.chmod(f"{self.work}/password", 0o600)
        self.env = dict(os.environ, WITHER_SOCKET=self.socket, LC_ALL="C.UTF-8")

    def write(self, url):
        self.write_config(
            daemon=f"record = {self.work}/journal.jsonl\nforecast_every_s = 10",
            broker=f"[broker]\nhost = localhost\nport = {self.port}\ntls = yes\n"
                   f"ca_file = {self.work}/certs/ca.pem\nuser = witherd\n"
                   f"password_file = {self.work}/password\npublish_prefix = wither\n",
            more=f"[outlook]\nurl = {url}/v1\nformat = columns\ncontact = a@b.invalid\n"
                 f"[notice]\nurl = {url}/notice\nwhen = call-changes, station-silent, past-soon\n")

    def give_away(self):
        """All files to whom the confined daemon is."""
        if os.geteuid() == 0:
            subprocess.run(["chown", "-R", "65534:65534", self.work], check=True)

    def serve(self):
        self.start_broker(f"certfile {self.work}/certs/broker.pem\nkeyfile "
                          f"{self.work}/certs/broker-key.pem\nallow_anonymous true\n")

    def start(self, *options, **_):
        manager = socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM)
        manager.bind(f"{self.work}/notify")
        self.give_away()
        env = dict(os.environ, NOTIFY_SOCKET=f"{self.work}/notify", WATCHDOG_USEC="1000000")
        with open(self.log, "ab") as log:
            self.process = subprocess.Popen([*self.command, "--config", self.config, *options],
                                            stderr=log, env=env)
        manager.settimeout(30)
        assert manager.recv(4096) == b"READY=1"
        self.manager = manager

    def alive(self):
        assert self.process.poll() is None, \
            f"the daemon was ended by {-self.process.returncode}:\n{self.log_text()}"

    def cli(self, *words, fine=(0, 3)):
        out = subprocess.run([self.wither, *words], env=self.env, capture_output=True, text=True,
                             check=False, timeout=60, stdin=subprocess.DEVNULL)
        self.alive()
        assert out.returncode in fine, (words, out)

    def send(self, topic, payload):
        out = subprocess.run(["mosquitto_pub", "-h", "localhost", "-p", str(self.port), "--cafile",
                              f"{self.work}/certs/ca.pem", "-q", "1", "-t", topic, "-m", payload],
                             capture_output=True, text=True, check=False)
        assert out.returncode == 0, out


def check_teeth(bench):
    """The filter is there: a program that makes a namespace does not live."""
    out = subprocess.run([*bench.command[:2], shutil.which("unshare"), "--user", "true"], check=False,
                         capture_output=True)
    assert out.returncode == -signal.SIGSYS, out
    out = subprocess.run([*bench.command[:2], "/bin/true"], check=False, capture_output=True)
    assert out.returncode == 0, out


def all_it_can_do(bench, url):
    bench.write(url)
    bench.serve()
    bench.start()
    rig.wait_for(bench.connected)
    time.sleep(0.3)
    for k in range(5):
        bench.send("shed/north-room", f'{{"temperature":2{k}.5,"humidity":7{k}}}')
    bench.send("shed/north-room", "not json")
    rig.wait_for(lambda: bench.ask("health")["facts"]["readings"] == 5)
    for words in (["spread", "creek", "6", "--area", "6", "--new", "--at", "-8h"], ["weigh", "1", "5.5"],
                  ["feel", "1", "soft"], ["turn", "1"], ["spread", "slope", "4", "--area", "4", "--new"],
                  ["tonight"], ["plan"], ["loads", "--all"], ["show", "1"], ["air"],
                  ["density", "creek", "5"], ["what-if", "1", "--warmer", "2"], ["review"], ["ledger"],
                  ["gardens"], ["stations"], ["health"], ["export", "readings"],
                  ["export", "forecasts", "--csv"], ["backup", f"{bench.work}/copy.db"],
                  ["fix", "1", "--kg", "4.8"], ["yield", "1", "--made", "1.2"], ["drop", "2", "--why", "rain"], ["undo"]):
        bench.cli(*words, fine=(0, 3, 1) if words[0] == "feel" else (0, 3))

    def learned():
        """a station to be heard by the one who learns it"""
        bench.send("loft/a", '{"temperature":20.5,"humidity":60}')
        return bench.ask("stations", learn="loft/+")["topics"]
    rig.wait_for(learned, every=0.3)
    # The broker goes, and the daemon looks why; it comes again.
    bench.stop_broker()
    rig.wait_for(lambda: "Connection refused" in bench.ask("stations")["broker"]["text"], 60)
    bench.serve()
    rig.wait_for(bench.connected, 60)
    bench.process.send_signal(signal.SIGHUP)
    rig.wait_for(lambda: "read again" in bench.log_text())
    bench.alive()
    rig.wait_for(bench.connected, 60)
    rig.wait_for(lambda: "outlook" in Service.seen)
    with socket.socket(socket.AF_UNIX) as sock:
        sock.connect(bench.socket)
        sock.sendall(b'{"jsonrpc":"2.0","id":"w","method":"watch"}\n')
        assert sock.makefile("rb").readline()
        bench.cli("spread", "creek", "3", "--area", "3")
        assert sock.makefile("rb").readline()

    def noticed():
        """a notice of a new load's call to be sent"""
        bench.cli("spread", "creek", "3", "--area", "3")
        return "notice" in Service.seen
    rig.wait_for(noticed, 60, every=2.0)
    bench.alive()
    assert bench.stop() == 0, bench.log_text()[-4000:]
    assert os.path.getsize(f"{bench.work}/journal.jsonl") > 100


def main():
    bench = Bench(*(os.path.abspath(path) for path in sys.argv[1:6]))
    server = http.server.ThreadingHTTPServer(("127.0.0.1", 0), Service)
    threading.Thread(target=server.serve_forever, daemon=True).start()
    try:
        os.chmod(bench.work, 0o755)
        check_teeth(bench)
        all_it_can_do(bench, f"http://127.0.0.1:{server.server_address[1]}")
        # A second life: the file is there, the stop was unclean.
        os.unlink(f"{bench.work}/notify")
        bench.start()
        bench.kill()
        os.unlink(f"{bench.work}/notify")
        bench.start()
        bench.cli("tonight")
        assert bench.stop() == 0, bench.log_text()[-4000:]
        warned = [line for line in bench.log_text().splitlines() if "Operation not permitted" in line]
        assert not warned, warned
    finally:
        server.shutdown()
        bench.close()
    print("everything was done under the unit's filter;", ", ".join(sorted(set(Service.seen))))


main()
