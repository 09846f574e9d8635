"""Times in which a gauge was off: since when, until what, and the parts it measured meanwhile."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Any

import numpy as np
import pandas as pd

from ingest.answers.gauges import Blind, CheckPoint, Episode, Suspect
from ingest.answers.processes import EventFact, SignalFact
from ingest.assessing.assessment import AssessedProcess, event_fact
from ingest.assessing.blame import is_audit
from ingest.plans.limits import HAIR, in_force
from ingest.state.moment import Moment
from spc.errors import SpcError
from spc.gauges.error import ErrorCourse, error_course, step_between
from spc.mean_squares import Ranged

LOOK_BACK = timedelta(days=180)
"""Checks this long before the start tell where the gauge stood before."""
COMPARED = 60
"""Parts before the start with which those after it are compared."""


@dataclass
class _Span:
    """A time in which a gauge was off, while its signals are being gathered."""

    first: date
    latest: date
    """First and last day on which it may have begun."""
    changed: date
    since: date
    until: date | None
    signals: list[SignalFact]
    sources: list[str]
    ended_by: EventFact | None


def gauge_events(moment: Moment, gauge: str) -> tuple[EventFact, ...]:
    """Events on a gauge that change it, oldest first."""
    plan, events = moment.known.plan, moment.known.events
    changing = [k for k, e in plan.events.items() if e.effect != "none"]
    mine = events[(events["target"] == gauge) & events["kind"].isin(changing)].sort_values(
        "time", kind="stable"
    )
    return tuple(event_fact(plan, moment.calendar, row) for row in mine.to_dict("records"))


def spans_off(moment: Moment) -> dict[str, list[_Span]]:
    """Times in which each gauge was off, oldest first, from the level signals of checks and audits together.

    A signal that a person closed with "no cause found" is none by itself; where another tells of the same gauge at the
    same time it bears that one out, and tells of its start. Two gauges that drifted apart count against the one that
    judges parts, unless the checks of the other went off at the time.
    """
    plan = moment.known.plan
    found: dict[str, list[_Span]] = {}
    audits: list[tuple[str, str, SignalFact]] = []
    unexplained: list[tuple[tuple[str, ...], SignalFact]] = []
    for process, facts in moment.facts.processes.items():
        audit = is_audit(plan, facts.machine, facts.operation)
        if not (audit or (facts.machine in plan.gauges and plan.features[facts.feature].kind == "check")):
            continue  # only those of gauges are assessed: a page of a part shall not wait for all the others
        state = moment.assessed(process).state
        for signal in reversed(state.signals):
            dropped = signal.closing is not None and signal.closing.outcome == "no cause found"
            if signal.monitor != "level" or signal.status == "withdrawn":
                continue
            if dropped:
                told = (state.machine, state.operation) if audit else (state.machine,)
                unexplained.append((told, signal))
            elif audit:
                audits.append((state.machine, state.operation, signal))
            else:
                _add(moment, found, state.machine, signal)
    own = {gauge: list(spans) for gauge, spans in found.items()}
    for gauge, reference, signal in audits:
        blamed = gauge
        if not _overlaps(own.get(gauge, ()), signal) and _overlaps(own.get(reference, ()), signal):
            blamed = reference
        _add(moment, found, blamed, signal)
    for told, signal in unexplained:
        gauge = next((g for g in told if _overlaps(found.get(g, ()), signal)), None)
        if gauge is not None:
            _add(moment, found, gauge, signal)
    for spans in found.values():
        spans.sort(key=lambda s: s.first)
    return found


def _overlaps(spans: Sequence[_Span], signal: SignalFact) -> bool:
    return any(s.first <= signal.since and (s.until is None or s.until >= signal.change_from) for s in spans)


def _add(moment: Moment, found: dict[str, list[_Span]], gauge: str, signal: SignalFact) -> None:
    ended = next((e for e in gauge_events(moment, gauge) if e.time.date() > signal.changed), None)
    until = ended.time.date() if ended is not None else signal.cleared_on
    if until is None and signal.closing is not None:
        until = signal.closing.when.date()
    spans = found.setdefault(gauge, [])
    for span in spans:
        if span.first <= (until or date.max) and signal.change_from <= (span.until or date.max):
            span.first = min(span.first, signal.change_from)
            span.latest = max(span.latest, signal.change_to)
            span.changed = min(span.changed, signal.changed)
            span.since = min(span.since, signal.since)
            span.until = None if span.until is None or until is None else max(span.until, until)
            span.signals.append(signal)
            span.sources.append(signal.process)
            span.ended_by = span.ended_by or ended
            return
    spans.append(
        _Span(
            first=signal.change_from,
            latest=signal.change_to,
            changed=signal.changed,
            since=signal.since,
            until=until,
            signals=[signal],
            sources=[signal.process],
            ended_by=ended,
        )
    )


def episodes(
    moment: Moment, gauge: str, spans: Sequence[_Span], checks: Sequence[CheckPoint], today: date
) -> tuple[Episode, ...]:
    """Times in which a gauge was off, newest first, each with the parts it measured meanwhile."""
    found = []
    for span in spans:
        course, start = _course(moment, gauge, span, checks)
        last = span.until or today
        suspects = _suspects(moment, gauge, span, last, course)
        # Not beyond the last part it read: its drift is not known to have gone on.
        ends = max((s.when.date() for s in suspects), default=last)
        told = course(np.array([_moment_at(ends, start)])) if course is not None else None
        drift = told.slope if told is not None else None
        found.append(
            Episode(
                gauge=gauge,
                sources=tuple(dict.fromkeys(span.sources)),
                live=any(s.status == "open" for s in span.signals) and span.ended_by is None,
                since=span.since,
                begun=span.first,
                changed=span.changed,
                until=span.until,
                ended_by=span.ended_by,
                closing=next((s.closing for s in span.signals if s.closing is not None), None),
                now=told.at[0] if told is not None else None,
                drift=_times(drift, 7.0) if drift is not None else None,
                suspects=suspects,
                blind=_blind(moment, gauge, span, last),
            )
        )
    return tuple(reversed(found))


def _times(figure: Ranged, factor: float) -> Ranged:
    return Ranged(
        figure.estimate * factor,
        None if figure.lower is None else figure.lower * factor,
        None if figure.upper is None else figure.upper * factor,
    )


def _moment_at(day: date, start: date) -> float:
    return float((day - start).days)


def _course(moment: Moment, gauge: str, span: _Span, checks: Sequence[CheckPoint]) -> Any:
    """What tells the error at moments in days since the earliest start, and that start; None when nothing does."""
    start, first = span.first, span.first - LOOK_BACK
    times: list[float] = []
    errors: list[float] = []
    for check in checks:
        day = check.time.date()
        if first <= day and (span.ended_by is None or check.time < span.ended_by.time):
            times.append(_moment_at(day, start))
            errors.append(check.error)
    for audit in moment.facts.audits:
        if gauge not in (audit.gauge, audit.reference):
            continue
        if moment.known.plan.features[audit.feature].scale == "log":
            continue
        sign = 1.0 if audit.gauge == gauge else -1.0
        means = np.nanmean(audit.table.values, axis=1)
        for when, value in zip(audit.table.parts["time"], means, strict=True):
            local = moment.calendar.local(when.to_pydatetime())
            if first <= local.date() and (span.ended_by is None or local < span.ended_by.time):
                times.append(_moment_at(local.date(), start))
                errors.append(sign * float(value))

    def course(at: np.ndarray) -> ErrorCourse:
        return error_course(times, errors, 0.0, at, latest=_moment_at(span.latest, start))

    try:
        course(np.array([0.0]))
    except SpcError:
        return None, start
    return course, start


def measured_with(moment: Moment, gauge: str) -> pd.DataFrame:
    """Readings of parts that count and were made with a gauge."""
    rows = moment.resolved.readings
    return rows[
        (rows["status"] == "used")
        & (rows["gauge"] == gauge)
        & (rows["role"] != "checks")
        & (rows["feat"] >= 0)
    ]


def _suspects(moment: Moment, gauge: str, span: _Span, last: date, course: Any) -> tuple[Suspect, ...]:
    plan, resolved, calendar = moment.known.plan, moment.resolved, moment.calendar
    epoch = date(1970, 1, 1).toordinal()
    rows = measured_with(moment, gauge)
    rows = rows[(rows["day"] >= span.first.toordinal() - epoch) & (rows["day"] <= last.toordinal() - epoch)]
    if span.ended_by is not None:
        end = pd.Timestamp(span.ended_by.time).tz_convert("UTC").tz_localize(None)
        rows = rows[rows["when"] < end]
    audited = _audited(moment, gauge)
    days = np.unique(rows["day"].to_numpy(dtype=np.int64))
    told = (
        dict(zip(days, course(days - float(span.first.toordinal() - epoch)).at, strict=True))
        if course
        else {}
    )
    found = []
    for (feat, part, op, pass_no, on), mine in rows.groupby(
        ["feat", "part", "op", "pass_no", "on"], sort=True
    ):
        feature = plan.features[resolved.features[int(feat)]]  # type: ignore[arg-type]
        log = feature.scale == "log"
        when = calendar.local(pd.Timestamp(mine["when"].max()).to_pydatetime())
        error = None
        if not log and feature.unit == "um":
            error = told.get(int(mine["day"].max()))
        found.append(
            Suspect(
                serial=str(part),
                pass_no=int(pass_no),  # type: ignore[arg-type]
                family=resolved.families[int(mine["fam"].iloc[0])],
                machine=str(on),
                operation=str(op),
                feature=feature.key,
                feature_name=feature.name,
                when=when,
                operators=tuple(sorted({str(o) for o in mine["operator"].dropna()})),
                places=len(mine),
                error=error,
                audited=audited.get((feature.key, str(part), int(pass_no))),  # type: ignore[arg-type]
                beyond=_beyond(moment, feature.key, mine, error),
                display=feature.display,
                decimals=feature.decimals,
                log=log,
            )
        )
    return tuple(sorted(found, key=lambda s: (-min(s.beyond, 1), s.when, s.serial, s.feature)))


def _audited(moment: Moment, gauge: str) -> Mapping[tuple[str, str, int], float]:
    found: dict[tuple[str, str, int], float] = {}
    for audit in moment.facts.audits:
        if audit.gauge == gauge and moment.known.plan.features[audit.feature].scale != "log":
            means = np.nanmean(audit.table.values, axis=1)
            parts = audit.table.parts
            for part, pass_no, value in zip(parts["part"], parts["pass_no"], means, strict=True):
                found[(audit.feature, str(part), int(pass_no))] = float(value)
    return found


def _beyond(moment: Moment, feature: str, rows: pd.DataFrame, error: Ranged | None) -> int:
    """Places that read within the limits and lie beyond one once the error is taken off."""
    if error is None:
        return 0
    value = rows["value"].to_numpy(dtype=float)
    limits = in_force(
        moment.known.plan, feature, moment.resolved.families, rows["fam"].to_numpy(), rows["day"].to_numpy()
    )

    def out(values: np.ndarray) -> np.ndarray:
        with np.errstate(invalid="ignore"):
            return (values > limits.upper + HAIR) | (values < limits.lower - HAIR)

    return int((out(value - error.estimate) & ~out(value)).sum())


def _blind(moment: Moment, gauge: str, span: _Span, last: date) -> tuple[Blind, ...]:
    plan = moment.known.plan
    rows = measured_with(moment, gauge)
    mine = {(str(p), int(n)) for p, n in zip(rows["part"], rows["pass_no"], strict=True)}
    found = []
    for process in moment.processes:
        facts = moment.facts.processes[process]
        feature = plan.features[facts.feature]
        if gauge not in facts.gauges or facts.machine in plan.gauges:
            continue
        # What is a difference of readings of one gauge does not feel its drift.
        if feature.scale == "log" or feature.derive is not None:
            continue
        blind = _process_moved(moment.assessed(process), mine, span, last)
        if blind is not None:
            before, during, moved, signals = blind
            found.append(
                Blind(process, facts.machine, feature.name, before, during, moved, signals, feature.display,
                      feature.decimals)
            )  # fmt: skip
    return tuple(found)


def _process_moved(
    done: AssessedProcess, mine: set[tuple[str, int]], span: _Span, last: date
) -> tuple[int, int, Ranged, int] | None:
    """Parts before and during, by how much their readings moved, and signals of level raised meanwhile."""
    facts = done.facts
    epoch = date(1970, 1, 1).toordinal()
    mean, day, family = np.asarray(done.assessment.mean, dtype=float), facts.data.day, facts.data.family
    own = np.array(
        [(str(p), int(n)) in mine for p, n in zip(facts.parts["part"], facts.parts["pass_no"], strict=True)]
    ) & np.isfinite(mean)
    first, final = span.first.toordinal() - epoch, last.toordinal() - epoch
    before = np.flatnonzero(own & (day < first))[-COMPARED:]
    during = np.flatnonzero(own & (day >= first) & (day <= final))
    if len(before) < 2 or len(during) < 2:
        return None
    centred = mean.copy()
    for code in np.unique(family):
        earlier = before[family[before] == code]
        centred[family == code] -= mean[earlier].mean() if len(earlier) else np.nan
    during = during[np.isfinite(centred[during])]
    if len(during) < 2:
        return None
    raised = sum(1 for s in done.state.signals if s.monitor == "level" and span.first <= s.since <= last)
    return len(before), len(during), step_between(centred[before], centred[during]), raised
