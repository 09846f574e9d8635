"""A change of unit and a swap of sides, asked of every public function that takes readings.

Every figure of a result is a length, a power of one, or has no unit: under a change of unit by f it goes by a whole
power of f, the same power for any f, and an index stays. Under a mirror (readings turned round, limits swapped) the
sizes of all figures stay; only which is the upper and which the lower changes.
"""

from __future__ import annotations

import dataclasses
import inspect
import math
from collections.abc import Callable, Iterator

import numpy as np
import pytest

import spc
from spc.capability.quick import quick
from spc.spread import overall_spread, pivotal_draws
from spc.strata import split_strata

RNG = np.random.default_rng(31)
ONE = RNG.normal(5.0, 1.0, 40) + 0.02 * np.arange(40)
TABLE = RNG.normal(5.0, 1.0, (20, 4)) + RNG.normal(size=(20, 1)) + np.array([0.0, 0.3, -0.2, 0.1])
FINISH = RNG.weibull(1.8, 40) + 0.2
CUBE = RNG.normal(size=(6, 3, 3)) + 2 * RNG.normal(size=(6, 1, 1)) + 0.5 * RNG.normal(size=(1, 3, 1))
PART, OPERATOR = (a.ravel() for a in np.indices(CUBE.shape)[:2])
HALF = np.arange(40) >= 20
FAMILY = np.arange(40) % 2
LABELS = {"depth": ["T", "M", "B", "E"]}


class Unit:
    """A unit (f > 0), or the mirror (f = -1): readings, limits and differences seen in it."""

    def __init__(self, f: float) -> None:
        self.f = f

    def __call__(self, values: object) -> np.ndarray:
        return np.asarray(values, dtype=float) * self.f

    def one(self, value: float) -> float:
        return value * self.f

    def width(self, value: float) -> float:
        return value * abs(self.f)

    def limits(self, lower: float | None, upper: float | None) -> tuple[float | None, float | None]:
        if self.f > 0:
            return tuple(None if v is None else v * self.f for v in (lower, upper))  # type: ignore[return-value]
        return tuple(None if v is None else v * self.f for v in (upper, lower))  # type: ignore[return-value]


def _spread(u: Unit):
    spread = overall_spread(split_strata(u(TABLE)))
    return spread, pivotal_draws(spread, np.random.default_rng(1))


def _near(u: Unit) -> object:
    spread, drawn = _spread(u)
    return spc.limit_index("normal", spread, drawn, *u.limits(0.0, 9.0))


def _wide(u: Unit) -> object:
    spread, drawn = _spread(u)
    lower, upper = u.limits(0.0, 9.0)
    assert lower is not None and upper is not None
    return spc.width_index("normal", spread, drawn, lower, upper)


def _together(u: Unit) -> tuple[object, ...]:
    reference = spc.learn_reference(u(TABLE))
    return reference, spc.t_squared(u(TABLE)), spc.weighted_t_squared(u(TABLE), reference, limit=8.0)


def _frozen(u: Unit) -> object:
    chart = spc.individuals(u(ONE))
    kept = spc.freeze(chart.values, chart.sigma, baseline="", version=1, fixed_on="", fixed_by="")
    return kept, kept.judge(u(ONE))


def _many(u: Unit) -> object:
    y = u(TABLE)
    lower, upper = u.limits(0.0, 9.0)
    assert lower is not None and upper is not None
    return spc.many_indices(y.mean(1), y.std(1, ddof=1), 4, lower, upper)


def _ruled(u: Unit) -> object:
    chart = spc.individuals(u(ONE))
    z = spc.standard_score(u(ONE), chart.center, chart.sigma)
    return np.abs(z), spc.check_rules(z, spc.RULES), spc.check_panel(chart.values, spc.RULES)


