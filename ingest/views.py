"""What the page of one process and the page of one part show."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from datetime import datetime
from typing import Any

import numpy as np
import pandas as pd

from ingest.assessment import ProcessState, event_fact
from ingest.board import (
    BoardRow,
    EventFact,
    MonitorTrace,
    PartPoint,
    PartReading,
    PartView,
    PassFact,
    ProcessView,
    SignalFact,
    SpecFact,
)
from ingest.calendar import Calendar
from ingest.limits import in_force
from ingest.moment import Moment
from ingest.plan import Plan
from ingest.reasons import explain


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
        tool=_text(r["tool"]),
        wear=None if r["wear"] is None or math.isnan(r["wear"]) else float(r["wear"]),
        aside=_text(r["aside"]),
        first_verdict=first if isinstance(first, str) and first != r["verdict"] else None,
    )


def _text(value: Any) -> str | None:
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


def part_view(moment: Moment, serial: str) -> PartView | None:
    """Everything known of one part; None when nobody has heard of the serial."""
    plan, calendar, resolved = moment.known.plan, moment.calendar, moment.resolved
    rows = resolved.readings[
        (resolved.readings["serial"] == serial) & (resolved.readings["role"] != "checks")
    ]
    passes = resolved.passes[resolved.passes["serial"] == serial].sort_values(
        ["begun", "pass"], kind="stable"
    )
    if not len(rows) and not len(passes):
        return None
    family = next((resolved.families[int(f)] for f in rows["fam"] if f >= 0), None)
    if family is None:
        family = next((f for f in passes["family"] if isinstance(f, str)), None)
    rows = rows.sort_values(["when", "seq", "line"], na_position="first", kind="stable")
    processes = sorted(
        (process, int(n))
        for process, facts in moment.facts.processes.items()
        for part, n in zip(facts.parts["part"], facts.parts["pass_no"], strict=True)
        if part == serial
    )
    return PartView(
        serial=serial,
        family=family,
        family_name=plan.families[family].name if family in plan.families else None,
        passes=tuple(_pass(plan, calendar, p) for p in passes.to_dict("records")),
        readings=tuple(_reading(moment, r) for r in rows.to_dict("records")),
        processes=tuple(processes),
    )


def _pass(plan: Plan, calendar: Calendar, p: Mapping[Any, Any]) -> PassFact:
    machine, operation = p["machine"] or "", p["operation"]
    return PassFact(
        machine=machine,
        machine_name=plan.machines[machine].name if machine in plan.machines else machine,
        operation=operation,
        operation_name=plan.operations[operation].name if operation in plan.operations else operation,
        pass_no=int(p["pass"]),
        tool=_text(p["tool"]),
        started=_local(calendar, p["started"]),
        ended=_local(calendar, p["ended"]),
        note=_text(p["note"]),
    )


def _local(calendar: Calendar, when: Any) -> datetime | None:
    return None if pd.isna(when) else calendar.local(pd.Timestamp(when).to_pydatetime())


def _reading(moment: Moment, r: Mapping[Any, Any]) -> PartReading:
    plan, resolved = moment.known.plan, moment.resolved
    feature = plan.features.get(r["feature"])
    code = int(r["fam"])
    family = resolved.families[code] if code >= 0 else None
    limits = None
    if feature is not None and family is not None:
        limits = in_force(plan, feature.key, resolved.families, np.array([code]), np.array([int(r["day"])]))
    target, lower, upper = (
        (_known(limits.target[0]), _known(limits.lower[0]), _known(limits.upper[0]))
        if limits
        else (None,) * 3
    )
    value = float(r["value"])
    out = None
    if r["status"] in ("used", "repeat") and feature is not None and r["op"] == feature.operation:
        judged = abs(value) if feature.judge == "absolute" else value
        out = "above" if upper is not None and judged > upper else None
        out = "below" if lower is not None and judged < lower else out
    reason, remedy = explain(plan, {**r, "family_key": family})
    return PartReading(
        feature=r["feature"],
        feature_name=feature.name if feature is not None else r["feature"],
        machine=_text(r["on"]),
        operation=_text(r["op"]),
        pass_no=int(r["pass_no"]) or None,
        position=r["position"],
        value=value,
        deviation=None if target is None else value - target,
        raw=r["raw"],
        raw_unit=r["raw_unit"],
        time=moment.calendar.local(pd.Timestamp(r["time"]).to_pydatetime()),
        corrected_time=moment.calendar.local(pd.Timestamp(r["when"]).to_pydatetime()),
        gauge=_text(r["gauge"]),
        operator=_text(r["operator"]),
        tool=_text(r["tool"]),
        part_temp=_known(r["part_temp"]),
        gauge_temp=_known(r["gauge_temp"]),
        note=_text(r["note"]),
        status=r["status"],
        reason=reason,
        remedy=remedy,
        lower=lower,
        upper=upper,
        out=out,
        receipt=int(r["receipt"]),
        line=int(r["line"]),
        col=r["col"],
        display=feature.display if feature is not None else r["raw_unit"],
        decimals=feature.decimals if feature is not None else 3,
    )


def _known(value: Any) -> float | None:
    return None if value is None or pd.isna(value) else float(value)
