"""Intervals of variance components that are sums and differences of independent mean squares."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from spc.errors import SpcError
from spc.shown import Shown

DRAWS = 20_000


@dataclass(frozen=True)
class Ranged(Shown):
    """A figure and, where one exists, its interval.

    Attributes
    ----------
    estimate : float
    lower, upper : float or None
        Two-sided at the confidence that was asked for; None where no interval is known.
    """

    estimate: float
    lower: float | None = None
    upper: float | None = None

    def to_dict(self) -> dict[str, float | None]:
        """The three figures by name."""
        return {"estimate": self.estimate, "lower": self.lower, "upper": self.upper}


def large_sample_interval(
    weights: Sequence[float], squares: Sequence[float], dofs: Sequence[float], confidence: float = 0.95
) -> Ranged:
    """Modified large-sample interval of a weighted sum of mean squares, weights of either sign.

    Exact for a single mean square and for the cases in which all degrees of freedom but one are infinite; in
    between it holds its confidence within a percent or two, which Satterthwaite's does not when a mean square
    is taken away.

    Parameters
    ----------
    weights : sequence of float
        Of each mean square; a weight of 0 leaves it out. [-]
    squares : sequence of float
        Mean squares, 0 or above. [unit squared]
    dofs : sequence of float
        Their degrees of freedom, above 0.
    confidence : float
        Two-sided, within 0 and 1.

    Returns
    -------
    Ranged
        Negative figures are given as 0, as a variance is. [unit squared]

    Raises
    ------
    SpcError
        Lengths differ, a degree of freedom is not above 0, or the confidence is not within 0 and 1.

    References
    ----------
    .. [1] Ting, N., Burdick, R. K., Graybill, F. A., Jeyaratnam, S. & Lu, T.-F. C. (1990), Journal of
       Statistical Computation and Simulation 35, 135-143; as used by Burdick, R. K., Borror, C. M. &
       Montgomery, D. C. (2005), Design and Analysis of Gauge R&R Studies (both from memory). Verified by
       simulation in the tests.
    """
    from scipy.special import chdtri, fdtri

    if not len(weights) == len(squares) == len(dofs):
        raise SpcError("every mean square needs a weight and degrees of freedom")
    if not 0 < confidence < 1:
        raise SpcError(f"the confidence lies within 0 and 1; got {confidence}")
    if not all(f > 0 for f in dofs):
        raise SpcError(f"degrees of freedom lie above 0; got {list(dofs)}")
    used = [(w, s, f) for w, s, f in zip(weights, squares, dofs, strict=True) if w != 0]
    tail = (1 - confidence) / 2
    size = [abs(w) * s for w, s, _ in used]
    sign = [1 if w > 0 else -1 for w, _, _ in used]
    free = [f for _, _, f in used]
    # chdtri and fdtri: chdtri takes the upper tail, fdtri the lower one.
    g = [1 - f / float(chdtri(f, tail)) for f in free]
    h = [f / float(chdtri(f, 1 - tail)) - 1 for f in free]
    estimate = sum(s * a for s, a in zip(sign, size, strict=True))
    down = up = 0.0
    for i, plus in enumerate(sign):
        down += ((g if plus > 0 else h)[i] * size[i]) ** 2
        up += ((h if plus > 0 else g)[i] * size[i]) ** 2
        for j, other in enumerate(sign):
            if plus > 0 > other:
                high = float(fdtri(free[i], free[j], 1 - tail))
                low = float(fdtri(free[i], free[j], tail))
                product = size[i] * size[j]
                down += ((high - 1) ** 2 - (g[i] * high) ** 2 - h[j] ** 2) / high * product
                up += ((1 - low) ** 2 - (h[i] * low) ** 2 - g[j] ** 2) / low * product
    for wanted in (1, -1):
        same = [i for i, s in enumerate(sign) if s == wanted]
        if len(same) < 2:
            continue
        extra = 0.0
        for at, i in enumerate(same):
            for j in same[at + 1 :]:
                a, b = free[i], free[j]
                both = (1 - (a + b) / float(chdtri(a + b, tail))) ** 2 * (a + b) ** 2 / (a * b)
                part = both - g[i] ** 2 * a / b - g[j] ** 2 * b / a
                extra += part / (len(same) - 1) * size[i] * size[j]
        # Sums on the same side tighten only the end on which both lie by their lower limits.
        if sign.count(-wanted):
            if wanted > 0:
                down += extra
            else:
                up += extra
    return Ranged(
        max(0.0, estimate),
        max(0.0, estimate - float(np.sqrt(max(0.0, down)))),
        max(0.0, estimate + float(np.sqrt(max(0.0, up)))),
    )


def drawn_squares(
    squares: Sequence[float], dofs: Sequence[float], rng: np.random.Generator, count: int = DRAWS
) -> NDArray[np.float64]:
    """Draws of the expected mean squares from their pivotal quantities, for ratios of components.

    Parameters
    ----------
    squares, dofs : sequence of float, one length
        [unit squared], [-]
    rng : numpy.random.Generator
    count : int
        Number of draws.

    Returns
    -------
    array, shape (len(squares), count)
        [unit squared]

    References
    ----------
    .. [1] Hamada, M. & Weerahandi, S. (2000), Journal of Quality Technology 32, 241-253 (generalised
       intervals for gauge studies; from memory).
    """
    return np.array([s * f / rng.chisquare(f, count) for s, f in zip(squares, dofs, strict=True)])
