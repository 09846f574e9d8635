"""Statistics for a shop that machines engine blocks: arrays in, frozen results out.

Nothing here reads a file, draws a plot, looks at a clock or draws hidden random numbers. A length may be in any
unit, one a call; NaN means "not measured". What cannot be answered honestly raises `SpcError` (or its kind
`TooFewReadings`), and an assumption that failed is named in the result's `warnings`.

Where to start
--------------
One series            ``spc.capability.quick.quick(values, lower, upper)``: limits, signals, capability
A process, part by part   ``spc.score.assess.assess(ProcessData, ProcessOptions)``: scores, signals, their sizes
Charts                `individuals`, `mean_range`, `mean_sd`, `between_within`, `ewma_chart`, `cusum_chart`,
                      `deviation_chart`, `standardised_chart`, `trended_chart`, `t_squared`; `freeze` keeps limits
Run rules             `check_panel`, `check_rules` with any of `RULES`; `run_length` says how often they alarm
Run lengths           `run_length`, `ewma_run_length`, `cusum_run_length`, `cusum_limit`
Capability            `process_capability`; other shapes: `compare_shapes`, `percentile_capability`
Variance              `variance_components`, `split_strata`
Months                `compare_months`
Gauges                `gauge_study`, `average_and_range`, `master_check`, `linearity`, `resolution_verdict`,
                      `at_reference` (temperature), `chance_conforms`, `decision_zone`
Before and after      `before_after`, `smallest_difference`
Drift and steps       `trend`, `rank_trend`, `best_steps`, `step_by_ranks`
Features from others  `difference`, `steps`, `spread_range`
Many processes        `many_charts`, `many_indices`, `many_components`, `bootstrap_index`

>>> import spc
>>> chart = spc.individuals([10.1, 9.9, 10.0, 10.2, 9.8, 10.1, 12.0])
>>> chart.values.beyond.tolist()
[6]
>>> round(spc.d2(5), 4)
2.3259

The public names are loaded on first use, so that importing the package costs nothing. A module that bears the
name of its main function (`assess`, `quick`) is reached as a module.
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from spc.capability.distribution import Fit, NormalityTest, anderson_darling
    from spc.capability.histogram import Histogram, histogram_of
    from spc.capability.indices import limit_index, width_index
    from spc.capability.johnson import Johnson, fit_johnson
    from spc.capability.limiting import Cause
    from spc.capability.months import MonthChange, Pair, compare_months
    from spc.capability.percentile import PercentileCapability, percentile_capability
    from spc.capability.process_capability import Capability, process_capability
    from spc.capability.quick import QuickResult
    from spc.capability.resample import bootstrap_index, part_weights
    from spc.capability.shapes import ShapeFit, Weibull, compare_shapes, fit_weibull
    from spc.capability.tolerance import OutOfTolerance
    from spc.change.change_points import (
        StepByRanks,
        Steps,
        TiedStep,
        best_steps,
        one_step_test,
        step_by_ranks,
        tie_to_events,
    )
    from spc.change.comparison import (
        BeforeAfter,
        LevelChange,
        PatternChange,
        SpreadChange,
        before_after,
        equal_spread,
        smallest_difference,
    )
    from spc.change.trends import RankTrend, Trend, newey_west, rank_trend, trend
    from spc.charts.classical import (
        BetweenWithinChart,
        IndividualsChart,
        Panel,
        SubgroupChart,
        between_within,
        individuals,
        mean_range,
        mean_sd,
    )
    from spc.charts.cusum_lengths import cusum_limit, cusum_run_length
    from spc.charts.frozen import FrozenLimits, freeze
    from spc.charts.many import ManyCharts, ManyIndices, many_charts, many_components, many_indices
    from spc.charts.rule_lengths import RunLength, run_length, run_lengths
    from spc.charts.run_rules import (
        RULES,
        Rule,
        RuleSignal,
        check_panel,
        check_rules,
        rule_named,
        standard_score,
    )
    from spc.charts.short_run import (
        ShortRunChart,
        deviation_chart,
        standardised_chart,
        standardised_means,
        trended_chart,
    )
    from spc.charts.smoothed import CusumChart, cusum_chart, ewma_chart
    from spc.charts.together import Reference, TogetherChart, learn_reference, t_squared, weighted_t_squared
    from spc.constants import ChartFactors, c4, chart_factors, d2, d3, median_range
    from spc.derived import Derived, difference, spread_range, steps
    from spc.errors import SpcError, TooFewReadings
    from spc.gauges.average_range import AverageAndRange, average_and_range
    from spc.gauges.conformity import acceptance_limits, chance_conforms, decision_zone, guard_factor
    from spc.gauges.master import Linearity, MasterCheck, linearity, master_check, resolution_verdict
    from spc.gauges.temperature import LengthAtReference, Temperature, at_reference
    from spc.gauges.trial import GaugeStudy, gauge_study
    from spc.intervals import (
        Index,
        binomial_interval,
        bissell_interval,
        one_sided_interval,
        one_sided_limits,
        tolerance_factor,
    )
    from spc.mean_squares import Ranged, large_sample_interval
    from spc.process import Assessment, Closing, Cure, Monitor, ProcessData, ProcessOptions, Signal
    from spc.score.ewma import ewma_run_length
    from spc.strata import Strata, split_strata
    from spc.units import FACTORS, UNITS, UnitError, dimension, from_base, parse_quantity, parse_unit, to_base
    from spc.variation import Components, moving_range_sigma, overall_sigma, variance_components

_HOMES = {
    "capability.process_capability": "Capability process_capability",
    "capability.limiting": "Cause",
    "change.change_points": "StepByRanks Steps TiedStep best_steps one_step_test step_by_ranks tie_to_events",
    "charts.classical": (
        "BetweenWithinChart IndividualsChart Panel SubgroupChart "
        "between_within individuals mean_range mean_sd"
    ),
    "change.comparison": (
        "BeforeAfter LevelChange PatternChange SpreadChange before_after equal_spread smallest_difference"
    ),
    "gauges.conformity": "acceptance_limits chance_conforms decision_zone guard_factor",
    "constants": "ChartFactors c4 chart_factors d2 d3 median_range",
    "charts.cusum_lengths": "cusum_limit cusum_run_length",
    "derived": "Derived difference spread_range steps",
    "capability.distribution": "Fit NormalityTest anderson_darling",
    "errors": "SpcError TooFewReadings",
    "score.ewma": "ewma_run_length",
    "charts.frozen": "FrozenLimits freeze",
    "gauges.master": "Linearity MasterCheck linearity master_check resolution_verdict",
    "gauges.average_range": "AverageAndRange average_and_range",
    "gauges.trial": "GaugeStudy gauge_study",
    "capability.histogram": "Histogram histogram_of",
    "capability.indices": "limit_index width_index",
    "intervals": "Index binomial_interval bissell_interval one_sided_interval one_sided_limits tolerance_factor",
    "charts.many": "ManyCharts ManyIndices many_charts many_components many_indices",
    "mean_squares": "Ranged large_sample_interval",
    "capability.months": "MonthChange Pair compare_months",
    "capability.percentile": "PercentileCapability percentile_capability",
    "process": "Assessment Closing Cure Monitor ProcessData ProcessOptions Signal",
    "capability.quick": "QuickResult",
    "capability.resample": "bootstrap_index part_weights",
    "charts.rule_lengths": "RunLength run_length run_lengths",
    "charts.run_rules": "RULES Rule RuleSignal check_panel check_rules rule_named standard_score",
    "capability.johnson": "Johnson fit_johnson",
    "capability.shapes": "ShapeFit Weibull compare_shapes fit_weibull",
    "charts.short_run": "ShortRunChart deviation_chart standardised_chart standardised_means trended_chart",
    "charts.smoothed": "CusumChart cusum_chart ewma_chart",
    "strata": "Strata split_strata",
    "gauges.temperature": "LengthAtReference Temperature at_reference",
    "charts.together": "Reference TogetherChart learn_reference t_squared weighted_t_squared",
    "capability.tolerance": "OutOfTolerance",
    "change.trends": "RankTrend Trend newey_west rank_trend trend",
    "units": "FACTORS UNITS UnitError dimension from_base parse_quantity parse_unit to_base",
    "variation": "Components moving_range_sigma overall_sigma variance_components",
}
_MODULES = {"assess": "score.assess", "quick": "capability.quick"}
_HOME_OF = {name: module for module, names in _HOMES.items() for name in names.split()}

__all__ = [
    "FACTORS",
    "RULES",
    "UNITS",
    "Assessment",
    "AverageAndRange",
    "BeforeAfter",
    "BetweenWithinChart",
    "Capability",
    "Cause",
    "ChartFactors",
    "Closing",
    "Components",
    "Cure",
    "CusumChart",
    "Derived",
    "Fit",
    "FrozenLimits",
    "GaugeStudy",
    "Histogram",
    "Index",
    "IndividualsChart",
    "Johnson",
    "LengthAtReference",
    "LevelChange",
    "Linearity",
    "ManyCharts",
    "ManyIndices",
    "MasterCheck",
    "Monitor",
    "MonthChange",
    "NormalityTest",
    "OutOfTolerance",
    "Pair",
    "Panel",
    "PatternChange",
    "PercentileCapability",
    "ProcessData",
    "ProcessOptions",
    "QuickResult",
    "Ranged",
    "RankTrend",
    "Reference",
    "Rule",
    "RuleSignal",
    "RunLength",
    "ShapeFit",
    "ShortRunChart",
    "Signal",
    "SpcError",
    "SpreadChange",
    "StepByRanks",
    "Steps",
    "Strata",
    "SubgroupChart",
    "Temperature",
    "TiedStep",
    "TogetherChart",
    "TooFewReadings",
    "Trend",
    "UnitError",
    "Weibull",
    "acceptance_limits",
    "anderson_darling",
    "at_reference",
    "average_and_range",
    "before_after",
    "best_steps",
    "between_within",
    "binomial_interval",
    "bissell_interval",
    "bootstrap_index",
    "c4",
    "chance_conforms",
    "chart_factors",
    "check_panel",
    "check_rules",
    "compare_months",
    "compare_shapes",
    "cusum_chart",
    "cusum_limit",
    "cusum_run_length",
    "d2",
    "d3",
    "decision_zone",
    "deviation_chart",
    "difference",
    "dimension",
    "equal_spread",
    "ewma_chart",
    "ewma_run_length",
    "fit_johnson",
    "fit_weibull",
    "freeze",
    "from_base",
    "gauge_study",
    "guard_factor",
    "histogram_of",
    "individuals",
    "large_sample_interval",
    "learn_reference",
    "limit_index",
    "linearity",
    "many_charts",
    "many_components",
    "many_indices",
    "master_check",
    "mean_range",
    "mean_sd",
    "median_range",
    "moving_range_sigma",
    "newey_west",
    "one_sided_interval",
    "one_sided_limits",
    "one_step_test",
    "overall_sigma",
    "parse_quantity",
    "parse_unit",
    "part_weights",
    "percentile_capability",
    "process_capability",
    "rank_trend",
    "resolution_verdict",
    "rule_named",
    "run_length",
    "run_lengths",
    "smallest_difference",
    "split_strata",
    "spread_range",
    "standard_score",
    "standardised_chart",
    "standardised_means",
    "step_by_ranks",
    "steps",
    "t_squared",
    "tie_to_events",
    "to_base",
    "tolerance_factor",
    "trend",
    "trended_chart",
    "variance_components",
    "weighted_t_squared",
    "width_index",
]


def __getattr__(name: str) -> Any:
    """Load a public name, or a module named after its main function, on first use."""
    if name in _MODULES:
        return import_module(f"spc.{_MODULES[name]}")
    if name in _HOME_OF:
        value = getattr(import_module(f"spc.{_HOME_OF[name]}"), name)
        globals()[name] = value
        return value
    raise AttributeError(f"module 'spc' has no public name {name!r}")


def __dir__() -> list[str]:
    return sorted([*__all__, *_MODULES])
