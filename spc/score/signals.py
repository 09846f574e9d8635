"""Open signals, and when one has cleared."""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from typing import Literal

import numpy as np

from spc.process import Floats, Signal
from spc.score.watch import Onset, Watch

# Parts after an event before it is asked whether that cured it: at least, and by the size of the shift.
FEWEST_TO_CLEAR = 8
_EVIDENCE_TO_CLEAR = 13.0
_TIMES_AS_LIKELY = 20.0
_STANDARD_ERRORS = 2.58
# Without an event: parts after the signal, and how many of the last of them must look as before.
PARTS_WITHOUT_EVENT = 20
BACK_PARTS = 15
# Shifts are taken as at most this many sd: scores are clipped there, and a larger guess of the shift
# would make "as before" look likely by itself.
LARGEST_SHIFT = 2.5


@dataclass
class Check:
    """One question whether a signal has cleared: parts start..stop-1, after which event (None: none)."""

    start: int
    stop: int
    shift: float
    cure: int | None


@dataclass
class OpenSignal:
    """A signal while it is followed."""

    watch: Watch
    first: int
    onset: Onset
    run_length: float
    waiting: list[tuple[int, int, int | None]] = field(default_factory=list)
    checks: list[Check] = field(default_factory=list)
    status: Literal["open", "cleared", "back", "closed"] = "open"
    cleared_at: int | None = None
    cure: int | None = None
    size: float = math.nan
    part_sd: float = math.nan

    def frozen(self) -> Signal:
        """The signal as it is reported."""
        return Signal(
            monitor=self.watch.name,
            first=self.first,
            change_from=self.onset.change_from,
            change_range=self.onset.change_range,
            direction=self.onset.direction,
            size=self.size,
            part_sd=self.part_sd,
            run_length=self.run_length,
            status=self.status,
            cleared_at=self.cleared_at,
            cure=self.cure,
            stratum=self.watch.stratum,
        )


def parts_to_clear(shift: float) -> int:
    """Parts after an event before it is asked whether a shift of this many sd is gone.

    Parameters
    ----------
    shift
        Estimated shift in standard deviations of a part; its sign does not matter.

    Returns
    -------
    int
        max(8, ceil(13 / shift^2)); the shift taken as at least 0.25.

    Notes
    -----
    With 13 / shift^2 parts a cured process is believed with probability about 0.83 on the first asking
    and an uncured one with 0.004 (normal theory).
    """
    size = max(abs(shift), 0.25)
    return max(FEWEST_TO_CLEAR, math.ceil(_EVIDENCE_TO_CLEAR / size**2))


def has_cleared(shift: float, total: float, square: float, upper_only: bool = False) -> bool:
    """Do the scores after an event say that the shift is gone?

    Parameters
    ----------
    shift
        Estimated shift in standard deviations of a part, signed.
    total, square
        Sum of g z and of g^2 over the scores asked, g being what a unit shift would add to each.
    upper_only
        Only more than before is a fault: less than before has cleared as well.

    Returns
    -------
    bool
        The old level is at least 20 times as likely as the shifted one, and the mean is within 2.58
        standard errors of the old level. "Not different" alone would pass an uncured shift often.
    """
    if square <= 0.0 or not math.isfinite(total):
        return False
    size = math.copysign(min(abs(shift), LARGEST_SHIFT), shift)
    favour = size**2 * square / 2.0 - size * total
    away = total if upper_only else abs(total)
    return favour >= math.log(_TIMES_AS_LIKELY) and away / math.sqrt(square) < _STANDARD_ERRORS


def discounted(shift: float, parts: int) -> float:
    """A shift as it is believed when nothing but the alarm itself speaks for its size.

    Parameters
    ----------
    shift
        Estimated from the parts that raised the signal, in standard deviations of a part, signed.
    parts
        How many those are, at least 1; more than 15 count as 15, for no more were averaged.

    Returns
    -------
    float
        The shift less one standard error, at least 0.25 in size.

    Notes
    -----
    Parts raise a signal because they lie far out, so that they overstate the shift. Held against the full
    estimate, a shift of 0.6 sd that stays would look gone in one case of seven (simulated).
    """
    error = 1.0 / math.sqrt(min(max(parts, 1), BACK_PARTS))
    return math.copysign(max(abs(shift) - error, 0.25), shift)


def latest_shift(score: Floats, parts: int = BACK_PARTS) -> float:
    """Mean of the latest scores, NaN passed over; 0 without any."""
    known = score[np.isfinite(score)][-parts:]
    return float(known.mean()) if known.size else 0.0
