#!/usr/bin/env python3
# SPDX-License-Identifier: GPL-3.0-or-later
"""Guests who behave badly at the control socket: slow, endless, silent, many, deaf.  Whatever they do,
somebody else gets an answer at once, and memory stays bounded.  What the daemon listens on is looked
at too: no network address.

usage: daemon_guests.py WITHERD
"""
import json
import os
import socket
import sys
import threading
import time

sys.path.insert(0, os.path.dirname(os.path.abspath(__file__)))
import rig  # noqa: E402

ASK = b'{"jsonrpc":"2.0","id":7,"method":"health"}\n'
# As in daemon/control.h.
CLIENTS, RATE_PER_S = 32, 200
# A machine under load is slow; a daemon that waits for a guest is not an answer at all.
AT_ONCE_S = 5.0


def guest(bench, timeout=30.0):
    sock = socket.socket(socket.AF_UNIX)
    sock.connect(bench.socket)
    sock.settimeout(timeout)
    return sock


def lines_of(sock):
    """What comes until the daemon hangs up."""
    with sock.makefile("rb") as stream:
        try:
            return [json.loads(line) for line in stream]
        except ConnectionResetError:
            return []


def answers_at_once(bench):
    began = time.monotonic()
    assert bench.raw(ASK)["id"] == 7
    took = time.monotonic() - began
    assert took < AT_ONCE_S, f"an answer took {took:.1f} s"


def busy_s(bench):
    """Processor time of the daemon's loop so far."""
    with open(f"/proc/{bench.process.pid}/schedstat", encoding="ascii") as text:
        return int(text.read().split()[0]) * 1e-9


def rss_kib(bench):
    with open(f"/proc/{bench.process.pid}/status", encoding="ascii") as text:
        return next(int(line.split()[1]) for line in text if line.startswith("VmRSS"))


def is_checked(bench):
    """Sanitizers keep memory for their own ends: it is not the daemon's to bound."""
    with open(f"/proc/{bench.process.pid}/maps", encoding="utf-8") as text:
        maps = text.read()
    return any(name in maps for name in ("libasan", "libtsan", "libubsan"))


def run_bench(witherd, **options):
    bench = rig.Rig(witherd, broker=False, **options)
    bench.start()
    return bench


def test_slow_guests(witherd):
    """One line that never ends is cut off; many lines that are cut at odd places are not."""
    bench = run_bench(witherd)
    told = {}

    def drip():
        began = time.monotonic()
        with guest(bench) as sock:
            try:
                for byte in b'{"jsonrpc":"2.0",' * 8:
                    sock.sendall(bytes([byte]))
                    time.sleep(0.2)
                    if time.monotonic() - began > 11:
                        break
            except OSError:
                pass
            told["drip"] = lines_of(sock), time.monotonic() - began

    def odd():
        with guest(bench) as sock:
            stream = sock.makefile("rb")
            rest, count = b"", 0
            end = time.monotonic() + 12
            while time.monotonic() < end:
                data = rest + ASK
                # Always some of the next line is under way.
                sock.sendall(data[:-20])
                rest = data[-20:]
                if count:
                    assert json.loads(stream.readline())["id"] == 7
                count += 1
                time.sleep(0.25)
            sock.sendall(rest)
            assert json.loads(stream.readline())["id"] == 7
            told["odd"] = count

    def silent():
        with guest(bench) as sock:
            time.sleep(12)
            sock.sendall(ASK)
            told["silent"] = json.loads(sock.makefile("rb").readline())["id"]
    threads = [threading.Thread(target=run) for run in (drip, odd, silent)]
    try:
        for thread in threads:
            thread.start()
        while any(thread.is_alive() for thread in threads):
            answers_at_once(bench)
            time.sleep(0.5)
        lines, took = told["drip"]
        assert len(lines) == 1 and "10 s" in lines[0]["error"]["message"], told
        assert 9 < took < 20, took
        assert told.get("odd", 0) >= 20, told
        assert told.get("silent") == 7, told
        assert bench.stop() == 0, bench.log_text()[-4000:]
    finally:
        bench.close()


