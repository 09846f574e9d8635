"""From readings to parts: part means with position offsets removed, and spread within the part by stratum."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from spc.process import Bools, Floats, Ints

# Position offsets are the average over this many earlier parts of the family: long enough to be steady,
# short enough to follow a slow change of the position pattern.
MEMORY = 100
# The first parts of a family tell which positions it is usually measured at.
_FIRST = 5


@dataclass(frozen=True)
class Parts:
    """Part means and spread.

    Attributes
    ----------
    mean, count
        (n,) mean over the positions of a part after position offsets, NaN without readings; and the
        number of readings in it.
    usual_count
        (n,) number of positions the family is usually measured at, at least 1.
    within
        (n,) mean square of the readings around the part mean after offsets; NaN when it has no degrees
        of freedom.
    spread
        (n, S) standard deviation per stratum, coarsest first, single readings last.
    spread_df
        (n, S) degrees of freedom of each.
    offsets
        (p,) position offsets after the last part, of the family of that part; NaN where unknown.
    """

    mean: Floats
    count: Ints
    usual_count: Ints
    within: Floats
    spread: Floats
    spread_df: Floats
    offsets: Floats


def part_means(
    readings: Floats, family: Ints, strata: tuple[Ints, ...] = (), learn: Bools | None = None
) -> Parts:
    """Part means, and standard deviations within a part by stratum.

    Parameters
    ----------
    readings
        (n, p) values in order of machining, NaN where not measured.
    family
        (n,) family code.
    strata
        Group label of every position per level above the single position, coarsest first.
    learn
        (n,) parts that the offsets of later parts learn from; all of them by default. A position that no
        such part had before is learned from the others.

    Returns
    -------
    Parts

    Notes
    -----
    Readings on one part follow y = part + position offset + noise. Offsets are means over at most 100
    earlier parts of the family, found by alternating between part means and offsets three times, so that
    nothing later than a part touches it. With the usual positions all measured the offsets cancel from
    the mean. A position that the family never had before has no offset yet and is left out of the mean
    while others are there. Spread of a stratum is the square root of the sum of squares of group means
    around the mean of the next coarser group, times the readings in the group, over its degrees of
    freedom (nested analysis of variance; with groups of unequal size an approximation). Standard
    formulas, from memory.
    """
    n, p = readings.shape
    mean = np.full(n, np.nan)
    count = np.zeros(n, np.int64)
    usual_count = np.ones(n, np.int64)
    within = np.full(n, np.nan)
    spread = np.full((n, len(strata) + 1), np.nan)
    spread_df = np.zeros((n, len(strata) + 1))
    offsets = np.full(p, np.nan)
    taught = np.ones(n, bool) if learn is None else learn
    for code in np.unique(family):
        rows = np.flatnonzero(family == code)
        values = readings[rows]
        here = np.isfinite(values)
        usual = _usual_positions(here)
        offset, seen = _offsets_before(values, here, usual, taught[rows])
        used = here & (seen[:-1] > 0)
        # A part with nothing but new positions, the first one above all, is taken as it is.
        fresh = here.any(axis=1) & ~used.any(axis=1)
        used[fresh] = here[fresh]
        known = np.where(seen[:-1] > 0, offset[:-1], 0.0)
        mean[rows] = _mean(values - known, used)
        count[rows] = used.sum(axis=1)
        usual_count[rows] = max(int(usual.sum()), 1)
        # The noise of an offset from j earlier parts widens every deviation by a factor 1 + 1/j.
        inflation = 1.0 + 1.0 / np.maximum(_mean(np.where(used, seen[:-1], np.nan), used), 1.0)
        squares, freedom = _strata_squares(np.where(used, values - known, np.nan), strata)
        squares[fresh] = np.nan
        squares /= inflation[:, None]
        with np.errstate(invalid="ignore", divide="ignore"):
            spread[rows] = np.sqrt(np.where(freedom > 0, squares / freedom, np.nan))
            total = freedom.sum(axis=1)
            within[rows] = np.where(
                total > 0, np.where(freedom > 0, squares, 0.0).sum(axis=1) / total, np.nan
            )
        within[rows[fresh]] = np.nan
        spread_df[rows] = np.where(np.isfinite(squares), freedom, 0.0)
        if n and code == family[-1]:
            offsets = np.where(seen[-1] > 0, offset[-1], np.nan)
    return Parts(mean, count, usual_count, within, spread, spread_df, offsets)


def _usual_positions(here: np.ndarray) -> np.ndarray:
    """Positions measured on at least half of the family's first parts with readings."""
    first = here[here.any(axis=1)][:_FIRST]
    if not len(first):
        return np.asarray(here.any(axis=0))
    return first.mean(axis=0) >= 0.5


