"""Counting: every line and every cell of a file ends in exactly one heap, and everything set aside is listed."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from ingest.intake.judged import CONFLICT, DUPLICATE, KNOWN, REPEAT, STORED, Outcome
from ingest.intake.receipt import Tally
from ingest.layouts.draft import Draft, cell_faults
from ingest.layouts.table import Ints, Sheet
from ingest.problems import Complaint

CONTRADICTS = Complaint(
    "duplicate_conflict",
    "an earlier file holds the same measurement (part, place, time, gauge, person) with another value.",
    "The stored value stays until a person decides which one is right.",
)
CONTRADICTS_JOB = Complaint(
    "duplicate_conflict",
    "an earlier file holds the same job (part, operation, machine, pass, start) with other details.",
    "What is stored stays until a person decides which one is right.",
)


@dataclass(frozen=True)
class SetAside:
    """Something of a file that was not stored."""

    file: int
    line: int
    col: str | None
    text: str
    complaint: Complaint


@dataclass
class Counted:
    """What became of one file."""

    lines: Tally
    cells: Tally
    warnings: dict[str, int]


@dataclass
class Count:
    """What became of the files of a batch, by their place in it."""

    files: dict[int, Counted] = field(default_factory=dict)
    aside: list[SetAside] = field(default_factory=list)


def count_draft(draft: Draft, rows: Ints, cells: Ints, outcome: Outcome, entries: Outcome | None) -> Count:
    """Count the files of one draft.

    Parameters
    ----------
    rows, cells : int array, shape (readings,)
        Row of the table and value column of each reading of the draft.
    outcome : int array, shape (readings,)
    entries : int array or None
        Outcomes of the draft's jobs or events.
    """
    table = draft.table
    n = len(table)
    count = Count()
    sound = ~table.faults.any
    stored = np.bincount(rows[(outcome == STORED) | (outcome == REPEAT)], minlength=n)
    known = np.bincount(rows[(outcome == KNOWN) | (outcome == DUPLICATE)], minlength=n)
    aside = np.bincount(rows[outcome == CONFLICT], minlength=n)
    cells_stored, cells_known, cells_aside = stored.copy(), known.copy(), aside.copy()
    if entries is not None and draft.entries is not None:
        at = draft.entries["row"].to_numpy()
        stored[at[entries == STORED]] += 1
        known[at[entries == KNOWN]] += 1
        aside[at[entries == CONFLICT]] += 1
        for row in at[entries == CONFLICT].tolist():
            _put(count, draft, row, None, CONTRADICTS_JOB)
    filled = np.zeros(n, dtype=np.int64)
    for column in draft.cells:
        filled += ~column.blank
        faults = cell_faults(column, sound)
        aside += faults.any
        cells_aside += faults.any
        for row in np.flatnonzero(faults.any).tolist():
            _put(count, draft, row, column.column.name, faults.of(row))
    for row, cell in zip(
        rows[outcome == CONFLICT].tolist(), cells[outcome == CONFLICT].tolist(), strict=True
    ):
        _put(count, draft, row, draft.cells[cell].column.name, CONTRADICTS)
    for row in np.flatnonzero(~sound).tolist():
        _put(count, draft, row, None, table.faults.of(row))
    cells_aside = np.where(sound, cells_aside, filled)
    heaps = {
        "set_aside": ~sound | ((aside > 0) & (stored + known == 0)),
        "partly": sound & (aside > 0) & (stored + known > 0),
        "stored": sound & (aside == 0) & (stored > 0),
    }
    heaps["known"] = ~(heaps["set_aside"] | heaps["partly"] | heaps["stored"])
    by_file = {name: _per_sheet(draft, mask * table.span) for name, mask in heaps.items()}
    of_cells = {
        "total": _per_sheet(draft, np.full(n, len(draft.cells))),
        "stored": _per_sheet(draft, cells_stored),
        "known": _per_sheet(draft, cells_known),
        "set_aside": _per_sheet(draft, cells_aside),
        "blank": _per_sheet(draft, len(draft.cells) - filled),
    }
    for kind, which in (("duplicate_row", DUPLICATE), ("same_key_repeat", REPEAT), ("already_known", KNOWN)):
        hit = np.zeros(n, dtype=bool)
        hit[rows[outcome == which]] = True
        table.note(kind, hit)
    for at, sheet in enumerate(table.sheets):
        lines = {name: int(values[at]) for name, values in by_file.items()}
        count.files[sheet.index] = Counted(
            _with_rest(sheet, lines),
            Tally(**{name: int(values[at]) for name, values in of_cells.items()}),
            _warnings(draft, sheet, at),
        )
        count.aside += [SetAside(sheet.index, b.line, None, b.text, b.complaint) for b in sheet.rows.bad]
    return count


def faulty_cells(draft: Draft) -> list[tuple[int, int, str | None]]:
    """File, line and column (None for the whole line) of everything in a draft that cannot be stored."""
    table = draft.table
    sound = ~table.faults.any

    def place(row: int, col: str | None) -> tuple[int, int, str | None]:
        return table.sheets[int(table.sheet[row])].index, int(table.line[row]), col

    found = [place(row, None) for row in np.flatnonzero(~sound).tolist()]
    for column in draft.cells:
        rows = np.flatnonzero(cell_faults(column, sound).any).tolist()
        found += [place(row, column.column.name) for row in rows]
    return found + [(sheet.index, b.line, None) for sheet in table.sheets for b in sheet.rows.bad]


def complaints_of(draft: Draft) -> list[Complaint]:
    """Why rows and cells of a draft cannot be stored."""
    table = draft.table
    sound = ~table.faults.any
    found = [table.faults.of(row) for row in np.flatnonzero(~sound).tolist()]
    for column in draft.cells:
        faults = cell_faults(column, sound)
        found += [faults.of(row) for row in np.flatnonzero(faults.any).tolist()]
    return found + [b.complaint for sheet in table.sheets for b in sheet.rows.bad]


def _per_sheet(draft: Draft, amounts: Ints) -> Ints:
    return np.bincount(draft.table.sheet, amounts, minlength=len(draft.table.sheets)).astype(np.int64)


def _put(count: Count, draft: Draft, row: int, col: str | None, complaint: Complaint) -> None:
    table = draft.table
    sheet = table.sheets[int(table.sheet[row])]
    line, span = int(table.line[row]), int(table.span[row])
    text = "\n".join(sheet.text.lines[line - 1 : line - 1 + span])
    count.aside.append(SetAside(sheet.index, line, col, text, complaint))


def _with_rest(sheet: Sheet, lines: dict[str, int]) -> Tally:
    """Add what never became a row: lines set aside at once, blank lines, everything up to the header."""
    lines["set_aside"] += sum(b.span for b in sheet.rows.bad)
    return Tally(total=len(sheet.text.lines), blank=sheet.rows.blank + sheet.preamble, **lines)


def _warnings(draft: Draft, sheet: Sheet, at: int) -> dict[str, int]:
    warnings = dict(sheet.rows.warnings)
    for kind, counts in draft.table.notes.items():
        if counts[at]:
            warnings[kind] = warnings.get(kind, 0) + int(counts[at])
    if not len(sheet.rows.line) and not sheet.rows.bad:
        warnings["no_rows"] = 1
    return warnings
