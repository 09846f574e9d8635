"""Planned gauge trials: several operators measure the same parts several times.

Says how much of what is seen comes from the gauge, from who holds it and from the parts, with intervals. Parts
that are measured by one operator only (a test that uses the part up) are a nested study.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from spc.capability.tolerance import check_limits
from spc.errors import LARGEST, SpcError, TooFewReadings
from spc.gauges.crossed import AnovaRow, Split, crossed_split, nested_split, one_operator_split, unequal_split
from spc.mean_squares import Ranged, drawn_squares, large_sample_interval
from spc.shown import Shown

POOLED_ABOVE = 0.25
"""Interaction and repeatability become one when the chance of an interaction this large exceeds this."""

_ENDLESS = 1e6
"""A variance ratio of part to gauge above this is the gauge's spread being drawn as 0, and no figure."""

_FEW = (5, 3)


@dataclass(frozen=True)
class GaugeStudy(Shown):
    """What a gauge trial says. All variances in the unit squared of the readings.

    Attributes
    ----------
    parts, operators, readings : int
    repeatability, part, total : Ranged
        `total` = repeatability + reproducibility + part.
    operator, reproducibility, interaction : Ranged or None
        `interaction` is None when it is pooled, all three when there was one operator.
    gauge : Ranged
        Repeatability + reproducibility.
    percent_tolerance : Ranged or None
        Six standard deviations of the gauge over the tolerance; None without two limits. [%]
    percent_total_variation : Ranged
        Standard deviation of the gauge over the total one. [%]
    ndc : Ranged or None
        Groups of parts the gauge can tell apart, sqrt(2) sigma part / sigma gauge, cut to whole numbers; None
        when the gauge showed no spread at all.
    pooled : bool
        Whether interaction and repeatability were made one.
    decision : str
        What was done about the interaction, and why.
    anova : tuple of AnovaRow
        Empty when the study was not complete.
    method : str
        ``"crossed"``, ``"nested"``, ``"one operator"`` or ``"restricted maximum likelihood"``.
    warnings : tuple of str
    """

    parts: int
    operators: int
    readings: int
    repeatability: Ranged
    operator: Ranged | None
    interaction: Ranged | None
    reproducibility: Ranged | None
    gauge: Ranged
    part: Ranged
    total: Ranged
    percent_tolerance: Ranged | None
    percent_total_variation: Ranged
    ndc: Ranged | None
    pooled: bool
    decision: str
    anova: tuple[AnovaRow, ...]
    method: str
    warnings: tuple[str, ...]

    def to_dict(self) -> dict[str, object]:
        """The result as plain dicts, numbers and None, ready for JSON."""

        def plain(figure: Ranged | None) -> dict[str, float | None] | None:
            return None if figure is None else figure.to_dict()

        names = ("repeatability", "operator", "interaction", "reproducibility", "part", "total")
        return {
            "variance": {name: plain(getattr(self, name)) for name in names},
            "percent_tolerance": plain(self.percent_tolerance),
            "percent_total_variation": plain(self.percent_total_variation),
            "ndc": plain(self.ndc),
            "parts": self.parts,
            "operators": self.operators,
            "readings": self.readings,
            "pooled": self.pooled,
            "decision": self.decision,
            "method": self.method,
            "anova": [vars(row) for row in self.anova],
            "warnings": list(self.warnings),
        }


def gauge_study(
    readings: ArrayLike,
    part: ArrayLike,
    operator: ArrayLike,
    *,
    lower: float | None = None,
    upper: float | None = None,
    pool: bool | None = None,
    confidence: float = 0.95,
    seed: int = 0,
) -> GaugeStudy:
    """Variance components of a gauge trial, with intervals.

    A complete crossed study is analysed by its mean squares, one with gaps by restricted maximum likelihood (its
    intervals, from mean squares with the other source allowed for, are approximate), parts that each saw one operator
    as nested.

    Parameters
    ----------
    readings : array-like of float, shape (n,)
        [any unit]
    part, operator : array-like, shape (n,)
        Which part, and who; any labels.
    lower, upper : float, optional
        Specification limits. [unit of the readings]
    pool : bool, optional
        Make interaction and repeatability one, or keep them apart; by default by `POOLED_ABOVE`.
    confidence : float
        Of the intervals, two-sided.
    seed : int
        Of the draws behind the intervals of the ratios; the same seed gives the same result.

    Returns
    -------
    GaugeStudy

    Raises
    ------
    TooFewReadings
        Fewer than 2 parts, or no part measured twice by the same operator in a study of one operator.
    SpcError
        Shapes differ, a reading is not finite, the limits are impossible, or all readings are equal.

    References
    ----------
    .. [1] Burdick, R. K., Borror, C. M. & Montgomery, D. C. (2005), Design and Analysis of Gauge R&R Studies
       (model and modified large-sample intervals; from memory). The published 10 x 3 x 3 example is in the
       tests. Pooling above 0.25: Bancroft, T. A. (1964), Biometrics 20, 427-442 (from memory).
    """
    check_limits(lower, upper)
    y = np.asarray(readings, dtype=float)
    names = [np.asarray(part), np.asarray(operator)]
    if y.ndim != 1 or any(name.shape != y.shape for name in names):
        raise SpcError("a gauge study needs one part and one operator for every reading")
    bad = np.flatnonzero(~(np.abs(y) <= LARGEST))
    if bad.size:
        raise SpcError(f"a gauge study needs numbers; reading {bad[0] + 1} of {y.size} is {y[bad[0]]}")
    codes = [np.unique(name, return_inverse=True)[1].ravel() for name in names]
    if y.size == 0 or codes[0].max() < 1:
        raise TooFewReadings("a gauge study", "2 parts", 0 if y.size == 0 else 1)
    y = y - y[0]
    if not np.ptp(y) > 0:
        raise SpcError(
            "all readings are equal: the gauge shows no difference, so nothing can be told from it"
        )
    split = _choose(y, codes[0], codes[1], pool)
    return _judge(split, y.size, lower, upper, confidence, np.random.default_rng(seed))


