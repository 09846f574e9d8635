"""The month in words: what an index, a change, a signal and a thing to act on mean."""

from __future__ import annotations

import math

from dashboard.words.advice import LOOK_AT_KIND, LOOK_AT_SHAPE, LOOK_AT_SPREAD, renew
from dashboard.words.amounts import amount, count, day
from dashboard.words.sentences import named
from ingest.answers.month import MonthAct, MonthLine, MonthSignal
from ingest.plans.model import Feature, Plan
from spc.intervals import Index

DIRECTION = {"better": "better", "worse": "worse", "noise": "no more than noise"}
CAUSES = 2
LITTLE = 0.05
"""Share of the tolerance below which a cause is not worth a word."""


def index_text(index: Index | None) -> str:
    """An index with its interval: ``1.28 (1.01 to 1.55)``."""
    if index is None:
        return "–"
    return f"{index.estimate:.2f} ({index.lower:.2f} to {index.upper:.2f})"


def share_text(share: float, least: float = 0.0) -> str:
    """A share in per cent with as many digits as it can bear; below `least` only that."""
    if share < least:
        return f"under {_percent(least)}"
    return _percent(share)


def _percent(share: float) -> str:
    per_cent = 100 * share
    if per_cent == 0:
        return "0 %"
    if per_cent >= 10:
        return f"{per_cent:.0f} %"
    if per_cent >= 1:
        return f"{per_cent:.1f} %"
    return f"{per_cent:.2g} %" if per_cent >= 0.01 else "under 0.01 %"


def expected_text(line: MonthLine) -> str:
    """Share of readings expected beyond the limits, with its interval as far as so few blocks can tell."""
    out = line.held.out if line.held is not None else None
    if out is None or out.expected is None:
        return "–"
    if out.expected.upper < out.resolvable:
        return f"under {_percent(out.resolvable)}"
    return f"{share_text(out.expected.estimate, 0.0001)} (at most {share_text(out.expected.upper)})"


def observed_text(line: MonthLine) -> str:
    """Blocks beyond a limit of those judged, with the exact interval of the share."""
    out = line.held.out if line.held is not None else None
    if out is None:
        return "–"
    told = f"{out.parts_out} of {out.parts}"
    return (
        told
        if not out.parts_out
        else f"{told} ({_percent(out.observed.lower)} to {_percent(out.observed.upper)})"
    )


def stable_text(line: MonthLine) -> str:
    """Whether a signal stood, and since when."""
    if line.stable:
        return "yes"
    return f"no, since {day(line.since)}"


def change_text(line: MonthLine) -> str:
    """The line against the months before."""
    if line.direction is None:
        if line.change is not None and line.change.reason:
            return "too few blocks to compare"
        if line.held is None or line.held.ppk is None:
            return "–"
        return "not compared" if line.earlier_parts else "nothing to compare with"
    assert line.change is not None
    if line.direction == "noise":
        return DIRECTION["noise"]
    assert line.change.before is not None
    assert line.change.after is not None
    return f"{DIRECTION[line.direction]}: Ppk {line.change.before.estimate:.2f} to {line.change.after.estimate:.2f}"


def limits_text(line: MonthLine) -> str:
    """What uses up the tolerance, the most worthwhile first."""
    if line.held is None:
        return ""
    told = [c for c in line.held.causes if c.share_of_tolerance >= LITTLE][:CAUSES]
    return ", ".join(f"{c.name} {100 * c.share_of_tolerance:.0f} %" for c in told)


def signal_text(told: MonthSignal) -> str:
    """What a signal says has changed, with its size in the shop's unit."""
    s = told.signal
    if s.monitor == "level":
        way = "up" if s.direction > 0 else "down"
        if s.log:
            return f"moved {way} by about {100 * abs(math.exp(s.size) - 1):.0f} %"
        return f"moved {way} by {amount(abs(s.size), told.display, told.decimals)}"
    if s.monitor == "tool life":
        return "tool in use for longer than any before"
    where = "within a block" if s.monitor == "spread within part" else "from block to block"
    return (
        f"differs {where} {math.exp(s.size):.1f} times as much as usual"
        if s.direction > 0
        else f"differs less {where}"
    )


