#!/usr/bin/env python3
# SPDX-License-Identifier: GPL-3.0-or-later
"""Words from outside that would rule the terminal: in payloads, topics, names, notes, errors of a
weather service, answers of a daemon that is not ours.  The real programs, in a pseudo-terminal and in a
pipe: no such byte comes out.

usage: hostile_words.py WITHERD WITHER
"""
import http.server
import json
import os
import pty
import re
import select
import socket
import subprocess
import sys
import threading
import time

sys.path.insert(0, os.path.dirname(os.path.abspath(__file__)))
import rig  # noqa: E402

# Title and clipboard (OSC), clear and colour (CSI), device control (DCS), the same as one byte of the
# upper control set (ECMA-48), backspace, bell, delete, turned writing (Unicode bidi), line separators.
EVIL = ("\x1b]0;owned\x07\x1b]52;c;b3duZWQ=\x1b\\\x1b[2J\x1b[31mred\x1bP1;2|x\x1b\\\u009b31m\u009d0;x\u009c"
        "\b\b\a\x7f\r\v\f\x0e\u202egnip\u202c\u2066x\u2069\u2028\u2029\u200f\ufeff")
ALONE = [chr(n) for n in range(32) if n != 10] + ["\x7f"] + [chr(n) for n in range(0x80, 0xA0)] + \
    list("\u061c\u200e\u200f\u2028\u2029\u202a\u202b\u202c\u202d\u202e\u2066\u2067\u2068\u2069\ufeff")
# What the programs themselves may send to a terminal: colours and attributes.
OWN = re.compile("\x1b\\[[0-9;]*m")
# The live screen besides moves, clears and switches to its own page.
OWN_LIVE = re.compile("\x1b\\[[0-9;?]*[mHJKhlABCD]|\x1b[78]")
FORBIDDEN = re.compile("[" + "".join(re.escape(c) for c in ALONE if c != "\t") + "]")


def run_piped(bench, *words):
    out = subprocess.run([bench.wither, *words], capture_output=True, env=bench.env, check=False,
                         timeout=60, stdin=subprocess.DEVNULL)
    return out.stdout + out.stderr


def run_terminal(bench, *words, seconds=30.0, until=None):
    """All that reaches the terminal.  until(text): when to end a program that does not."""
    pid, fd = pty.fork()
    if pid == 0:
        os.execve(bench.wither, [bench.wither, *words], bench.env)
    data, end, asked = b"", time.monotonic() + seconds, False
    while time.monotonic() < end:
        if select.select([fd], [], [], 0.1)[0]:
            try:
                part = os.read(fd, 65536)
            except OSError:
                break
            if not part:
                break
            data += part
        if until and not asked and until(data.decode("utf-8", "replace")):
            os.write(fd, b"q")
            asked = True
    else:
        os.kill(pid, 9)
        os.waitpid(pid, 0)
        raise AssertionError(f"{words} did not end: {data[-500:]!r}")
    os.close(fd)
    os.waitpid(pid, 0)
    return data


def check(data, what, own=OWN, terminal=False):
    text = data.decode("utf-8", "surrogateescape")
    if terminal:
        # The terminal's own line ends; echo of what was typed does not come, nothing was.
        text = text.replace("\r\n", "\n").replace("\r\r\n", "\n")
    if own:
        text = own.sub("", text)
    bad = FORBIDDEN.search(text) or re.search("[\udc80-\udcff]", text)
    assert not bad, (what, repr(bad.group()), text[max(0, bad.start() - 200):bad.start() + 200])
    return text


def say_all(bench, words):
    check(run_piped(bench, *words), words, own=None)
    return check(run_terminal(bench, *words), words, terminal=True)


VERBS = (["tonight"], ["plan"], ["loads"], ["loads", "--all"], ["show", "1"], ["air"],
         ["density", "creek", "5"], ["what-if", "1", "--warmer", "2"], ["review"], ["ledger"], ["gardens"],
         ["stations"], ["health"], ["export", "readings"], ["export", "loads"],
         ["export", "loads", "--csv"], ["export", "forecasts", "--csv"])


class Bench(rig.Rig):
    def __init__(self, witherd, wither, **options):
        super().__init__(witherd, **options)
        self.wither = wither
        self.env = dict(os.environ, WITHER_SOCKET=self.socket, LC_ALL="C.UTF-8", TERM="xterm-256color",
                        COLUMNS="80")


