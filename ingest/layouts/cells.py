"""One cell, one meaning: strict readers of numbers, serials and names. Nothing is guessed.

Each reader takes the text of a cell and gives what it means, or a `Complaint` that says why it means nothing.
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass
from itertools import combinations

from ingest.problems import Complaint
from spc.units import UnitError, parse_unit

_DOT = re.compile(r"[+-]?(?:[0-9]+(?:\.[0-9]*)?|\.[0-9]+)(?:[eE][+-]?[0-9]{1,3})?")
_COMMA = re.compile(r"[+-]?(?:[0-9]+(?:,[0-9]*)?|,[0-9]+)(?:[eE][+-]?[0-9]{1,3})?")
_DOT_THOUSANDS = re.compile(r"[+-]?[0-9]{1,3}(?:,[0-9]{3})+\.[0-9]*")
_COMMA_THOUSANDS = re.compile(r"[+-]?[0-9]{1,3}(?:\.[0-9]{3})+,[0-9]*")
_LOOKS_THOUSANDS = re.compile(r"[+-]?[0-9]{1,3}[.,][0-9]{3}")
_WITH_UNIT = re.compile(r"([+-]?[0-9.,]+(?:[eE][+-]?[0-9]{1,3})?)\s*([^\s0-9.,+-].*)")
_MISSING = frozenset({"", "null", "none", "n/a", "na", "#n/a"})
_ALIKE = {"O": "0", "Q": "0", "D": "0", "I": "1", "L": "1", "B": "8", "S": "5", "Z": "2", "G": "6"}


@dataclass(frozen=True)
class Number:
    """A number read from a cell, the unit written behind it if any, and what was noticed."""

    value: float
    unit: str | None = None
    warning: str | None = None


def read_number(text: str, decimal: str, overload: frozenset[str] = frozenset()) -> Number | Complaint | None:
    """A number as gauges write them; None for a cell that is empty.

    Parameters
    ----------
    text : str
        The cell.
    decimal : str
        Decimal sign: ``.``, ``,``; ``either`` of the two, a comma before exactly three digits being ambiguous;
        ``any`` of the two, the comma never being a thousands comma (files whose separator is not the comma).
    overload : frozenset of str
        Codes that mean "no reading", upper case.

    Returns
    -------
    number : Number, Complaint or None
        Complaints: ``missing_value``, ``overload_code``, ``bad_number``, ``ambiguous_number``. Underscores,
        hexadecimal, inf, nan, digits of other scripts and fractions are not numbers.
    """
    plain = text.strip().removeprefix("'").strip()
    if plain.casefold() in _MISSING:
        if not plain:
            return None
        return Complaint("missing_value", f"'{plain}' means that there is no reading.", "Measure it again.")
    if plain.upper() in overload:
        return _overload(plain)
    found = _digits(plain, decimal)
    unit = None
    if found is None:
        match = _WITH_UNIT.fullmatch(plain)
        if match:
            try:
                unit = parse_unit(match.group(2))
            except UnitError:
                unit = None
            found = _digits(match.group(1), decimal) if unit else None
    if found is None:
        legal = {".": "a decimal point", ",": "a decimal comma"}.get(decimal, "a decimal point or comma")
        shown = plain if len(plain) <= 40 else f"{plain[:40]}..."
        reason = f"'{shown}' is not a number with {legal}."
        return Complaint("bad_number", reason, "Correct the cell, or the decimal sign of the layout.")
    if isinstance(found, Complaint):
        return found
    value, warning = found
    if not math.isfinite(value):
        return Complaint("bad_number", f"'{plain}' is too large to be a reading.", "Correct the cell.")
    if any(_same_number(code, value) for code in overload):
        return _overload(plain)
    return Number(value, unit, "unit_in_cell" if unit else warning)


def _overload(text: str) -> Complaint:
    reason = f"'{text}' is what the gauge writes when it has no reading."
    return Complaint("overload_code", reason, "Measure the position again.")


def _same_number(code: str, value: float) -> bool:
    return bool(_DOT.fullmatch(code)) and float(code) == value


def _digits(text: str, decimal: str) -> tuple[float, str | None] | Complaint | None:
    """Value and warning of a bare number in the declared decimal sign."""
    if decimal == "." or "," not in text:
        if decimal != "," and _DOT.fullmatch(text):
            return float(text), None
        if decimal == "," and "." not in text and _COMMA.fullmatch(text):
            return float(text), None
    if decimal != "." and "." not in text and _COMMA.fullmatch(text):
        if decimal == "either" and _LOOKS_THOUSANDS.fullmatch(text):
            reason = f"'{text}' can be read with a decimal comma or a thousands comma."
            return Complaint("ambiguous_number", reason, "Declare the decimal sign in the layout.")
        return float(text.replace(",", ".")), None if decimal == "," else "decimal_comma"
    if decimal != "," and _DOT_THOUSANDS.fullmatch(text):
        return float(text.replace(",", "")), "thousands_removed"
    if decimal != "." and _COMMA_THOUSANDS.fullmatch(text):
        return float(text.replace(".", "").replace(",", ".")), "thousands_removed"
    if re.fullmatch(r"[+-]?[0-9.,]*[0-9][0-9.,]*", text) and sum(text.count(c) for c in ".,") > 1:
        reason = f"'{text}' has more than one decimal sign."
        return Complaint("ambiguous_number", reason, "Correct the cell.")
    if decimal == "." and _COMMA.fullmatch(text):
        reason = f"'{text}' has a comma where the layout declares a decimal point."
        return Complaint("ambiguous_number", reason, "Correct the decimal sign of the layout, or the cell.")
    if decimal == "," and _DOT.fullmatch(text):
        reason = f"'{text}' has a point where the layout declares a decimal comma."
        return Complaint("ambiguous_number", reason, "Correct the decimal sign of the layout, or the cell.")
    return None


@dataclass(frozen=True)
class Serial:
    """A serial, and whether its writing was tidied (blanks around it, small letters)."""

    value: str
    tidied: bool = False


def read_serial(text: str, pattern: re.Pattern[str] | None) -> Serial | Complaint:
    """A serial; with a pattern it must match, after outer blanks and small letters are forgiven.

    Returns
    -------
    serial : Serial or Complaint
        ``serial_missing``; ``serial_format``, naming what it may have been meant to be, never using it.
    """
    plain = text.strip()
    if not plain:
        remedy = "Look up which part was measured then, and send the row again."
        return Complaint("serial_missing", "the serial is missing.", remedy)
    if pattern is None or pattern.fullmatch(plain):
        return Serial(plain, plain != text)
    if pattern.fullmatch(plain.upper()):
        return Serial(plain.upper(), True)
    shown = plain if len(plain) <= 60 else f"{plain[:60]}..."
    near = suggest_serial(plain.upper(), pattern)
    remedy = f"Did you mean {near}? " if near else ""
    remedy += "Correct the serial and send the row again."
    return Complaint("serial_format", f"'{shown}' does not look like a serial of this shop.", remedy)


def suggest_serial(text: str, pattern: re.Pattern[str]) -> str | None:
    """The one serial that differs by at most two look-alike letters (O for 0 and so on) and fits the pattern.

    Which letters are taken for digits is common practice, no source.
    """
    if len(text) > 40:
        return None
    spots = [i for i, letter in enumerate(text) if letter in _ALIKE]
    for count in (1, 2):
        found = set()
        for chosen in combinations(spots, count):
            letters = list(text)
            for i in chosen:
                letters[i] = _ALIKE[letters[i]]
            candidate = "".join(letters)
            if pattern.fullmatch(candidate):
                found.add(candidate)
        if len(found) == 1:
            return found.pop()
        if found:
            return None
    return None


def fold_key(text: str) -> str:
    """A name as compared with the plan's: case and runs of blanks, underscores and hyphens do not matter."""
    return re.sub(r"[\s_-]+", " ", text.strip()).casefold()


