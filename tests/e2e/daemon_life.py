#!/usr/bin/env python3
# SPDX-License-Identifier: GPL-3.0-or-later
"""The daemon's life: starting, the control socket and its limits, who may act, reload, a full disk,
copies, a damaged file, a second daemon, the service manager.

usage: daemon_life.py WITHERD [TEST...]
"""
import grp
import json
import os
import re
import resource
import signal
import socket
import sqlite3
import sys
import time

sys.path.insert(0, os.path.dirname(os.path.abspath(__file__)))
import rig  # noqa: E402

TOPIC = "shed/north-room"


def quiet(witherd, **options):
    """A daemon without a broker."""
    bench = rig.Rig(witherd, broker=False, **options)
    bench.start()
    return bench


def test_options(witherd):
    bench = rig.Rig(witherd, broker=False)
    try:
        assert bench.run("--check").returncode == 0
        with open(bench.config, "a", encoding="utf-8") as out:
            out.write("area_m2 = -3\n")
        out = bench.run("--check")
        assert out.returncode == 78, out
        line = len(open(bench.config, encoding="utf-8").read().splitlines())
        assert f"{bench.config}:{line}:" in out.stderr, out.stderr
        assert bench.run().returncode == 78
        assert bench.run("--replay", "/nonexistent").returncode == 78
        # What is named must be there: a typing error is told by the check, not at night by systemd.
        for daemon, broker in (("socket_group = nobodys-group", ""),
                               ("", "tls = yes\nca_file = /nonexistent/ca.pem"),
                               ("", "tls = yes\ncert_file = /nonexistent/c.pem\nkey_file = /nonexistent/k.pem")):
            bench.write_config(daemon, f"[broker]\nhost = localhost\n{broker}")
            out = bench.run("--check")
            assert out.returncode == 78, out
            text = open(bench.config, encoding="utf-8").read().splitlines()
            for key, value in ((line.split(" = ")) for line in f"{daemon}\n{broker}".splitlines()
                               if "non" in line or "nobodys" in line):
                line = text.index(f"{key} = {value}") + 1
                assert re.search(f"{bench.config}:{line}: {key} .*'{value}'", out.stderr), (line, out.stderr)
            if daemon:
                assert bench.run().returncode == 78
        assert bench.run("--frozen-at", "yesterday").returncode == 2
        assert bench.run("extra").returncode == 2
        assert bench.run("--version").stdout.startswith("witherd ")
        assert "--frozen-at" in bench.run("--help").stdout
    finally:
        bench.close()


def test_bad_lines(witherd):
    bench = quiet(witherd)
    try:
        ask = b'{"jsonrpc":"2.0","id":7,"method":"health"}\n'
        for line, code in ((b"hello\n", -32700), (b"{}\n", -32600), (b"[]\n", -32600),
                           (b'{"jsonrpc":"1.0","id":1,"method":"health"}\n', -32600),
                           (b'{"jsonrpc":"2.0","id":1,"method":"brew"}\n', -32601),
                           (b'{"jsonrpc":"2.0","id":1,"method":"show","params":[1]}\n', None),
                           (b'{"jsonrpc":"2.0","id":1,"method":"show","params":{"load":99}}\n', None),
                           (b'{"jsonrpc":"2.0","id":1,"method":"\xff\xfe"}\n', -32700),
                           (b"[" * 5000 + b"\n", -32700),
                           (b'{"a":"' + b"x" * 70000 + b'"}\n', -32600)):
            answer = bench.raw(line)
            assert "error" in answer and answer["error"]["message"], (line[:80], answer)
            assert code is None or answer["error"]["code"] == code, (line[:80], answer)
            assert bench.raw(ask)["id"] == 7
        for what, params in (("export", {"what": "everything"}), ("export", {}),
                             ("export", {"what": "readings", "cursor": "1:2"}),
                             ("backup", {"file": "relative"}), ("backup", {}),
                             ("backup", {"file": bench.database}),
                             ("backup", {"file": "/nonexistent/copy.db"}),
                             ("review", {"since": "whenever"}), ("health2", {})):
            error = bench.refused(what, **params)
            given = [str(v) for v in params.values() if v not in ("readings",)]
            assert not given or any(g in error["message"] for g in given), (what, params, error)
    finally:
        bench.close()