def test_long_lines(witherd):
    bench = run_bench(witherd)
    try:
        for line in (b"x" * 1048576, b"x" * 1048576 + b"\n", b"[" * 1048576, b"\0" * 1048576,
                     b'{"jsonrpc":"2.0","id":1,"method":"' + b"y" * 65536 + b'"}\n'):
            with guest(bench) as sock:
                try:
                    sock.sendall(line)
                except (BrokenPipeError, ConnectionResetError):
                    pass
                answers = lines_of(sock)
            assert len(answers) <= 1, answers
            for answer in answers:
                assert "64 KiB" in answer["error"]["message"], answer
            answers_at_once(bench)
        # The longest that is allowed.
        pad = b"z" * (65536 - 70)
        line = b'{"jsonrpc":"2.0","id":1,"method":"' + pad + b'"}\n'
        assert "64 KiB" not in bench.raw(line)["error"]["message"]
        assert is_checked(bench) or rss_kib(bench) < 100 * 1024
        assert bench.stop() == 0, bench.log_text()[-4000:]
    finally:
        bench.close()


def test_many_guests(witherd):
    bench = run_bench(witherd)
    socks = []
    try:
        before = len(os.listdir(f"/proc/{bench.process.pid}/fd"))
        for _ in range(200):
            socks.append(guest(bench))
        told = 0
        for sock in socks[CLIENTS:]:
            answer = json.loads(sock.makefile("rb").readline())
            assert answer["error"]["code"] == -32002, answer
            assert "too many connections" in answer["error"]["message"], answer
            told += 1
        assert told == 200 - CLIENTS
        # Those who are in are served.
        for sock in socks[:CLIENTS]:
            sock.sendall(ASK)
        for sock in socks[:CLIENTS]:
            assert json.loads(sock.makefile("rb").readline())["id"] == 7
        for sock in socks:
            sock.close()

        def room_again():
            """the daemon to let somebody in again"""
            return bench.try_ask("health")
        rig.wait_for(room_again)

        def given_back():
            """the files of the guests to be closed"""
            return len(os.listdir(f"/proc/{bench.process.pid}/fd")) <= before
        rig.wait_for(given_back)
        # Coming and going, and hanging up in the middle of a question or of its answer.
        for number in range(500):
            with guest(bench) as sock:
                try:
                    sock.sendall(ASK[:number % len(ASK)] if number % 2 else ASK)
                except BrokenPipeError:
                    pass  # turned away: those before have not been missed yet
        rig.wait_for(room_again)
        rig.wait_for(given_back)
        # Watchers that leave do not keep their places until there is something new.
        for _ in range(3):
            for _ in range(CLIENTS - 2):
                with guest(bench) as sock:
                    # Nobody has to be turned away for them.
                    sock.sendall(b'{"jsonrpc":"2.0","id":"w","method":"watch"}\n')
                    assert sock.makefile("rb").readline()
            rig.wait_for(given_back)
        answers_at_once(bench)
        assert bench.stop() == 0, bench.log_text()[-4000:]
    finally:
        for sock in socks:
            sock.close()
        bench.close()


def test_half_open(witherd):
    bench = run_bench(witherd)
    try:
        # It has said all it will: it still gets its answers, then the end.
        with guest(bench) as sock:
            sock.sendall(ASK * 3)
            sock.shutdown(socket.SHUT_WR)
            assert len(lines_of(sock)) == 3
        # More than are served in one turn, or in one second.
        for count in (9, 17, 100, 450):
            with guest(bench) as sock:
                sock.sendall(ASK * count)
                sock.shutdown(socket.SHUT_WR)
                assert len(lines_of(sock)) == count
        # A question broken off is no question.
        with guest(bench) as sock:
            sock.sendall(ASK + ASK[:20])
            sock.shutdown(socket.SHUT_WR)
            assert len(lines_of(sock)) == 1
        with guest(bench) as sock:
            sock.shutdown(socket.SHUT_WR)
            assert not lines_of(sock)
        # An act broken off is not done.
        act = {"jsonrpc": "2.0", "id": 1, "method": "spread",
               "params": {"origin": "creek", "kg": 5, "area": 5}}
        with guest(bench) as sock:
            sock.sendall(json.dumps(act).encode())
            sock.shutdown(socket.SHUT_WR)
            assert not lines_of(sock)
        assert bench.export("loads") == []
        # One that is gone before its answer: the act counts, and only once.
        with guest(bench) as sock:
            sock.sendall(json.dumps(act).encode() + b"\n")
        rig.wait_for(lambda: len(bench.export("loads")) == 1)
        # A watcher that closes its sending side goes on hearing.
        with guest(bench) as sock:
            sock.sendall(b'{"jsonrpc":"2.0","id":"w","method":"watch"}\n')
            sock.shutdown(socket.SHUT_WR)
            stream = sock.makefile("rb")
            assert json.loads(stream.readline())["id"] == "w"
            bench.ask("undo")
            assert json.loads(stream.readline())["id"] == "w"
        answers_at_once(bench)
        assert bench.stop() == 0, bench.log_text()[-4000:]
    finally:
        bench.close()


