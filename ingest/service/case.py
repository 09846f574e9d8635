"""The service case: what something done to a machine did, or what a proposed service would save."""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Mapping, Sequence
from datetime import date, datetime, timedelta

from ingest.answers.case import CaseControl, CaseEffect, ServiceCase
from ingest.answers.processes import EventFact, SignalFact
from ingest.assessing.assessment import ProcessState, event_fact
from ingest.assessing.facts import ProcessFacts, concerns
from ingest.plans.limits import EPOCH
from ingest.service.costs import MONTH_DAYS, case_money
from ingest.service.counts import (
    by_family,
    by_limit,
    chance_more,
    course_of,
    made_after,
    parts_made,
    same_readings,
    share_of,
)
from ingest.service.rows import (
    between,
    judged,
    machine_processes,
    made_by_tool,
    served,
    touched_gauges,
)
from ingest.state.moment import Moment
from spc.change.service_effect import service_effects, share_ahead

DAYS = 49
"""Days compared on either side of a service, and looked back from a proposed one: seven weeks."""
LEAST = 10
"""Fewest parts after an event before anything is said of what it did."""
SURE = 0.8
"""Chance that more parts are beyond a limit than on a sound machine, from which a case is made."""

Step = Callable[[int, int], None]


def machine_events(moment: Moment, machine: str) -> list[EventFact]:
    """What was done to a machine or gauge, oldest first."""
    plan, events = moment.known.plan, moment.known.events
    mine = events[(events["target"] == machine) & events["kind"].isin(list(plan.events))]
    told = [event_fact(plan, moment.calendar, row) for row in mine.to_dict("records")]
    return sorted(told, key=lambda e: e.time)


def past_case(
    moment: Moment,
    states: Mapping[str, ProcessState],
    event: EventFact,
    asked: datetime,
    step: Step | None = None,
) -> ServiceCase:
    """What something done to a machine did.

    Parameters
    ----------
    moment : Moment
    states : mapping of process to ProcessState
        At least those of the machine and of the gauges.
    event : EventFact
    asked : datetime
    step : callable, optional
        Told features done and features in all; what it raises ends the work.

    Returns
    -------
    ServiceCase
    """
    plan = moment.known.plan
    begun = _case(moment, states, event.target, event, asked)
    if event.target in plan.gauges:
        return ServiceCase(**{**begun, "verdict": "gauge"})
    kind = plan.events[event.kind]
    when = event.time
    first, last = _span(moment, event, asked)
    processes = [
        p
        for p in machine_processes(moment, event.target)
        if concerns(plan.features[p.feature], kind.features)
    ]
    touched = touched_gauges(moment, list(states.values()), first, last)
    chosen = [(p, between(p, first, last)) for p in processes]
    asked_for = [served(moment, p, mine, when, touched) for p, mine in chosen if mine.any()]
    found = service_effects(asked_for)
    by_name = {p.process: p for p in processes}
    effects = []
    for done, effect in enumerate(found):
        one = by_name[effect.name]
        entry = plan.features[one.feature]
        controls = _controls(moment, one, when, first, last, touched)
        effects.append(
            CaseEffect(
                one.process, entry.name, entry.display, entry.decimals, one.options.log, effect, controls
            )
        )
        if step is not None:
            step(done + 1, len(found))
    known = [e.effect for e in effects if e.effect.level is not None]
    enough = any(e.parts_after >= LEAST for e in known) or any(s.after.sum() >= LEAST for s in asked_for)
    if not enough:
        verdict = "too early"
    elif any(e.found for e in known):
        verdict = "effect"
    else:
        verdict = "no effect"
    about = (
        same_readings(moment, processes, [by_name[e.process] for e in effects if e.effect.found]) or processes
    )
    rows = judged(moment, about, touched)
    day = when.date()
    before = (rows.day >= first.toordinal()) & (rows.day <= day.toordinal()) & ~made_after(rows, about, when)
    after = (rows.day <= last.toordinal()) & made_after(rows, about, when)
    families = by_family(moment, rows, before, after)
    made = parts_made(moment, processes, first, last)
    span = (last - first).days + 1
    money, why = None, None
    if verdict == "effect":
        money, why = case_money(
            plan, processes[0].operation, families, made, span, event.cost, event.down_hours, done=True
        )
    return ServiceCase(
        **{
            **begun,
            "verdict": verdict,
            "effects": tuple(sorted(effects, key=lambda e: (not e.effect.found, e.effect.p_adjusted or 1.0))),
            "now": share_of(rows, before, first, day),
            "then": share_of(rows, after, day, last),
            "course": course_of(rows, before, after),
            "limits": by_limit(moment, about, touched, (first, day), (day, last), when),
            "families": families,
            "larger": chance_more(families),
            "touched": tuple(sorted(touched & _gauges_in(asked_for))),
            "pace": sum(made.values()) / span * MONTH_DAYS,
            "money": money,
            "no_money": why,
        }
    )


