"""Published variance components and nested analyses."""

from __future__ import annotations

import numpy as np
import pytest

from spc.reml import fit_reml
from spc.strata import split_strata
from spc.variation import overall_sigma, variance_components
from tests.reference.tables import by_group, column, printed, rows


def test_dyestuff():
    """Davies & Goldsmith (1972), table 6.1: 6 batches of 5. Published fits print 1764, 2451 and 319.654."""
    y = by_group("dyestuff.csv", "batch", "yield")
    found = variance_components(y, pattern=False)
    assert found.method == "expected mean squares"
    assert found.mean == printed("1527.5")
    assert found.variances[0] == printed("1764")
    assert found.variances[1] == printed("2451")
    fit = fit_reml(y, [], pattern=False)
    assert fit.variances == pytest.approx(found.variances, rel=1e-6)
    assert fit.criterion == printed("319.654")


def test_pastes():
    """Davies & Goldsmith (1972): 10 batches x 3 casks x 2 analyses, with the published REML values."""
    y = by_group("pastes.csv", "batch", "strength")
    casks = [0, 0, 1, 1, 2, 2]
    found = variance_components(y, [casks], pattern=False)
    assert found.mean == printed("60.0533")
    assert found.standard_error == printed("0.6769")
    for variance, text in zip(found.variances, ("1.657", "8.434", "0.678"), strict=True):
        assert variance == printed(text)
    fit = fit_reml(y, [np.array(casks)], pattern=False)
    assert fit.variances == pytest.approx(found.variances, rel=1e-5)
    assert fit.standard_error == printed("0.6769")


def pins() -> np.ndarray:
    """5 machines in rows; 5 pins of the first operator, then 5 of the second."""
    data = rows("nist_pins.csv")
    by = {
        (r["machine"], o): [
            float(x["diameter"])
            for x in data
            if x["machine"] == r["machine"] and x["coolant_or_operator"] == o
        ]
        for r in data
        for o in ("A", "B")
    }
    machines = sorted({machine for machine, _ in by})
    return np.array([by[m, "A"] + by[m, "B"] for m in machines])


def test_pins_of_five_machines_one_way():
    """NIST/SEMATECH e-Handbook 3.2.3.1."""
    split = split_strata(pins()[:, :5], pattern=False)
    machine, residual = split.levels
    assert 5 * machine.mean_square * machine.dof == printed("0.000137")
    assert residual.mean_square * residual.dof == printed("0.000132")
    # The handbook prints 4.86, formed from mean squares rounded to six decimals; exactly it is 5.21.
    assert 5 * machine.mean_square / residual.mean_square == printed("5.21")
    assert (machine.dof, residual.dof) == (4, 20)


def test_pins_of_two_operators_within_each_machine():
    """NIST/SEMATECH e-Handbook 3.2.3.3: operators nested within machines."""
    split = split_strata(pins(), [[0] * 5 + [1] * 5], pattern=False)
    machine, operator, residual = split.levels
    assert 10 * machine.mean_square * machine.dof == printed("0.000303")
    assert 5 * operator.mean_square * operator.dof == printed("0.0000186")
    assert residual.mean_square * residual.dof == printed("0.000346")
    # 20.38 and 0.428 are formed from rounded mean squares.
    assert 2 * machine.mean_square / operator.mean_square == pytest.approx(20.38, abs=0.02)
    assert 5 * operator.mean_square / residual.mean_square == pytest.approx(0.428, abs=0.003)


def test_gear_batches():
    """NIST/SEMATECH e-Handbook 1.3.5.4 and 1.3.5.8: 10 batches of 10 gear diameters."""
    y = by_group("gear.csv", "batch", "diameter")
    split = split_strata(y, pattern=False)
    batch, within = split.levels
    assert 10 * batch.mean_square * batch.dof == printed("0.000729")
    assert within.mean_square * within.dof == printed("0.003174")
    assert 10 * batch.mean_square / within.mean_square == printed("2.2969")
    assert split.mean == printed("0.9976400")
    assert overall_sigma(column("gear.csv", "diameter")) == pytest.approx(0.6278908e-2, abs=1e-8)
