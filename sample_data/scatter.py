"""Everyday trouble in every export: readings left out, taken twice, or shown as 999."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from sample_data.streams import Streams

MISSING, STRAY, REPEATED = 0.015, 0.002, 0.004
NO_READING = "999"


@dataclass(frozen=True)
class Fate:
    """What becomes of one reading that was to be taken."""

    absent: bool = False  # no row at all
    blank: bool = False  # a row with an empty cell
    stray: bool = False  # the gauge shows 999
    repeated: bool = False  # read a second time

    def cell(self, text: str) -> str:
        """The text that lands in the export."""
        return "" if self.blank else NO_READING if self.stray else text


class Fates:
    """The fate of every reading of one gauge, one number per block, pass and position."""

    def __init__(self, streams: Streams, name: str, *shape: int) -> None:
        self._chance: NDArray[np.float64] = streams.uniform(f"fate {name}", *shape)

    def of(self, *index: int, row_can_be_absent: bool = True) -> Fate:
        """The fate of one reading; half of the missing ones have no row where rows hold one reading."""
        chance = float(self._chance[index])
        if chance < MISSING:
            absent = row_can_be_absent and chance < MISSING / 2
            return Fate(absent=absent, blank=not absent)
        chance -= MISSING
        if chance < STRAY:
            return Fate(stray=True)
        return Fate(repeated=chance - STRAY < REPEATED)
