"""Bore finish and honing time, as the stones cut."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from sample_data.families import MAX_CYLINDERS, PASSES
from sample_data.stories import Glaze
from sample_data.streams import Streams

BLOCK_SHARE = 0.40  # of the variance of log Rpk is common to a block
# HN2 leaves the four-cylinder blocks finer than the diesels, their peaks most of all.
FOUR_ON_DIAMOND, FOUR_PEAKS_ON_DIAMOND = 0.72, 0.55
RPK_HN1, RPK_HN2 = 0.23, 0.31  # µm, the Rpk that goes with the middle Ra and Rk of each hone


@dataclass(frozen=True)
class Trace:
    """One profile of each cylinder of a block [µm] and the honing minutes of each bore."""

    ra: NDArray[np.float64]
    rpk: NDArray[np.float64]
    rk: NDArray[np.float64]
    rvk: NDArray[np.float64]
    minutes: NDArray[np.float64]


@dataclass(frozen=True)
class Finish:
    """Numbers behind every trace."""

    rpk_block: NDArray[np.float64]
    rpk_bore: NDArray[np.float64]
    rk: NDArray[np.float64]
    rvk: NDArray[np.float64]
    ra: NDArray[np.float64]
    cycle: NDArray[np.float64]

    @classmethod
    def draw(cls, streams: Streams, blocks: int) -> Finish:
        """Draw every number once, for six cylinders and two passes."""
        per_bore = (blocks, PASSES, MAX_CYLINDERS)
        return cls(
            streams.normal("rpk block", blocks, PASSES),
            streams.normal("rpk bore", *per_bore),
            streams.normal("rk", *per_bore),
            streams.normal("rvk", *per_bore),
            streams.normal("bore ra", *per_bore),
            streams.normal("hone cycle", *per_bore),
        )

    def _scatter(self, index: int, number: int, bores: int) -> NDArray[np.float64]:
        common, own = self.rpk_block[index, number], self.rpk_bore[index, number, :bores]
        return np.sqrt(BLOCK_SHARE) * common + np.sqrt(1 - BLOCK_SHARE) * own

    def stones(self, index: int, number: int, used: NDArray[np.float64], glaze: list[Glaze]) -> Trace:
        """Traces from HN1.

        Parameters
        ----------
        index, number : int
            Block and pass, both from 0.
        used : ndarray, shape (bores,)
            Bores the stones had honed since they were set or dressed.
        glaze : list of Glaze
            State of the stones at each bore.
        """
        n = len(used)
        lost = np.array([g.peak_lost for g in glaze])
        slower = np.array([g.minutes for g in glaze])
        middle = 0.235 + 0.045 * np.exp(-used / 12.0) - 0.00018 * used - lost
        rpk = middle * np.exp(0.10 * self._scatter(index, number, n))
        return Trace(
            0.40 + 0.55 * (rpk - RPK_HN1) + 0.02 * self.ra[index, number, :n],
            rpk,
            0.80 + 0.9 * (rpk - RPK_HN1) + 0.05 * self.rk[index, number, :n],
            1.30 * np.exp(0.09 * self.rvk[index, number, :n]),
            (4.2 + 0.0022 * used) * np.exp(0.05 * self.cycle[index, number, :n]) + slower,
        )

    def diamond(self, index: int, number: int, family: str, used: NDArray[np.float64]) -> Trace:
        """Traces from HN2; `used` counts the bores of the diamond head."""
        n = len(used)
        factor, peaks = (FOUR_ON_DIAMOND, FOUR_PEAKS_ON_DIAMOND) if family == "F1" else (1.0, 1.0)
        middle = RPK_HN2 + 0.000045 * used
        rpk = middle * np.exp(0.11 * self._scatter(index, number, n))
        off = rpk - middle
        rk = 1.10 + 0.00008 * used + 0.9 * off + 0.05 * self.rk[index, number, :n]
        ra = 0.58 + 0.55 * (rpk - RPK_HN2) + 0.02 * self.ra[index, number, :n]
        rvk = 1.90 * np.exp(0.09 * self.rvk[index, number, :n])
        minutes = 6.1 * np.exp(0.05 * self.cycle[index, number, :n])
        return Trace(factor * ra, peaks * rpk, factor * rk, factor * rvk, minutes)
