"""What was known at a moment: the stored rows and decisions up to a known-at cut, as frames."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import datetime
from functools import cached_property
from typing import TYPE_CHECKING, Any

from ingest.plans.model import Plan

if TYPE_CHECKING:
    import pandas as pd


@dataclass(frozen=True)
class Decision:
    """One line of the journal that still stands (an undone one is not among `Known.decisions`)."""

    line: int
    known_at: datetime
    who: str
    verified: bool
    kind: str
    body: dict[str, Any]


@dataclass(frozen=True)
class Known:
    """Everything the shop knew at a moment. All times are naive UTC, as the store keeps them.

    Attributes
    ----------
    plan : Plan
        The plan in force at the cut.
    readings, jobs, events : DataFrame
        Rows of the store whose receipt (or journal line) was known by the cut. Readings carry `sha` and
        `layout` of their file and jobs `sha`; nothing downstream may depend on a database number.
    decisions : tuple of Decision
        Standing decisions in the order of the journal.
    undone : frozenset of int
        Journal lines that a later line took back.
    """

    plan: Plan
    readings: pd.DataFrame
    jobs: pd.DataFrame
    events: pd.DataFrame
    decisions: tuple[Decision, ...]
    undone: frozenset[int]

    @cached_property
    def asides(self) -> dict[tuple[str | None, str, int], str]:
        """Reason for each part set aside, by (process or None for all, serial, pass)."""
        found: dict[tuple[str | None, str, int], str] = {}
        for entry in self.decisions:
            if entry.kind not in ("set_part_aside", "restore_part"):
                continue
            body = entry.body
            key = (body.get("process"), str(body["serial"]), int(body["pass"]))
            if entry.kind == "set_part_aside":
                found[key] = str(body["reason"])
            else:
                found.pop(key, None)
        return found

    @cached_property
    def verdicts_on_rows(self) -> dict[tuple[str, int, str | None], str]:
        """`released`, `rejected` or `fixed` by (file hash, line, column or None for the whole line)."""
        found: dict[tuple[str, int, str | None], str] = {}
        for entry in self.decisions:
            body = entry.body
            if entry.kind in ("release_row", "reject_row"):
                verdict = "released" if entry.kind == "release_row" else "rejected"
                for line, col in cells_of(body):
                    found[(str(body["sha256"]), line, col)] = verdict
            elif entry.kind == "fix_rows":
                found |= {(str(body["sha256"]), int(line), None): "fixed" for line in body["lines"]}
                found |= {(str(sha), int(line), col): "rejected" for sha, line, col in body["instead"]}
        return found


def cells_of(body: Mapping[str, Any]) -> list[tuple[int, str | None]]:
    """Line and column of everything that a decision on rows of one file names."""
    if "cells" in body:
        return [(int(line), col) for line, col in body["cells"]]
    return [(int(body["line"]), body.get("col"))]


def standing(lines: list[Decision]) -> tuple[tuple[Decision, ...], frozenset[int]]:
    """Decisions that still stand, and the numbers of those taken back by an ``undo`` line.

    A fix that was taken back stays among them as ``withdrawn_fix``: its rows are stored and must not count.
    """
    undone = frozenset(int(d.body["line"]) for d in lines if d.kind == "undo")
    kept = [
        replace(d, kind="withdrawn_fix") if d.line in undone else d
        for d in lines
        if d.kind == "fix_rows" or (d.kind != "undo" and d.line not in undone)
    ]
    return tuple(kept), undone


def decision(line: int, known_at: datetime, who: str, verified: bool, kind: str, body: str) -> Decision:
    """A decision from its row in the store, with its body read from JSON."""
    return Decision(line, known_at, who, verified, kind, json.loads(body))


def decision_title(plan: Plan, line: Decision) -> tuple[str, str]:
    """What a decision was, and its reason, as words for the log."""
    body = line.body
    part = f"part {body.get('serial')}, pass {body.get('pass')}"
    process = body.get("process")
    name = _process_name(plan, process) if process else "all processes"
    row = _rows_told(body)
    reason = str(body.get("reason") or "")
    said = {
        "plan_accepted": ("Plan accepted", f"plan {str(body.get('sha256'))[:12]}"),
        "undo": (f"Line {body.get('line')} of the log taken back", reason),
        "close_signal": (
            f"Signal of {name} closed: {body.get('outcome')}",
            f"{body.get('cause') or 'no cause given'} ({body.get('monitor')}, raised by {body.get('serial')})",
        ),
        "set_part_aside": (f"{part} set aside in {name}".capitalize(), reason),
        "restore_part": (f"{part} counts again in {name}".capitalize(), reason),
        "release_row": (f"Reading released: {row}", reason),
        "reject_row": (f"Reading rejected: {row}", reason),
        "correct_rows": (f"Corrected to {body.get('field')} {body.get('to')}: {row}", reason),
        "fix_rows": (
            f"{'Used as written' if body.get('believed') else 'Written anew by hand'}: {row}",
            reason,
        ),
    }
    return said.get(line.kind, (line.kind.replace("_", " "), reason))


def _rows_told(body: Mapping[str, Any]) -> str:
    """The rows of a file that a decision is about, in words."""
    of_file = f" of {body['name']}" if body.get("name") else ""
    if "cells" in body:
        lines = sorted({int(line) for line, _ in body["cells"]})
    elif "lines" in body:
        lines = body["lines"]
    else:
        lines = [body.get("line")]
    column = f", column {body['col']}" if body.get("col") else ""
    if lines is None:
        return f"every line{column}{of_file}"
    if len(lines) == 1:
        return f"line {lines[0]}{column}{of_file}"
    return f"{len(lines)} lines{column}{of_file}"


def _process_name(plan: Plan, process: str) -> str:
    machine, feature = process.split("/")[0], process.rsplit("/", 1)[-1]
    entry = plan.features.get(feature)
    return f"{entry.name if entry else feature} on {machine}"
