"""What may stand behind a change, in words that suggest and never assert."""

from __future__ import annotations

from ingest.answers.processes import BoardRow, CauseFact

CLEAR = 0.5
"""Share from which one cause stands out enough to be named in the one sentence of the list."""
APART = {
    "family": "Only one family has been made often enough since, so the machine and the family cannot be told apart.",
    "gauge": "Only one gauge has measured it since, so the machine and the gauge cannot be told apart.",
    "person": (
        "Who measured cannot be told from the machine: that takes the same people on more than one machine in the "
        "same time, or one block measured by several."
    ),
}


def as_if(row: BoardRow) -> str:
    """What the list says of the cause, after what was noticed: ``", as if the stones have glazed or loaded"``."""
    if row.causes and row.causes[0].share >= CLEAR and not row.is_gauge:
        return f", as if {row.causes[0].name}"
    return ""


def fit_text(cause: CauseFact) -> str:
    """How well a cause fits, in words: shares are for ranking."""
    if cause.share >= 0.8:
        return "fits well"
    return "fits best of what was compared" if cause.share >= CLEAR else "may be"


def apart_texts(apart: tuple[str, ...]) -> tuple[str, ...]:
    """What the data cannot separate: the texts of `BoardRow.apart`."""
    return tuple(APART[key] for key in apart if key in APART)
