"""A shop on paper: the records that pages and commands are told about, made up, without files or store."""

from __future__ import annotations

import math
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from types import SimpleNamespace
from typing import Any

from ingest.answers.processes import (
    BoardRow,
    ClosingFact,
    DoubtFact,
    EventFact,
    LogEntry,
    MonitorTrace,
    OutFact,
    PartPoint,
    PartReading,
    PartView,
    PassFact,
    ProcessView,
    Question,
    ReceiptFact,
    SetAsideFact,
    SignalFact,
    SourceRow,
    SpecFact,
    State,
)
from ingest.answers.wear import CompanionFact
from ingest.gauges.view import GaugesView
from ingest.intake.inbox import InboxState
from ingest.plans.file import parse_plan
from ingest.shop.shop import ShopError

PLAN = """
[shop]
name = "Paper shop"
time_zone = "Etc/UTC"
opens = "07:00"
closes = "16:00"
parts_per_month = 60
[people]
"AB" = "machinist"
"CD" = "quality"
[axes]
direction = ["V", "H"]
depth = ["T", "M", "B"]
trial = ["1", "2"]
[families.FOUR]
name = "four"
axes = { main = ["1", "2", "3"], cylinder = ["1", "2", "3", "4"] }
[operations.line_hone]
name = "line hone"
[operations.finish_hone]
name = "finish hone"
[operations.ring_check]
name = "ring check"
[machines.LINE]
name = "line hone"
operations = ["line_hone"]
[machines.HONE]
name = "cylinder hone"
operations = ["finish_hone"]
[gauges.BORE]
name = "dial bore gauge"
features = ["main_size", "bore_size", "ring_size"]
[masters.RING]
size = "80.000 mm"
[features.main_size]
name = "main bore size"
operation = "line_hone"
display = "thou"
decimals = 2
axes = ["main", "direction"]
kind = "size"
[features.bore_size]
name = "cylinder size"
operation = "finish_hone"
display = "thou"
decimals = 2
axes = ["cylinder", "depth"]
kind = "size"
[features.bore_taper]
name = "cylinder taper"
derive = "difference"
of = "bore_size"
axis = "depth"
plus = ["T"]
minus = ["B"]
keep = ["cylinder"]
judge = "absolute"
kind = "form"
[features.bore_peak]
name = "bore finish Rpk"
operation = "finish_hone"
display = "um"
decimals = 2
axes = ["cylinder"]
kind = "finish"
scale = "log"
[features.cycle]
name = "hone cycle"
operation = "finish_hone"
unit = "min"
display = "min"
decimals = 1
kind = "time"
[features.height]
name = "deck height"
operation = "finish_hone"
display = "um"
decimals = 0
kind = "height"
[features.ring_size]
name = "ring check"
operation = "ring_check"
display = "thou"
decimals = 2
axes = ["trial"]
kind = "check"
[[specifications]]
feature = "main_size"
families = ["FOUR"]
valid_from = 2020-01-01
nominal = "65.000 mm"
lower = "64.990 mm"
upper = "65.010 mm"
[[specifications]]
feature = "bore_peak"
families = ["FOUR"]
valid_from = 2020-01-01
lower = "0.12 um"
upper = "0.32 um"
[events.stones_new]
name = "stones changed"
effect = "renews"
button = "changed"
[events.stones_dress]
name = "stones dressed"
effect = "renews"
button = "dressed"
[events.looked]
name = "checked"
button = "checked"
[events.service]
name = "service"
effect = "restarts"
[[renewals]]
name = "finish stones"
machine = "HONE"
events = ["stones_new", "stones_dress"]
features = ["bore_peak", "cycle"]
count = "cylinder"
unit = "bores"
"""

NOW = datetime(2026, 3, 10, 14, 0, tzinfo=UTC)
KEEP = {
    "main_size": ("LINE", "line_hone", "main bore size", "size", "thou", 2, False),
    "bore_size": ("HONE", "finish_hone", "cylinder size", "size", "thou", 2, False),
    "bore_taper": ("HONE", "finish_hone", "cylinder taper", "form", "thou", 2, False),
    "bore_peak": ("HONE", "finish_hone", "bore finish Rpk", "finish", "um", 2, True),
    "cycle": ("HONE", "finish_hone", "hone cycle", "time", "min", 1, False),
    "height": ("HONE", "finish_hone", "deck height", "height", "um", 0, False),
    "ring_size": ("BORE", "ring_check", "ring check", "check", "thou", 2, False),
}
NAMES = {"LINE": "line hone", "HONE": "cylinder hone", "BORE": "dial bore gauge"}


