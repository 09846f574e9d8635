"""The sentence that says why a process stands where it stands, in the shop's own words.

One sentence: the machine, the feature, how much in the unit the shop uses, since when, and what to do. No
word of statistics: whoever reads it stands at a machine with gloves on.
"""

from __future__ import annotations

import math
from datetime import timedelta
from statistics import geometric_mean
from typing import TYPE_CHECKING

from dashboard.words.advice import look_at, renewal_of
from dashboard.words.amounts import amount, day, number, size, unit_text
from dashboard.words.beyond import beyond_reason, beyond_text, out_text
from dashboard.words.causes import as_if
from dashboard.words.left import left_note
from ingest.answers.processes import BoardRow, SignalFact, State

if TYPE_CHECKING:
    from ingest.plans.model import Plan

ACROSS = 4.0
"""Ordinary parts lie within this many part-to-part spreads of one another, nearly always (19 of 20)."""

WIDE = timedelta(days=14)
"""A start of a change that is known less closely than this is told as a range, not as a day."""

UP_DOWN = {
    "size": (("runs larger", "ran larger"), ("runs smaller", "ran smaller")),
    "height": (("runs higher", "ran higher"), ("runs lower", "ran lower")),
    "finish": (("has gone up", "had gone up"), ("has fallen", "had fallen")),
    "time": (("takes longer", "took longer"), ("has become shorter", "had become shorter")),
    "form": (("has moved up", "had moved up"), ("has moved down", "had moved down")),
    "check": (("reads high", "read high"), ("reads low", "read low")),
}
"""How a level moved, by kind of feature: up and down, each for now and for what is over."""


def named(key: str, name: str | None) -> str:
    """A thing of the plan by key and name, neither said twice."""
    if not name or name.lower() == key.lower():
        return key
    return name if key.lower() in name.lower().split() else f"{key} {name}"


def machine_text(row: BoardRow) -> str:
    """The machine (or gauge) by key and name."""
    return named(row.machine, row.machine_name)


def _now(row: BoardRow) -> float:
    """About where a log feature stands now: the middle of its last five parts."""
    latest = [value for value in row.recent[-5:] if value > 0]
    return geometric_mean(latest) if latest else math.nan


def moved_by(row: BoardRow, signal: SignalFact) -> str | None:
    """How far the level moved, in the unit people see; None when that was not estimated."""
    if not math.isfinite(signal.size):
        return None
    if not signal.log:
        return amount(abs(signal.size), row.display, row.decimals)
    now = _now(row)
    # Another change is under way: where things stand now says nothing of the one that is over.
    overlaid = signal.status != "open" and row.open_signals
    if overlaid or not math.isfinite(now):
        return f"about {100 * abs(math.exp(signal.size) - 1):.0f} %"
    # What stands now is the new level while the change lasts, and the old one once it is over.
    ratio = math.exp(signal.size)
    before, after = (now / ratio, now) if signal.status == "open" else (now, now * ratio)
    unit, places = row.display, row.decimals
    if number(before, unit, places) == number(after, unit, places):
        places += 1
    return (
        f"{amount(abs(after - before), unit, places)} "
        f"(from about {number(before, unit, places)} to {number(after, unit, places)})"
    )


def ordinary_reach(row: BoardRow, part_sd: float, *, times: float = 1.0) -> str | None:
    """Within how much of one another ordinary parts lie, in the unit people see."""
    if not (math.isfinite(part_sd) and part_sd > 0 and math.isfinite(times)):
        return None
    reach = ACROSS * part_sd * times
    if row.log:
        now = _now(row)
        if not math.isfinite(now):
            return f"{100 * (math.exp(reach) - 1):.0f} %"
        reach = now * (math.exp(reach / 2) - math.exp(-reach / 2))
    return amount(reach, row.display, row.decimals)


def _usual(row: BoardRow) -> str | None:
    """Within how much the next part is expected, in the unit people see."""
    if row.band is None or not all(map(math.isfinite, row.band)):
        return None
    return amount(row.band[1] - row.band[0], row.display, row.decimals)


def checked_on(row: BoardRow, plan: Plan) -> str:
    """What a gauge is held against in a process of its own: its master, or a second gauge."""
    return "the other gauge" if row.operation in plan.gauges else "its master"


def _has_target(row: BoardRow, plan: Plan) -> bool:
    """Whether the plan says where the feature should lie: a limit on one side alone is no target."""
    return any(
        spec.target is not None
        or spec.nominal is not None
        or (spec.lower is not None and spec.upper is not None)
        for spec in plan.specifications
        if spec.feature == row.feature
    )


