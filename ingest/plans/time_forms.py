"""Times as exports write them: a declared form, read strictly, and the shop's clock turned into UTC.

`strptime` is not used: it accepts forms nobody declared (missing leading zeros, stray blanks, digits of
other scripts). A form is compiled to a pattern of its own and each part is checked.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta, timezone
from functools import lru_cache
from zoneinfo import ZoneInfo

_PARTS = {
    "Y": r"(?P<Y>[0-9]{4})", "y": r"(?P<y>[0-9]{2})", "m": r"(?P<m>[0-9]{1,2})", "d": r"(?P<d>[0-9]{1,2})",
    "b": r"(?P<b>[A-Za-z]{3})", "B": r"(?P<B>[A-Za-z]+)", "H": r"(?P<H>[0-9]{1,2})",
    "I": r"(?P<I>[0-9]{1,2})",
    "M": r"(?P<M>[0-9]{2})", "S": r"(?P<S>[0-9]{2})", "f": r"(?P<f>[0-9]{1,6})",
    "p": r"(?P<p>[AaPp]\.?[Mm]\.?)",
    "z": r"(?P<z>[Zz]|[+-][0-9]{2}:?[0-9]{2})", "%": "%",
}  # fmt: skip
_MONTHS = ("january", "february", "march", "april", "may", "june", "july", "august", "september", "october",
           "november", "december")  # fmt: skip
_SHORT = {name[:3]: number for number, name in enumerate(_MONTHS, 1)}
_LONG = {name: number for number, name in enumerate(_MONTHS, 1)}


class FormError(ValueError):
    """A time form that cannot be used; the message says why."""


@dataclass(frozen=True)
class Form:
    """A declared way to write a time."""

    text: str
    regex: re.Pattern[str]
    parts: frozenset[str]

    @property
    def has_date(self) -> bool:
        """Whether year, month and day are all there."""
        return bool(self.parts & {"Y", "y"}) and bool(self.parts & {"m", "b", "B"}) and "d" in self.parts

    @property
    def has_clock(self) -> bool:
        """Whether an hour is there."""
        return bool(self.parts & {"H", "I"})

    def read(self, text: str) -> datetime | None:
        """The time a text means, with an offset only if the text has one; None if it is not of this form.

        A form without a date gives 1 January 1900, one without a clock midnight.
        """
        match = self.regex.fullmatch(text)
        if match is None:
            return None
        got = match.groupdict()
        try:
            return datetime(
                _year(got), _month(got), int(got.get("d") or 1), _hour(got), int(got.get("M") or 0),
                int(got.get("S") or 0), int((got.get("f") or "0").ljust(6, "0")),
                tzinfo=_offset(got.get("z")),
            )  # fmt: skip
        except (ValueError, KeyError):
            return None

    def could_read(self, other: Form) -> bool:
        """Whether a time written in another form could also match this one: told by sample times."""
        return any(self.regex.fullmatch(sample) for sample in _samples(other.text))


def _year(got: dict[str, str]) -> int:
    if "y" in got:
        return 2000 + int(got["y"])
    return int(got.get("Y") or 1900)


def _month(got: dict[str, str]) -> int:
    if "b" in got:
        return _SHORT[got["b"].lower()]
    if "B" in got:
        return _LONG[got["B"].lower()]
    return int(got.get("m") or 1)


def _hour(got: dict[str, str]) -> int:
    if "I" not in got:
        return int(got.get("H") or 0)
    hour = int(got["I"])
    if not 1 <= hour <= 12:
        raise ValueError("a 12-hour clock runs from 1 to 12")
    return hour % 12 + (12 if got["p"].lower().startswith("p") else 0)


def _offset(text: str | None) -> timezone | None:
    if text is None:
        return None
    if text in "Zz":
        return UTC
    sign = -1 if text[0] == "-" else 1
    minutes = int(text[1:3]) * 60 + int(text[-2:])
    return timezone(sign * timedelta(minutes=minutes))


@lru_cache(maxsize=512)
def compile_form(text: str) -> Form:
    """Compile a form such as ``%Y-%m-%d %H:%M:%S``.

    Legal parts: %Y %y %m %d %b %B %H %I %p %M %S %f %z. A two-digit year is taken as 20yy.

    Raises
    ------
    FormError
        A part is unknown or stands twice, or the parts cannot make a time.
    """
    pattern, parts = "", []
    at = 0
    while at < len(text):
        if text[at] != "%":
            pattern += re.escape(text[at])
            at += 1
            continue
        part = text[at + 1 : at + 2]
        if part not in _PARTS:
            raise FormError(f"'%{part}' is not a part of a time form.")
        if part != "%" and part in parts:
            raise FormError(f"'%{part}' stands twice in '{text}'.")
        parts.append(part)
        pattern += _PARTS[part]
        at += 2
    found = frozenset(parts) - {"%"}
    for rivals in ({"Y", "y"}, {"m", "b", "B"}, {"H", "I"}):
        if len(found & rivals) > 1:
            raise FormError(f"'{text}' says the same thing twice.")
    if ("I" in found) != ("p" in found):
        raise FormError(f"'{text}' needs %I and %p together.")
    if ("M" in found and not found & {"H", "I"}) or ("S" in found and "M" not in found):
        raise FormError(f"'{text}' skips a part of the clock.")
    if "f" in found and "S" not in found:
        raise FormError(f"'{text}' has a fraction but no second.")
    if not found & {"Y", "y", "H", "I"}:
        raise FormError(f"'{text}' holds neither a date nor a clock.")
    return Form(text, re.compile(pattern), found)


_SAMPLES = (
    {"Y": "2026", "y": "26", "m": "5", "d": "4", "b": "May", "B": "May", "H": "5", "I": "5", "M": "06",
     "S": "07", "f": "8", "p": "AM", "z": "Z", "%": "%"},
    {"Y": "2026", "y": "26", "m": "11", "d": "12", "b": "Nov", "B": "November", "H": "10", "I": "10", "M": "14",
     "S": "15", "f": "160000", "p": "PM", "z": "+01:00", "%": "%"},
)  # fmt: skip


@lru_cache(maxsize=512)
def _samples(form: str) -> tuple[str, ...]:
    """Times written in a form, as short and as long as they can be."""
    return tuple(re.sub(r"%(.)", lambda m, s=sample: s[m.group(1)], form) for sample in _SAMPLES)


@dataclass(frozen=True)
class Instant:
    """A local time on the UTC axis: both readings of it, when the clocks go back."""

    first: datetime
    second: datetime

    @property
    def twice(self) -> bool:
        """Whether the local time happened twice that night."""
        return self.first != self.second


def to_utc(local: datetime, zone: ZoneInfo) -> Instant | None:
    """UTC of a zone-less shop time (both, in the hour that comes twice); None in the hour that is skipped.

    Parameters
    ----------
    local : datetime
        Without offset: read in the zone; with offset: that instant.
    zone : ZoneInfo
        The shop's zone.

    Returns
    -------
    instant : Instant or None
        Zone-less UTC datetimes.
    """
    if local.tzinfo is not None:
        utc = local.astimezone(UTC).replace(tzinfo=None)
        return Instant(utc, utc)
    early = local.replace(tzinfo=zone, fold=0).astimezone(UTC)
    late = local.replace(tzinfo=zone, fold=1).astimezone(UTC)
    if early != late and early.astimezone(zone).replace(tzinfo=None) != local:
        return None
    return Instant(early.replace(tzinfo=None), late.replace(tzinfo=None))
