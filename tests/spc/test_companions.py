"""What a tool makes beside the feature it wears: news only when it moves otherwise than in earlier lives."""

import numpy as np
import pytest

from spc.wear.companions import beside
from spc.wear.model import WearRows, fit_wear

LIVES = 10


def shop(rng: np.random.Generator, extra: float) -> tuple[WearRows, WearRows]:
    """Ten lives whose cycle time rises by a tenth, and one that rises by `extra` more."""
    value, life, uses = [], [], []
    for number in range(LIVES + 1):
        own = np.arange(0.0, 190.0, 5.0)
        slope = 0.1 + rng.normal(0, 0.01) + (extra if number == LIVES else 0.0)
        value.append(1.4 + rng.normal(0, 0.02) + slope * own / 190 + rng.normal(0, 0.03, own.size))
        life.append(np.full(own.size, number))
        uses.append(own)
    rows = WearRows(
        np.concatenate(value),
        np.concatenate(life),
        np.concatenate(uses),
        np.zeros(LIVES * 38 + 38, dtype=np.int64),
    )
    return rows, rows.of(rows.life == LIVES)


def found(seed: int, extra: float, *, either_way: bool):
    rows, current = shop(np.random.default_rng(seed), extra)
    fit = fit_wear(rows, np.arange(LIVES))
    assert fit is not None
    seen = beside(current, fit, either_way=either_way)
    assert seen is not None
    return seen


def test_a_rise_as_in_every_life_is_no_news_and_a_steeper_one_is():
    steep = found(1, 0.25, either_way=True)
    assert steep.chance < 0.01 and steep.lives == LIVES and steep.parts == 38
    # The latest 8 parts lie at 0.9 of a life: 0.225 above what is usual there, but for their scatter and the level's.
    assert steep.came - steep.expected == pytest.approx(0.225, abs=4 * (0.03 / 8**0.5 + 0.02 + 0.01))
    assert found(1, -0.25, either_way=True).chance < 0.01
    assert found(1, -0.25, either_way=False).chance > 0.5  # less scatter than usual is no fault


def test_an_ordinary_life_is_seldom_told_as_news():
    """Nominal 5 %, over three looks of which this is one: of 200 lives at most 10 and 4 standard errors."""
    told = sum(found(seed, 0.0, either_way=True).chance < 0.05 for seed in range(200))
    assert told <= 10 + 4 * (200 * 0.05 * 0.95) ** 0.5


def test_too_short_a_life_says_nothing():
    rows, current = shop(np.random.default_rng(2), 0.0)
    fit = fit_wear(rows, np.arange(LIVES))
    assert fit is not None
    assert beside(current.of(current.uses < 30), fit, either_way=True) is None
