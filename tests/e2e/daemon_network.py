#!/usr/bin/env python3
# SPDX-License-Identifier: GPL-3.0-or-later
"""The network between daemon and broker is cut and healed, the broker stops for a while, comes back
without its store or refuses: the daemon catches up without help and the log stays short.

usage: daemon_network.py WITHERD [--away SECONDS]
The daemon lives in a network namespace of its own, at the end of a cable (veth) that can be pulled.
That needs root; without it the test is skipped (exit status 77).  --away 600 takes 40 minutes.
"""
import os
import subprocess
import sys
import time

sys.path.insert(0, os.path.dirname(os.path.abspath(__file__)))
import rig  # noqa: E402

TOPIC = "shed/north-room"
BROKER, DAEMON = "10.77.0.1", "10.77.0.2"
INSIDE = "WITHER_TEST_NETWORK"


def skip(why):
    print(f"skipped: {why}")
    sys.exit(77)


def enter_namespace():
    """Runs this program again where its network is nobody else's."""
    if os.environ.get(INSIDE):
        return
    if os.geteuid() != 0:
        skip("network namespaces need root")
    for tool in ("ip", "unshare", "nsenter"):
        if subprocess.run(["which", tool], capture_output=True, check=False).returncode:
            skip(f"'{tool}' is missing")
    out = subprocess.run(["unshare", "-n", "true"], capture_output=True, text=True, check=False)
    if out.returncode:
        skip(out.stderr.strip())
    os.execvpe("unshare", ["unshare", "-n", sys.executable, *sys.argv],
               dict(os.environ, **{INSIDE: "1"}))


def ip(*words, pid=None):
    inside = ["nsenter", "-t", str(pid), "-n"] if pid else []
    out = subprocess.run([*inside, "ip", *words], capture_output=True, text=True, check=False)
    assert out.returncode == 0, (words, out.stderr)


class Bench(rig.Rig):
    """The broker at one end of a cable, the daemon at the other."""

    def __init__(self, witherd):
        super().__init__(witherd)
        self.sent = []
        self.number = 0  # no two readings are the same
        self.far = subprocess.Popen(["unshare", "-n", "sleep", "100000"])

        def unshared():
            """the far namespace to be there"""
            return os.readlink(f"/proc/{self.far.pid}/ns/net") != os.readlink("/proc/self/ns/net")
        rig.wait_for(unshared)
        ip("link", "set", "lo", "up")
        ip("link", "add", "near", "type", "veth", "peer", "name", "far", "netns", str(self.far.pid))
        ip("address", "add", f"{BROKER}/24", "dev", "near")
        ip("link", "set", "near", "up")
        ip("link", "set", "lo", "up", pid=self.far.pid)
        ip("address", "add", f"{DAEMON}/24", "dev", "far", pid=self.far.pid)
        self.heal()
        self.write_config(broker=f"[broker]\nhost = {BROKER}\nport = {self.port}\n")

    def cut(self):
        ip("link", "set", "far", "down", pid=self.far.pid)

    def heal(self):
        ip("link", "set", "far", "up", pid=self.far.pid)

    def serve(self, lines="allow_anonymous true\n"):
        self.start_broker(f"{lines}listener {self.port} {BROKER}\n")
        self.station = rig.Publisher(self.port) if "true" in lines else None

    def start(self, *options, **_):
        with open(self.log, "ab") as log:
            self.process = subprocess.Popen(["nsenter", "-t", str(self.far.pid), "-n", self.witherd,
                                             "--config", self.config, *options], stderr=log)
        rig.wait_for(lambda: self.try_ask("health"))
        self.is_let_in()

    def is_let_in(self, seconds=120):
        rig.wait_for(self.connected, seconds)
        # The subscription follows the connection.
        time.sleep(0.3)

    def publish(self, count):
        for _ in range(count):
            temp_c = round(15 + self.number / 100, 2)
            self.station.publish(TOPIC, f'{{"temperature":{temp_c},"humidity":60}}')
            self.sent.append(temp_c)
            self.number += 1

    def has_all(self, seconds=180):
        def caught_up():
            """every reading to arrive"""
            return self.ask("health")["facts"]["readings"] >= len(self.sent)
        rig.wait_for(caught_up, seconds, 0.1)
        rows = [row["temp_c"] for row in self.export("readings")]
        assert sorted(rows) == self.sent, (len(rows), len(self.sent))

    def away(self, seconds):
        """Time passes without the broker; questions are answered all the while."""
        end = time.monotonic() + seconds
        while time.monotonic() < end:
            began = time.monotonic()
            self.ask("tonight")
            assert time.monotonic() - began < 5
            time.sleep(min(1.0, max(0.0, end - time.monotonic())))

    def check_log(self, began):
        """Fewer than 20 lines an hour; a shorter time must do with 19."""
        lines = self.log_text().splitlines()
        hours = max(1.0, (time.monotonic() - began) / 3600)
        print(f"   {len(lines)} lines in the log")
        assert len(lines) < 20 * hours, "\n".join(lines)

    def close(self):
        super().close()
        self.far.kill()
        self.far.wait()
        # The cable goes with the far end, but not at once.
        subprocess.run(["ip", "link", "del", "near"], capture_output=True, check=False)


