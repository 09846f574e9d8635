"""Cylinder bores on the two hones: size, taper and out-of-round."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from sample_data.families import MAX_CYLINDERS, PASSES, Family
from sample_data.gauges import GAUGES
from sample_data.streams import Streams

DEPTHS = ("T", "M", "B")
ACROSS = ("X", "Y")
DEPTH_SD = 0.8
OVAL_MEAN, OVAL_SD = 2.0, 1.5  # X minus Y, one value a cylinder
TAPER_AT_DEPTH = np.array([0.5, 0.0, -0.5])
OVAL_ACROSS = np.array([0.5, -0.5])
REHONED_TAPER = 0.5  # a second pass takes the taper down to half


@dataclass(frozen=True)
class Cylinders:
    """Readings of all cylinders of all blocks, as deviations from target. [µm]

    A hone works to its gauge: what is centred on target is the reading. The
    true size is the reading less what the gauge adds.
    """

    block: NDArray[np.float64]
    bore: NDArray[np.float64]
    taper_block: NDArray[np.float64]
    taper_bore: NDArray[np.float64]
    oval: NDArray[np.float64]
    depth: NDArray[np.float64]
    noise: NDArray[np.float64]
    repeat: NDArray[np.float64]
    audit: NDArray[np.float64]

    @classmethod
    def draw(cls, streams: Streams, blocks: int) -> Cylinders:
        """Draw every number once, for six cylinders and two passes."""
        per_bore = (blocks, PASSES, MAX_CYLINDERS)
        places = (*per_bore, len(DEPTHS), len(ACROSS))
        dial, quality = GAUGES["BG1"], GAUGES["BG3"]
        return cls(
            streams.normal("cylinder block", blocks, PASSES),
            streams.normal("cylinder bore", *per_bore),
            streams.normal("taper block", blocks, PASSES),
            streams.normal("taper bore", *per_bore),
            OVAL_MEAN + OVAL_SD * streams.normal("cylinder oval", *per_bore),
            DEPTH_SD * streams.normal("cylinder depth", *per_bore, len(DEPTHS)),
            dial.noise_sd * streams.normal("cylinder gauge", *places),
            dial.noise_sd * streams.normal("cylinder gauge repeat", *places),
            quality.noise_sd * streams.normal("audit gauge", *per_bore, len(ACROSS)),
        )

    def shape(
        self, index: int, number: int, family: Family, taper: tuple[float, float], spread: NDArray[np.float64]
    ) -> NDArray[np.float64]:
        """The bores as the gauge would show them without its own scatter.

        Parameters
        ----------
        index, number : int
            Block and pass, both from 0.
        family : Family
            Decides how many cylinders and how they scatter.
        taper : (float, float)
            Mean and standard deviation of the taper the hone leaves; half of
            the variance is common to the block. [µm]
        spread : ndarray, shape (cylinders,)
            Factor on the cylinder-to-cylinder spread.

        Returns
        -------
        deviation : ndarray, shape (cylinders, 3, 2)
            Top, middle and bottom; thrust (X) and along the crank (Y). [µm]
        """
        n = family.cylinders
        common, own = self.taper_block[index, number], self.taper_bore[index, number, :n]
        cone = taper[0] + taper[1] * np.sqrt(0.5) * (common + own)
        if number > 0:
            cone = REHONED_TAPER * cone
        size = family.cylinder_block_sd * self.block[index, number]
        size = size + spread * family.cylinder_bore_sd * self.bore[index, number, :n]
        at_depth = size[:, None] + cone[:, None] * TAPER_AT_DEPTH + self.depth[index, number, :n]
        return at_depth[:, :, None] + self.oval[index, number, :n, None, None] * OVAL_ACROSS

    def readings(self, index: int, number: int, shape: NDArray[np.float64]) -> NDArray[np.float64]:
        """`shape` with the scatter of the dial gauge. [µm]"""
        return shape + self.noise[index, number, : len(shape)]

    def can_be_honed_again(self, deviation: NDArray[np.float64], family: Family) -> bool:
        """Whether a taper or out-of-round is beyond its limit, or a bore small (a large one is past help)."""
        small = deviation.min() < -family.cylinder_tolerance
        by_depth, by_side = deviation.mean(axis=2), deviation.mean(axis=1)
        tapered = np.abs(by_depth[:, 0] - by_depth[:, 2]).max() > family.cylinder_taper
        oval = np.abs(by_side[:, 0] - by_side[:, 1]).max() > family.cylinder_round
        return bool(small or tapered or oval)
