"""Intervals of capability indices, shares and tolerance limits, with the degrees of freedom the data have."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from spc.errors import SpcError, TooFewReadings
from spc.shown import Shown
from spc.spread import Spread


@dataclass(frozen=True)
class Index(Shown):
    """A figure with its interval; the limits are two-sided at `confidence`."""

    estimate: float
    lower: float
    upper: float
    confidence: float = 0.95

    def to_dict(self) -> dict[str, float]:
        """The four figures by name."""
        return {
            "estimate": self.estimate,
            "lower": self.lower,
            "upper": self.upper,
            "confidence": self.confidence,
        }


def spread_index_interval(
    estimate: float, spread: Spread, drawn_sigma: NDArray[np.floating], confidence: float = 0.95
) -> Index:
    """Interval of tolerance over six sigma (Cp, Pp).

    Chi-square where the spread is a single mean square. Where several add up, the quantiles of the pivotal
    draws: a chi-square with Satterthwaite's degrees of freedom missed the lower limit of 5 parts with 14
    readings each in 8 to 9 % of simulated cases, as those degrees of freedom are themselves estimated.

    Parameters
    ----------
    estimate : float
        Tolerance / (6 `spread.sigma`).
    spread : Spread
    drawn_sigma : array, shape (draws,)
        From `pivotal_draws` of the same spread. [unit]
    confidence : float
        Two-sided.

    Returns
    -------
    Index

    References
    ----------
    .. [1] Kane, V. E. (1986), Journal of Quality Technology 18, 41-52, for independent values (from memory).
    """
    from scipy.special import chdtri

    tail = (1 - confidence) / 2
    if len(spread.squares) == 1 and not spread.patterns:
        # chdtri is the upper tail.
        low, high = np.sqrt(chdtri(spread.dofs[0], [1 - tail, tail]) / spread.dofs[0])
        fair = estimate * spread.sigma / math.sqrt(spread.variance)
        return Index(estimate, float(fair * low), float(fair * high), confidence)
    low, high = np.quantile(estimate * spread.sigma / drawn_sigma, [tail, 1 - tail])
    return Index(estimate, float(low), float(high), confidence)


def upper_limit(estimate: float, spread: Spread, confidence: float = 0.95) -> float:
    """Upper limit of Cpk or Ppk: C + t sqrt(Var(mean) / (9 sigma^2) + C^2 / (2 nu)).

    Parameters
    ----------
    estimate : float
        The index.
    spread : Spread
    confidence : float
        Two-sided; the limit is exceeded with half the rest.

    Returns
    -------
    float

    References
    ----------
    .. [1] Bissell, A. F. (1990), Applied Statistics 39, 331-340, with Satterthwaite's degrees of freedom in
       place of n - 1 and t in place of z (from memory). Verified by simulation in the tests.
    """
    from scipy.special import stdtrit

    nu = spread.dof
    # Under one degree of freedom t explodes; a spread never has fewer than its part level.
    t = float(stdtrit(max(nu, 1.0), (1 + confidence) / 2))
    return estimate + t * math.sqrt(spread.mean_variance / (9 * spread.variance) + estimate**2 / (2 * nu))


def bissell_interval(estimate: float, n: int, confidence: float = 0.95) -> Index:
    """Cpk of n independent normal values: C +- z sqrt(1 / (9 n) + C^2 / (2 (n - 1))).

    Parameters
    ----------
    estimate : float
        The index with the n - 1 standard deviation.
    n : int
        Values, 2 or more.
    confidence : float
        Two-sided.

    Returns
    -------
    Index

    Raises
    ------
    TooFewReadings
        n is below 2.

    References
    ----------
    .. [1] Bissell, A. F. (1990), Applied Statistics 39, 331-340; NIST/SEMATECH e-Handbook, 3.5.1.2.
    """
    from scipy.special import ndtri

    _sized(n)
    half = float(ndtri((1 + confidence) / 2)) * math.sqrt(1 / (9 * n) + estimate**2 / (2 * (n - 1)))
    return Index(estimate, estimate - half, estimate + half, confidence)


def one_sided_interval(estimate: float, n: int, confidence: float = 0.95) -> Index:
    """Exact interval of a one-sided index of n independent normal values, by the noncentral t.

    3 sqrt(n) times the estimate, (upper - mean) / (3 s) or (mean - lower) / (3 s), is noncentral t with n - 1
    degrees of freedom, centred on 3 sqrt(n) C. Arguments and refusals as for `bissell_interval`.

    References
    ----------
    .. [1] Owen, D. B. (1968), Technometrics 10, 445-478 (noncentral t; from memory).
    """
    low, high = one_sided_limits(np.array([estimate]), np.array([n]), confidence)
    return Index(estimate, float(low[0]), float(high[0]), confidence)


def one_sided_limits(
    estimate: NDArray[np.floating], n: NDArray[np.int_], confidence: float = 0.95
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Exact limits of many one-sided indices at once, as `one_sided_interval`.

    Parameters
    ----------
    estimate, n : arrays of one shape
        Indices, and the values each was found from (2 or more).
    confidence : float
        Two-sided.

    Returns
    -------
    lower, upper : arrays, same shape

    Raises
    ------
    TooFewReadings
        An n is below 2.
    """
    from scipy.special import chdtri, nctdtr, ndtr, ndtri

    size = np.asarray(n, dtype=float)
    _sized(float(size.min(initial=2)))
    root = 3 * np.sqrt(size)
    # Negative indices are answered by their mirror image, where the noncentral t is accurate.
    t = np.abs(root * np.asarray(estimate, dtype=float))
    z = float(ndtri((1 - confidence) / 2))
    nu = size - 1
    middle = (1 - 2 / (9 * nu)) ** 1.5

    def near(wanted: NDArray[np.float64], edge: NDArray[np.float64]) -> NDArray[np.float64]:
        """A quantile of the spread, `edge`, and the mean's, as if each stood alone, joined by Pythagoras."""
        return t * middle - np.sign(wanted) * np.hypot(t * (edge - middle), wanted)

    def roughly(wanted: NDArray[np.float64]) -> NDArray[np.float64]:
        """The same with Wilson and Hilferty's quantile of the spread, good for small differences."""
        return near(wanted, np.maximum(1 - 2 / (9 * nu) - wanted * np.sqrt(2 / (9 * nu)), 0.0) ** 1.5)

    def centre(wanted: float) -> NDArray[np.float64]:
        """Noncentrality at which T <= t has the chance Phi(wanted).

        On the normal scale the chance is nearly a straight line of the noncentrality, so a parabola through the last
        three places reaches the end of a float's digits in a few steps. The second place goes as far as
        `roughly` would when it is asked for as much more as the first answer fell short.
        """

        def miss(at: NDArray[np.float64], of: NDArray[np.int_] | slice) -> NDArray[np.float64]:
            return ndtri(np.clip(nctdtr(nu[of], at, t[of]), 1e-300, 1 - 1e-16)) - wanted

        asked = np.full(t.shape, wanted)
        found = near(asked, np.sqrt(chdtri(nu, ndtr(wanted)) / nu))
        first = miss(found, slice(None))
        open_ = np.arange(t.size)
        places, misses = [found.copy(), found + roughly(wanted - first) - roughly(asked)], [first]
        for _ in range(60):
            misses.append(miss(places[-1], open_))
            step = _to_zero(places, misses)
            here = places[-1]
            step = np.clip(step, -1.0 - np.abs(here) / 2, 1.0 + np.abs(here) / 2)
            found[open_] = here + step
            # What a step leaves is a small part of the product of the misses that it was drawn through.
            left = np.abs(misses[-1] * misses[-2]) > (1e-7 if len(misses) > 2 else 3e-8)
            if not left.any():
                break
            open_ = open_[left]
            places = [*(place[left] for place in places[-2:]), found[open_]]
            misses = [miss_[left] for miss_ in misses[-2:]]
        return found

    low, high = centre(-z) / root, centre(z) / root
    below = np.asarray(estimate) < 0
    return np.where(below, -high, low), np.where(below, -low, high)


