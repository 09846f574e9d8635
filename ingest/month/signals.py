"""What a month says of signals, of gauges and of rows that do not count."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import date, timedelta

import numpy as np
import pandas as pd

from ingest.answers.month import MonthAside, MonthAudit, MonthGauge, MonthSignal
from ingest.answers.processes import SetAsideFact, SignalFact
from ingest.assessing.assessment import ProcessState
from ingest.plans.calendar import Calendar, instant_of
from ingest.plans.limits import EPOCH
from ingest.plans.model import Plan
from ingest.plans.scales import coarse_shares
from ingest.state.moment import Moment
from spc.gauges.error import mean_error

DUE_GAPS = 1.5
"""A gauge is due when it has waited for longer than so many of its usual gaps. Common practice, no source."""
NOBODY_WAITS = frozenset({"rejected", "missing_value", "overload_code"})
"""Kinds of rows that need no decision: a person has spoken, or there is no reading to decide about."""


def month_signals(plan: Plan, signals: Sequence[SignalFact], first: date, last: date) -> list[MonthSignal]:
    """Signals that opened or closed in a month, or stood through it; by the day they were raised."""
    found = []
    for s in signals:
        if s.status == "withdrawn" or s.since > last:
            continue
        closed_on = None if s.status == "open" else s.cleared_on or s.since
        if closed_on is not None and closed_on < first:
            continue
        machine, _, feature = s.process.split("/")
        holder = plan.machines.get(machine) or plan.gauges.get(machine)
        entry = plan.features[feature]
        found.append(
            MonthSignal(
                signal=s,
                machine_name=holder.name if holder is not None else machine,
                feature_name=entry.name,
                display=entry.display,
                decimals=entry.decimals,
                opened=s.since >= first,
                closed=closed_on is not None and closed_on <= last,
                closed_on=closed_on,
                days=(closed_on - s.since).days if closed_on is not None else None,
                cause=_cause(s),
            )
        )
    return sorted(found, key=lambda f: (f.signal.since_time, f.signal.process, f.signal.monitor))


def _cause(signal: SignalFact) -> str:
    if signal.closing is not None:
        return f"{signal.closing.outcome}: {signal.closing.cause}"
    if signal.cure is not None:
        return f"after {signal.cure.kind_name}" + (f" ({signal.cure.tool})" if signal.cure.tool else "")
    return ""


def month_gauges(
    moment: Moment, states: Mapping[str, ProcessState], first: date, last: date
) -> list[MonthGauge]:
    """Every gauge of the plan as it stood at the end of a month, or now if that is earlier."""
    plan, calendar = moment.known.plan, moment.calendar
    used = moment.resolved.readings
    used = used[used["status"].isin(["used", "repeat"])]
    day = used["day"].to_numpy(dtype=np.int64) + EPOCH
    month = used[(day >= first.toordinal()) & (day <= last.toordinal())]
    readings = month["gauge"].value_counts()
    checks = _check_days(moment, last)
    found = []
    for key, gauge in plan.gauges.items():
        days = checks.get(key, [])
        gap = calendar.usual_gap(days)
        latest = days[-1] if days else None
        waited = calendar.working_days_between(latest, last) if latest is not None else None
        since, until = _doubt(calendar, states, key, first, last)
        found.append(
            MonthGauge(
                gauge=key,
                name=gauge.name,
                last_check=latest,
                usual_gap=gap,
                waited=waited,
                due=gap is not None and waited is not None and waited > DUE_GAPS * gap,
                doubt_since=since,
                doubt_until=until,
                readings=int(readings.get(key, 0)),
                coarse=_coarse(moment, key, month[month["gauge"] == key], last),
                audits=_audits(moment, key, first, last),
            )
        )
    return found


def _audits(moment: Moment, gauge: str, first: date, last: date) -> tuple[MonthAudit, ...]:
    """Mean difference from each second gauge over the parts of some days; none for what is kept on the log scale."""
    plan, found = moment.known.plan, []
    for audit in moment.facts.audits:
        feature = plan.features[audit.feature]
        if audit.gauge != gauge or feature.scale == "log":
            continue
        day = audit.table.parts["day"].to_numpy(dtype=np.int64) + EPOCH
        rows = np.flatnonzero((day >= first.toordinal()) & (day <= last.toordinal()))
        values = audit.table.values[rows]
        values = values[np.isfinite(values).any(axis=1)]
        if len(values):
            mean = mean_error(np.nanmean(values, axis=1))
            found.append(
                MonthAudit(
                    audit.reference, feature.name, len(values), mean, feature.display, feature.decimals
                )
            )
    return tuple(found)


def _coarse(moment: Moment, gauge: str, rows: pd.DataFrame, on: date) -> tuple[str, ...]:
    """Features read with a gauge for whose tolerance its steps are too coarse, in any of the families read."""
    plan, resolved = moment.known.plan, moment.resolved
    found = []
    for feat, mine in rows[rows["feat"] >= 0].groupby("feat", sort=True):
        feature = plan.features[resolved.features[int(feat)]]  # type: ignore[arg-type]
        families = [resolved.families[int(f)] for f in sorted(set(mine["fam"])) if f >= 0]
        if coarse_shares(plan, gauge, feature.key, families, on):
            found.append(feature.name)
    return tuple(found)


def _check_days(moment: Moment, last: date) -> dict[str, list[date]]:
    """Days on which each gauge was checked against a master, up to a day."""
    found: dict[str, list[date]] = {}
    for one in moment.facts.processes.values():
        if moment.known.plan.features[one.feature].kind == "check":
            days = {date.fromordinal(EPOCH + int(d)) for d in one.data.day}
            found.setdefault(one.machine, []).extend(d for d in days if d <= last)
    return {gauge: sorted(set(days)) for gauge, days in found.items()}


def _doubt(
    calendar: Calendar, states: Mapping[str, ProcessState], gauge: str, first: date, last: date
) -> tuple[date | None, date | None]:
    """Since and until when readings of a gauge were in doubt in a month: a level signal of its checks or audits.

    No end while the doubt outlasts the month.
    """
    spans = []
    for state in states.values():
        if state.machine != gauge:
            continue
        if state.doubt is not None:
            spans.append((calendar.local(instant_of(state.doubt_from)).date(), None))
        spans += [
            (s.changed, s.cure.time.date() if s.cure is not None else s.cleared_on)
            for s in state.signals
            if s.monitor == "level" and s.status != "withdrawn"
        ]
    here = [(a, b) for a, b in spans if a <= last and (b is None or b >= first)]
    if not here:
        return None, None
    ends = [b for _, b in here]
    open_end = any(b is None or b > last for b in ends)
    return min(a for a, _ in here), None if open_end else max(b for b in ends if b is not None)


def month_aside(
    rows: Sequence[SetAsideFact], known: Mapping[int, date], first: date, last: date
) -> list[MonthAside]:
    """Rows of files that came in during a month and do not count, by reason, the most first."""
    groups: dict[tuple[str, str, bool], list[SetAsideFact]] = {}
    for row in rows:
        if first <= known.get(row.receipt, first - timedelta(days=1)) <= last:
            waits = not row.releases_itself and row.kind not in NOBODY_WAITS
            groups.setdefault((row.kind, row.remedy, waits), []).append(row)
    found = [
        MonthAside(kind, mine[0].reason, remedy, len(mine), tuple(sorted({r.name for r in mine})), waits)
        for (kind, remedy, waits), mine in groups.items()
    ]
    return sorted(found, key=lambda f: (not f.waits, -f.rows, f.kind))
