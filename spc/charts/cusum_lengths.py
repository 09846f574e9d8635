"""Run lengths of cumulative sums of independent normal values, computed."""

from __future__ import annotations

import math

import numpy as np

from spc.errors import SpcError

_NODES = 60


def cusum_run_length(
    allowance: float, limit: float, shift: float = 0.0, *, two_sided: bool = True, start: float = 0.0
) -> float:
    """Average number of values until a tabular cumulative sum exceeds its limit.

    L(u) = 1 + L(0) Phi(k - u) + integral from 0 to h of L(y) phi(y + k - u) dy, by Gauss-Legendre quadrature;
    the two sides combine by their rates, which is exact when both start at 0.

    Parameters
    ----------
    allowance, limit : float
        k and h; 0 or above, and above 0. [sigma]
    shift : float
        Of the mean. [sigma]
    two_sided : bool
        Whether the lower sum watches too.
    start : float
        Head start of a one-sided sum, within 0 and the limit. [sigma]

    Returns
    -------
    float

    Raises
    ------
    SpcError
        A value is out of range, or a head start was asked of two sides.

    References
    ----------
    .. [1] Page, E. S. (1954), Biometrika 41, 100-115; van Dobben de Bruyn, C. S. (1968), Cumulative Sum Tests
       (the integral equation and the rates; from memory). Compared with the tables of Lucas (1976) and
       Hawkins (1993) in the tests.
    """
    if not (allowance >= 0 and 0 < limit < math.inf and math.isfinite(shift)):
        raise SpcError(
            f"the allowance is 0 or above, the limit above 0, the shift a number; got {allowance}, {limit}, {shift}"
        )
    if not 0 <= start < limit:
        raise SpcError(f"a head start lies within 0 and the limit; got {start}")
    if two_sided and start:
        raise SpcError("a head start is answered for one side only; set two_sided to False")
    up = _one_sided(allowance - shift, limit, start)
    return up if not two_sided else 1 / (1 / up + 1 / _one_sided(allowance + shift, limit, 0.0))


def cusum_limit(allowance: float, run_length: float, *, two_sided: bool = True) -> float:
    """Limit that gives an in-control run length.

    Parameters
    ----------
    allowance : float
        [sigma]
    run_length : float
        Above 3, at most 1e6.
    two_sided : bool

    Returns
    -------
    float
        h. [sigma]

    Raises
    ------
    SpcError
        The allowance is below 0, or the run length is out of range.
    """
    from scipy.optimize import root_scalar

    if not 3 < run_length <= 1e6:
        raise SpcError(f"a run length lies above 3 and up to a million; got {run_length}")

    def excess(h: float) -> float:
        return math.log(cusum_run_length(allowance, h, two_sided=two_sided) / run_length)

    high = 1.0
    while excess(high) < 0:
        high *= 2
    return float(root_scalar(excess, bracket=(1e-6, high), xtol=1e-9).root)


def _one_sided(drift: float, limit: float, start: float) -> float:
    """`drift` is the allowance less the mean of the values."""
    from scipy.special import ndtr

    x, w = np.polynomial.legendre.leggauss(_NODES)
    # Long intervals are cut into pieces of at most eight sigma, so that the kernel stays smooth on each.
    pieces = max(1, math.ceil(limit / 8))
    width = limit / pieces
    y = np.concatenate([width * (i + (x + 1) / 2) for i in range(pieces)])
    weight = np.tile(width * w / 2, pieces)
    points = np.concatenate([[0.0], y])

    def kernel(u: np.ndarray) -> np.ndarray:
        density = np.exp(-((y + drift - u[:, None]) ** 2) / 2) / math.sqrt(2 * math.pi)
        return np.column_stack([ndtr(drift - u), density * weight])

    lengths = np.linalg.solve(np.eye(points.size) - kernel(points), np.ones(points.size))
    return float(1 + kernel(np.array([start]))[0] @ lengths)
