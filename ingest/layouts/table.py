"""The rows of many files of one layout as columns of coded texts.

Readings repeat: a day has few gauges, people and places. Each distinct text is looked at once and the answer
is spread over the rows by its code.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from functools import cached_property
from itertools import chain

import numpy as np
import pyarrow as pa
from numpy.typing import NDArray

from ingest.layouts.bulk import as_texts, is_coded
from ingest.layouts.header import Header
from ingest.layouts.split import Rows, Share
from ingest.layouts.text import ODD, Text
from ingest.plans.model import Column, Layout
from ingest.problems import Complaint

Ints = NDArray[np.int64]
Mask = NDArray[np.bool_]

FREE_TEXT = ("operator", "note", "tool", "ignore")
"""Meanings whose cells may lose unprintable characters: nothing is computed from them."""


def is_free(column: Column) -> bool:
    """Whether nothing is computed from a column."""
    return set(column.meanings) <= set(FREE_TEXT)


@dataclass
class Sheet:
    """One recognised file of a batch, split into rows.

    Attributes
    ----------
    index : int
        Place of the file in the batch.
    known_us : int
        When it was known, microseconds since 1970 UTC.
    preamble : int
        Lines above and including the header (and a rule and a row of units below it).
    unit : str, Complaint or None
        Unit that the preamble gives to value columns without one.
    doubt : Complaint or None
        Why no row of the file can be stored, found outside its rows.
    believed : bool
        A person has said that its numbers are right as they stand.
    """

    index: int
    name: str
    text: Text
    header: Header
    rows: Rows
    known_us: int
    preamble: int
    unit: str | Complaint | None = None
    doubt: Complaint | None = None
    believed: bool = False


class Coded:
    """A column: the distinct texts, and for each row which of them it has."""

    def __init__(self, codes: Ints, texts: list[str]) -> None:
        self._codes = codes
        self._texts = texts

    @property
    def codes(self) -> Ints:
        """For each row its text's place in `texts`."""
        return self._codes

    @property
    def texts(self) -> list[str]:
        """The distinct texts."""
        return self._texts

    def each(self, read: Callable[[str], object]) -> list:
        """What each distinct text means, by code."""
        return [read(text) for text in self.texts]


class Uncoded(Coded):
    """A column of texts that hardly repeat: coded only when somebody asks.

    Attributes
    ----------
    cells : pyarrow.StringArray
        The texts in order.
    """

    def __init__(self, cells: pa.StringArray) -> None:
        self.cells = cells

    @cached_property
    def _both(self) -> Coded:
        return code_texts(self.cells)

    @property
    def codes(self) -> Ints:
        """For each row its text's place in `texts`."""
        return self._both.codes

    @property
    def texts(self) -> list[str]:
        """The distinct texts."""
        return self._both.texts


def code_texts(*runs: list[str] | pa.Array) -> Coded:
    """Code a column of texts, given in runs."""
    if len(runs) == 1 and is_coded(runs[0]):
        coded: pa.DictionaryArray = runs[0]  # type: ignore[assignment]
        return Coded(coded.indices.to_numpy().astype(np.int64), coded.dictionary.to_pylist())
    texts = [as_texts(run) for run in runs if len(run)]
    arrays = [pa.array(run, pa.string()) for run in texts] or [pa.array([], pa.string())]
    if len(arrays) == 1:
        chunks = [arrays[0].dictionary_encode()]
    else:
        chunks = pa.chunked_array(arrays).dictionary_encode().unify_dictionaries().chunks
    codes = np.concatenate([chunk.indices.to_numpy() for chunk in chunks]).astype(np.int64)
    return Coded(codes, chunks[-1].dictionary.to_pylist())


def _distinct(numbers: Ints, size: int) -> tuple[Ints, Ints]:
    """What `np.unique` says of numbers below a size: those that occur, and for each row which of them."""
    if size > max(len(numbers), 1_000):
        return np.unique(numbers, return_inverse=True)
    values = np.flatnonzero(np.bincount(numbers, minlength=size))
    place = np.zeros(size, dtype=np.int64)
    place[values] = np.arange(len(values))
    return values, place[numbers]


