"""One series of values: limits, signals and capability in one go, without a shop around it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import ArrayLike

from spc.capability.distribution import AnyShape, NormalityTest, anderson_darling, to_normal_scale
from spc.capability.indices import limit_index, width_index
from spc.capability.process_capability import process_capability
from spc.capability.tolerance import check_limits, wrong_side
from spc.charts.classical import IndividualsChart, individuals
from spc.charts.run_rules import BEYOND, Rule, check_rules, standard_score
from spc.intervals import Index
from spc.shown import Shown
from spc.spread import Spread, overall_spread, pivotal_draws, within_spread
from spc.strata import split_strata
from spc.variation import finite_series, has_spread, overall_sigma

if TYPE_CHECKING:
    from spc.charts.rule_lengths import RunLength

BEYOND_LIMITS = "beyond limits"

_FEW_VALUES = 10
_FEW_DISTINCT = 5
_NOT_NORMAL = 0.005


@dataclass(frozen=True)
class QuickSignal:
    """A value that breaks a rule: its index from 0, and the rule's name."""

    index: int
    rule: str


@dataclass(frozen=True)
class QuickCapability(Shown):
    """The four indices; None where an index does not exist."""

    cp: Index | None
    cpk: Index | None
    pp: Index | None
    ppk: Index | None


@dataclass(frozen=True)
class QuickResult(Shown):
    """What one series says.

    Attributes
    ----------
    n : int
    mean : float
        [unit of the values]
    sigma_within : float
        Mean moving range over d2. [unit]
    sigma_overall : float
        n - 1 standard deviation. [unit]
    center, lower, upper : float
        Limits of the individuals chart at three sigma within. [unit]
    signals : tuple of QuickSignal
    capability : QuickCapability or None
        None without specification limits.
    normality : NormalityTest or None
        Of the values, or of their logarithms for the lognormal shape; None for the other shapes, below 8 values or
        when all are equal.
    warnings : tuple of str
        Assumptions that do not hold, in words.
    rules : tuple of str
        Run rules that were looked for.
    in_control : RunLength or None
        How many values pass, on average, until chance alone breaks one of them, were centre and sigma known;
        None when only values beyond the limits were looked for (about 370).
    shape : AnyShape
        By which the capability is told.
    """

    n: int
    mean: float
    sigma_within: float
    sigma_overall: float
    center: float
    lower: float
    upper: float
    signals: tuple[QuickSignal, ...]
    capability: QuickCapability | None
    normality: NormalityTest | None
    warnings: tuple[str, ...]
    rules: tuple[str, ...] = (BEYOND_LIMITS,)
    in_control: RunLength | None = None
    shape: AnyShape = "normal"

    def to_dict(self) -> dict[str, object]:
        """The result as plain dicts, lists, numbers and None, ready for JSON; rules only where more were asked."""
        more = {}
        if self.in_control is not None:
            more["rules"] = {
                "names": list(self.rules),
                "in_control_run_length": self.in_control.average,
            }
        return {
            "n": self.n,
            "mean": self.mean,
            "sigma_within": self.sigma_within,
            "sigma_overall": self.sigma_overall,
            "limits": {"center": self.center, "lower": self.lower, "upper": self.upper},
            "signals": [{"index": s.index, "rule": s.rule} for s in self.signals],
            "capability": None
            if self.capability is None
            else {
                name: None if index is None else index.to_dict()
                for name, index in vars(self.capability).items()
            },
            "distribution": {
                "name": self.shape,
                "anderson_darling": None if self.normality is None else self.normality.statistic,
                "p_value": None if self.normality is None else self.normality.p_value,
            },
            "warnings": list(self.warnings),
            **more,
        }


