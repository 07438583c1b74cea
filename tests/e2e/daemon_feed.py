#!/usr/bin/env python3
# SPDX-License-Identifier: GPL-3.0-or-later
"""The daemon at a real broker: readings, resent and retained messages, a broker that goes, comes
back without memory, refuses; two halves of a reading; live against replay.

usage: daemon_feed.py WITHERD
"""
import glob
import json
import os
import sys
import time

sys.path.insert(0, os.path.dirname(os.path.abspath(__file__)))
import rig  # noqa: E402

TOPIC = "shed/north-room"


def reading(temp_c, rh_pct, at=None):
    out = {"temperature": temp_c, "humidity": rh_pct}
    if at is not None:
        out["time"] = at
    return json.dumps(out)


def rows_of(bench, count, seconds=15):
    def arrived():
        """the readings to arrive"""
        rows = bench.export("readings")
        return rows if len(rows) >= count else None
    return rig.wait_for(arrived, seconds)


def connected(bench):
    """Connected means heard: what is published from now on arrives."""
    rig.wait_for(bench.connected)


def test_readings_arrive_once(witherd):
    bench = rig.Rig(witherd)
    try:
        bench.start_broker()
        bench.start()
        connected(bench)
        station = rig.Publisher(bench.port)
        now = int(time.time())
        station.publish(TOPIC, reading(20.5, 70, now))
        station.publish(TOPIC, reading(20.5, 70, now))       # the same again
        station.publish(TOPIC, reading(20.75, 70, now))      # another of the same second
        station.publish(TOPIC, "not json")
        station.publish(TOPIC, reading(21.0, 71, now - 60), qos=0)  # late, welcome
        rows = rows_of(bench, 3)
        time.sleep(1.3)
        rows = bench.export("readings")
        assert [r["temp_c"] for r in rows] == [21.0, 20.5, 20.75], rows
        assert rows[1]["at_unix_s"] == rows[2]["at_unix_s"] == now, rows
        shelf = bench.ask("stations")["stations"][0]
        assert shelf["last_fault"]["quoted"] == "not json", shelf
        assert bench.ask("stations")["broker"]["state"] == "connected"
        assert bench.stop() == 0
        # An orderly stop and a start change nothing.
        bench.start()
        assert bench.export("readings") == rows
        assert bench.stop() == 0
        # An offset counts for what came before, too; what came is kept as it was.
        broker = f"[broker]\nhost = 127.0.0.1\nport = {bench.port}\n"
        bench.write_config(broker=broker, more="temp_offset_c = -1.5\nrh_offset_pct = 4\n")
        bench.start()
        corrected = bench.export("readings")
        assert [(r["temp_c"], r["rh_pct"]) for r in corrected] == [(19.5, 75), (19, 74), (19.25, 74)], corrected
        assert bench.ask("stations")["stations"][0]["temp_c"] in (19.0, 19.25)
        assert bench.stop() == 0
        bench.write_config(broker=broker)
        bench.start()
        assert bench.export("readings") == rows
    finally:
        bench.close()


def test_retained_is_no_reading(witherd):
    bench = rig.Rig(witherd)
    try:
        bench.start_broker()
        station = rig.Publisher(bench.port)
        station.publish(TOPIC, reading(15.0, 60), retain=True)
        bench.start()
        connected(bench)
        station.publish(TOPIC, reading(20.0, 60))
        rows = rows_of(bench, 1)
        time.sleep(0.3)
        assert [r["temp_c"] for r in bench.export("readings")] == [20.0], rows
    finally:
        bench.close()


def test_broker_goes_and_comes(witherd):
    bench = rig.Rig(witherd)
    try:
        bench.start()  # no broker at all: it stays up and says so
        answer = bench.ask("tonight")
        assert answer["answer"]["code"] in ("no_reading", "nothing"), answer["answer"]

        def said():
            """the daemon to say that it cannot reach the broker"""
            return "no connection to the broker" in bench.ask("stations")["broker"]["text"]
        rig.wait_for(said)
        bench.start_broker()
        connected(bench)
        rig.Publisher(bench.port).publish(TOPIC, reading(20.0, 60))
        rows_of(bench, 1)
        # Restarted without its store: subscriptions are made again.
        bench.stop_broker()
        rig.wait_for(lambda: not bench.connected())
        bench.start_broker()
        connected(bench)
        rig.Publisher(bench.port).publish(TOPIC, reading(21.0, 60))
        rows_of(bench, 2)
        # Swapped for one that refuses: said in words; then let in again.
        bench.stop_broker()
        rig.wait_for(lambda: not bench.connected())
        bench.start_broker("allow_anonymous false\n")

        def refused():
            """the refusal to be said"""
            broker = bench.ask("stations")["broker"]
            return broker["state"] == "refused" and "not authorised" in broker["text"]
        rig.wait_for(refused, 60)
        assert "broker_refused" in bench.codes()
        bench.stop_broker()
        bench.start_broker()
        rig.wait_for(bench.connected, 60)
        rig.Publisher(bench.port).publish(TOPIC, reading(22.0, 60))
        rows_of(bench, 3)
        lines = [l for l in bench.log_text().splitlines() if "broker" in l]
        assert len(lines) < 20, "\n".join(lines)
        assert bench.stop() == 0
    finally:
        bench.close()


