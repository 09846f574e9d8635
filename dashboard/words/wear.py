"""What is said of a tool that wears: how much is left, whether it wears as usual, what to do, and why."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from dashboard.words.advice import renew
from dashboard.words.amounts import amount, day, rarity, size
from dashboard.words.left import left_text
from ingest.answers.processes import BoardRow, LeftFact, State
from ingest.answers.wear import CompanionFact

if TYPE_CHECKING:
    from ingest.plans.model import Plan, Renewal

SOON = 0.15
"""Part of a usual life that counts as soon."""
CAUTION = (
    "If it goes on as it does. The maker's specification and the shop's qualified sign-off decide whether a part "
    "may be used; a forecast does not."
)


@dataclass(frozen=True)
class Advice:
    """What to do about a tool: one word, the sentence that says why, and how pressing it is (0 most)."""

    word: str
    """dress | change | watch | learning | nothing."""
    why: str
    rank: int


def limit_text(row: BoardRow, plan: Plan) -> str:
    """Which limit comes first: ``"the lower limit 0.120 µm"``; empty when none is in sight."""
    left = row.left
    if left is None or not left.side or left.limit is None:
        return ""
    several = len({s.families for s in plan.specifications if s.feature == row.feature}) > 1
    family = f" of {plan.families[left.family].name}" if several and left.family in plan.families else ""
    side = "upper" if left.side > 0 else "lower"
    return f"the {side} limit{family}, {size(left.limit, row.display, row.decimals)}"


def faster_text(left: LeftFact) -> str:
    """That this set wears faster than its predecessors, with how rarely chance shows it; empty when it does not."""
    if not left.faster:
        return ""
    return (
        f"This set wears faster than the {left.taught} before it that had no trouble; chance alone shows that "
        f"{rarity(left.faster_days)}."
    )


def _beside(one: CompanionFact) -> str:
    """What one companion does, after "beside it": ``"cycle time is 1.28 times the usual"``."""
    if one.difference is not None:
        return f"{one.feature_name} is {amount(one.difference, one.display, one.decimals, signed=True)} from the usual"
    what = f"the scatter of {one.feature_name} within a block" if one.scatter else one.feature_name
    return f"{what} is {one.ratio:.2f} times the usual"


def beside_text(left: LeftFact, found: Sequence[CompanionFact]) -> str:
    """What else this set makes, and whether it bears out what is said of its wear; empty where nothing can be held
    against earlier sets."""
    known = [one for one in found if one.ratio is not None or one.difference is not None]
    if not known:
        return ""
    moved = [_beside(one) for one in known if one.moved]
    if moved:
        bears = (
            "What else this set makes bears that out"
            if left.faster
            else "But something else this set makes moves"
        )
        return f"{bears}: {'; '.join(moved)} at this age."
    names = ", ".join(f"scatter of {one.feature_name}" if one.scatter else one.feature_name for one in known)
    if left.faster:
        return f"Nothing else this set makes bears that out yet: {names} move as in earlier sets."
    return f"What else this set makes moves as in earlier sets: {names}."


def missed_text(left: LeftFact) -> str:
    """That the set looks renewed without a word in the log; empty where it does not."""
    if left.renewed_at is None:
        return ""
    return (
        f"At about {left.renewed_at:.0f} {left.unit} it suddenly looks like a fresh set: was it dressed or changed and "
        "not logged? Log it, so that what is left can be told."
    )


def set_text(left: LeftFact) -> str:
    """Which set is on the machine, since when, how far."""
    name = left.tool or "the set in use"
    since = f", on since {day(left.since)}" if left.since else ", on since before the log began"
    usual = f" of about {left.usual:.0f} usual" if left.usual else ""
    return f"{name}{since}, {left.uses:.0f} {left.unit} done{usual}"


def dresses(renewal: Renewal) -> bool:
    """The tool can be dressed."""
    return any("dress" in kind for kind in renewal.events)


def advice(renewal: Renewal, rows: Sequence[BoardRow]) -> Advice:
    """What to do about a tool, from the processes that it makes.

    Parameters
    ----------
    renewal : Renewal
    rows : sequence of BoardRow
        Its processes that have a `left`, in the order of the list.

    Returns
    -------
    Advice
        *dress* or *change* when a limit is reached or very near, a process is off, or the usual life is over;
        *watch* when a limit is coming or the set wears faster than usual.
    """
    lefts = [(row, row.left) for row in rows if row.left is not None]
    if not lefts:
        return Advice("learning", f"Nothing has been measured with the {renewal.name} yet.", 3)
    _, one = lefts[0]
    dressed = "dress" in (one.began_with or "")
    renewing = "dress" if dresses(renewal) and not dressed else "change"
    usual = one.usual or 0.0
    near = [(row, left) for row, left in lefts if left.p50 is not None and left.p50 <= max(SOON * usual, 2.0)]
    if near:
        row, left = min(near, key=lambda pair: pair[1].p50 or 0.0)
        return Advice(
            renewing, f"{row.feature_name[:1].upper()}{row.feature_name[1:]}: {left_text(left)}.", 0
        )
    off = [row for row, _ in lefts if row.open_signals or row.state is State.OUT_OF_TOLERANCE]
    if off:
        names = " and ".join(row.feature_name for row in off[:2])
        more = f" and {len(off) - 2} more" if len(off) > 2 else ""
        return Advice(renewing, f"{names[:1].upper()}{names[1:]}{more} went off with this set.", 1)
    if usual and one.uses >= usual:
        return Advice(
            renewing, f"It has done {one.uses:.0f} {one.unit}, where about {usual:.0f} is usual.", 1
        )
    fast = [(row, left) for row, left in lefts if left.faster]
    if fast:
        row, left = fast[0]
        return Advice(
            "watch", f"{row.feature_name[:1].upper()}{row.feature_name[1:]} wears faster than usual.", 2
        )
    told = [(row, left) for row, left in lefts if left.p50 is not None]
    if told:
        row, left = min(told, key=lambda pair: pair[1].p50 or 0.0)
        ahead = f"{left_text(left)} before {row.feature_name} reaches its limit"
        if usual and (left.p50 or 0.0) + one.uses < usual:
            return Advice("watch", f"It will not last the usual {usual:.0f} {one.unit}: {ahead}.", 2)
        return Advice("nothing", f"{ahead[:1].upper()}{ahead[1:]}.", 4)
    if all(left.reason == "learning" for _, left in lefts):
        return Advice("learning", f"{left_text(one)[:1].upper()}{left_text(one)[1:]}.", 3)
    to_go = f", about {usual - one.uses:.0f} {one.unit} before the usual {renewing}" if usual else ""
    return Advice("nothing", f"It wears as usual and no limit is in sight{to_go}.", 4)


def advice_text(renewal: Renewal, word: str) -> str:
    """The word of an advice as an order or a state."""
    orders = {
        "dress": f"{renew(renewal)} before the next block",
        "change": f"change the {renewal.name} before the next block",
        "watch": "keep an eye on it",
        "learning": "still learning",
        "nothing": "nothing to do",
    }
    text = orders[word]
    return text[:1].upper() + text[1:]
