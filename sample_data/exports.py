"""The files the shop's gauges and people leave behind: one per source and day."""

from __future__ import annotations

import csv
import io
from collections import defaultdict
from dataclasses import dataclass, field
from datetime import date, datetime, time, timedelta
from pathlib import Path

from sample_data.calendar import ZONE

BORE = ("seq", "stamp", "block", "place", "dir", "dev_thou", "set_mm", "gauge", "who", "block_c", "tool")
PROBE = ("date", "time", "block", "deck", "point", "z_mm", "program", "spindle_min")
HEIGHT = ("block", "deck", "point", "height_in", "who", "when")
FINISH = ("block", "site", "Ra", "Rz", "Rk", "Rpk", "Rvk", "cutoff_mm", "who", "when")
RINGS = ("when", "gauge", "ring", "ring_mm", "read1_thou", "read2_thou", "temp_c", "who")
AUDIT = ("when", "block", "place", "size_mm", "gauge", "temp_c", "who")
TRIAL = ("when", "order", "block", "place", "size_mm", "gauge", "who")
JOBS = ("block", "family", "operation", "machine", "tool", "pass", "started", "ended", "cycle_min", "note")
EVENTS = ("when", "machine_or_gauge", "kind", "tool", "note", "cost", "down_h")

# In the order in which the shop's computer collects them after closing, a minute apart.
HEADERS = {
    "events": EVENTS,
    "jobs": JOBS,
    "rings": RINGS,
    "MG1": BORE,
    "BG1": BORE,
    "BG2": BORE,
    "TP1": PROBE,
    "HG1": HEIGHT,
    "PF1": FINISH,
    "audit": AUDIT,
    "trial": TRIAL,
}
COLLECTED = time(16, 30)


@dataclass
class Export:
    """One file: its name, its rows, when the shop's computer received it."""

    name: str
    source: str
    day: date
    rows: list[dict[str, str]] = field(default_factory=list)
    preamble: tuple[str, ...] = ()
    separator: str = ","
    line_end: str = "\n"
    known_at: datetime = field(init=False)

    def __post_init__(self) -> None:
        minutes = list(HEADERS).index(self.source)
        self.known_at = datetime.combine(self.day, COLLECTED, ZONE) + timedelta(minutes=minutes)

    @property
    def path(self) -> str:
        """Place below the exports folder, a folder a month."""
        return f"{self.day:%Y-%m}/{self.name}"

    def text(self) -> str:
        """The file as it lies in the folder."""
        out = io.StringIO()
        for line in self.preamble:
            out.write(line + self.line_end)
        header = HEADERS[self.source]
        writer = csv.writer(out, delimiter=self.separator, lineterminator=self.line_end)
        writer.writerow(header)
        writer.writerows([row[name] for name in header] for row in self.rows)
        return out.getvalue()


class Book:
    """Collects rows with their time and turns them into files."""

    def __init__(self) -> None:
        self._rows: defaultdict[tuple[date, str], list[tuple[datetime, dict[str, str]]]] = defaultdict(list)

    def add(self, source: str, when: datetime, **cells: str) -> None:
        """Add a row to the file of its day; `when_` means the column `when`, as `when` is taken."""
        header = HEADERS[source]
        cells = {name.rstrip("_"): text for name, text in cells.items()}
        self._rows[when.date(), source].append((when, {name: cells.get(name, "") for name in header}))

    def exports(self) -> list[Export]:
        """Every file, by day and in the order of collection, rows in the order of time.

        A bore gauge numbers its readings through the whole period.
        """
        sequence: defaultdict[str, int] = defaultdict(int)
        order = list(HEADERS)
        files = []
        for day, source in sorted(self._rows, key=lambda key: (key[0], order.index(key[1]))):
            export = Export(f"{day:%Y-%m-%d}_{source}.csv", source, day)
            if source == "PF1":
                export.preamble = ("tester: PF1", "unit: um")
            elif source == "TP1":
                export.separator = ";"
            for _, row in sorted(self._rows[day, source], key=lambda timed: timed[0]):
                if "seq" in row:
                    sequence[source] += 1
                    row["seq"] = str(sequence[source])
                export.rows.append(row)
            files.append(export)
        return files


def write(folder: Path, exports: list[Export]) -> None:
    """Write the files below `folder/exports` and the list of deliveries beside it."""
    for export in exports:
        path = folder / "exports" / export.path
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(export.text().encode("utf-8"))
    lines = sorted((export.known_at.isoformat(), f"exports/{export.path}") for export in exports)
    text = "file,known_at\n" + "".join(f"{path},{known}\n" for known, path in lines)
    (folder / "deliveries.csv").write_bytes(text.encode("utf-8"))