def _choose(
    y: NDArray[np.float64], part: NDArray[np.int_], operator: NDArray[np.int_], pool: bool | None
) -> Split:
    counts = np.zeros((part.max() + 1, operator.max() + 1), dtype=int)
    np.add.at(counts, (part, operator), 1)
    if counts.shape[1] == 1:
        return one_operator_split(y, part, counts[:, 0])
    if ((counts > 0).sum(axis=1) == 1).all():
        return nested_split(y, part, operator, counts)
    if counts.min() == counts.max():
        return crossed_split(y, part, operator, int(counts.min()), pool, POOLED_ABOVE)
    return unequal_split(y, part, operator, counts)


def _judge(
    split: Split,
    n: int,
    lower: float | None,
    upper: float | None,
    confidence: float,
    rng: np.random.Generator,
) -> GaugeStudy:
    warnings = list(split.warnings)
    parts, operators = split.parts, split.operators
    if parts < _FEW[0]:
        warnings.append(f"only {parts} parts: how much parts differ is hardly known")
    if 1 < operators < _FEW[1]:
        warnings.append(f"only {operators} operators: how much operators differ is hardly known")
    found: dict[str, Ranged] = {}
    for name, weights in split.weights.items():
        if split.squares is None:
            found[name] = Ranged(max(0.0, split.variances[name]))
            continue
        found[name] = large_sample_interval(weights, split.squares, split.dofs, confidence)
        if split.variances:
            found[name] = _with(found[name], max(0.0, split.variances[name]))
        elif sum(w * s for w, s in zip(weights, split.squares, strict=True)) < 0:
            warnings.append(f"the variance of {name} came out below 0 and is given as 0")
    spread = {name: found[name] for name in ("repeatability", "operator", "interaction") if name in found}
    # Sums of what is reported, so that the parts add up even where one of them was cut to 0.
    gauge = sum(figure.estimate for figure in spread.values())
    total = gauge + found["part"].estimate
    reproducibility = None
    if "operator" in found:
        summed = found["operator"].estimate + (
            found["interaction"].estimate if "interaction" in found else 0.0
        )
        reproducibility = _with(found["reproducibility"], summed)
    share = 100 * math.sqrt(gauge / total) if total > 0 else 0.0
    distinct = math.floor(math.sqrt(2 * found["part"].estimate / gauge)) if gauge > 0 else None
    percent, ndc = Ranged(share), None if distinct is None else Ranged(distinct)
    if split.squares is not None and gauge > 0:
        drawn = drawn_squares(split.squares, split.dofs, rng)
        gauge_drawn = np.maximum(np.asarray(split.weights["gauge"]) @ drawn, 0.0)
        part_drawn = np.maximum(np.asarray(split.weights["part"]) @ drawn, 0.0)
        tails = [(1 - confidence) / 2, (1 + confidence) / 2]
        low, high = np.quantile(part_drawn / np.maximum(gauge_drawn, 1e-300), tails)
        percent = Ranged(
            share,
            min(share, 100 / math.sqrt(1 + float(high))),
            max(share, 100 / math.sqrt(1 + float(low))),
        )
        if ndc is not None and distinct is not None:
            ndc = Ranged(
                distinct,
                min(distinct, math.floor(math.sqrt(2 * float(low)))),
                # A gauge that may have no spread of its own may tell any number apart: there is no upper end.
                max(distinct, math.floor(math.sqrt(2 * float(high)))) if float(high) < _ENDLESS else None,
            )
    if gauge == 0:
        warnings.append("no spread between repeats: the gauge reads too coarsely to show its own error")
    gauge_figure = _with(found["gauge"], gauge)
    return GaugeStudy(
        parts=parts,
        operators=operators,
        readings=n,
        repeatability=found["repeatability"],
        operator=found.get("operator"),
        interaction=found.get("interaction"),
        reproducibility=reproducibility,
        gauge=gauge_figure,
        part=found["part"],
        total=_with(found["total"], total),
        percent_tolerance=_of_tolerance(gauge_figure, lower, upper),
        percent_total_variation=percent,
        ndc=ndc,
        pooled=split.pooled,
        decision=split.decision,
        anova=split.anova,
        method=split.method,
        warnings=tuple(warnings),
    )


def _with(figure: Ranged, estimate: float) -> Ranged:
    """The same interval around a sum of what is reported; the estimate stays inside it."""
    if figure.lower is None or figure.upper is None:
        return Ranged(estimate)
    return Ranged(estimate, min(estimate, figure.lower), max(estimate, figure.upper))


def _of_tolerance(gauge: Ranged, lower: float | None, upper: float | None) -> Ranged | None:
    if lower is None or upper is None:
        return None

    def percent(variance: float | None) -> float | None:
        return None if variance is None else 600 * math.sqrt(variance) / (upper - lower)

    return Ranged(
        600 * math.sqrt(gauge.estimate) / (upper - lower), percent(gauge.lower), percent(gauge.upper)
    )