def test_parameters(witherd):
    """Methods and parameters are the verbs and their long options; another one is refused."""
    bench = rig.Rig(witherd, broker=False)
    try:
        bench.start()
        for method in ("tonight", "loads", "air", "plan", "review", "ledger", "gardens", "stations",
                       "health", "watch", "undo", "export", "backup"):
            error = bench.refused(method, colour="red")
            assert error["code"] == -32602 and "'colour'" in error["message"], (method, error)
            assert error["data"]["given"] == "colour" and error["data"]["accepted"], (method, error)
        columns = bench.ask("export", what="forecasts", csv=True)["columns"]
        assert columns == ["issued_unix_s", "load", "loss_p10_pct", "loss_p50_pct", "loss_p90_pct",
                           "ready_p10_unix_s", "ready_p25_unix_s", "ready_p50_unix_s",
                           "ready_p75_unix_s", "ready_p90_unix_s", "past_p50_unix_s",
                           "p_ready_tonight", "call"], columns
        assert bench.ask("stations")["broker"]["since_unix_s"] is None
        assert bench.stop() == 0
    finally:
        bench.close()


def test_batches(witherd):
    """An array of requests is answered by an array (JSON-RPC 2.0, section 6, and its examples)."""
    def request(number, method, **params):
        return {"jsonrpc": "2.0", "id": number, "method": method, "params": params}

    def send(bench, value):
        return bench.raw(json.dumps(value).encode() + b"\n")

    bench = quiet(witherd)
    try:
        # Acts wait for the disk, a density for a run, an export for the file: all in one answer.
        answers = send(bench, [
            request("a", "spread", origin="creek", kg=8, area=8),
            request(2, "density", origin="creek", kg=8),
            {"jsonrpc": "2.0", "method": "spread", "params": {"origin": "dike", "kg": 5, "area": 4}},
            request(3, "nothing"), 7, request(4, "export", what="readings"), request(5, "watch")])
        by_id = {answer["id"]: answer for answer in answers}
        assert len(answers) == 6 and set(by_id) == {"a", 2, 3, 4, 5, None}, answers
        assert by_id["a"]["result"]["act"]["load"] == 1, answers
        assert by_id[2]["error"]["code"] == -32001 and by_id[3]["error"]["code"] == -32601, answers
        assert by_id[None]["error"]["code"] == -32600 and by_id[5]["error"]["code"] == -32600
        assert by_id[4]["result"]["rows"] == []
        rig.wait_for(lambda: len(bench.ask("loads")["loads"]) == 2)
        for value in ([], [request(n, "health") for n in range(17)]):
            answer = send(bench, value)
            assert answer["error"]["code"] == -32600 and answer["id"] is None, answer
            assert f"not {len(value)}" in answer["error"]["message"], answer
        assert len(send(bench, [1, 2, 3])) == 3
        # A batch of notifications is not answered; what follows is.
        with socket.socket(socket.AF_UNIX) as sock:
            sock.settimeout(10)
            sock.connect(bench.socket)
            sock.sendall(b'[{"jsonrpc":"2.0","method":"health"},{"jsonrpc":"2.0","method":"no"}]\n'
                         + json.dumps(request(9, "loads")).encode() + b"\n")
            with sock.makefile("rb") as stream:
                assert json.loads(stream.readline())["id"] == 9
        # One who leaves before the answer leaves nothing behind.
        for _ in range(20):
            with socket.socket(socket.AF_UNIX) as sock:
                sock.connect(bench.socket)
                sock.sendall(json.dumps([request(n, "feel", load=1, step="soft")
                                         for n in range(16)]).encode() + b"\n")
        assert bench.ask("health")["facts"]["loads_open"] == 2
        assert bench.stop() == 0, bench.log_text()[-2000:]
    finally:
        bench.close()


def test_pipelined_and_split(witherd):
    bench = quiet(witherd)
    try:
        with socket.socket(socket.AF_UNIX) as sock:
            sock.settimeout(10)
            sock.connect(bench.socket)
            many = b"".join(json.dumps({"jsonrpc": "2.0", "id": n, "method": "health"}).encode()
                            + b"\n" for n in range(300))
            for at in range(0, len(many), 777):
                sock.sendall(many[at:at + 777])
            sock.shutdown(socket.SHUT_WR)
            with sock.makefile("rb") as stream:
                ids = [json.loads(line)["id"] for line in stream]
        assert sorted(ids) == list(range(300)), ids
    finally:
        bench.close()


