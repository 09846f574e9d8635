"""Statistics for a shop that machines engine blocks: arrays in, frozen results out.

The public names are listed here and loaded on first use, so that importing the package costs nothing.
A module that bears the name of its main function (`assess`, `quick`) is reached as a module:
``spc.quick.quick(values)``.
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from spc.capability import Capability, process_capability
    from spc.causes import Cause
    from spc.charts import (
        BetweenWithinChart,
        IndividualsChart,
        Panel,
        SubgroupChart,
        between_within,
        individuals,
        mean_range,
        mean_sd,
    )
    from spc.constants import ChartFactors, c4, chart_factors, d2, d3
    from spc.derived import Derived, difference, spread_range, steps
    from spc.distribution import Fit, anderson_darling
    from spc.errors import SpcError, TooFewReadings
    from spc.frozen import FrozenLimits, freeze
    from spc.histogram import Histogram, histogram_of
    from spc.indices import limit_index, width_index
    from spc.intervals import Index, binomial_interval, bissell_interval, one_sided_interval, tolerance_factor
    from spc.process import Assessment, Closing, Cure, Monitor, ProcessData, ProcessOptions, Signal
    from spc.quick import QuickResult
    from spc.smoothed import CusumChart, cusum_chart, ewma_chart
    from spc.strata import Strata, split_strata
    from spc.tolerance import OutOfTolerance
    from spc.units import FACTORS, UNITS, UnitError, dimension, from_base, parse_quantity, parse_unit, to_base
    from spc.variation import Components, moving_range_sigma, overall_sigma, variance_components

_HOMES = {
    "capability": (
        "Capability",
        "process_capability",
    ),
    "causes": ("Cause",),
    "charts": (
        "BetweenWithinChart",
        "IndividualsChart",
        "Panel",
        "SubgroupChart",
        "between_within",
        "individuals",
        "mean_range",
        "mean_sd",
    ),
    "constants": (
        "ChartFactors",
        "c4",
        "chart_factors",
        "d2",
        "d3",
    ),
    "derived": (
        "Derived",
        "difference",
        "spread_range",
        "steps",
    ),
    "distribution": (
        "Fit",
        "anderson_darling",
    ),
    "errors": (
        "SpcError",
        "TooFewReadings",
    ),
    "frozen": (
        "FrozenLimits",
        "freeze",
    ),
    "histogram": (
        "Histogram",
        "histogram_of",
    ),
    "indices": (
        "limit_index",
        "width_index",
    ),
    "intervals": (
        "Index",
        "binomial_interval",
        "bissell_interval",
        "one_sided_interval",
        "tolerance_factor",
    ),
    "process": (
        "Assessment",
        "Closing",
        "Cure",
        "Monitor",
        "ProcessData",
        "ProcessOptions",
        "Signal",
    ),
    "quick": ("QuickResult",),
    "smoothed": (
        "CusumChart",
        "cusum_chart",
        "ewma_chart",
    ),
    "strata": (
        "Strata",
        "split_strata",
    ),
    "tolerance": ("OutOfTolerance",),
    "units": (
        "FACTORS",
        "UNITS",
        "UnitError",
        "dimension",
        "from_base",
        "parse_quantity",
        "parse_unit",
        "to_base",
    ),
    "variation": (
        "Components",
        "moving_range_sigma",
        "overall_sigma",
        "variance_components",
    ),
}
_MODULES = ("assess", "quick")

__all__ = [
    "FACTORS",
    "UNITS",
    "Assessment",
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
    "Histogram",
    "Index",
    "IndividualsChart",
    "Monitor",
    "OutOfTolerance",
    "Panel",
    "ProcessData",
    "ProcessOptions",
    "QuickResult",
    "Signal",
    "SpcError",
    "Strata",
    "SubgroupChart",
    "TooFewReadings",
    "UnitError",
    "anderson_darling",
    "between_within",
    "binomial_interval",
    "bissell_interval",
    "c4",
    "chart_factors",
    "cusum_chart",
    "d2",
    "d3",
    "difference",
    "dimension",
    "ewma_chart",
    "freeze",
    "from_base",
    "histogram_of",
    "individuals",
    "limit_index",
    "mean_range",
    "mean_sd",
    "moving_range_sigma",
    "one_sided_interval",
    "overall_sigma",
    "parse_quantity",
    "parse_unit",
    "process_capability",
    "split_strata",
    "spread_range",
    "steps",
    "to_base",
    "tolerance_factor",
    "variance_components",
    "width_index",
]


def __getattr__(name: str) -> Any:
    """Load a public name, or a module named after its main function, on first use."""
    if name in _MODULES:
        return import_module(f"spc.{name}")
    for module, names in _HOMES.items():
        if name in names:
            value = getattr(import_module(f"spc.{module}"), name)
            globals()[name] = value
            return value
    raise AttributeError(f"module 'spc' has no public name {name!r}")


def __dir__() -> list[str]:
    return sorted([*__all__, *_MODULES])
