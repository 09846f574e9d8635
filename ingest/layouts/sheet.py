"""From the bytes of a file to a sheet: text, header, rows; or why there is none."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

from ingest.layouts.header import Found, Header, HeaderReader
from ingest.layouts.split import is_rule, split_rows
from ingest.layouts.table import Sheet
from ingest.layouts.text import Text, read_text
from ingest.layouts.values import preamble_unit
from ingest.problems import Complaint
from spc.units import UnitError, parse_unit

OWN_TEXT = ("sequence", "time", "started", "ended")
"""Meanings of columns of which nearly every row has a text of its own."""


@dataclass(frozen=True)
class NoSheet:
    """A file of which no row can be read: it waits for a layout, or is refused.

    Attributes
    ----------
    lines : int
        Lines of its text; 0 when it is no text.
    """

    status: Literal["waiting", "refused"]
    complaint: Complaint
    lines: int


def read_sheet(index: int, name: str, data: bytes, known_us: int, headers: HeaderReader) -> Sheet | NoSheet:
    """Read one file.

    Parameters
    ----------
    index : int
        Place of the file in its batch.
    known_us : int
        When it became known, microseconds since 1970 UTC.
    """
    text = read_text(data)
    if isinstance(text, Complaint):
        return NoSheet("refused", text, 0)
    found = headers.find(text.lines)
    if isinstance(found, Complaint):
        waits = found.kind == "header_unrecognised"
        return NoSheet("waiting" if waits else "refused", found, len(text.lines))
    header = found.header
    start = found.at + 1
    if start < len(text.lines) and is_rule(text.lines[start], header.separator):
        start += 1
    rows = split_rows(
        text.lines, start, header.folded, header.trailing, header.separator, text.ended, _uncoded(header)
    )
    sheet = Sheet(index, name, text, header, rows, known_us, start)
    _warn(sheet, found, text)
    if header.layout.unit_from_preamble:
        sheet.unit = preamble_unit(text.lines[: found.at])
    _take_units_row(sheet)
    return sheet


def _uncoded(header: Header) -> frozenset[int]:
    """Columns whose texts hardly repeat."""
    return frozenset(i for i, column in enumerate(header.columns) if column and column.meaning in OWN_TEXT)


def _warn(sheet: Sheet, found: Found, text: Text) -> None:
    for kind in (*text.warnings, *found.header.warnings):
        sheet.rows.warn(kind)
    above = [line for line in text.lines[: found.at] if line.strip() and not _is_hint(line)]
    if above and not found.header.layout.unit_from_preamble:
        sheet.rows.warn("preamble_skipped")


def _is_hint(line: str) -> bool:
    """Whether a line only tells a spreadsheet the separator."""
    return line.strip().lower().startswith("sep=") and len(line.strip()) <= 5


def _take_units_row(sheet: Sheet) -> None:
    """A line of units right below the header says nothing new, or contradicts the layout for the whole file."""
    rows, header = sheet.rows, sheet.header
    if not len(rows.line) or rows.line[0] != sheet.preamble + 1:
        return
    units = units_in_first_row([cells.first for cells in rows.cells], header)
    if units is None:
        return
    rows.warn("units_row")
    sheet.preamble += int(rows.span[0])
    for cells in rows.cells:
        cells.drop_first()
    rows.line, rows.span = rows.line[1:], rows.span[1:]
    rows.odd = {row - 1 for row in rows.odd if row}
    for name, declared, given in units:
        if declared is not None and declared != given:
            reason = f"the row of units says '{given}' for '{name}', the layout '{declared}'."
            sheet.doubt = Complaint("unit_conflict", reason, "Correct the unit in the layout.")
            return
    said = {given for _, _, given in units}
    if header.layout.only("unit") is None and sheet.unit is None and len(said) == 1:
        sheet.unit = said.pop()


def units_in_first_row(cells: Sequence[str], header: Header) -> list[tuple[str, str | None, str]] | None:
    """Name, declared and given unit of each value column; None when the row is not one of units."""
    units = []
    for at, column in enumerate(header.columns):
        cell = cells[at].strip()
        if column is None or column.meaning == "ignore":
            continue
        if "serial" in column.meanings and cell:
            return None
        if column.meaning == "value" and cell:
            try:
                units.append((column.name, column.unit, parse_unit(cell.strip("[]()"))))
            except UnitError:
                return None
    return units or None