def test_deaf_guests(witherd):
    """Those who ask without end and never read: what they cost is bounded, and only they wait."""
    bench = run_bench(witherd)
    socks = []
    try:
        for number in range(60):
            bench.ask("spread", origin=f"garden-{number}", kg=5, area=5)
        ask = b'{"jsonrpc":"2.0","id":1,"method":"loads","params":{"all":true}}\n' * 500
        before = rss_kib(bench)
        # Each guest has its turn until its unread answers are too many.  By the daemon's own processor
        # time, not the clock: before an answer comes at most a tenth of the work they ask for.
        began_s = busy_s(bench)
        for _ in range(40):
            bench.ask("loads", all=True)
        within_s = (CLIENTS - 2) * 500 / 10 * (busy_s(bench) - began_s) / 40
        longest_s = 0.0
        for _ in range(CLIENTS - 2):
            sock = guest(bench)
            sock.setblocking(False)
            try:
                sock.sendall(ask)
            except BlockingIOError:
                pass
            socks.append(sock)
        most = 0
        end = time.monotonic() + 6
        while time.monotonic() < end:
            began_s = busy_s(bench)
            assert bench.raw(ASK, timeout=120)["id"] == 7
            longest_s = max(longest_s, busy_s(bench) - began_s)
            most = max(most, rss_kib(bench))
            time.sleep(0.2)
        print(f"   {len(socks)} deaf guests: an answer after {longest_s:.2f} s of work, bound {within_s:.2f} s; "
              f"resident memory {before} -> {most} KiB")
        assert longest_s < within_s
        assert is_checked(bench) or most - before < 48 * 1024, (before, most)
        # One of them listens after all, and has lost nothing of what it asked.
        socks[0].setblocking(True)
        socks[0].settimeout(30)
        stream = socks[0].makefile("rb")
        for _ in range(100):
            assert len(json.loads(stream.readline())["result"]["loads"]) == 60
        for sock in socks:
            sock.close()
        answers_at_once(bench)
        assert bench.stop() == 0, bench.log_text()[-4000:]
    finally:
        for sock in socks:
            sock.close()
        bench.close()


