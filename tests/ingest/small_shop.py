"""A small invented shop for tests: its plan, and exports for as many parts as a test wants."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta
from functools import lru_cache

import numpy as np

from ingest.intake.receipt import IncomingFile
from ingest.plans.file import parse_plan
from ingest.plans.model import Plan

PLAN = r"""
[shop]
name = "Test shop"
time_zone = "Europe/London"
working_days = ["Mon", "Tue", "Wed", "Thu", "Fri"]
opens = "07:00"
closes = "16:00"
closed = []
false_alarms_per_month = 1.0
parts_per_month = 100
serial = '^S\d{4}$'
oldest_plausible = 2020-01-01

[demonstration]
now = 2025-12-31T16:00:00

[people]
"AB" = "machinist"

[axes]
depth = ["T", "B"]
trial = ["1", "2"]

[families.F4]
name = "four"
axes = { cylinder = ["1", "2", "3", "4"], point = ["1", "2"] }

[families.F6]
name = "six"
axes = { cylinder = ["1", "2", "3", "4", "5", "6"], point = ["1", "2"] }

[operations.rough]
name = "rough mill"
order = 10

[operations.deck]
name = "finish mill"
order = 20

[operations.hone]
name = "hone"
order = 30

[operations.check]
name = "check on the ring"
order = 90

[machines.M1]
name = "mill"
operations = ["rough", "deck"]

[machines.H1]
name = "hone one"
operations = ["hone"]

[machines.H2]
name = "hone two"
operations = ["hone"]

[gauges.B1]
name = "bore gauge one"
resolution = "0.0001 in"
features = ["size", "ring"]

[gauges.P1]
name = "probe"
resolution = "0.001 mm"
machine = "M1"
features = ["height"]

[masters.R1]
size = "80.010 mm"

[features.size]
name = "bore size"
operation = "hone"
display = "thou"
decimals = 2
axes = ["cylinder", "depth"]
kind = "size"
plausible = "0.5 mm"

[features.taper]
name = "bore taper"
derive = "difference"
of = "size"
axis = "depth"
plus = ["T"]
minus = ["B"]
keep = ["cylinder"]
judge = "absolute"
kind = "form"

[features.height]
name = "deck height"
operation = "deck"
axes = ["point"]
kind = "height"
plausible = "5 mm"

[features.flatness]
name = "range of the deck"
derive = "range"
of = "height"
keep = []
kind = "form"

[features.cycle]
name = "honing time"
operation = "hone"
unit = "min"
display = "min"
axes = []
kind = "time"
scale = "log"

[features.ring]
name = "reading of the ring"
operation = "check"
axes = ["trial"]
kind = "check"
plausible = "0.2 mm"

[[specifications]]
feature = "size"
families = ["F4"]
valid_from = 2024-01-01
nominal = "80.000 mm"
lower = "79.990 mm"
upper = "80.010 mm"

[[specifications]]
feature = "size"
families = ["F6"]
valid_from = 2024-01-01
nominal = "90.000 mm"
lower = "89.990 mm"
upper = "90.010 mm"

[[specifications]]
feature = "taper"
families = ["F4", "F6"]
valid_from = 2024-01-01
upper = "12 um"

[[specifications]]
feature = "height"
families = ["F4", "F6"]
valid_from = 2024-01-01
nominal = "200.000 mm"
lower = "199.950 mm"
upper = "200.050 mm"

[[specifications]]
feature = "flatness"
families = ["F4", "F6"]
valid_from = 2024-01-01
upper = "30 um"

[[renewals]]
name = "stones"
machine = "H1"
events = ["stones"]
features = ["cycle"]
count = "cylinder"
unit = "bores"

[events.stones]
name = "stones changed"
effect = "renews"
button = "changed"

[events.service]
name = "service"
effect = "restarts"

[events.repair]
name = "gauge repaired"
effect = "restarts"

[layouts.bores]
role = "readings"
overload = ["999"]
columns = [
  { name = "seq", is = "sequence" },
  { name = "stamp", is = "time", form = "%Y-%m-%d %H:%M:%S" },
  { name = "block", is = "serial" },
  { name = "place", is = "place" },
  { name = "dev_thou", is = "value", unit = "thou", measures = "deviation" },
  { name = "set_mm", is = "set_size", unit = "mm" },
  { name = "gauge", is = "gauge" },
  { name = "who", is = "operator" },
]
places = [
  { pattern = 'C(?P<cylinder>\d+)(?P<depth>[TB])', features = { dev_thou = "size" } },
]

[layouts.probe]
role = "readings"
gauge = "P1"
columns = [
  { name = "block", is = "serial" },
  { name = "point", is = "place" },
  { name = "z_mm", is = "value", unit = "mm" },
  { name = "stage", is = "stage", optional = true },
  { name = "when", is = "time", form = "%Y-%m-%d %H:%M:%S" },
]
places = [
  { pattern = 'D(?P<point>\d)', features = { z_mm = "height" } },
]

[layouts.rings]
role = "checks"
columns = [
  { name = "when", is = "time", form = "%Y-%m-%d %H:%M:%S" },
  { name = "gauge", is = "gauge" },
  { name = "ring", is = "master" },
  { name = "ring_mm", is = "set_size", unit = "mm" },
  { name = "r1", is = "value", unit = "um", measures = "deviation", feature = "ring", at = { trial = "1" } },
  { name = "r2", is = "value", unit = "um", measures = "deviation", feature = "ring", at = { trial = "2" } },
]

