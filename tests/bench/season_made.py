# SPDX-License-Identifier: GPL-3.0-or-later
"""Invented seasons for the benchmarks: a journal of readings and acts, and its configuration."""
import math
import random

START_UNIX_S = 1774915200  # a midnight, UTC
ORIGINS = ("high-terrace", "stone-wall", "lower-field", "old-hedge")

CONFIG = """[site]
name = invented
timezone = UTC
altitude_m = 600
[daemon]
database = {work}/season.db
socket = {work}/season.sock
forecast_every_s = {every_s}
members = {members}
seed = 1
{rooms}
[tray]
area_m2 = 1
perforated = yes
[hearth]
woks = 3
wok_kg = 4
minutes_spring = 20
minutes_summer = 22
minutes_autumn = 27
last_start = 22:30
first_start = 05:30
"""

ROOM = """[room {name}]
[station {name}]
room = {name}
topic = made/{name}
temp_pointer = /t
rh_pointer = /h
expected_every_s = {station_s}
"""


def config(work, rooms=("loft",), every_s=900, members=1024, station_s=60):
    return CONFIG.format(work=work, every_s=every_s, members=members, rooms="".join(
        ROOM.format(name=name, station_s=station_s) for name in rooms))


def saturation_pa(temp_c):
    """Magnus form (WMO No. 8, from memory)."""
    return 611.2 * math.exp(17.62 * temp_c / (243.12 + temp_c))


class Air:
    """A room's air: a daily wave, weather that wanders over days, noise of minutes."""

    def __init__(self, seed):
        self.random = random.Random(seed)
        self.warm, self.moist, self.flutter = 0.0, 0.0, 0.0

    def next(self, at_unix_s, step_s):
        """(temperature deg C, relative humidity %) of the next step."""
        draw, days = self.random.gauss, step_s / 86400.0
        self.warm += -self.warm * days / 2.0 + draw(0.0, 2.0 * math.sqrt(days))
        self.moist += -self.moist * days / 1.5 + draw(0.0, 0.20 * math.sqrt(days))
        self.flutter = 0.9 * self.flutter + draw(0.0, 0.06)
        wave = math.sin(2.0 * math.pi * ((at_unix_s % 86400) / 86400.0 - 0.375))
        temp_c = 19.0 + 3.5 * wave + self.warm + self.flutter
        vapour_pa = 1350.0 * math.exp(self.moist)
        return temp_c, min(98.0, max(25.0, 100.0 * vapour_pa / saturation_pa(temp_c)))


def acts_of(number, at_unix_s, random_, deficit_pa_of):
    """One load: spread, one weighing, fixed near 20 % of loss or after 20 h."""
    kg, pace = random_.uniform(6.0, 14.0), random_.uniform(0.8, 1.25)
    said = {"origin": random_.choice(ORIGINS), "kg": round(kg, 2), "area": round(kg / 1.1, 1),
            "grade": "young", "season": "spring", "wet": "none", "style": "green"}
    yield at_unix_s, "spread", said
    loss_pct, s = 0.0, 0
    while loss_pct < 20.0 and s < 20 * 3600:
        s += 600
        loss_pct += 0.33 * pace * deficit_pa_of(at_unix_s + s) / 800.0
        if s == 4 * 3600:
            now_kg = kg * (1.0 - loss_pct / 100.0) * random_.gauss(1.0, 0.004)
            yield at_unix_s + s, "weigh", {"load": number, "kg": round(min(now_kg, kg), 2)}
    yield at_unix_s + s, "fix", {"load": number, "kg": round(kg * (1.0 - loss_pct / 100.0), 2)}


def write_journal(path, days, loads_a_day=4, station_s=60, seed=1, name="loft"):
    """Writes the journal and gives the number of loads."""
    import json
    air, random_, lines, deficits = Air(seed), random.Random(seed + 1), [], {}
    for s in range(0, days * 86400, station_s):
        at = START_UNIX_S + s
        temp_c, rh_pct = air.next(at, station_s)
        deficits[at // 600] = saturation_pa(temp_c) * (1.0 - rh_pct / 100.0)
        payload = json.dumps({"t": round(temp_c, 2), "h": round(rh_pct, 1)})
        lines.append((at, json.dumps({"at": at, "topic": f"made/{name}", "payload": payload})))
    spreads = sorted(START_UNIX_S + day * 86400 + 60 * int(random_.uniform(9.0, 17.0) * 60)
                     for day in range(1, days - 1) for _ in range(loads_a_day))
    for i, spread in enumerate(spreads):
        for at, method, params in acts_of(i + 1, spread + i % 7, random_,
                                          lambda at: deficits.get(at // 600, 600.0)):
            lines.append((at, json.dumps({"at": at, "call": {"method": method,
                                                             "params": params}})))
    lines.sort(key=lambda line: line[0])
    with open(path, "w") as out:
        out.writelines(text + "\n" for _, text in lines)
    return len(spreads)
