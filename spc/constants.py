"""Bias factors of the range and of the standard deviation, and the chart factors built from them.

Everything is computed from the definition for a normal sample and kept once computed; printed tables
chain rounded values and are up to two units off in the last place.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cache, lru_cache

import numpy as np

from spc.errors import SpcError

# Beyond nine standard deviations the normal tails are below 1e-18: nothing of a float64 sum is left there.
_REACH = 9.0
_NODES = 240


def _sample_size(n: int) -> int:
    if n != int(n) or n < 2:
        raise SpcError(
            f"a sample of {n} has no range and no standard deviation; the size must be a whole number, 2 up"
        )
    return int(n)


@lru_cache(maxsize=1)
def _grid() -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    from scipy.special import ndtr

    nodes, weights = np.polynomial.legendre.leggauss(_NODES)
    x = _REACH * nodes
    return x, _REACH * weights, ndtr(x)


@cache
def d2(n: int) -> float:
    """Expected range of a normal sample of n, in standard deviations.

    Parameters
    ----------
    n : int
        Sample size, 2 or more.

    Returns
    -------
    float
        d2 = integral of 1 - (1 - Phi)^n - Phi^n. [-]

    Raises
    ------
    SpcError
        n is below 2 or not a whole number.

    References
    ----------
    .. [1] Tippett, L. H. C. (1925), Biometrika 17, 364-387 (the integral; from memory).
    """
    n = _sample_size(n)
    _, weight, below = _grid()
    return float(np.sum(weight * (1 - (1 - below) ** n - below**n)))


@cache
def d3(n: int) -> float:
    """Standard deviation of the range of a normal sample, in standard deviations of one value.

    E[W^2] = 2 * double integral over x < y of 1 - Phi(y)^n - (1 - Phi(x))^n + (Phi(y) - Phi(x))^n. Size and
    refusals as for `d2`.

    References
    ----------
    .. [1] Tippett, L. H. C. (1925), Biometrika 17, 364-387 (from memory).
    """
    from scipy.special import ndtr

    n = _sample_size(n)
    nodes, weights = np.polynomial.legendre.leggauss(_NODES)
    x = (_REACH * nodes)[:, None]
    # The inner integral runs from x to the upper end, so that the integrand is smooth on its whole domain.
    half = (_REACH - x) / 2
    y = x + half * (nodes[None, :] + 1)
    at_x, at_y = ndtr(x), ndtr(y)
    inner = 1 - at_y**n - (1 - at_x) ** n + (at_y - at_x) ** n
    square = 2 * np.sum(_REACH * weights[:, None] * half * weights[None, :] * inner)
    return math.sqrt(float(square) - d2(n) ** 2)


@cache
def c4(n: float) -> float:
    """Expected standard deviation (n - 1) of a normal sample of n, in true standard deviations.

    Parameters
    ----------
    n : float
        Sample size, above 1. A fraction is allowed: degrees of freedom of a pooled or approximated
        standard deviation, plus 1.

    Returns
    -------
    float
        c4 = sqrt(2 / (n - 1)) Gamma(n / 2) / Gamma((n - 1) / 2). [-]

    Raises
    ------
    SpcError
        n is 1 or less.

    References
    ----------
    .. [1] Follows from the chi distribution of (n - 1) degrees of freedom.
    """
    if not n > 1:
        raise SpcError(f"a sample of {n} has no standard deviation; the size must be above 1")
    return math.sqrt(2 / (n - 1)) * math.exp(math.lgamma(n / 2) - math.lgamma((n - 1) / 2))


@cache
def median_range(n: int) -> float:
    """Median range of a normal sample, in its standard deviations, for limits from median ranges.

    The w at which n times the integral of phi(x) (Phi(x + w) - Phi(x))^(n-1) is one half, by the quadrature
    that `d2` uses; size and refusals as there.

    References
    ----------
    .. [1] Follows from the distribution of the range (definition).
    """
    from scipy.optimize import root_scalar
    from scipy.special import ndtr

    n = _sample_size(n)
    x, weight, below = _grid()
    density = np.exp(-(x**2) / 2) / math.sqrt(2 * math.pi)

    def excess(w: float) -> float:
        return n * float(np.sum(weight * density * (ndtr(x + w) - below) ** (n - 1))) - 0.5

    return float(root_scalar(excess, bracket=(0.0, 2 * _REACH), xtol=1e-13).root)


@dataclass(frozen=True)
class ChartFactors:
    """Factors that turn a mean range or mean standard deviation into limits, for samples of n.

    `A2`, `A3`: half width of the mean chart per mean range, per mean standard deviation.
    `B3`, `B4`: limits of the standard deviation per mean standard deviation; `B5`, `B6` per sigma.
    `D3`, `D4`: limits of the range per mean range; `D1`, `D2` per sigma.
    `E2`: half width of the individuals chart per mean moving range of n. All without unit.
    """

    n: int
    width: float
    A2: float
    A3: float
    B3: float
    B4: float
    B5: float
    B6: float
    D1: float
    D2: float
    D3: float
    D4: float
    E2: float


@cache
def chart_factors(n: int, width: float = 3.0) -> ChartFactors:
    """All chart factors of a sample size.

    Parameters
    ----------
    n : int
        Sample size, 2 or more.
    width : float
        Half width of the limits in standard deviations of what is charted.

    Returns
    -------
    ChartFactors

    Raises
    ------
    SpcError
        n is below 2 or not a whole number, or the width is not positive.

    References
    ----------
    .. [1] ASTM E2587 and ISO 7870-2 give these definitions (from memory); compared with the printed table
       in the tests.
    """
    n = _sample_size(n)
    if not width > 0:
        raise SpcError(f"limits of {width} standard deviations enclose nothing; the width must be above 0")
    bias, root = c4(n), math.sqrt(n)
    spread = math.sqrt(1 - bias**2)
    return ChartFactors(
        n=n,
        width=width,
        A2=width / (d2(n) * root),
        A3=width / (bias * root),
        B3=max(0.0, 1 - width * spread / bias),
        B4=1 + width * spread / bias,
        B5=max(0.0, bias - width * spread),
        B6=bias + width * spread,
        D1=max(0.0, d2(n) - width * d3(n)),
        D2=d2(n) + width * d3(n),
        D3=max(0.0, 1 - width * d3(n) / d2(n)),
        D4=1 + width * d3(n) / d2(n),
        E2=width / d2(n),
    )


@cache
def moving_range_dof(n: int) -> float:
    """Degrees of freedom of sigma taken from the mean moving range of n values.

    The mean moving range over d2 is close to a scaled chi variable. Its variance is exact: neighbouring
    ranges share one value, so their differences correlate by -1/2. The degrees of freedom are those of the
    chi variable with the same coefficient of variation.

    Parameters
    ----------
    n : int
        Number of values, 2 or more.

    Returns
    -------
    float
        Degrees of freedom; about 0.6 (n - 1). [-]

    Raises
    ------
    SpcError
        n is below 2 or not a whole number.

    References
    ----------
    .. [1] Patnaik, P. B. (1950), Biometrika 37, 78-87 (chi approximation of a mean range; from memory).
       The covariance of neighbouring ranges follows from E|D1 D2| of a bivariate normal.
    """
    from scipy.optimize import root_scalar

    n = _sample_size(n)
    mean_square = 4 / math.pi
    variance = 2 - mean_square
    # E|D1 D2| = (2/pi) var(D) (sqrt(1 - r^2) + r asin r), var(D) = 2, r = -1/2.
    covariance = mean_square * (math.sqrt(0.75) + math.asin(0.5) / 2) - mean_square
    ranges = n - 1
    relative = (ranges * variance + 2 * (ranges - 1) * covariance) / ranges**2 / mean_square

    def excess(dof: float) -> float:
        return 1 / c4(dof + 1) ** 2 - 1 - relative

    return float(root_scalar(excess, bracket=(0.05, 2.0 * n + 10), xtol=1e-10).root)