def test_dismissed_guest(witherd):
    """One that is sent away, and does not hear it, is not read any more when an open question is answered."""
    bench = run_bench(witherd)
    try:
        for number in range(60):
            bench.ask("spread", origin=f"garden-{number}", kg=5, area=5)
        ask = b'{"jsonrpc":"2.0","id":1,"method":"loads","params":{"all":true}}\n'
        with guest(bench) as sock:
            sock.sendall(ask)
            answer = len(sock.makefile("rb").readline())
        backup = json.dumps({"jsonrpc": "2.0", "id": 2, "method": "backup",
                             "params": {"file": os.path.join(bench.work, "copy.db")}}).encode() + b"\n"
        sent = 0
        with guest(bench, timeout=2.0) as sock:
            # Answers fill the line, and some remain to be sent.
            sock.sendall(ask * (320 * 1024 // answer))
            time.sleep(2.0)
            # The copy is under way while the line that never ends has it sent away.
            sock.sendall(backup + b"x" * 70000)
            rig.wait_for(lambda: os.path.exists(os.path.join(bench.work, "copy.db")))
            end = time.monotonic() + 8
            try:
                while time.monotonic() < end:
                    sent += sock.send(b"x" * 65536)
            except (BlockingIOError, TimeoutError, BrokenPipeError, ConnectionResetError):
                pass
        print(f"   {sent // 1024} KiB taken of a guest sent away")
        assert sent < 4 * 1024 * 1024, sent
        answers_at_once(bench)
        assert bench.stop() == 0, bench.log_text()[-4000:]
    finally:
        bench.close()


def test_more_than_its_share(witherd):
    """A flood is answered in full, at the rate of one guest, also beside a question that stays open."""
    bench = run_bench(witherd)
    try:
        with guest(bench) as sock:
            sock.sendall(b'{"jsonrpc":"2.0","id":"w","method":"watch"}\n')
            stream = sock.makefile("rb")
            assert json.loads(stream.readline())["id"] == "w"
            count = 3 * RATE_PER_S
            began = time.monotonic()
            sock.sendall(ASK * count)
            answers_at_once(bench)
            got = 0
            while got < count:
                got += json.loads(stream.readline())["id"] == 7
            took = time.monotonic() - began
        print(f"   {count} questions in {took:.1f} s")
        # 200 at once, the others at 200/s.
        assert took > 0.9 * (count - RATE_PER_S) / RATE_PER_S, took
        assert bench.stop() == 0, bench.log_text()[-4000:]
    finally:
        bench.close()


def test_nothing_of_the_configuration(witherd):
    """No request reads a secret or writes the configuration, whoever asks."""
    bench = rig.Rig(witherd, broker=False)
    secret = f"{bench.work}/password"
    try:
        with open(secret, "w", encoding="utf-8") as out:
            out.write("open sesame\n")
        os.chmod(secret, 0o600)
        bench.write_config(broker=f"[broker]\nhost = 127.0.0.1\nport = {bench.port}\n"
                                  f"user = witherd\npassword_file = {secret}\n")
        before = open(bench.config, "rb").read()
        bench.start()
        for method in ("config", "configure", "reload", "set", "get", "shutdown", "stop", "broker",
                       "password", "station", "room", "learn", "record", "replay", "system.listMethods",
                       "rpc.discover", "../health", "Health", "health\x00", ""):
            error = bench.refused(method)
            assert error["code"] in (-32601, -32600, -32700), (method, error)
        for method in ("tonight", "plan", "loads", "air", "review", "ledger", "gardens", "stations",
                       "health"):
            text = json.dumps(bench.call(method, config="x", socket="x", database="x", host="x",
                                         password_file="x"))
            assert "sesame" not in text and secret not in text, text
        # A copy goes to a new name: neither the record's own files nor a link to something else.
        for there in (bench.database, bench.database + "-wal", bench.database + "-journal", bench.config, secret):
            error = bench.refused("backup", file=there)
            assert there in error["message"], error
        os.symlink(bench.config, f"{bench.work}/link")
        bench.refused("backup", file=f"{bench.work}/link")
        assert open(bench.config, "rb").read() == before
        assert open(secret, "rb").read() == b"open sesame\n"
        assert bench.stop() == 0, bench.log_text()[-4000:]
    finally:
        bench.close()


def listening(pid):
    """Sockets of a process that wait for somebody from the network, as the kernel lists them."""
    own = set()
    for fd in os.listdir(f"/proc/{pid}/fd"):
        try:
            link = os.readlink(f"/proc/{pid}/fd/{fd}")
        except FileNotFoundError:
            continue
        if link.startswith("socket:["):
            own.add(link[8:-1])
    found, connected = [], 0
    for table in ("tcp", "tcp6", "udp", "udp6", "raw", "raw6", "packet", "netlink"):
        try:
            with open(f"/proc/{pid}/net/{table}", encoding="ascii") as text:
                rows = [line.split() for line in text.readlines()[1:]]
        except FileNotFoundError:
            continue
        for row in rows:
            inode = row[9] if table not in ("packet", "netlink") else row[-1]
            if inode not in own:
                continue
            # 01: an established connection of TCP (include/net/tcp_states.h).
            if table.startswith("tcp") and row[3] == "01":
                connected += 1
            else:
                found.append((table, row))
    return found, connected


def test_no_network_listener(witherd):
    bench = rig.Rig(witherd, broker_more="publish_prefix = wither\n")
    try:
        bench.start_broker()
        bench.start()
        rig.wait_for(bench.connected)
        found, connected = listening(bench.process.pid)
        assert not found, found
        # The look itself works: the connection to the broker is there.
        assert connected == 1, connected
        found, _ = listening(bench.broker.pid)
        assert found, "the broker's own listener was not seen"
        assert bench.stop() == 0
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
