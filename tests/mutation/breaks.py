"""The formulas that most figures rest on, and how each is broken."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Break:
    """One formula made wrong.

    Attributes
    ----------
    formula : str
        What it computes.
    file : str
        Module below the project's folder.
    right, wrong : str
        Text as it stands there, once, and what it is made into.
    tests : tuple of str
        Test files of which one must fail.
    """

    formula: str
    file: str
    right: str
    wrong: str
    tests: tuple[str, ...]


BREAKS = (
    Break(
        "sigma from the moving range: mean range over d2",
        "spc/variation.py",
        "np.abs(np.diff(x)).mean() / d2(2)",
        "np.abs(np.diff(x)).mean() / d2(3)",
        ("tests/spc/test_variation.py",),
    ),
    Break(
        "d2: expected range of a normal sample",
        "spc/constants.py",
        "1 - (1 - below) ** n - below**n",
        "1 - (1 - below) ** n - below ** (n + 1)",
        ("tests/reference/test_chart_constants.py",),
    ),
    Break(
        "c4: bias of the standard deviation",
        "spc/constants.py",
        "math.lgamma(n / 2) - math.lgamma((n - 1) / 2)",
        "math.lgamma((n + 1) / 2) - math.lgamma(n / 2)",
        ("tests/reference/test_chart_constants.py",),
    ),
    Break(
        "overall sigma: n - 1 in the divisor",
        "spc/variation.py",
        "np.std(centred, ddof=1)",
        "np.std(centred, ddof=0)",
        ("tests/reference/test_certified_accuracy.py",),
    ),
    Break(
        "limits of individuals: centre and three sigma",
        "spc/charts/classical.py",
        "middle - width * spread, middle + width * spread)",
        "middle - width * spread, middle + 2 * spread)",
        ("tests/reference/test_shewhart_charts.py",),
    ),
    Break(
        "variance of a weighted average: w / (2 - w)",
        "spc/charts/smoothed.py",
        "weight / (2 - weight) * grown",
        "weight / (1 + weight) * grown",
        ("tests/reference/test_charts_with_memory.py",),
    ),
    Break(
        "cumulative sum: never below zero",
        "spc/charts/smoothed.py",
        "np.minimum(np.minimum.accumulate(total), 0.0)",
        "np.minimum(total, 0.0)",
        ("tests/reference/test_charts_with_memory.py", "tests/spc/test_charts.py"),
    ),
    Break(
        "Cpk, Ppk: the nearer limit decides",
        "spc/capability/tolerance.py",
        "np.minimum.reduce(sides)",
        "np.maximum.reduce(sides)",
        ("tests/reference/test_published_capability.py",),
    ),
    Break(
        "Cp, Pp: tolerance over six sigma",
        "spc/capability/indices.py",
        "(upper - lower) / (6 * spread.sigma)",
        "(upper - lower) / (5 * spread.sigma)",
        ("tests/reference/test_published_capability.py",),
    ),
    Break(
        "mean square of parts: parts - 1",
        "spc/strata.py",
        "np.sum((part_means - centre) ** 2) / (n - 1)",
        "np.sum((part_means - centre) ** 2) / n",
        ("tests/reference/test_variance_components.py",),
    ),
    Break(
        "interval of Ppk: the mean's variance is that of part means over parts",
        "spc/spread.py",
        "rng.standard_normal(count) * np.sqrt(drawn[0] / spread.n_parts)",
        "rng.standard_normal(count) * np.sqrt(drawn[0] / spread.n_parts**2)",
        ("tests/spc/test_intervals.py",),
    ),
    Break(
        "upper limit of Cpk: degrees of freedom of the spread",
        "spc/intervals.py",
        "spread.mean_variance / (9 * spread.variance) + estimate**2 / (2 * nu)",
        "spread.mean_variance / (9 * spread.variance) + estimate**2 / (8 * nu)",
        ("tests/reference/test_published_capability.py",),
    ),
    Break(
        "exact interval of a share: Clopper and Pearson",
        "spc/intervals.py",
        "betaincinv(count, n - count + 1, tail)",
        "betaincinv(count + 1, n - count, tail)",
        ("tests/reference/test_published_capability.py",),
    ),
    Break(
        "gauge study: the operators' component",
        "spc/gauges/crossed.py",
        '"operator": (0.0, 1 / (p * r), -1 / (p * r)),',
        '"operator": (0.0, 1 / (o * r), -1 / (o * r)),',
        ("tests/reference/test_gauge_studies.py",),
    ),
    Break(
        "score of a part: the prediction error's variance",
        "spc/score/recursion.py",
        "np.where(known_any, noise + 1.0 / safe, np.nan)",
        "np.where(known_any, noise, np.nan)",
        ("tests/spc/test_recursion.py",),
    ),
    Break(
        "run rule: two of three beyond two sigma",
        "spc/charts/run_rules.py",
        "return member & (total >= count)",
        "return member & (total > count)",
        ("tests/spc/test_run_rules.py",),
    ),
    Break(
        "exact limits of a one-sided index: 3 sqrt(n) in front of the noncentral t",
        "spc/intervals.py",
        "root = 3 * np.sqrt(size)",
        "root = 3 * np.sqrt(size - 1)",
        ("tests/spc/test_many.py",),
    ),
    Break(
        "run rules on packed bits: only members complete a pattern",
        "spc/charts/packed_rules.py",
        "at_least[number] |= at_least[number - 1] & earlier",
        "at_least[number] |= at_least[number - 1]",
        ("tests/spc/test_many.py",),
    ),
    Break(
        "cumulative sums in pieces: what a piece hands to the next",
        "spc/charts/lanes.py",
        "ends = whole + np.maximum.accumulate(now - whole, axis=1)",
        "ends = np.maximum.accumulate(now - whole, axis=1)",
        ("tests/spc/test_many.py",),
    ),
    Break(
        "bootstrap by part: standard error of a copy's index",
        "spc/capability/resample.py",
        "-own / (2 * variance * k)",
        "-own / (variance * k)",
        ("tests/spc/test_shapes.py",),
    ),
    Break(
        "Weibull: slope by maximum likelihood",
        "spc/capability/shapes.py",
        "b / a - 1 / slope - mean",
        "b / a - 2 / slope - mean",
        ("tests/spc/test_shapes.py",),
    ),
    Break(
        "gauge study with gaps: each source with the other allowed for",
        "spc/gauges/gaps.py",
        "whole = [(both, _basis(by_operator)), (both, _basis(by_part))]",
        "whole = [(both, _basis(by_operator)), (both, _basis(by_operator))]",
        ("tests/spc/test_gauge_study.py",),
    ),
    Break(
        "trend: memory freed of its bias",
        "spc/change/trends.py",
        "(n * raw + 2) / (n - 4)",
        "raw / 3",
        ("tests/spc/test_trend.py",),
    ),
)
