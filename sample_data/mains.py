"""Main bores on the line hone."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from sample_data.families import MAX_MAINS, PASSES, Family
from sample_data.gauges import GAUGES
from sample_data.streams import Streams

# Vertical above and horizontal below: the bores stand 0.9 µm taller than wide.
VERTICAL_PATTERN = np.array([0.45, -0.45])
DIRECTIONS = ("V", "H")


@dataclass(frozen=True)
class Mains:
    """Readings of all main bores of all blocks, as deviations from target. [µm]"""

    block: NDArray[np.float64]
    bore: NDArray[np.float64]
    noise: NDArray[np.float64]
    repeat: NDArray[np.float64]

    @classmethod
    def draw(cls, streams: Streams, blocks: int) -> Mains:
        """Draw every number once, for the largest block and two passes."""
        positions = (blocks, PASSES, MAX_MAINS, len(DIRECTIONS))
        return cls(
            streams.normal("main block", blocks, PASSES),
            streams.normal("main bore", blocks, PASSES, MAX_MAINS),
            GAUGES["MG1"].noise_sd * streams.normal("main gauge", *positions),
            GAUGES["MG1"].noise_sd * streams.normal("main gauge repeat", *positions),
        )

    def readings(
        self, index: int, number: int, family: Family, ends_open: float, setting: float
    ) -> NDArray[np.float64]:
        """What MG1 shows before its scale rounds it.

        Parameters
        ----------
        index, number : int
            Block and pass, both from 0.
        family : Family
            Decides how many mains and how they scatter.
        ends_open : float
            How far the worn shoes open the two end bores; the machinist brings
            the mean of the block back to target. [µm]
        setting : float
            Error of the day's setting of the gauge. [µm]

        Returns
        -------
        deviation : ndarray, shape (mains, 2)
            Vertical and horizontal. [µm]
        """
        ends = np.full(family.mains, -2.0 * ends_open / family.mains)
        ends[[0, -1]] += ends_open
        bore = family.main_bore_sd * self.bore[index, number, : family.mains] + ends
        block = family.main_block_sd * self.block[index, number] + setting
        return block + bore[:, None] + VERTICAL_PATTERN + self.noise[index, number, : family.mains]

    def out_of_tolerance(self, deviation: NDArray[np.float64], family: Family) -> bool:
        """Whether any size, out-of-round or step between neighbours is beyond its limit."""
        size = np.abs(deviation).max() > family.main_tolerance
        oval = np.abs(deviation[:, 0] - deviation[:, 1]).max() > family.main_round
        step = np.abs(np.diff(deviation.mean(axis=1))).max() > family.main_step
        return bool(size or oval or step)