def test_broker_that_lets_us_read_nothing(witherd):
    """Let in but not let read, as a broker's rules may have it: said once, then well again."""
    rules = {"defaultACLAccess": {"publishClientSend": True, "publishClientReceive": True,
                                  "subscribe": False, "unsubscribe": True}}
    for version in ("5", "3"):
        bench = rig.Rig(witherd, broker_more=f"version = {version}\n")
        try:
            with open(f"{bench.work}/rules.json", "w", encoding="utf-8") as out:
                json.dump(rules, out)
            plugin = glob.glob("/usr/lib/*/mosquitto_dynamic_security.so")[0]
            bench.start_broker(f"allow_anonymous true\nplugin {plugin}\n"
                               f"plugin_opt_config_file {bench.work}/rules.json\n")
            bench.start()

            def denied():
                """the denial to be said"""
                broker = bench.ask("stations")["broker"]
                return broker["state"] == "refused" and "does not let us read" in broker["text"]
            rig.wait_for(denied)
            assert "broker_refused" in bench.codes()
            assert f"'{TOPIC}'" in bench.ask("stations")["broker"]["text"]
            assert bench.log_text().count("does not let us read") == 1, bench.log_text()
            bench.stop_broker()
            bench.start_broker()
            connected(bench)
            rig.Publisher(bench.port).publish(TOPIC, reading(20.0, 60))
            rows_of(bench, 1)
            assert bench.stop() == 0
        finally:
            bench.close()


def test_session_keeps_what_came_meanwhile(witherd):
    for version in ("5", "3"):
        bench = rig.Rig(witherd, broker_more=f"version = {version}\n")
        try:
            bench.start_broker()
            bench.start()
            connected(bench)
            assert bench.stop() == 0
            station = rig.Publisher(bench.port)
            for number in range(50):
                station.publish(TOPIC, reading(20 + number / 100, 60))
            bench.start()
            rows = rows_of(bench, 50)
            assert len(rows) == 50 and len({r["temp_c"] for r in rows}) == 50
        finally:
            bench.close()


def test_halves_make_a_reading_across_a_kill(witherd):
    more = ("[station loft]\nroom = north\ntemp_topic = loft/t\nrh_topic = loft/h\n"
            "expected_every_s = 60\n")
    bench = rig.Rig(witherd, more=more)
    try:
        bench.start_broker()
        bench.start()
        connected(bench)
        station = rig.Publisher(bench.port)
        station.publish("loft/t", "18.25")

        def heard():
            """the half to be on disk"""
            return os.path.exists(bench.database + "-wal") and \
                any(s["station"] == "loft" for s in bench.ask("stations")["stations"])
        rig.wait_for(heard)
        time.sleep(0.5)
        bench.kill()
        bench.start()
        rig.wait_for(bench.connected)
        station.publish("loft/h", "64")
        rows = rows_of(bench, 1)
        assert (rows[0]["temp_c"], rows[0]["rh_pct"]) == (18.25, 64), rows
    finally:
        bench.close()


