"""What a gauge's uncertainty is made of, and what is left of a capability once the gauge is taken out."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from spc.errors import SpcError
from spc.mean_squares import Ranged
from spc.variation import finite_series

DRAWS = 20_000


@dataclass(frozen=True)
class GaugeUncertainty:
    """Standard uncertainty of one reading, and its parts. [unit]

    Attributes
    ----------
    standard : float
    parts : dict of float
        ``"repeats"``, ``"setting"``, ``"bias"``, ``"step of the scale"``, ``"temperature"``; standard each.
    """

    standard: float
    parts: Mapping[str, float]


def gauge_uncertainty(
    repeatability: float,
    *,
    setting: float = 0.0,
    bias: float = 0.0,
    resolution: float = 0.0,
    temperature: float = 0.0,
) -> GaugeUncertainty:
    """Combine what a gauge adds to one reading.

    Parameters
    ----------
    repeatability : float
        Standard deviation of repeated readings. [unit]
    setting : float
        Standard deviation from one setting, day or operator to the next. [unit]
    bias : float
        Mean error that is known and not corrected for; it counts in full. [unit]
    resolution : float
        Smallest step. Rounding is in the repeats already, so that the larger of the two counts. [unit]
    temperature : float
        Standard uncertainty from temperature. [unit]

    Returns
    -------
    GaugeUncertainty

    Raises
    ------
    SpcError
        A value is not a number, one other than the bias is below 0, or all are 0.

    References
    ----------
    .. [1] JCGM 100:2008 (GUM), 5.1.2 and F.2.2.1 (half a step, rectangular); an uncorrected bias added in
       quadrature as in ISO 22514-7 (from memory).
    """
    given = (repeatability, setting, bias, resolution, temperature)
    if not all(math.isfinite(v) for v in given) or min(repeatability, setting, resolution, temperature) < 0:
        raise SpcError(f"what a gauge adds must be numbers of 0 or above; got {given}")
    rounding = resolution / math.sqrt(12)
    parts = {
        "repeats": repeatability if repeatability >= rounding else 0.0,
        "step of the scale": rounding if rounding > repeatability else 0.0,
        "setting": setting,
        "bias": abs(bias),
        "temperature": temperature,
    }
    standard = math.hypot(*parts.values())
    if not standard > 0:
        raise SpcError("a gauge without any uncertainty cannot be: give its resolution at least")
    return GaugeUncertainty(standard, {name: value for name, value in parts.items() if value > 0})


BY_ITSELF = ("repeats", "step of the scale")
"""Parts of an uncertainty that differ from one reading to the next; a setting, a bias and the warmth of the day are the
same in all readings of one part and fall out of a difference."""


def from_reading_to_reading(gauges: Sequence[GaugeUncertainty]) -> float:
    """Standard uncertainty that readings of one part do not share; several gauges count alike.

    Parameters
    ----------
    gauges : sequence of GaugeUncertainty
        1 or more.

    Returns
    -------
    float
        Root mean square over the gauges. [unit]

    Raises
    ------
    SpcError
        No gauge.
    """
    if not gauges:
        raise SpcError("what readings differ by takes a gauge")
    squares = [sum(g.parts.get(name, 0.0) ** 2 for name in BY_ITSELF) for g in gauges]
    return math.sqrt(sum(squares) / len(squares))


def of_derived(one: float, weights: ArrayLike) -> NDArray[np.float64]:
    """Standard uncertainty of values that are sums of independent readings with weights.

    Parameters
    ----------
    one : float
        Of one reading. [unit]
    weights : array-like, shape (q, p)
        Of each reading in each value.

    Returns
    -------
    array, shape (q,)
        [unit]

    References
    ----------
    .. [1] JCGM 100:2008 (GUM), 5.1.2.
    """
    return one * np.linalg.norm(np.asarray(weights, dtype=np.float64), axis=1)


OF_RANGE = math.sqrt(2.0)
"""A range counts as the difference of its two outermost readings. Common practice, no source."""


def without_gauge(
    index: Ranged, sigma: float, gauge: Ranged, *, confidence: float = 0.95, seed: int = 0
) -> Ranged | None:
    """A capability index of the true size: the measured one with the variance of the gauge taken out.

    Parameters
    ----------
    index : Ranged
        Of the measured sizes. [-]
    sigma : float
        Standard deviation behind it, gauge included; above 0. [unit]
    gauge : Ranged
        Variance of the gauge in one reading. [unit squared]
    confidence : float
        Of the interval in `index` and of the one returned.
    seed : int
        Of the draws; the same seed gives the same result.

    Returns
    -------
    Ranged or None
        None when the gauge explains all that was measured. The interval takes the errors of the index and of
        the gauge as independent, normal and log-normal, and that of the index as one of its sigma; there is none
        without both intervals.

    Raises
    ------
    SpcError
        The sigma is not above 0 or the variance is below 0.

    References
    ----------
    .. [1] sigma of the parts = sqrt(sigma measured^2 - sigma gauge^2): common practice, no source; the
       interval by Monte Carlo, JCGM 101:2008 (from memory).
    """
    if not (math.isfinite(sigma) and sigma > 0 and gauge.estimate >= 0):
        raise SpcError(f"sigma must be above 0 and a variance 0 or above; got {sigma} and {gauge.estimate}")
    share = gauge.estimate / sigma**2
    if share >= 1:
        return None
    value = index.estimate / math.sqrt(1 - share)
    if index.lower is None or index.upper is None or gauge.lower is None or gauge.upper is None:
        return Ranged(value)
    from scipy.special import ndtri

    rng = np.random.default_rng(seed)
    reach = 2 * float(ndtri((1 + confidence) / 2))
    measured = index.estimate + rng.standard_normal(DRAWS) * (index.upper - index.lower) / reach
    if gauge.estimate > 0 and gauge.lower > 0:
        spread = (math.log(gauge.upper) - math.log(gauge.lower)) / reach
        drawn = gauge.estimate * np.exp(spread * rng.standard_normal(DRAWS))
    else:
        drawn = rng.uniform(gauge.lower, gauge.upper, DRAWS)
    # The index errs mostly through the sigma in it, so that a small one goes with a large sigma.
    sigmas = sigma * index.estimate / np.maximum(measured, 1e-9) if index.estimate > 0 else sigma
    kept = np.minimum(drawn / sigmas**2, 0.99)
    low, high = np.quantile(measured / np.sqrt(1 - kept), [(1 - confidence) / 2, (1 + confidence) / 2])
    return Ranged(value, min(value, float(low)), max(value, float(high)))


@dataclass(frozen=True)
class WarmthEffect:
    """How much more a part reads for each degree it is warmer than usual.

    Attributes
    ----------
    slope : Ranged
        [unit per kelvin]
    p_value : float
        Chance of a slope as far from 0 if there were none.
    n, warm : int
        Parts, and those among them at least 3 K from usual.
    """

    slope: Ranged
    p_value: float
    n: int
    warm: int


def warmth_effect(
    difference: ArrayLike, warmer: ArrayLike, *, tests: int = 1, confidence: float = 0.95
) -> WarmthEffect | None:
    """Whether parts that were warm when read differ from what a second gauge finds when they are not.

    Parameters
    ----------
    difference : array-like, shape (n,)
        Read warm less read again at the reference; 8 or more parts. [unit]
    warmer : array-like, shape (n,)
        By how much each part was warmer than usual when read. [K]
    tests : int
        Slopes that are looked at together; the chance is multiplied by it (Bonferroni) and the interval widened.
    confidence : float
        Two-sided, for all of them together.

    Returns
    -------
    WarmthEffect or None
        None when fewer than 8 parts have both, or all were equally warm.

    Raises
    ------
    SpcError
        Shapes differ.

    References
    ----------
    .. [1] Least squares with the HC3 errors of MacKinnon, J. G. & White, H. (1985), J. Econometrics 29,
       305-325, against Student's t (from memory): warm parts may scatter differently.
    """
    from scipy.special import stdtr, stdtrit

    y, x = np.asarray(difference, dtype=float), np.asarray(warmer, dtype=float)
    if y.shape != x.shape or y.ndim != 1:
        raise SpcError("every difference needs the temperature of its part")
    known = np.isfinite(y) & np.isfinite(x)
    if known.sum() < 8:
        return None
    y, x = finite_series(y[known], "an effect of warmth", 8), x[known]
    from_mean = x - x.mean()
    total = float(from_mean @ from_mean)
    if not total > 1e-9:
        return None
    slope = float(from_mean @ y) / total
    residual = y - y.mean() - slope * from_mean
    leverage = 1 / y.size + from_mean**2 / total
    variance = float(np.sum((from_mean * residual / np.maximum(1 - leverage, 1e-9)) ** 2)) / total**2
    dof, error = y.size - 2, math.sqrt(variance)
    warm = int((np.abs(x) >= 3.0).sum())
    if not error > 0:
        return WarmthEffect(Ranged(slope), 0.0 if slope else 1.0, int(y.size), warm)
    half = float(stdtrit(dof, 1 - (1 - confidence) / (2 * tests))) * error
    chance = min(1.0, tests * 2 * float(stdtr(dof, -abs(slope) / error)))
    return WarmthEffect(Ranged(slope, slope - half, slope + half), chance, int(y.size), warm)
