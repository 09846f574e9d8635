"""What the rows of a table want stored, in columns, and why the rest cannot be."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pyarrow as pa

from ingest.layouts.context import (
    NO_NUMBER,
    Context,
    Labels,
    Registers,
    closed,
    free,
    read_amounts,
    read_context,
)
from ingest.layouts.doubts import note_habits, suspect_scale
from ingest.layouts.end import doubt_last_cells
from ingest.layouts.table import Faults, Ints, Mask, Sheet, Table, tabulate
from ingest.layouts.times import NO_TIME, read_times
from ingest.layouts.values import Cells, read_values
from ingest.plans.model import Layout, Plan
from ingest.problems import Complaint

UTC_TIME = pa.timestamp("us")
MANY = 50_000
"""Readings from which on their texts stay coded."""


@dataclass
class Draft:
    """One table, read.

    Attributes
    ----------
    good : list of bool arrays, shape (n,)
        For each value column, the cells that hold a reading.
    readings : pyarrow.Table
        Those readings in the order of row and column; ``row`` is the row of the table.
    entries : pyarrow.Table or None
        Jobs or events, one a sound row, with ``row``.
    """

    table: Table
    cells: list[Cells]
    good: list[Mask]
    readings: pa.Table
    entries: pa.Table | None


def draft(layout: Layout, sheets: list[Sheet], plan: Plan, registers: Registers) -> Draft:
    """Read all sheets of one layout."""
    table = tabulate(layout, sheets)
    doubt_last_cells(table)
    times = {name: _time(table, plan, name) for name in ("time", "started", "ended")}
    context = read_context(table, registers)
    cells = read_values(table, plan, context)
    _empty_rows(table, cells)
    for at, complaint in suspect_scale(table, plan, context, cells).items():
        if not sheets[at].believed:
            table.faults.where(table.sheet == at, complaint)
    entries = None
    if layout.role == "jobs":
        entries = _jobs(table, context, times)
        happened = np.where(times["ended"] != NO_TIME, times["ended"], times["started"])
    elif layout.role == "events":
        entries = _events(table, registers, context, times["time"])
        happened = times["time"]
    else:
        happened = times["time"]
    note_habits(table, plan, context, cells, happened)
    sound = ~table.faults.any
    good = [sound & ~c.blank & ~c.faults.any & np.isfinite(c.value) for c in cells]
    readings = _readings(table, context, cells, good, happened)
    return Draft(table, cells, good, readings, None if entries is None else entries.filter(pa.array(sound)))


def _time(table: Table, plan: Plan, name: str) -> Ints:
    """A time column; the time of a row also stands in a date column with or without a clock column."""
    layout = table.layout
    if name == "time" and layout.time == "received":
        table.note("no_time", np.ones(len(table), dtype=bool))
        return np.array([s.known_us for s in table.sheets] or [0], dtype=np.int64)[table.sheet]
    columns = [c for c in (layout.only(name),) if c]
    if name == "time" and not columns:
        columns = [c for c in (layout.only("date"), layout.only("clock")) if c]
    if not columns:
        return np.full(len(table), NO_TIME, dtype=np.int64)
    return read_times(table, plan, columns, table.faults, required=name == "time")


def _empty_rows(table: Table, cells: list[Cells]) -> None:
    if table.layout.role in ("jobs", "events") or not cells:
        return
    empty = np.logical_and.reduce([c.blank for c in cells])
    complaint = Complaint("missing_value", "the row has no reading.", "Measure it again, or leave it so.")
    table.faults.where(empty, complaint)


def _taken(labels: Labels, rows: Ints) -> pa.Array:
    return _spread(labels.texts, labels.codes[rows])


def _spread(texts: Sequence[str | None], codes: Ints) -> pa.Array:
    """Text of each code: as texts, or where there are many as coded texts, equal texts by one code."""
    given = pa.array(texts, pa.string())
    if len(codes) < MANY:
        return given.take(pa.array(codes))
    distinct = given.dictionary_encode()
    return pa.DictionaryArray.from_arrays(distinct.indices.take(pa.array(codes)), distinct.dictionary)


def _times(us: Ints) -> pa.Array:
    return pa.array(us, pa.int64(), mask=us == NO_TIME).cast(UTC_TIME)


def _whole(values: Ints) -> pa.Array:
    return pa.array(values, pa.int64(), mask=values == NO_NUMBER)


def _floats(values: np.ndarray) -> pa.Array:
    return pa.array(values, pa.float64(), mask=np.isnan(values))


def _joined(parts: Sequence[pa.Array], order: Ints, kind: pa.DataType) -> pa.Array:
    if not parts:
        return pa.array([], kind)
    if len(parts) == 1:  # in the order of the rows already
        return parts[0]
    parts = [part.dictionary_decode() if isinstance(part, pa.DictionaryArray) else part for part in parts]
    return pa.concat_arrays(list(parts)).take(pa.array(order))


def _readings(
    table: Table, context: Context, cells: list[Cells], good: list[Mask], happened: Ints
) -> pa.Table:
    picked = [np.flatnonzero(mask) for mask in good]
    rows = np.concatenate(picked) if picked else np.zeros(0, dtype=np.int64)
    number = np.repeat(np.arange(len(cells)), [len(p) for p in picked])
    order = np.lexsort((number, rows)) if len(picked) > 1 else np.arange(len(rows))
    rows, number = rows[order], number[order]
    files = np.array([s.index for s in table.sheets] or [0])
    text = pa.string()
    timed = table.layout.time is None
    each = list(zip(cells, picked, strict=True))
    raw = [_spread(c.raw.texts, c.raw.codes[p]) for c, p in each]
    set_size = [_floats(c.set_size[p]) for c, p in each]
    return pa.table(
        {
            "row": pa.array(rows),
            "cell": pa.array(number),
            "file": pa.array(files[table.sheet[rows]]),
            "line": pa.array(table.line[rows]),
            "col": _spread([c.column.name for c in cells], number),
            "role": _spread([table.layout.role], np.zeros(len(rows), dtype=np.int64)),
            "seq": _whole(context.seq[rows]),
            "timed": pa.array(np.full(len(rows), timed)),
            "numbered": pa.array(np.full(len(rows), timed or table.layout.only("sequence") is not None)),
            "time": _times(happened[rows]),
            "serial": _taken(context.serial, rows),
            "feature": _joined([_taken(c.feature, p) for c, p in each], order, text),
            "position": _joined([_taken(c.position, p) for c, p in each], order, text),
            "value": _joined([pa.array(c.value[p]) for c, p in each], order, pa.float64()),
            "raw": _joined(raw, order, text),
            "raw_unit": _joined([_taken(c.unit, p) for c, p in each], order, text),
            "set_size": _joined(set_size, order, pa.float64()),
            "gauge": _taken(context.gauge, rows),
            "operator": _taken(context.operator, rows),
            "tool": _taken(context.tool, rows),
            "family": _taken(context.family, rows),
            "machine": _taken(context.machine, rows),
            "operation": _taken(context.operation, rows),
            "stage": _taken(context.stage, rows),
            "pass": _whole(context.pass_no[rows]).cast(pa.int32()),
            "part_temp": _floats(context.part_temp[rows]),
            "gauge_temp": _floats(context.gauge_temp[rows]),
            "master": _taken(context.master, rows),
            "note": _taken(context.note, rows),
        }
    )


def _place_of_rows(table: Table) -> dict[str, pa.Array]:
    files = np.array([s.index for s in table.sheets] or [0])
    return {
        "row": pa.array(np.arange(len(table))),
        "file": pa.array(files[table.sheet]),
        "line": pa.array(table.line),
    }


def _jobs(table: Table, context: Context, times: dict[str, Ints]) -> pa.Table:
    rows = np.arange(len(table))
    never = (times["started"] == NO_TIME) & (times["ended"] == NO_TIME)
    reason = "the row says neither when the job started nor when it ended."
    table.faults.where(never, Complaint("bad_timestamp", reason, "Fill in one of the two."))
    both = (times["started"] != NO_TIME) & (times["ended"] != NO_TIME)
    backwards = both & (times["ended"] < times["started"])
    reason = "the job ends before it starts."
    table.faults.where(backwards, Complaint("time_implausible", reason, "Correct one of the two times."))
    missing = np.array([t is None for t in context.machine.texts])[context.machine.codes]
    table.faults.where(missing, Complaint("unknown_machine", "the machine is missing.", "Fill it in."))
    return pa.table(
        {
            **_place_of_rows(table),
            "serial": _taken(context.serial, rows),
            "family": _taken(context.family, rows),
            "operation": _taken(context.operation, rows),
            "machine": _taken(context.machine, rows),
            "tool": _taken(context.tool, rows),
            "pass": _whole(context.pass_no).cast(pa.int32()),
            "started": _times(times["started"]),
            "ended": _times(times["ended"]),
            "note": _taken(context.note, rows),
        }
    )


def _events(table: Table, registers: Registers, context: Context, happened: Ints) -> pa.Table:
    rows = np.arange(len(table))
    target = closed(table, "target", registers.target, table.layout.machine)
    kind = closed(table, "kind", registers.event, None)
    for labels, what, word in ((target, "machine", "machine or gauge"), (kind, "event", "kind of event")):
        missing = np.array([t is None for t in labels.texts])[labels.codes]
        table.faults.where(missing, Complaint(f"unknown_{what}", f"the {word} is missing.", "Fill it in."))
    amounts = {}
    for meaning in ("cost", "down_hours"):
        column = table.layout.only(meaning)
        amounts[meaning] = read_amounts(table, column) if column else np.full(len(table), np.nan)
    return pa.table(
        {
            **_place_of_rows(table),
            "time": _times(happened),
            "target": _taken(target, rows),
            "kind": _taken(kind, rows),
            "tool": _taken(free(table, "tool"), rows),
            "note": _taken(context.note, rows),
            "cost": _floats(amounts["cost"]),
            "down_hours": _floats(amounts["down_hours"]),
            "who": _taken(context.operator, rows),
        }
    )


def cell_faults(cells: Cells, sound: Mask) -> Faults:
    """Complaints against single cells of sound rows."""
    faults = cells.faults
    first = np.where(sound & ~cells.blank, faults.first, -1)
    return Faults(first, faults.complaints)
