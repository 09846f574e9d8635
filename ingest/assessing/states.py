"""From what is stored of each process to the rows of the board: one word each, worst first."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import replace
from datetime import datetime

from ingest.answers.processes import BoardRow, DoubtFact, State
from ingest.assessing.assessment import NEEDED, ProcessState
from ingest.assessing.blame import Doubts, gauges_in_doubt, is_audit, names_of
from ingest.assessing.cause_rank import Weighed, weigh
from ingest.plans.calendar import DAYS_A_MONTH, Calendar, instant_of
from ingest.plans.model import Plan

SILENT_GAPS = 3.0
WATCH_MONTHS = (1.0, 3.0)

SEVERITY = {
    State.GAUGE_IN_DOUBT: 0,
    State.OUT_OF_TOLERANCE: 1,
    State.GOING_OFF: 2,
    State.WATCH: 3,
    State.LEARNING: 4,
    State.SILENT: 4,
    State.HOLDING: 6,
}
UNCONFIRMED = 5
"""Severity of a process that holds again but whose signal nobody has confirmed."""
BEYOND = 5.5
"""Severity of a process that holds, but made some of its latest parts beyond a limit."""
TELLING = {"level": 0, "tool life": 1, "scatter": 2}
"""Monitors by how much their signal says to a person; the others say less."""


def board_rows(
    plan: Plan, calendar: Calendar, states: Mapping[str, ProcessState], clock: datetime
) -> list[BoardRow]:
    """Rows of the board, worst first.

    Parameters
    ----------
    plan : Plan
    calendar : Calendar
    states : mapping of process to ProcessState
    clock : datetime
        Aware; what counts as now.

    Returns
    -------
    list of BoardRow
        By state, then by how little is left before a limit, then by how rarely chance shows as much (rarest first);
        among equals the machine with the newest signal first, its most telling row on top.
    """
    doubts = gauges_in_doubt(plan, states)
    rows = [
        _row(plan, calendar, state, clock, doubts, weigh(plan, state, states))
        for state in states.values()
        if state.feature in plan.features
        and (state.operation in plan.operations or is_audit(plan, state.machine, state.operation))
    ]
    rows = _beside(plan, rows)
    newest: dict[tuple[float, float, float, str], int] = {}
    for row in rows:
        place = (*_standing(row), row.machine)
        newest[place] = max(newest.get(place, 0), _newest(row))
    return sorted(rows, key=lambda row: _rank(row, newest[(*_standing(row), row.machine)]))


def _beside(plan: Plan, rows: list[BoardRow]) -> list[BoardRow]:
    """The rows, each with the earliest open signal that another feature of the same readings has, by name."""
    live: dict[tuple[str, str], list[BoardRow]] = {}
    for row in rows:
        if row.open_signals:
            made_of = plan.features[row.feature].of or row.feature
            live.setdefault((row.machine, made_of), []).append(row)
    told = []
    for row in rows:
        others = live.get((row.machine, plan.features[row.feature].of or row.feature), [])
        first = min(
            (o for o in others if o is not row), key=lambda o: o.open_signals[-1].since_time, default=None
        )
        told.append(row if first is None else replace(row, beside=first.feature_name))
    return told


def _standing(row: BoardRow) -> tuple[float, float, float]:
    """What decides the order: the state, then how little is left, then how rarely chance shows as much."""
    severity = SEVERITY[row.state]
    if row.state == State.HOLDING and row.unconfirmed:
        severity = UNCONFIRMED
    elif row.state == State.HOLDING and row.beyond is not None:
        severity = BEYOND
    left = row.left.p50 if row.left is not None and row.left.p50 is not None else math.inf
    return severity, left, -(row.chance_interval_days or 0.0)


def _newest(row: BoardRow) -> int:
    return max((s.since.toordinal() for s in row.signals), default=0)


def _rank(row: BoardRow, newest: int) -> tuple[float, float, float, int, str, int, int, str]:
    """Order of a row, the newest signal of its machine among equals given.

    Among equals a machine's rows stand together, one fault often showing in several of them, and first the one
    that tells most: a level that moved says which way, a spread only that something did.
    """
    telling = min((TELLING.get(s.monitor, 3) for s in row.open_signals), default=3)
    return *_standing(row), -newest, row.machine, telling, -_newest(row), row.process


def _doubt_of(plan: Plan, state: ProcessState, doubts: Doubts) -> tuple[DoubtFact, int] | None:
    """Doubt on a gauge that measured this process since its change.

    A difference between readings of one gauge is not touched: a drift moves them alike and cancels.
    """
    if state.machine in doubts and state.doubt is not None:
        return doubts[state.machine]
    if plan.features[state.feature].derive is not None:
        return None
    touched = [doubts[g] for g, used in state.gauges.items() if g in doubts and used >= doubts[g][1]]
    return min(touched, key=lambda d: (d[1], d[0].gauge)) if touched else None


def _row(
    plan: Plan,
    calendar: Calendar,
    state: ProcessState,
    clock: datetime,
    doubts: Doubts,
    weighed: Weighed,
) -> BoardRow:
    feature = plan.features[state.feature]
    audit = is_audit(plan, state.machine, state.operation)
    is_gauge = audit or feature.kind == "check"
    live = [s for s in state.signals if s.status == "open"]
    shown = tuple(s for s in state.signals if s.status in ("open", "cleared", "back"))
    earliest = min(live, key=lambda s: s.since_time) if live else None
    doubt = _doubt_of(plan, state, doubts)
    today = calendar.local(clock).date()
    silent_days = calendar.working_days_between(state.last_day, today)
    silent = state.usual_gap is not None and silent_days > SILENT_GAPS * state.usual_gap
    chance = state.chance_days
    if live:
        chance = max((s.chance_days for s in live if s.chance_days is not None), default=chance)
    since = change_from = change_to = None
    if doubt is not None:
        word, since = State.GAUGE_IN_DOUBT, doubt[0].since
        change_from = calendar.local(instant_of(doubt[1])).date()
    elif state.out is not None:
        word, since = State.OUT_OF_TOLERANCE, state.out.when.date()
    elif live:
        word = State.GOING_OFF
    elif state.scored < NEEDED:
        word = State.LEARNING
    elif silent:
        word, since = State.SILENT, state.last_day
    elif chance is not None and WATCH_MONTHS[0] <= chance / DAYS_A_MONTH < WATCH_MONTHS[1]:
        word = State.WATCH
    else:
        word = State.HOLDING
    if earliest is not None and doubt is None:
        since = since or earliest.since
        change_from, change_to = earliest.changed, earliest.change_to
    machine_name, operation_name, feature_name = names_of(plan, state.machine, state.operation, state.feature)
    return BoardRow(
        process=state.process,
        machine=state.machine,
        operation=state.operation,
        feature=state.feature,
        machine_name=machine_name,
        operation_name=operation_name,
        feature_name=feature_name,
        feature_kind="check" if audit else feature.kind,
        is_gauge=is_gauge,
        state=word,
        since=since,
        change_from=change_from,
        change_to=change_to,
        chance_interval_days=chance,
        signals=shown,
        out=state.out,
        doubt=doubt[0] if doubt is not None else None,
        last_time=calendar.local(datetime.fromisoformat(state.last_time)),
        last_serial=state.last_serial,
        scored=state.scored,
        needed=NEEDED,
        recent=state.recent,
        band=state.band,
        display=feature.display,
        decimals=feature.decimals,
        log=feature.scale == "log",
        silent_days=silent_days,
        usual_gap=state.usual_gap,
        beyond=state.beyond,
        left=state.left,
        causes=weighed.causes,
        apart=weighed.apart,
    )