def combine(columns: Sequence[Coded]) -> tuple[Ints, list[tuple[int, ...]]]:
    """Code the combinations of several columns.

    Returns
    -------
    codes : int array, shape (n,)
    combinations : list of tuple of int
        For each code the codes of the columns.
    """
    joint, size = columns[0].codes, max(len(columns[0].texts), 1)
    for column in columns[1:]:
        if len(column.texts) > 1:
            joint = joint * len(column.texts) + column.codes
            size *= len(column.texts)
    values, codes = _distinct(joint, size)
    combinations = []
    for value in values.tolist():
        parts = []
        for column in reversed(columns[1:]):
            value, part = divmod(value, max(len(column.texts), 1))
            parts.append(part)
        combinations.append((value, *reversed(parts)))
    return codes.astype(np.int64), combinations


@dataclass
class Faults:
    """The first reason found against each row (or cell); later reasons do not replace it."""

    first: Ints
    complaints: list[Complaint] = field(default_factory=list)

    @classmethod
    def none(cls, n: int) -> Faults:
        """No row is at fault yet."""
        return cls(np.full(n, -1, dtype=np.int64))

    def against(self, codes: Ints, answers: Sequence[object]) -> None:
        """Note the answers that are complaints, for the rows that have their code."""
        number = np.full(len(answers) or 1, -1, dtype=np.int64)
        for code, answer in enumerate(answers):
            if isinstance(answer, Complaint):
                number[code] = len(self.complaints)
                self.complaints.append(answer)
        if (number >= 0).any():
            found = number[codes]
            self.first = np.where((self.first < 0) & (found >= 0), found, self.first)

    def where(self, mask: Mask, complaint: Complaint) -> None:
        """Note one complaint for the rows of a mask."""
        if mask.any():
            self.complaints.append(complaint)
            self.first = np.where((self.first < 0) & mask, len(self.complaints) - 1, self.first)

    @property
    def any(self) -> Mask:
        """Rows at fault."""
        return self.first >= 0

    def of(self, row: int) -> Complaint:
        """The complaint against a row at fault."""
        return self.complaints[self.first[row]]


@dataclass
class Table:
    """Rows of several sheets of one layout and separator, in the order of file and line."""

    layout: Layout
    sheets: list[Sheet]
    sheet: Ints  # position in `sheets`
    line: Ints
    span: Ints
    texts: dict[str, Coded]  # by column name; optional columns that no file has are empty texts
    present: dict[str, Mask]  # by column name of optional columns: rows of files that have it
    faults: Faults
    notes: dict[str, Ints] = field(default_factory=dict)  # warning kind -> count by sheet

    def __len__(self) -> int:
        return len(self.line)

    @property
    def decimal(self) -> str:
        """How commas and points in numbers are to be read; see `ingest.layouts.cells.read_number`."""
        either = self.layout.decimal == "either"
        return "any" if either and self.sheets[0].header.separator != "," else self.layout.decimal

    def note(self, kind: str, rows: Mask) -> None:
        """Count a warning for each row of a mask, by file."""
        if rows.any():
            counts = np.bincount(self.sheet[rows], minlength=len(self.sheets))
            self.notes[kind] = self.notes.get(kind, np.zeros(len(self.sheets), dtype=np.int64)) + counts

    def column(self, meaning: str) -> Coded | None:
        """The coded column with a meaning, if the layout has one."""
        column = self.layout.only(meaning)
        return self.texts[column.name] if column else None


def tabulate(layout: Layout, sheets: list[Sheet]) -> Table:
    """Put the rows of sheets of one layout under one another, by declared column."""
    counts = [len(s.rows.line) for s in sheets]
    n = sum(counts)
    texts = {c.name: _gather(c, sheets, counts) for c in layout.columns if c.meaning != "ignore"}
    table = Table(
        layout=layout,
        sheets=sheets,
        sheet=np.repeat(np.arange(len(sheets), dtype=np.int64), counts),
        line=_numbers([s.rows.line for s in sheets], n),
        span=_numbers([s.rows.span for s in sheets], n),
        texts={name: _coded(runs) for name, runs in texts.items()},
        present={},
        faults=Faults.none(n),
    )
    for at, sheet in enumerate(sheets):
        if sheet.doubt is not None:
            table.faults.where(table.sheet == at, sheet.doubt)
    _refuse_odd(table, counts)
    return table


