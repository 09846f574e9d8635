"""What is told of files, of rows that do not count, and of what happened; times as in `ingest.answers.processes`."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime


@dataclass(frozen=True)
class SourceRow:
    """The very line of a file in the archive that a reading came from."""

    receipt: int
    name: str
    sha256: str
    line: int
    text: str
    before: tuple[str, ...]
    after: tuple[str, ...]
    """Up to three lines on either side."""


@dataclass(frozen=True)
class ReceiptFact:
    """One file and how its lines balance: lines = stored + partly + known + set_aside + blank."""

    id: int
    name: str
    sha256: str
    known_at: datetime
    bytes: int
    layout: str | None
    role: str | None
    status: str
    """taken | waiting | refused."""
    lines: int
    stored: int
    partly: int
    known: int
    set_aside: int
    blank: int
    reason: str | None
    warnings: tuple[str, ...] = ()
    held: int = 0
    """Readings stored from it that do not count for now (waiting or in doubt); see `Shop.set_aside_rows`."""


@dataclass(frozen=True)
class SetAsideFact:
    """A row or cell that does not count, why, and what to do about it."""

    receipt: int
    name: str
    line: int
    col: str | None
    text: str
    kind: str
    reason: str
    remedy: str
    releases_itself: bool
    """True for a row that waits for an answer from another file or the plan."""
    suggestion: str | None = None
    """For example the serial it probably means."""
    stored: bool = True
    """False for what could not be read or contradicts; it counts only once a person has written it anew."""


@dataclass(frozen=True)
class Question:
    """Something odd that did not stop anything, for a person to look at."""

    kind: str
    text: str
    receipt: int | None = None
    line: int | None = None


@dataclass(frozen=True)
class LogEntry:
    """One line of the log: what was done, noticed or decided, when, by whom and why."""

    when: datetime
    known_at: datetime
    who: str | None
    verified: bool
    kind: str
    """event | signal | cleared | back | withdrawn | decision | file."""
    title: str
    detail: str = ""
    process: str | None = None
    journal_line: int | None = None
    receipt: int | None = None
    line: int | None = None
    undone: bool = False
