"""Doubts about a whole file that its digits raise: is the column really in the unit that is declared?"""

from __future__ import annotations

import numpy as np

from ingest.layouts.context import Context, Floats
from ingest.layouts.table import Ints, Mask, Table
from ingest.layouts.values import Cells
from ingest.plans.model import Plan
from ingest.problems import Complaint

_STUCK = 15  # equal readings in a row
_SAME_TIME = 10  # rows of one time
_MANY = 30  # readings that say something about the steps of a gauge
_LEAST = 5  # readings before the digits of a file say anything about its unit
_SCALES = (
    (1000.0, "1000 times larger"),
    (25.4, "25.4 times larger"),
    (25400.0, "25,400 times larger"),
    (1 / 25.4, "25.4 times smaller"),
    (1 / 1000, "1000 times smaller"),
    (1 / 25400, "25,400 times smaller"),
)


def suspect_scale(table: Table, plan: Plan, context: Context, cells: list[Cells]) -> dict[int, Complaint]:
    """Files whose numbers fit the gauge's resolution only when read in another unit.

    A gauge shows multiples of its resolution. When most non-zero numbers of a file are no such multiples as
    declared, but nearly all are after multiplying by the factor between two units, the unit of the column is
    doubted. For factors above 1 the numbers must also be finer than the resolution, since every number
    becomes a multiple of something when it is made large enough.

    Returns
    -------
    suspects : dict of int to Complaint
        By position in the table's sheets.
    """
    steps = _steps(plan, context)
    if np.isnan(steps).all():
        return {}
    step = steps[context.gauge.codes]
    suspects: dict[int, Complaint] = {}
    for column in cells:
        usable = (
            ~column.blank & ~column.faults.any & ~table.faults.any & (column.plain != 0) & ~np.isnan(step)
        )
        usable &= np.array([t is not None and plan.features[t].unit == "um" for t in column.feature.texts])[
            column.feature.codes
        ]
        rows = np.flatnonzero(usable)
        if len(rows) < _LEAST:
            continue
        sheets = len(table.sheets)
        ratio = column.plain[rows] / step[rows]
        sheet = table.sheet[rows]
        total = np.bincount(sheet, minlength=sheets)
        off = np.bincount(sheet, ~_whole(ratio), minlength=sheets)
        fine = np.bincount(sheet, np.abs(ratio) < 1, minlength=sheets)
        doubtful = (total >= _LEAST) & (off > 0.5 * total)
        for factor, told in _SCALES:
            if not doubtful.any():
                break
            fits = np.bincount(sheet, _whole(ratio * factor), minlength=sheets) >= 0.95 * total
            if factor > 1:
                fits &= fine >= 0.95 * total
            for found in np.flatnonzero(doubtful & fits).tolist():
                unit = column.unit.at(int(rows[sheet == found][0]))
                reason = (
                    f"the numbers of column '{column.column.name}' are declared in {unit} but are no multiples "
                    f"of the gauge's resolution; they would be if they were {told}."
                )
                remedy = "Check the unit on the gauge; correct the layout, or send the file again."
                suspects.setdefault(found, Complaint("scale_suspect", reason, remedy))
                doubtful[found] = False
    return suspects


def _whole(ratio: Floats) -> Mask:
    """Whole numbers other than 0, within the rounding of decimal text."""
    return (np.abs(ratio - np.round(ratio)) < 1e-3) & (np.abs(ratio) > 0.5)


def note_habits(table: Table, plan: Plan, context: Context, cells: list[Cells], happened: Ints) -> None:
    """Count what is odd about a file but changes no reading, as warnings of its receipt.

    ``mixed_units``: the rows are in several units. ``same_timestamp``: at least ten rows share one time, so
    only their order is left. ``stuck_gauge``: at least fifteen equal readings in a row.
    ``coarse_resolution``: at least thirty readings of a gauge are all multiples of ten resolutions.
    The numbers are common practice, no source.
    """
    sound = ~table.faults.any
    for column in cells:
        good = sound & ~column.blank & ~column.faults.any
        rows = np.flatnonzero(good)
        if not len(rows):
            continue
        sheet = table.sheet[rows]
        if len(column.unit.texts) > 1:
            _note_sheets(table, rows, _varies(sheet, column.unit.codes[rows]), "mixed_units")
        runs = _longest_runs(sheet, column.raw.codes[rows], len(table.sheets))
        _note_sheets(table, rows, runs >= _STUCK, "stuck_gauge")
        _note_sheets(table, rows, _coarse(table, plan, context, column, rows), "coarse_resolution")
    rows = np.flatnonzero(sound)
    if len(rows) and table.layout.time is None:
        sheet = table.sheet[rows]
        many = np.bincount(sheet, minlength=len(table.sheets)) >= _SAME_TIME
        _note_sheets(table, rows, many & ~_varies(sheet, happened[rows], len(table.sheets)), "same_timestamp")


def _note_sheets(table: Table, rows: Ints, odd: Mask, kind: str) -> None:
    """Count the rows of the sheets that are odd."""
    hit = np.zeros(len(table), dtype=bool)
    hit[rows] = np.pad(odd, (0, max(0, len(table.sheets) - len(odd))))[table.sheet[rows]]
    table.note(kind, hit)


def _varies(sheet: Ints, codes: Ints, sheets: int = 0) -> Mask:
    """Sheets in which the codes are not all equal."""
    size = max(sheets, int(sheet.max()) + 1)
    low, high = np.full(size, np.iinfo(np.int64).max), np.full(size, np.iinfo(np.int64).min)
    np.minimum.at(low, sheet, codes)
    np.maximum.at(high, sheet, codes)
    return low < high


def _longest_runs(sheet: Ints, codes: Ints, sheets: int) -> Ints:
    """Longest run of equal readings one after another in each sheet."""
    starts = np.flatnonzero(np.r_[True, (np.diff(sheet) != 0) | (np.diff(codes) != 0)])
    lengths = np.diff(np.r_[starts, len(codes)])
    longest = np.zeros(sheets, dtype=np.int64)
    np.maximum.at(longest, sheet[starts], lengths)
    return longest


def _coarse(table: Table, plan: Plan, context: Context, column: Cells, rows: Ints) -> Mask:
    sheets = len(table.sheets)
    step = _steps(plan, context)[context.gauge.codes[rows]]
    known = ~np.isnan(step) & (column.plain[rows] != 0)
    sheet = table.sheet[rows]
    total = np.bincount(sheet[known], minlength=sheets)
    ratio = column.plain[rows][known] / step[known]
    coarse = np.bincount(sheet[known], _whole(ratio / 10) & _whole(ratio), minlength=sheets)
    return (total >= _MANY) & (coarse == total)


def _steps(plan: Plan, context: Context) -> Floats:
    """Resolution of the gauge of each code, NaN where unknown. [base unit]"""
    gauges = [plan.gauges.get(g) if g else None for g in context.gauge.texts]
    return np.array([float(g.resolution) if g and g.resolution is not None else np.nan for g in gauges])
