"""What a notebook shows of a result: short, while `repr` keeps every digit."""

from __future__ import annotations

import numpy as np
import pytest

import spc
from spc.capability.quick import quick

X = np.random.default_rng(1).normal(10, 1, 400)


class Printer:
    """Stands for the notebook's own printer."""

    def __init__(self) -> None:
        self.told = ""

    def text(self, words: str) -> None:
        self.told += words


@pytest.mark.parametrize(
    "ask",
    [
        lambda: spc.individuals(X),
        lambda: spc.process_capability(X, 6, 14, stable=True),
        lambda: quick(X, 6, 14),
        lambda: spc.trend(X),
        lambda: spc.many_charts(X.reshape(10, 40), spc.RULES),
        lambda: spc.gauge_study(X[:30], np.arange(30) // 6, np.arange(30) % 3),
        lambda: spc.split_strata(X.reshape(100, 4)),
        lambda: spc.best_steps(X)[1],
    ],
)
def test_a_result_of_many_readings_is_shown_in_few_lines(ask):
    found, printer = ask(), Printer()
    found._repr_pretty_(printer, False)
    assert printer.told == str(found)
    assert printer.told.startswith(type(found).__name__ + "\n")
    assert len(printer.told.splitlines()) < 45
    assert max(len(line) for line in printer.told.splitlines()) < 600


def test_figures_are_shown_with_their_ends():
    assert str(spc.Index(1.25, 0.5, 2.0)) == "Index 1.25 (0.5 to 2)"
    assert str(spc.Ranged(3.0)) == "Ranged 3"
    held = spc.process_capability(X, 6, 14, stable=False)
    assert f"ppk: {held.ppk.estimate:.5g} (" in str(held)  # type: ignore[union-attr]
    assert "cpk" not in str(held)


def test_the_representation_keeps_every_digit():
    index = spc.Index(1 / 3, 0.1, 2.0)
    assert repr(index) == f"Index(estimate={1 / 3!r}, lower=0.1, upper=2.0, confidence=0.95)"