def _last(row: BoardRow, plan: Plan) -> str:
    """Where the last part lay, with its unit and what it is counted from."""
    if not row.recent or not math.isfinite(row.recent[-1]):
        return ""
    value = row.recent[-1]
    if row.log or row.feature_kind == "time":
        return f"the last one read {amount(value, row.display, row.decimals)}"
    where = checked_on(row, plan) if row.is_gauge else "target" if _has_target(row, plan) else None
    if where is None:
        entry = plan.features.get(row.feature)
        signed = entry is not None and entry.derive is not None
        told = amount(value, row.display, row.decimals, signed=True) if signed else ""
        return f"the last one read {told or size(value, row.display, row.decimals)}"
    if number(value, row.display, row.decimals).strip("0.") == "":
        return f"the last one was on {where}, 0 {unit_text(row.display)} off"
    side = "above" if value > 0 else "below"
    return f"the last one was {amount(abs(value), row.display, row.decimals)} {side} {where}"


def change_text(row: BoardRow, signal: SignalFact, plan: Plan) -> str:
    """What a signal says happened, with its size, as the end of a sentence that began with the feature."""
    if signal.monitor == "tool life":
        return _life_text(row, signal, plan)
    if signal.monitor in ("scatter", "spread within part"):
        return _wider_text(row, signal)
    up, down = UP_DOWN.get(row.feature_kind, UP_DOWN["form"])
    words = (up if signal.direction > 0 else down)[signal.status != "open"]
    by = moved_by(row, signal)
    return f"{words} by {by}" if by else f"{words} by an amount that cannot be told yet"


def _wider_text(row: BoardRow, signal: SignalFact) -> str:
    ratio = math.exp(signal.size) if math.isfinite(signal.size) else math.nan
    more = "less" if signal.direction < 0 else "more"
    differs = "now differs" if signal.status == "open" else "differed"
    among = "from block to block"
    if signal.monitor == "spread within part":
        among = (
            f"from {signal.within} to {signal.within} on one block" if signal.within else "within one block"
        )
    wide = ordinary_reach(row, signal.part_sd, times=ratio)
    usual = ordinary_reach(row, signal.part_sd)
    if wide and usual:
        return f"{differs} {more} {among}, by up to about {wide} where {usual} was usual"
    return f"{differs} {more} {among}" + (f" than the usual {usual}" if usual else "")


def _life_text(row: BoardRow, signal: SignalFact, plan: Plan) -> str:
    renewal = renewal_of(row, plan)
    unit = signal.wear_unit or (renewal.unit if renewal else "parts")
    what = renewal.name if renewal else "tool"
    live = signal.status == "open"
    # The size of a life is told as its uses, or as the logarithm of its uses over the usual ones.
    so_far = signal.part_sd * math.exp(signal.size) if signal.log else signal.size
    uses = so_far if math.isfinite(so_far) or signal.wear is None else signal.wear
    done = f"{uses:.0f} {unit}" if math.isfinite(uses) else f"more {unit} than any before"
    usual = f", where about {signal.part_sd:.0f} is usual" if math.isfinite(signal.part_sd) else ""
    comes, has = ("comes", "has") if live else ("came", "had")
    return f"{comes} from a set of {what} that {has} done {done} without a change in the log{usual}"


def began(signal: SignalFact) -> str:
    """When a change began and when it was noticed."""
    if signal.change_to - signal.change_from > WIDE:
        between = f"some day between {day(signal.change_from)} and {day(signal.change_to)}"
        return f"since {between} (noticed {day(signal.since)})"
    if signal.changed == signal.since:
        return f"since {day(signal.since)}"
    return f"since about {day(signal.changed)} (noticed {day(signal.since)})"


def noticed(row: BoardRow, signal: SignalFact, plan: Plan) -> str:
    """What was noticed on a process, without advice, as a sentence without its point."""
    # What was usual must not read as usual since that day.
    pause = "" if signal.monitor == "level" else ","
    return f"{machine_text(row)}: {row.feature_name} {change_text(row, signal, plan)}{pause} {began(signal)}"


def cleared_text(signal: SignalFact) -> str:
    """How a signal that is no longer open went away."""
    if signal.closing is not None:
        cause = f": {signal.closing.cause}" if signal.closing.cause else ""
        return f"closed by {signal.closing.who}, {signal.closing.outcome}{cause}"
    if signal.status == "withdrawn":
        return f"withdrawn: rows in {signal.withdrawn_by or 'a later file'} arrived late and removed it"
    if signal.status == "cleared" and signal.cure is not None:
        return f"cleared after {signal.cure.kind_name} on {day(signal.cure.time)}"
    if signal.status == "back":
        return "back by itself: what was done?"
    return "open" if signal.status == "open" else signal.status


