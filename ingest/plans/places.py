"""Positions on a part in the words of the shop: ``deck=L;point=4`` is "left deck, point 4"."""

from __future__ import annotations

from ingest.plans.model import Plan, parse_position

_STAND_ALONE = (
    {"V": "vertical", "H": "horizontal"},
    {"T": "top", "M": "middle", "B": "bottom"},
    {"T": "top", "B": "bottom"},
)
"""Letters of an axis that say enough without its name; common practice of the trade, no source."""
_BEFORE_NAME = ({"L": "left", "R": "right"}, {"F": "front", "R": "rear"})
"""Letters of an axis that stand before its name: "left deck"."""


def place_text(plan: Plan, position: str, family: str | None = None) -> str:
    """A position as people say it.

    Parameters
    ----------
    plan : Plan
        Its axes say what a letter means: V and H are directions only where an axis has just these two.
    position : str
        As stored: axis values joined by semicolons; "" for a value of the whole part.
    family : str, optional
        Family (or master) of the part. An axis that has one value on it is left out where another is there to
        say, for it tells nothing: one deck is "the deck".

    Returns
    -------
    str
        ``"main 3 vertical"``, ``"left deck, point 4"``, ``"mains 1 and 2"`` for the step between two; "" for
        the whole part.
    """
    parts = parse_position(position)
    told = (
        {axis: v for axis, v in parts.items() if len(plan.axis_values(axis, family)) != 1}
        if family
        else parts
    )
    text = ""
    for axis, value in (told or parts).items():
        phrase, alone = _phrase(_values(plan, axis), axis.replace("_", " "), value)
        text += phrase if not text else f" {phrase}" if alone else f", {phrase}"
    return text


def _phrase(values: frozenset[str], axis: str, value: str) -> tuple[str, bool]:
    """One axis and its value in words, and whether it follows the one before it without a comma."""
    for words in _STAND_ALONE:
        if values == frozenset(words) and value in words:
            return words[value], True
    for words in _BEFORE_NAME:
        if frozenset(words) <= values and value in words:
            return f"{words[value]} {axis}", False
    first, dash, second = value.partition("-")
    if dash and first in values and second in values:
        return f"{axis}s {first} and {second}", False
    if value.replace(" ", "").isalpha() and len(value) > 2:
        return value, False
    return f"{axis} {value}", False


def _values(plan: Plan, axis: str) -> frozenset[str]:
    """Every value of an axis, over all families."""
    shared = plan.axes.get(axis, ())
    return frozenset(shared).union(*(family.axes.get(axis, ()) for family in plan.families.values()))
