"""Spread within the part as a track of its own, one for each stratum."""

from __future__ import annotations

import numpy as np

from spc.process import Bools, Ints, ProcessOptions
from spc.score.parts import Parts
from spc.score.track import Track

# In resolution steps: readings on the edge between two steps have this standard deviation, however steady the part;
_LEAST = 0.5
# and up to this one the values are so skewed by the steps that their own scatter alarms too often (by simulation).
_COARSE = 0.75


def spread_tracks(
    parts: Parts, family: Ints, keep: Bools, options: ProcessOptions
) -> list[tuple[int, Track]]:
    """Tracks of the cube root of the variance within the part.

    Parameters
    ----------
    parts
        Part means and spreads.
    family, keep
        (n,) family codes; False for parts set aside.
    options
        The resolution is used.

    Returns
    -------
    list of (stratum, Track)
        Strata without degrees of freedom are left out.

    Notes
    -----
    (s^2)^(1/3) is nearly normal with mean (1 - 2 / (9 df)) and variance 2 / (9 df) times sigma^(2/3) and
    sigma^(4/3) (Wilson and Hilferty 1931, from memory); divided by the first factor, with the second
    over the first squared as relative variance. A spread below half a resolution step is taken as half a
    step, and the standard deviation of the values as at least what three quarters of a step make: what
    readings differ by then is where the steps of the gauge lie. Two mostly equal readings of a part that
    moves over the steps alarmed 4 to 7 times as often as granted without, and hardly ever with it.
    """
    least = np.full(family.size, _LEAST * max(options.resolution, 0.0))
    if options.log:
        least = least / np.exp(np.nan_to_num(parts.mean))
    tracks = []
    for stratum in range(parts.spread.shape[1]):
        freedom = parts.spread_df[:, stratum]
        known = np.isfinite(parts.spread[:, stratum]) & (freedom > 0)
        if not known.any():
            continue
        share = 2.0 / (9.0 * np.maximum(freedom, 1.0))
        square = np.maximum(parts.spread[:, stratum] ** 2, least**2)
        value = np.where(known, np.cbrt(square) / (1.0 - share), np.nan)
        noise = share / (1.0 - share) ** 2
        # Noise is relative to that of the family's first part; so is the floor.
        floor = np.zeros(family.size)
        for code in np.unique(family):
            own = family == code
            seen = own & known
            if seen.any():
                usual = noise[np.flatnonzero(seen)[0]]
                floor[own] = np.cbrt((_COARSE / _LEAST * least[own]) ** 2) * np.sqrt(usual)
                noise[own] /= usual
        tracks.append((stratum, Track(value, family, keep, floor, noise)))
    return tracks