def test_payloads_topics_names(witherd, wither):
    bench = Bench(witherd, wither, more="[station any]\nroom = north\ntopic = loft/+\n"
                                        "temp_pointer = /t\nrh_pointer = /h\nexpected_every_s = 60\n")
    try:
        bench.start_broker()
        bench.start()
        rig.wait_for(bench.connected)
        time.sleep(0.3)
        station = rig.Publisher(bench.port)
        station.publish("shed/north-room", '{"temperature":20,"humidity":60}')
        bench.ask("spread", origin="creek", kg=5, area=5)
        # Broken payloads are quoted; so are the values in sound ones.
        for number, payload in enumerate([EVIL, json.dumps({"temperature": EVIL, "humidity": EVIL}),
                                          '{"temperature":"' + EVIL + '"', json.dumps(EVIL),
                                          b"\xff\xfe\x1b[2J\x9b31m", b"\x1b[2J" * 40,
                                          *[c.encode() for c in ALONE]]):
            station.publish("shed/north-room", payload)
            if number < 6:
                def quoted():
                    """the payload to be quoted"""
                    return bench.ask("stations")["stations"][0]["last_fault"]
                rig.wait_for(quoted)
                say_all(bench, ["stations"])
                say_all(bench, ["health"])
        # Topics may hold anything but NUL; stations that are being learned show them.
        for number, word in enumerate(["\x1b[2J", "\u009b31m", "\u202egnip", "a\tb", "bell\a"]):
            try:
                station.publish(f"loft/{word}", json.dumps({"t": 20 + number, "h": 50, EVIL[:20]: 1}))
            except (ConnectionError, OSError):
                # MQTT lets a broker refuse control characters in a topic ([MQTT-1.5.3-2]).
                station = rig.Publisher(bench.port)
        for words in VERBS:
            say_all(bench, words)
        # The daemon's own log may be read on a terminal too.
        check(open(bench.log, "rb").read(), "log", own=None)
        assert bench.stop() == 0
    finally:
        bench.close()


def test_words_of_the_maker(witherd, wither):
    """Names and notes: refused with a clean quotation, or kept clean."""
    bench = Bench(witherd, wither, broker=False)
    try:
        bench.start()
        bench.ask("spread", origin="creek", kg=5, area=5)
        for evil in [EVIL, *ALONE]:
            for words in (["spread", evil, "5", "--area", "5", "--new"], ["spread", "x" + evil + "y", "5",
                          "--area", "5", "--new"], ["spread", "creek", evil, "--area", "5"],
                          [evil], ["weigh", "1", evil], ["show", evil], ["drop", "1", "--why", evil],
                          ["air", "--room", evil], ["--" + evil], ["spread", "creek", "5", "--style", evil]):
                # The shell could not pass NUL either.
                words = [word.replace("\0", "") for word in words]
                if evil == EVIL:
                    check(run_terminal(bench, *words), words, terminal=True)
                check(run_piped(bench, *words), words, own=None)
        # The same past the command line, straight into the socket.
        for evil in [EVIL, *ALONE]:
            for method, params in (("spread", {"origin": evil, "kg": 5, "area": 5}),
                                   ("spread", {"origin": f"x{evil}y", "kg": evil, "area": 5}),
                                   ("drop", {"load": 1, "why": evil}), ("undo", {}), (evil, {}),
                                   ("show", {"load": evil}), ("air", {"room": evil}),
                                   ("show", {evil: 1}), ("backup", {"file": "/tmp/" + evil})):
                answer = bench.call(method, **params)
                text = json.dumps(answer, ensure_ascii=False)
                own = FORBIDDEN.sub("", text)
                # JSON writes what is below 0x20 as \u00xx: look inside the strings.
                for string in strings(answer):
                    assert not FORBIDDEN.search(string), (method, params, string)
                assert own == text or answer is None, (method, params, text)
        for words in VERBS:
            say_all(bench, words)
        check(open(bench.log, "rb").read(), "log", own=None)
        assert bench.stop() == 0
    finally:
        bench.close()


def strings(value):
    if isinstance(value, str):
        yield value
    elif isinstance(value, dict):
        for key, item in value.items():
            yield key
            yield from strings(item)
    elif isinstance(value, list):
        for item in value:
            yield from strings(item)


class Weather(http.server.BaseHTTPRequestHandler):
    body, status, kind, reason = b"", 200, "application/json", None

    def log_message(self, *_):
        pass

    def do_GET(self):
        self.send_response(Weather.status, Weather.reason)
        self.send_header("Content-Type", Weather.kind)
        self.send_header("Content-Length", str(len(Weather.body)))
        self.end_headers()
        self.wfile.write(Weather.body)
        self.close_connection = True

    do_POST = do_GET


