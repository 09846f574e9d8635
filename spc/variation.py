"""How much a process varies: from one value to the next, over everything, and by variance component."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

from spc.constants import d2
from spc.errors import LARGEST, SpcError, TooFewReadings
from spc.shown import Shown
from spc.strata import reading_table, split_strata

Method = Literal["expected mean squares", "restricted maximum likelihood"]


@dataclass(frozen=True)
class Components(Shown):
    """Variance components, coarse to fine.

    Attributes
    ----------
    variances : tuple of float
        Part to part first, single reading last. Negative ones are given as 0. [unit squared]
    zeroed : tuple of bool
        Whether the estimate was negative and is given as 0.
    mean : float
        [unit]
    standard_error : float
        Of the mean. [unit]
    pattern_variance : float
        Variance of the lasting position offsets; 0 when no pattern was fitted. [unit squared]
    method : str
        How they were found.
    """

    variances: tuple[float, ...]
    zeroed: tuple[bool, ...]
    mean: float
    standard_error: float
    pattern_variance: float
    method: Method


def moving_range_sigma(values: ArrayLike) -> float:
    """Standard deviation from one value to the next: mean moving range of two over d2.

    Slow movement hardly enters it, so it says what the process could hold if it stayed where it is.

    Parameters
    ----------
    values : array-like, shape (n,)
        In order of machining. [any unit]

    Returns
    -------
    float
        [unit of the values]

    Raises
    ------
    TooFewReadings
        Fewer than 2 values.
    SpcError
        A value is not finite.

    References
    ----------
    .. [1] ISO 7870-2, individuals chart (from memory).
    """
    x = finite_series(values, "the moving range", 2)
    return float(np.abs(np.diff(x)).mean() / d2(2))


def overall_sigma(values: ArrayLike) -> float:
    """Standard deviation of all values around their mean, n - 1 degrees of freedom (two passes).

    Parameters
    ----------
    values : array-like, shape (n,)
        [any unit]

    Returns
    -------
    float
        [unit of the values]

    Raises
    ------
    TooFewReadings
        Fewer than 2 values.
    SpcError
        A value is not finite.
    """
    x = finite_series(values, "a standard deviation", 2)
    # Subtracting a value first keeps the digits of data with a large constant part.
    centred = x - x[0]
    return float(np.std(centred, ddof=1))


def has_spread(sigma: float, values: NDArray[np.floating]) -> bool:
    """Whether a standard deviation is more than the rounding of the values it came from.

    Parameters
    ----------
    sigma : float
        [unit]
    values : array
        NaN allowed; at least one number. [unit]

    Returns
    -------
    bool
    """
    # Values carry 53 bits, and the fourth power of a sigma below 1e-60 leaves the range of a float.
    return sigma > max(1e-13 * float(np.nanmax(np.abs(values))), 1e-60)


def finite_series(values: ArrayLike, what: str, least: int) -> NDArray[np.float64]:
    """Values as a flat float array, or a named error.

    Parameters
    ----------
    values : array-like, shape (n,)
    what : str
        What they are needed for, for the message.
    least : int
        Smallest n that will do.

    Returns
    -------
    array, shape (n,)

    Raises
    ------
    SpcError
        Not one-dimensional, or a value is missing, infinite or beyond 1e60 (the message names the first).
    TooFewReadings
        Fewer than `least`.
    """
    x = np.asarray(values, dtype=float)
    if x.ndim != 1:
        raise SpcError(f"{what} needs one series of values; got shape {x.shape}")
    # One comparison finds infinities, NaN and what no gauge reads.
    bad = np.flatnonzero(~(np.abs(x) <= LARGEST))
    if bad.size:
        raise SpcError(f"{what} needs numbers; value {bad[0] + 1} of {x.size} is {x[bad[0]]}")
    if x.size < least:
        raise TooFewReadings(what, f"{least} values", int(x.size))
    return x


def variance_components(
    readings: ArrayLike, strata: Sequence[ArrayLike] = (), *, pattern: bool = True
) -> Components:
    """Nested variance components: parts, strata from coarse to fine, single readings.

    Balanced data: closed-form expected mean squares. Otherwise restricted maximum likelihood.

    Parameters
    ----------
    readings : array-like, shape (n_parts, p)
        NaN = not measured. [any unit]
    strata : sequence of array-like, each shape (p,)
        Group label of each position per level above the single position, coarsest first.
    pattern : bool
        Whether positions have lasting offsets; False where the columns are mere repeats.

    Returns
    -------
    Components

    Raises
    ------
    TooFewReadings
        Fewer than 2 parts with a reading.
    SpcError
        Shapes do not fit, or a reading is infinite.

    References
    ----------
    .. [1] Searle, S. R., Casella, G. & McCulloch, C. E. (1992), Variance Components (from memory); the tests
       compare with published fits.
    """
    split = split_strata(readings, strata, pattern=pattern)
    raw = split.raw_components
    if split.balanced:
        return Components(
            variances=tuple(float(v) for v in np.maximum(raw, 0.0)),
            zeroed=tuple(bool(v < 0) for v in raw),
            mean=split.mean,
            standard_error=math.sqrt(split.levels[0].mean_square / split.n_parts),
            pattern_variance=split.pattern,
            method="expected mean squares",
        )
    from spc.reml import fit_reml

    y, codes = reading_table(readings, strata)
    kept = [codes[level.level - 1] for level in split.levels[1:-1]]
    fit = fit_reml(y, kept, pattern=pattern, single=len(split.levels) > 1)
    return Components(
        variances=fit.variances,
        zeroed=tuple(v == 0.0 for v in fit.variances),
        mean=fit.mean,
        standard_error=fit.standard_error,
        pattern_variance=split.pattern,
        method="restricted maximum likelihood",
    )
