"""Capability of readings that follow no normal scale: percentile method.

Index = tolerance over the distance between the 0.135 % and the 99.865 % point, and the nearer limit's distance
from the median over that side's. Weibull and Johnson shapes, or the readings as they are.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

from spc.capability.distribution import LOW_SHARE
from spc.capability.indices import from_draws
from spc.capability.johnson import JOHNSON_Z, LEAST_JOHNSON, Johnson, fit_johnson, johnson_through
from spc.capability.resample import COPIES, part_weights, resampled_points
from spc.capability.shapes import (
    LEAST_WEIBULL,
    Weibull,
    anderson_darling_of,
    fit_weibull,
    weibull_of_rows,
)
from spc.capability.tolerance import (
    LEAST_PARTS,
    OutOfTolerance,
    check_limits,
    count_out,
    distance_index,
    wrong_side,
)
from spc.errors import LARGEST, SpcError, TooFewReadings
from spc.intervals import Index
from spc.mean_squares import Ranged
from spc.shown import Shown
from spc.variation import has_spread

Array = NDArray[np.float64]
OtherShape = Literal["weibull", "johnson", "as measured"]
LEAST = {"weibull": LEAST_WEIBULL, "johnson": LEAST_JOHNSON}
"""Fewest readings of each shape."""


@dataclass(frozen=True)
class PercentileCapability(Shown):
    """Performance of one process by percentiles.

    Attributes
    ----------
    n_parts, n_readings : int
    shape : OtherShape
    low, median, high : float
        0.135 %, 50 % and 99.865 % points (or the tail that was asked for). [unit of the readings]
    pp, ppk : Index, Ranged or None
        Without ends for readings as measured; None where they do not exist, or when `refused`.
    out : OutOfTolerance or None
        Its `expected` is None for readings as measured.
    curve : Weibull, Johnson or None
        The fit, for drawing; None for readings as measured.
    anderson_darling : float or None
        A^2 of all readings under the fit; None for readings as measured. [-]
    refused : str or None
        Why no index is given.
    warnings : tuple of str
    """

    n_parts: int
    n_readings: int
    shape: OtherShape
    low: float
    median: float
    high: float
    pp: Index | Ranged | None
    ppk: Index | Ranged | None
    out: OutOfTolerance | None
    curve: Weibull | Johnson | None
    anderson_darling: float | None
    refused: str | None
    warnings: tuple[str, ...]


def percentile_capability(
    readings: ArrayLike,
    lower: float | None,
    upper: float | None,
    *,
    shape: OtherShape,
    tail: float = LOW_SHARE,
    confidence: float = 0.95,
    copies: int = COPIES,
    seed: int = 0,
) -> PercentileCapability:
    """Performance indices of a shape that is not normal on any simple scale.

    Interval: of single Weibull readings exact, from the pivotal quantities of the fit; otherwise a bootstrap by
    part, which is too narrow under about 25 parts (`spc.capability.resample`; the tests print its coverage).

    Parameters
    ----------
    readings : array-like, shape (n_parts, p) or (n_parts,)
        NaN = not measured. [any unit]
    lower, upper : float or None
        Specification limits, at least one. [unit]
    shape : OtherShape
        ``"weibull"`` (readings above 0), ``"johnson"``, or ``"as measured"``: the readings' own points.
    tail : float
        Share beyond each outer point.
    confidence : float
        Two-sided.
    copies, seed : int
        Of the draws; the same seed gives the same result.

    Returns
    -------
    PercentileCapability

    Raises
    ------
    SpcError
        No limit or impossible ones, an infinite reading, an unknown shape, or readings it cannot hold.
    TooFewReadings
        No reading at all.

    References
    ----------
    .. [1] ISO 22514-2; Clements, J. A. (1989), Quality Progress 22(9), 95-100 (percentile method); Thoman,
       Bain & Antle (1969), Technometrics 11, 445-460 (pivotal quantities); from memory. NIST/SEMATECH
       e-Handbook 3.5.1.2 in the tests.
    """
    check_limits(lower, upper)
    if lower is None and upper is None:
        raise SpcError("an index of the distance to a limit needs a limit")
    if shape not in ("weibull", "johnson", "as measured"):
        raise SpcError(f"{shape!r} is no shape of this method; choose weibull, johnson or as measured")
    ends = []
    if shape == "weibull" and lower is not None and lower <= 0:
        ends.append("nothing of this shape lies below 0: the lower limit is left out")
        lower = None
        if upper is None:
            raise SpcError(
                "a lower limit of 0 or below cannot be missed by readings above 0; give an upper one"
            )
    if not 0 < tail < 0.5:
        raise SpcError(f"the outer share lies within 0 and one half; got {tail}")
    y = np.asarray(readings, dtype=float)
    y = y[:, None] if y.ndim == 1 else y
    if y.ndim != 2:
        raise SpcError(f"readings must be a table of parts by positions; got shape {y.shape}")
    if (np.abs(y) > LARGEST).any():
        raise SpcError(f"{int((np.abs(y) > LARGEST).sum())} reading(s) are infinite or beyond {LARGEST:g}")
    y = y[np.isfinite(y).any(axis=1)]
    known = np.isfinite(y)
    x = y[known]
    if not x.size:
        raise TooFewReadings("capability", "1 reading", 0)
    middle = float(np.median(x))
    out = count_out(y, lower, upper, confidence)

    def refuse(reason: str) -> PercentileCapability:
        return PercentileCapability(
            len(y), x.size, shape, middle, middle, middle, None, None, out, None, None, reason, (reason,)
        )

    if len(y) < LEAST_PARTS:
        return refuse(f"too few parts: {len(y)}, an index needs {LEAST_PARTS}")
    if not has_spread(float(np.std(x)), x):
        return refuse("all parts read the same: the spread is below what the gauge can show")
    if shape != "as measured" and x.size < LEAST[shape]:
        return refuse(f"too few readings: {x.size}, a {shape} shape needs {LEAST[shape]}")
    shares = (tail, 0.5, 1 - tail)
    warnings: list[str] = [*ends]
    fitted: Weibull | Johnson | None = None
    if shape == "as measured":
        points = np.quantile(x, shares, method="weibull")
        warnings.append("readings as measured: the index has no interval")
        if (x.size + 1) * tail < 1:
            warnings.append(
                f"{x.size} readings hold no point with {100 * tail:.3g} % beyond it: the outermost readings "
                "stand in, and the index comes out too high"
            )
    else:
        fitted = fit_weibull(x) if shape == "weibull" else fit_johnson(x)
        points = np.array([float(fitted.quantile(share)) for share in shares])
    low, median, high = (float(point) for point in points)
    if not low < median < high:
        return refuse("too many readings are equal: the points that the index needs coincide")
    ppk: Index | Ranged = Ranged(float(distance_index(low, median, high, lower, upper)))
    pp: Index | Ranged | None = None
    if lower is not None and upper is not None:
        pp = Ranged((upper - lower) / (high - low))
    if fitted is not None:
        fits = _drawn(y, fitted, np.random.default_rng(seed), copies)
        drawn = np.array([fits.quantile(share) for share in shares])
        if shape == "weibull" and x.size > len(y):
            warnings.append("several readings on a part count as one: the intervals are wider than need be")
        ppk = from_draws(ppk.estimate, distance_index(drawn[0], drawn[1], drawn[2], lower, upper), confidence)
        if pp is not None and lower is not None and upper is not None:
            pp = from_draws(pp.estimate, (upper - lower) / (drawn[2] - drawn[0]), confidence)
        if out is not None:
            out = _expected(out, fitted, fits, lower, upper, confidence)
    warnings.extend(wrong_side(median, lower, upper))
    return PercentileCapability(
        n_parts=len(y),
        n_readings=int(x.size),
        shape=shape,
        low=low,
        median=median,
        high=high,
        pp=pp,
        ppk=ppk,
        out=out,
        curve=fitted,
        anderson_darling=None if fitted is None else anderson_darling_of(fitted.below(x)),
        refused=None,
        warnings=tuple(warnings),
    )


def _drawn(y: Array, fitted: Weibull | Johnson, rng: np.random.Generator, copies: int) -> Weibull | Johnson:
    if isinstance(fitted, Johnson):
        from scipy.special import ndtr

        shares = tuple(float(s) for s in ndtr(np.array([-3, -1, 1, 3]) * JOHNSON_Z))
        return johnson_through(resampled_points(y, part_weights(len(y), rng, copies), shares))
    # slope* / slope and slope* log(scale* / scale) do not depend on the truth (Thoman, Bain & Antle).
    own = weibull_of_rows(np.log(rng.exponential(size=(copies, len(y)))), np.ones((1, len(y))))
    slope = fitted.slope / own.slope
    return Weibull(slope, fitted.scale * np.exp(-np.log(own.scale) * own.slope / fitted.slope))


def _expected(
    out: OutOfTolerance,
    fitted: Weibull | Johnson,
    drawn: Weibull | Johnson,
    lower: float | None,
    upper: float | None,
    confidence: float,
) -> OutOfTolerance:
    def beyond(fit: Weibull | Johnson) -> tuple[Array, Array]:
        under = np.zeros(()) if lower is None else np.asarray(fit.below(lower))
        over = np.zeros(()) if upper is None else 1 - np.asarray(fit.below(upper))
        return under, over

    under, over = (float(side) for side in beyond(fitted))
    spread = np.broadcast_to(np.add(*beyond(drawn)), np.shape(drawn.quantile(0.5)))
    return replace(
        out,
        expected=from_draws(under + over, spread, confidence),
        expected_below=under,
        expected_above=over,
    )