def lasting_text(told: MonthSignal) -> str:
    """How long it took to close, or that it has not been."""
    if told.days is None:
        return "open"
    return f"{day(told.closed_on)}, after {count(told.days, 'day')}"


def line_name(line: MonthLine) -> str:
    """Machine, feature and family in words."""
    return f"{named(line.machine, line.machine_name)}: {line.feature_name}, {line.family_name}"


def act_text(act: MonthAct, plan: Plan) -> tuple[str, str]:
    """A thing to act on: what to do, and why.

    Returns
    -------
    what, why : str
    """
    machine = named(act.machine, act.machine_name) if act.machine else ""
    if act.kind == "doubt":
        assert act.gauge is not None
        return (
            f"Put {machine} right, and look again at the blocks it judged",
            f"its checks have gone off since {day(act.gauge.doubt_since)}; {act.gauge.readings:,} readings of the "
            "month rest on it",
        )
    if act.kind == "due":
        assert act.gauge is not None
        return (
            f"Check {machine} on its master",
            f"last checked on {day(act.gauge.last_check)}, {act.gauge.waited} working days before the end of the "
            f"month; usual is every {act.gauge.usual_gap:.0f}",
        )
    if act.kind == "never":
        assert act.gauge is not None
        return (
            f"Find a way to check {machine}",
            f"{act.gauge.readings:,} readings of the month rest on it and no check against a master is known",
        )
    if act.kind == "rows":
        return (
            f"Decide about {count(act.parts_out, 'row')} on the Intake page",
            "they came in during the month and count for nothing until somebody has spoken",
        )
    if act.kind == "confirm":
        return (
            f"Confirm what ended {count(act.others, 'signal')}",
            "they cleared and nobody has said what it was: "
            + ", ".join(
                dict.fromkeys(f"{s.feature_name} on {s.signal.process.split('/')[0]}" for s in act.signals)
            ),
        )
    return _of_machine(act, plan, machine)


def _look_at(feature: Feature, *, wider: bool) -> str:
    """What to look at first for a feature, as on the list."""
    if feature.kind in ("form", "size"):
        for word, order in LOOK_AT_SHAPE:
            if word in feature.name.lower():
                return order
    if wider and feature.kind in LOOK_AT_SPREAD:
        return LOOK_AT_SPREAD[feature.kind]
    return LOOK_AT_KIND.get(feature.kind, "look at the machine, the tool and the gauge")


def _of_machine(act: MonthAct, plan: Plan, machine: str) -> tuple[str, str]:
    if not act.lines:
        first = act.signals[0]
        return (
            f"Look at {machine}",
            f"{first.feature_name} {signal_text(first)} since {day(first.signal.changed)}",
        )
    worst = act.lines[0]
    renewal = next(
        (r for r in plan.renewals if r.machine == act.machine and worst.feature in r.features), None
    )
    wider = any(s.signal.monitor in ("scatter", "spread within part") for s in act.signals)
    todo = renew(renewal) if renewal is not None else _look_at(plan.features[worst.feature], wider=wider)
    what = f"{machine}: {todo}"
    reasons = []
    if act.signals:
        lead = next((s for s in act.signals if s.signal.process == worst.process), act.signals[0])
        reasons.append(f"{lead.feature_name} {signal_text(lead)}, since {day(lead.signal.changed)}")
    if worst.held is not None and worst.held.out is not None:
        out = worst.held.out
        reasons.append(
            f"{out.parts_out} of {out.parts} {worst.family_name} blocks beyond a limit of {worst.feature_name}"
        )
    if worst.held is not None and worst.held.ppk is not None and act.kind != "open":
        reasons.append(f"Ppk {index_text(worst.held.ppk)}")
    if act.kind == "worse":
        reasons.append(change_text(worst))
    if act.others > 0:
        names = dict.fromkeys(x.feature_name for x in act.lines if x.feature != worst.feature)
        if names:
            reasons.append("also " + ", ".join(names))
    return what, "; ".join(reasons)