def _numbers(runs: list[list[int] | Ints], n: int) -> Ints:
    if any(isinstance(run, np.ndarray) for run in runs):
        return np.concatenate([np.asarray(run, dtype=np.int64) for run in runs])
    return np.fromiter(chain.from_iterable(runs), dtype=np.int64, count=n)


def _coded(runs: list[list[str] | pa.Array]) -> Coded:
    """Code a column; one long run of texts that hardly repeat stays as it is until somebody asks."""
    filled = [run for run in runs if len(run)]
    if len(filled) == 1 and isinstance(filled[0], pa.StringArray):
        return Uncoded(filled[0])
    return code_texts(*filled)


def _gather(column: Column, sheets: list[Sheet], counts: list[int]) -> list[list[str] | pa.Array]:
    """Texts of a declared column, in runs: short files together, long runs as they were split."""
    runs: list[list[str] | pa.Array] = [[]]
    joined = _joined(sheets)
    for number, (sheet, count) in enumerate(zip(sheets, counts, strict=True)):
        if number in joined:
            _add_share(runs, column, sheet, joined[number])
            continue
        if isinstance(sheet.rows.cells, Share):  # it came with the share before
            continue
        at = next((i for i, declared in enumerate(sheet.header.columns) if declared is column), None)
        pieces: list[Sequence[str] | pa.Array] = [[""] * count]
        if at is not None:
            cells = sheet.rows.cells[at]
            free = sheet.rows.odd and is_free(column)
            pieces = [[ODD.sub("", cell) for cell in cells]] if free else [*cells.pieces]
        for piece in pieces:
            if isinstance(piece, pa.Array):
                runs += [piece, []]
            else:
                runs[-1].extend(piece)  # type: ignore[union-attr] - the last run is always a list
    return runs


def _joined(sheets: list[Sheet]) -> dict[int, int]:
    """Where runs of files begin that stand one behind the other in a block, and the row where each run ends."""
    runs: dict[int, int] = {}
    begin, last = 0, None
    for number, sheet in enumerate(sheets):
        share = sheet.rows.cells
        if isinstance(share, Share):
            if last is None or last.block is not share.block or last.stop != share.start:
                begin = number
            runs[begin] = share.stop
        last = share if isinstance(share, Share) else None
    return runs


def _add_share(runs: list[list[str] | pa.Array], column: Column, sheet: Sheet, stop: int) -> None:
    share: Share = sheet.rows.cells  # type: ignore[assignment]
    at = next((i for i, declared in enumerate(sheet.header.columns) if declared is column), None)
    if at is None:
        runs[-1].extend([""] * (stop - share.start))  # type: ignore[union-attr] - the last run is always a list
        return
    cells = share.block.columns[at]
    whole = share.start == 0 and stop == len(cells)
    runs += [cells if whole else as_texts(cells[share.start : stop]), []]


def _refuse_odd(table: Table, counts: list[int]) -> None:
    """Rows with characters nobody can see: set aside unless they stand in free text only."""
    if not any(s.rows.odd for s in table.sheets):
        return
    columns = [c for c in table.layout.columns if c.name in table.texts and not is_free(c)]
    odd = np.zeros(len(table), dtype=bool)
    for column in columns:
        coded = table.texts[column.name]
        odd |= np.array(coded.each(lambda text: bool(ODD.search(text))) or [False])[coded.codes]
    has = np.zeros(len(table), dtype=bool)
    start = 0
    for sheet, count in zip(table.sheets, counts, strict=True):
        has[[start + row for row in sheet.rows.odd]] = True
        start += count
    reason = "the row holds characters that cannot be seen, as a damaged file does."
    table.faults.where(odd, Complaint("control_chars", reason, "Send the file again from the gauge."))
    table.note("control_chars_removed", has & ~odd)