BOTH: dict[str, Callable[[Unit], object]] = {
    "acceptance_limits": lambda u: spc.acceptance_limits(u.width(0.1), *u.limits(1.0, 3.0)),
    "anderson_darling": lambda u: spc.anderson_darling(u(ONE)),
    "average_and_range": lambda u: spc.average_and_range(u(CUBE)),
    "before_after": lambda u: spc.before_after(u(ONE), HALF, family=FAMILY),
    "best_steps": lambda u: spc.best_steps(u(ONE), 2)[1:],
    "between_within": lambda u: spc.between_within(u(TABLE)),
    "bootstrap_index": lambda u: spc.bootstrap_index(u(TABLE), *u.limits(0.0, 9.0), copies=50),
    "chance_conforms": lambda u: spc.chance_conforms(u.one(2.8), u.width(0.1), *u.limits(1.0, 3.0)),
    "check_rules check_panel standard_score": _ruled,
    "compare_months": lambda u: spc.compare_months(
        [spc.Pair("p", u(TABLE[:10]), u(TABLE[10:]), *u.limits(0.0, 9.0))]
    ),
    "cusum_chart": lambda u: spc.cusum_chart(
        u(ONE), target=u.one(5.0), allowance=u.width(0.5), limit=u.width(4)
    ),
    "decision_zone": lambda u: spc.decision_zone(u.one(2.0), u.width(0.1), *u.limits(1.0, 3.0)),
    "deviation_chart": lambda u: spc.deviation_chart(u(ONE), FAMILY, {0: u.one(5.0), 1: u.one(4.0)}),
    "difference": lambda u: spc.difference(u(TABLE), LABELS, "depth", ["T"], ["B"]),
    "equal_spread": lambda u: spc.equal_spread(u(ONE[:20]), u(ONE[20:])),
    "ewma_chart": lambda u: spc.ewma_chart(u(ONE), target=u.one(5.0), sigma=u.width(1.0)),
    "freeze": _frozen,
    "gauge_study": lambda u: spc.gauge_study(
        u(CUBE.ravel()), PART, OPERATOR, **dict(zip(("lower", "upper"), u.limits(-6, 6), strict=True))
    ),
    "individuals": lambda u: spc.individuals(u(ONE)),
    "learn_reference t_squared weighted_t_squared": _together,
    "limit_index": _near,
    "linearity": lambda u: spc.linearity(u(ONE[:30]), u(np.repeat([2.0, 4.0, 6.0], 10))),
    "many_charts": lambda u: spc.many_charts(u(TABLE.T), spc.RULES),
    "many_components": lambda u: spc.many_components(u(TABLE.reshape(2, 10, 4))),
    "many_indices": _many,
    "master_check": lambda u: spc.master_check(
        u(ONE), u.one(5.0), tolerance=u.width(9.0), resolution=u.width(0.01)
    ),
    "mean_range": lambda u: spc.mean_range(u(TABLE)),
    "mean_sd": lambda u: spc.mean_sd(u(TABLE)),
    "moving_range_sigma": lambda u: spc.moving_range_sigma(u(ONE)),
    "newey_west": lambda u: spc.newey_west(np.column_stack([np.ones(40), np.arange(40)]), u(ONE), 2),
    "one_step_test": lambda u: spc.one_step_test(u(ONE)),
    "overall_sigma": lambda u: spc.overall_sigma(u(ONE)),
    "percentile_capability, as measured": lambda u: spc.percentile_capability(
        u(TABLE), *u.limits(0.0, 9.0), shape="as measured"
    ),
    "process_capability": lambda u: spc.process_capability(
        u(TABLE), *u.limits(0.0, 9.0), stable=True, gauge_sd=u.width(0.1)
    ),
    "quick": lambda u: quick(u(ONE), *u.limits(0.0, 9.0)),
    "rank_trend": lambda u: spc.rank_trend(u(ONE)),
    "resolution_verdict": lambda u: spc.resolution_verdict(
        u.width(0.1), tolerance=u.width(2), sigma=u.width(0.3)
    ),
    "smallest_difference": lambda u: spc.smallest_difference(u.width(0.3), 12),
    "split_strata": lambda u: spc.split_strata(u(TABLE), [[0, 0, 1, 1]]),
    "spread_range": lambda u: spc.spread_range(u(TABLE), LABELS),
    "standardised_means": lambda u: spc.standardised_means(
        u(TABLE), np.arange(20) % 2, {0: u.one(5.0), 1: u.one(4.0)}
    ),
    "step_by_ranks": lambda u: spc.step_by_ranks(u(ONE)),
    "steps": lambda u: spc.steps(u(TABLE), LABELS, "depth"),
    "trend": lambda u: spc.trend(u(ONE)),
    "trended_chart": lambda u: spc.trended_chart(u(ONE), np.arange(40.0)),
    "variance_components": lambda u: spc.variance_components(u(TABLE)),
    "width_index": _wide,
}
"""Ways of asking that have two sides."""

