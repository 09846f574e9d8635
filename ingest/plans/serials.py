"""Serials that nobody knows: is one a slip of the pen for a part the shop has?"""

from __future__ import annotations

import re
from collections import defaultdict
from collections.abc import Iterable

LOOK_ALIKE = str.maketrans("OQDILBSZG", "000118526")
"""Characters taken for one another on a hand-written tag or a worn stamp; common practice, no source."""


def unknown_serials(seen: Iterable[str], jobs: Iterable[str], pattern: str | None) -> dict[str, str | None]:
    """Serials that cannot be right, each with the one it probably means.

    A serial is doubted when it breaks the shop's pattern; without a pattern, when it is missing from the job
    list and differs from a listed one only by look-alike characters. A serial that keeps the pattern is never
    doubted: running numbers differ by one character and each is right.

    Parameters
    ----------
    seen : iterable of str
        Serials of readings.
    jobs : iterable of str
        Serials of the job list.
    pattern : str or None
        Regular expression that the whole serial must match.

    Returns
    -------
    dict
        Doubted serial to the one suggested; None where nothing, or more than one, is near.
    """
    known = set(jobs)
    legal = re.compile(pattern) if pattern else None
    doubted: dict[str, str | None] = {}
    by_look: dict[str, set[str]] = defaultdict(set)
    for serial in known:
        by_look[_look(serial)].add(serial)
    for serial in set(seen) - known:
        alike = by_look.get(_look(serial), set())
        if legal is not None:
            if not legal.fullmatch(serial):
                doubted[serial] = _only(alike) or _only({k for k in known if _one_edit(serial, k)})
        elif alike:
            doubted[serial] = _only(alike)
    return doubted


def _look(serial: str) -> str:
    return serial.upper().translate(LOOK_ALIKE)


def _only(candidates: set[str]) -> str | None:
    return next(iter(candidates)) if len(candidates) == 1 else None


def _one_edit(a: str, b: str) -> bool:
    """One character replaced, added or left out."""
    if abs(len(a) - len(b)) > 1 or a == b:
        return False
    head = 0
    while head < min(len(a), len(b)) and a[head] == b[head]:
        head += 1
    if len(a) == len(b):
        return a[head + 1 :] == b[head + 1 :]
    longer, shorter = (a, b) if len(a) > len(b) else (b, a)
    return longer[head + 1 :] == shorter[head:]
