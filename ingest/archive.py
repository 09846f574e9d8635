"""Every file ever received, unchanged, by the hash of its bytes.

With the journal this is the truth of a shop; the database can be deleted and made again from the two. The
sidecar of a file keeps what its bytes do not say: its name, when it came, and how far the journal was then.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Callable, Iterable, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

from ingest.durable import fsync_folder, write_new
from ingest.problems import Problem

_THREADS = 8  # fsyncs wait for the disk, not for the processor


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
    """

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        folder.mkdir(parents=True, exist_ok=True)

    def path(self, sha256: str) -> Path:
        """Where the bytes with this hash are kept; the received name has no part in it."""
        return self.folder / sha256[:2] / f"{sha256}.csv"

    def _sidecar(self, sha256: str) -> Path:
        return self.folder / sha256[:2] / f"{sha256}.receipt.json"

    def holds(self, sha256: str) -> bool:
        """Whether a file with this hash is kept, whole and with its sidecar."""
        return self._sidecar(sha256).exists()

    def put(self, files: Sequence[tuple[Archived, bytes]]) -> None:
        """Keep files; returns when every byte and name is on the disk. A file already held stays as it is."""
        fresh = {entry.sha256: (entry, data) for entry, data in files if not self.holds(entry.sha256)}
        if not fresh:
            return
        folders = {self.path(sha).parent for sha in fresh}
        made = [f for f in folders if not f.exists()]
        for folder in made:
            folder.mkdir(exist_ok=True)
        self._each(self._write_bytes, fresh.values())
        self._each(self._write_sidecar, (entry for entry, _ in fresh.values()))
        self._each(fsync_folder, folders)
        if made:
            fsync_folder(self.folder)

    @staticmethod
    def _each(task: Callable[..., None], items: Iterable) -> None:
        items = list(items)
        if len(items) < 4:
            for item in items:
                task(item)
            return
        with ThreadPoolExecutor(_THREADS) as pool:
            list(pool.map(task, items))

    def _write_bytes(self, item: tuple[Archived, bytes]) -> None:
        write_new(self.path(item[0].sha256), item[1])

    def _write_sidecar(self, entry: Archived) -> None:
        content = {
            "name": entry.name,
            "known_at": entry.known_at.isoformat(),
            "bytes": entry.bytes,
            "order": entry.order,
            "journal_line": entry.journal_line,
        }
        text = json.dumps(content, ensure_ascii=True, sort_keys=True)
        write_new(self._sidecar(entry.sha256), text.encode())

    def read(self, sha256: str) -> bytes:
        """Bytes of a kept file.

        Raises
        ------
        FileNotFoundError
            The archive does not hold it.
        """
        return self.path(sha256).read_bytes()

    def entry(self, sha256: str) -> Archived | None:
        """What the sidecar of a hash says; None when the file is not held."""
        try:
            content = json.loads(self._sidecar(sha256).read_bytes())
        except FileNotFoundError:
            return None
        return Archived(
            sha256=sha256,
            name=content["name"],
            known_at=datetime.fromisoformat(content["known_at"]),
            bytes=content["bytes"],
            order=content["order"],
            journal_line=content["journal_line"],
        )

    def history(self) -> list[Archived]:
        """Everything kept, in the order of arrival."""
        names = [p.name.removesuffix(".receipt.json") for p in self.folder.glob("??/*.receipt.json")]
        entries = [entry for entry in (self.entry(name) for name in names) if entry is not None]
        return sorted(entries, key=lambda e: (e.order, e.known_at, e.sha256))

    def verify(self) -> list[Problem]:
        """Read every kept file and compare it with its hash."""
        problems = []
        for entry in self.history():
            try:
                sound = hashlib.sha256(self.read(entry.sha256)).hexdigest() == entry.sha256
            except OSError:
                sound = False
            if not sound:
                reason = "the archived bytes are missing or are not those that were received."
                remedy = "Restore this file from a backup."
                problems.append(Problem(entry.name, None, None, "archive", entry.sha256, reason, remedy))
        return problems
