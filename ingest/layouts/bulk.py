"""Long runs of plain lines, split by column and not line by line.

What comes out is what `ingest.layouts.split` gives for one line after another; only the way there is shorter.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc
from numpy.typing import NDArray
from pyarrow import csv

from ingest.layouts.lines import Lines
from ingest.layouts.text import LINE_LIMIT, ODD

BULK = 2_000
"""Lines from which on this way is the quicker one."""
_NEWLINE = 10
_UNUSUAL = np.array([(b < 32 and b not in (9, _NEWLINE)) or b >= 127 for b in range(256)])
_USUAL = np.flatnonzero(~_UNUSUAL).astype(np.uint8).tobytes()


def as_texts(cells: list[str] | pa.Array) -> list[str] | pa.Array:
    """Cells that came as codes of texts as texts; others as they are."""
    return cells.dictionary_decode() if is_coded(cells) else cells  # type: ignore[union-attr]


def is_coded(cells: list[str] | pa.Array) -> bool:
    """Whether cells come as codes of texts."""
    return not isinstance(cells, list) and pa.types.is_dictionary(cells.type)


class Column:
    """The cells of one column of a file in order: single ones, and runs of many as an array of texts."""

    def __init__(self) -> None:
        self.pieces: list[list[str] | pa.Array] = []

    def append(self, cell: str) -> None:
        """Add a cell."""
        if not self.pieces or not isinstance(self.pieces[-1], list):
            self.pieces.append([])
        self.pieces[-1].append(cell)  # type: ignore[union-attr]

    def extend(self, cells: Sequence[str]) -> None:
        """Add cells."""
        if not self.pieces or not isinstance(self.pieces[-1], list):
            self.pieces.append([])
        self.pieces[-1].extend(cells)  # type: ignore[union-attr]

    def add(self, run: pa.Array) -> None:
        """Add a run of cells."""
        self.pieces.append(run)

    def drop_first(self) -> None:
        """Leave out the first cell."""
        first = as_texts(self.pieces[0])  # the texts of codes would still hold that of the first cell
        self.pieces[0] = first[1:]
        if not len(self.pieces[0]):
            del self.pieces[0]

    @property
    def first(self) -> str:
        """The first cell."""
        return str(self.pieces[0][0])

    def __len__(self) -> int:
        return sum(map(len, self.pieces))

    def __iter__(self) -> Iterator[str]:
        for piece in self.pieces:
            yield from piece if isinstance(piece, list) else piece.to_pylist()

    def __eq__(self, other: object) -> bool:
        return isinstance(other, Column | list) and list(self) == list(other)

    __hash__ = None  # type: ignore[assignment]


class Body:
    """Lines of a file as bytes, with what tells the plain ones from the others.

    Parameters
    ----------
    lines : sequence of str
        The whole file, without line ends.
    start : int
        Index of the first line below the header.
    """

    def __init__(self, lines: Sequence[str], start: int) -> None:
        self.lines = lines
        self.start = start
        self.data = ("\n".join(lines[start:]) + "\n").encode()
        self.bytes: NDArray[np.uint8] = np.frombuffer(self.data, dtype=np.uint8)
        self.ends = np.flatnonzero(self.bytes == _NEWLINE)
        self.starts = np.concatenate([[0], self.ends[:-1] + 1])

    def _with(self, mask: NDArray[np.bool_]) -> NDArray[np.bool_]:
        """Lines with a byte of the mask."""
        found = np.zeros(len(self.ends), dtype=bool)
        found[np.searchsorted(self.ends, np.flatnonzero(mask))] = True
        return found

    def special(self, separator: str, inner: int, header: str) -> list[int]:
        """Indices of lines that must be looked at one by one.

        Parameters
        ----------
        inner : int
            Separators in a plain line.
        header : str
            The header line.
        """
        marks = np.flatnonzero(self.bytes == ord(separator))
        found = np.searchsorted(marks, self.ends) - np.searchsorted(marks, self.starts) != inner
        found |= self.ends - self.starts > LINE_LIMIT
        if b'"' in self.data:
            found |= self._with(self.bytes == ord('"'))
        first = self.bytes[self.starts]
        blank = f"{separator} \t\xa0"
        leading = np.isin(first, [_NEWLINE, *blank.encode()])
        self._look(found, leading, lambda line: not line.strip(blank))
        alike = self.ends - self.starts == len(header.encode())
        self._look(found, alike & (first == (header.encode() or b"\n")[0]), lambda line: line == header)
        if self.data.translate(None, _USUAL):
            self._look(found, self._with(_UNUSUAL[self.bytes]), lambda line: bool(ODD.search(line)))
        return (np.flatnonzero(found) + self.start).tolist()

    def _look(
        self, found: NDArray[np.bool_], candidates: NDArray[np.bool_], test: Callable[[str], bool]
    ) -> None:
        for at in np.flatnonzero(candidates & ~found).tolist():
            found[at] = test(self.lines[self.start + at])

    def columns(self, start: int, stop: int, separator: str, count: int) -> list[pa.Array]:
        """Cells of a run of plain lines (indices into the file), by column."""
        low, high = self.starts[start - self.start], self.ends[stop - 1 - self.start] + 1
        names = [str(i) for i in range(count)]
        table = csv.read_csv(
            pa.BufferReader(memoryview(self.data)[low:high]),
            csv.ReadOptions(column_names=names, block_size=1 << 23),
            csv.ParseOptions(delimiter=separator, quote_char=False, ignore_empty_lines=False),
            csv.ConvertOptions(column_types=dict.fromkeys(names, pa.string()), strings_can_be_null=False),
        )
        return [column.combine_chunks() for column in table.columns]


def whole_columns(
    lines: Lines,
    start: int,
    separator: str,
    width: int,
    trailing: int,
    names: frozenset[str],
    uncoded: frozenset[int],
) -> list[pa.Array] | None:
    """Cells of all lines below a header, by column, when every line is surely plain; else None.

    Parameters
    ----------
    start : int
        Index of the first line below the header.
    width, trailing : int
        Fields of a plain line, and nameless ones behind them.
    names : frozenset of str
        Names of the header as compared.
    uncoded : frozenset of int
        Columns whose texts hardly repeat; they come as texts, the others as codes of texts.
    """
    count = width + trailing
    if separator == " " or count < 2 or start >= len(lines) or b'"' in lines.data:
        return None
    if lines.data.translate(None, _USUAL) or not lines.longest_at_most(LINE_LIMIT):
        return None
    labels = [str(i) for i in range(count)]
    coded = pa.dictionary(pa.int32(), pa.string())
    kinds = {label: pa.string() if i in uncoded else coded for i, label in enumerate(labels)}
    try:
        table = csv.read_csv(
            pa.BufferReader(memoryview(lines.data)[lines.offset(start) :]),
            csv.ReadOptions(column_names=labels, block_size=1 << 23),
            csv.ParseOptions(delimiter=separator, quote_char=False, ignore_empty_lines=False),
            csv.ConvertOptions(column_types=kinds, strings_can_be_null=False),
        )
    except pa.ArrowInvalid:  # a line with more or fewer fields: each line must be looked at
        return None
    columns = [column.combine_chunks() for column in table.unify_dictionaries().columns]
    if len(table) != len(lines) - start or any(column.null_count for column in columns):
        return None
    ends = (columns[0], columns[width - 1])
    if _has_blank(columns[0]) or any(says_any(cells, names) for cells in ends):
        return None  # a blank line, or a header in other letters or another order, may be among them
    return columns


def _has_blank(cells: pa.Array) -> bool:
    texts = cells.dictionary if isinstance(cells, pa.DictionaryArray) else cells
    return bool(pc.any(pc.equal(pc.binary_length(pc.ascii_trim_whitespace(texts)), 0)).as_py())  # type: ignore[attr-defined]


def says_any(cells: pa.Array, names: frozenset[str]) -> bool:
    """Whether a cell is one of some names as compared: without blanks around it, in small letters."""
    if isinstance(cells, pa.DictionaryArray):
        cells = cells.dictionary
    if pc.all(pc.ascii_is_decimal(cells)).as_py() and not any(map(str.isdecimal, names)):  # type: ignore[attr-defined]
        return False
    distinct = cells.unique()
    ascii_only = pc.string_is_ascii(distinct)  # type: ignore[attr-defined]
    plain = distinct.filter(ascii_only)
    lower = pc.utf8_lower(pc.utf8_trim_whitespace(plain))  # type: ignore[attr-defined]
    if pc.any(pc.is_in(lower, pa.array(sorted(names), pa.string()))).as_py():  # type: ignore[attr-defined]
        return True
    others = distinct.filter(pc.invert(ascii_only)).to_pylist()  # type: ignore[attr-defined]
    return not names.isdisjoint(cell.strip().casefold() for cell in others)


def says_something(cells: pa.Array) -> bool:
    """Whether a cell is more than blanks."""
    distinct = cells.dictionary if isinstance(cells, pa.DictionaryArray) else cells.unique()
    return any(cell.strip() for cell in distinct.to_pylist())
