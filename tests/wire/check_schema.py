#!/usr/bin/python3
# SPDX-License-Identifier: GPL-3.0-or-later
"""Documents of wither --json against lib/wire/schema.json.

usage: check_schema.py SCHEMA FIXTURES WITHERD WITHER
Validated with the jsonschema package (Debian: python3-jsonschema): the documents that the screens'
tests are drawn from, then those that a daemon with an invented workshop really gives; quantiles must
ascend; and each document with one needed member left out or of another type must be refused.
"""
import copy
import json
import math
import os
import re
import subprocess
import sys
import tempfile
import time

import jsonschema

STARTS = ["show", "tonight", "loads", "air", "plan", "density", "what_if", "review", "ledger",
          "gardens", "stations_learn", "stations", "health", "backup", "act"]
NAMES = {"what_if": "what-if", "stations_learn": "learn"}
faults = []


def fault(text):
    faults.append(text)
    print(text)


def validator(schema, name):
    return jsonschema.Draft202012Validator({"$ref": f"#/$defs/{name}", "$defs": schema["$defs"]})


def ordered(value, path):
    """Yields where a triple of quantiles does not ascend."""
    if isinstance(value, dict):
        three = [value.get(k) for k in ("p10", "p50", "p90")]
        if all(isinstance(x, (int, float)) for x in three) and sorted(three) != three:
            yield path
        for key, item in value.items():
            yield from ordered(item, f"{path}/{key}")
    elif isinstance(value, list):
        for i, item in enumerate(value):
            yield from ordered(item, f"{path}/{i}")


def check(schema, name, document, where):
    rules = validator(schema, name)
    for error in rules.iter_errors(document):
        fault(f"{where}: /{'/'.join(map(str, error.absolute_path))}: {error.message[:200]}")
    for path in ordered(document, ""):
        fault(f"{where}: {path}: quantiles do not ascend")
    return rules


def needed_members(schema, rule):
    """Names that the rule asks for at its top."""
    rule = schema["$defs"][rule["$ref"].split("/")[-1]] if "$ref" in rule else rule
    for part in rule.get("allOf", []):
        yield from needed_members(schema, part)
    yield from rule.get("required", [])


def check_refusals(schema, name, document, rules):
    count = 0
    for key in needed_members(schema, {"$ref": f"#/$defs/{name}"}):
        without = {k: v for k, v in document.items() if k != key}
        other = copy.deepcopy(document)
        other[key] = [1] if not isinstance(document[key], list) else {"not": "a list"}
        for broken in (without, other):
            count += 1
            if rules.is_valid(broken):
                fault(f"{name}: {key} missing or of another type is not noticed")
    return count


def check_fixtures(schema, folder):
    count = 0
    for file in sorted(os.listdir(folder)):
        start = next((s for s in STARTS if file.startswith(s)), None)
        if not file.endswith(".json") or not start:
            continue
        with open(os.path.join(folder, file), encoding="utf-8") as handle:
            check(schema, NAMES.get(start, start), json.load(handle), file)
        count += 1
    print(f"{count} documents of the screens' tests")
    return count


def journal(now):
    """Two invented days, a reading every ten minutes; four loads, two of them closed."""
    def call(at, method, **params):
        return {"at": at, "call": {"method": method, "params": params}}
    lines = []
    for at in range(now - 2 * 86400, now, 600):
        turn = 2 * math.pi * (at % 86400) / 86400
        lines.append({"at": at, "topic": "shed", "payload": json.dumps(
            {"t": round(20 - 4 * math.cos(turn), 1), "h": round(70 + 12 * math.cos(turn), 1)})})
    ago = now - 86400 - 7200
    lines += [call(ago, "spread", origin="creek", kg=8, area=8, price=40),
              call(ago + 60, "spread", origin="dike", kg=6, area=7, wet="damp"),
              call(ago + 21600, "weigh", load=1, kg=7.2), call(ago + 21660, "feel", load=1, step="soft"),
              call(ago + 43200, "fix", load=1, kg=6.3), call(ago + 43260, "yield", load=1, made=1.9,
                                                             yellow=0.1),
              call(ago + 50000, "fix", load=2),
              call(now - 7200, "spread", origin="creek", kg=9, area=8),
              call(now - 3600, "spread", origin="ridge", kg=5, area=6, grade="bud"),
              call(now - 1800, "weigh", load=3, kg=8.6)]
    return sorted(lines, key=lambda line: line["at"])