def test_client_limit_and_deadline(witherd):
    bench = quiet(witherd)
    socks = []
    try:
        for _ in range(40):
            sock = socket.socket(socket.AF_UNIX)
            sock.settimeout(15)
            sock.connect(bench.socket)
            socks.append(sock)
        answer = json.loads(socks[-1].makefile("rb").readline())
        assert answer["error"]["code"] == -32002, answer
        for sock in socks[1:]:
            sock.close()
        # The one that is left begins a request and does not end it.
        began = time.monotonic()
        socks[0].sendall(b'{"jsonrpc":')
        answer = json.loads(socks[0].makefile("rb").readline())
        assert "10 s" in answer["error"]["message"] and 8 < time.monotonic() - began < 14
        assert bench.ask("health")["facts"]["version"]
    finally:
        for sock in socks:
            sock.close()
        bench.close()


def as_other(bench, gid, groups, method, **params):
    """What a stranger hears; run in a child, since it gives up its rights."""
    read, write = os.pipe()
    pid = os.fork()
    if pid == 0:
        try:
            os.setgroups(groups)
            os.setgid(gid)
            os.setuid(65534)
            answer = bench.call(method, **params)
        except OSError as fault:
            answer = {"fault": str(fault)}
        os.write(write, json.dumps(answer).encode()[:60000])
        os._exit(0)
    os.close(write)
    with os.fdopen(read, "rb") as stream:
        text = stream.read()
    os.waitpid(pid, 0)
    return json.loads(text)


def test_who_may(witherd):
    if os.geteuid() != 0:
        print("   needs root for other users: only the mode is looked at")
    bench = quiet(witherd, daemon="socket_group = games")
    try:
        there = os.stat(bench.socket)
        assert there.st_mode & 0o777 == 0o660, oct(there.st_mode)
        if os.geteuid() != 0:
            return
        games = grp.getgrnam("games").gr_gid
        assert there.st_gid == games
        os.chmod(bench.work, 0o755)
        spread = {"origin": "creek", "kg": 5, "area": 5}
        assert "fault" in as_other(bench, 65534, [], "health")
        assert "result" in as_other(bench, 65534, [games], "health")
        assert "result" in as_other(bench, 65534, [games], "spread", **spread)
        assert "result" in as_other(bench, games, [], "spread", **spread)
        # Let in by a looser mode, somebody of no group may read and not act.
        os.chmod(bench.socket, 0o666)
        assert "result" in as_other(bench, 65534, [], "tonight")
        for method, params in (("spread", spread), ("undo", {}), ("backup", {"file": "/tmp/x"})):
            answer = as_other(bench, 65534, [], method, **params)
            assert answer["error"]["code"] == -32003, answer
        assert len(bench.export("loads")) == 2
    finally:
        bench.close()


def test_second_daemon(witherd):
    bench = quiet(witherd)
    try:
        out = bench.run("--socket", f"{bench.work}/other.sock")
        assert out.returncode == 1 and "in use" in out.stderr, out
        assert bench.ask("health")
        # The same socket, another database.
        other = rig.Rig(witherd, broker=False)
        out = other.run("--socket", bench.socket)
        assert out.returncode == 1 and "another witherd" in out.stderr, out
        other.close()
        # A socket left by a killed daemon is no hindrance, a plain file is.
        bench.kill()
        bench.start()
        assert bench.stop() == 0, bench.log_text()[-4000:]
        assert not os.path.exists(bench.socket)
        with open(bench.socket, "w", encoding="utf-8"):
            pass
        out = bench.run()
        assert out.returncode == 1 and "not a socket" in out.stderr, out
    finally:
        bench.close()


def test_reload(witherd):
    bench = quiet(witherd)
    try:
        bench.ask("spread", origin="creek", kg=5, area=5)
        bench.write_config(more="[room loft]\n")
        bench.process.send_signal(signal.SIGHUP)

        def taken():
            """the new room to be known"""
            return bench.refused("air", room="loft")["code"] == -32001
        rig.wait_for(taken)
        assert len(bench.export("loads")) == 1
        bench.write_config(more="[room loft]\ncolour = red\n")
        bench.process.send_signal(signal.SIGHUP)

        def said():
            """the fault to be said"""
            return [i for i in bench.ask("health")["items"] if "colour" in i["text"]]
        rig.wait_for(said)
        assert taken()
        assert "the old one stays" in bench.log_text()
        assert bench.stop() == 0, bench.log_text()[-4000:]
    finally:
        bench.close()


