"""A gauge against masters of known size: bias, repeatability, linearity, and whether it reads finely enough."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from spc.errors import SpcError, TooFewReadings
from spc.mean_squares import Ranged
from spc.shown import Shown
from spc.variation import finite_series, has_spread

TOLERANCE_SHARE = 0.2
"""Part of the tolerance that a gauge may use up in Cg and Cgk."""


@dataclass(frozen=True)
class MasterCheck(Shown):
    """Repeated readings of one master.

    Attributes
    ----------
    n : int
    bias, repeatability : Ranged
        Mean less master size, and standard deviation. [unit]
    t, p_value : float or None
        Test of no bias; None when all readings are equal.
    cg, cgk : Ranged or None
        Tolerance share over six standard deviations, and the same with the bias taken off; None without a
        tolerance or without spread. Intervals: Cg by chi-square; none for Cgk.
    warnings : tuple of str
    """

    n: int
    bias: Ranged
    repeatability: Ranged
    t: float | None
    p_value: float | None
    cg: Ranged | None
    cgk: Ranged | None
    warnings: tuple[str, ...]


@dataclass(frozen=True)
class Linearity(Shown):
    """Bias along the range of sizes: bias = intercept + slope * size.

    Attributes
    ----------
    slope, intercept : Ranged
        [-], [unit]
    slope_p, intercept_p : float
        Chance of one as far from 0 if there were none.
    residual_sd : float
        [unit]
    r_squared : float
        [-]
    sizes, bias : tuple of float
        Master sizes, and the mean bias at each. [unit]
    lack_of_fit_p : float or None
        Chance of mean biases as far from the line if a line were true; None with two sizes or single readings.
    """

    slope: Ranged
    intercept: Ranged
    slope_p: float
    intercept_p: float
    residual_sd: float
    r_squared: float
    sizes: tuple[float, ...]
    bias: tuple[float, ...]
    lack_of_fit_p: float | None


def master_check(
    readings: ArrayLike,
    master: float,
    *,
    tolerance: float | None = None,
    resolution: float | None = None,
    confidence: float = 0.95,
) -> MasterCheck:
    """Bias and repeatability of a gauge on one master.

    Parameters
    ----------
    readings : array-like, shape (n,)
        2 or more; 25 to 50 are usual. [unit]
    master : float
        Its certified size. [unit]
    tolerance : float, optional
        Upper less lower limit of what the gauge is used for, for Cg and Cgk. [unit]
    resolution : float, optional
        Smallest step of the gauge; a spread below a third of it is not believed. [unit]
    confidence : float
        Two-sided.

    Returns
    -------
    MasterCheck

    Raises
    ------
    TooFewReadings
        Fewer than 2 readings.
    SpcError
        A reading or the master is not a number, or tolerance or resolution is not above 0.

    References
    ----------
    .. [1] ISO 22514-7: Cg = 0.2 T / (6 s), Cgk = (0.1 T - |bias|) / (3 s) (from memory; other houses put 4
       and 2 standard deviations there). Bias by Student's t: AIAG, Measurement Systems Analysis, 4th ed.
       (from memory; worked example in the tests).
    """
    from scipy.special import chdtri, stdtr, stdtrit

    x = finite_series(readings, "a master check", 2)
    if not math.isfinite(master):
        raise SpcError(f"the size of the master is {master}; it must be a number")
    for name, value in (("tolerance", tolerance), ("resolution", resolution)):
        if value is not None and not (math.isfinite(value) and value > 0):
            raise SpcError(f"the {name} must be above 0; got {value}")
    n = int(x.size)
    off = x - master
    bias = float(off[0] + (off - off[0]).mean())
    sd = float(np.std(x - x[0], ddof=1))
    warnings: list[str] = []
    tail = (1 - confidence) / 2
    if not has_spread(sd, x):
        note = "all readings are equal: repeatability is below what the gauge shows"
        none = Ranged(0.0)
        return MasterCheck(n, Ranged(bias), none, None, None, None, None, (note,))
    if resolution is not None and sd < resolution / 3:
        warnings.append(
            "the readings move by less than the gauge's step: repeatability and Cg rest on its rounding"
        )
    half = float(stdtrit(n - 1, 1 - tail)) * sd / math.sqrt(n)
    t = bias * math.sqrt(n) / sd
    low, high = (float(f) for f in np.sqrt((n - 1) / chdtri(n - 1, [tail, 1 - tail])))
    cg = cgk = None
    if tolerance is not None:
        allowed = TOLERANCE_SHARE * tolerance
        cg = Ranged(allowed / (6 * sd), allowed / (6 * sd * high), allowed / (6 * sd * low))
        cgk = Ranged((allowed / 2 - abs(bias)) / (3 * sd))
    return MasterCheck(
        n,
        Ranged(bias, bias - half, bias + half),
        Ranged(sd, sd * low, sd * high),
        t,
        2 * float(stdtr(n - 1, -abs(t))),
        cg,
        cgk,
        tuple(warnings),
    )


def linearity(readings: ArrayLike, master: ArrayLike, *, confidence: float = 0.95) -> Linearity:
    """Whether the bias of a gauge changes along its range.

    Parameters
    ----------
    readings, master : array-like, shape (n,)
        Each reading and the certified size of what was read; 3 or more readings of 2 or more sizes. [unit]
    confidence : float
        Two-sided.

    Returns
    -------
    Linearity

    Raises
    ------
    TooFewReadings
        Fewer than 3 readings or fewer than 2 sizes.
    SpcError
        Shapes differ, a value is not finite, or the biases lie on the line exactly.

    References
    ----------
    .. [1] AIAG, Measurement Systems Analysis, 4th ed. (straight line through the biases; worked example in the
       tests, from memory). Lack of fit: Draper & Smith, Applied Regression Analysis (from memory).
    """
    from scipy.special import fdtrc
    from statsmodels.regression.linear_model import OLS

    y = finite_series(readings, "linearity", 3)
    size = finite_series(master, "linearity", 3)
    if y.shape != size.shape:
        raise SpcError(f"every reading needs the size of its master; got {y.size} and {size.size}")
    sizes, at = np.unique(size, return_inverse=True)
    if sizes.size < 2:
        raise TooFewReadings("linearity", "2 master sizes", int(sizes.size))
    if float(np.ptp(sizes)) < 1e-9 * float(np.max(np.abs(sizes))):
        raise SpcError("the masters differ too little beside their own size for a line through them")
    # With sizes about 1 the two columns are alike in size, whatever the unit.
    unit = float(np.max(np.abs(sizes)))
    y, size, sizes = y / unit, size / unit, sizes / unit
    bias = y - size
    fit = OLS(bias, np.column_stack([np.ones(y.size), size])).fit()
    if not has_spread(math.sqrt(fit.scale), y):
        raise SpcError("the biases lie on a line exactly: the gauge shows no error from which to judge it")
    low, high = fit.conf_int(alpha=1 - confidence).T
    counts = np.bincount(at)
    means = np.bincount(at, bias) / counts
    pure = float(np.sum((bias - means[at]) ** 2))
    pure_dof, lack_dof = int(y.size - sizes.size), int(sizes.size - 2)
    lack = None
    if lack_dof > 0 and pure_dof > 0 and pure > 0:
        ratio = (fit.ssr - pure) / lack_dof / (pure / pure_dof)
        lack = float(fdtrc(lack_dof, pure_dof, max(ratio, 0.0)))
    return Linearity(
        Ranged(float(fit.params[1]), float(low[1]), float(high[1])),
        Ranged(float(fit.params[0]) * unit, float(low[0]) * unit, float(high[0]) * unit),
        float(fit.pvalues[1]),
        float(fit.pvalues[0]),
        math.sqrt(fit.scale) * unit,
        float(fit.rsquared),
        tuple(float(s) * unit for s in sizes),
        tuple(float(m) * unit for m in means),
        lack,
    )


def resolution_verdict(
    resolution: float, *, tolerance: float | None = None, sigma: float | None = None
) -> str:
    """Whether a gauge reads finely enough, in words.

    Parameters
    ----------
    resolution : float
        Smallest step. [unit]
    tolerance : float, optional
        Upper less lower limit. [unit]
    sigma : float, optional
        Standard deviation of the process. [unit]

    Returns
    -------
    str
        ``"fine enough"``, ``"too coarse for the tolerance"``, ``"too coarse for the process"``.

    Raises
    ------
    SpcError
        Nothing to compare with, or a value is not above 0.

    References
    ----------
    .. [1] One tenth of the tolerance, and of six standard deviations of the process: the rule of ten to one
       of AIAG, Measurement Systems Analysis, 4th ed. (from memory).
    """
    given = [value for value in (tolerance, sigma) if value is not None]
    if not given:
        raise SpcError("a resolution is judged against a tolerance or the spread of a process; give one")
    if not all(math.isfinite(value) and value > 0 for value in (resolution, *given)):
        raise SpcError("resolution, tolerance and sigma must be above 0")
    if tolerance is not None and resolution > tolerance / 10 * (1 + 1e-9):
        return "too coarse for the tolerance"
    if sigma is not None and resolution > 6 * sigma / 10 * (1 + 1e-9):
        return "too coarse for the process"
    return "fine enough"
