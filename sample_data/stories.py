"""What goes wrong in the shop, when, and by how much.

Every story can be left out (`--without NAME`); its effect is then nil and no
other random number moves.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date

import numpy as np

from sample_data.calendar import fraction

STORIES = {
    "k27": "stone set K-27 glazes on the hone HN1",
    "shoes": "the mandrel shoes of the line hone LH1 wear",
    "warmup": "the spindle of the deck mill DM1 warms up",
    "slide": "the slide of the hone HN2 wears until it is serviced",
    "bg2": "bore gauge BG2 drifts low",
    "insert": "an insert change on DM1 is missed",
    "service": "a service of LH1 cures nothing",
    "warm": "V6 blocks are measured warm in summer",
    "k33": "stone set K-33 glazes at the end of the period",
    "clamping": "the clamping of DM1 repeats worse from August",
}

K27_FITTED = date(2025, 7, 14)
K33_FITTED = date(2025, 10, 20)
K27_DRESSED_AT, K27_AFTER_DRESS = 180, 60
SHOES_WEAR, SHOES_REPLACED = (date(2025, 2, 17), date(2025, 9, 26)), date(2025, 9, 29)
LH1_SERVICE = date(2025, 7, 21)
WARMUP_RULE = date(2025, 6, 16)
SLIDE_WEAR, SLIDE_SERVICE = (date(2024, 11, 4), date(2025, 5, 9)), (date(2025, 5, 12), date(2025, 5, 14))
BG2_DRIFT, BG2_REPAIRED = (date(2025, 1, 20), date(2025, 4, 4)), date(2025, 4, 7)
INSERT_FITTED, INSERT_CHANGED = date(2025, 7, 28), date(2025, 9, 3)
WARM_WEEKS = (date(2025, 6, 23), date(2025, 8, 29))
CLAMPING = (date(2025, 8, 18), date(2025, 10, 31))

WARM_BLOCK_C = 31.0
WARM_SIZE_LOST = 6.3  # µm: 91 160 (23.1e-6 x 11 - 11.5e-6 x 5) x 0.35 for the iron liners


@dataclass(frozen=True)
class Glaze:
    """How a glazing stone set cuts: less peak, more minutes, wider sizes."""

    peak_lost: float = 0.0  # µm of Rpk
    minutes: float = 0.0  # added to the cycle of a bore
    size_spread: float = 1.0  # factor on the cylinder-to-cylinder spread


class Stories:
    """The stories that happen in one shop.

    Parameters
    ----------
    without : iterable of str
        Names from :data:`STORIES` to leave out.

    Raises
    ------
    ValueError
        An unknown name.
    """

    def __init__(self, without: Iterable[str] = ()) -> None:
        left_out = set(without)
        unknown = sorted(left_out - set(STORIES))
        if unknown:
            raise ValueError(f"no story is called {', '.join(unknown)}; choose from {', '.join(STORIES)}")
        self._active = set(STORIES) - left_out

    def has(self, name: str) -> bool:
        """Whether the story of this name happens."""
        return name in self._active

    def glaze(self, stone_set: str, bores: int, since_dress: int | None) -> Glaze:
        """State of the stones after so many bores of this set (`since_dress` once it was dressed)."""
        if stone_set == "K-27" and self.has("k27"):
            full = 95.0
            if since_dress is None:
                worn = float(np.clip(bores - 70, 0, full))
            else:  # the dress gives back 85 %, and the set loses it twice as fast
                worn = min(0.15 * full + 2.0 * since_dress, full)
            return Glaze(0.0013 * worn, 0.034 * worn, 1.4 if bores > 110 else 1.0)
        if stone_set == "K-33" and self.has("k33"):
            worn = float(np.clip(bores - 60, 0, 95))
            return Glaze(0.0009 * worn, 0.020 * worn)
        return Glaze()

    def end_bores(self, blocks_since_start: int) -> float:
        """How far the worn shoes open the two end bores. [µm]"""
        return 0.0110 * blocks_since_start if self.has("shoes") else 0.0

    def shoes_wear_on(self, day: date) -> bool:
        """Whether blocks honed on this day add to the wear of the shoes."""
        return self.has("shoes") and SHOES_WEAR[0] <= day <= SHOES_WEAR[1]

    def warm_spindle(self, day: date, minutes: float) -> float:
        """Height left standing by a cold spindle, minutes after the first cut. [µm]"""
        if not self.has("warmup"):
            return 0.0
        return 24.0 * float(np.exp(-(minutes + (60.0 if day >= WARMUP_RULE else 0.0)) / 50.0))

    def taper(self, machine: str, day: date) -> tuple[float, float]:
        """Mean and standard deviation of the taper a hone leaves. [µm]"""
        if machine == "HN1":
            return 2.5, 1.4
        if not self.has("slide"):
            return 3.0, 1.5
        if day > SLIDE_WEAR[1]:
            return 3.0, 1.6
        worn = fraction(day, *SLIDE_WEAR)
        return 3.0 + 6.4 * worn, 1.5 + 2.2 * worn

    def gauge_drift(self, gauge: str, day: date) -> float:
        """What a bore gauge adds to every reading. [µm]"""
        if gauge != "BG2" or not self.has("bg2") or day >= BG2_REPAIRED:
            return 0.0
        return -7.0 * fraction(day, *BG2_DRIFT)

    def blunt(self, insert_set_due: bool, decks: int) -> float:
        """Roughness added by inserts kept past their 60 decks. [µm of Ra]"""
        return 0.00002 * max(decks - 60, 0) ** 2 if insert_set_due else 0.0

    def measured_warm(self, family: str, day: date, hour: int, chance: float) -> bool:
        """Whether a block is measured straight from the wash: two V6 of five, all in the afternoon."""
        if not self.has("warm") or family != "F2":
            return False
        return WARM_WEEKS[0] <= day <= WARM_WEEKS[1] and hour >= 12 and chance < 0.80

    def deck_side_sd(self, family: str, day: date) -> float:
        """Spread from deck to deck in one clamping on DM1. [µm]"""
        if family != "F2" or not self.has("clamping"):
            return 3.0
        return 3.0 + 8.0 * fraction(day, *CLAMPING)
