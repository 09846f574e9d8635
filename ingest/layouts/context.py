"""What a row says beside its values: part, gauge, person, machine, conditions."""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from functools import reduce

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc
from numpy.typing import NDArray

from ingest.layouts.cells import Names, Number, People, Serial, read_number, read_serial
from ingest.layouts.table import Coded, Ints, Table, Uncoded, combine
from ingest.plans.model import Column, Plan
from ingest.problems import Complaint
from spc.units import to_base

Floats = NDArray[np.float64]

NO_NUMBER = -1
"""Stands for a whole number that is not there."""


@dataclass
class Labels:
    """A column of texts after reading: for each row a code, for each code a text or None."""

    codes: Ints
    texts: list[str | None]

    def at(self, row: int) -> str | None:
        """Text of a row."""
        return self.texts[self.codes[row]]

    def same(self) -> Ints:
        """Codes that are equal exactly where the texts are."""
        first: dict[str | None, int] = {}
        alike = np.array([first.setdefault(text, code) for code, text in enumerate(self.texts)])
        return alike[self.codes]

    @classmethod
    def fixed(cls, n: int, text: str | None) -> Labels:
        """The same text in every row."""
        return cls(np.zeros(n, dtype=np.int64), [text])


@dataclass
class Context:
    """Columns of a table that every cell of a row shares. Floats are NaN, whole numbers -1 where empty."""

    serial: Labels
    gauge: Labels
    operator: Labels
    tool: Labels
    family: Labels
    machine: Labels
    operation: Labels
    stage: Labels
    master: Labels
    note: Labels
    feature: Labels
    seq: Ints
    pass_no: Ints
    part_temp: Floats
    gauge_temp: Floats


class Registers:
    """The closed lists of a plan, ready to look cells up in."""

    def __init__(self, plan: Plan) -> None:
        def names(entries: Mapping, what: str) -> Names:
            return Names({key: getattr(entry, "name", "") or key for key, entry in entries.items()}, what)

        measured = {k: f for k, f in plan.features.items() if not f.derive}
        self.gauge = names(plan.gauges, "gauge")
        self.machine = names(plan.machines, "machine")
        self.family = names(plan.families, "family")
        self.operation = names(plan.operations, "operation")
        self.master = names(plan.masters, "master")
        self.feature = names(measured, "feature")
        self.event = names(plan.events, "event")
        self.target = names({**plan.machines, **plan.gauges}, "machine")
        before = {"before": "before"}
        self.stage = Names({k: o.name for k, o in plan.operations.items()} | before, "stage")
        self.people = People(dict(plan.people))
        self.serial = re.compile(plan.shop.serial) if plan.shop.serial else None


def read_context(table: Table, registers: Registers) -> Context:
    """Read every column of a table that is not a time or a value; complaints go to the table's faults."""
    layout = table.layout
    return Context(
        serial=_serial(table, registers, required=layout.role != "checks"),
        gauge=closed(table, "gauge", registers.gauge, layout.gauge),
        operator=_operator(table, registers.people),
        tool=free(table, "tool"),
        family=closed(table, "family", registers.family, layout.family),
        machine=closed(table, "machine", registers.machine, layout.machine),
        operation=closed(table, "operation", registers.operation, layout.operation),
        stage=closed(table, "stage", registers.stage, layout.stage),
        master=closed(table, "master", registers.master, layout.master),
        note=free(table, "note"),
        feature=closed(table, "feature", registers.feature, None),
        seq=_sequence(table),
        pass_no=_pass(table),
        part_temp=_temperature(table, "part_temperature"),
        gauge_temp=_temperature(table, "gauge_temperature"),
    )


def _spread(coded: Coded, answers: list) -> Labels:
    return Labels(coded.codes, [a if isinstance(a, str) else None for a in answers] or [None])


def closed(table: Table, meaning: str, names: Names, fixed: str | None) -> Labels:
    """A column of a closed list; an empty cell takes what the layout fixes, if it does."""
    coded = table.column(meaning)
    if coded is None:
        return Labels.fixed(len(table), fixed)
    answers = [fixed if a is None else a for a in coded.each(names.read)]
    table.faults.against(coded.codes, answers)
    return _spread(coded, answers)


def free(table: Table, meaning: str) -> Labels:
    """A column of free text; empty cells are None."""
    coded = table.column(meaning)
    if coded is None:
        return Labels.fixed(len(table), None)
    return _spread(coded, coded.each(lambda text: text.strip() or None))


def _operator(table: Table, people: People) -> Labels:
    coded = table.column("operator")
    if coded is None:
        return Labels.fixed(len(table), None)
    answers = coded.each(people.read)
    for kind in ("operator_normalised", "operator_unknown"):
        table.note(kind, np.array([a[1] == kind for a in answers] or [False])[coded.codes])
    return _spread(coded, [a[0] for a in answers])