def event(kind: str = "service", name: str = "service", **other: Any) -> EventFact:
    """Something that was done."""
    return EventFact(
        **{"time": NOW - timedelta(days=3), "target": "HONE", "kind": kind, "kind_name": name} | other
    )


def signal(process: str = "HONE/finish_hone/bore_taper", **other: Any) -> SignalFact:
    """A level that went up by three micrometres."""
    given = {
        "process": process, "monitor": "level", "status": "open", "direction": 1, "size": 3.0, "log": False,
        "part_sd": 1.5, "since": date(2026, 3, 4), "since_time": NOW - timedelta(days=6),
        "change_from": date(2026, 2, 25), "change_to": date(2026, 3, 2), "changed": date(2026, 2, 27),
        "change_parts": 8,
        "serial": "S105", "pass_no": 1, "run_length": 9000.0, "chance_days": 420.0,
    }  # fmt: skip
    return SignalFact(**given | other)


def row(feature: str = "bore_taper", **other: Any) -> BoardRow:
    """A row that holds."""
    machine, operation, name, kind, display, decimals, log = KEEP[feature]
    values = tuple(0.2 * math.exp(0.05 * math.sin(i)) if log else 2.0 * math.sin(i) for i in range(40))
    given = {
        "process": f"{machine}/{operation}/{feature}", "machine": machine, "operation": operation,
        "feature": feature, "machine_name": NAMES[machine], "operation_name": operation.replace("_", " "),
        "feature_name": name, "feature_kind": kind, "is_gauge": machine == "BORE", "state": State.HOLDING,
        "since": None, "change_from": None, "change_to": None, "chance_interval_days": None, "signals": (),
        "out": None, "doubt": None, "last_time": NOW - timedelta(hours=3), "last_serial": "S111",
        "scored": 60, "needed": 10, "recent": values, "band": (0.17, 0.23) if log else (-3.0, 3.0),
        "display": display, "decimals": decimals, "log": log, "silent_days": 0, "usual_gap": 1.0,
    }  # fmt: skip
    return BoardRow(**given | other)


def off(feature: str = "bore_taper", **other: Any) -> BoardRow:
    """A row with an open signal."""
    base = row(feature)
    ratio = {"size": 0.2, "part_sd": 0.05} if base.log else {}
    found = signal(base.process, **{"log": base.log} | ratio | other)
    return replace(
        base, state=State.GOING_OFF, signals=(found,), since=found.since, change_from=found.change_from,
        change_to=found.change_to, chance_interval_days=found.chance_days,
    )  # fmt: skip


def out(feature: str = "main_size") -> BoardRow:
    """A row whose latest part is out of tolerance."""
    fact = OutFact("S111", 1, "FOUR", feature, "main=3;direction=V", 65012.0, 65010.0, "above", NOW)
    return replace(row(feature), state=State.OUT_OF_TOLERANCE, out=fact, since=NOW.date())


def board() -> list[BoardRow]:
    """Every state once, in order."""
    doubt = DoubtFact("BORE", "dial bore gauge", date(2026, 2, 2), "BORE/ring_check/ring_size")
    ring = replace(off("ring_size", direction=-1, size=-4.0), state=State.GAUGE_IN_DOUBT, doubt=doubt)
    cured = row(
        "height",
        signals=(
            signal("HONE/finish_hone/height", status="cleared", cure=event(), cleared_on=date(2026, 3, 8)),
        ),
    )
    return [
        ring,
        out(),
        off("bore_peak", direction=-1, size=-0.3),
        cured,
        row("cycle", state=State.LEARNING, scored=4, since=None),
        row("bore_size", state=State.SILENT, silent_days=12, since=date(2026, 2, 20)),
        row("bore_taper"),
    ]


