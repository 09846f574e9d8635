"""What can be wrong with a plan, a file, a row or a cell, told so that a person can mend it."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Problem:
    """One thing that is wrong, where it stands and what to do about it.

    Attributes
    ----------
    file : str
        Name of the plan or export.
    line : int or None
        Line as an editor counts it, from 1; None when no single line is to blame.
    column : str or None
        Dotted key in a plan, column name in an export; None for the whole line or file.
    kind : str
        Short machine-readable reason, e.g. ``bad_number``.
    text : str
        What stands there, unchanged.
    reason : str
        What is wrong and what would have been legal.
    remedy : str
        What to do next.
    """

    file: str
    line: int | None
    column: str | None
    kind: str
    text: str
    reason: str
    remedy: str

    def __str__(self) -> str:
        place = self.file if self.line is None else f"{self.file}:{self.line}"
        column = f" {self.column}:" if self.column else ""
        return f"{place}:{column} {self.reason} {self.remedy}".rstrip()


@dataclass(frozen=True)
class Complaint:
    """Why one cell or row cannot be used, before file and line are known."""

    kind: str
    reason: str
    remedy: str

    def at(self, file: str, line: int, column: str | None, text: str) -> Problem:
        """Return the problem this complaint is at a given place."""
        return Problem(file, line, column, self.kind, text, self.reason, self.remedy)


class PlanError(Exception):
    """The plan cannot be used; every problem found is listed.

    Attributes
    ----------
    problems : list of Problem
        In the order of the lines they stand on.
    """

    def __init__(self, problems: list[Problem]) -> None:
        self.problems = sorted(problems, key=lambda p: (p.line or 0, p.column or ""))
        super().__init__("\n".join(str(p) for p in self.problems))


class StoreError(Exception):
    """The store cannot be opened or used; the message is one sentence for a person."""


class ShopBusy(Exception):  # noqa: N818 - a state of the shop, not a fault
    """Another process owns the shop folder.

    Attributes
    ----------
    pid : int or None
        Process that holds the lock, if it could be read.
    """

    def __init__(self, folder: str, pid: int | None) -> None:
        self.pid = pid
        holder = f"process {pid}" if pid is not None else "another process"
        super().__init__(f"The shop folder {folder} is in use by {holder}; only one process may own it.")
