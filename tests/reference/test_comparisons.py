"""Published comparisons of levels and spreads."""

from __future__ import annotations

import numpy as np

from spc.change.comparison import before_after, equal_spread
from tests.reference.tables import by_group, column, printed, rows


def test_old_and_new_assembly_process():
    """NIST/SEMATECH e-Handbook 7.3.1 (from memory): Welch's test; the page takes old less new."""
    new = np.array([row["process"] == "new" for row in rows("nist_assembly.csv")])
    minutes = column("nist_assembly.csv", "minutes")
    assert minutes[~new].mean() == printed("36.0909")
    assert minutes[new].mean() == printed("32.2222")
    found = before_after(minutes, new)
    assert -found.level.t == printed("2.269")
    assert found.level.dof == printed("15.533", 0.5)
    assert found.spread.before == printed("4.9082")
    assert found.spread.after == printed("2.5386")


def test_spread_of_ten_batches_of_gears():
    """NIST/SEMATECH e-Handbook 1.3.5.10: Levene's test around medians, printed in single precision."""
    statistic, p = equal_spread(*by_group("gear.csv", "batch", "diameter"))
    # 1.705918 is printed as 1.705910.
    assert statistic == printed("1.705910", 8)
    assert p == printed("0.0991")
