"""What the page of one process shows."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from datetime import datetime
from typing import Any

import pandas as pd

from ingest.assessment import ProcessState, event_fact
from ingest.board import (
    BoardRow,
    EventFact,
    MonitorTrace,
    PartPoint,
    ProcessView,
    SignalFact,
    SpecFact,
)
from ingest.calendar import Calendar
from ingest.plan import Plan


def process_view(
    plan: Plan,
    calendar: Calendar,
    row: BoardRow,
    state: ProcessState,
    parts: pd.DataFrame,
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
    parts : DataFrame
        As `ingest.saving.part_rows` makes them, with `first_verdict`.
    signals : sequence of SignalFact
        Newest first, withdrawn ones included.
    events : sequence of EventFact
        Oldest first.
    """
    records = parts.to_dict("records")
    times = [calendar.local(r["time"].to_pydatetime()) for r in records]
    points = tuple(_point(r, when) for r, when in zip(records, times, strict=True))
    return ProcessView(
        row=row,
        parts=points,
        monitors=tuple(
            MonitorTrace(
                name,
                tuple(float(r["statistic"][i]) for r in records),
                tuple(float(r["statistic_limit"][i]) for r in records),
            )
            for i, name in enumerate(state.monitors)
        ),
        signals=tuple(signals),
        events=tuple((sum(t <= e.time for t in times), e) for e in events),
        positions=state.positions,
        position_offsets=state.position_offsets,
        families=state.families,
        specifications=_specifications(plan, state),
        part_sd=state.part_sd,
        notes=state.notes,
        plan_sha=state.plan_sha,
    )


def _point(r: Mapping[Any, Any], when: datetime) -> PartPoint:
    first = r.get("first_verdict")
    return PartPoint(
        index=int(r["idx"]),
        serial=r["serial"],
        pass_no=int(r["pass"]),
        time=when,
        family=r["family"],
        n=int(r["n"]),
        mean=float(r["mean"]),
        expected=float(r["expected"]),
        expected_se=float(r["expected_se"]),
        score=float(r["score"]),
        verdict=r["verdict"],
        spread=tuple(float(v) for v in r["spread"]),
        tool=text_or_none(r["tool"]),
        wear=None if r["wear"] is None or math.isnan(r["wear"]) else float(r["wear"]),
        aside=text_or_none(r["aside"]),
        first_verdict=first if isinstance(first, str) and first != r["verdict"] else None,
    )


def text_or_none(value: Any) -> str | None:
    """A text, or None for whatever stands for a missing one in a frame."""
    return value if isinstance(value, str) else None


def _specifications(plan: Plan, state: ProcessState) -> tuple[SpecFact, ...]:
    """Specifications of the feature and of what is derived from it without being watched by itself."""
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
