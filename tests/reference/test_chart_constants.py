"""Chart constants against the printed tables and their closed forms."""

from __future__ import annotations

import math

import pytest

from spc.constants import c4, chart_factors, d2, d3, median_range
from tests.reference.tables import printed, rows

PRINTED = rows("constants_n2_25_printed.csv")
KNOWN_SIGMA = rows("constants_known_sigma_printed.csv")

# The printed tables chain rounded d2 and d3: these figures are up to this many units off in the last place.
TABLE_SLACK = {"d3": 0.1, "median_range": 1.0, "D3": 0.2, "D4": 0.3, "D1": 1.1, "D2": 1.1}


def ours(name: str, n: int) -> float:
    plain = {"d2": d2, "d3": d3, "median_range": median_range, "c4": c4}
    return plain[name](n) if name in plain else getattr(chart_factors(n), name)


@pytest.mark.parametrize("row", PRINTED, ids=lambda row: f"n{row['n']}")
@pytest.mark.parametrize("name", [name for name in PRINTED[0] if name != "n"])
def test_agrees_with_the_printed_table(name, row):
    assert ours(name, int(row["n"])) == printed(row[name], TABLE_SLACK.get(name, 0.0))


@pytest.mark.parametrize("row", KNOWN_SIGMA, ids=lambda row: f"n{row['n']}")
@pytest.mark.parametrize("name", ["B5", "B6", "D1", "D2"])
def test_agrees_with_the_printed_table_for_known_sigma(name, row):
    # The table prints 0 without digits where a lower limit would be negative.
    expected = 0.0 if row[name] == "0" else printed(row[name], TABLE_SLACK.get(name, 0.0))
    assert ours(name, int(row["n"])) == expected


def test_closed_forms_of_small_samples():
    assert d2(2) == pytest.approx(2 / math.sqrt(math.pi), abs=1e-13)
    assert d2(3) == pytest.approx(3 / math.sqrt(math.pi), abs=1e-13)
    assert d3(2) == pytest.approx(math.sqrt(2 - 4 / math.pi), abs=1e-12)
    assert d3(3) == pytest.approx(math.sqrt(2 + 3 * math.sqrt(3) / math.pi - 9 / math.pi), abs=1e-12)
    assert c4(2) == pytest.approx(math.sqrt(2 / math.pi), abs=1e-14)
    assert c4(3) == pytest.approx(math.sqrt(math.pi) / 2, abs=1e-14)
    assert c4(4) == pytest.approx(2 * math.sqrt(2 / (3 * math.pi)), abs=1e-14)
    assert c4(5) == pytest.approx(0.75 * math.sqrt(math.pi / 2), abs=1e-14)
