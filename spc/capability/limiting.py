"""What limits a process: how much of the tolerance each cause uses up, and what would be left without it."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from spc.capability.distribution import Shape, quantiles
from spc.capability.tolerance import distance_index
from spc.shown import Shown
from spc.spread import Spread
from spc.strata import Strata

_NOTHING_LEFT = 0.01
"""Share of the variance below which an index of the rest would only show its own estimation error."""


@dataclass(frozen=True)
class Cause(Shown):
    """One of the things that use up the tolerance.

    Attributes
    ----------
    name : str
        ``"gauge"``, ``"position pattern"``, ``"within part"``, ``"part to part"``, ``"drift"`` or
        ``"off centre"``.
    level : int or None
        Stratum for ``"within part"``: 1 is the coarsest below the part.
    sigma : float
        Standard deviation, or distance from the centre for ``"off centre"``. [unit; log for lognormal]
    share_of_variance : float or None
        Of the overall variance; None for ``"off centre"``. [-]
    share_of_tolerance : float
        Its own spread from the 0.135 % to the 99.865 % point over the tolerance. One-sided: median to the far
        point over median to the limit. [-]
    ppk_without : float or None
        Ppk that would be left without it; None where hardly any spread would be left to speak of. [-]
    """

    name: str
    level: int | None
    sigma: float
    share_of_variance: float | None
    share_of_tolerance: float
    ppk_without: float | None


def limiting_causes(
    shape: Shape,
    split: Strata,
    overall: Spread,
    within: Spread,
    lower: float | None,
    upper: float | None,
    gauge_sd: float | None,
) -> tuple[tuple[Cause, ...], list[str]]:
    """Variance by cause, and the index that would be left without each; the most worthwhile first.

    Part to part is what the moving range of the part means sees beyond the readings' own spread. The rest of
    the variance between parts is slow movement: drift. Within-part components carry their stratum.

    Parameters
    ----------
    shape : Shape
    split : Strata
        On the normal scale of the shape.
    overall, within : Spread
        Of that split.
    lower, upper : float or None
        [unit of the readings]
    gauge_sd : float or None
        Repeatability of the gauge, taken out of the finest level. [as the normal scale]

    Returns
    -------
    causes : tuple of Cause
        Empty without a limit.
    warnings : list of str
    """
    if lower is None and upper is None:
        return (), []
    warnings: list[str] = []
    components = np.maximum(split.raw_components, 0.0)
    part_variance = float(components[0])
    carried = overall.squares[0] - float(split.raw_components[0])
    short = min(max(0.0, within.squares[0] - carried), part_variance)
    found: list[tuple[str, int | None, float]] = [
        ("part to part", None, short),
        ("drift", None, part_variance - short),
        ("position pattern", None, overall.pattern_variance),
    ]
    inner = [float(c) for c in components[1:]]
    if gauge_sd is not None and len(split.levels) >= 1:
        gauge = gauge_sd**2
        finest = inner[-1] if inner else short
        if gauge > finest:
            warnings.append("the gauge's stated repeatability exceeds the spread between single readings")
            gauge = finest
        if inner:
            inner[-1] -= gauge
        else:
            found[0] = ("part to part", None, short - gauge)
        found.append(("gauge", None, gauge))
    found.extend(("within part", level.level, c) for level, c in zip(split.levels[1:], inner, strict=True))
    total = overall.variance

    def left(mean: float, variance: float) -> float | None:
        if variance < _NOTHING_LEFT * total:
            return None
        return float(distance_index(*quantiles(shape, mean, math.sqrt(variance)), lower, upper))

    def used(sigma: float) -> float:
        low, median, high = (float(q) for q in quantiles(shape, overall.mean, sigma))
        if lower is not None and upper is not None:
            return (high - low) / (upper - lower)
        room = (upper - median) if upper is not None else (median - (lower or 0.0))
        spread = (high - median) if upper is not None else (median - low)
        return spread / room if room > 0 else 1.0

    causes = []
    for name, level, component in found:
        # A component may exceed the total by what a negative one beside it was cut to 0.
        variance = min(component, total)
        if variance > 0:
            sigma = math.sqrt(variance)
            without = left(overall.mean, total - variance)
            causes.append(Cause(name, level, sigma, variance / total, used(sigma), without))
    centred = _centre(shape, overall.sigma, lower, upper)
    if centred is not None and centred != overall.mean:
        aside = abs(overall.mean - centred)
        middle = float(quantiles(shape, overall.mean, overall.sigma)[1])
        best = float(quantiles(shape, centred, overall.sigma)[1])
        room = (upper - lower) / 2 if lower is not None and upper is not None else (upper or 0.0)
        causes.append(Cause("off centre", None, aside, None, abs(middle - best) / room, left(centred, total)))

    def worth(cause: Cause) -> float:
        return math.inf if cause.ppk_without is None else cause.ppk_without

    return tuple(sorted(causes, key=worth, reverse=True)), warnings


def _centre(shape: Shape, sigma: float, lower: float | None, upper: float | None) -> float | None:
    """Where the mean of the normal scale would best lie; None when a one-sided process has no best place."""
    if shape == "folded normal":
        return 0.0 if lower is None else None
    if lower is None or upper is None:
        return None
    if shape == "normal":
        return (lower + upper) / 2
    # Lognormal: the median at which both sides have the same index.
    under, over = -math.expm1(-3 * sigma), math.expm1(3 * sigma)
    median = (upper * under + lower * over) / (under + over)
    return math.log(median) if median > 0 else None
