"""Rows written anew by hand: each becomes a small file of its own, beside the one it came from.

The line as it was received is never touched. What a person wrote in its place stands in the journal, and with the
heading of the first file it makes a file that is archived and read like any other. So a fix has a receipt, can
be looked up line by line, survives a rebuild, and was not known before the day it was made.
"""

from __future__ import annotations

import hashlib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from ingest.layouts.text import read_text
from ingest.problems import Complaint
from ingest.storage.journal import Journal, JournalLine


@dataclass(frozen=True)
class Fix:
    """What the journal says of a file that a person wrote.

    Attributes
    ----------
    original : str
        Hash of the file whose rows it replaces.
    believed : bool
        The rows stand as they were received; doubts that a person can settle no longer hold them up.
    withdrawn : bool
        The decision was taken back: the rows must not count.
    """

    original: str
    believed: bool
    withdrawn: bool


def fixes_of(journal: Journal, until: int | None = None) -> dict[str, Fix]:
    """Files that people wrote, by hash, from the first `until` lines of the journal (by default all)."""
    lines = journal.lines()[:until]
    undone = {int(line.body["line"]) for line in lines if line.kind == "undo"}
    return {
        str(line.body["file"]): Fix(str(line.body["sha256"]), bool(line.body["believed"]), line.n in undone)
        for line in lines
        if line.kind == "fix_rows"
    }


def fix_body(
    original: bytes,
    sha256: str,
    name: str,
    head: int,
    rows: Mapping[int, str],
    number: int,
    believed: bool,
    instead: Sequence[tuple[str, int, str]],
    reason: str,
) -> tuple[dict[str, Any], bytes]:
    """Body of the decision, and the bytes of the file that it makes.

    Parameters
    ----------
    original : bytes
        The file as received.
    sha256, name : str
        Its hash and name.
    head : int
        Its lines up to the first row.
    rows : mapping of int to str
        Text by the line it replaces.
    number : int
        Line of the journal that the decision will have; it makes equal fixes distinct.
    believed : bool
    instead : sequence of (hash, line, column)
        Stored readings that no longer count.
    reason : str
    """
    body = {
        "sha256": sha256,
        "name": name,
        "head": head,
        "lines": sorted(rows),
        "texts": [rows[line] for line in sorted(rows)],
        "believed": believed,
        "instead": [list(place) for place in instead],
        "reason": reason,
    }
    data = fix_bytes(original, body, number)
    return body | {"file": hashlib.sha256(data).hexdigest()}, data


def fix_bytes(original: bytes, body: Mapping[str, Any], number: int) -> bytes:
    """The file that a decision makes: one line that says where it comes from, the heading, the rows."""
    text = read_text(original)
    assert not isinstance(text, Complaint)  # a row was read from it
    told = f"rows of file {str(body['sha256'])[:16]} as decided in entry {number} of the log"
    return "\n".join([told, *text.lines[: int(body["head"])], *body["texts"], ""]).encode()


def fix_name(line: JournalLine) -> str:
    """Name of the file that a decision makes."""
    return f"{line.body['name']} ({'as read' if line.body['believed'] else 'put right'} by {line.who})"
