"""What to do about a process, from what the plan says of it and from the words of the trade.

The fault pictures are common practice of the trade, no source: what usually stands behind a feature that
moves. They name a thing to look at, never a culprit; the shop decides.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from ingest.answers.processes import BoardRow, SignalFact

if TYPE_CHECKING:
    from ingest.plans.model import Plan, Renewal

# First word found in the feature's name wins, so the more particular words stand first.
LOOK_AT_SHAPE: tuple[tuple[str, str], ...] = (
    ("taper", "check the slide and the stroke of the machine"),
    ("bank", "check how the part is clamped and located"),
    ("end", "check the guide shoes and the straightness of the bar"),
    ("step", "check the guide shoes and the straightness of the bar"),
    ("align", "check the guide shoes and the straightness of the bar"),
    ("out-of-round", "check the clamping, the caps and their torque"),
    ("round", "check the clamping, the caps and their torque"),
    ("flat", "check the tram of the head and the clamping"),
    ("slope", "check the tram of the head and the clamping"),
)

LOOK_AT_SPREAD: dict[str, str] = {
    "size": "check the tool, the clamping and the gauge",
    "height": "check how the part is clamped and located",
    "form": "check the clamping, the slides and the tool",
}
"""What makes parts, or places on a part, differ more than they did."""

LOOK_AT_KIND: dict[str, str] = {
    "size": "check the setting of the machine and of the gauge",
    "height": "check the setting, the clamping and whether the machine was warm",
    "form": "check the clamping, the slides and the tool",
    "finish": "look at the cutting edge and the coolant",
    "time": "look at the cutting edge and the feed",
}


def renewal_of(row: BoardRow, plan: Plan) -> Renewal | None:
    """The tool whose life is counted for this process, if the plan names one."""
    for renewal in plan.renewals:
        if renewal.machine == row.machine and row.feature in renewal.features:
            return renewal
    return None


def renew(renewal: Renewal) -> str:
    """What is done to a tool at the end of its life: ``"dress or change the finish stones"``."""
    dressed = any("dress" in kind for kind in renewal.events)
    return f"{'dress or change' if dressed else 'change'} the {renewal.name}"


def look_at(row: BoardRow, plan: Plan, signal: SignalFact | None = None, *, wider: bool = False) -> str:
    """What to look at first on the machine, as an order without subject: ``"check the slide and …"``.

    Parameters
    ----------
    row : BoardRow
        The process.
    plan : Plan
        Names the tool, if its life is counted.
    signal : SignalFact, optional
        What was noticed, where something was.
    wider : bool
        Parts differ more than they should, without a signal that says so.

    Returns
    -------
    str
        Lower case, without a final point.
    """
    if row.is_gauge:
        return "set the gauge on its master again, have it repaired if it still reads off, and log it"
    renewal = renewal_of(row, plan)
    if renewal and (row.feature_kind in ("finish", "time") or (signal and signal.monitor == "tool life")):
        return renew(renewal)
    name = row.feature_name.lower()
    for word, order in LOOK_AT_SHAPE:
        if word in name and row.feature_kind in ("form", "size"):
            return order
    wider = wider or (signal is not None and signal.monitor in ("scatter", "spread within part"))
    if wider and row.feature_kind in LOOK_AT_SPREAD:
        return LOOK_AT_SPREAD[row.feature_kind]
    return LOOK_AT_KIND.get(row.feature_kind, "look at the machine, the tool and the gauge")