def test_full_disk(witherd):
    bench = rig.Rig(witherd)
    try:
        bench.start_broker()
        bench.start()
        rig.wait_for(bench.connected)
        time.sleep(0.3)
        station = rig.Publisher(bench.port)
        station.publish(TOPIC, '{"temperature":20.0,"humidity":60}')
        rig.wait_for(lambda: bench.export("readings"))
        # No file of the process may grow: what a full disk is to it.
        size = os.path.getsize(bench.database + "-wal")
        resource.prlimit(bench.process.pid, resource.RLIMIT_FSIZE,
                         (size, resource.RLIM_INFINITY))
        sent = []
        for number in range(60):
            temp_c = round(20.5 + number / 100, 2)
            station.publish(TOPIC, f'{{"temperature":{temp_c},"humidity":61}}', qos=0)
            sent.append(temp_c)

        def said():
            """health to say that nothing can be written"""
            return "store_busy" in bench.codes()
        rig.wait_for(said)
        error = bench.refused("spread", origin="creek", kg=5, area=5)
        assert error["code"] == -32002 and "try again" in error["message"], error
        began = time.monotonic()
        bench.ask("tonight")
        assert time.monotonic() - began < 3
        resource.prlimit(bench.process.pid, resource.RLIMIT_FSIZE,
                         (resource.RLIM_INFINITY, resource.RLIM_INFINITY))

        def over():
            """the rows to be drained"""
            return len(bench.export("readings")) == 61
        try:
            rig.wait_for(over, 30)
        except AssertionError:
            raise AssertionError((len(bench.export("readings")), bench.ask("health"),
                                  bench.log_text()))
        rows = bench.export("readings")
        assert [r["temp_c"] for r in rows] == [20.0] + sent
        bench.ask("spread", origin="creek", kg=5, area=5)
        assert "store_busy" not in bench.codes()
        assert bench.stop() == 0, bench.log_text()[-4000:]
    finally:
        bench.close()


def test_copies(witherd):
    bench = quiet(witherd)
    try:
        bench.ask("spread", origin="creek", kg=5, area=5)
        copy = f"{bench.work}/copy.db"
        told = bench.ask("backup", file=copy)
        assert told["file"] == copy and told["bytes"] == os.path.getsize(copy)
        assert os.stat(copy).st_mode & 0o777 == 0o640
        base = sqlite3.connect(copy)
        assert base.execute("PRAGMA integrity_check").fetchone()[0] == "ok"
        assert base.execute("SELECT count(*) FROM act").fetchone()[0] == 1
        base.close()
        # The copy serves in place of the file.
        assert bench.stop() == 0, bench.log_text()[-4000:]
        os.replace(copy, bench.database)
        bench.start()
        assert [r["origin"] for r in bench.export("loads")] == ["creek"]
    finally:
        bench.close()


def test_damaged_file(witherd):
    bench = quiet(witherd)
    try:
        for number in range(40):
            bench.ask("spread", origin=f"garden-{number}", kg=5, area=5)
        bench.kill()
        base = sqlite3.connect(bench.database)
        base.execute("PRAGMA wal_checkpoint(TRUNCATE)")
        base.close()
        with open(bench.database, "r+b") as damaged:
            damaged.seek(4096)
            damaged.write(os.urandom(12000))
        bench.start()
        aside = bench.database + ".damaged-1"
        assert os.path.exists(aside)
        assert "set_aside" in bench.codes()
        text = [i["text"] for i in bench.ask("health")["items"] if i["code"] == "set_aside"][0]
        assert aside in text
        bench.ask("spread", origin="new", kg=5, area=5)
        assert bench.stop() == 0, bench.log_text()[-4000:]
        # A newer schema and a stranger's file are left alone.
        base = sqlite3.connect(bench.database)
        base.execute("PRAGMA user_version = 99")
        base.close()
        out = bench.run()
        assert out.returncode == 1 and "newer" in out.stderr, out
        os.unlink(bench.database)
        base = sqlite3.connect(bench.database)
        base.execute("CREATE TABLE mine(x)")
        base.commit()
        base.close()
        out = bench.run()
        assert out.returncode == 1 and "another program" in out.stderr, out
    finally:
        bench.close()


