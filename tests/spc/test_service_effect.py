"""What a service is credited with, and what it must not be credited with."""

import numpy as np
import pytest
from numpy.typing import NDArray

from spc.change.service_effect import Served, chance_larger, differ_by_family, service_effects, share_ahead

N = 60


def _served(
    y: NDArray[np.float64],
    family: list[str] | None = None,
    gauge: list[str] | None = None,
    touched: frozenset[str] = frozenset(),
    name: str = "one",
    day: NDArray[np.int64] | None = None,
) -> Served:
    n = len(y)
    return Served(
        name, y, np.arange(n) >= n // 2, family or ["a"] * n, gauge or ["g"] * n, touched, None, day
    )


def _noise(seed: int, n: int = 2 * N, p: int = 4) -> NDArray[np.float64]:
    rng = np.random.default_rng(seed)
    return rng.normal(0, 1, (n, 1)) + rng.normal(0, 1, (n, p))


def test_a_step_is_found_with_its_size() -> None:
    y = _noise(1)
    y[N:] -= 3
    effect = service_effects([_served(y)])[0]
    assert effect.found
    assert effect.level_found
    assert effect.level is not None
    assert effect.level.difference.lower < -3 < effect.level.difference.upper


def test_nothing_done_is_seldom_something_found() -> None:
    found = sum(
        any(e.found for e in service_effects([_served(_noise(100 * s + k), name=str(k)) for k in range(4)]))
        for s in range(60)
    )
    # 5 % wanted; 60 runs: up to 8 happens with 99 %.
    assert found <= 8


def test_a_drift_that_goes_on_is_no_effect() -> None:
    y = _noise(2) + np.linspace(0, 8, 2 * N)[:, None]
    effect = service_effects([_served(y)])[0]
    assert not effect.found
    assert effect.level is not None
    # It says how small an effect it could have missed.
    assert 0 < effect.level.smallest_seen < 3


def test_a_pattern_that_drifts_on_is_no_effect_and_one_that_steps_is() -> None:
    bent = np.array([1.0, -1.0, -1.0, 1.0])
    drift = _noise(3) + np.linspace(0, 4, 2 * N)[:, None] * bent
    assert not service_effects([_served(drift)])[0].found
    step = _noise(3)
    step[N:] += 2 * bent
    effect = service_effects([_served(step)])[0]
    assert effect.pattern_found
    assert effect.pattern is not None
    assert np.allclose(effect.pattern.change, 2 * bent, atol=1.0)


def test_another_mix_of_families_is_not_credited_to_the_service() -> None:
    rng = np.random.default_rng(4)
    late = np.arange(2 * N) >= N
    family = ["big" if rng.random() < (0.8 if side else 0.2) else "small" for side in late]
    y = _noise(5) + np.array([[6.0] if f == "big" else [0.0] for f in family])
    raw = y[N:].mean() - y[:N].mean()
    assert abs(raw) > 2
    assert not service_effects([_served(y, family)])[0].found


def test_another_gauge_is_not_credited_to_the_service() -> None:
    rng = np.random.default_rng(6)
    gauge = ["new" if rng.random() < (0.8 if i >= N else 0.2) else "old" for i in range(2 * N)]
    y = _noise(7) + np.array([[5.0] if g == "new" else [0.0] for g in gauge])
    assert not service_effects([_served(y, gauge=gauge)])[0].found


def test_the_repair_of_a_gauge_is_not_credited_to_the_machine() -> None:
    gauge = ["bad" if i % 2 else "good" for i in range(2 * N)]
    y = _noise(20)
    y[[i for i in range(N) if i % 2]] += (
        7  # read high until the gauge was repaired, on the day of the service
    )
    credited = service_effects([_served(y, gauge=gauge)])[0]
    assert credited.level is not None
    assert credited.level.difference.estimate < -2
    effect = service_effects([_served(y, gauge=gauge, touched=frozenset({"bad"}))])[0]
    assert not effect.found
    assert effect.left_out == N


def test_nothing_is_said_when_only_the_repaired_gauge_measured() -> None:
    effect = service_effects([_served(_noise(9), touched=frozenset({"g"}))])[0]
    assert effect.level is None
    assert effect.reason
    assert not effect.found


def test_parts_of_a_day_share_its_setting() -> None:
    rng = np.random.default_rng(10)
    day = np.repeat(np.arange(24), 5)
    y = rng.normal(0, 3, 24)[day][:, None] + rng.normal(0, 0.3, (120, 2))
    alone = service_effects([_served(y)])[0].level
    together = service_effects([_served(y, day=day)])[0].level
    assert alone is not None
    assert together is not None
    assert together.smallest_seen > 1.5 * alone.smallest_seen


def test_a_missing_position_moves_nothing() -> None:
    offsets = np.array([0.0, 20.0, 0.0, -20.0])
    y = _noise(11) + offsets
    y[N:, 1] = np.nan
    effect = service_effects([_served(y)])[0]
    assert effect.level is not None
    assert abs(effect.level.difference.estimate) < 3


def test_chance_larger_weighs_families_by_what_is_made_now() -> None:
    assert chance_larger([16], [46], [0], [56]) > 0.999
    assert chance_larger([1], [50], [1], [50]) == pytest.approx(0.5, abs=0.02)
    assert chance_larger([5, 5], [50, 10], [500, 50], [5000, 100]) == pytest.approx(0.5, abs=0.1)


def test_families_differ_only_by_more_than_noise() -> None:
    assert differ_by_family([14, 4], [24, 26])
    assert not differ_by_family([9, 7], [24, 22])
    assert not differ_by_family([0, 0], [24, 22])
    assert not differ_by_family([5], [20])


def test_the_share_ahead_follows_a_drift_and_is_not_told_without_one() -> None:
    day = np.arange(60.0)
    noise = np.random.default_rng(21).normal(0.0, 0.05, 60)
    drifting = -1.0 + 0.01 * day + noise  # from 1.0 inside the limit to 0.4 inside it
    ahead = share_ahead(drifting, day, 160.0)
    assert ahead is not None and ahead.estimate > 0.95  # 0.6 beyond by then
    assert ahead.lower is not None and ahead.upper is not None
    assert ahead.lower <= ahead.estimate <= ahead.upper
    assert share_ahead(drifting, day, 61.0) is None  # nothing is beyond yet
    assert share_ahead(-1.0 + noise, day, 160.0) is None
    assert share_ahead(-drifting - 2.0, day, 160.0) is None  # it drifts inwards
    assert share_ahead(drifting[:3], day[:3], 160.0) is None
