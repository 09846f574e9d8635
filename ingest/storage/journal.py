"""What people decided: one JSON object a line, each holding the hash of the one before, never changed.

A line is acknowledged only when it is on the disk. Half a line at the end is what a power cut left of one
that was not acknowledged; opening the journal removes it.
"""

from __future__ import annotations

import hashlib
import json
import os
import threading
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Any

from ingest.problems import Problem
from ingest.storage.durable import fsync_folder

_START = "0" * 64


class JournalError(Exception):
    """The journal was changed or cannot be read; the message names the line."""


@dataclass(frozen=True)
class JournalLine:
    """One decision.

    Attributes
    ----------
    n : int
        Line number, from 1.
    known_at : datetime
        Zone-less UTC.
    verified : bool
        Whether `who` had logged in.
    body : dict
        What was decided; names readings by file hash, line and column, parts by serial and pass.
    """

    n: int
    known_at: datetime
    who: str
    verified: bool
    kind: str
    body: dict[str, Any]
    prev: str
    hash: str


class Journal:
    """The journal in a file; made empty if it does not exist.

    Raises
    ------
    JournalError
        A line was changed, removed or put in.
    """

    def __init__(self, path: Path) -> None:
        self.path = path
        self._lock = threading.Lock()
        if not path.exists():
            path.touch()
            fsync_folder(path.parent)
        self._drop_torn_end()
        self._lines, problems = _read(path)
        if problems:
            raise JournalError(str(problems[0]))

    def _drop_torn_end(self) -> None:
        data = self.path.read_bytes()
        whole = data.rfind(b"\n") + 1
        if whole < len(data):
            with self.path.open("r+b") as file:
                file.truncate(whole)
                os.fsync(file.fileno())

    def lines(self) -> list[JournalLine]:
        """Every line, oldest first."""
        return list(self._lines)

    def __len__(self) -> int:
        return len(self._lines)

    def append(
        self, kind: str, who: str, verified: bool, body: dict[str, Any], known_at: datetime
    ) -> JournalLine:
        """Add a decision; returns when it is on the disk.

        Parameters
        ----------
        known_at : datetime
            Zone-less UTC.
        """
        with self._lock:
            prev = self._lines[-1].hash if self._lines else _START
            content = {
                "n": len(self._lines) + 1,
                "known_at": known_at.isoformat(),
                "who": who,
                "verified": verified,
                "kind": kind,
                "body": body,
                "prev": prev,
            }
            raw = _canonical(content | {"hash": _digest(content)})
            line = _parse(raw)
            start = self.path.stat().st_size
            try:
                with self.path.open("ab") as file:
                    file.write(raw + b"\n")
                    file.flush()
                    os.fsync(file.fileno())
            except OSError:
                self._cut_back(start)
                raise
            self._lines.append(line)
            return line

    def _cut_back(self, size: int) -> None:
        """A line that could not be written whole must not be followed by another."""
        with self.path.open("r+b") as file:
            file.truncate(size)

    def verify(self, at_least: int = 0) -> list[Problem]:
        """Read the file again and name the first line that is not as it was written.

        Parameters
        ----------
        at_least : int
            Lines the journal is known to have had, e.g. by the store: a journal cut off at the end of a
            line is otherwise sound.
        """
        lines, problems = _read(self.path)
        if not problems and len(lines) < at_least:
            reason = f"the journal ends at line {len(lines)} but had {at_least} lines."
            problems = [_broken(self.path, len(lines) + 1, reason)]
        return problems


def _canonical(content: dict[str, Any]) -> bytes:
    return json.dumps(content, ensure_ascii=True, sort_keys=True, separators=(",", ":")).encode()


def _digest(content: dict[str, Any]) -> str:
    return hashlib.sha256(_canonical(content)).hexdigest()


def _broken(path: Path, n: int, reason: str) -> Problem:
    remedy = "Restore the journal from a backup; nothing after this line can be trusted."
    return Problem(path.name, n, None, "journal", "", reason, remedy)


def _parse(raw: bytes) -> JournalLine:
    content = json.loads(raw)
    return JournalLine(**(content | {"known_at": datetime.fromisoformat(content["known_at"])}))


def _read(path: Path) -> tuple[list[JournalLine], list[Problem]]:
    lines: list[JournalLine] = []
    prev = _START
    data = path.read_bytes()
    rows = data.split(b"\n")
    for n, raw in enumerate(rows[:-1], 1):
        try:
            content = json.loads(raw)
            claimed = content.pop("hash")
            sound = (
                raw == _canonical(content | {"hash": claimed})
                and claimed == _digest(content)
                and content["prev"] == prev
                and content["n"] == n
            )
            line = _parse(raw) if sound else None
        except (ValueError, KeyError, TypeError, AttributeError):
            line = None
        if line is None:
            reason = "this line is not as it was written, or a line before it is missing."
            return lines, [_broken(path, n, reason)]
        lines.append(line)
        prev = line.hash
    if rows[-1]:
        return lines, [_broken(path, len(rows), "the last line is cut short.")]
    return lines, []
