"""Many small plain files of one header, read as if their rows stood in one file.

What comes out is what `ingest.layouts.sheet.read_sheet` gives for each file by itself; a file that is not plain in
every line is left to it.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np

from ingest.layouts.bulk import whole_columns
from ingest.layouts.header import Header, HeaderReader
from ingest.layouts.lines import MANY_BYTES, Lines
from ingest.layouts.sheet import OWN_TEXT, units_in_first_row
from ingest.layouts.split import Block, Rows, Share, is_rule
from ingest.layouts.table import Sheet
from ingest.layouts.text import PRINTABLE, Text
from ingest.problems import Complaint

LEAST = 8
"""Files that are worth joining."""


class Given(NamedTuple):
    """A file to be read, as `ingest.layouts.sheet.read_sheet` takes it."""

    index: int
    name: str
    data: bytes
    known_us: int


def read_joined(files: Sequence[Given], headers: HeaderReader) -> dict[int, Sheet]:
    """Sheets of the files that can be read together, by their place in the batch."""
    groups: dict[bytes, list[Given]] = {}
    for file in files:
        if len(file.data) < MANY_BYTES and file.data.endswith(b"\n"):
            groups.setdefault(file.data[: file.data.index(b"\n") + 1], []).append(file)
    found: dict[int, Sheet] = {}
    for first, group in groups.items():
        header = _header(first, headers) if len(group) >= LEAST else None
        if header is not None:
            _read(
                header, [file for file in group if _plain(file.data, len(first), header)], len(first), found
            )
    return found


def _header(first: bytes, headers: HeaderReader) -> Header | None:
    """Header in the first line of a file, when nothing below or beside it needs a closer look."""
    if not first.isascii() or first.translate(None, PRINTABLE) or b'"' in first or b"\r" in first:
        return None
    found = headers.find([first[:-1].decode("ascii")])
    if isinstance(found, Complaint) or None in found.header.columns:
        return None
    header = found.header
    return None if header.trailing or header.separator == " " or len(header.columns) < 2 else header


def _plain(data: bytes, start: int, header: Header) -> bool:
    """Whether the lines of a file are very likely plain, and the first of them is surely a row."""
    if not data.isascii() or data.translate(None, PRINTABLE) or b'"' in data or b"\r" in data:
        return False
    lines = data.count(b"\n", start)
    if not lines or data.count(header.separator.encode(), start) != lines * (len(header.columns) - 1):
        return False
    line = data[start : data.index(b"\n", start)].decode("ascii")
    cells = line.split(header.separator)
    if len(cells) != len(header.columns) or is_rule(line, header.separator):
        return False
    return units_in_first_row(cells, header) is None


def _read(header: Header, files: list[Given], start: int, found: dict[int, Sheet]) -> None:
    """Read files together; where one of them is not plain after all, each half by itself."""
    if len(files) < LEAST:
        return
    names = frozenset(name for name in header.folded if name)
    uncoded = frozenset(i for i, c in enumerate(header.columns) if c and c.meaning in OWN_TEXT)
    lines = Lines(b"".join(file.data[start:] for file in files))
    columns = whole_columns(lines, 0, header.separator, len(header.columns), 0, names, uncoded)
    if columns is None:
        if len(files) > 1:
            _read(header, files[: len(files) // 2], start, found)
            _read(header, files[len(files) // 2 :], start, found)
        return
    block = Block(columns)
    row = 0
    for file in files:
        text = Text(Lines(file.data), "utf-8", True, ())
        count = len(text.lines) - 1
        share = Share(block, row, row + count)
        rows = Rows(share, np.arange(2, count + 2), np.ones(count, dtype=np.int64))
        for kind in header.warnings:
            rows.warn(kind)
        found[file.index] = Sheet(file.index, file.name, text, header, rows, file.known_us, 1)
        row += count