def test_live_equals_replay(witherd):
    bench = rig.Rig(witherd, daemon="forecast_every_s = 10\nrecord = {work}/journal.jsonl")
    bench.write_config(f"forecast_every_s = 10\nrecord = {bench.work}/journal.jsonl",
                       f"[broker]\nhost = 127.0.0.1\nport = {bench.port}\n")
    replay = rig.Rig(witherd, daemon="forecast_every_s = 10", broker=False)
    try:
        bench.start_broker()
        bench.start()
        connected(bench)
        station = rig.Publisher(bench.port)
        bench.ask("spread", origin="creek", kg=8, area=8, grade="young", season="spring", at="-3h")
        end = time.time() + 32
        number = 0
        sent = []
        while time.time() < end:
            payload = reading(20 + number % 7 / 10, 60 + number % 5, int(time.time()))
            sent.append(payload)
            station.publish(TOPIC, payload)
            if number == 12:
                bench.ask("weigh", load=1, kg=7.4)
            number += 1
            time.sleep(0.45)
        rig.wait_for(lambda: len(bench.export("readings")) == len(sent))
        loads = bench.export("loads")
        live = bench.export("forecasts"), bench.export("air-forecasts"), bench.export("readings")
        assert bench.stop() == 0
        out = replay.run("--replay", f"{bench.work}/journal.jsonl")
        assert out.returncode == 0, out.stderr
        # The next whole second: what came within this one counts.
        replay.start("--frozen-at", str(int(time.time()) + 1))
        again = (replay.export("forecasts"), replay.export("air-forecasts"),
                 replay.export("readings"))
        # The last tick may have come after the last entry of the journal.
        assert again[1], (live[1][:2], again, out.stderr, open(f"{bench.work}/journal.jsonl").read()[:600])
        last = max(row["issued_unix_s"] for row in again[1])
        assert len(live[0]) >= 2 and len(again[1]) >= 16, (live, again)
        for one, other in zip(live[:2], again[:2]):
            assert [r for r in one if r["issued_unix_s"] <= last] == other
        assert len(live[2]) == len(again[2]), (len(live[2]), len(again[2]))
        assert live[2] == again[2], [two for two in zip(live[2], again[2]) if two[0] != two[1]]
        assert loads[0]["origin"] == "creek"
    finally:
        bench.close()
        replay.close()


def test_publishes_for_dashboards(witherd):
    bench = rig.Rig(witherd, broker_more="publish_prefix = wither\ndiscovery_prefix = home\n")
    try:
        bench.start_broker()
        bench.start()
        connected(bench)
        rig.Publisher(bench.port).publish(TOPIC, reading(20.0, 60))
        rows_of(bench, 1)
        # A name that is cut on a dashboard, within a character if it were cut by bytes.
        origin = "\u5cad" * 45
        bench.ask("spread", origin=origin, kg=8, area=8)
        import subprocess
        out = subprocess.run(["mosquitto_sub", "-h", "127.0.0.1", "-p", str(bench.port), "-t",
                              "wither/load/1", "-C", "1", "-W", "15"], capture_output=True,
                             text=True, check=False)
        row = json.loads(out.stdout)
        assert row["load"] == 1 and row["origin"] == origin, row

        def found(count):
            """the documents by which a dashboard finds things, by their topics"""
            out = subprocess.run(["mosquitto_sub", "-h", "127.0.0.1", "-p", str(bench.port), "-v",
                                  "-t", "home/#", "-C", str(count), "-W", "15"],
                                 capture_output=True, text=True, check=False)
            return {line.split(" ", 1)[0]: json.loads(line.split(" ", 1)[1])
                    for line in out.stdout.splitlines()}
        # Three of the room, three of the load; each names a topic that is there.
        documents = found(6)
        assert len(documents) == 6, documents
        states = {one["state_topic"] for one in documents.values()}
        assert "wither/load/1" in states and len(states) == 2, states
        assert len({one["unique_id"] for one in documents.values()}) == 6
        ready = documents["home/sensor/wither_load_1_ready/config"]
        assert ready["device_class"] == "timestamp" and "ready_unix_s" in ready["value_template"]
        assert ready["name"].startswith("load 1 \u5cad") and ready["name"].endswith("... ready"), ready
        for state in states:
            out = subprocess.run(["mosquitto_sub", "-h", "127.0.0.1", "-p", str(bench.port), "-t",
                                  state, "-C", "1", "-W", "15"], capture_output=True, text=True,
                                 check=False)
            assert isinstance(json.loads(out.stdout), dict), state
        # With the load its documents go: an empty retained message.
        bench.ask("drop", load=1, why="spilled")

        def gone():
            """the load's documents to be emptied"""
            out = subprocess.run(["mosquitto_sub", "-h", "127.0.0.1", "-p", str(bench.port), "-t",
                                  "home/#", "-W", "1", "-F", "%t"], capture_output=True, text=True,
                                 check=False)
            return "load" not in out.stdout and "air" in out.stdout
        rig.wait_for(gone, 30)
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
