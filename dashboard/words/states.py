"""What each state of a process is called and how it looks: a word, a shape and a colour, never colour alone.

Colours are those of Okabe & Ito, "Color Universal Design: how to make figures and presentations that are
friendly to colorblind people" (2002, revised 2008), named in the style sheet by the same keys. The shapes
differ in outline, so that they still tell the states apart in one ink on paper.
"""

from __future__ import annotations

from dataclasses import dataclass

from markupsafe import Markup

from ingest.answers.processes import State


@dataclass(frozen=True)
class Look:
    """How a state is shown."""

    word: str
    colour: str
    """Name of the CSS variable, without the dashes."""
    shape: str
    """Inner SVG of a 24 x 24 picture drawn in the current colour."""
    urgent: bool
    """Somebody should do something about it."""


LOOKS: dict[State, Look] = {
    State.GAUGE_IN_DOUBT: Look(
        "Gauge in doubt",
        "purple",
        '<path d="M12 1.5 22.5 12 12 22.5 1.5 12Z"/>'
        '<path class="cut" d="M9 9.6a3 3 0 1 1 4.3 2.7c-.9.5-1.3 1-1.3 2" fill="none"/>'
        '<circle class="dot" cx="12" cy="17" r="1.2"/>',
        True,
    ),
    State.OUT_OF_TOLERANCE: Look(
        "Out of tolerance",
        "vermilion",
        '<rect x="2.5" y="2.5" width="19" height="19"/><path class="cut" d="m8 8 8 8m0-8-8 8"/>',
        True,
    ),
    State.GOING_OFF: Look("Going off", "orange", '<path d="M12 1.8 23 21.5H1Z"/>', True),
    State.LEARNING: Look(
        "Learning",
        "sky",
        '<circle class="line" cx="12" cy="12" r="9" stroke-dasharray="4.2 3"/>',
        False,
    ),
    State.SILENT: Look(
        "Silent", "grey", '<path class="line" d="M4 12h4m3 0h2m3 0h4" stroke-width="3.4"/>', False
    ),
    State.WATCH: Look(
        "Watch",
        "blue",
        '<path class="line" d="M12 3a9 9 0 1 1 0 18 9 9 0 0 1 0-18Z"/><path d="M12 3a9 9 0 0 1 0 18Z"/>',
        False,
    ),
    State.HOLDING: Look("Holding", "green", '<circle cx="12" cy="12" r="9"/>', False),
}


def look(state: State | str) -> Look:
    """The look of a state."""
    return LOOKS[State(state)]


def glyph(state: State | str) -> Markup:
    """The shape of a state as inline SVG; the word stands beside it, so it is hidden from a screen reader."""
    how = look(state)
    return Markup(  # both are written above, neither comes from a shop
        f'<svg class="glyph {how.colour}" viewBox="0 0 24 24" aria-hidden="true" focusable="false">{how.shape}</svg>'
    )
