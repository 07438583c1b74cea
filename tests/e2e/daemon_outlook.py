#!/usr/bin/env python3
# SPDX-License-Identifier: GPL-3.0-or-later
"""The outlook over a real HTTP server on loopback: both forms of document, the terms of weather
services, and everything that can be wrong with an answer.  A bad one changes nothing, is said in
`health` and delays no answer.

usage: daemon_outlook.py WITHERD
"""
import http.server
import json
import os
import signal
import sys
import threading
import time

sys.path.insert(0, os.path.dirname(os.path.abspath(__file__)))
import rig  # noqa: E402

HOURS = 48


def columns(**changes):
    begin = int(time.time()) // 3600 * 3600
    hourly = {"time": [begin + 3600 * i for i in range(HOURS)],
              "temperature_2m": [20.0 + i % 5 for i in range(HOURS)],
              "relative_humidity_2m": [60 + i % 20 for i in range(HOURS)]}
    hourly.update(changes)
    return {"hourly_units": {"temperature_2m": "°C", "relative_humidity_2m": "%"}, "hourly": hourly}


def series():
    begin = int(time.time()) // 3600 * 3600
    steps = [{"time": time.strftime("%Y-%m-%dT%H:%M:%SZ", time.gmtime(begin + 3600 * i)),
              "data": {"instant": {"details": {"air_temperature": 18.5,
                                               "relative_humidity": 75.0}}}}
             for i in range(HOURS)]
    return {"type": "Feature", "properties": {"meta": {"units": {"air_temperature": "celsius"}},
                                              "timeseries": steps}}


def fahrenheit():
    document = columns()
    document["hourly_units"]["temperature_2m"] = "°F"
    return document


class Handler(http.server.BaseHTTPRequestHandler):
    protocol_version = "HTTP/1.1"
    seen = []
    stop = threading.Event()

    def log_message(self, *_):
        pass

    def send(self, body, status=200, content_type="application/json", **headers):
        data = body if isinstance(body, bytes) else json.dumps(body).encode()
        self.send_response(status)
        self.send_header("Content-Type", content_type)
        self.send_header("Content-Length", str(headers.pop("length", len(data))))
        for name, value in headers.items():
            self.send_header(name.replace("_", "-"), value)
        self.end_headers()
        self.wfile.write(data)

    def do_POST(self):
        body = self.rfile.read(int(self.headers["Content-Length"]))
        Handler.seen.append((self.path, dict(self.headers), body))
        self.send({})

    def do_GET(self):
        Handler.seen.append((self.path, dict(self.headers), b""))
        kind = self.path.strip("/").split("/")[0]
        try:
            getattr(self, "get_" + kind)()
        except (BrokenPipeError, ConnectionResetError):
            pass
        self.close_connection = True

    def get_good(self):
        self.send(columns(), Last_Modified="Wed, 25 Nov 2026 10:00:00 GMT",
                  Expires=time.strftime("%a, %d %b %Y %H:%M:%S GMT", time.gmtime(time.time() + 7200)))

    def get_series(self):
        self.send(series(), content_type="application/geo+json")

    def get_deprecated(self):
        self.send(columns(), status=203)

    def get_unmodified(self):
        self.send(b"", status=304)

    def get_truncated(self):
        self.send(json.dumps(columns()).encode()[:200])

    def get_cut(self):
        self.send(json.dumps(columns()).encode()[:200], length=5000)

    def get_nulls(self):
        self.send(columns(temperature_2m=[None] * HOURS))

    def get_unequal(self):
        self.send(columns(temperature_2m=[20.0] * (HOURS - 1)))

    def get_fahrenheit(self):
        self.send(fahrenheit())

    def get_huge(self):
        self.send_response(200)
        self.send_header("Content-Type", "application/json")
        self.send_header("Content-Length", str(2 * 1024 ** 3))
        self.end_headers()
        self.flood()

    def get_endless(self):
        self.send_response(200)
        self.send_header("Content-Type", "application/json")
        self.send_header("Connection", "close")
        self.end_headers()
        self.flood()

    def flood(self):
        for _ in range(64):
            self.wfile.write(b" " * 65536)

    def get_drip(self):
        self.send_response(200)
        self.send_header("Content-Type", "application/json")
        self.send_header("Content-Length", "100000")
        self.end_headers()
        while not Handler.stop.is_set():
            self.wfile.write(b" ")
            Handler.stop.wait(0.5)

    def get_forbidden(self):
        self.send({"error": True, "reason": "no contact"}, status=403)

    def get_toomany(self):
        self.send({"error": True, "reason": "daily limit"}, status=429, Retry_After="60")

    def get_broken(self):
        self.send(b"oops", status=500, content_type="text/plain")

    def get_loop(self):
        self.send(b"", status=302, Location=self.path)

    def get_elsewhere(self):
        self.send(b"", status=302, Location="file:///etc/passwd")

    def get_html(self):
        self.send(b"<html>hello</html>", content_type="text/html")

    def get_scalar(self):
        self.send(b"42")

    def get_nothing(self):
        self.send(b"")


BAD = {
    "truncated": "not JSON", "cut": "cannot be asked", "nulls": "cannot be used",
    "unequal": "cannot be used", "fahrenheit": "cannot be used", "huge": "cannot be asked",
    "endless": "longer than 1 MiB", "forbidden": "403", "toomany": "429", "broken": "500",
    "loop": "cannot be asked", "elsewhere": "cannot be asked", "html": "not JSON",
    "scalar": "JSON", "nothing": "JSON", "unmodified": "304",
}


