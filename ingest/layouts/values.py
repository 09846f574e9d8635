"""Value columns of a table: number, unit, feature and position of each cell, in base units."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from functools import reduce

import numpy as np

from ingest.layouts.cells import Number, read_number
from ingest.layouts.context import Context, Floats, Labels, in_base
from ingest.layouts.table import Coded, Faults, Mask, Table, combine
from ingest.plans.model import Column, Feature, Plan, position_key
from ingest.problems import Complaint
from spc.units import UNITS, UnitError, dimension, parse_unit, to_base

_FACTOR = np.array([to_base(1.0, unit) for unit in UNITS])


@dataclass
class Cells:
    """One value column of a table.

    Attributes
    ----------
    blank : bool array, shape (n,)
        Nothing was measured.
    faults : Faults
        Against single cells.
    value : float array, shape (n,)
        Base unit; absolute where a set size or master is known.
    plain : float array, shape (n,)
        What the cell itself says, in base units.
    """

    column: Column
    blank: Mask
    faults: Faults
    value: Floats
    plain: Floats
    raw: Coded
    unit: Labels
    feature: Labels
    position: Labels
    set_size: Floats


def read_values(table: Table, plan: Plan, context: Context) -> list[Cells]:
    """Read every value column; complaints about places go to the table's faults, others to the cells'."""
    places = _places(table)
    numbers = _row_numbers(table, context, places)
    set_size, set_faults = _set_sizes(table, plan, context)
    return [
        _read_column(table, plan, context, column, (places, numbers), set_size, set_faults)
        for column in table.layout.having("value")
    ]


def _places(table: Table) -> Coded:
    """The place of each row: its place columns joined with a slash."""
    columns = [table.texts[c.name] for c in table.layout.having("place")]
    if not columns:
        return Coded(np.zeros(len(table), dtype=np.int64), [""])
    codes, combinations = combine(columns)
    texts = [
        "/".join(column.texts[c].strip() for column, c in zip(columns, combination, strict=True))
        for combination in combinations
    ]
    answers = [
        None
        if any(place.regex.fullmatch(text) for place in table.layout.places)
        else Complaint("unknown_position", f"the layout knows no place '{text[:60]}'.", "Correct the place.")
        for text in texts
    ]
    table.faults.against(codes, answers)
    return Coded(codes, texts)


def _row_numbers(table: Table, context: Context, places: Coded) -> Coded:
    """Number of each row, from 1, among the rows of its file with the same part, place and feature."""
    if table.layout.number_rows is None or not len(table):
        return Coded(np.zeros(len(table), dtype=np.int64), [""])
    parts = [table.sheet, context.serial.same(), places.codes, context.feature.same()]
    group = reduce(lambda a, b: np.unique(a * (int(b.max()) + 1) + b, return_inverse=True)[1], parts)
    order = np.argsort(group, kind="stable")
    starts = np.flatnonzero(np.r_[True, np.diff(group[order]) != 0])
    number = np.empty(len(table), dtype=np.int64)
    number[order] = np.arange(len(table)) - np.repeat(starts, np.diff(np.r_[starts, len(table)]))
    return Coded(number, [str(n + 1) for n in range(int(number.max()) + 1)])


def _set_sizes(table: Table, plan: Plan, context: Context) -> tuple[Floats, Faults]:
    """Size the gauge was set to, from its column or the master. [base unit; NaN where unknown]"""
    faults = Faults.none(len(table))
    sizes = [np.nan if t not in plan.masters else float(plan.masters[t].size) for t in context.master.texts]
    found = np.array(sizes, dtype=float)[context.master.codes]
    column = table.layout.only("set_size")
    if column is None or column.unit is None:
        return found, faults
    unit = column.unit
    coded = table.texts[column.name]

    def read(text: str) -> float | Complaint | None:
        number = read_number(text, table.decimal)
        return in_base(number, unit) if isinstance(number, Number) else number

    answers = coded.each(read)
    faults.against(coded.codes, answers)
    given = np.array([a if isinstance(a, float) else np.nan for a in answers] or [np.nan])[coded.codes]
    return np.where(np.isnan(given), found, given), faults


def _read_column(
    table: Table,
    plan: Plan,
    context: Context,
    column: Column,
    where: tuple[Coded, Coded],
    set_size: Floats,
    set_faults: Faults,
) -> Cells:
    coded = table.texts[column.name]
    faults = Faults.none(len(table))
    overload = frozenset(code.strip().upper() for code in table.layout.overload)
    numbers = coded.each(lambda text: read_number(text, table.decimal, overload))
    faults.against(coded.codes, numbers)
    blank = np.array([a is None for a in numbers] or [True])[coded.codes]
    for kind in ("unit_in_cell", "decimal_comma", "thousands_removed"):
        table.note(
            kind,
            np.array([isinstance(a, Number) and a.warning == kind for a in numbers] or [False])[coded.codes],
        )
    unit = _units(table, column, faults)
    _compare_units(coded, numbers, unit, faults)
    feature, position = _targets(table, plan, context, column, where, unit, faults)
    figures = np.array([a.value if isinstance(a, Number) else np.nan for a in numbers] or [np.nan])[
        coded.codes
    ]
    factor = np.array([_FACTOR[UNITS.index(u)] if u in UNITS else np.nan for u in unit.texts])
    plain = figures * factor[unit.codes]
    value = plain
    if column.measures != "absolute":
        value = column.sign * plain
        used = set_size if column.measures == "deviation" else np.where(np.isnan(set_size), 0.0, set_size)
        if column.measures == "deviation":
            reason = "the row has a deviation but not the size that the gauge was set to."
            lacking = np.isnan(set_size) & ~set_faults.any
            remedy = "Fill in the set size."
            faults.against(set_faults.first, set_faults.complaints)
            faults.where(lacking, Complaint("missing_value", reason, remedy))
        value = used + value
    cells = Cells(column, blank, faults, value, plain, coded, unit, feature, position, set_size)
    _impossible(plan, cells)
    return cells


def _units(table: Table, column: Column, faults: Faults) -> Labels:
    """Unit of each cell: of the row's unit column, the column itself, or the preamble of the file."""
    coded = table.column("unit")
    if column.unit is not None:
        if coded is not None:
            answers = [_other_unit(text, column.unit) for text in coded.texts]
            faults.against(coded.codes, answers)
        return Labels.fixed(len(table), column.unit)
    if coded is not None:
        answers = coded.each(_unit_cell)
        faults.against(coded.codes, answers)
        return Labels(coded.codes, [a if isinstance(a, str) else None for a in answers] or [None])
    answers = [sheet.unit for sheet in table.sheets]
    missing = Complaint(
        "unit_missing", "no line above the header says the unit.", "Send the file with its 'unit: ...' line."
    )
    faults.against(table.sheet, [missing if a is None else a for a in answers])
    said = [a if isinstance(a, str) else None for a in answers]
    distinct = list(dict.fromkeys(said)) or [None]
    return Labels(np.array([distinct.index(a) for a in said] or [0])[table.sheet], distinct)


