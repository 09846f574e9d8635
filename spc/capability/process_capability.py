"""What a process can hold: indices with intervals, shares out of tolerance, and what limits it.

Cp and Cpk describe what a stable process could do, Pp and Ppk what came out. Both follow ISO 22514-2 and
ISO 21747: reference limits are the 0.135 % and 99.865 % points of the shape (six sigma where it is normal).
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

from spc.capability.distribution import (
    AnyShape,
    Fit,
    NormalityTest,
    Shape,
    anderson_darling,
    choose_shape,
    quantiles,
    share_out,
    suggested_shapes,
    to_normal_scale,
)
from spc.capability.indices import from_draws, from_set, limit_index, width_index
from spc.capability.johnson import Johnson
from spc.capability.limiting import Cause, limiting_causes
from spc.capability.percentile import percentile_capability
from spc.capability.shapes import Drawable, Weibull
from spc.capability.sizes import UNFOLDED, SizeFit, fit_sizes
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
from spc.shown import Shown
from spc.spread import overall_spread, pivotal_draws, within_spread
from spc.strata import split_strata
from spc.variation import has_spread

_NOT_NORMAL = 0.005
_MANY_MISSING = 0.2
_NO_SPREAD = "all parts read the same: the spread is below what the gauge can show"

Array = NDArray[np.floating]


@dataclass(frozen=True)
class Capability(Shown):
    """Capability of one process in one family.

    Indices are None where they do not exist: Cp and Pp without two limits, Cp and Cpk of an unstable process,
    all of them when `refused` says why.

    `mean` and the sigmas are those of the readings (folded normal: with their sign) or of their logarithms
    (lognormal); `median`, `low` and `high` (0.135 % and 99.865 %) are in the unit of the readings. `curve` is the
    fit of a shape without a normal scale (Weibull, Johnson), otherwise None.
    """

    n_parts: int
    n_readings: int
    lower_limit: float | None
    upper_limit: float | None
    shape: AnyShape
    mean: float
    sigma_within: float | None
    sigma_overall: float
    low: float
    median: float
    high: float
    cp: Index | None
    cpk: Index | None
    pp: Index | None
    ppk: Index | None
    stable: bool
    out: OutOfTolerance | None
    causes: tuple[Cause, ...]
    position_offsets: tuple[float, ...]
    normality: NormalityTest | None
    refused: str | None
    warnings: tuple[str, ...]
    curve: Weibull | Johnson | None = None

    @property
    def fit(self) -> Drawable | None:
        """The overall fit, for drawing; None without spread."""
        if self.shape == "weibull" or self.shape == "johnson":
            return self.curve
        return Fit(self.shape, self.mean, self.sigma_overall) if self.sigma_overall > 0 else None


def process_capability(
    readings: ArrayLike,
    lower: float | None,
    upper: float | None,
    *,
    strata: Sequence[ArrayLike] = (),
    stable: bool,
    kind: str = "size",
    judge_absolute: bool = False,
    shape: AnyShape | None = None,
    gauge_sd: float | None = None,
    confidence: float = 0.95,
    seed: int = 0,
) -> Capability:
    """Capability of one process in one family, with intervals that count parts as parts.

    sigma within: part to part by the moving range of part means, plus the components within a part. Overall
    sigma: variance of part means plus the components within a part plus the position pattern, which is
    unbiased however few the parts are (the plain standard deviation of all readings is not).

    Parameters
    ----------
    readings : array-like, shape (n_parts, p)
        Parts in order of machining; NaN = not measured. [any unit]
    lower, upper : float or None
        Specification limits. [unit of the readings]
    strata : sequence of array-like, each shape (p,)
        Group label of each position per level above the single position, coarsest first.
    stable : bool
        Whether the process has no open signal; without that Cp and Cpk mean nothing and are not given.
    kind : str
        Kind of feature, for the shape: size, height, form, finish, time, check.
    judge_absolute : bool
        Readings are signed, the limits apply to their size (out-of-round, taper).
    shape : AnyShape, optional
        Overrides the choice by kind and fit. Weibull and Johnson shapes are only ever taken when asked for; their
        spread cannot be split, so that there is no Cp, no Cpk and no list of causes.
    gauge_sd : float, optional
        Repeatability of the gauge, to be shown apart; of a lognormal shape its share of the median counts.
        [unit of the readings]
    confidence : float
        Of all intervals, two-sided.
    seed : int
        Of the random draws behind the intervals; the same seed gives the same result.

    Returns
    -------
    Capability
        `refused` is set, and no index given, below `LEAST_PARTS` parts or when all readings are equal.

    Raises
    ------
    SpcError
        Impossible limits, shapes that do not fit, infinite readings, readings a lognormal shape cannot have.
    TooFewReadings
        No reading at all.

    References
    ----------
    .. [1] ISO 22514-2; ISO 21747 (indices; from memory). Intervals: see `spc.intervals`.
    """
    check_limits(lower, upper)
    y = np.asarray(readings, dtype=float)
    y = y[:, None] if y.ndim == 1 else y
    known = np.isfinite(y)
    if (np.abs(y) > LARGEST).any():
        raise SpcError(f"{int((np.abs(y) > LARGEST).sum())} reading(s) are infinite or beyond {LARGEST:g}")
    if not known.any():
        raise TooFewReadings("capability", "1 reading", 0)
    if judge_absolute and lower is not None and lower <= 0:
        lower = None
    chosen: AnyShape = shape or choose_shape(y, kind, signed_sizes=judge_absolute)
    judged = np.abs(y) if judge_absolute else y
    usual = suggested_shapes(y[known], kind)[0]
    displaced: tuple[str, ...] = ()
    if shape is None and not judge_absolute and chosen != usual:
        displaced = (f"told by the {chosen} shape, which fits clearly better than the usual {usual} one",)
    scaled = judged if chosen == "weibull" or chosen == "johnson" else to_normal_scale(y, chosen)
    middle = float(np.median(judged[known]))
    begun = Capability(
        n_parts=int(known.any(axis=1).sum()),
        n_readings=int(known.sum()),
        lower_limit=lower,
        upper_limit=upper,
        shape=chosen,
        mean=float(scaled[known].mean()),
        sigma_within=None,
        sigma_overall=0.0,
        low=middle,
        median=middle,
        high=middle,
        cp=None,
        cpk=None,
        pp=None,
        ppk=None,
        stable=stable,
        out=count_out(judged, lower, upper, confidence),
        causes=(),
        position_offsets=(),
        normality=None,
        refused=None,
        warnings=displaced,
    )
    if begun.n_parts < LEAST_PARTS:
        return _refuse(begun, f"too few parts: {begun.n_parts}, an index needs {LEAST_PARTS}")
    if chosen == "weibull" or chosen == "johnson":
        return _by_percentiles(begun, judged, chosen, confidence, seed)
    if chosen == "folded normal" and not judge_absolute:
        if not has_spread(float(np.std(y[known])), y):
            return _refuse(begun, _NO_SPREAD)
        fitted = fit_sizes(y, confidence)
        if fitted.fit.mean < UNFOLDED * fitted.fit.sigma:
            return _of_sizes(begun, fitted, confidence)
    if chosen == "lognormal" and gauge_sd is not None:
        gauge_sd = gauge_sd / middle
    return _of_strata(begun, chosen, scaled, strata, gauge_sd, confidence, np.random.default_rng(seed))


def _refuse(begun: Capability, reason: str) -> Capability:
    return replace(begun, refused=reason, warnings=(*begun.warnings, reason))


def _of_strata(
    begun: Capability,
    shape: Shape,
    scaled: Array,
    strata: Sequence[ArrayLike],
    gauge_sd: float | None,
    confidence: float,
    rng: np.random.Generator,
) -> Capability:
    """Readings whose scale is normal: spread by strata, intervals by pivotal draws."""
    split = split_strata(scaled, strata)
    if not has_spread(math.sqrt(split.noise), scaled):
        return _refuse(begun, _NO_SPREAD)
    lower, upper = begun.lower_limit, begun.upper_limit
    overall, within = overall_spread(split), within_spread(split)
    drawn = pivotal_draws(overall, rng)
    low, median, high = (float(q) for q in quantiles(shape, overall.mean, overall.sigma))
    lacking = 1 - split.n_readings / (split.n_parts * split.offsets.size)
    warnings = [*begun.warnings]
    if lacking > _MANY_MISSING:
        warnings.append(f"{100 * lacking:.0f} % of the readings are missing")
    normality = _normality(scaled)
    if normality is not None and normality.p_value < _NOT_NORMAL:
        warnings.append(
            f"part means do not follow the {shape} shape (Anderson-Darling p {normality.p_value:.2g}): "
            "read the histogram before the indices"
        )
    offsets = np.zeros(scaled.shape[1])
    offsets[np.isfinite(scaled).any(axis=0)] = split.offsets
    found = replace(
        begun,
        mean=overall.mean,
        sigma_within=within.sigma,
        sigma_overall=overall.sigma,
        low=low,
        median=median,
        high=high,
        position_offsets=tuple(float(o) for o in offsets),
        normality=normality,
        warnings=tuple(warnings),
    )
    if lower is None and upper is None:
        return found
    beyond = np.add(*share_out(shape, *drawn, lower, upper))
    fit = Fit(shape, overall.mean, overall.sigma)
    found = _judged(found, fit, lambda share: from_draws(share, beyond, confidence))
    causes, cause_warnings = limiting_causes(shape, split, overall, within, lower, upper, gauge_sd)
    found = replace(
        found,
        ppk=limit_index(shape, overall, drawn, lower, upper, confidence),
        causes=causes,
        warnings=(*found.warnings, *cause_warnings),
    )
    if lower is not None and upper is not None:
        found = replace(found, pp=width_index(shape, overall, drawn, lower, upper, confidence))
    if not begun.stable:
        note = "not stable: Cp and Cpk are not given, Pp and Ppk describe a mixture of states"
        return replace(found, warnings=(*found.warnings, note))
    drawn = pivotal_draws(within, rng)
    found = replace(found, cpk=limit_index(shape, within, drawn, lower, upper, confidence))
    if lower is not None and upper is not None:
        found = replace(found, cp=width_index(shape, within, drawn, lower, upper, confidence))
    return found


def _by_percentiles(
    begun: Capability, judged: Array, shape: Literal["weibull", "johnson"], confidence: float, seed: int
) -> Capability:
    """A shape with a tail of its own: indices by its points."""
    lower, upper = begun.lower_limit, begun.upper_limit
    no_limits = lower is None and upper is None
    # Without a limit only the fit is wanted; any limit serves to get it.
    asked = float(np.nanmax(judged)) + 1.0 if no_limits else upper
    found = percentile_capability(judged, lower, asked, shape=shape, confidence=confidence, seed=seed)
    if found.refused is not None:
        return _refuse(begun, found.refused)
    known = judged[np.isfinite(judged)]
    begun = replace(
        begun,
        mean=float(known.mean()),
        sigma_overall=float(np.std(known - known[0], ddof=1)),
        low=found.low,
        median=found.median,
        high=found.high,
        curve=found.curve,
    )
    if no_limits:
        return begun
    return replace(
        begun,
        pp=found.pp if isinstance(found.pp, Index) else None,
        ppk=found.ppk if isinstance(found.ppk, Index) else None,
        out=found.out,
        warnings=(f"{shape} shape: its spread cannot be split, Cp and Cpk are not given", *found.warnings),
    )


def _of_sizes(begun: Capability, fitted: SizeFit, confidence: float) -> Capability:
    """Sizes without a sign, some of which were folded: one fit over all readings."""
    lower, upper = begun.lower_limit, begun.upper_limit
    fit, believable = fitted.fit, fitted.believable
    low, median, high = (float(q) for q in quantiles("folded normal", fit.mean, fit.sigma))
    found = replace(
        begun,
        mean=fit.mean,
        sigma_overall=fit.sigma,
        low=low,
        median=median,
        high=high,
        warnings=(
            *begun.warnings,
            "sizes without a sign: the spread cannot be split, Cp and Cpk are not given",
        ),
    )
    if lower is None and upper is None:
        return found
    points = quantiles("folded normal", *believable)
    beyond = np.add(*share_out("folded normal", *believable, lower, upper))
    found = _judged(found, fit, lambda share: from_set(share, beyond, confidence))
    estimate = float(distance_index(low, median, high, lower, upper))
    found = replace(found, ppk=from_set(estimate, distance_index(*points, lower, upper), confidence))
    if lower is not None and upper is not None:
        wide = upper - lower
        found = replace(found, pp=from_set(wide / (high - low), wide / (points[2] - points[0]), confidence))
    return found


def _judged(found: Capability, fit: Fit, interval: Callable[[float], Index]) -> Capability:
    """Add the expected share beyond the limits, and a warning when the middle lies beyond one."""
    lower, upper = found.lower_limit, found.upper_limit
    warnings = (*found.warnings, *wrong_side(found.median, lower, upper))
    if found.out is None:
        return replace(found, warnings=warnings)
    below, above = (float(share) for share in share_out(fit.shape, fit.mean, fit.sigma, lower, upper))
    out = replace(found.out, expected=interval(below + above), expected_below=below, expected_above=above)
    return replace(found, out=out, warnings=warnings)


def _normality(scaled: Array) -> NormalityTest | None:
    """Test of the part means: readings on one part are not independent."""
    known = np.isfinite(scaled)
    count = known.sum(axis=1)
    means = np.where(known, scaled, 0.0).sum(axis=1)[count > 0] / count[count > 0]
    return anderson_darling(means) if means.size >= 8 and np.ptp(means) > 0 else None
