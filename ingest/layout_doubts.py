"""Doubts about a whole file that its digits raise: is the column really in the unit that is declared?"""

from __future__ import annotations

import numpy as np

from ingest.layout_context import Context, Floats
from ingest.layout_table import Mask, Table
from ingest.layout_values import Cells
from ingest.plan import Plan
from ingest.problems import Complaint

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
    steps = [plan.gauges[g].resolution if g in plan.gauges else None for g in context.gauge.texts]
    if all(step is None for step in steps):
        return {}
    step = np.array([np.nan if s is None else float(s) for s in steps])[context.gauge.codes]
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
    return np.abs(ratio - np.round(ratio)) < 1e-3