def _unit_cell(text: str) -> str | Complaint:
    plain = text.strip()
    if not plain:
        return Complaint("unit_missing", "the unit is missing in this row.", "Fill in the unit.")
    try:
        return parse_unit(plain)
    except UnitError:
        return Complaint("unit_unknown", f"'{plain[:40]}' is not a unit.", f"Legal: {', '.join(UNITS)}.")


def _other_unit(text: str, declared: str) -> Complaint | None:
    given = _unit_cell(text) if text.strip() else declared
    if isinstance(given, Complaint) or given == declared:
        return given if isinstance(given, Complaint) else None
    reason = f"the row says '{given}' but the column is declared in '{declared}'."
    return Complaint("unit_conflict", reason, "Correct the row, or the unit in the layout.")


def _compare_units(coded: Coded, numbers: list, unit: Labels, faults: Faults) -> None:
    """A unit written in the cell itself must be the unit of the cell."""
    inside = [a.unit if isinstance(a, Number) else None for a in numbers]
    if not any(inside):
        return
    codes, combinations = combine([coded, Coded(unit.codes, [t or "" for t in unit.texts])])
    answers: list[Complaint | None] = []
    for cell, declared in combinations:
        said, wanted = inside[cell], unit.texts[declared]
        if said is None or wanted is None or said == wanted:
            answers.append(None)
        else:
            reason = f"the cell says '{said}' but its unit is '{wanted}'."
            answers.append(Complaint("unit_conflict", reason, "Correct the cell or the unit."))
    faults.against(codes, answers)


