# SPDX-License-Identifier: GPL-3.0-or-later
"""What the end-to-end tests stand on: a private broker, a daemon, a plain MQTT publisher, the
control socket.  Everything on loopback, in a throw-away folder.  Python's standard library only.
"""
import json
import os
import shutil
import signal
import socket
import struct
import subprocess
import sys
import tempfile
import time

CONFIG = """[site]
name = Test House
timezone = UTC
altitude_m = 900
latitude = 27
longitude = 100
[daemon]
database = {work}/wither.db
socket = {work}/witherd.sock
seed = 1
members = 64
{daemon}
{broker}
[room north]
[station shelf]
room = north
topic = shed/north-room
temp_pointer = /temperature
rh_pointer = /humidity
time_pointer = /time
expected_every_s = 60
{more}
[tray]
area_m2 = 1.0
perforated = yes
[hearth]
woks = 2
wok_kg = 4
minutes_spring = 20
minutes_summer = 25
minutes_autumn = 25
last_start = 22:00
first_start = 05:30
"""


def free_port():
    with socket.socket() as sock:
        sock.bind(("127.0.0.1", 0))
        return sock.getsockname()[1]


def wait_for(what, seconds=20.0, every=0.02):
    """The first true value of what(), or an AssertionError after the time."""
    end = time.monotonic() + seconds
    while True:
        value = what()
        if value:
            return value
        assert time.monotonic() < end, f"waited {seconds} s for {what.__doc__ or what}"
        time.sleep(every)


class Publisher:
    """MQTT 3.1.1, the few packets a station sends (OASIS standard, chapter 3)."""

    def __init__(self, port, name="station"):
        self.sock = socket.create_connection(("127.0.0.1", port), timeout=10)
        self.sock.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
        self.buffer = b""
        self.packet_id = 0
        text = name.encode()
        body = b"\x00\x04MQTT\x04\x02\x00\x00" + struct.pack(">H", len(text)) + text
        self.sock.sendall(b"\x10" + self.length(len(body)) + body)
        kind, body = self.packet()
        assert kind == 0x20 and body[1] == 0, f"the broker refused the station: {body!r}"

    @staticmethod
    def length(number):
        out = b""
        while True:
            number, digit = divmod(number, 128)
            out += bytes([digit | (0x80 if number else 0)])
            if not number:
                return out

    def read(self, count):
        while len(self.buffer) < count:
            part = self.sock.recv(65536)
            if not part:
                raise ConnectionError("the broker hung up")
            self.buffer += part
        out, self.buffer = self.buffer[:count], self.buffer[count:]
        return out

    def packet(self):
        kind = self.read(1)[0]
        number = shift = 0
        while True:
            digit = self.read(1)[0]
            number |= (digit & 0x7F) << shift
            shift += 7
            if not digit & 0x80:
                break
        return kind, self.read(number)

    def publish(self, topic, payload, qos=1, retain=False):
        """At QoS 1 returns when the broker has acknowledged."""
        data = payload if isinstance(payload, bytes) else payload.encode()
        name = topic.encode()
        body = struct.pack(">H", len(name)) + name
        if qos:
            self.packet_id = self.packet_id % 65535 + 1
            body += struct.pack(">H", self.packet_id)
        body += data
        self.sock.sendall(bytes([0x30 | qos << 1 | retain]) + self.length(len(body)) + body)
        if qos:
            while True:
                kind, answer = self.packet()
                if kind == 0x40 and struct.unpack(">H", answer[:2])[0] == self.packet_id:
                    return

    def close(self):
        try:
            self.sock.sendall(b"\xe0\x00")
        except OSError:
            pass
        self.sock.close()