class PaperShop:
    """Answers like the shop; remembers what it was told to do."""

    def __init__(self) -> None:
        self.plan = parse_plan(PLAN, "plan.toml")
        self.folder = "/paper"
        self.rows = board()
        self.asked: list[str] = []
        self.done: list[tuple[Any, ...]] = []
        self.closed = False

    def now(self) -> datetime:
        return NOW

    def close(self) -> None:
        self.closed = True

    def board(self, as_of: date | None = None) -> list[BoardRow]:
        self.asked.append(f"board {as_of}")
        return self.rows

    def process(self, process: str, as_of: date | None = None) -> ProcessView | None:
        del as_of
        found = next((r for r in self.rows if r.process == process), None)
        return None if found is None else view(found)

    def causes(self, process: str) -> None:
        del process

    def first_of_day(self, process: str) -> None:
        del process

    def aims(self, process: str) -> tuple[()]:
        del process
        return ()

    def starts(self, process: str) -> tuple[()]:
        del process
        return ()

    def companions(self, process: str) -> tuple[CompanionFact, ...]:
        del process
        return ()

    def gauges(self, as_of: date | None = None) -> GaugesView:
        del as_of
        return GaugesView((), ())

    def conforms(self, serial: str) -> tuple[()]:
        del serial
        return ()

    def at_reference(self, serial: str) -> tuple[()]:
        del serial
        return ()

    def coarse_charts(self, process: str) -> tuple[str, ...]:
        del process
        return ()

    def true_size(self, process: str, held: Any) -> None:
        del process, held
        return

    def part(self, serial: str) -> PartView | None:
        return part(serial) if serial.startswith("S1") else None

    def source(self, receipt: int, line: int) -> SourceRow:
        if receipt != 1:
            raise ShopError(f"There is no receipt {receipt}.")
        return SourceRow(1, "gauge <1>.csv", "ab" * 32, line, f"row {line},<b>x</b>", ("before",), ("after",))

    def receipts(self) -> list[ReceiptFact]:
        taken = ReceiptFact(
            1, "gauge <1>.csv", "ab" * 32, NOW, 100, "bore", "readings", "taken", 10, 6, 1, 1, 1, 1, None
        )
        waits = ReceiptFact(
            2, "new.csv", "cd" * 32, NOW, 50, None, None, "waiting", 5, 0, 0, 0, 5, 0, "no layout fits"
        )
        return [taken, waits]

    def rows_naming(self, serial: str) -> list[SetAsideFact]:
        return [row for row in self.set_aside_rows() if serial in row.text]

    def set_aside_rows(self, receipt: int | None = None) -> list[SetAsideFact]:
        rows = [
            SetAsideFact(
                1,
                "gauge <1>.csv",
                4,
                "value",
                "x;9,9",
                "bad_number",
                "'9,9' is no number",
                "Mend it, or release the row.",
                False,
                stored=False,
            ),
            SetAsideFact(
                2, "new.csv", 1, None, "a;b", "no_layout", "no layout fits", "Add a layout.", True, "S101"
            ),
        ]
        return [r for r in rows if receipt in (None, r.receipt)]

    def log(self) -> list[LogEntry]:
        return [
            LogEntry(NOW, NOW, "AB", False, "event", "stones dressed on HONE", "set 7", None, 12),
            LogEntry(
                NOW,
                NOW,
                None,
                True,
                "withdrawn",
                "main bore size",
                "rows in late.csv",
                "LINE/line_hone/main_size",
            ),
            LogEntry(NOW, NOW, "CD", False, "decision", "signal closed", "slide", None, 9, undone=True),
        ]

    def withdrawn(self, most: int) -> list[LogEntry]:
        return [entry for entry in self.log() if entry.kind == "withdrawn"][:most]

    def note_event(
        self, target: str, kind: str, happened_at: datetime, who: str, tool: Any = None, note: str = ""
    ) -> int:
        self.done.append(("note_event", target, kind, happened_at, who, tool, note))
        return 41

    def undo(self, journal_line: int, who: str, reason: str) -> int:
        self.done.append(("undo", journal_line, who, reason))
        return 42

    def close_signal(self, *told: Any) -> int:
        if told[4] not in ("fixed", "new level accepted", "no cause found"):
            raise ShopError("outcome is none of the three")
        self.done.append(("close_signal", *told))
        return 43

    def set_part_aside(self, *told: Any) -> int:
        self.done.append(("set_part_aside", *told))
        return 44

    def restore_part(self, *told: Any) -> int:
        self.done.append(("restore_part", *told))
        return 45

    def judge_rows(self, *told: Any, **only: Any) -> Any:
        self.done.append(("judge_rows", told, only))
        return SimpleNamespace(journal_lines=(46,), rows=1, receipts=())

    def fix_row(self, *told: Any) -> Any:
        self.done.append(("fix_row", *told))
        lines = SimpleNamespace(stored=1, partly=0, known=0)
        return SimpleNamespace(journal_lines=(47,), rows=1, receipts=(SimpleNamespace(lines=lines),))

    def correct_rows(self, *told: Any, **only: Any) -> int:
        self.done.append(("correct_rows", told, only))
        return 48

    def take_in_batches(self, batches: Any, progress: Any = None) -> list[Any]:
        del progress
        return self.take_in([file for _, files in batches for file in files])

    def take_in(self, files: Any) -> list[Any]:
        self.done.append(("take_in", [file.name for file in files]))
        lines = SimpleNamespace(total=3, stored=2, partly=0, known=0, set_aside=0, blank=1)
        return [
            SimpleNamespace(
                name=file.name, already=False, status="taken", lines=lines, reason=None, message=None
            )
            for file in files
        ]

    inbox = InboxState(growing=("half <b>.csv",), trouble="The inbox /i cannot be reached (no such share).")

    def scan_inbox(self) -> list[Any]:
        return []

    def capability(self, process: str, family: str, since: Any = None, until: Any = None) -> Any:
        del process, family, since, until
        raise ValueError("too few parts")

    def questions(self) -> tuple[Any, ...]:
        return (Question("clock", "the clock of the gauge runs an hour behind", 1, 3),)

    def digest(self) -> str:
        return "d1"


