"""How often intervals of a gauge study hold the truth, by simulation, with Monte Carlo error.

Wanted of every 95 % interval: 90 to 97 %, truth not on the border. Run with ``-s`` for the table.
"""

from __future__ import annotations

import math
import sys

import numpy as np
import pytest

from spc.gauges.gaps import adjusted_squares
from spc.gauges.trial import gauge_study
from spc.mean_squares import large_sample_interval

LONG = 1_000
DESIGNS = [(5, 3, 2), (10, 2, 2), (10, 3, 3), (25, 3, 2), (25, 6, 3), (100, 3, 2)]
# Standard deviations of part, operator, interaction, repeatability.
TRUTHS = [(3.0, 0.8, 0.6, 0.5), (1.0, 0.3, 0.0, 1.0), (2.0, 1.0, 1.0, 0.5)]


def rates(design, truth, runs):
    rng = np.random.default_rng([*design, runs])
    parts, operators, _ = design
    part, operator, _ = (a.ravel() for a in np.indices(design))
    v_part, v_operator, v_both, v_error = (s**2 for s in truth)
    gauge = v_operator + v_both + v_error
    known = {
        "repeatability": v_error,
        "operator": v_operator,
        "interaction": v_both,
        "reproducibility": v_operator + v_both,
        "gauge": gauge,
        "part": v_part,
        "total": gauge + v_part,
        "percent_total_variation": 100 * math.sqrt(gauge / (gauge + v_part)),
    }
    held, seen = dict.fromkeys(known, 0), dict.fromkeys(known, 0)
    for run in range(runs):
        y = (
            truth[0] * rng.normal(size=(parts, 1, 1))
            + truth[1] * rng.normal(size=(1, operators, 1))
            + truth[2] * rng.normal(size=(parts, operators, 1))
            + truth[3] * rng.normal(size=design)
        )
        found = gauge_study(y.ravel(), part, operator, seed=run)
        for name, value in known.items():
            figure = getattr(found, name)
            if figure is not None and value > 0:
                seen[name] += 1
                held[name] += figure.lower <= value <= figure.upper
    return {name: (held[name] / seen[name], seen[name]) for name in known if seen[name] > runs / 2}


def rates_with_gaps(design, truth, runs, lost=0.15):
    """The same with a share of the readings lost at random: cells read once, some never."""
    rng = np.random.default_rng([*design, runs, 1])
    parts, operators, _ = design
    v_part, v_operator, v_both, v_error = (s**2 for s in truth)
    gauge = v_operator + v_both + v_error
    known = {
        "repeatability": v_error,
        "operator": v_operator,
        "interaction": v_both,
        "reproducibility": v_operator + v_both,
        "gauge": gauge,
        "part": v_part,
        "total": gauge + v_part,
    }
    held, seen = dict.fromkeys(known, 0), 0
    for _ in range(runs):
        y = (
            truth[0] * rng.normal(size=(parts, 1, 1))
            + truth[1] * rng.normal(size=(1, operators, 1))
            + truth[2] * rng.normal(size=(parts, operators, 1))
            + truth[3] * rng.normal(size=design)
        )
        keep = rng.random(y.size) > lost
        part, operator = (np.unique(a.ravel()[keep], return_inverse=True)[1] for a in np.indices(design)[:2])
        split = adjusted_squares(y.ravel()[keep], part, operator, interaction=True)
        if split is None:
            continue
        seen += 1
        for name, value in known.items():
            figure = large_sample_interval(split.weights[name], split.squares, split.dofs)
            held[name] += figure.lower is not None and figure.upper is not None and (
                figure.lower <= value <= figure.upper
            )  # fmt: skip
    return {name: (held[name] / seen, seen) for name, value in known.items() if value > 0}


def check(design, truth, runs, rates=rates):
    found = rates(design, truth, runs)
    words = "  ".join(f"{name} {share:.3f}" for name, (share, _) in found.items())
    sys.stdout.write(f"\n{design} sd {truth} n={runs} +- {math.sqrt(0.05 * 0.95 / runs):.3f}: {words}")
    for name, (share, seen) in found.items():
        error = math.sqrt(0.05 * 0.95 / seen)
        assert share >= 0.90 - 2.5 * error, name
        assert share <= 0.97 + 2.5 * error, name


@pytest.mark.parametrize(("design", "truth"), [((10, 3, 3), TRUTHS[0]), ((25, 3, 2), TRUTHS[2])])
def test_intervals_of_components_hold_the_truth(design, truth):
    check(design, truth, 300)


@pytest.mark.slow
@pytest.mark.parametrize("truth", TRUTHS)
@pytest.mark.parametrize("design", DESIGNS)
def test_intervals_of_components_hold_the_truth_in_long_runs(design, truth):
    check(design, truth, LONG)


@pytest.mark.slow
@pytest.mark.parametrize("truth", TRUTHS)
@pytest.mark.parametrize("design", [(10, 3, 3), (25, 3, 2)])
def test_intervals_of_a_study_with_gaps_hold_the_truth_in_long_runs(design, truth):
    check(design, truth, LONG, rates_with_gaps)
