"""What is said of blocks beyond a limit: the latest one, and how many of the latest."""

from __future__ import annotations

from typing import TYPE_CHECKING

from dashboard.words.advice import look_at
from dashboard.words.amounts import amount, count, day, size
from ingest.answers.processes import BeyondFact, BoardRow, OutFact
from ingest.plans.places import place_text

if TYPE_CHECKING:
    from ingest.plans.model import Plan


def out_text(row: BoardRow, out: OutFact, plan: Plan) -> str:
    """The worst value of a block beyond a limit: block, value, place, day, how far, and how many more."""
    place = place_text(plan, out.position, out.family)
    where = f" at {place}" if place else ""
    past = amount(abs(out.value - out.limit), row.display, row.decimals)
    limit = size(out.limit, row.display, row.decimals)
    more = f", and {count(out.count - 1, 'more place')} of it likewise" if out.count > 1 else ""
    return (
        f"block {out.serial} measured {size(out.value, row.display, row.decimals)}{where} "
        f"on {day(out.when)}, {past} {out.side} the limit of {limit}{more}"
    )


def beyond_text(row: BoardRow, beyond: BeyondFact, plan: Plan) -> str:
    """How many of the latest blocks lay beyond a limit, as a clause: "7 of the last 40 blocks were below …"."""
    side = "above" if not beyond.below else "below" if not beyond.above else "outside"
    feature = plan.features.get(beyond.feature)
    of = f" for {feature.name}" if feature is not None and beyond.feature != row.feature else ""
    limit = "the limits" if side == "outside" else "the limit"
    were, when = ("was", "on") if beyond.parts == 1 else ("were", "the latest on")
    return (
        f"{beyond.parts} of the last {count(beyond.of, 'block')} {were} {side} {limit}{of}, {when} "
        f"{day(beyond.latest)}"
    )


def _off_middle(row: BoardRow, beyond: BeyondFact) -> bool:
    """Whether the blocks lie to the side on which they fail by more than they ordinarily differ."""
    if beyond.offset is None or beyond.feature != row.feature or row.band is None:
        return False
    one_side = beyond.below == 0 if beyond.offset > 0 else beyond.above == 0
    # The band is three ordinary spreads to each side.
    return one_side and abs(beyond.offset) > (row.band[1] - row.band[0]) / 6.0


def beyond_reason(who: str, row: BoardRow, beyond: BeyondFact, plan: Plan) -> str:
    """A process that runs as it always did, and always made some blocks beyond a limit."""
    start = (
        f"{who}: {row.feature_name} holds as of {day(row.last_time)}, but {beyond_text(row, beyond, plan)}"
    )
    if _off_middle(row, beyond):
        assert beyond.offset is not None
        by = amount(abs(beyond.offset), row.display, row.decimals)
        side = "above" if beyond.offset > 0 else "below"
        settable = row.feature_kind in ("size", "height")
        order = "set the machine back to the middle" if settable else look_at(row, plan)
        return (
            f"{start}, and on the whole they lie {by} {side} the middle of the limits: make sure that what was out "
            f"was put right, and {order}."
        )
    if beyond.parts == 1:
        return f"{start}: make sure that this block was put right, and watch whether more follow."
    return (
        f"{start}, for blocks differ more than the limits allow: make sure that what was out was put right, and "
        f"{look_at(row, plan, wider=True)}."
    )
