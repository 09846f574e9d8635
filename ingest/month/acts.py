"""The five things to act on after a month, in order."""

from __future__ import annotations

from collections.abc import Sequence

from ingest.answers.month import MonthAct, MonthAside, MonthGauge, MonthLine, MonthSignal
from ingest.plans.model import Plan

MOST = 5
BAD = 1.0
"""A Ppk whose whole interval lies below this is out of tolerance by its nature. Common practice, no source."""
OUT_SHARE = 0.02
"""Parts beyond a limit that are worth a look where nothing else speaks: more than one in fifty."""


def most_urgent(
    plan: Plan,
    lines: Sequence[MonthLine],
    signals: Sequence[MonthSignal],
    gauges: Sequence[MonthGauge],
    aside: Sequence[MonthAside],
) -> tuple[MonthAct, ...]:
    """What to act on, one entry for each machine and trouble.

    Order: gauges that cannot be believed, as everything rests on them; machines with a signal that stood at the end,
    by the parts they made beyond a limit; machines that do not hold their limits; what became worse; gauges that
    are due or were never checked; rows that wait for somebody; signals that nobody has confirmed.

    Parameters
    ----------
    plan : Plan
    lines, signals, gauges, aside
        Of the month.

    Returns
    -------
    tuple of MonthAct
        Five at most.
    """
    acts: list[MonthAct] = []
    acts += [_of_gauge("doubt", g) for g in gauges if g.doubt_since is not None and g.doubt_until is None]
    open_now = [s for s in signals if not s.closed and not _is_gauge(plan, s.signal.process)]
    acts += _by_machine(plan, "open", lines, open_now)
    spoken = {(act.machine, line.process) for act in acts for line in act.lines}
    weak = [line for line in lines if _weak(line) and (line.machine, line.process) not in spoken]
    acts += _of_lines("out", weak)
    spoken |= {(act.machine, line.process) for act in acts for line in act.lines}
    worse = [x for x in lines if x.direction == "worse" and (x.machine, x.process) not in spoken]
    acts += _of_lines("worse", worse)
    acts += [_of_gauge("due", g) for g in gauges if g.due and g.readings]
    waiting = sum(row.rows for row in aside if row.waits)
    if waiting:
        acts.append(MonthAct("rows", "", "", (), (), None, waiting, 0, 0))
    unsaid = [s for s in signals if s.signal.status in ("cleared", "back") and s.closed]
    if unsaid:
        acts.append(MonthAct("confirm", "", "", (), tuple(unsaid), None, 0, 0, len(unsaid)))
    acts += [_of_gauge("never", g) for g in gauges if g.last_check is None and g.readings]
    return tuple(acts[:MOST])


def _is_gauge(plan: Plan, process: str) -> bool:
    return process.split("/")[0] in plan.gauges


def _weak(line: MonthLine) -> bool:
    """Whether a line does not hold its limits, by its index or by the parts that were out."""
    held = line.held
    if held is None:
        return False
    if held.ppk is not None and held.ppk.upper < BAD:
        return True
    return held.out is not None and held.out.observed.lower > OUT_SHARE


def _of_gauge(kind: str, gauge: MonthGauge) -> MonthAct:
    return MonthAct(kind, gauge.gauge, gauge.name, (), (), gauge, 0, 0, 0)


def _tool_of(plan: Plan, machine: str, feature: str) -> str:
    """Tool that makes a feature on a machine; empty where the plan counts no tool's life for it."""
    return next((r.name for r in plan.renewals if r.machine == machine and feature in r.features), "")


def _by_machine(
    plan: Plan, kind: str, lines: Sequence[MonthLine], signals: Sequence[MonthSignal]
) -> list[MonthAct]:
    """One act for each machine and tool with open signals, the most parts out first."""
    groups: dict[tuple[str, str], list[MonthSignal]] = {}
    for s in signals:
        machine, _, feature = s.signal.process.split("/")
        groups.setdefault((machine, _tool_of(plan, machine, feature)), []).append(s)
    acts = []
    for (machine, _), mine in groups.items():
        touched = {s.signal.process for s in mine}
        about = [line for line in lines if line.process in touched]
        acts.append(_act(kind, machine, mine[0].machine_name, about, mine))
    return sorted(acts, key=lambda a: (-_at_risk(a), min(s.signal.since for s in a.signals), a.machine))


def _of_lines(kind: str, lines: Sequence[MonthLine]) -> list[MonthAct]:
    groups: dict[tuple[str, str], list[MonthLine]] = {}
    for line in lines:
        groups.setdefault((line.machine, line.process), []).append(line)
    acts = [_act(kind, machine, mine[0].machine_name, mine, ()) for (machine, _), mine in groups.items()]
    return sorted(acts, key=lambda a: (-_at_risk(a), _least(a), a.machine))


def _act(
    kind: str, machine: str, name: str, about: Sequence[MonthLine], signals: Sequence[MonthSignal]
) -> MonthAct:
    ordered = sorted(about, key=lambda x: (-x.share, _ppk(x), x.process, x.family))
    out = ordered[0].held.out if ordered and ordered[0].held is not None else None
    return MonthAct(
        kind=kind,
        machine=machine,
        machine_name=name,
        lines=tuple(ordered),
        signals=tuple(sorted(signals, key=lambda s: s.signal.since_time)),
        gauge=None,
        parts_out=out.parts_out if out is not None else 0,
        parts=out.parts if out is not None else 0,
        others=len({x.process for x in about} | {s.signal.process for s in signals}) - 1,
    )


def _ppk(line: MonthLine) -> float:
    return line.held.ppk.estimate if line.held is not None and line.held.ppk is not None else 99.0


def _least(act: MonthAct) -> float:
    return min((_ppk(x) for x in act.lines), default=99.0)


def _at_risk(act: MonthAct) -> float:
    return max(
        (x.held.out.parts_out for x in act.lines if x.held is not None and x.held.out is not None), default=0
    )
