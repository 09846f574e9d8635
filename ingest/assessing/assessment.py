"""Assessing processes and turning what `spc` says into facts with names, days and events."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, timedelta
from typing import TYPE_CHECKING, Any

import numpy as np

from ingest.answers.processes import BeyondFact, ClosingFact, DoubtFact, EventFact, OutFact, SignalFact
from ingest.answers.wear import EvidenceFact, LeftFact
from ingest.assessing.budget import month_of
from ingest.plans.calendar import Calendar, microseconds
from ingest.plans.model import Plan
from ingest.readings.known import Known

if TYPE_CHECKING:
    from ingest.assessing.budget import Pace
    from ingest.assessing.facts import ProcessFacts, ShopFacts
    from spc.process import Assessment, Signal

# The list is read from stored states: what computes and frames is loaded when something is assessed.

NEEDED = 10
"""Scored parts from which a process is no longer said to be learning."""
RECENT = 40
BAND = 3.0
EVENTS_BEFORE = timedelta(days=7)
"""How long before a change an event may lie and still be shown beside the signal."""


@dataclass(frozen=True)
class ProcessState:
    """What is stored of a process: all that the board needs but the clock and the other processes."""

    process: str
    machine: str
    operation: str
    feature: str
    signals: tuple[SignalFact, ...]
    """All but withdrawn ones, newest first."""
    out: OutFact | None
    last_time: str
    """ISO, shop time."""
    last_serial: str
    last_day: date
    scored: int
    recent: tuple[float, ...]
    band: tuple[float, float] | None
    usual_gap: float | None
    chance_days: float | None
    """Of the strongest monitor now."""
    gauges: dict[str, int]
    """Latest use of each gauge. [microseconds since 1970, UTC]"""
    doubt: DoubtFact | None
    doubt_from: int
    """Start of the change that puts the gauge in doubt. [microseconds since 1970, UTC]"""
    monitors: tuple[str, ...]
    positions: tuple[str, ...]
    position_offsets: tuple[float, ...]
    families: tuple[str, ...]
    part_sd: float
    notes: tuple[str, ...]
    plan_sha: str
    beyond: BeyondFact | None = None
    left: LeftFact | None = None
    evidence: tuple[EvidenceFact, ...] = ()
    apart: tuple[str, ...] = ()
    """What the parts say of the cause of the leading open signal, and what cannot be told apart; see
    `ingest.assessing.causes`."""


@dataclass(frozen=True)
class AssessedProcess:
    """A process with its assessment and its state."""

    facts: ProcessFacts
    assessment: Assessment
    state: ProcessState
    verdicts: tuple[str, ...]


def assess_process(
    known: Known, calendar: Calendar, shop: ShopFacts, process: str, families: tuple[str, ...]
) -> AssessedProcess:
    """Assess one process; a pure function of what is known.

    Parameters
    ----------
    known : Known
    calendar : Calendar
    shop : ShopFacts
        Of the same moment.
    process : str
    families : tuple of str
        Keys behind the family codes.

    Returns
    -------
    AssessedProcess
    """
    from ingest.assessing.causes import evidence_of
    from ingest.assessing.forecast import forecast
    from spc.score.assess import assess

    plan = known.plan
    facts = shop.processes[process]
    result = assess(facts.data, facts.options, facts.cures, facts.closings)
    events = tuple(event_fact(plan, calendar, row) for row in facts.events.to_dict("records"))
    signals = tuple(
        _signal(known, calendar, shop.pace, facts, signal, events)
        for signal in sorted(result.signals, key=lambda s: (-s.first, s.monitor, s.stratum))
    )
    doubt, doubt_from = _doubt(plan, facts, result, signals)
    parts, log = facts.parts, facts.options.log
    last = len(parts) - 1
    days = [date.fromordinal(int(d) + _EPOCH) for d in parts["day"].to_numpy()[-2000:]]
    mean = np.exp(result.mean) if log else result.mean
    month = int(month_of(facts.data.day[-1:])[0])
    left = forecast(plan, calendar, facts, result, families)
    evidence, apart = evidence_of(plan, facts, result, left, families)
    state = ProcessState(
        process=process,
        machine=facts.machine,
        operation=facts.operation,
        feature=facts.feature,
        signals=signals,
        out=facts.out,
        last_time=calendar.local(parts["time"].iloc[last].to_pydatetime()).isoformat(),
        last_serial=str(parts["part"].iloc[last]),
        last_day=days[-1],
        scored=int(result.scored),
        recent=tuple(float(v) for v in mean[-RECENT:]),
        band=_band(result, log),
        usual_gap=calendar.usual_gap(days),
        chance_days=shop.pace.chance_days(float(result.strongest), month) if result.strongest > 1 else None,
        gauges=facts.gauges,
        doubt=doubt,
        doubt_from=doubt_from,
        monitors=tuple(_monitor_name(m.name, m.stratum) for m in result.monitors),
        positions=facts.table.slots.positions,
        position_offsets=tuple(float(v) for v in result.position_offsets),
        families=tuple(families[int(f)] for f in np.unique(facts.data.family)),
        part_sd=float(result.part_sd),
        notes=tuple(result.notes),
        plan_sha=plan.sha256,
        beyond=facts.beyond,
        left=left,
        evidence=evidence,
        apart=apart,
    )
    return AssessedProcess(facts, result, state, _verdicts(facts, result))


_EPOCH = date(1970, 1, 1).toordinal()


def _monitor_name(name: str, stratum: int) -> str:
    return f"{name} {stratum + 1}" if name == "spread within part" else name


def event_fact(plan: Plan, calendar: Calendar, row: Mapping[Any, Any]) -> EventFact:
    """An event as the pages are told about it, from a row of `Known.events`."""
    import pandas as pd

    kind = str(row["kind"])
    return EventFact(
        time=calendar.local(pd.Timestamp(row["time"]).to_pydatetime()),
        target=str(row["target"]),
        kind=kind,
        kind_name=plan.events[kind].name if kind in plan.events else kind,
        tool=_text(row["tool"]),
        note=_text(row["note"]),
        cost=_number(row["cost"]),
        down_hours=_number(row["down_hours"]),
        who=_text(row["who"]),
        verified=bool(row["verified"]) if not pd.isna(row["verified"]) else False,
        receipt=_whole(row["receipt"]),
        line=_whole(row["line"]),
        journal_line=_whole(row["journal_line"]),
    )


def _text(value: Any) -> str | None:
    return value if isinstance(value, str) else None


def _missing(value: Any) -> bool:
    import pandas as pd

    return value is None or bool(pd.isna(value))


def _number(value: Any) -> float | None:
    return None if _missing(value) else float(value)


def _whole(value: Any) -> int | None:
    return None if _missing(value) else int(value)


def _band(result: Assessment, log: bool) -> tuple[float, float] | None:
    """Where the next part mean is expected, going by what was expected of the last one that had a score."""
    known = np.flatnonzero(np.isfinite(result.expected) & np.isfinite(result.expected_se))
    if not len(known):
        return None
    centre, se = float(result.expected[known[-1]]), float(result.expected_se[known[-1]])
    low, high = centre - BAND * se, centre + BAND * se
    return (math.exp(low), math.exp(high)) if log else (low, high)


def _verdicts(facts: ProcessFacts, result: Assessment) -> tuple[str, ...]:
    verdict = np.full(len(facts.parts), "in", dtype=object)
    verdict[~np.isfinite(result.score)] = "learning"
    verdict[result.single_flag] = "check"
    for signal in result.signals:
        end = len(verdict) if signal.cleared_at is None else signal.cleared_at
        verdict[signal.first : end] = "signal"
    verdict[~facts.data.learn] = "aside"
    return tuple(verdict)


def _signal(
    known: Known,
    calendar: Calendar,
    pace: Pace,
    facts: ProcessFacts,
    signal: Signal,
    events: tuple[EventFact, ...],
) -> SignalFact:
    parts, plan = facts.parts, known.plan

    def day(index: int) -> date:
        return date.fromordinal(int(facts.data.day[min(max(index, 0), len(parts) - 1)]) + _EPOCH)

    first = parts.iloc[signal.first]
    size, log = float(signal.size), facts.options.log
    if signal.monitor != "level":
        ratio = size / signal.part_sd if signal.part_sd > 0 else math.nan
        size, log = (math.log(ratio) if ratio > 0 else math.nan), True
    begin = calendar.local(parts["time"].iloc[max(signal.change_range[0], 0)].to_pydatetime()) - EVENTS_BEFORE
    axes = plan.axes_of(facts.feature)
    axis = (
        axes[signal.stratum]
        if signal.monitor == "spread within part" and signal.stratum < len(axes)
        else None
    )
    life = facts.renewal_unit is not None and np.isfinite(first["wear"])
    serial, pass_no = str(first["part"]), int(first["pass_no"])
    return SignalFact(
        process=facts.process,
        monitor=signal.monitor,
        status=signal.status,
        direction=int(signal.direction),
        size=size,
        log=log,
        part_sd=float(signal.part_sd),
        since=day(signal.first),
        since_time=calendar.local(first["time"].to_pydatetime()),
        change_from=day(signal.change_range[0]),
        change_to=day(signal.change_range[1]),
        changed=day(signal.change_from),
        change_parts=signal.first - signal.change_from + 1,
        serial=serial,
        pass_no=pass_no,
        run_length=float(signal.run_length),
        chance_days=pace.chance_days(
            float(signal.run_length), int(month_of(facts.data.day[[signal.first]])[0])
        ),
        within=axis,
        stratum=signal.stratum,
        wear=float(first["wear"]) if life else None,
        wear_unit=facts.renewal_unit if life else None,
        tool=_text(first["tool"]),
        cure=events[signal.cure] if signal.cure is not None else None,
        cleared_on=day(signal.cleared_at) if signal.cleared_at is not None else None,
        events=tuple(e for e in events if e.time >= begin),
        closing=_closing(known, calendar, facts.process, signal.monitor, serial, pass_no)
        if signal.status == "closed"
        else None,
    )


def _closing(
    known: Known, calendar: Calendar, process: str, monitor: str, serial: str, pass_no: int
) -> ClosingFact | None:
    for entry in reversed(known.decisions):
        body = entry.body
        if entry.kind == "close_signal" and (
            body.get("process"), body.get("monitor"), str(body["serial"]), int(body["pass"])
        ) == (process, monitor, serial, pass_no):  # fmt: skip
            return ClosingFact(
                outcome=str(body["outcome"]),
                cause=str(body.get("cause", "")),
                who=entry.who,
                when=calendar.local(entry.known_at),
                journal_line=entry.line,
            )
    return None


def _doubt(
    plan: Plan, facts: ProcessFacts, result: Assessment, signals: tuple[SignalFact, ...]
) -> tuple[DoubtFact | None, int]:
    """A gauge whose checks or audits have moved and that nobody has mended since."""
    audit = facts.operation in plan.gauges
    if facts.machine not in plan.gauges or not (audit or plan.features[facts.feature].kind == "check"):
        return None, 0
    for signal, fact in zip(
        sorted(result.signals, key=lambda s: (-s.first, s.monitor, s.stratum)), signals, strict=True
    ):
        if signal.monitor != "level" or signal.status != "open":
            continue
        start = facts.parts["time"].iloc[max(signal.change_from, 0)]
        mending = [k for k, e in plan.events.items() if e.effect != "none"]
        mended = (facts.events["time"] > start) & facts.events["kind"].isin(mending)
        if not mended.any():
            doubt = DoubtFact(facts.machine, plan.gauges[facts.machine].name, fact.since, facts.process)
            return doubt, microseconds(start)
    return None, 0
