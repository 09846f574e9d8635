"""How much is left of a tool, in words."""

from __future__ import annotations

from ingest.answers.processes import BoardRow, LeftFact


def about(uses: float) -> str:
    """A number of uses as people say it: the more, the rounder."""
    if uses < 20:
        return f"{uses:.0f}"
    step = 5 if uses < 200 else 50 if uses < 2000 else 100
    return f"{step * round(uses / step)}"


def left_text(left: LeftFact) -> str:
    """How much is left before a limit, as the end of a sentence; what is not known is said."""
    unit = left.unit
    if left.reason == "no limit":
        return "the plan names no limit for it"
    if left.reason == "learning":
        return (
            f"still learning how it wears: {left.missing_parts} more blocks of this set, or "
            f"{max(1, 4 - left.taught)} more finished sets without trouble, are missing"
        )
    if left.p10 is None:
        return f"no limit within the next {about(left.horizon)} {unit}"
    if left.p50 is None:
        return f"the limit may come in about {about(left.p10)} {unit}, more likely later than can be said"
    if left.p50 == 0:
        return "the limit is reached"
    if left.p90 is None:
        return f"about {about(left.p50)} {unit} left, at least {about(left.p10)}"
    if left.p10 == 0:
        return f"about {about(left.p50)} {unit} left, at most {about(left.p90)}"
    return f"about {about(left.p50)} {unit} left ({about(left.p10)} to {about(left.p90)})"


NEAR = 0.25
"""Part of a usual life within which what is left belongs beside the order to renew the tool now."""


def left_note(row: BoardRow) -> str:
    """What follows an order on the list: ``", about 15 bores left (5 to 30)"``; empty unless a limit is near."""
    left = row.left
    if left is None or left.p50 is None or (left.usual is not None and left.p50 > NEAR * left.usual):
        return ""
    return f", {left_text(left)}"