def _to_zero(places: list[NDArray[np.float64]], misses: list[NDArray[np.float64]]) -> NDArray[np.float64]:
    """Step from the last place to where the parabola (of two places: the line) through the misses is 0."""

    def slope(a: NDArray[np.float64], b: NDArray[np.float64], rise: NDArray[np.float64]):
        return np.divide(b - a, rise, out=np.zeros(a.shape), where=rise != 0)

    last = slope(places[-2], places[-1], misses[-1] - misses[-2])
    step = -misses[-1] * last
    if len(places) > 2:
        before = slope(places[-3], places[-2], misses[-2] - misses[-3])
        step += misses[-1] * misses[-2] * slope(before, last, misses[-1] - misses[-3])
    return step


def _sized(n: float) -> None:
    if n < 2:
        raise TooFewReadings("an interval of a capability index", "2 values", int(n))


def binomial_interval(count: int, n: int, confidence: float = 0.95) -> Index:
    """Exact interval of a share, from a count.

    Parameters
    ----------
    count : int
        How many of the n.
    n : int
        1 or more.
    confidence : float
        Two-sided.

    Returns
    -------
    Index
        Shares between 0 and 1.

    Raises
    ------
    SpcError
        The count is not within 0 to n, or n is below 1.

    References
    ----------
    .. [1] Clopper, C. J. & Pearson, E. S. (1934), Biometrika 26, 404-413; NIST/SEMATECH e-Handbook, 7.2.4.2.
    """
    from scipy.special import betaincinv

    if n < 1 or not 0 <= count <= n:
        raise SpcError(f"{count} of {n} is no share; the count must lie within 0 to n, n at least 1")
    tail = (1 - confidence) / 2
    low = 0.0 if count == 0 else float(betaincinv(count, n - count + 1, tail))
    high = 1.0 if count == n else float(betaincinv(count + 1, n - count, 1 - tail))
    return Index(count / n, low, high, confidence)


