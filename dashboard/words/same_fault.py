"""Rows of the list that show one fault: said, so that nobody looks for two."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from dashboard.words.advice import look_at
from ingest.answers.processes import BoardRow

if TYPE_CHECKING:
    from ingest.plans.model import Plan


def same_fault(rows: Sequence[BoardRow], plan: Plan) -> dict[str, BoardRow]:
    """Rows that probably show a fault which a row above them shows already.

    Parameters
    ----------
    rows : sequence of BoardRow
        The list, worst first.
    plan : Plan

    Returns
    -------
    dict of str to BoardRow
        By process: the first row above it of the same machine that comes from the same readings or asks for
        the same to be looked at. Only rows with an open signal or a block out of tolerance.
    """
    heads: dict[tuple[str, str], BoardRow] = {}
    found: dict[str, BoardRow] = {}
    for row in rows:
        live = row.open_signals
        if not live and row.out is None:
            continue
        entry = plan.features.get(row.feature)
        made_of = (entry.of if entry is not None else None) or row.feature
        marks = [
            (row.machine, f"of {made_of}"),
            (row.machine, look_at(row, plan, live[-1] if live else None)),
        ]
        head = next((heads[mark] for mark in marks if mark in heads), None)
        if head is not None:
            found[row.process] = head
        for mark in marks:
            heads.setdefault(mark, head or row)
    return found


def same_fault_text(head: BoardRow) -> str:
    """A short sentence for a row whose fault a row above shows already."""
    return f"Probably the same fault as {head.feature_name} above."
