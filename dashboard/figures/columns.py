"""The parts of a process as columns, in the numbers people see: made once a view, for every cut of its chart."""

from __future__ import annotations

import weakref
from collections.abc import Callable
from dataclasses import dataclass
from datetime import date
from functools import cached_property
from typing import Any

import numpy as np
from numpy.typing import NDArray

from dashboard.words.amounts import count, moment
from ingest.answers.processes import PartPoint, ProcessView
from spc.units import to_base

REACH = 2.0
"""The expected band is this many standard errors of prediction to either side: 19 of 20 parts fall inside."""
KINDS = ("", "signal", "aside")
"""How a part is drawn: as an ordinary one, as one that raised a signal, as one set aside."""
Floats = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class Columns:
    """What charts need of all parts of a view, one entry a part; values in the unit people see."""

    parts: tuple[PartPoint, ...]
    index: NDArray[np.int32]
    family: NDArray[np.int64]
    """Place among the families of the view, -1 for another."""
    kind: NDArray[np.int64]
    """Place among `KINDS`."""
    mean: Floats
    expected: Floats
    upper: Floats
    lower: Floats
    """The expected band."""

    @cached_property
    def keys(self) -> NDArray[Any]:
        """``serial/pass`` of each part."""
        return _texts([f"{part.serial}/{part.pass_no}" for part in self.parts])

    @cached_property
    def hovers(self) -> NDArray[Any]:
        """What is said of each part beside its value and its family."""
        return _texts([_hover(part) for part in self.parts])

    @cached_property
    def months(self) -> NDArray[np.int32]:
        """Months since the year 0."""
        return np.array([12 * part.time.year + part.time.month for part in self.parts], dtype=np.int32)

    @cached_property
    def days(self) -> NDArray[np.int32]:
        """Day of each part as `date.toordinal` counts."""
        return np.array([part.time.toordinal() for part in self.parts], dtype=np.int32)

    @cached_property
    def _places(self) -> dict[tuple[str, int], int]:
        return {(part.serial, part.pass_no): i for i, part in reversed(list(enumerate(self.parts)))}

    def place_of(self, serial: str, pass_no: int) -> int | None:
        """Index of a part; None when it is not among them."""
        at = self._places.get((serial, pass_no))
        return None if at is None else int(self.index[at])

    def first_since(self, day: date) -> int | None:
        """Index of the first part of this day or a later one; None when there is none."""
        later = self.days >= day.toordinal()
        return int(self.index[later.argmax()]) if later.any() else None


def _texts(found: list[str]) -> NDArray[Any]:
    made = np.empty(len(found), dtype=object)
    made[:] = found
    return made


def _hover(part: PartPoint) -> str:
    again = f", pass {part.pass_no}" if part.pass_no > 1 else ""
    wear = f"<br>{part.tool or 'tool'}, {part.wear:.0f} uses before" if part.wear is not None else ""
    aside = f"<br>set aside: {part.aside}" if part.aside else ""
    return f"{part.serial}{again}<br>{moment(part.time)}<br>{count(part.n, 'reading')}{wear}{aside}"


def shown_values(view: ProcessView) -> Callable[[Floats], Floats]:
    """From part means as charted by the shop to the numbers people see; what is not known stays NaN."""
    factor = to_base(1.0, view.row.display)
    if view.row.log:
        return lambda values: np.exp(values) / factor
    return lambda values: values / factor


_KEPT: dict[int, tuple[weakref.ref[ProcessView], Columns]] = {}


def columns(view: ProcessView) -> Columns:
    """Columns of a view, kept for as long as the view is."""
    key = id(view)
    kept = _KEPT.get(key)
    if kept is not None and kept[0]() is view:
        return kept[1]
    made = _columns(view)
    _KEPT[key] = (weakref.ref(view, lambda _gone: _KEPT.pop(key, None)), made)
    return made


def _columns(view: ProcessView) -> Columns:
    parts, shown = view.parts, shown_values(view)
    known_families = {family: i for i, family in enumerate(view.families)}
    kinds = {kind: i for i, kind in enumerate(KINDS)}
    mean, expected, se = (
        np.array([getattr(part, name) for part in parts], dtype=float)
        for name in ("mean", "expected", "expected_se")
    )
    # Without a standard error there is no band, and an expectation alone is not drawn.
    expected = np.where(np.isfinite(se), expected, np.nan)
    return Columns(
        parts=parts,
        index=np.array([part.index for part in parts], dtype=np.int32),
        family=np.array([known_families.get(part.family, -1) for part in parts], dtype=np.int64),
        kind=np.array([kinds.get(part.verdict, 0) for part in parts], dtype=np.int64),
        mean=shown(mean),
        expected=shown(expected),
        upper=shown(expected + REACH * se),
        lower=shown(expected - REACH * se),
    )
