"""A shop in one file, and a shop made from one: archive, journal and plans; the database follows from them.

What was acknowledged before the backup began is in it, also while files come in: the list of files and the
journal are copied in one moment, and what they name never changes afterwards.
"""

from __future__ import annotations

import hashlib
import io
import json
import os
import re
import tarfile
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import IO

from ingest.shop.folder import Folder
from ingest.storage.durable import fsync_folder

MANIFEST = "backup.json"
PIECE = 1 << 20
"""Bytes copied at a time."""
FORMAT = 1
"""Rises when older programs could no longer restore what newer ones write."""
_LEGAL = re.compile(
    r"plan\.toml|journal\.jsonl|archive/received\.jsonl|archive/[0-9a-f]{2}/[0-9a-f]{64}\.csv|archive/plans/[^/\\]+"
)


class BackupError(Exception):
    """A backup cannot be written or believed; the message says why and what to do."""


@dataclass(frozen=True)
class Snapshot:
    """What a backup holds, fixed at one moment.

    Attributes
    ----------
    small : dict of str to bytes
        Contents of files that change, by their place in the shop folder.
    kept : dict of str to Path
        Files that never change.
    digest : str
        Of the shop at that moment.
    """

    small: dict[str, bytes]
    kept: dict[str, Path]
    digest: str


def snapshot(folder: Folder, digest: str) -> Snapshot:
    """What a backup of the shop as it stands would hold; no writer may be at work."""
    small = {
        "plan.toml": folder.plan_file.read_bytes(),
        "journal.jsonl": folder.journal.path.read_bytes(),
        "archive/received.jsonl": (folder.archive.folder / "received.jsonl").read_bytes(),
    }
    paths = [folder.archive.path(entry.sha256) for entry in folder.archive.history()]
    paths += sorted(p for p in folder.shelf.folder.iterdir() if p.is_file() and not p.name.startswith("."))
    return Snapshot(small, {p.relative_to(folder.path).as_posix(): p for p in paths}, digest)


def write_backup(held: Snapshot, target: Path, step: Callable[[int, int], None] | None = None) -> int:
    """Write a backup whole, or not at all; returns the number of files in it.

    Raises
    ------
    BackupError
        The target is there already, or cannot be written.
    """
    if target.exists():
        raise BackupError(f"{target} is there already: name another file, nothing was changed.")
    half = target.with_name(f".{target.name}.part")
    total = len(held.small) + len(held.kept)
    sums: dict[str, str] = {}
    try:
        with half.open("wb") as raw:
            with tarfile.open(fileobj=raw, mode="w:gz", compresslevel=3) as tar:
                for name, data in held.small.items():
                    sums[name] = _add(tar, name, len(data), io.BytesIO(data))
                for name, path in held.kept.items():
                    with path.open("rb") as kept:
                        sums[name] = _add(tar, name, path.stat().st_size, kept)
                    _must_be_whole(name, sums[name])
                    if step is not None:
                        step(len(sums), total)
                told = json.dumps(
                    {"format": FORMAT, "digest": held.digest, "files": sums}, sort_keys=True
                ).encode()
                _add(tar, MANIFEST, len(told), io.BytesIO(told))
            raw.flush()
            os.fsync(raw.fileno())
        half.replace(target)
        fsync_folder(target.parent)
    except BackupError:
        half.unlink(missing_ok=True)
        raise
    except OSError as error:
        half.unlink(missing_ok=True)
        why = error.strerror or error
        raise BackupError(
            f"{target} cannot be written ({why}): nothing was left behind, choose another place."
        ) from None
    return total


class _Summed:
    """A stream that remembers the hash of what was read from it."""

    def __init__(self, stream: IO[bytes]) -> None:
        self._stream = stream
        self.sum = hashlib.sha256()

    def read(self, size: int = -1) -> bytes:
        piece = self._stream.read(size)
        self.sum.update(piece)
        return piece


def _add(tar: tarfile.TarFile, name: str, size: int, stream: IO[bytes]) -> str:
    """Add a file of a known size; returns the hash of its bytes."""
    entry = tarfile.TarInfo(name)
    entry.size = size
    entry.mode = 0o644
    summed = _Summed(stream)
    tar.addfile(entry, summed)  # type: ignore[arg-type] - only `read` is called
    return summed.sum.hexdigest()


def _must_be_whole(name: str, found: str) -> None:
    """A damaged archive must not displace an older, sound backup."""
    place = Path(name)
    if place.suffix == ".csv" and place.stem != found:
        raise BackupError(
            f"{name} in the archive is not as it was received, so no backup was written. Bring that file back "
            "from an earlier backup first."
        )


def unpack(source: Path, folder: Path, step: Callable[[int], None] | None = None) -> str:
    """Put the files of a backup into an empty folder; returns the digest the shop had.

    Raises
    ------
    BackupError
        The folder is not empty, or the file is no backup, is damaged or incomplete. The folder is then as it was.
    """
    if folder.exists() and (not folder.is_dir() or any(folder.iterdir())):
        raise BackupError(f"{folder} is there already and not empty: name a new folder, nothing was changed.")
    made = [path for path in (folder, *folder.parents) if not path.exists()]
    written: list[Path] = []
    try:
        with source.open("rb") as raw:
            told = _unpack(raw, folder, written, step)
        for parent in {path.parent for path in written}:
            fsync_folder(parent)
    except (OSError, EOFError, tarfile.TarError, ValueError, KeyError) as error:
        _take_back(written, folder, made)
        if isinstance(error, OSError) and error.filename is not None:
            raise BackupError(f"{error.filename} cannot be read or written: {error.strerror}.") from None
        raise BackupError(
            f"{source} is no whole backup ({error}): it may be cut short or changed. Use another one; "
            "nothing was changed."
        ) from None
    return told


def _unpack(raw: IO[bytes], folder: Path, written: list[Path], step: Callable[[int], None] | None) -> str:
    sums: dict[str, str] = {}
    manifest: dict | None = None
    with tarfile.open(fileobj=raw, mode="r|gz") as tar:
        for entry in tar:
            stream = tar.extractfile(entry) if entry.isfile() else None
            if stream is None or not (entry.name == MANIFEST or _LEGAL.fullmatch(entry.name)):
                raise ValueError(f"it holds {entry.name!r}, which no backup does")
            if entry.name == MANIFEST:
                manifest = json.loads(stream.read())
                continue
            path = folder / entry.name
            path.parent.mkdir(parents=True, exist_ok=True)
            written.append(path)
            with path.open("xb") as file:
                summed = _Summed(stream)
                while piece := summed.read(PIECE):
                    file.write(piece)
                file.flush()
                os.fsync(file.fileno())
            sums[entry.name] = summed.sum.hexdigest()
            if step is not None:
                step(len(sums))
    if manifest is None:
        raise ValueError("its end is missing")
    if manifest["format"] > FORMAT:
        raise ValueError(
            "it was written by a newer version of this program, which must be used to restore it"
        )
    wrong = sorted(
        name for name in {*sums, *manifest["files"]} if sums.get(name) != manifest["files"].get(name)
    )
    if wrong:
        raise ValueError(f"{wrong[0]} is not as it was written")
    return str(manifest["digest"])


def _take_back(written: list[Path], folder: Path, made: list[Path]) -> None:
    for path in written:
        path.unlink(missing_ok=True)
    inside = sorted((p for p in folder.rglob("*") if p.is_dir()), reverse=True) if folder.exists() else []
    for path in [*inside, *made]:
        if path.exists() and not any(path.iterdir()):
            path.rmdir()
