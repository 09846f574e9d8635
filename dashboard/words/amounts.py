"""How sizes, dates, ages and rarities are written for people: one place, so that no two pages disagree."""

from __future__ import annotations

import math
from datetime import date, datetime

from spc.units import from_base

SHOWN_UNITS = {"uin": "µin", "um": "µm", "degC": "°C"}
"""Units that are written differently on screen than in the plan; every other unit is shown as it is."""

DAYS_PER_MONTH = 30.4
NOT_CHANCE_YEARS = 10
"""What chance alone shows less often than this is not taken for chance."""
MINUS = "\u2212"


def unit_text(unit: str) -> str:
    """The unit as people write it."""
    return SHOWN_UNITS.get(unit, unit)


def number(value: float, unit: str, decimals: int, *, signed: bool = False) -> str:
    """A value of the base unit as a number in `unit`, without the unit.

    Parameters
    ----------
    value : float
        In the base unit of its dimension (µm, min or °C).
    unit : str
        Unit to show.
    decimals : int
        Places after the point. A value that would round to nothing is shown with up to two places more.
    signed : bool
        Write a plus sign too.

    Returns
    -------
    str
        ``"–"`` when the value is not a number.
    """
    if not math.isfinite(value):
        return "–"
    shown = from_base(value, unit)
    places = decimals
    while shown != 0 and round(shown, places) == 0 and places < decimals + 2:
        places += 1
    text = f"{abs(shown):.{places}f}"
    if float(text) == 0:
        return text
    sign = MINUS if shown < 0 else ("+" if signed else "")
    return sign + text


def amount(value: float, unit: str, decimals: int, *, signed: bool = False) -> str:
    """A value of the base unit with its unit: ``"0.12 thou"``."""
    return f"{number(value, unit, decimals, signed=signed)} {unit_text(unit)}"


COARSER = {"thou": ("in", 100.0, 3), "um": ("mm", 1000.0, 3)}
"""A whole size is written in the coarser unit, 2.5106 in and not 2510.6 thou: (unit, from, places more)."""


def size_unit(value: float, unit: str, decimals: int) -> tuple[str, int]:
    """Unit and places in which a whole size is written, given those of its deviations."""
    coarser = COARSER.get(unit)
    if coarser is None or abs(from_base(value, unit)) < coarser[1]:
        return unit, decimals
    return coarser[0], decimals + coarser[2]


def size(value: float, unit: str, decimals: int) -> str:
    """A whole size with its unit: ``"2.51063 in"`` for a feature whose deviations are shown in thou."""
    return amount(value, *size_unit(value, unit, decimals))


def day(when: date | datetime | None) -> str:
    """A day as people write it: ``"7 Mar 2025"``; ``"–"`` when not known."""
    if when is None:
        return "–"
    return f"{when.day} {when:%b} {when.year}"


def moment(when: datetime | None) -> str:
    """A day and a time of day: ``"7 Mar 2025 14:05"``."""
    return "–" if when is None else f"{day(when)} {when:%H:%M}"


def age(then: datetime | None, now: datetime) -> str:
    """How long ago something was, in the largest unit that still says enough."""
    if then is None:
        return "never"
    minutes = (now - then).total_seconds() / 60
    if minutes < 2:
        return "just now"
    if minutes < 90:
        return f"{minutes:.0f} minutes ago"
    if minutes < 36 * 60:
        return f"{minutes / 60:.0f} hours ago"
    days = minutes / (24 * 60)
    if days < 60:
        return f"{days:.0f} days ago"
    return f"{days / DAYS_PER_MONTH:.0f} months ago"


def rarity(days: float | None) -> str:
    """How often chance alone would show something: ``"about once in 14 months"``.

    Parameters
    ----------
    days : float or None
        Chance interval; None when it is larger than can be told.
    """
    if days is None or not math.isfinite(days):
        return "rarer than can be told"
    if days < 1.5:
        return "every day"
    if days < 45:
        return f"about once in {days:.0f} days"
    months = days / DAYS_PER_MONTH
    if months < 24:
        return f"about once in {months:.0f} months"
    years = months / 12
    if years < 100:
        return f"about once in {years:.0f} years"
    return "less than once in 100 years"


def by_chance(days: float | None) -> str:
    """Whether chance alone may have shown something, in words that weigh it: ``"hardly chance, which …"``.

    Parameters
    ----------
    days : float or None
        Chance interval; None when it is larger than can be told.

    Returns
    -------
    str
        Beyond ten years no figure: nobody weighs how much longer, and the same figure on every row hides the few
        that need weighing.
    """
    if days is None or not math.isfinite(days) or days >= NOT_CHANCE_YEARS * 12 * DAYS_PER_MONTH:
        return "not chance"
    word = "hardly chance" if days >= 12 * DAYS_PER_MONTH else "could be chance"
    return f"{word}, which shows as much {rarity(days)}"


def count(n: int, one: str, many: str | None = None) -> str:
    """A number with its noun in the right form: ``"1 row"``, ``"2 rows"``."""
    return f"{n:,} {one if n == 1 else (many or one + 's')}"


def sentence_case(text: str) -> str:
    """The text with its first letter large, the rest untouched."""
    return text[:1].upper() + text[1:]
