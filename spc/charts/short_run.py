"""Charts for many families in small numbers on one machine: deviations from target, or scaled by each family.

Families of one spread share a chart of deviations from their own targets. Where spreads differ, each family's
values are scaled by its own; nothing else makes them comparable (a tolerance says nothing about a spread).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from spc.charts.classical import Panel, make_panel, mean_range
from spc.constants import chart_factors, d2
from spc.errors import SpcError, TooFewReadings
from spc.shown import Shown
from spc.variation import finite_series

Array = NDArray[np.floating]

_UNEQUAL = 0.01


@dataclass(frozen=True)
class ShortRunChart(Shown):
    """Values of several families on one chart, in order of machining.

    Attributes
    ----------
    values : Panel
        Deviations from target [unit], or standardised values [-].
    spreads : Panel
        Moving ranges or subgroup ranges, of the same scale. Moving ranges run from value to value within a
        family; the first value of each family has none.
    scale : dict
        What one unit of the chart is, per family: 1 for deviations, else the mean range. [unit]
    warnings : tuple of str
    """

    values: Panel
    spreads: Panel
    scale: dict[object, float]
    warnings: tuple[str, ...]


def deviation_chart(
    values: ArrayLike, family: ArrayLike, targets: dict[object, float], *, width: float = 3.0
) -> ShortRunChart:
    """Individuals chart of deviations from each family's target; families must share one spread.

    Moving ranges are taken within a family, so that a wrong target does not widen the limits; the centre is
    the target, 0.

    Parameters
    ----------
    values : array-like, shape (n,)
        In order of machining. [any unit]
    family : array-like, shape (n,)
        Label of each value.
    targets : dict
        Target of each family. [unit]
    width : float
        Half width of the limits in sigma.

    Returns
    -------
    ShortRunChart
        With a warning where the families' spreads differ by more than chance explains (Brown-Forsythe, p below
        1 %): then `standardised_chart` is the one to use.

    Raises
    ------
    TooFewReadings
        No family has two values.
    SpcError
        A value is not finite, shapes differ, or a family has no target.

    References
    ----------
    .. [1] Montgomery, D. C., Introduction to Statistical Quality Control, short production runs (from memory).
    """
    x, codes, names = _families(values, family)
    missing = [name for name in names if name not in targets]
    if missing:
        raise SpcError(f"no target is given for {', '.join(map(str, missing))}")
    deviation = x - np.array([targets[name] for name in names])[codes]
    at, ranges = _ranges_within(deviation, codes)
    sigma = float(ranges.mean()) / d2(2)
    factors = chart_factors(2, width)
    mean_range_ = sigma * d2(2)
    return ShortRunChart(
        make_panel("deviation from target", deviation, 0.0, -width * sigma, width * sigma),
        make_panel("moving range", ranges, mean_range_, factors.D3 * mean_range_, factors.D4 * mean_range_),
        dict.fromkeys(names, 1.0),
        _unequal(deviation, codes, at.size),
    )


def standardised_chart(
    values: ArrayLike, family: ArrayLike, targets: dict[object, float], *, width: float = 3.0
) -> ShortRunChart:
    """Individuals chart of deviations over each family's own mean moving range.

    Parameters
    ----------
    values : array-like, shape (n,)
        In order of machining. [any unit]
    family : array-like, shape (n,)
        Label of each value; every family has 3 or more.
    targets : dict
        Target of each family. [unit]
    width : float
        Half width of the limits in sigma.

    Returns
    -------
    ShortRunChart
        `values` in mean moving ranges of the family: limits at +- width / d2.

    Raises
    ------
    TooFewReadings
        A family with fewer than 3 values.
    SpcError
        A value is not finite, shapes differ, a family has no target or no spread.

    References
    ----------
    .. [1] Montgomery, D. C., Introduction to Statistical Quality Control, short production runs (from memory).
    """
    x, codes, names = _families(values, family)
    missing = [name for name in names if name not in targets]
    if missing:
        raise SpcError(f"no target is given for {', '.join(map(str, missing))}")
    counts = np.bincount(codes)
    if counts.min() < 3:
        raise TooFewReadings(
            f"the spread of family {names[int(counts.argmin())]}", "3 values", int(counts.min())
        )
    deviation = x - np.array([targets[name] for name in names])[codes]
    at, ranges = _ranges_within(deviation, codes)
    scale = np.bincount(codes[at], ranges) / np.bincount(codes[at])
    _refuse_no_spread(scale, names)
    factors = chart_factors(2, width)
    half = width / d2(2)
    return ShortRunChart(
        make_panel("standardised value", deviation / scale[codes], 0.0, -half, half),
        make_panel("moving range", ranges / scale[codes[at]], 1.0, factors.D3, factors.D4),
        {name: float(s) for name, s in zip(names, scale, strict=True)},
        (),
    )


def standardised_means(
    subgroups: ArrayLike, family: ArrayLike, targets: dict[object, float], *, width: float = 3.0
) -> ShortRunChart:
    """Mean and range chart of subgroups, each over its family's mean range.

    Parameters
    ----------
    subgroups : array-like, shape (n, m)
        Complete, in order of machining. [any unit]
    family : array-like, shape (n,)
        Label of each subgroup.
    targets : dict
        Target of each family. [unit]
    width : float
        Half width of the limits in standard deviations of what is charted.

    Returns
    -------
    ShortRunChart
        Limits of the means at +- A2, of the ranges at D3 and D4.

    Raises
    ------
    TooFewReadings
        No subgroup, or subgroups of one.
    SpcError
        A reading is missing, shapes differ, a family has no target or no spread.

    References
    ----------
    .. [1] Montgomery, D. C., Introduction to Statistical Quality Control, short production runs (from memory;
       worked example in the tests).
    """
    y = np.asarray(subgroups, dtype=float)
    whole = mean_range(y, width=width)
    _, codes, names = _families(whole.means.values, family)
    missing = [name for name in names if name not in targets]
    if missing:
        raise SpcError(f"no target is given for {', '.join(map(str, missing))}")
    ranges = np.ptp(y, axis=1)
    scale = np.bincount(codes, ranges) / np.bincount(codes)
    _refuse_no_spread(scale, names)
    target = np.array([targets[name] for name in names])
    factors = chart_factors(y.shape[1], width)
    means = (whole.means.values - target[codes]) / scale[codes]
    return ShortRunChart(
        make_panel("standardised mean", means, 0.0, -factors.A2, factors.A2),
        make_panel("standardised range", ranges / scale[codes], 1.0, factors.D3, factors.D4),
        {name: float(s) for name, s in zip(names, scale, strict=True)},
        (),
    )


def trended_chart(
    values: ArrayLike, wear: ArrayLike, life: ArrayLike | None = None, *, width: float = 3.0
) -> Panel:
    """Individuals chart along tool lives: limits follow the wear that is normal.

    One slope for all lives and a level for each, by least squares; sigma from the moving ranges of what is
    left over within a life.

    Parameters
    ----------
    values : array-like, shape (n,)
        In order of machining. [any unit]
    wear : array-like, shape (n,)
        Uses of the tool before each part.
    life : array-like, shape (n,), optional
        Which life; one by default.
    width : float
        Half width of the limits in sigma.

    Returns
    -------
    Panel
        `center` is the mean level at half of the usual wear; limits differ from point to point.

    Raises
    ------
    TooFewReadings
        Fewer than 3 more values than lives plus the slope.
    SpcError
        A value is not finite, shapes differ, or wear does not change within any life.

    References
    ----------
    .. [1] Mandel, B. J. (1969), Journal of Quality Technology 1, 1-9 (regression control chart; from memory).
    """
    x = finite_series(values, "a trended chart", 3)
    w = finite_series(wear, "a trended chart", 3)
    codes = (
        np.zeros(x.size, dtype=int)
        if life is None
        else np.unique(np.asarray(life), return_inverse=True)[1].ravel()
    )
    if not x.shape == w.shape == codes.shape:
        raise SpcError("a trended chart needs one wear count, and one life, for every value")
    counts = np.bincount(codes)
    free = int(x.size - counts.size - 1)
    if free < 2:
        raise TooFewReadings(
            "a trended chart", f"{counts.size + 3} values for {counts.size} lives", int(x.size)
        )
    away = w - (np.bincount(codes, w) / counts)[codes]
    if not np.sum(away**2) > 0:
        raise SpcError("the wear does not change within any life: there is no trend to follow")
    start = x - x[0]
    level = np.bincount(codes, start) / counts
    slope = float(np.sum(away * start) / np.sum(away**2))
    expected = x[0] + level[codes] + slope * away
    _, ranges = _ranges_within(x - expected, codes)
    # The level of a life cancels in its ranges, and the slope hardly enters a step of one: nothing to make good.
    sigma = float(ranges.mean()) / d2(2)
    middle = float(x[0] + level.mean() + slope * (np.median(w) - w.mean()))
    return make_panel(
        "value along the tool life", x, middle, expected - width * sigma, expected + width * sigma
    )


def _families(values: ArrayLike, family: ArrayLike) -> tuple[Array, NDArray[np.int_], list[object]]:
    x = finite_series(values, "a short-run chart", 2)
    labels = np.asarray(family)
    if labels.shape != x.shape:
        raise SpcError(f"every value needs its family; got {labels.size} families for {x.size} values")
    names, codes = np.unique(labels, return_inverse=True)
    return x, codes.ravel(), names.tolist()


def _ranges_within(x: Array, codes: NDArray[np.int_]) -> tuple[NDArray[np.intp], Array]:
    """Places that have an earlier value of their own family, and the range to it, in order of machining."""
    order = np.argsort(codes, kind="stable")
    same = codes[order][1:] == codes[order][:-1]
    at = order[1:][same]
    ranges = np.abs(np.diff(x[order]))[same]
    if not at.size:
        raise TooFewReadings("a moving range", "2 values of one family", 1)
    back = np.argsort(at)
    return at[back], ranges[back]


def _refuse_no_spread(scale: Array, names: list[object]) -> None:
    flat = [str(name) for name, s in zip(names, scale, strict=True) if not s > 0]
    if flat:
        raise SpcError(
            f"family {', '.join(flat)} shows no spread, so its values cannot be scaled; check its resolution"
        )


def _unequal(deviation: Array, codes: NDArray[np.int_], ranges: int) -> tuple[str, ...]:
    groups = [deviation[codes == code] for code in range(codes.max() + 1)]
    groups = [g for g in groups if g.size >= 3]
    if len(groups) < 2 or ranges < 8:
        return ()
    from scipy.stats import levene

    if not all(np.ptp(g) > 0 for g in groups):
        return ()
    p = float(levene(*groups, center="median").pvalue)
    if p < _UNEQUAL:
        return (f"the families differ in spread (p {p:.2g}): use standardised values instead",)
    return ()
