"""From the lines of a file to rows of cells, with the line number of each and a reason for what is no row.

Most lines are plain: the right number of separators, no quotes, nothing unprintable. Runs of them are split
at once. Every other line is looked at on its own. Both ways give the same cells for the same line.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
import pyarrow as pa
from numpy.typing import NDArray

from ingest.layouts import bulk as layout_bulk
from ingest.layouts.bulk import Body, Column, as_texts, says_any, says_something, whole_columns
from ingest.layouts.lines import Lines
from ingest.layouts.text import LINE_LIMIT, ODD
from ingest.problems import Complaint

SHOWN = 2_000
"""Characters of an overlong line that are kept beside its reason; the archive has all of it."""
_RECORD_LINES = 50  # a quote that is not closed within so many lines is a slip, not a note
_BLANKS = re.compile(r'(?<![^ \t])"(?:[^"]|"")*"(?![^ \t])|[ \t]+')


@dataclass(frozen=True)
class BadLine:
    """A line, or a record over several, that is no row."""

    line: int
    span: int
    text: str
    complaint: Complaint


@dataclass(frozen=True)
class Block:
    """Cells of many files that were split together, by column."""

    columns: list[pa.Array]


class Share(Sequence[Column]):
    """The rows of one file in a block: its columns, made when somebody asks for them."""

    def __init__(self, block: Block, start: int, stop: int) -> None:
        self.block = block
        self.start = start
        self.stop = stop

    def __len__(self) -> int:
        return len(self.block.columns)

    def __getitem__(self, at):
        if isinstance(at, slice):
            return [self[i] for i in range(*at.indices(len(self)))]
        column = Column()
        column.add(as_texts(self.block.columns[at][self.start : self.stop]))
        return column


@dataclass
class Rows:
    """The rows of one file.

    Attributes
    ----------
    cells : sequence of Column
        One for each field of the header, nameless ones left out, all of the same length.
    line, span : list of int or int array
        First line (from 1) of each row and the number of lines it covers.
    bad : list of BadLine
    blank : int
        Lines with nothing in them, and repeated headers.
    odd : set of int
        Rows with unprintable characters.
    warnings : dict of str to int
    """

    cells: Sequence[Column]
    line: list[int] | NDArray[np.int64] = field(default_factory=list)
    span: list[int] | NDArray[np.int64] = field(default_factory=list)
    bad: list[BadLine] = field(default_factory=list)
    blank: int = 0
    odd: set[int] = field(default_factory=set)
    warnings: dict[str, int] = field(default_factory=dict)

    def warn(self, kind: str) -> None:
        """Count a warning."""
        self.warnings[kind] = self.warnings.get(kind, 0) + 1

    def take(self, columns: Sequence[pa.Array], width: int, start: int, stop: int) -> None:
        """Take all lines of a file below its header, split by column; columns beyond the width are nameless."""
        for column, cells in zip(self.cells, columns, strict=False):
            column.add(cells)
        self.line = np.arange(start + 1, stop + 1)
        self.span = np.ones(stop - start, dtype=np.int64)
        for _ in filter(says_something, columns[width:]):
            self.warn("extra_column_ignored")


def plain_line(line: str, separator: str) -> str:
    """A line as it is split: where blanks separate, each run of them outside quotes is one, none is outside."""
    if separator != " ":
        return line
    return _BLANKS.sub(lambda run: run[0] if run[0].startswith('"') else " ", line.strip(" \t"))


def is_rule(line: str, separator: str) -> bool:
    """Whether a line only underlines the names above it: dashes in every cell, three in a row somewhere."""
    cells = plain_line(line, separator).strip(f"{separator} \t").split(separator)
    dashes = all(set(cell) <= set("-=_+| \t") and not set(cell).isdisjoint("-=_") for cell in cells)
    return dashes and any(mark * 3 in line for mark in "-=_")


def split_record(text: str, separator: str) -> list[str] | None:
    """Cells of a record; None when a quote is not closed or closes in the middle of a cell.

    A quote counts only at the beginning of a cell (so ``2.64"`` keeps its inch mark); inside a quoted cell
    two quotes are one.
    """
    if '"' not in text:
        return text.split(separator)
    cells = []
    at = 0
    while True:
        start = at
        while at < len(text) and text[at] == " " and separator != " ":
            at += 1
        if at < len(text) and text[at] == '"':
            cell, at = "", at + 1
            while True:
                end = text.find('"', at)
                if end < 0:
                    return None
                cell += text[at:end]
                at = end + 1
                if at < len(text) and text[at] == '"':
                    cell += '"'
                    at += 1
                    continue
                break
            end = text.find(separator, at)
            rest = text[at:] if end < 0 else text[at:end]
            if rest.strip():
                return None
            cells.append(cell)
        else:
            end = text.find(separator, start)
            cells.append(text[start:] if end < 0 else text[start:end])
        if end < 0:
            return cells
        at = end + 1


def split_rows(
    lines: Sequence[str],
    start: int,
    folded: tuple[str, ...],
    trailing: int,
    separator: str,
    ended: bool,
    uncoded: frozenset[int] = frozenset(),
) -> Rows:
    """Split the lines below a header.

    Parameters
    ----------
    lines : sequence of str
        The whole file.
    start : int
        Index of the first line below the header, and below a rule under it.
    folded : tuple of str
        Names of the header as compared: one for each field.
    trailing : int
        Nameless fields at the end of the header.
    ended : bool
        Whether the last line of the file has a line end.
    uncoded : frozenset of int
        Columns whose texts hardly repeat.
    """
    width = len(folded)
    rows = Rows([Column() for _ in range(width)])
    if isinstance(lines, Lines):
        names = frozenset(name for name in folded if name)
        columns = whole_columns(lines, start, separator, width, trailing, names, uncoded)
        if columns is not None:
            rows.take(columns, width, start, len(lines))
            return rows
    splitter = _Splitter(lines, folded, trailing, separator, ended, rows)
    lines = splitter.lines
    inner = width + trailing - 1
    header = lines[start - 1] if start else ""
    if len(lines) - start >= layout_bulk.BULK:
        splitter.body = Body(lines, start)
        special = splitter.body.special(separator, inner, header)
    else:
        special = _special(lines, start, separator, inner, header)
    at = start
    for index in special:
        if index < at:  # swallowed by a record that began above
            continue
        splitter.plain(at, index)
        at = index + splitter.one(index)
    splitter.plain(at, len(lines))
    return rows


def _special(lines: Sequence[str], start: int, separator: str, inner: int, header: str) -> list[int]:
    """Lines that must be looked at one by one; see `ingest.layouts.bulk.Body.special`."""
    empty = f"{separator} \t\xa0"
    check_odd = bool(ODD.search("\n".join(lines[start:])))
    return [
        i
        for i in range(start, len(lines))
        if (line := lines[i]).count(separator) != inner
        or '"' in line
        or line == header
        or len(line) > LINE_LIMIT
        or not line.strip(empty)
        or (check_odd and ODD.search(line))
    ]


class _Splitter:
    body: Body | None = None

    def __init__(
        self,
        lines: Sequence[str],
        folded: tuple[str, ...],
        trailing: int,
        separator: str,
        ended: bool,
        rows: Rows,
    ) -> None:
        self.given = lines
        self.lines = [plain_line(line, separator) for line in lines] if separator == " " else lines
        self.folded = folded
        self.trailing = trailing
        self.separator = separator
        self.ended = ended
        self.rows = rows
        self.line: list[int] = []
        self.span: list[int] = []
        rows.line, rows.span = self.line, self.span
        self.changed = False
        self.names = frozenset(name for name in folded if name)

    def plain(self, start: int, stop: int) -> None:
        """Take a run of plain lines."""
        if start >= stop:
            return
        if self.changed:
            for index in range(start, stop):
                self._bad_header(index, 1)
            return
        if self.body is not None and stop - start >= layout_bulk.BULK:
            self._many(self.body, start, stop)
            return
        width = len(self.folded)
        flat = self.separator.join(self.lines[start:stop]).split(self.separator)
        step = width + self.trailing
        ends = {cell.strip().casefold() for cell in {*flat[0::step], *flat[width - 1 :: step]}}
        if not ends.isdisjoint(self.names):
            # one of these lines may be a header in other letters or another order: look at each
            for index in range(start, stop):
                self.one(index)
            return
        for column in range(width):
            self.rows.cells[column].extend(flat[column::step])
        self.line.extend(range(start + 1, stop + 1))
        self.span.extend([1] * (stop - start))
        for column in range(width, step):
            if any(cell.strip() for cell in flat[column::step]):
                self.rows.warn("extra_column_ignored")

    def _many(self, body: Body, start: int, stop: int) -> None:
        """Take a long run of plain lines at once."""
        width = len(self.folded)
        columns = body.columns(start, stop, self.separator, width + self.trailing)
        if says_any(columns[0], self.names) or says_any(columns[width - 1], self.names):
            for index in range(start, stop):
                self.one(index)
            return
        for column, cells in zip(self.rows.cells, columns, strict=False):
            column.add(cells)
        self.line.extend(range(start + 1, stop + 1))
        self.span.extend([1] * (stop - start))
        for _ in filter(says_something, columns[width:]):
            self.rows.warn("extra_column_ignored")

    def one(self, index: int) -> int:
        """Take one line that is not plain, or the record it begins; returns the lines used."""
        line = self.lines[index]
        if not line.strip(f"{self.separator} \t\xa0\x00"):
            self.rows.blank += 1
            return 1
        if len(line) > LINE_LIMIT:
            reason = f"the line has {len(line):,} characters; {LINE_LIMIT:,} are the most a row can have."
            return self._bad(
                index, 1, "line_too_long", reason, "Look at the file: a line end may be missing."
            )
        text, span = line, 1
        cells = split_record(text, self.separator)
        while cells is None and self._still_open(text) and span < _RECORD_LINES:
            if index + span >= len(self.lines) or len(text) > LINE_LIMIT:
                break
            text = f"{text}\n{self.lines[index + span]}"
            span += 1
            cells = split_record(text, self.separator)
        if cells is None:
            reason = "a quotation mark is not closed, or text follows a closed one."
            return self._bad(
                index, 1, "quote_unbalanced", reason, "Correct the line and send the file again."
            )
        return self._record(index, span, text, cells)

    def _still_open(self, text: str) -> bool:
        """Whether a record that cannot be split may be whole with more lines: adding a quote closes it."""
        return split_record(f'{text}"', self.separator) is not None

    def _record(self, index: int, span: int, text: str, cells: list[str]) -> int:
        folded = tuple(" ".join(cell.split()).casefold() for cell in cells)
        while len(folded) > len(self.folded) and not folded[-1]:
            folded = folded[:-1]
        if folded == self.folded:
            self.rows.blank += span
            self.rows.warn("repeated_header")
            self.changed = False
            return span
        if self.changed or len(self.names.intersection(folded)) * 2 > max(len(self.names), 2):
            self.changed = True
            return self._bad_header(index, span)
        width = len(self.folded)
        extra = cells[width:]
        if len(cells) < width or any(cell.strip() for cell in extra[self.trailing :]):
            last = index + span == len(self.lines) and not self.ended
            if last and len(cells) < width:
                reason = f"the file ends in the middle of this line ({len(cells)} of {width} fields)."
                remedy = "Send the file again when the gauge has finished writing it."
                return self._bad(index, span, "row_truncated", reason, remedy)
            reason = f"the line has {len(cells)} fields, the header {width}."
            return self._bad(index, span, "field_count", reason, "Correct the line and send the file again.")
        if any(cell.strip() for cell in extra):
            self.rows.warn("extra_column_ignored")
        elif len(extra) > self.trailing:
            self.rows.warn("trailing_delimiter")
        if ODD.search(text):
            self.rows.odd.add(len(self.line))
        for column in range(width):
            self.rows.cells[column].append(cells[column])
        self.line.append(index + 1)
        self.span.append(span)
        return span

    def _bad_header(self, index: int, span: int) -> int:
        reason = "a different header stands further up in the file, so the columns are no longer known."
        return self._bad(index, span, "header_changed", reason, "Send the two parts as two files.")

    def _bad(self, index: int, span: int, kind: str, reason: str, remedy: str) -> int:
        text = "\n".join(self.given[index : index + span])
        self.rows.bad.append(BadLine(index + 1, span, text[:SHOWN], Complaint(kind, reason, remedy)))
        return span
