"""Published trends and change points."""

from __future__ import annotations

import numpy as np

from spc.change.change_points import best_steps, one_step_test, step_by_ranks
from spc.change.trends import newey_west, rank_trend, trend
from tests.reference.tables import column, printed, rows


def test_rank_trend_with_ties():
    """US EPA QA/G-9S (2006), p. 109: 11 values, four of 10 and two of 15."""
    y = [float(row["value"]) for row in rows("mann_kendall_epa.csv") if row["series"] == "n11"]
    found = rank_trend(y)
    assert found.s == 22
    assert found.variance == printed("155.33")
    assert found.z == printed("1.685")


def test_rank_trend_of_five_values():
    """US EPA QA/G-9 (from memory): S 6, exact one-sided p 0.117."""
    y = [float(row["value"]) for row in rows("mann_kendall_epa.csv") if row["series"] == "n5"]
    found = rank_trend(y)
    assert found.s == 6
    assert found.p_value / 2 == printed("0.117")


def test_rhine_at_maxau():
    """Pohlert, reference text of the R package trend: flow and suspended load of 45 years."""
    flow = rank_trend(column("maxau.csv", "Q_flow"))
    assert (flow.s, flow.variance) == (-144, 10450)
    assert flow.z == printed("-1.3989")
    assert flow.p_value == printed("0.1619")
    assert flow.tau == printed("-0.1454545")
    load = trend(column("maxau.csv", "s_suspended"))
    assert load.ranks.z == printed("-3.8445")
    assert load.ranks.p_value == printed("0.0001208")
    assert load.robust_slope.estimate == printed("-0.2876139")
    assert load.robust_slope.lower == printed("-0.4196477")
    assert load.robust_slope.upper == printed("-0.1519026")


def test_page_and_pettitt():
    """Pettitt (1979), Applied Statistics 28, 126-135: K 232 after 17 values; he prints p 0.014."""
    found = step_by_ranks(column("page_1955.csv", "x"))
    assert (found.k, found.last) == (232, 17)
    assert found.p_value == printed("0.01456")


def test_flow_of_the_nile():
    """Zeileis et al. (2003): one step after 28 years (1898), and the best places of up to five."""
    y = column("nile.csv", "volume")
    found = best_steps(y)
    squares = ("2835157", "1597457", "1552924", "1538097", "1507888", "1659994")
    criteria = ("1318", "1270", "1276", "1285", "1292", "1311")
    for steps, rss, bic in zip(found, squares, criteria, strict=True):
        assert steps.squares == printed(rss)
        assert steps.criterion == printed(bic)
    assert (found[1].last, found[2].last, found[3].last) == ((28,), (28, 83), (28, 68, 83))
    assert min(found, key=lambda steps: steps.criterion).count == 1
    assert column("nile.csv", "year")[found[1].last[0] - 1] == 1898
    statistic, last = one_step_test(y)
    assert statistic == printed("75.93")
    assert last == 28


def test_investment_equation():
    """Greene (1993), example 15.3: Newey-West with four lags, no small-sample correction."""
    y = column("greene_investment.csv", "RealInv")
    x = np.column_stack(
        [
            np.ones(y.size),
            column("greene_investment.csv", "RealGNP"),
            column("greene_investment.csv", "RealInt"),
        ]
    )
    lower = newey_west(x, y, 4)[np.tril_indices(3)]
    theirs = ("359.4170681", "-0.3115505", "0.0002805888", "-4.0893193", "-0.0053559312", "11.171472998")
    for ours, text in zip(lower, theirs, strict=True):
        assert ours == printed(text)