CONFIG = """[site]
name = Test shed
altitude_m = 900
[daemon]
database = {0}/wither.db
socket = {0}/socket
members = 64
forecast_every_s = 1800
[room loft]
[station shelf]
topic = shed
temp_pointer = /t
rh_pointer = /h
expected_every_s = 600
[tray]
area_m2 = 1
[hearth]
woks = 2
"""

ASKED = [("tonight", "tonight"), ("show 3", "show"), ("show 1", "show"), ("loads", "loads"),
         ("loads --all", "loads"), ("air", "air"), ("plan", "plan"), ("density creek 8", "density"),
         ("density creek 8 --ready-by +20h", "density"), ("what-if 3 --area 12", "what-if"),
         ("review", "review"), ("ledger", "ledger"), ("gardens", "gardens"),
         ("stations", "stations"), ("health", "health"), ("export readings", "export-readings"),
         ("export loads", "export-loads"), ("export forecasts", "export-forecasts"),
         ("export air-forecasts", "export-air-forecasts"), ("backup {0}/copy.db", "backup"),
         ("spread dike 7 --area 8 --style raw", "act"), ("weigh 5 6.9", "act"),
         ("feel 5 crisp", "act"), ("turn 5 --area 9", "act"), ("undo", "act"),
         ("fix 5 --kg 6.5", "act"), ("yield 5 --made 1.5", "act"),
         ("drop 4 --why spilled", "act"), ("style green --ready-from 15", "act"),
         ("salt shelf", "stations"), ("salt shelf NaCl --rh 77", "act"),
         ("salt shelf MgCl2 --rh 35", "act")]
# watch sends what tonight answers; help is a text.
NOT_ASKED = {"watch", "help"}


def check_live(schema, witherd, wither):
    count = refusals = 0
    with tempfile.TemporaryDirectory(prefix="wither-schema-") as folder:
        path = os.path.join(folder, "witherd.conf")
        with open(path, "w", encoding="utf-8") as handle:
            handle.write(CONFIG.format(folder))
        with open(os.path.join(folder, "journal"), "w", encoding="utf-8") as handle:
            handle.writelines(json.dumps(line) + "\n" for line in journal(int(time.time()) - 60))
        subprocess.run([witherd, "--config", path, "--replay", handle.name], check=True)
        daemon = subprocess.Popen([witherd, "--config", path], stderr=subprocess.DEVNULL)
        try:
            wait_for(os.path.join(folder, "socket"), daemon)
            for asked, name in ASKED:
                words = asked.format(folder).split()
                out = subprocess.run([wither, "--socket", os.path.join(folder, "socket"), "--json",
                                      *words], capture_output=True, text=True, check=False)
                try:
                    document = json.loads(out.stdout)
                except ValueError:
                    fault(f"{asked}: no document: {out.stdout[:200]}{out.stderr[:200]}")
                    continue
                rules = check(schema, name, document, asked)
                refusals += check_refusals(schema, name, document, rules)
                count += 1
        finally:
            daemon.terminate()
            daemon.wait()
    print(f"{count} documents of a daemon, {refusals} broken ones refused")
    return count


def wait_for(path, daemon):
    for _ in range(600):
        if os.path.exists(path) or daemon.poll() is not None:
            return
        time.sleep(0.05)


def main():
    schema_file, fixtures, witherd, wither = sys.argv[1:5]
    with open(schema_file, encoding="utf-8") as handle:
        schema = json.load(handle)
    jsonschema.Draft202012Validator.check_schema(schema)
    if check_fixtures(schema, fixtures) < 20:
        fault("too few fixtures")
    verbs = set(re.findall(r"^([a-z-]+)  +\S", subprocess.run(
        [wither, "help"], capture_output=True, text=True, check=True).stdout, re.M))
    for verb in sorted(verbs - NOT_ASKED - {asked.split()[0] for asked, _ in ASKED}):
        fault(f"{verb} is not asked for a document")
    if check_live(schema, witherd, wither) != len(ASKED):
        fault("some documents are missing")
    print(f"{len(faults)} faults")
    sys.exit(1 if faults else 0)


main()