def proposed_case(
    moment: Moment,
    states: Mapping[str, ProcessState],
    machine: str,
    asked: datetime,
    price: float | None,
    down_hours: float | None,
) -> ServiceCase:
    """What a service of a machine would save.

    A service can at best bring back what the machine did before it changed. So there is a case only where a signal
    stands that no tool of the machine explains, and where more parts are beyond a limit than before that change.

    Parameters
    ----------
    moment : Moment
    states : mapping of process to ProcessState
        At least those of the machine and of the gauges.
    machine : str
    asked : datetime
    price, down_hours : float or None
        What the service would cost.

    Returns
    -------
    ServiceCase
    """
    plan = moment.known.plan
    begun = _case(moment, states, machine, None, asked)
    processes = machine_processes(moment, machine)
    open_now: dict[str, list[SignalFact]] = {}
    for p in processes:
        state = states.get(p.process)
        live = [s for s in state.signals if s.status == "open"] if state is not None else []
        if live:
            open_now[p.process] = live
    tools = [p for p in processes if p.process in open_now and made_by_tool(moment, p)]
    about = [p for p in processes if p.process in open_now and not made_by_tool(moment, p)]
    last = asked.date()
    first = max(last - timedelta(days=DAYS - 1), _sound_from(moment, machine, last))
    touched = touched_gauges(moment, list(states.values()), first, last)
    span = (last - first).days + 1
    made = parts_made(moment, processes, first, last)
    begun |= {
        "of_tools": tuple(plan.features[p.feature].name for p in tools),
        "pace": sum(made.values()) / DAYS * MONTH_DAYS,
        "touched": tuple(
            sorted(touched_gauges(moment, list(states.values()), first, last) & _measuring(about))
        ),
    }
    looked = about or [p for p in processes if not made_by_tool(moment, p)]
    rows = judged(moment, looked, touched)
    recent = (rows.day >= first.toordinal()) & (rows.day <= last.toordinal())
    begun |= {
        "now": share_of(rows, recent, first, last),
        "limits": by_limit(moment, looked, touched, (first, last), None, None),
    }
    if not about:
        return ServiceCase(
            **{**begun, "verdict": "no signal", "families": by_family(moment, rows, recent, recent)}
        )
    grounds = tuple(s for p in about for s in open_now[p.process])
    changed = min(s.changed for s in grounds)
    sound = rows.day < changed.toordinal()
    begin = _sound_from(moment, machine, changed)
    sound &= rows.day >= begin.toordinal()
    families = by_family(moment, rows, recent, sound)
    larger = chance_more(families)
    case = larger is not None and larger >= SURE
    money, why = None, None
    if case:
        money, why = case_money(plan, about[0].operation, families, made, span, price, down_hours, done=False)
    return ServiceCase(
        **{
            **begun,
            "verdict": "case" if case else "no risk",
            "then": share_of(rows, sound, begin, changed - timedelta(days=1)),
            "course": course_of(rows, recent, sound),
            "limits": by_limit(
                moment, about, touched, (first, last), (begin, changed - timedelta(days=1)), None
            ),
            "families": families,
            "larger": larger,
            "grounds": tuple(sorted(grounds, key=lambda s: s.since_time)),
            "money": money,
            "no_money": why,
            "ahead": share_ahead(rows.over[recent], rows.day[recent], float(last.toordinal() + MONTH_DAYS)),
        }
    )


def _case(
    moment: Moment,
    states: Mapping[str, ProcessState],
    machine: str,
    event: EventFact | None,
    asked: datetime,
) -> dict[str, object]:
    """What every case says, before anything is found."""
    plan = moment.known.plan
    holder = plan.machines.get(machine) or plan.gauges.get(machine)
    facts = moment.facts.processes
    marks = sorted(f"{p}:{facts[p].fingerprint()}" for p in states if p in facts)
    return {
        "machine": machine,
        "machine_name": holder.name if holder is not None else machine,
        "event": event,
        "asked": asked,
        "digest": hashlib.sha256("\n".join(marks).encode()).hexdigest(),
        "plan_sha": plan.sha256,
        "verdict": "",
        "effects": (),
        "now": None,
        "then": None,
        "limits": (),
        "families": (),
        "larger": None,
        "grounds": (),
        "of_tools": (),
        "touched": (),
        "pace": 0.0,
        "money": None,
        "no_money": None,
        "ahead": None,
        "days": DAYS,
        "course": (),
    }


def _span(moment: Moment, event: EventFact, asked: datetime) -> tuple[date, date]:
    """Days compared: not beyond another event that restarts the machine, which would mix two effects."""
    plan = moment.known.plan
    day = event.time.date()
    first, last = day - timedelta(days=DAYS), min(day + timedelta(days=DAYS), asked.date())
    for other in machine_events(moment, event.target):
        if plan.events[other.kind].effect != "restarts" or other.time == event.time:
            continue
        there = other.time.date()
        if there < day:
            first = max(first, there + timedelta(days=1))
        elif there > day:
            last = min(last, there - timedelta(days=1))
    return first, last


def _controls(
    moment: Moment, one: ProcessFacts, when: datetime, first: date, last: date, touched: frozenset[str]
) -> tuple[CaseControl, ...]:
    """The same feature on other machines in the same weeks."""
    found = []
    for other in moment.facts.processes.values():
        same = (other.operation, other.feature) == (one.operation, one.feature)
        if not same or other.machine == one.machine or other.machine not in moment.known.plan.machines:
            continue
        mine = between(other, first, last)
        effect = service_effects([served(moment, other, mine, when, touched)])[0] if mine.any() else None
        level = effect.level.difference if effect is not None and effect.level is not None else None
        found.append(CaseControl(other.machine, moment.known.plan.machines[other.machine].name, level))
    return tuple(found)


def _sound_from(moment: Moment, machine: str, changed: date) -> date:
    """Where to begin counting what the machine did when it held: the last restart before, or the first part."""
    restarts = [
        e.time.date()
        for e in machine_events(moment, machine)
        if moment.known.plan.events[e.kind].effect == "restarts" and e.time.date() < changed
    ]
    days = [int(p.data.day[0]) + EPOCH for p in machine_processes(moment, machine)]
    return max(restarts) if restarts else date.fromordinal(min(days))


def _gauges_in(parts: Sequence[object]) -> set[str]:
    return {str(g) for one in parts for g in one.gauge}  # type: ignore[attr-defined]


def _measuring(processes: Sequence[ProcessFacts]) -> set[str]:
    """Gauges of processes whose readings a drift would move."""
    return {g for one in processes for g in one.gauges}