SIZES: dict[str, Callable[[Unit], object]] = {
    "fit_weibull": lambda u: spc.fit_weibull(u(FINISH)),
    "fit_johnson": lambda u: spc.fit_johnson(u(FINISH)),
    "fit_johnson, likelihood": lambda u: spc.fit_johnson(u(FINISH), likelihood=True),
    "compare_shapes": lambda u: [f.anderson_darling for f in spc.compare_shapes(u(FINISH))[:3]],
    "percentile_capability, weibull": lambda u: spc.percentile_capability(
        u(FINISH), *u.limits(0.05, 4.0), shape="weibull", copies=100
    ),
    "percentile_capability, johnson": lambda u: spc.percentile_capability(
        u(FINISH), *u.limits(0.05, 4.0), shape="johnson", copies=100
    ),
    "process_capability, folded normal": lambda u: spc.process_capability(
        u(TABLE - 5), None, u.one(4.0), stable=True, judge_absolute=True
    ),
    "histogram_of": lambda u: spc.histogram_of(u(ONE)),
    "standardised_chart": lambda u: spc.standardised_chart(u(ONE), FAMILY, {0: u.one(5.0), 1: u.one(4.0)}),
}
"""Ways of asking that know no mirror: values above 0, or divided by their target, or classes that begin below."""

WITHOUT_READINGS = {
    "binomial_interval", "bissell_interval", "c4", "chart_factors", "cusum_limit", "cusum_run_length", "d2", "d3",
    "dimension", "ewma_run_length", "from_base", "guard_factor", "large_sample_interval", "median_range",
    "one_sided_interval", "one_sided_limits", "parse_quantity", "parse_unit", "part_weights", "rule_named",
    "run_length", "run_lengths", "tie_to_events", "to_base", "tolerance_factor",
}  # fmt: skip
"""Functions of numbers without a unit, of counts, of words, or whose business units are."""
OF_OWN_UNIT = {"at_reference"}
"""Takes a length and temperatures; a length alone is changed, below."""

NO_UNIT = (
    "cp", "cpk", "pp", "ppk", "cg", "cgk", "ndc", "percent_tolerance", "percent_total_variation", "p_value", "tau",
    "statistic", "anderson_darling", "expected", "observed", "share_of_variance", "share_of_tolerance", "ppk_without",
    "counts", "beyond", "memory", "dofs", "dof", "f",
)  # fmt: skip


def figures(thing: object, path: str = "") -> Iterator[tuple[str, float]]:
    """Every number in a result with the names that lead to it."""
    if dataclasses.is_dataclass(thing) and not isinstance(thing, type):
        for item in dataclasses.fields(thing):
            yield from figures(getattr(thing, item.name), f"{path}.{item.name}")
    elif isinstance(thing, dict):
        for key, item in thing.items():
            yield from figures(item, f"{path}.{key}")
    elif isinstance(thing, (list, tuple)):
        for at, item in enumerate(thing):
            yield from figures(item, f"{path}.{at}")
    elif isinstance(thing, np.ndarray) and thing.dtype.kind in "fiub":
        for at, value in enumerate(thing.ravel().tolist()):
            yield f"{path}[{at}]", float(value)
    elif isinstance(thing, (bool, int, float, np.number)):
        yield path, float(thing)


def power(first: float, again: float, f: float, scale: float) -> int | None:
    """By which power of f a figure went; None where it is too near 0 to tell."""
    if abs(first) < 1e-9 * scale or abs(again) < 1e-300:
        return None
    found = math.log(abs(again / first)) / math.log(f)
    assert found == pytest.approx(round(found), abs=1e-4), (first, again, f)
    return round(found)


@pytest.mark.parametrize("name", [*BOTH, *SIZES])
def test_a_change_of_unit_takes_every_figure_by_a_whole_power_and_no_index_along(name):
    ask = {**BOTH, **SIZES}[name]
    first = dict(figures(ask(Unit(1.0))))
    assert first or name in ("decision_zone", "resolution_verdict")
    scale = max((abs(v) for v in first.values() if math.isfinite(v)), default=1.0)
    powers: dict[str, set[int]] = {}
    for f in (25.4, 1e-3):
        again = dict(figures(ask(Unit(f))))
        assert again.keys() == first.keys()
        for path, value in first.items():
            if path.endswith(".criterion"):
                continue  # a log-likelihood: only differences of it are without a unit
            if math.isnan(value):
                assert math.isnan(again[path]), path
                continue
            found = power(value, again[path], f, scale)
            if found is not None:
                powers.setdefault(path, set()).add(found)
    for path, seen in powers.items():
        assert len(seen) == 1, (path, seen)
        names = path.replace("[", ".").split(".")
        if any(word in NO_UNIT for word in names):
            assert seen == {0}, (path, seen)


