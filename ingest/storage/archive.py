"""Every file ever received, unchanged, by the hash of its bytes.

With the journal this is the truth of a shop; the database can be deleted and made again from the two. A list
beside the files keeps what their bytes do not say: name, moment of arrival, and how far the journal was then.
The list is only ever added to, after the bytes are on the disk.
"""

from __future__ import annotations

import hashlib
import json
import os
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

from ingest.problems import Problem, StoreError
from ingest.storage.durable import fsync_folder, write_all

_LIST = "received.jsonl"


class ArchiveError(StoreError):
    """The archive itself is damaged: only a backup helps."""


@dataclass(frozen=True)
class Archived:
    """What the archive knows of one file.

    Attributes
    ----------
    known_at : datetime
        Zone-less UTC.
    order : int
        Rising in the order of arrival.
    journal_line : int
        Lines the journal had when the file came: a rebuild replays files and decisions in that order.
    """

    sha256: str
    name: str
    known_at: datetime
    bytes: int
    order: int
    journal_line: int


class Archive:
    """The folder of received files.

    Parameters
    ----------
    folder : Path
        Made if it does not exist.

    Raises
    ------
    ArchiveError
        The list of received files is damaged; the line is named.
    """

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        folder.mkdir(parents=True, exist_ok=True)
        self._list = folder / _LIST
        if not self._list.exists():
            self._list.touch()
            fsync_folder(folder)
        self._entries = self._read_list()

    def path(self, sha256: str) -> Path:
        """Where the bytes with this hash are kept; the received name has no part in it."""
        return self.folder / sha256[:2] / f"{sha256}.csv"

    def _read_list(self) -> dict[str, Archived]:
        data = self._list.read_bytes()
        whole = data.rfind(b"\n") + 1
        if whole < len(data):  # what a power cut left of lines that were never acknowledged
            self._cut(whole)
        entries: dict[str, Archived] = {}
        for n, line in enumerate(data[:whole].splitlines(), 1):
            try:
                content = json.loads(line)
                if content.pop("sum", None) not in (None, _sum(content)):
                    raise ValueError
                moment = datetime.fromisoformat(content["known_at"])
                entry = Archived(**(content | {"known_at": moment}))
            except (ValueError, KeyError, TypeError):
                raise ArchiveError(
                    f"Line {n} of {_LIST} in the archive is not as it was written: restore the file from a backup."
                ) from None
            entries.setdefault(entry.sha256, entry)
        return entries

    def _cut(self, size: int) -> None:
        with self._list.open("r+b") as file:
            file.truncate(size)
            os.fsync(file.fileno())

    def holds(self, sha256: str) -> bool:
        """Whether a file with this hash is kept."""
        return sha256 in self._entries

    def put(self, files: Sequence[tuple[Archived, bytes]]) -> None:
        """Keep files; returns when every byte and name is on the disk. A file already held stays as it is."""
        fresh = {entry.sha256: (entry, data) for entry, data in files if not self.holds(entry.sha256)}
        if not fresh:
            return
        made = {path for path in {self.folder / sha[:2] for sha in fresh} if not path.exists()}
        for folder in made:
            folder.mkdir(exist_ok=True)
        if made:
            fsync_folder(self.folder)
        write_all(self.folder, [(self.path(sha), data) for sha, (_, data) in fresh.items()])
        self._append([entry for entry, _ in fresh.values()])

    def _append(self, entries: list[Archived]) -> None:
        lines = b"".join(_line(entry) for entry in entries)
        start = self._list.stat().st_size
        try:
            with self._list.open("ab") as file:
                file.write(lines)
                file.flush()
                os.fsync(file.fileno())
        except OSError:
            self._cut(start)
            raise
        self._entries |= {entry.sha256: entry for entry in entries}

    def read(self, sha256: str) -> bytes:
        """Bytes of a kept file.

        Raises
        ------
        ArchiveError
            The archive does not hold it (any more).
        """
        try:
            return self.path(sha256).read_bytes()
        except FileNotFoundError:
            raise ArchiveError(
                f"The archive lacks {self.path(sha256).name}: restore that file from a backup."
            ) from None

    def entry(self, sha256: str) -> Archived | None:
        """What the list says of a hash; None when the file is not held."""
        return self._entries.get(sha256)

    def history(self) -> list[Archived]:
        """Everything kept, in the order of arrival."""
        return sorted(self._entries.values(), key=lambda e: (e.order, e.known_at, e.sha256))

    def verify(self) -> list[Problem]:
        """Read every kept file and compare it with its hash."""
        problems = []
        for entry in self.history():
            try:
                sound = hashlib.sha256(self.read(entry.sha256)).hexdigest() == entry.sha256
            except (OSError, ArchiveError):
                sound = False
            if not sound:
                reason = "the archived bytes are missing or are not those that were received."
                remedy = "Restore this file from a backup."
                problems.append(Problem(entry.name, None, None, "archive", entry.sha256, reason, remedy))
        return problems


def _line(entry: Archived) -> bytes:
    content = {
        "sha256": entry.sha256,
        "name": entry.name,
        "known_at": entry.known_at.isoformat(),
        "bytes": entry.bytes,
        "order": entry.order,
        "journal_line": entry.journal_line,
    }
    return json.dumps(content | {"sum": _sum(content)}, ensure_ascii=True).encode() + b"\n"


def _sum(content: Mapping[str, object]) -> str:
    """Check of one line of the list: a changed digit in a date would otherwise go unnoticed."""
    plain = json.dumps(content, ensure_ascii=True, sort_keys=True)
    return hashlib.sha256(plain.encode()).hexdigest()[:16]