class Rig:
    def __init__(self, witherd, daemon="", more="", broker=True, port=None, broker_more=""):
        self.witherd = witherd
        self.work = tempfile.mkdtemp(prefix="wither-e2e.")
        self.port = port or free_port()
        self.broker = self.process = None
        self.socket = f"{self.work}/witherd.sock"
        self.config = f"{self.work}/witherd.conf"
        self.log = f"{self.work}/witherd.log"
        self.database = f"{self.work}/wither.db"
        text = f"[broker]\nhost = 127.0.0.1\nport = {self.port}\n{broker_more}" if broker else ""
        self.write_config(daemon, text, more)

    def write_config(self, daemon="", broker="", more=""):
        with open(self.config, "w", encoding="utf-8") as out:
            out.write(CONFIG.format(work=self.work, daemon=daemon, broker=broker, more=more))

    # --- the broker
    def start_broker(self, lines="allow_anonymous true\n"):
        conf = f"{self.work}/mosquitto.conf"
        with open(conf, "w", encoding="utf-8") as out:
            out.write(f"listener {self.port} 127.0.0.1\npersistence false\n"
                      f"max_queued_messages 100000\n{lines}")
            if os.geteuid() == 0:
                out.write("user root\n")
        self.broker = subprocess.Popen(["mosquitto", "-c", conf],
                                       stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)

        def listens():
            """the broker to listen"""
            with socket.socket() as sock:
                return sock.connect_ex(("127.0.0.1", self.port)) == 0
        wait_for(listens)

    def stop_broker(self):
        if self.broker:
            self.broker.terminate()
            self.broker.wait()
            self.broker = None

    # --- the daemon
    def start(self, *options, wait=True, env=None, patience=20.0):
        with open(self.log, "ab") as log:
            self.process = subprocess.Popen([self.witherd, "--config", self.config, *options],
                                            stderr=log, env=env)
        if wait:
            def answers():
                """the daemon to answer"""
                assert self.process.poll() is None, "the daemon stopped:\n" + self.log_text()
                return self.try_ask("health")
            wait_for(answers, patience)

    def run(self, *options, **kw):
        return subprocess.run([self.witherd, "--config", self.config, *options],
                              capture_output=True, text=True, check=False, timeout=600, **kw)

    def log_text(self):
        with open(self.log, encoding="utf-8", errors="replace") as text:
            return text.read()

    def kill(self):
        self.process.send_signal(signal.SIGKILL)
        self.process.wait()
        self.process = None

    def stop(self):
        """The exit status of an orderly stop."""
        self.process.terminate()
        status = self.process.wait(timeout=20)
        self.process = None
        return status

    # --- the control socket
    def raw(self, line, timeout=20.0):
        with socket.socket(socket.AF_UNIX) as sock:
            sock.settimeout(timeout)
            sock.connect(self.socket)
            sock.sendall(line)
            with sock.makefile("rb") as stream:
                answer = stream.readline()
        assert answer, "the daemon hung up"
        return json.loads(answer)

    def call(self, method, **params):
        request = {"jsonrpc": "2.0", "id": 1, "method": method, "params": params}
        return self.raw(json.dumps(request).encode() + b"\n")

    def ask(self, method, **params):
        answer = self.call(method, **params)
        assert "result" in answer, f"{method} {params}: {answer}"
        return answer["result"]

    def refused(self, method, **params):
        answer = self.call(method, **params)
        assert "error" in answer, f"{method} {params} was not refused: {answer}"
        return answer["error"]

    def try_ask(self, method):
        try:
            return self.call(method).get("result")
        except (OSError, AssertionError, ValueError):
            return None

    def export(self, what, **params):
        rows, cursor = [], {}
        while True:
            page = self.ask("export", what=what, **params, **cursor)
            rows += [dict(zip(page["columns"], row)) for row in page["rows"]]
            if not page["more"]:
                return rows
            cursor = {"cursor": page["cursor"]}

    def connected(self):
        """the feed to be connected"""
        answer = self.try_ask("health")
        return answer and answer["facts"]["broker"] == "connected"

    def codes(self):
        return [item["code"] for item in self.ask("health")["items"]]

    def close(self):
        if self.process:
            self.process.kill()
            self.process.wait()
        self.stop_broker()
        shutil.rmtree(self.work, ignore_errors=True)


def chosen(total, runs):
    """Which of so many allocations fail in turn: all of them, or as many as runs says."""
    if runs is None or runs >= total:
        return range(1, total + 1)
    # Spread evenly, off every round number.
    return sorted({1 + (i * total + total // 3) // runs for i in range(runs)})


def end_with(faults):
    for fault in faults[:20]:
        print("FAULT", fault)
    print(f"{len(faults)} faults")
    sys.exit(bool(faults))