class Names:
    """A closed list of the plan: finds a key by itself, by its name, or by either written a little otherwise.

    Parameters
    ----------
    entries : iterable of (key, name)
    what : str
        The word for messages and the reason kind: ``unknown_<what>``.
    """

    def __init__(self, entries: dict[str, str], what: str) -> None:
        self.what = what
        self._keys = entries
        folded: dict[str, set[str]] = {}
        for key, name in entries.items():
            for written in (key, name):
                folded.setdefault(fold_key(written), set()).add(key)
        self._folded = {text: next(iter(keys)) for text, keys in folded.items() if len(keys) == 1}

    def read(self, text: str) -> str | Complaint | None:
        """Key of what is written; None for an empty cell; ``unknown_<what>`` if the plan does not have it."""
        plain = text.strip()
        if not plain:
            return None
        if plain in self._keys:
            return plain
        key = self._folded.get(fold_key(plain))
        if key is not None:
            return key
        shown = plain if len(plain) <= 60 else f"{plain[:60]}..."
        reason = f"the plan has no {self.what.replace('_', ' ')} '{shown}'."
        legal = ", ".join(sorted(self._keys)[:12]) or "none"
        kind = f"unknown_{self.what}"
        return Complaint(kind, reason, f"Correct it or add it to the plan. The plan has: {legal}.")


_INITIALS = re.compile(r"[\s.]+")


class People:
    """The plan's people: initials written otherwise are recognised, unknown ones kept as they are."""

    def __init__(self, initials: dict[str, str]) -> None:
        self._known = set(initials)
        folded: dict[str, set[str]] = {}
        for key in initials:
            folded.setdefault(_INITIALS.sub("", key).casefold(), set()).add(key)
        self._folded = {text: next(iter(keys)) for text, keys in folded.items() if len(keys) == 1}

    def read(self, text: str) -> tuple[str | None, str | None]:
        """Operator and warning kind of a cell."""
        plain = text.strip()
        if not plain:
            return None, None
        if plain in self._known:
            return plain, None
        key = self._folded.get(_INITIALS.sub("", plain).casefold())
        if key is not None:
            return key, "operator_normalised"
        return plain, "operator_unknown"
