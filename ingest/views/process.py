"""What the page of one process shows."""

from __future__ import annotations

import math
from bisect import bisect_right
from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any

from ingest.answers.processes import (
    BoardRow,
    EventFact,
    MonitorTrace,
    PartPoint,
    ProcessView,
    SignalFact,
    SpecFact,
)
from ingest.assessing.assessment import ProcessState, event_fact
from ingest.assessing.blame import is_audit
from ingest.plans.calendar import Calendar
from ingest.plans.model import Plan

if TYPE_CHECKING:
    import pandas as pd

POINT_COLUMNS = (
    "idx", "serial", "pass", "time", "family", "n", "mean", "expected", "expected_se", "score", "verdict", "spread",
    "tool", "wear", "aside",
)  # fmt: skip
"""Columns of a part in the order of the fields of `PartPoint`."""


def columns_of(parts: pd.DataFrame) -> dict[str, list[Any]]:
    """Parts as `ingest.state.saving.part_rows` makes them, by column, as `process_view` wants them."""
    table = {str(name): parts[name].tolist() for name in parts.columns}
    return table | {"time": [when.to_pydatetime() for when in parts["time"]]}


def process_view(
    plan: Plan,
    calendar: Calendar,
    row: BoardRow,
    state: ProcessState,
    parts: Mapping[str, Sequence[Any]],
    signals: Sequence[SignalFact],
    events: Sequence[EventFact],
) -> ProcessView:
    """Put together the page of a process.

    Parameters
    ----------
    plan, calendar
    row : BoardRow
        Its row on the board.
    state : ProcessState
    parts : mapping of str to sequence
        Columns of `ingest.state.saving.part_rows`, and `first_verdict` where one is kept; one entry a part.
    signals : sequence of SignalFact
        Newest first, withdrawn ones included.
    events : sequence of EventFact
        Oldest first.
    """
    points = _points(parts, calendar)
    times = sorted(point.time for point in points)
    statistics, limits = (zip(*parts[name], strict=True) for name in ("statistic", "statistic_limit"))
    return ProcessView(
        row=row,
        parts=points,
        monitors=tuple(map(MonitorTrace, state.monitors, statistics, limits)),
        signals=tuple(signals),
        events=tuple((bisect_right(times, e.time), e) for e in events),
        positions=state.positions,
        position_offsets=state.position_offsets,
        families=state.families,
        specifications=_specifications(plan, state),
        part_sd=state.part_sd,
        notes=state.notes,
        plan_sha=state.plan_sha,
    )


def _points(table: Mapping[str, Sequence[Any]], calendar: Calendar) -> tuple[PartPoint, ...]:
    firsts = table.get("first_verdict") or [None] * len(table["idx"])
    return tuple(
        PartPoint(
            index, serial, pass_no, calendar.local(time), family, n, mean, expected, se, score, verdict,
            tuple(spread), text_or_none(tool), None if math.isnan(wear) else wear, text_or_none(aside),
            first if isinstance(first, str) and first != verdict else None,
        )
        for index, serial, pass_no, time, family, n, mean, expected, se, score, verdict, spread, tool, wear,
            aside, first
        in zip(*(table[name] for name in POINT_COLUMNS), firsts, strict=True)
    )  # fmt: skip


def text_or_none(value: Any) -> str | None:
    """A text, or None for whatever stands for a missing one in a frame."""
    return value if isinstance(value, str) else None


def _specifications(plan: Plan, state: ProcessState) -> tuple[SpecFact, ...]:
    """Specifications of the feature and of what is derived from it without being watched by itself."""
    if is_audit(plan, state.machine, state.operation):
        return ()
    keys = [state.feature] + [
        key for key, entry in plan.features.items() if entry.of == state.feature and not entry.monitor
    ]
    return tuple(
        SpecFact(
            feature=spec.feature,
            family=family,
            valid_from=spec.valid_from,
            target=spec.aim,
            lower=None if spec.lower is None else float(spec.lower),
            upper=None if spec.upper is None else float(spec.upper),
            absolute=plan.features[spec.feature].judge == "absolute",
        )
        for key in keys
        for spec in sorted(plan.specifications, key=lambda s: s.valid_from)
        if spec.feature == key
        for family in spec.families
        if family in state.families
    )


def events_on(plan: Plan, calendar: Calendar, events: pd.DataFrame) -> list[EventFact]:
    """Rows of `Known.events` as facts, oldest first."""
    return [event_fact(plan, calendar, row) for row in events.to_dict("records")]
