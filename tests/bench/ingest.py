#!/usr/bin/env python3
# SPDX-License-Identifier: GPL-3.0-or-later
"""How fast readings reach the disk through a real broker, beside what the disk can do.

usage: ingest.py WITHERD [QOS1_MESSAGES QOS0_MESSAGES]
QoS 1: each message is on disk before it is acknowledged, so the measure is the machine's own rate of
(append 200 bytes + fdatasync), taken in the same run on the same file system.
"""
import os
import struct
import sys
import tempfile
import threading
import time

sys.path.insert(0, os.path.join(os.path.dirname(os.path.abspath(__file__)), "..", "e2e"))
import rig  # noqa: E402

TOPIC = b"shed/north-room"


def disk_rate(seconds=2.0):
    with tempfile.NamedTemporaryFile(dir="/tmp") as out:
        block, n = b"x" * 200, 0
        began = time.perf_counter()
        while time.perf_counter() - began < seconds:
            os.write(out.fileno(), block)
            os.fdatasync(out.fileno())
            n += 1
        return n / (time.perf_counter() - began)


def packets(count, qos, base):
    """All messages as one run of bytes, each reading different."""
    out = bytearray()
    for n in range(count):
        payload = b'{"temperature":%.3f,"humidity":%.1f}' % (base + n % 20000 * 0.001,
                                                             40 + n // 20000)
        body = struct.pack(">H", len(TOPIC)) + TOPIC
        if qos:
            body += struct.pack(">H", n % 65535 + 1)
        body += payload
        out += bytes([0x30 | qos << 1]) + rig.Publisher.length(len(body)) + body
    return bytes(out)


def drain(publisher):
    try:
        while publisher.sock.recv(65536):
            pass
    except OSError:
        pass


def run(bench, count, qos, base):
    """Messages a second from the first sent to the last in the database."""
    station = rig.Publisher(bench.port, f"bench-{qos}")
    data = packets(count, qos, base)
    before = bench.ask("health")["facts"]["readings"]
    threading.Thread(target=drain, args=(station,), daemon=True).start()
    began = time.perf_counter()
    station.sock.settimeout(120)
    station.sock.sendall(data)
    last, moved = -1, time.perf_counter()
    while True:
        there = bench.ask("health")["facts"]
        got = there["readings"] - before
        if got >= count and there["queue"] == 0:
            break
        if got != last:
            last, moved = got, time.perf_counter()
        if time.perf_counter() - moved > 10:
            print(f"QoS {qos}: only {got} of {count} arrived")
            return 0.0
        time.sleep(0.01)
    return count / (time.perf_counter() - began)


def main():
    n1 = int(sys.argv[2]) if len(sys.argv) > 2 else 3000
    n0 = int(sys.argv[3]) if len(sys.argv) > 3 else 60000
    bench = rig.Rig(sys.argv[1])
    try:
        bench.start_broker("allow_anonymous true\nmax_inflight_messages 0\n"
                           "max_queued_bytes 0\n")
        bench.start()
        rig.wait_for(bench.connected)
        time.sleep(0.5)
        disk = disk_rate()
        qos1 = run(bench, n1, 1, 5.0)
        disk = (disk + disk_rate()) / 2
        qos0 = run(bench, n0, 0, 30.0)
        print(f"append 200 bytes + fdatasync   {disk:9.0f} /s")
        print(f"QoS 1 readings, on disk each   {qos1:9.0f} /s   {qos1 / disk:.2f} of it")
        print(f"QoS 0 readings                 {qos0:9.0f} /s")
        assert bench.stop() == 0
    finally:
        bench.close()


main()
