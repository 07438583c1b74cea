#!/usr/bin/python3
# SPDX-License-Identifier: GPL-3.0-or-later
"""The snippets of config/ on a real broker, fed by real publishers.

usage: check_publishers.py SOURCE_ROOT WITHERD WITHER
mosquitto on a loopback port; mosquitto_pub sends a message in each payload convention; rtl_433
(Debian) decodes the bits of a sensor's frame and its JSON goes through mosquitto_pub -l; what a Homie
device of npm published is sent as it was recorded.  Each station must have its reading, broken messages
must give none and a reason, retained ones none at all.
"""
import json
import os
import re
import shutil
import socket
import subprocess
import sys
import tempfile
import time

faults = []


def fault(text):
    faults.append(text)
    print(text)


def stamp(form, ago_s=1):
    return time.strftime(form, time.gmtime(time.time() - ago_s))


# One frame of a Nexus-TH sensor, four times as on the air: id 42, battery good, channel 2,
# 20.5 C, 83 % (36 bits: id 8, battery 1, 0, channel 2, temperature 12 in tenths, 1111, humidity 8).
NEXUS = "{36}2a90cdf53" * 4

# Published by homie-device 3.0.1 (npm), see homie_device.js; recorded with mosquitto_sub -v, the
# sensor's own $ attributes before the values left out but for some.
HOMIE = [("homie/loft/$state", "init"), ("homie/loft/$homie", "3.0.1"),
         ("homie/loft/climate/$properties", "temperature,humidity"),
         ("homie/loft/climate/temperature/$unit", "C"), ("homie/loft/$state", "ready"),
         ("homie/loft/climate/temperature", "21.5"), ("homie/loft/climate/humidity", "63"),
         ("homie/loft/$state", "lost")]


def samples():
    """(snippet, temperature, humidity, messages); above each, where its form was read."""
    now = time.time()
    # rtl_433's own -F mqtt of the frame above, value by value.
    yield "rtl_433-devices", 20.5, 83, [
        ("rtl_433/hut/devices/Nexus-TH/2/42/time", stamp("%Y-%m-%d %H:%M:%S")),
        ("rtl_433/hut/devices/Nexus-TH/2/42/temperature_C", "20.5"),
        ("rtl_433/hut/devices/Nexus-TH/2/42/humidity", "83")]
    # zigbee2mqtt.io, guide, MQTT topics and messages (topic, the two values); the other keys from memory.
    yield "zigbee2mqtt", 18.2, 63.5, [("zigbee2mqtt/loft", json.dumps({
        "battery": 100, "humidity": 63.5, "humidity_calibration": 0, "linkquality": 192,
        "last_seen": stamp("%Y-%m-%dT%H:%M:%S+00:00"), "temperature": 18.2,
        "temperature_units": "celsius", "voltage": 3200}))]
    # tasmota.github.io/docs/AM2301.
    yield "tasmota", 24.6, 58.2, [("tele/loft/SENSOR", json.dumps({
        "Time": stamp("%Y-%m-%dT%H:%M:%S"), "AM2301": {"Temperature": 24.6, "Humidity": 58.2},
        "TempUnit": "C"}))]
    # esphome.io, MQTT client component: default topics (from memory).
    yield "esphome", 21.5, 58, [("loft/sensor/temperature/state", "21.5"),
                                ("loft/sensor/humidity/state", "58")]
    # shelly-api-docs.shelly.cloud, gen2, Notifications (topic); a message of such a sensor at
    # gist.github.com, 494a0f53785c20290b395639548349fa, shortened.
    yield "shelly-rpc", 19.8, 42.2, [("shellyplusht-loft/events/rpc", json.dumps({
        "src": "shellyplusht-loft", "method": "NotifyFullStatus", "params": {
            "ts": round(now, 2), "devicepower:0": {"id": 0, "battery": {"V": 0.43, "percent": 0}},
            "humidity:0": {"id": 0, "rh": 42.2},
            "temperature:0": {"id": 0, "tC": 19.8, "tF": 67.6}}}))]
    # The same components, each on its topic: from memory.
    yield "shelly-status", 19.7, 42.1, [
        ("shellyplusht-loft/status/temperature:0", '{"id":0,"tC":19.7,"tF":67.5}'),
        ("shellyplusht-loft/status/humidity:0", '{"id":0,"rh":42.1}')]
    # Keys as a gateway's records at huggingface.co have them (tempc, tempf, hum, batt, type THB); the topic
    # and humidity as text from memory.
    yield "theengs", 26.62, 53.79, [("home/gateway/BTtoMQTT/A4C138010203", json.dumps({
        "type": "THB", "acts": True, "tempc": 26.62, "tempf": 79.916, "hum": "53.79",
        "batt": 89}))]
    # Recorded, see above; version 5 differs by its first level (from memory).
    yield "homie", 21.5, 63, [(t.replace("homie/", "homie/5/", 1), p) for t, p in HOMIE]
    # home-assistant.io/integrations/mqtt_statestream.
    yield "statestream", 21.4, 61, [("statestream/sensor/loft_temperature/state", "21.4"),
                                    ("statestream/sensor/loft_humidity/state", "61")]