def _mean(values: Floats, used: np.ndarray) -> Floats:
    """Row means over the used entries; NaN without any. Centred first, so that large sizes lose nothing."""
    number = used.sum(axis=1)
    safe = np.where(used, values, 0.0)
    divisor = np.maximum(number, 1)
    rough = safe.sum(axis=1) / divisor
    fine = np.where(used, values - rough[:, None], 0.0).sum(axis=1) / divisor
    return np.where(number > 0, rough + fine, np.nan)


def _offsets_before(
    values: Floats, here: np.ndarray, usual: np.ndarray, learn: Bools
) -> tuple[Floats, Floats]:
    """Offsets known before each part and after the last, (n + 1, p), and the number of parts they average."""
    n, p = values.shape
    # A position new in a stretch that teaches nothing has no pattern to keep, and is learned all the same.
    known = here & learn[:, None]
    taught = here & (learn[:, None] | (np.cumsum(known, axis=0) == 0))
    seen: Floats = np.vstack([np.zeros((1, p)), np.cumsum(taught.astype(float), axis=0)])
    # The memory counts parts that taught something: a stretch left out does not use it up.
    parts = np.concatenate([[0], np.cumsum(learn)])
    started = np.searchsorted(parts, np.maximum(parts - MEMORY, 0), side="right") - 1
    recent = np.maximum(seen - seen[started], 0.0)
    # A position not measured for MEMORY parts keeps the offset it had over its whole past.
    base = np.where(recent > 0, seen[started], 0.0)
    number = np.maximum(seen - base, 1.0)
    offset = np.zeros((n + 1, p))
    for _ in range(3):
        part = _mean(values - offset[:-1], here)
        deviation = np.where(taught, values - part[:, None], 0.0)
        total = np.vstack([np.zeros((1, p)), np.cumsum(deviation, axis=0)])
        before = np.where(recent > 0, total[started], 0.0)
        offset = (total - before) / number
        # Offsets are relative to the usual positions, so that those cancel from a complete part.
        shared = usual[None, :] & (seen > 0)
        centre = np.where(shared, offset, 0.0).sum(axis=1) / np.maximum(shared.sum(axis=1), 1)
        offset = np.where(seen > 0, offset - centre[:, None], 0.0)
    return offset, np.where(seen > 0, number, 0.0)


def _strata_squares(values: Floats, strata: tuple[Ints, ...]) -> tuple[Floats, Floats]:
    """Sum of squares and degrees of freedom of each stratum, coarsest first, single readings last."""
    n, p = values.shape
    squares = np.zeros((n, len(strata) + 1))
    freedom = np.zeros((n, len(strata) + 1))
    here = np.isfinite(values)
    parent = np.zeros(p, np.int64)
    parent_mean = _mean(values, here)[:, None]
    parent_count = np.asarray(here.any(axis=1))[:, None].astype(float)
    path: list[Ints] = []
    for level in range(len(strata) + 1):
        if level < len(strata):
            path.append(np.asarray(strata[level]))
            # A group is its own label together with those of the levels above it.
            _, group = np.unique(np.stack(path), axis=1, return_inverse=True)
            group = np.asarray(group).reshape(-1)
        else:
            group = np.arange(p)
        size = int(group.max()) + 1 if p else 0
        member = (group[:, None] == np.arange(size)[None, :]).astype(float)
        number = here.astype(float) @ member
        centred = np.where(here, values - parent_mean[:, parent], 0.0)
        gap = np.where(number > 0, centred @ member / np.maximum(number, 1.0), 0.0)
        squares[:, level] = (number * gap**2).sum(axis=1)
        freedom[:, level] = (number > 0).sum(axis=1) - parent_count.sum(axis=1)
        above = np.zeros(size, np.int64)
        above[group] = parent
        parent_mean = np.where(number > 0, gap + parent_mean[:, above], np.nan)
        parent_count = (number > 0).astype(float)
        parent = group
    return squares, freedom