@pytest.mark.parametrize("name", BOTH)
def test_a_mirror_changes_sides_and_nothing_else(name):
    first = [abs(v) for _, v in figures(BOTH[name](Unit(1.0)))]
    mirror = [abs(v) for _, v in figures(BOTH[name](Unit(-1.0)))]
    scale = max((v for v in first if math.isfinite(v)), default=1.0)
    assert sorted(mirror) == pytest.approx(sorted(first), rel=1e-7, abs=1e-9 * scale, nan_ok=True)


def test_a_length_at_another_temperature_goes_with_its_unit():
    part = spc.Temperature(24.0, 11.5e-6, 0.5, 1e-6)
    first, again = (spc.at_reference(v, part, reading_uncertainty=v * 1e-6) for v in (80.0, 80.0 / 25.4))
    for (path, a), (_, b) in zip(figures(first), figures(again), strict=True):
        assert b == pytest.approx(a / 25.4, rel=1e-9) or b == pytest.approx(a, rel=1e-9), path


def test_every_public_function_is_asked():
    functions = {name for name in spc.__all__ if inspect.isfunction(inspect.unwrap(getattr(spc, name)))}
    asked = {word for name in (*BOTH, *SIZES) for word in name.split(",")[0].split()}
    assert functions - asked == WITHOUT_READINGS | OF_OWN_UNIT


def _at(value: float, where: int) -> Callable[[np.ndarray], np.ndarray]:
    def put(y: np.ndarray) -> np.ndarray:
        z = y.copy()
        z.flat[where % z.size] = value
        return z

    return put


POOR: dict[str, Callable[[np.ndarray], np.ndarray]] = {
    "constant": lambda y: np.full_like(y, 5.0),
    "all zero": np.zeros_like,
    "nothing measured": lambda y: np.full_like(y, np.nan),
    "one not measured": _at(np.nan, 3),
    "first position never measured": lambda y: (
        np.where(np.arange(y.shape[-1]) == 0, np.nan, y) if y.ndim > 1 else y
    ),
    "infinite": _at(np.inf, 4),
    "minus infinite": _at(-np.inf, 7),
    "no rows": lambda y: y[:0],
    "one row": lambda y: y[:1],
    "two rows": lambda y: y[:2],
    "three rows": lambda y: y[:3],
    "spread below the digits": lambda y: y * 1e-9 + 1e9,
    "all in one step of the gauge": lambda y: np.round(y / 10) * 10,
    "beyond any length": lambda y: y * 1e200,
    "huge": lambda y: y * 1e150,
    "tiny": lambda y: y * 1e-200,
    "a table too deep": lambda y: y[None],
    "some of it as a series": lambda y: y.ravel()[:7],
}


class Poor(Unit):
    """Readings spoilt in one way; limits and targets stay."""

    def __init__(self, spoil: Callable[[np.ndarray], np.ndarray]) -> None:
        super().__init__(1.0)
        self.spoil = spoil

    def __call__(self, values: object) -> np.ndarray:
        return self.spoil(np.array(values, dtype=float))


@pytest.mark.parametrize("data", POOR)
@pytest.mark.parametrize("name", [name for name in (*BOTH, *SIZES) if name != "many_indices"])
def test_poor_readings_get_a_named_error_or_finite_figures(name, data):
    """No warning either: they are errors here. Derived features say NaN for what was not measured."""
    try:
        found = {**BOTH, **SIZES}[name](Poor(POOR[data]))
    except spc.SpcError as error:
        assert len(str(error)) > 15
        return
    told = dict(figures(found))
    if name in ("difference", "steps", "spread_range"):
        told = {path: value for path, value in told.items() if not math.isnan(value)}
    assert all(math.isfinite(value) for value in told.values()), told


@pytest.mark.parametrize("mean", [[], [[1.0]], [math.inf], [math.nan]])
def test_poor_means_of_many_processes_are_refused(mean):
    with pytest.raises(spc.SpcError):
        spc.many_indices(mean, 1.0, 5, 0.0, 2.0)
    with pytest.raises(spc.SpcError, match="do not fit"):
        spc.many_indices([1.0, 2.0], [1.0, 1.0, 1.0], 5, 0.0, 2.0)