# Topic, payload, and the station that must have something to say about it.
BROKEN = [("rtl_433-events", "rtl_433/hut/events", '{"id":42,"temperature_C":20.5,"humidity":'),
          ("rtl_433-devices", "rtl_433/hut/devices/Nexus-TH/2/42/temperature_C", "20,5"),
          ("zigbee2mqtt", "zigbee2mqtt/loft", '{"temperature":"warm","humidity":"damp"}'),
          ("tasmota", "tele/loft/SENSOR", '{"AM2301":{"Temperature":1850,"Humidity":582}}'),
          ("esphome", "loft/sensor/temperature/state", "nan"),
          ("shelly-rpc", "shellyplusht-loft/events/rpc", "\x1b[2J"),
          ("shelly-status", "shellyplusht-loft/status/humidity:0", '{"id":0,"rh":-1}'),
          ("theengs", "home/gateway/BTtoMQTT/A4C138010203", '{"tempc":true,"hum":[1]}'),
          ("homie", "homie/5/loft/climate/temperature", "21.5 \u00b0C"),
          ("statestream", "statestream/sensor/loft_humidity/state", "unavailable")]


class Hut:
    """Broker and daemon in a folder of their own."""

    def __init__(self, folder, root, witherd, wither):
        self.folder, self.root, self.witherd, self.wither = folder, root, witherd, wither
        self.socket = os.path.join(folder, "socket")
        self.children = []
        with socket.socket() as free:
            free.bind(("127.0.0.1", 0))
            self.port = free.getsockname()[1]

    def start(self, *words):
        child = subprocess.Popen(words, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
        self.children.append(child)
        return child

    def start_broker(self):
        path = os.path.join(self.folder, "mosquitto.conf")
        with open(path, "w", encoding="utf-8") as handle:
            handle.write(f"listener {self.port} 127.0.0.1\nallow_anonymous true\n")
        self.start(shutil.which("mosquitto") or "/usr/sbin/mosquitto", "-c", path)
        self.until(lambda: socket.create_connection(("127.0.0.1", self.port), 1).close() is None)

    def start_daemon(self):
        path = os.path.join(self.folder, "witherd.conf")
        with open(path, "w", encoding="utf-8") as handle:
            handle.write(f"[daemon]\ndatabase = {self.folder}/db\nsocket = {self.socket}\n"
                         f"members = 64\n[broker]\nhost = 127.0.0.1\nport = {self.port}\n[room loft]\n")
            for file in sorted(os.listdir(os.path.join(self.root, "config/stations"))):
                with open(os.path.join(self.root, "config/stations", file), encoding="utf-8") as one:
                    handle.write(re.sub(r"\[station loft\]", f"[station {file[:-5]}]", one.read()))
        self.start(self.witherd, "--config", path)
        self.until(lambda: self.ask("health")["facts"]["broker"] == "connected")

    def stop(self):
        for child in reversed(self.children):
            child.terminate()
            child.wait()

    def ask(self, *words):
        out = subprocess.run([self.wither, "--socket", self.socket, "--json", *words],
                             capture_output=True, text=True, check=False)
        return json.loads(out.stdout)

    def until(self, holds, seconds=20):
        end = time.monotonic() + seconds
        while time.monotonic() < end:
            try:
                if holds():
                    return True
            except (OSError, ValueError, KeyError):
                pass
            time.sleep(0.05)
        return False

    def publish(self, topic, payload, *more, lines=False):
        words = ["-l"] if lines else ["-s"]
        subprocess.run(["mosquitto_pub", "-h", "127.0.0.1", "-p", str(self.port), "-q", "1", "-t",
                        topic, *words, *more], input=payload.encode(), check=True)

    def readings(self):
        return self.ask("export", "readings")["rows"]


def check_good(hut):
    wanted = {"rtl_433-events": (20.5, 83)}
    frame = subprocess.run(["rtl_433", "-c", "0", "-R", "19", "-y", NEXUS, "-F", "json", "-M",
                            "time:iso:utc"], capture_output=True, text=True, check=True).stdout
    if '"Nexus-TH"' not in frame:
        fault(f"rtl_433 gives no frame: {frame}")
    hut.publish("rtl_433/hut/events", frame, lines=True)
    for name, temp_c, rh_pct, messages in samples():
        wanted[name] = (temp_c, rh_pct)
        for topic, payload in messages:
            hut.publish(topic, payload)
    hut.until(lambda: {row["station"] for row in hut.readings()} >= set(wanted))
    rows = {row["station"]: row for row in hut.readings()}
    for name, (temp_c, rh_pct) in wanted.items():
        row = rows.get(name)
        if not row:
            fault(f"{name}: no reading")
        elif abs(row["temp_c"] - temp_c) > 1e-6 or abs(row["rh_pct"] - rh_pct) > 1e-6:
            fault(f"{name}: {row['temp_c']} C {row['rh_pct']} %, not {temp_c} C {rh_pct} %")
    return len(wanted)


def check_broken(hut):
    before = len(hut.readings())
    for _, topic, payload in BROKEN:
        hut.publish(topic, payload)

    def faulty():
        return {s["station"] for s in hut.ask("stations")["stations"] if s["last_fault"]}
    hut.until(lambda: faulty() >= {name for name, _, _ in BROKEN})
    for name in sorted({name for name, _, _ in BROKEN} - faulty()):
        fault(f"{name}: a broken message is not told")
    for station in hut.ask("stations")["stations"]:
        said = json.dumps(station["last_fault"])
        if "\\u001b" in said or station["last_fault"] and not station["last_fault"]["text"]:
            fault(f"{station['station']}: told badly: {said}")
    if len(hut.readings()) != before:
        fault("a broken message became a reading")


def check_learning(hut):
    """A station nobody configured: what is proposed for it works."""
    before = len(hut.readings())

    def heard():
        hut.publish("new/shed/SENSOR", json.dumps(
            {"Time": stamp("%Y-%m-%dT%H:%M:%S"), "SHT3X": {"Temperature": 18.5, "Humidity": 71}}))
        return hut.ask("stations", "--learn", "new/#")["topics"]
    if not hut.until(heard):
        fault("stations --learn hears nothing")
        return
    document = hut.ask("stations", "--learn", "new/#")
    proposal = document["topics"][0]["proposal"]
    if proposal != ("[station shed]\ntopic = new/shed/SENSOR\ntemp_pointer = /SHT3X/Temperature\n"
                    "rh_pointer = /SHT3X/Humidity\ntime_pointer = /Time"):
        fault(f"stations --learn proposes: {document}")
    if not any("which room" in text for text in document["undecided"]):
        fault(f"stations --learn asks nothing: {document}")
    out = subprocess.run([hut.wither, "--socket", hut.socket, "stations", "--learn", "a/#/b"],
                         capture_output=True, text=True, check=False)
    if out.returncode != 2 or "'a/#/b'" not in out.stderr:
        fault(f"a bad filter is not refused: {out.returncode} {out.stderr}")
    # Another topic: the first is let go.
    if not hut.until(lambda: "topics" in hut.ask("stations", "--learn", "other/+")):
        fault("stations --learn does not change its topic")
    if len(hut.readings()) != before or len(hut.ask("stations")["stations"]) != 10:
        fault("what was overheard became a reading")


def main():
    root, witherd, wither = sys.argv[1:4]
    os.environ["TZ"] = "UTC"
    with tempfile.TemporaryDirectory(prefix="wither-publishers-") as folder:
        hut = Hut(folder, root, witherd, wither)
        try:
            hut.start_broker()
            for topic, payload in (("loft/sensor/temperature/state", "5"),
                                   ("loft/sensor/humidity/state", "5")):
                hut.publish(topic, payload, "-r")
            hut.start_daemon()
            count = check_good(hut)
            check_broken(hut)
            check_learning(hut)
            if any(row["temp_c"] == 5 for row in hut.readings()):
                fault("retained values became a reading")
        finally:
            hut.stop()
    print(f"{count} stations, {len(BROKEN)} broken messages, {len(faults)} faults")
    sys.exit(1 if faults else 0)


main()
