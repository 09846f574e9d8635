"""The last cell of a file that does not end with a line end: whole, or cut in the middle?

A number cut short is still a number: 2.64 of 2.6413. So the last cell of an unfinished last line is believed
only if it is as long as its neighbours above, or beside it where there are none above.
"""

from __future__ import annotations

import re

import numpy as np

from ingest.layouts.table import Sheet, Table
from ingest.problems import Complaint

_MEASURED = ("value", "set_size", "part_temperature", "gauge_temperature", "cost", "down_hours")
_WRITTEN = ("time", "date", "clock", "started", "ended", "sequence", "pass")


def doubt_last_cells(table: Table) -> None:
    """Set aside last rows that may have been cut short; ``row_truncated``."""
    suspect = np.zeros(len(table), dtype=bool)
    unfinished = np.zeros(len(table), dtype=bool)
    start = 0
    for sheet in table.sheets:
        count = len(sheet.rows.line)
        if count and not sheet.text.ended and _is_last(sheet):
            unfinished[start + count - 1] = True
            suspect[start + count - 1] = _short(sheet)
        start += count
    reason = "the file ends without a line end, and its last cell is shorter than those above it."
    remedy = "It may be cut: send the file again when the gauge has finished writing it."
    table.faults.where(suspect, Complaint("row_truncated", reason, remedy))
    table.note("no_final_newline", unfinished)


def _is_last(sheet: Sheet) -> bool:
    return sheet.rows.line[-1] + sheet.rows.span[-1] - 1 == len(sheet.text.lines)


def _short(sheet: Sheet) -> bool:
    column = sheet.header.columns[-1]
    if column is None or sheet.header.trailing:
        return False
    cells = [cell.strip() for cell in sheet.rows.cells[-1]]
    last, others = cells[-1], [cell for cell in cells[:-1] if cell]
    if not others and column.meaning == "value":
        others = _beside(sheet)
    if not last or not others:
        return False
    if column.meaning in _MEASURED:
        return _decimals(last) < max(_decimals(cell) for cell in others)
    return column.meaning in _WRITTEN and len(last) < min(len(cell) for cell in others)


def _beside(sheet: Sheet) -> list[str]:
    """Other values of the last row: in a wide file of one row nothing stands above its last cell."""
    columns = zip(sheet.header.columns[:-1], sheet.rows.cells, strict=False)
    values = [
        [*cells][-1].strip() for column, cells in columns if column is not None and column.meaning == "value"
    ]
    return [value for value in values if value]


def _decimals(text: str) -> int:
    match = re.search(r"[.,](\d*)", text)
    return len(match.group(1)) if match else -1
