"""Very large files, taken in part by part: bounded memory, whole lines, and a stop loses only the part at work.

Each part begins with the heading of the file, so it is a file of its own: archived, known by its hash, stored wholly
or not at all. Taking the same file in again passes over the parts that are known, which is how a stop is resumed.
"""

from __future__ import annotations

import codecs
from collections.abc import Iterator
from pathlib import Path

from ingest.intake.receipt import IncomingFile
from ingest.layouts.header import HeaderReader
from ingest.layouts.sheet import NoSheet, read_sheet
from ingest.plans.model import Plan

LARGE = 64_000_000
"""Bytes from which a file is taken in by parts."""
PART = 8_000_000
"""Bytes of a part, about; the memory that is needed grows with it and not with the file."""
_HEAD = 1_000_000


class TooLarge(Exception):  # noqa: N818 - reads as what it is
    """A large file cannot be taken in by parts; the message says why and what to do."""


def is_large(path: Path) -> bool:
    """Whether a file is taken in by parts."""
    return path.stat().st_size >= LARGE


def parts_of(path: Path, plan: Plan) -> Iterator[tuple[IncomingFile, int]]:
    """Parts of a large file, in order, each with the bytes of the file up to its end.

    Parameters
    ----------
    path : Path
        Its text must be UTF-8 or another encoding in which a line end is one byte.
    plan : Plan
        Tells which lines are the heading.

    Raises
    ------
    TooLarge
        No layout knows the file, or its encoding has line ends of two bytes.
    """
    with path.open("rb") as file:
        start = file.read(_HEAD)
        if start.startswith((codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE)) or b"\0" in start:
            raise TooLarge(
                f"{path.name} is too large to be read as UTF-16: save it as UTF-8 text and try again."
            )
        whole = start[: start.rfind(b"\n") + 1] or start
        sheet = read_sheet(0, path.name, whole, 0, HeaderReader(plan))
        if isinstance(sheet, NoSheet):
            raise TooLarge(
                f"{path.name} is larger than {LARGE // 1_000_000} MB and cannot be read yet: "
                f"{sheet.complaint.reason} {sheet.complaint.remedy} Nothing was taken in."
            )
        lines = whole.split(b"\n")
        head = b"\n".join(lines[: sheet.preamble]) + b"\n"
        file.seek(len(head))
        number, left = 0, b""
        while block := file.read(PART - len(left)):
            piece, left = _whole_lines(left + block)
            if piece:
                number += 1
                yield IncomingFile(f"{path.name} (part {number})", head + piece), file.tell() - len(left)
        if left:
            number += 1
            yield IncomingFile(f"{path.name} (part {number})", head + left), file.tell()


def _whole_lines(data: bytes) -> tuple[bytes, bytes]:
    """The data up to a line end that stands in no quotes, and the rest; all of it when there is none."""
    end = data.rfind(b"\n") + 1
    while end and data.count(b'"', 0, end) % 2:
        end = data.rfind(b"\n", 0, end - 1) + 1
    return (data[:end], data[end:]) if end else (data, b"")