def test_service_manager(witherd):
    bench = rig.Rig(witherd, broker=False)
    manager = socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM)
    try:
        manager.bind(f"{bench.work}/notify")
        manager.settimeout(10)
        env = dict(os.environ, NOTIFY_SOCKET=f"{bench.work}/notify", WATCHDOG_USEC="1000000")
        bench.start(env=env)
        words = [manager.recv(4096).decode()]
        assert words[0] == "READY=1"
        end = time.monotonic() + 2.0
        while time.monotonic() < end:
            words.append(manager.recv(4096).decode())
        assert any(w.startswith("STATUS=") for w in words)
        assert 3 <= words.count("WATCHDOG=1") <= 6, words
        assert bench.stop() == 0, bench.log_text()[-4000:]
        while "STOPPING=1" not in words:
            words.append(manager.recv(4096).decode())
    finally:
        manager.close()
        bench.close()


def test_journal_faults(witherd):
    bench = rig.Rig(witherd, broker=False)
    good = '{"at":1775000000,"topic":"shed/north-room","payload":"{}"}\n'
    try:
        for bad, word in (('{"at":1774999999,"topic":"t","payload":""}', "before"),
                          ("not json", "JSON"), ('{"at":"soon","topic":"t","payload":""}', "soon"),
                          ('{"at":1775000001}', "topic"),
                          ('{"at":1775000001,"topic":"t","payload":"","retain":true}',
                           "the keys there are at, topic, payload, payload_base64, retained, not 'retain'"),
                          ('{"at":1775000001,"call":{"id":1,"method":"undo"}}',
                           "the keys there are method, params, not 'id'")):
            journal = f"{bench.work}/journal.jsonl"
            with open(journal, "w", encoding="utf-8") as out:
                out.write(good + bad + "\n")
            if os.path.exists(bench.database):
                os.unlink(bench.database)
            out = bench.run("--replay", journal)
            assert out.returncode == 1 and f"{journal}:2:" in out.stderr, (bad, out)
            assert word in out.stderr, (bad, out.stderr)
        with open(journal, "w", encoding="utf-8") as out:
            out.write(good + '{"at":1775000002,"call":{"method":"weigh","params":{"load":3,"kg":1}}}\n'
                      '{"at":1775000003,"outlook":{"hourly":{}}}\n'
                      '{"at":1775000003,"call":{"method":"spread","params":'
                      '{"origin":"creek","kg":5,"area":5}}}\n')
        os.unlink(bench.database)
        out = bench.run("--replay", journal)
        assert out.returncode == 0 and f"{journal}:2:" in out.stderr, out
        assert "2 acts (1 refused), 1 outlooks (1 not taken)" in out.stderr, out
        out = bench.run("--replay", journal)
        assert out.returncode == 1 and "holds data" in out.stderr, out
        bench.start("--frozen-at", "1775000003")
        assert bench.ask("tonight")["now_unix_s"] == 1775000003
        assert len(bench.export("loads")) == 1
        assert "past moment" in bench.refused("undo")["message"]
        assert bench.stop() == 0, bench.log_text()[-4000:]
    finally:
        bench.close()


def test_watch(witherd):
    bench = quiet(witherd)
    try:
        with socket.socket(socket.AF_UNIX) as sock:
            sock.settimeout(10)
            sock.connect(bench.socket)
            sock.sendall(b'{"jsonrpc":"2.0","id":"w","method":"watch"}\n')
            with sock.makefile("rb") as stream:
                first = json.loads(stream.readline())
                assert first["id"] == "w" and first["result"]["tonight"]["loads"] == []
                bench.ask("spread", origin="creek", kg=5, area=5)
                second = json.loads(stream.readline())
                assert len(second["result"]["tonight"]["loads"]) == 1
        assert bench.stop() == 0, bench.log_text()[-4000:]
    finally:
        bench.close()


def main():
    witherd = sys.argv[1]
    wanted = sys.argv[2:]
    for name, test in sorted(globals().items()):
        if name.startswith("test_") and (not wanted or name in wanted):
            began = time.monotonic()
            test(witherd)
            print(f"ok {name} {time.monotonic() - began:.1f} s", flush=True)


main()