def reason(row: BoardRow, plan: Plan) -> str:
    """Why a process stands where it stands: one sentence.

    Parameters
    ----------
    row : BoardRow
        The process as the board shows it.
    plan : Plan
        For the tool whose life is counted.

    Returns
    -------
    str
        Ends with a full stop and holds no other sentence end.
    """
    who = machine_text(row)
    what = row.feature_name
    live = row.open_signals
    first = live[-1] if live else None
    if row.state is State.GAUGE_IN_DOUBT and row.doubt is not None:
        return _doubt(row, plan, first)
    if row.state is State.OUT_OF_TOLERANCE and row.out is not None:
        order = look_at(row, plan, first)
        return f"{who}: {what} of {out_text(row, row.out, plan)}: set the block aside, measure it again and {order}."
    if first is not None and row.state in (State.GOING_OFF, State.GAUGE_IN_DOUBT):
        return f"{noticed(row, first, plan)}{as_if(row)}: {_do(row, plan, first)}."
    if row.last_time is None:
        return f"{who}: {what} has no reading yet: measure the first block."
    last = _last(row, plan)
    thing, things = ("check", "checks") if row.is_gauge else ("block", "blocks")
    if row.operation in plan.gauges:
        thing, things = "audit", "audits"
    if row.state is State.LEARNING:
        after = f" and {last}" if last else ""
        if row.beyond is not None:
            after += f", and {beyond_text(row, row.beyond, plan)}"
        left = max(1, row.needed - row.scored)
        return (
            f"{who}: {what} is still being learned, {row.scored} of {row.needed} {things} by "
            f"{day(row.last_time)}{after}: measure {left} more before relying on it."
        )
    if row.state is State.SILENT:
        gap = (
            f", where one every {max(1.0, row.usual_gap):.0f} working days is usual" if row.usual_gap else ""
        )
        days = row.silent_days or 0
        return (
            f"{who}: {what} has had no {thing} for {days} working days, since {day(row.last_time)}{gap}, and "
            f"{last or 'nothing is known since'}: measure one, or note that the machine stands."
        )
    if row.state is State.WATCH:
        usual = _usual(row)
        band = f" where the next is expected within {usual}" if usual else ""
        return (
            f"{who}: {what} may have begun to move, {last}{band}, as of {day(row.last_time)}: keep an eye on "
            f"the next blocks and {look_at(row, plan)} if they go the same way."
        )
    for signal in row.unconfirmed:
        return _gone(row, signal, plan)
    if row.beyond is not None:
        return beyond_reason(who, row, row.beyond, plan)
    usual = _usual(row)
    within = f", {things} are expected within {usual} of one another" if usual else ""
    return f"{who}: {what} holds as of {day(row.last_time)}{within}, {last or 'as before'}: nothing to do."


def _gone(row: BoardRow, signal: SignalFact, plan: Plan) -> str:
    """A signal that is over and waits for a person's word."""
    yet = ""
    if row.beyond is not None and (signal.cleared_on is None or row.beyond.latest > signal.cleared_on):
        yet = f", yet {beyond_text(row, row.beyond, plan)}"
    if signal.status != "cleared" or signal.cure is None:
        if row.beside is not None:
            return (
                f"{noticed(row, signal, plan)} and came back by itself{yet}, while {row.beside} from the same readings "
                f"is still off: look at that first, and say what was done."
            )
        return f"{noticed(row, signal, plan)} and came back by itself{yet}: say what was done."
    done = f"{signal.cure.kind_name} on {day(signal.cure.time)}"
    if signal.monitor == "tool life":
        return f"{noticed(row, signal, plan)}, until {done}{yet}: confirm that this was the change."
    return f"{noticed(row, signal, plan)} and is back after {done}{yet}: confirm that this was the cause."


def _do(row: BoardRow, plan: Plan, signal: SignalFact) -> str:
    order = look_at(row, plan, signal)
    if signal.monitor == "tool life":
        return f"{order}, or log the change if it was made"
    if row.is_gauge:
        return order
    renewal = renewal_of(row, plan)
    if renewal is not None and order.endswith(renewal.name):
        return f"{order} before the next block{left_note(row)}"
    return f"{order} before the next block, and log what was done"


def _doubt(row: BoardRow, plan: Plan, first: SignalFact | None) -> str:
    assert row.doubt is not None
    gauge = named(row.doubt.gauge, row.doubt.gauge_name)
    if row.is_gauge and first is not None:
        on = "" if row.operation in plan.gauges else " on its master"
        return (
            f"{noticed(row, first, plan)}{on}: {look_at(row, plan, first)}, and measure again what "
            "it passed since."
        )
    last = _last(row, plan)
    after = f" ({last})" if last else ""
    against = "what a second gauge finds" if row.doubt.process.split("/")[1] in plan.gauges else "its master"
    return (
        f"{machine_text(row)}: {row.feature_name}{after} is measured with {gauge}, which has been reading "
        f"off {against} since {day(row.doubt.since)}: set or repair the gauge, then measure again what it "
        "passed."
    )