def view(found: BoardRow) -> ProcessView:
    """Sixty parts of a process, with everything a page can show."""
    log = found.log
    points = tuple(
        PartPoint(
            i, f"S{100 + i}", 1, NOW - timedelta(days=60 - i), "FOUR", 4,
            math.log(0.2) + 0.05 * math.sin(i) if log else 2.0 * math.sin(i),
            math.nan if i < 5 else (math.log(0.2) if log else 0.0), 0.05 if log else 1.5, 0.3,
            "signal" if i == 50 else ("aside" if i == 20 else "in"), (0.5, math.nan if i % 7 else 0.4),
            "set 7", float(i), "dropped" if i == 20 else None, "signal" if i == 21 else None,
        )
        for i in range(60)
    )  # fmt: skip
    closed = signal(
        found.process, status="closed", closing=ClosingFact("fixed", "slide", "CD", NOW, 9), serial="S130"
    )
    gone = signal(found.process, status="withdrawn", withdrawn_by="late.csv", serial="S120")
    return ProcessView(
        found, points, (MonitorTrace("level", tuple(math.sin(i / 9) for i in range(60)), (3.0,) * 60),),
        (*found.signals, closed, gone),
        ((30, event()), (45, event("stones_new", "stones changed", tool="set 8"))),
        ("cylinder=1", "cylinder=2"), (0.4, -0.4), ("FOUR",),
        (SpecFact(found.feature, "FOUR", date(2020, 1, 1), 0.0, -10.0, 10.0, False),), 1.5,
        ("readings were rounded coarsely",), "ef" * 32,
    )  # fmt: skip


def part(serial: str) -> PartView:
    """A part with a used reading, an earlier one and one before the operation."""
    base = PartReading(
        "bore_peak", "bore finish Rpk", "HONE", "finish_hone", 1, "cylinder=1", 0.21, 0.01, "0.21", "um",
        NOW, NOW,
        "BORE", "AB", "set 7", None, None, None, "used", "", "", 0.12, 0.32, None, 1, 7, "Rpk", "um", 2,
    )  # fmt: skip
    readings = (
        base,
        replace(base, status="repeat", value=0.5, out=None, line=6),
        replace(base, feature="bore_size", feature_name="cylinder size", value=80011.0, out="above",
                display="thou", lower=79990.0, upper=80010.0, line=8),
    )  # fmt: skip
    trip = PassFact("HONE", "cylinder hone", "finish_hone", "finish hone", 1, "set 7", NOW, NOW, None)
    return PartView(serial, "FOUR", "four", (trip,), readings, (("HONE/finish_hone/bore_peak", 1),))