def _targets(
    table: Table,
    plan: Plan,
    context: Context,
    column: Column,
    where: tuple[Coded, Coded],
    unit: Labels,
    faults: Faults,
) -> tuple[Labels, Labels]:
    """Feature and position of each cell, worked out once for each combination that occurs."""
    places, numbers = where
    parts = [places, numbers, _coded(context.feature), _coded(context.family), _coded(unit)]
    codes, combinations = combine(parts)
    answers: list[tuple[str, str] | Complaint] = []
    for place, number, feature, family, u in combinations:
        answer = _target(
            table,
            plan,
            column,
            places.texts[place],
            numbers.texts[number],
            context.feature.texts[feature],
            context.family.texts[family],
        )
        said = unit.texts[u]
        if not isinstance(answer, Complaint) and said is not None:
            wanted = plan.features[answer[0]].unit
            if dimension(said) != dimension(wanted):
                reason = f"'{said}' cannot be the unit of '{answer[0]}' ({wanted})."
                answer = Complaint("unit_conflict", reason, "Correct the unit.")
        answers.append(answer)
    faults.against(codes, answers)
    features: list[str | None] = [None if isinstance(a, Complaint) else a[0] for a in answers]
    positions: list[str | None] = [None if isinstance(a, Complaint) else a[1] for a in answers]
    return Labels(codes, features or [None]), Labels(codes, positions or [None])


def _coded(labels: Labels) -> Coded:
    return Coded(labels.codes, [t or "" for t in labels.texts])


def _target(
    table: Table,
    plan: Plan,
    column: Column,
    place: str,
    number: str,
    named: str | None,
    family: str | None,
) -> tuple[str, str] | Complaint:
    axes, key = dict(column.at), column.feature or named
    for candidate in table.layout.places:
        match = candidate.regex.fullmatch(place)
        if match and (not candidate.features or column.name in candidate.features):
            axes |= {axis: value for axis, value in match.groupdict().items() if value is not None}
            key = candidate.features.get(column.name, key)
            break
    if key is None:
        where = f" at '{place}'" if place else ""
        reason = f"nothing says what '{column.name}' measures{where}."
        return Complaint("unknown_feature", reason, "Name the feature in the row, or under places.")
    feature = plan.features[key]
    if number and table.layout.number_rows in feature.axes:
        axes[table.layout.number_rows] = number
    known = {axis: _axis_value(plan, axis, axes.get(axis), family) for axis in feature.axes}
    unknown = [axis for axis, value in known.items() if value is None]
    unknown += [axis for axis in axes if axis not in feature.axes]
    if unknown:
        said = place or ", ".join(f"{a}={v}" for a, v in axes.items()) or "no place"
        owner = f" of family '{family}'" if family else ""
        reason = f"'{said}' is not a position of '{key}'{owner}: wrong {', '.join(unknown)}."
        return Complaint("unknown_position", reason, _legal_positions(plan, feature, family))
    return key, position_key(feature.axes, tuple(v for v in known.values() if v is not None))


def _legal_positions(plan: Plan, feature: Feature, family: str | None) -> str:
    legal = [f"{axis}: {', '.join(sorted(_values(plan, axis, family)))}" for axis in feature.axes]
    return f"Correct the place. Legal: {'; '.join(legal)}."


def _values(plan: Plan, axis: str, family: str | None) -> set[str]:
    if family is not None:
        return set(plan.axis_values(axis, family))
    everywhere = [plan.axis_values(axis, f) for f in plan.families]
    return set(plan.axes.get(axis, ())).union(*everywhere)


def _axis_value(plan: Plan, axis: str, given: str | None, family: str | None) -> str | None:
    if given is None:
        return None
    legal = _values(plan, axis, family)
    if given in legal:
        return given
    alike = [v for v in legal if v.casefold() == given.casefold()]
    return alike[0] if len(alike) == 1 else None


def _impossible(plan: Plan, cells: Cells) -> None:
    """Values that the feature cannot have on any part: no roughness of 0, no bore of less than nothing."""
    logs = np.array([t is not None and plan.features[t].scale == "log" for t in cells.feature.texts])
    sizes = np.array([t is not None and plan.features[t].kind == "size" for t in cells.feature.texts])
    low = ~np.isnan(cells.value) & (cells.value <= 0)
    reason = "a value on a log scale must be above 0."
    cells.faults.where(
        low & logs[cells.feature.codes], Complaint("out_of_range", reason, "Correct the cell.")
    )
    if cells.column.measures == "absolute":
        reason = "a size cannot be 0 or negative; the sign may be reversed."
        cells.faults.where(
            low & sizes[cells.feature.codes], Complaint("sign_suspect", reason, "Correct the cell.")
        )


_PREAMBLE_UNIT = re.compile(r"\s*units?\s*[:=,;|\t]\s*(.*?)[\s,;|]*", re.IGNORECASE)


def preamble_unit(lines: Sequence[str]) -> str | Complaint | None:
    """Unit that a line such as ``unit: um`` above the header gives; None when there is no such line."""
    for line in lines:
        match = _PREAMBLE_UNIT.fullmatch(line.strip().strip('"'))
        if match:
            return _unit_cell(match.group(1).strip('"'))
    return None