def test_weather_service(witherd, wither):
    server = http.server.ThreadingHTTPServer(("127.0.0.1", 0), Weather)
    threading.Thread(target=server.serve_forever, daemon=True).start()
    url = f"http://127.0.0.1:{server.server_address[1]}"
    hours = [int(time.time()) // 3600 * 3600 + 3600 * i for i in range(48)]
    units = {"hourly_units": {"temperature_2m": EVIL, "relative_humidity_2m": "%"}, "hourly":
             {"time": hours, "temperature_2m": [20] * 48, "relative_humidity_2m": [60] * 48}}
    times = {"hourly_units": {"temperature_2m": "°C", "relative_humidity_2m": "%"}, "hourly":
             {"time": [EVIL] * 48, "temperature_2m": [EVIL] * 48, "relative_humidity_2m": [60] * 48}}
    answers = [(400, "application/json", json.dumps({"error": True, "reason": EVIL}).encode()),
               (200, "application/json", json.dumps(units).encode()),
               (200, "application/json", json.dumps(times).encode()),
               (200, "text/\x1b[2J", b"{}"),
               (200, "application/json", EVIL.encode()),
               (503, "text/html", EVIL.encode())]
    try:
        for status, kind, body in answers:
            Weather.status, Weather.kind, Weather.body = status, kind, body
            Weather.reason = "no \x1b[2J"
            bench = Bench(witherd, wither, broker=False)
            try:
                bench.write_config(more=f"[outlook]\nurl = {url}/v1\nformat = columns\ncontact = a@b.invalid\n"
                                        f"[notice]\nurl = {url}/notice\nwhen = call-changes\n")
                bench.start()

                def said():
                    """health to say what is wrong with the outlook"""
                    return "outlook" in bench.codes()
                rig.wait_for(said)
                text = say_all(bench, ["health"])
                assert "weather service" in text or "outlook" in text, text
                say_all(bench, ["tonight"])
                say_all(bench, ["air"])
                check(open(bench.log, "rb").read(), "log", own=None)
                assert bench.stop() == 0
            finally:
                bench.close()
    finally:
        server.shutdown()
        server.server_close()


def test_a_daemon_that_is_not_ours(witherd, wither):
    """Real answers with every text in them replaced, from whoever has taken the socket's place."""
    bench = Bench(witherd, wither, broker=False)
    answers = {}
    try:
        bench.start()
        bench.ask("spread", origin="creek", kg=5, area=5, at="-6h")
        bench.ask("weigh", load=1, kg=4.5)
        for words in VERBS:
            params = {"show": {"load": 1}, "density": {"origin": "creek", "kg": 5}, "export": {"what": "loads"},
                      "what-if": {"load": 1, "warmer": 2}}.get(words[0], {})
            answers[words[0]] = bench.call(words[0], **params)
        answers["spread"] = bench.call("spread", origin="creek", kg=5, area=5)
        answers["watch"] = {"result": {"tonight": answers["tonight"]["result"],
                                       **{k: v for k, v in answers["tonight"]["result"].items()
                                          if k in ("format", "now_unix_s", "timezone", "site")}}}
        assert bench.stop() == 0
        for evil in (EVIL, "\x1b[2J", "\u009b2J", "\u202e" + "x" * 300, "line\nline"):
            server = socket.socket(socket.AF_UNIX)
            server.bind(bench.socket)
            server.listen(20)
            threading.Thread(target=pretend, args=(server, answers, evil), daemon=True).start()
            for words in (*VERBS, ["spread", "creek", "5", "--area", "5"]):
                say_all(bench, words)
            check(run_terminal(bench, "watch", until=lambda text: len(text) > 50), "watch", own=OWN_LIVE,
                  terminal=True)
            server.close()
            os.unlink(bench.socket)
    finally:
        bench.close()


def replaced(value, evil, keep=("timezone", "jsonrpc", "columns")):
    if isinstance(value, str):
        return evil
    if isinstance(value, dict):
        return {key: item if key in keep else replaced(item, evil) for key, item in value.items()}
    if isinstance(value, list):
        return [replaced(item, evil) for item in value]
    return value


def pretend(server, answers, evil):
    number = 0
    while True:
        try:
            guest, _ = server.accept()
        except OSError:
            return
        with guest, guest.makefile("rwb") as stream:
            for line in stream:
                ask = json.loads(line)
                answer = answers.get(ask["method"], {})
                number += 1
                out = {"jsonrpc": "2.0", "id": ask["id"]}
                if "result" in answer and (number % 3 or ask["method"] == "watch"):
                    # Words by which a screen decides stay every other time, so that all is drawn.
                    keep = ("timezone", "columns") + (("code", "call", "state", "verb", "kind", "severity",
                                                       "when") if number % 2 else ())
                    out["result"] = replaced(answer["result"], evil, keep)
                else:
                    out["error"] = {"code": -32602, "message": evil,
                                    "data": {"field": evil, "given": evil, "accepted": evil}}
                try:
                    stream.write(json.dumps(out).encode() + b"\n")
                    stream.flush()
                except OSError:
                    break


def main():
    witherd, wither = (os.path.abspath(path) for path in sys.argv[1:3])
    wanted = sys.argv[3:]
    for name, test in sorted(globals().items()):
        if name.startswith("test_") and (not wanted or name in wanted):
            began = time.monotonic()
            test(witherd, wither)
            print(f"ok {name} {time.monotonic() - began:.1f} s", flush=True)


main()
