"""Spread within the part as a track of its own, one for each stratum."""

from __future__ import annotations

import numpy as np

from spc.parts import Parts
from spc.process import Bools, Ints, ProcessOptions
from spc.track import Track


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
    over the first squared as relative variance.
    """
    tracks = []
    for stratum in range(parts.spread.shape[1]):
        freedom = parts.spread_df[:, stratum]
        known = np.isfinite(parts.spread[:, stratum]) & (freedom > 0)
        if not known.any():
            continue
        share = 2.0 / (9.0 * np.maximum(freedom, 1.0))
        value = np.where(known, np.cbrt(parts.spread[:, stratum] ** 2) / (1.0 - share), np.nan)
        noise = share / (1.0 - share) ** 2
        for code in np.unique(family):
            own = family == code
            seen = own & known
            if seen.any():
                noise[own] /= noise[np.flatnonzero(seen)[0]]
        # Half a resolution step as a spread, on the scale of the track, and half of that again.
        floor = np.full(family.size, 0.5 * np.cbrt((0.5 * max(options.resolution, 0.0)) ** 2))
        if options.log:
            floor = floor / np.cbrt(np.exp(2.0 * np.nan_to_num(parts.mean)))
        tracks.append((stratum, Track(value, family, keep, floor, noise)))
    return tracks