def serve():
    server = http.server.ThreadingHTTPServer(("127.0.0.1", 0), Handler)
    server.daemon_threads = True
    threading.Thread(target=server.serve_forever, daemon=True).start()
    return server


def point(bench, port, path, form="columns"):
    """Names another address in the configuration and has it read again."""
    bench.write_config(broker=f"[broker]\nhost = 127.0.0.1\nport = {bench.port}\n",
                       more=f"[outlook]\nurl = http://127.0.0.1:{port}/{path}\nformat = {form}\n"
                            "contact = keeper@example.invalid\n"
                            f"[notice]\nurl = http://127.0.0.1:{port}/notice\n"
                            "when = call-changes\n")
    if bench.process:
        before = len(Handler.seen)
        bench.process.send_signal(signal.SIGHUP)

        def asked():
            """the service to be asked"""
            return len(Handler.seen) > before
        rig.wait_for(asked)


def outlook_item(bench):
    items = [i for i in bench.ask("health")["items"] if i["code"] == "outlook"]
    return items[0]["text"] if items else None


def answers_at_once(bench):
    began = time.monotonic()
    bench.ask("tonight")
    bench.ask("health")
    assert time.monotonic() - began < 3.0, "an answer was held up by the weather service"


def test_good(bench, port):
    def taken():
        """the outlook to be taken"""
        return json.loads(stored(bench) or "{}").get("good")
    rig.wait_for(taken)
    agent = Handler.seen[0][1]["User-Agent"]
    assert agent.startswith("witherd/") and "keeper@example.invalid" in agent, agent
    assert outlook_item(bench) is None
    # A restart asks nothing before it is time.
    before = len(Handler.seen)
    assert bench.stop() == 0
    bench.start()
    time.sleep(1.0)
    assert len(Handler.seen) == before, Handler.seen[before:]
    for path, form in (("series", "timeseries"), ("deprecated", "columns")):
        point(bench, port, path, form)
        time.sleep(0.5)
        assert outlook_item(bench) is None, outlook_item(bench)


def stored(bench):
    """What the daemon remembers of the service; read from a copy it makes itself."""
    import sqlite3
    copy = f"{bench.work}/look.db"
    bench.ask("backup", file=copy)
    base = sqlite3.connect(copy)
    row = base.execute("SELECT text FROM value WHERE name = 'outlook_http'").fetchone()
    base.close()
    os.unlink(copy)
    return row and row[0]


def test_bad(bench, port):
    for path, words in BAD.items():
        point(bench, port, path)

        def said():
            """the fault to be said"""
            text = outlook_item(bench)
            return text if text and words in text else None
        try:
            text = rig.wait_for(said, 10)
        except AssertionError:
            raise AssertionError(f"{path}: health says {outlook_item(bench)!r}, not {words!r}")
        answers_at_once(bench)
        print(f"   {path}: {text}")


def test_drip(bench, port):
    point(bench, port, "drip")
    station = rig.Publisher(bench.port)
    began = time.monotonic()
    rig.wait_for(bench.connected)
    station.publish("shed/north-room", '{"temperature":20,"humidity":61}')

    def arrived():
        """a reading to arrive while the outlook drips"""
        return bench.export("readings")
    rig.wait_for(arrived, 5)
    answers_at_once(bench)

    def given_up():
        """the slow answer to be given up"""
        text = outlook_item(bench)
        return text and "cannot be asked" in text
    rig.wait_for(given_up, 60)
    assert time.monotonic() - began > 15
    Handler.stop.set()


def test_notice(bench, port):
    """A call that is new is posted, once."""
    point(bench, port, "good")
    rig.wait_for(bench.connected)
    rig.Publisher(bench.port).publish("shed/north-room", '{"temperature":21,"humidity":62}')
    bench.ask("spread", origin="first", kg=8, area=8, at="-2h")

    def called(count):
        """the load to have its call"""
        rows = bench.ask("tonight")["loads"]
        return len(rows) == count and all(row["call"] for row in rows)
    rig.wait_for(lambda: called(1))
    # The daemon tells at most each 5 s; the first look only remembers.
    time.sleep(5.5)
    bench.ask("spread", origin="second", kg=8, area=8, at="-2h")
    rig.wait_for(lambda: called(2))

    def posted():
        """the notice of the second load to be posted"""
        bodies = [json.loads(body) for path, _, body in Handler.seen if path == "/notice"]
        return [body for body in bodies if body["load"] == 2]
    notices = rig.wait_for(posted, 10)
    assert len(notices) == 1, notices
    assert notices[0]["event"] == "call-changes" and notices[0]["load"] == 2, notices
    assert notices[0]["origin"] == "second" and notices[0]["call"] in notices[0]["text"]
    assert "notice" not in bench.codes()


def main():
    server = serve()
    port = server.server_address[1]
    bench = rig.Rig(sys.argv[1])
    try:
        bench.start_broker()
        point(bench, port, "good")
        bench.start()
        for test in (test_good, test_notice, test_bad, test_drip):
            began = time.monotonic()
            test(bench, port)
            print(f"ok {test.__name__} {time.monotonic() - began:.1f} s", flush=True)
        assert bench.stop() == 0
    finally:
        bench.close()
        server.shutdown()


main()