def quick(
    values: ArrayLike,
    lower: float | None = None,
    upper: float | None = None,
    *,
    rules: Sequence[Rule] = (BEYOND,),
    shape: AnyShape = "normal",
    confidence: float = 0.95,
    seed: int = 0,
) -> QuickResult:
    """Limits, signals and capability of one series in order of machining.

    Parameters
    ----------
    values : array-like, shape (n,)
        At least 2; independent readings, one a part. [any unit]
    lower, upper : float, optional
        Specification limits. [unit of the values]
    rules : sequence of Rule
        Patterns that count as signals; every one that is added makes false alarms more frequent.
    shape : AnyShape
        By which the capability is told; never chosen by the values. The chart stays one of the values as they are.
    confidence : float
        Of the intervals, two-sided.
    seed : int
        Of the draws behind the intervals; the same seed gives the same result.

    Returns
    -------
    QuickResult

    Raises
    ------
    TooFewReadings
        Fewer than 2 values.
    SpcError
        A value is missing or infinite, the limits are impossible, or the shape cannot hold the values.

    References
    ----------
    .. [1] ISO 7870-2 (individuals chart), ISO 22514-2 (indices); from memory. Intervals: `spc.intervals`.
    """
    check_limits(lower, upper)
    x = finite_series(values, "a quick look", 2)
    chart = individuals(x)
    warnings: list[str] = []
    if x.size < _FEW_VALUES:
        warnings.append(
            f"few values: {x.size}; limits and intervals from under {_FEW_VALUES} are provisional"
        )
    constant = not has_spread(overall_sigma(x), x)
    if constant:
        warnings.append("all values are equal: the spread is below the resolution, no index can be given")
    elif x.size >= _FEW_VALUES and np.unique(x).size < _FEW_DISTINCT:
        warnings.append(
            f"only {np.unique(x).size} different values: the resolution is too coarse for the spread"
        )
    normality = None
    if shape in ("normal", "lognormal") and x.size >= 8 and not constant:
        normality = anderson_darling(to_normal_scale(x, shape))
    if normality is not None and normality.p_value < _NOT_NORMAL:
        warnings.append(
            f"not {shape} (Anderson-Darling p {normality.p_value:.2g}): "
            f"the indices assume a {shape} shape, look at the histogram first"
        )
    signals = _signals(x, chart, rules)
    capability = None
    if lower is not None or upper is not None:
        if signals:
            what = "beyond the limits" if all(s.rule == BEYOND_LIMITS for s in signals) else "break a rule"
            warnings.append(
                f"not stable: {len({s.index for s in signals})} value(s) {what}; "
                "cp and cpk describe a stable process only"
            )
        if shape != "normal" and not constant:
            held = process_capability(
                x[:, None], lower, upper, stable=True, shape=shape, confidence=confidence, seed=seed
            )
            warnings.extend(text for text in held.warnings if "Anderson-Darling" not in text)
            capability = QuickCapability(held.cp, held.cpk, held.pp, held.ppk)
        else:
            if not constant:
                warnings.extend(wrong_side(float(x.mean()), lower, upper))
            capability = _capability(x, constant, lower, upper, confidence, seed)
    in_control = None
    if tuple(rules) not in ((), (BEYOND,)):
        from spc.charts.rule_lengths import run_length

        in_control = run_length(rules)
    return QuickResult(
        n=int(x.size),
        mean=chart.center,
        sigma_within=chart.sigma,
        sigma_overall=overall_sigma(x),
        center=chart.center,
        lower=float(chart.values.lower[0]),
        upper=float(chart.values.upper[0]),
        signals=signals,
        capability=capability,
        normality=normality,
        warnings=tuple(warnings),
        rules=tuple(_name(rule) for rule in rules),
        in_control=in_control,
        shape=shape,
    )


def _name(rule: Rule) -> str:
    return BEYOND_LIMITS if rule == BEYOND else rule.name


def _signals(x: np.ndarray, chart: IndividualsChart, rules: Sequence[Rule]) -> tuple[QuickSignal, ...]:
    """Values beyond the limits as the chart has them, and the other rules on its own sigma."""
    found = [QuickSignal(int(i), BEYOND_LIMITS) for i in chart.values.beyond if BEYOND in rules]
    others = [rule for rule in rules if rule != BEYOND]
    if others and chart.sigma > 0:
        score = standard_score(x, chart.center, chart.sigma)
        found += [QuickSignal(signal.index, signal.rule) for signal in check_rules(score, others)]
    return tuple(sorted(found, key=lambda signal: signal.index))


def _capability(
    x: np.ndarray, constant: bool, lower: float | None, upper: float | None, confidence: float, seed: int
) -> QuickCapability:
    if constant:
        return QuickCapability(None, None, None, None)
    split = split_strata(x)
    rng = np.random.default_rng(seed)

    def both(spread: Spread) -> tuple[Index | None, Index]:
        drawn = pivotal_draws(spread, rng)
        near = limit_index("normal", spread, drawn, lower, upper, confidence)
        if lower is None or upper is None:
            return None, near
        return width_index("normal", spread, drawn, lower, upper, confidence), near

    (cp, cpk), (pp, ppk) = both(within_spread(split)), both(overall_spread(split))
    return QuickCapability(cp, cpk, pp, ppk)
