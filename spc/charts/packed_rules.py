"""Run rules of many series at once: a bit a point, so that sixty points are looked at in one step.

The points of a block of series stand in one long whole number, the later point in the higher bit, with empty
bits between the series; "the last `w` points" is then a shift by `w`. The same patterns as `spc.run_rules`.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from spc.charts.run_rules import Rule

Array = NDArray[np.float64]
Ints = NDArray[np.int_]

_WORD = 64
_TOP = np.array([byte.bit_length() - 1 for byte in range(256)])
"""Place of the highest bit of a byte."""


def room_for(series: int, n: int, rules: Sequence[Rule]) -> Array:
    """Room for the scores of a block of series, with gaps between them that no pattern reaches across.

    Parameters
    ----------
    series, n : int
        Series, and points of each.
    rules : sequence of Rule

    Returns
    -------
    array, shape (series, more than n)
        NaN; the first `n` columns take the scores.
    """
    reach = max((rule.of for rule in rules), default=1)
    return np.full((series, _WORD * -(-(n + reach) // _WORD)), np.nan)


def count_broken(room: Array, rules: Sequence[Rule]) -> tuple[Ints, Ints]:
    """How many points of each series break each rule, and which was the last.

    Parameters
    ----------
    room : array, shape (series, any)
        From `room_for` these rules: deviation from the centre in sigma, in order of machining; NaN breaks no rule.
        [sigma]
    rules : sequence of Rule

    Returns
    -------
    counts, last : int arrays, shape (series, rules)
        Points that complete a pattern, as `spc.run_rules.broken`; index of the last one, -1 for none.
    """
    points = _Points(room)
    found = np.array([points.marked(rule) for rule in rules], dtype=np.uint8).reshape(
        len(rules), len(room), -1
    )
    counts = np.bitwise_count(found.view("<u8")).sum(axis=2, dtype=int)
    last = np.full(counts.shape, -1)
    some = np.nonzero(counts)
    rows = found[some]
    at = rows.shape[1] - 1 - (rows[:, ::-1] != 0).argmax(axis=1)
    last[some] = 8 * at + _TOP[rows[np.arange(at.size), at]]
    return counts.T, last.T


class _Points:
    """The points of a block of series as bits, each question about single points asked once."""

    def __init__(self, room: Array) -> None:
        self._scores = room.ravel()
        self._yes = np.zeros(room.size, dtype=bool)
        self._kept: dict[tuple[str, float], int] = {}

    def marked(self, rule: Rule) -> NDArray[np.uint8]:
        """Points that complete the pattern of a rule, eight a byte, the series one after the other."""
        return np.frombuffer(self.broken(rule).to_bytes(self._yes.size // 8, "little"), dtype=np.uint8)

    def broken(self, rule: Rule) -> int:
        """Points that complete the pattern of a rule."""
        if rule.kind == "trend":
            # The first of a row of points ends no step, so one step fewer makes the row.
            return _in_a_row(self._members("rises"), rule.count - 1) | _in_a_row(
                self._members("falls"), rule.count - 1
            )
        if rule.kind == "alternation":
            up, down = self._members("rises"), self._members("falls")
            return _in_a_row((up & (down << 1)) | (down & (up << 1)), rule.count - 2)
        if rule.kind == "within":
            return _in_a_row(self._members("within", rule.zone), rule.count)
        above, below = self._members("above", rule.zone), self._members("below", rule.zone)
        if rule.kind == "either side":
            return _some_of(above | below, rule.count, rule.of)
        return _some_of(above, rule.count, rule.of) | _some_of(below, rule.count, rule.of)

    def _members(self, what: str, zone: float = 0.0) -> int:
        key = (what, zone)
        if key not in self._kept:
            self._kept[key] = self._asked(what, zone)
        return self._kept[key]

    def _asked(self, what: str, zone: float) -> int:
        z, yes = self._scores, self._yes
        if what == "rises":
            np.greater(z[1:], z[:-1], out=yes[1:])
        elif what == "falls":
            np.less(z[1:], z[:-1], out=yes[1:])
        elif what == "above":
            np.greater(z, zone, out=yes)
        elif what == "below":
            np.less(z, -zone, out=yes)
        else:
            np.less(np.abs(z), zone, out=yes)
        # The first point of all ends no step; between the series stands NaN, which rises and falls to nothing.
        yes[0] &= what not in ("rises", "falls")
        return int.from_bytes(np.packbits(yes, bitorder="little").tobytes(), "little")


def _in_a_row(member: int, count: int) -> int:
    """The last `count` points are all members; by doubling, so that few shifts do."""
    have = 1
    while have < count:
        step = min(have, count - have)
        member &= member << step
        have += step
    return member


def _some_of(member: int, count: int, of: int) -> int:
    """Members among the last `of`, themselves included, number at least `count`; so the point is one."""
    if count == of:
        return _in_a_row(member, count)
    # Bit by bit "at least 1, 2, ... count so far", each earlier point raising the numbers by one.
    at_least = [member, *([0] * (count - 1))]
    for back in range(1, of):
        earlier = member << back
        for number in range(count - 1, 0, -1):
            at_least[number] |= at_least[number - 1] & earlier
    return at_least[-1]
