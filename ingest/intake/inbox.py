"""The inbox folder: files are taken in once nobody writes to them any more.

Looked at again and again, which also works where the system sends no word of changes, as on a network share. A
folder that cannot be reached is waited for: nothing is made in its place, since a share that is not mounted must
not be mistaken for an empty folder.
"""

from __future__ import annotations

import json
import os
from collections.abc import Iterator
from dataclasses import dataclass, replace
from datetime import datetime
from pathlib import Path

from ingest.intake.in_parts import is_large, parts_of
from ingest.intake.receipt import IncomingFile
from ingest.plans.model import Plan
from ingest.storage.durable import write_new

_PASSED_OVER = (".tmp", ".part", ".partial", ".crdownload", "~")
Stamp = tuple[int, int]
"""Size and time of change; a file that keeps both is not being written to."""


@dataclass(frozen=True)
class LargeFile:
    """A file so large that it is taken in part by part, a few parts at each look.

    Attributes
    ----------
    name : str
    done, total : int
        Bytes taken in, and bytes in all.
    trouble : str or None
        Why it does not go on, as a sentence; it is tried again at each look.
    """

    name: str
    done: int
    total: int
    trouble: str | None = None


@dataclass(frozen=True)
class InboxState:
    """What the last look at the inbox found.

    Attributes
    ----------
    looked : datetime or None
        When that was; None before the first look.
    trouble : str or None
        Why nothing could be taken in, as a sentence.
    growing, locked, staying : tuple of str
        Names of files that are still written to, cannot be read now, or were taken in and cannot be removed.
    large : tuple of LargeFile
        Files that are being taken in by parts.
    """

    looked: datetime | None = None
    trouble: str | None = None
    growing: tuple[str, ...] = ()
    locked: tuple[str, ...] = ()
    staying: tuple[str, ...] = ()
    large: tuple[LargeFile, ...] = ()


class Inbox:
    """Looks at a folder again and again.

    Parameters
    ----------
    folder : Path
        Where files are dropped.
    heartbeat : Path
        File that says when the folder was last looked at.
    """

    def __init__(self, folder: Path, heartbeat: Path) -> None:
        self._folder = folder
        self._heartbeat = heartbeat
        self._seen: dict[str, Stamp] = {}
        self._read: dict[str, Stamp] = {}
        self._taken: dict[str, Stamp] = {}
        self._begun: dict[str, tuple[Stamp, str, Iterator[tuple[IncomingFile, int]]]] = {}
        self._large: dict[str, LargeFile] = {}
        self._given_up = False
        self.state = InboxState()

    def settled(self, now: datetime) -> list[tuple[Path, IncomingFile]]:
        """Files whose size and time of change are the same as at the look before, with their bytes.

        Hidden files, links, and the usual names of half-written files are passed over. A file that cannot be
        read, or changes while it is read, is left for the next look.
        """
        looks: dict[str, Stamp] = {}
        found: list[tuple[Path, IncomingFile]] = []
        growing, locked, trouble = [], [], None
        large: list[str] = []
        try:
            names = sorted(
                entry.name for entry in os.scandir(self._folder) if entry.is_file(follow_symlinks=False)
            )
        except OSError as error:
            names, trouble = [], f"The inbox {self._folder} cannot be reached ({error.strerror or error})."
        for name in names:
            if name.startswith(".") or name.endswith(_PASSED_OVER):
                continue
            path = self._folder / name
            try:
                looks[name] = _stamp(path)
                if self._taken.get(name) == looks[name]:
                    self._remove(path, looks[name])
                elif self._seen.get(name) != looks[name]:
                    growing.append(name)
                elif is_large(path):
                    self._read[name] = looks[name]
                    large.append(name)
                else:
                    data = path.read_bytes()
                    if _stamp(path) == looks[name] and len(data) == looks[name][0]:
                        self._read[name] = looks[name]
                        found.append((path, IncomingFile(name, data)))
            except FileNotFoundError:
                looks.pop(name, None)
            except OSError:
                looks.pop(name, None)
                locked.append(name)
        self._seen = looks
        self._taken = {name: stamp for name, stamp in self._taken.items() if looks.get(name) == stamp}
        for name in [n for n, (stamp, *_) in self._begun.items() if looks.get(n) != stamp]:
            del self._begun[name]
            self._given_up = True
        self._large = {n: self._large.get(n) or LargeFile(n, 0, looks[n][0]) for n in large}
        staying = tuple(sorted(self._taken))
        self.state = InboxState(
            now, trouble, tuple(growing), tuple(locked), staying, tuple(self._large.values())
        )
        self._beat()
        return found

    def large(self) -> list[Path]:
        """Large files that have settled, to be taken in by parts."""
        return [self._folder / name for name in self._large]

    def parts(self, path: Path, plan: Plan) -> Iterator[tuple[IncomingFile, int]]:
        """Parts of a large file, each with the bytes up to its end; goes on where the look before ended."""
        name = path.name
        begun = self._begun.get(name)
        if begun is None or begun[:2] != (self._read[name], plan.sha256):
            begun = self._begun[name] = (self._read[name], plan.sha256, parts_of(path, plan))
        return begun[2]

    def so_far(self, path: Path, done: int) -> None:
        """Note how far a large file has come."""
        self._tell(path.name, replace(self._large[path.name], done=done, trouble=None))

    def stuck(self, path: Path, reason: str) -> None:
        """Note why a large file does not go on; its parts begin anew at the next look, the known ones quickly."""
        self._begun.pop(path.name, None)
        self._tell(path.name, replace(self._large[path.name], trouble=reason))

    def given_up(self) -> bool:
        """Whether a large file was changed or removed with some of its parts taken in; told once."""
        found, self._given_up = self._given_up, False
        return found

    def _tell(self, name: str, large: LargeFile) -> None:
        self._large[name] = large
        self.state = replace(self.state, large=tuple(self._large.values()))

    def failed(self, reason: str) -> None:
        """Note why files that lay ready could not be taken in; they are tried again at the next look."""
        self.state = replace(self.state, trouble=reason)
        self._beat()

    def done(self, path: Path) -> None:
        """Remove a file that the archive holds now; one that was written to meanwhile stays and is read again."""
        self._begun.pop(path.name, None)
        self._large.pop(path.name, None)
        self.state = replace(self.state, large=tuple(self._large.values()))
        stamp = self._read.pop(path.name, None)
        if stamp is not None:
            self._remove(path, stamp)

    def _remove(self, path: Path, stamp: Stamp) -> None:
        try:
            if _stamp(path) != stamp:
                return
            path.unlink()
        except FileNotFoundError:
            pass
        except (
            OSError
        ):  # open elsewhere, or a folder that may only be read: the file is known, and left alone
            self._taken[path.name] = stamp
            return
        self._seen.pop(path.name, None)
        self._taken.pop(path.name, None)

    def _beat(self) -> None:
        """Tell other programs of the last look; a full disk must not stop the looking."""
        looked = self.state.looked.isoformat() if self.state.looked else None
        try:
            self._heartbeat.parent.mkdir(parents=True, exist_ok=True)
            write_new(self._heartbeat, json.dumps({"looked": looked, "trouble": self.state.trouble}).encode())
        except OSError:
            return


def _stamp(path: Path) -> Stamp:
    stat = path.stat()
    return stat.st_size, stat.st_mtime_ns