def _serial(table: Table, registers: Registers, required: bool) -> Labels:
    columns = [table.texts[c.name] for c in table.layout.having("serial")]
    if not columns:
        return Labels.fixed(len(table), None)
    coded = reduce(_join, columns)
    # The parts of a gauge trial are numbered for it and need be no parts of the shop.
    pattern = None if table.layout.role == "study" else registers.serial

    def read(text: str) -> Serial | Complaint | None:
        if not text.strip(" /") and not required:
            return None
        if len(columns) > 1 and not all(part.strip() for part in text.split("/")):
            return read_serial("", pattern)
        return read_serial(text, pattern)

    plain = _as_they_stand(coded.texts, pattern) if len(columns) == 1 else set()
    answers = [text if text in plain else read(text) for text in coded.texts]
    table.faults.against(coded.codes, answers)
    tidied = [isinstance(a, Serial) and a.tidied for a in answers]
    table.note("serial_normalised", np.array(tidied or [False])[coded.codes])
    return _spread(coded, [a.value if isinstance(a, Serial) else a for a in answers])


def _as_they_stand(texts: list[str], pattern: re.Pattern[str] | None) -> set[str]:
    """Texts that are serials just as they are written."""
    fits = pattern.fullmatch if pattern is not None else bool
    return {text for text in texts if fits(text) and text == text.strip() and text.strip(" /")}


def _join(left: Coded, right: Coded) -> Coded:
    """The texts of two columns, row by row, with a slash between."""
    codes, pairs = combine([left, right])
    return Coded(codes, [f"{left.texts[a].strip()}/{right.texts[b].strip()}" for a, b in pairs])


def _whole(text: str) -> int:
    plain = text.strip()
    return int(plain) if re.fullmatch(r"[0-9]{1,18}", plain) else NO_NUMBER


def _wholes(texts: list[str]) -> Ints:
    """What `_whole` gives for each text; texts of nothing but digits are read together."""
    cells = pa.array(texts, pa.string())
    short = pc.less_equal(pc.binary_length(cells), 18)  # type: ignore[attr-defined]
    digits = pc.and_(pc.ascii_is_decimal(cells), short).to_numpy(zero_copy_only=False)  # type: ignore[attr-defined]
    found = np.full(len(texts), NO_NUMBER, dtype=np.int64)
    found[digits] = cells.filter(pa.array(digits)).cast(pa.int64()).to_numpy()
    for at in np.flatnonzero(~digits).tolist():
        found[at] = _whole(texts[at])
    return found


def _digits(cells: pa.StringArray) -> Ints | None:
    """What `_whole` gives for each cell, when all are nothing but digits."""
    plain = pc.and_(pc.ascii_is_decimal(cells), pc.less_equal(pc.binary_length(cells), 18))  # type: ignore[attr-defined]
    return cells.cast(pa.int64()).to_numpy() if pc.all(plain).as_py() else None  # type: ignore[attr-defined]


def _sequence(table: Table) -> Ints:
    """Sequence numbers; an unreadable one is dropped with a warning: it only says the order.

    Where a layout has no sequence column and no times, lines say the order.
    """
    coded = table.column("sequence")
    if coded is None and table.layout.time == "received":
        return table.line.copy()
    if coded is None:
        return np.full(len(table), NO_NUMBER, dtype=np.int64)
    if isinstance(coded, Uncoded):
        numbers = _digits(coded.cells)
        if numbers is not None:
            return numbers
    found = _wholes(coded.texts)
    odd = np.zeros(len(found), dtype=bool)
    for at in np.flatnonzero(found < 0).tolist():
        odd[at] = bool(coded.texts[at].strip())
    table.note("sequence_unreadable", odd[coded.codes])
    return found[coded.codes]


def _pass(table: Table) -> Ints:
    coded = table.column("pass")
    if coded is None:
        return np.full(len(table), NO_NUMBER, dtype=np.int64)

    def read(text: str) -> int | Complaint:
        if not text.strip():
            return NO_NUMBER
        number = _whole(text)
        if 1 <= number <= 999:
            return number
        return Complaint("bad_number", f"'{text.strip()[:40]}' is not a pass.", "Write 1, 2, 3 and so on.")

    answers = coded.each(read)
    table.faults.against(coded.codes, answers)
    return np.array([a if isinstance(a, int) else NO_NUMBER for a in answers] or [NO_NUMBER])[coded.codes]


def _temperature(table: Table, meaning: str) -> Floats:
    """Temperatures; an unreadable one is dropped with a warning: the reading itself is sound."""
    column = table.layout.only(meaning)
    if column is None:
        return np.full(len(table), np.nan)
    coded = table.texts[column.name]
    answers = coded.each(lambda text: read_number(text, table.decimal))
    odd = [isinstance(a, Complaint) for a in answers]
    table.note("condition_unreadable", np.array(odd or [False])[coded.codes])
    found = np.array([a.value if isinstance(a, Number) else np.nan for a in answers] or [np.nan])
    return found[coded.codes]


def read_amounts(table: Table, column: Column, answer: Callable[[str], object] | None = None) -> Floats:
    """A column of plain numbers (cost, hours); NaN where empty; complaints go to the table's faults."""
    coded = table.texts[column.name]
    answers = coded.each(answer or (lambda text: read_number(text, table.decimal)))
    table.faults.against(coded.codes, answers)
    found = np.array([a.value if isinstance(a, Number) else np.nan for a in answers] or [np.nan])
    return found[coded.codes]


def in_base(number: Number, unit: str) -> float | Complaint:
    """A number in its declared unit, in base units; a complaint when the cell names another unit."""
    if number.unit is not None and number.unit != unit:
        reason = f"the cell says '{number.unit}' but the column is in '{unit}'."
        return Complaint("unit_conflict", reason, "Correct the cell, or the unit in the layout.")
    return to_base(number.value, unit)
