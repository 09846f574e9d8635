"""From what each process shows to the faults that fit: shared evidence added, three causes named, the rest said."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import timedelta
from typing import TYPE_CHECKING

from ingest.answers.processes import SignalFact
from ingest.answers.wear import CauseFact, EvidenceFact
from ingest.assessing.causes import NO, YES, CauseEntry, cause_table
from ingest.plans.model import Feature, Plan
from spc.faults.likelihood import Fault, rank_causes

if TYPE_CHECKING:
    from ingest.assessing.assessment import ProcessState

MOST = 3
LEAST = 0.05
"""Share below which a cause is not worth a word beside a likelier one."""
NEAR, SLOW = timedelta(days=21), timedelta(days=60)
"""Changes that began within so many days of one another count as one; while both are open, the longer time: what comes
little by little is noticed earlier in one feature than in another."""
_TOLD = 4
"""Pieces of evidence told for a cause, and as many against."""


@dataclass(frozen=True)
class Weighed:
    """Causes of a process's leading open signal, and what could not be told apart."""

    causes: tuple[CauseFact, ...]
    apart: tuple[str, ...]


def weigh(
    plan: Plan,
    state: ProcessState,
    states: Mapping[str, ProcessState],
    evidence: tuple[EvidenceFact, ...] | None = None,
    apart: tuple[str, ...] | None = None,
) -> Weighed:
    """Causes that fit the leading open signal of a process.

    Parameters
    ----------
    plan : Plan
    state : ProcessState
    states : mapping of process to ProcessState
        All of the shop at the same moment: what other machines, features and gauges show.
    evidence, apart : optional
        In place of what the state holds, where more is known.

    Returns
    -------
    Weighed
        At most three causes, none without an open signal.
    """
    signal = _leading(state)
    if signal is None or state.feature not in plan.features:
        return Weighed((), ())
    table, entries = cause_table()
    facts = {e.key: e for e in (state.evidence if evidence is None else evidence)}
    facts |= {e.key: e for e in _shared(plan, state, states, signal)}
    feature = plan.features[state.feature]
    faults = [
        Fault(entry.key, entry.weight, _shows(entry, feature))
        for entry in entries.values()
        if _can_be(entry, feature, state) and _allowed(entry, facts)
    ]
    ranked = rank_causes(
        faults, {k: e.chance for k, e in facts.items()}, {k: table[k].base for k in facts}, MOST
    )
    causes = tuple(
        CauseFact(
            key=fit.key,
            name=entries[fit.key].name,
            share=fit.share,
            speaks_for=_words(fit.speaks_for, facts),
            speaks_against=_words(fit.speaks_against, facts),
            check=entries[fit.key].check,
        )
        for i, fit in enumerate(ranked)
        if i == 0 or fit.share >= LEAST
    )
    return Weighed(causes, state.apart if apart is None else apart)


def _leading(state: ProcessState) -> SignalFact | None:
    live = [s for s in state.signals if s.status == "open"]
    return min(live, key=lambda s: (s.since_time, s.monitor, s.stratum)) if live else None


def _shows(entry: CauseEntry, feature: Feature) -> dict[str, float]:
    shows = dict(entry.shows)
    way = entry.direction.get(feature.kind)
    if way is not None:
        shows["down"] = YES if way == "down" else NO
    return shows


def _can_be(entry: CauseEntry, feature: Feature, state: ProcessState) -> bool:
    """Whether the fault can show in this feature at all."""
    name = f"{feature.name} {feature.key}".lower()
    return (
        feature.kind in entry.kinds
        and entry.gauge == (feature.kind == "check")
        and (entry.tool is None or entry.tool == (state.left is not None))
        and (not entry.words or any(word in name for word in entry.words))
    )


def _allowed(entry: CauseEntry, facts: Mapping[str, EvidenceFact]) -> bool:
    """A fault that rests on a piece of evidence is named only when that is more likely there than not."""
    return not entry.unless or any(key in facts and facts[key].chance > 0.5 for key in entry.unless)


def _words(keys: tuple[str, ...], facts: Mapping[str, EvidenceFact]) -> tuple[str, ...]:
    table, _ = cause_table()
    told = []
    for key in keys:
        entry, fact = table[key], facts[key]
        text = entry.seen if fact.chance > 0.5 else entry.unseen
        if text:
            told.append(text.replace("{detail}", fact.detail).removesuffix(": "))
    return tuple(told[:_TOLD])


def _shared(
    plan: Plan, state: ProcessState, states: Mapping[str, ProcessState], signal: SignalFact
) -> list[EvidenceFact]:
    """What other machines, other features of this machine and the gauges show at the same time."""
    found = []
    alike = [s for s in states.values() if s.feature == state.feature and s.machine != state.machine]
    if alike:
        moved = [s.machine for s in alike if _moved(s, signal, same_way=True)]
        found.append(EvidenceFact("other_machines", YES if moved else NO, ", ".join(sorted(moved))))
    beside = [s for s in states.values() if s.machine == state.machine and s.feature != state.feature]
    if beside:
        moved = sorted(
            plan.features[s.feature].name for s in beside if s.feature in plan.features and _moved(s, signal)
        )
        found.append(EvidenceFact("same_machine", YES if moved else NO, ", ".join(moved[:3])))
    if state.left is not None and plan.features[state.feature].kind != "time":
        times = [
            s for s in beside
            if s.feature in plan.features and plan.features[s.feature].kind == "time"
            and s.left is not None and s.left.renewal == state.left.renewal
        ]  # fmt: skip
        for way, key in ((1, "time_longer"), (-1, "time_shorter")):
            if times:
                seen = any(
                    x.status == "open" and x.monitor == "level" and x.direction == way
                    for s in times for x in s.signals
                )  # fmt: skip
                found.append(EvidenceFact(key, YES if seen else NO))
    doubted = {s.doubt.gauge: s.doubt.gauge_name for s in states.values() if s.doubt is not None}
    checked = (
        {s.machine for s in states.values() if plan.features[s.feature].kind == "check"} if states else set()
    )
    used = [g for g in state.gauges if g in checked]
    if used and plan.features[state.feature].kind != "check":
        off = [doubted[g] for g in used if g in doubted]
        found.append(EvidenceFact("gauge_off", YES if off else 0.04, ", ".join(off)))
    return found


def _moved(state: ProcessState, signal: SignalFact, *, same_way: bool = False) -> bool:
    """Whether another process shows a change that began at about the same time and has not been cured before it."""
    for other in state.signals:
        reach = SLOW if other.status == "open" else NEAR
        near = abs(other.changed - signal.changed) <= reach or (
            other.change_from <= signal.change_to and signal.change_from <= other.change_to
        )
        alike = not same_way or (other.monitor == signal.monitor and other.direction == signal.direction)
        if near and alike and other.status in ("open", "cleared", "closed"):
            return True
    return False