[layouts.audit]
role = "audit"
columns = [
  { name = "when", is = "time", form = "%Y-%m-%d %H:%M:%S" },
  { name = "block", is = "serial" },
  { name = "place", is = "place" },
  { name = "size_mm", is = "value", unit = "mm" },
  { name = "gauge", is = "gauge" },
]
places = [
  { pattern = 'C(?P<cylinder>\d+)(?P<depth>[TB])', features = { size_mm = "size" } },
]

[layouts.jobs]
role = "jobs"
columns = [
  { name = "block", is = "serial" },
  { name = "family", is = "family" },
  { name = "operation", is = "operation" },
  { name = "machine", is = "machine" },
  { name = "pass", is = "pass" },
  { name = "started", is = "started", form = "%Y-%m-%d %H:%M:%S" },
  { name = "ended", is = "ended", form = "%Y-%m-%d %H:%M:%S" },
  { name = "cycle_min", is = "value", unit = "min", feature = "cycle" },
]

[layouts.events]
role = "events"
columns = [
  { name = "when", is = "time", form = "%Y-%m-%d %H:%M:%S" },
  { name = "target", is = "target" },
  { name = "kind", is = "kind" },
  { name = "tool", is = "tool" },
]
"""

NOMINAL_MM = {"F4": 80.0, "F6": 90.0}
CYLINDERS = {"F4": 4, "F6": 6}
BORES = "seq,stamp,block,place,dev_thou,set_mm,gauge,who"
JOBS = "block,family,operation,machine,pass,started,ended,cycle_min"
PROBE = "block,point,z_mm,when"
STAGED = "block,point,z_mm,stage,when"
RINGS = "when,gauge,ring,ring_mm,r1,r2"
EVENTS = "when,target,kind,tool"
AUDIT = "when,block,place,size_mm,gauge"
THOU = 25.4


@lru_cache
def small_plan() -> Plan:
    """The plan, read and checked."""
    return parse_plan(PLAN, "plan.toml")


def csv(name: str, header: str, rows: list[str]) -> IncomingFile:
    """An export of some rows."""
    return IncomingFile(name, "\n".join([header, *rows, ""]).encode())


def stamp(when: datetime) -> str:
    return f"{when:%Y-%m-%d %H:%M:%S}"


@dataclass
class Made:
    """One part made in the small shop."""

    serial: str
    family: str
    machine: str
    ended: datetime
    deviation: float
    """Mean deviation of its bores from nominal. [µm]"""
    number: int = 1
    taper: float = 2.0
    operator: str = "AB"

    @property
    def started(self) -> datetime:
        return self.ended - timedelta(minutes=40)

    def job(self) -> str:
        return (
            f"{self.serial},{self.family},hone,{self.machine},{self.number},"
            f"{stamp(self.started)},{stamp(self.ended)},5.0"
        )

    def readings(self, seq: int = 0, sign: float = 1.0, hours: float = 0.0) -> list[str]:
        """Rows of the bore gauge, set to the high limit."""
        set_mm = NOMINAL_MM[self.family] + 0.010
        rows = []
        for cylinder in range(1, CYLINDERS[self.family] + 1):
            for depth, half in (("T", 0.5), ("B", -0.5)):
                away = self.deviation + half * self.taper - 10.0
                when = self.ended - timedelta(minutes=5, hours=hours) + timedelta(seconds=len(rows))
                rows.append(
                    f"{seq + len(rows)},{stamp(when)},{self.serial},C{cylinder}{depth},"
                    f"{sign * away / THOU:.1f},{set_mm:.3f},B1,{self.operator}"
                )
        return rows


def parts(n: int, seed: int = 0, sd: float = 1.5, start: datetime = datetime(2025, 3, 3, 8)) -> list[Made]:  # noqa: DTZ001
    """Parts in order of machining, three a working day, families and hones mixed."""
    rng = np.random.default_rng(seed)
    made, day = [], start
    while len(made) < n:
        for hour in (0, 2, 4):
            if len(made) < n:
                family = "F4" if rng.random() < 0.6 else "F6"
                machine = "H1" if rng.random() < 0.7 else "H2"
                when = day + timedelta(hours=hour)
                made.append(Made(f"S{len(made) + 1:04d}", family, machine, when, float(rng.normal(0, sd))))
        day += timedelta(days=3 if day.weekday() == 4 else 1)
    return made


def day_files(made: list[Made]) -> list[tuple[datetime, list[IncomingFile]]]:
    """Job list and bore readings of each day, known at five in the afternoon."""
    batches = []
    for day in sorted({part.ended.date() for part in made}):
        today = [part for part in made if part.ended.date() == day]
        rows = [row for part in today for row in part.readings(seq=1000 * today.index(part))]
        files = [
            csv(f"{day}_jobs.csv", JOBS, [part.job() for part in today]),
            csv(f"{day}_B1.csv", BORES, rows),
        ]
        batches.append((datetime(day.year, day.month, day.day, 17), files))  # noqa: DTZ001 - shop time
    return batches
