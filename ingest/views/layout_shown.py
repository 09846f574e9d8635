"""What a layout makes of a real file: for the first rows, what each column becomes, or why it cannot."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from ingest.layouts.context import Registers
from ingest.layouts.draft import Draft, cell_faults, draft
from ingest.layouts.header import HeaderReader
from ingest.layouts.sheet import NoSheet, read_sheet
from ingest.plans.calendar import Calendar
from ingest.plans.model import Column, Plan
from ingest.problems import Complaint
from ingest.state.moment import calendar_of
from spc.units import from_base

MOST_BYTES = 4_000_000
"""Of a longer file only the beginning is looked at."""
_SAME = {
    "sequence": "seq", "serial": "serial", "gauge": "gauge", "operator": "operator", "tool": "tool",
    "family": "family", "machine": "machine", "operation": "operation", "stage": "stage", "pass": "pass",
    "master": "master", "note": "note", "part_temperature": "part_temp", "gauge_temperature": "gauge_temp",
    "target": "target", "kind": "kind", "cost": "cost", "down_hours": "down_hours", "feature": "feature",
    "unit": "raw_unit", "place": "position",
}  # fmt: skip
_TIMES = {"time": "time", "date": "time", "clock": "time", "started": "started", "ended": "ended"}


@dataclass(frozen=True)
class ShownCell:
    """One column of a row: its text, what it means, and what it becomes."""

    column: str
    text: str
    means: str
    becomes: str


@dataclass(frozen=True)
class ShownRow:
    """One row; `wrong` says why it would be set aside, and is empty when it would be stored."""

    line: int
    cells: tuple[ShownCell, ...]
    wrong: tuple[str, ...]


@dataclass(frozen=True)
class Shown:
    """The first rows of a file as a layout reads them."""

    layout: str
    separator: str
    header_line: int
    rows: tuple[ShownRow, ...]
    total: int
    wrong: int


def show_file(
    plan: Plan, name: str, data: bytes, layout: str | None, most: int, known_us: int
) -> Shown | Complaint:
    """Read a file as intake would, without keeping anything.

    Parameters
    ----------
    layout : str or None
        Only this layout; by default whichever knows the header.
    most : int
        Rows to show.
    known_us : int
        Moment the rows are judged by, microseconds since 1970 UTC.

    Returns
    -------
    Shown or Complaint
        A complaint when no row can be read; for an unknown header it names the nearest layouts and the columns
        that differ.

    Raises
    ------
    KeyError
        The plan has no such layout.
    """
    if layout is not None:
        plan = plan.model_copy(update={"layouts": {layout: plan.layouts[layout]}})
    if len(data) > MOST_BYTES:
        data = data[: data.rfind(b"\n", 0, MOST_BYTES) + 1] or data[:MOST_BYTES]
    sheet = read_sheet(0, name, data, known_us, HeaderReader(plan))
    if isinstance(sheet, NoSheet):
        return sheet.complaint
    key = sheet.header.layout.key
    read = draft(plan.layouts[key], [sheet], plan, Registers(plan))
    made = _by_row(read)
    rows = [_row(plan, read, row, made.get(row, [])) for row in range(min(most, len(read.table)))]
    rows += [
        ShownRow(b.line, (ShownCell("", b.text, "whole line", ""),), (_sentence(b.complaint),))
        for b in sheet.rows.bad[: max(0, most - len(rows)) or 1]
    ]
    sound = int((~read.table.faults.any).sum())
    wrong = len(read.table) - sound + len(sheet.rows.bad)
    rows.sort(key=lambda r: r.line)
    return Shown(
        key, sheet.header.separator, sheet.preamble, tuple(rows), len(read.table) + len(sheet.rows.bad), wrong
    )


def _by_row(read: Draft) -> dict[int, list[dict[str, Any]]]:
    made: dict[int, list[dict[str, Any]]] = {}
    for table in (read.readings, read.entries):
        for record in table.to_pylist() if table is not None else ():
            made.setdefault(record["row"], []).append(record)
    return made


def _row(plan: Plan, read: Draft, row: int, made: list[dict[str, Any]]) -> ShownRow:
    table = read.table
    wrong = [_sentence(table.faults.of(row))] if table.faults.any[row] else []
    sound = ~table.faults.any
    for cells in read.cells:
        faults = cell_faults(cells, sound)
        if faults.any[row]:
            wrong.append(f"{cells.column.name}: {_sentence(faults.of(row))}")
    calendar = calendar_of(plan)
    shown = []
    for column in table.layout.columns:
        coded = table.texts.get(column.name)
        text = coded.texts[coded.codes[row]] if coded is not None else ""
        means = " and ".join(m.replace("_", " ") for m in column.meanings)
        shown.append(ShownCell(column.name, text, means, _becomes(plan, calendar, column, made)))
    return ShownRow(int(table.line[row]), tuple(shown), tuple(wrong))


def _becomes(plan: Plan, calendar: Calendar, column: Column, made: list[dict[str, Any]]) -> str:
    if column.meaning == "ignore":
        return "not used"
    if column.meaning == "value":
        return "; ".join(_value(plan, r) for r in made if r.get("col") == column.name)
    for record in made:
        if column.meaning in _TIMES:
            moment = record.get(_TIMES[column.meaning])
            if moment is not None:
                return f"{calendar.local(moment):%Y-%m-%d %H:%M:%S} shop time"
        if column.meaning == "set_size" and record.get("set_size") is not None:
            return f"{record['set_size'] / 1000:.4f} mm"
        told = record.get(_SAME.get(column.meaning, ""))
        if told is not None and told != "":
            return str(told)
    return ""


def _value(plan: Plan, record: dict[str, Any]) -> str:
    feature = plan.features[record["feature"]]
    unit = "mm" if feature.unit == "um" and record["value"] > 1000 else feature.unit
    size = f"{from_base(record['value'], unit):.6g} {unit}"
    if record["set_size"] is not None:
        off = from_base(record["value"] - record["set_size"], feature.display)
        size += f" ({off:+.3g} {feature.display} from the set size)"
    place = f", {record['position']}" if record["position"] else ""
    return f"{feature.name or feature.key}{place}: {size}"


def _sentence(complaint: Complaint) -> str:
    return f"{complaint.reason[:1].upper()}{complaint.reason[1:]} {complaint.remedy}"