def tolerance_factor(n: int, coverage: float, confidence: float, *, sides: int = 2) -> float:
    """Standard deviations around the mean that hold a share of a normal population.

    One-sided: exact, by the noncentral t. Two-sided: Howe's approximation, good to about 1 % from n = 5.

    Parameters
    ----------
    n : int
        Values, 2 or more.
    coverage : float
        Share of the population to be held, within 0 and 1.
    confidence : float
        Within 0 and 1.
    sides : int
        1 or 2.

    Returns
    -------
    float
        k in mean +- k s, or mean + k s. [-]

    Raises
    ------
    TooFewReadings
        n is below 2.
    SpcError
        A share is not within 0 and 1, or sides is neither 1 nor 2.

    References
    ----------
    .. [1] Howe, W. G. (1969), Journal of the American Statistical Association 64, 610-620;
       NIST/SEMATECH e-Handbook, 7.2.6.3.
    """
    from scipy.special import chdtri, nctdtrit, ndtri

    if n < 2:
        raise TooFewReadings("a tolerance factor", "2 values", n)
    if not (0 < coverage < 1 and 0 < confidence < 1):
        raise SpcError(f"coverage {coverage} and confidence {confidence} must lie within 0 and 1")
    if sides == 1:
        root = math.sqrt(n)
        return float(nctdtrit(n - 1, float(ndtri(coverage)) * root, confidence)) / root
    if sides != 2:
        raise SpcError(f"a tolerance interval has 1 or 2 sides; got {sides}")
    z = float(ndtri((1 + coverage) / 2))
    return z * math.sqrt((n - 1) * (1 + 1 / n) / float(chdtri(n - 1, confidence)))