def test_cable_is_pulled(bench, away_s):
    """The broker keeps what comes meanwhile; the session or the connection itself survives."""
    bench.serve()
    bench.start()
    bench.publish(20)
    bench.has_all()
    bench.cut()
    bench.publish(50)
    bench.away(away_s)
    assert bench.ask("health")["facts"]["readings"] == 20
    bench.heal()
    bench.has_all()
    bench.publish(20)
    bench.has_all()


def test_broker_is_new_behind_the_cut(bench, away_s):
    """Nothing is left of connection and session: it connects and subscribes again by itself."""
    bench.serve()
    bench.start()
    bench.publish(20)
    bench.has_all()
    bench.cut()
    bench.stop_broker()
    bench.away(away_s)
    bench.serve()
    bench.heal()

    before = len(bench.sent)

    def subscribed():
        """a reading sent after the cut to be heard"""
        bench.publish(1)
        time.sleep(0.5)
        rows = {row["temp_c"] for row in bench.export("readings")}
        if bench.sent[-1] not in rows:
            return False
        # Before it subscribed nobody kept anything for it; from then on nothing may be missing.
        heard = [temp_c in rows for temp_c in bench.sent[before:]]
        bench.sent[before:] = bench.sent[before + heard.index(True):]
        return True
    rig.wait_for(subscribed, 180)
    bench.publish(20)
    bench.has_all()


def test_broker_stops_for_a_while(bench, away_s):
    bench.serve()
    bench.start()
    bench.publish(20)
    bench.has_all()
    bench.stop_broker()
    bench.away(away_s)
    assert not bench.connected()
    bench.serve()
    bench.is_let_in()
    bench.publish(20)
    bench.has_all()


def test_broker_refuses_for_a_while(bench, away_s):
    bench.serve()
    bench.start()
    bench.stop_broker()
    bench.serve("allow_anonymous false\n")

    def refused():
        """the refusal to be said"""
        return "broker_refused" in bench.codes()
    rig.wait_for(refused, 120)
    bench.away(away_s)
    assert refused()
    bench.stop_broker()
    bench.serve()
    bench.is_let_in()
    bench.publish(20)
    bench.has_all()


def main():
    enter_namespace()
    witherd = sys.argv[1]
    away_s = float(sys.argv[sys.argv.index("--away") + 1]) if "--away" in sys.argv else 4.0
    for name, test in sorted(globals().items()):
        if not name.startswith("test_"):
            continue
        began = time.monotonic()
        bench = Bench(witherd)
        try:
            test(bench, away_s)
            assert bench.stop() == 0, bench.log_text()[-4000:]
            bench.check_log(began)
        finally:
            bench.close()
        print(f"ok {name} {time.monotonic() - began:.1f} s", flush=True)


main()
