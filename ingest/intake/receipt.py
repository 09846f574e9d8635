"""What comes in and what the person gets for it: a file, and the receipt of that file."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime
from typing import Literal

Status = Literal["taken", "waiting", "refused"]


@dataclass(frozen=True)
class IncomingFile:
    """A file as received: its name, shown as text only and never used as a path, and its bytes."""

    name: str
    data: bytes


@dataclass(frozen=True)
class Tally:
    """Lines (or cells) of a file by what became of them; the parts always add up to `total`."""

    total: int = 0
    stored: int = 0
    partly: int = 0
    known: int = 0
    set_aside: int = 0
    blank: int = 0

    @property
    def balances(self) -> bool:
        """Whether nothing is missing and nothing is counted twice."""
        return self.total == self.stored + self.partly + self.known + self.set_aside + self.blank


@dataclass(frozen=True)
class Receipt:
    """What became of one file.

    Attributes
    ----------
    id : int
        Rising in the order of arrival.
    known_at : datetime
        When the shop knew it, zone-less UTC.
    status : str
        ``taken``; ``waiting`` for a layout that knows it; ``refused``: nothing in it can be read.
    lines, cells : Tally
        Lines of the file counted as line ends in its text; cells are the value columns of its rows.
    reason, message : str or None
        Kind and sentence (what is wrong, what to do) of a file that waits or was refused.
    warnings : mapping of str to int
        What was noticed but changed nothing, with the number of lines it concerns.
    already : bool
        The same bytes had been taken in before; this is the first receipt again.
    """

    id: int
    sha256: str
    name: str
    bytes: int
    known_at: datetime
    layout: str | None
    role: str | None
    status: Status
    lines: Tally
    cells: Tally
    reason: str | None
    message: str | None
    plan_sha: str
    warnings: Mapping[str, int] = field(default_factory=dict)
    released_by: int | None = None
    already: bool = False
