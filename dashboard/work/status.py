"""The board in a terminal: as text for people, as JSON for programs. The same bytes for the same facts."""

from __future__ import annotations

import json
from collections.abc import Sequence
from datetime import date
from typing import TYPE_CHECKING, Any

from dashboard.words.amounts import by_chance, day
from dashboard.words.same_fault import same_fault, same_fault_text
from dashboard.words.sentences import reason
from dashboard.words.states import look
from ingest.answers.processes import BoardRow

if TYPE_CHECKING:
    from ingest.plans.model import Plan


def _iso(when: date | None) -> str | None:
    return None if when is None else when.isoformat()


def as_records(rows: Sequence[BoardRow], plan: Plan) -> list[dict[str, Any]]:
    """The board as plain values, worst first; what is not known is None.

    Returns
    -------
    list of dict
        Keys: process, machine, operation, feature, state, since, change_from, chance_interval_days
        (days, one decimal), parts_left, unit (of parts_left), reason.
    """
    return [
        {
            "process": row.process,
            "machine": row.machine,
            "operation": row.operation,
            "feature": row.feature,
            "state": str(row.state),
            "since": _iso(row.since),
            "change_from": _iso(row.change_from),
            "chance_interval_days": (
                None if row.chance_interval_days is None else round(row.chance_interval_days, 1)
            ),
            "parts_left": row.parts_left,
            "unit": row.unit,
            "reason": reason(row, plan),
        }
        for row in rows
    ]


def as_json(rows: Sequence[BoardRow], plan: Plan) -> str:
    """The board as JSON, one record a line, so that two days can be compared with ``diff``."""
    lines = [json.dumps(record, ensure_ascii=False, allow_nan=False) for record in as_records(rows, plan)]
    return "[\n" + ",\n".join(lines) + "\n]" if lines else "[]"


def as_text(rows: Sequence[BoardRow], plan: Plan) -> str:
    """The board as text: two lines a process, the state first; a third where a row above shows the same fault."""
    if not rows:
        return "Nothing is measured yet: the plan names no process with a reading."
    wide = max(len(row.process) for row in rows)
    same = same_fault(rows, plan)
    lines = []
    for row in rows:
        since = f"since {day(row.since)}" if row.since else ""
        chance = by_chance(row.chance_interval_days) if row.open_signals else ""
        head = f"{look(row.state).word.upper():<16}  {row.process:<{wide}}  {since:<18}  {chance}"
        lines += [head.rstrip(), f"{'':<18}{reason(row, plan)}"]
        if row.process in same:
            lines.append(f"{'':<18}{same_fault_text(same[row.process])}")
    return "\n".join(lines)


def exit_code(rows: Sequence[BoardRow]) -> int:
    """1 while any signal is open, else 0."""
    return int(any(row.open_signals for row in rows))
