"""Deck height and deck finish on the two mills."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from sample_data.families import MAX_DECKS, MAX_POINTS, PASSES, SPOTS, Family
from sample_data.gauges import GAUGES
from sample_data.streams import Streams

# Corners first: front left, rear left, front right, rear right; then the middle of each side.
END_SLOPE = np.array([0.8, -0.8, 0.8, -0.8])
OLD_MILL_SD = {"F1": 7.5, "F3": 17.0}
OLD_MILL_RA = {"F1": (0.58, 0.08), "F3": (2.05, 0.09)}
SKIM = 12.0  # µm taken off by a second cut
LET_GO = 1.05  # a deck a little rougher than its limit is not cut again


@dataclass(frozen=True)
class Decks:
    """Deck heights as deviations from target [µm] and deck finish [µm of Ra, Rz]."""

    block: NDArray[np.float64]
    side: NDArray[np.float64]
    point: NDArray[np.float64]
    point_again: NDArray[np.float64]
    ra: NDArray[np.float64]
    rz: NDArray[np.float64]

    @classmethod
    def draw(cls, streams: Streams, blocks: int) -> Decks:
        """Draw every number once, for two decks of six points and two passes."""
        points = (blocks, PASSES, MAX_DECKS, MAX_POINTS)
        spots = (blocks, PASSES, MAX_DECKS, SPOTS)
        return cls(
            streams.normal("deck block", blocks, PASSES),
            streams.normal("deck side", blocks, PASSES, MAX_DECKS),
            streams.normal("deck point", *points),
            streams.normal("deck point repeat", *points),
            streams.normal("deck ra", *spots),
            streams.normal("deck rz", *spots),
        )

    def new_mill(
        self, index: int, number: int, family: Family, cold: NDArray[np.float64], side_sd: float
    ) -> NDArray[np.float64]:
        """Heights from DM1, probed in the machine.

        Parameters
        ----------
        index, number : int
            Block and pass, both from 0.
        family : Family
            Decides how many decks.
        cold : ndarray, shape (decks,)
            What the cold spindle leaves standing on each deck. [µm]
        side_sd : float
            Spread from deck to deck in one clamping, where there are two. [µm]

        Returns
        -------
        deviation : ndarray, shape (decks, points)
        """
        decks = len(family.decks)
        level = 9.0 * self.block[index, number] + cold
        if decks > 1:
            level = level + side_sd * self.side[index, number, :decks]
        if number > 0:
            level = level - SKIM
        noise = GAUGES["TP1"].repeat_sd * self.point[index, number, :decks, : family.points]
        return level[:, None] + END_SLOPE[: family.points] + noise

    def old_mill(self, index: int, number: int, family: Family) -> NDArray[np.float64]:
        """Heights from DM2 by the height gauge, shape (1, points). [µm]"""
        level = OLD_MILL_SD[family.code] * self.block[index, number]
        if number > 0:
            level = level - SKIM
        return level + 2.5 * self.point[index, number, :1, : family.points]

    def new_mill_finish(
        self, index: int, number: int, rough: NDArray[np.float64]
    ) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
        """Ra and Rz from DM1, each of shape (decks, 2 spots), around the Ra the inserts leave. [µm]"""
        decks = len(rough)
        ra = rough[:, None] * np.exp(0.07 * self.ra[index, number, :decks])
        return ra, 6.0 * ra * np.exp(0.06 * self.rz[index, number, :decks])

    def old_mill_finish(
        self, index: int, number: int, family: Family
    ) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
        """Ra and Rz from DM2, each of shape (1, 2 spots). [µm]"""
        middle, spread = OLD_MILL_RA[family.code]
        ra = middle * np.exp(spread * self.ra[index, number, :1])
        return ra, 5.6 * ra

    def can_be_cut_again(self, height: NDArray[np.float64], ra: NDArray[np.float64], family: Family) -> bool:
        """Whether a deck is clearly too rough, or too high, or the two banks too different."""
        rough = ra.mean(axis=1).max() > LET_GO * family.deck_ra[1]
        high = height.max() > family.deck_tolerance
        means = height.mean(axis=1)
        uneven = family.bank_difference is not None and abs(means[0] - means[1]) > family.bank_difference
        return bool(rough or high or uneven)
