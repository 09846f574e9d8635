"""Published short runs, and several features watched together."""

from __future__ import annotations

import numpy as np

from spc.charts.short_run import standardised_means
from spc.charts.together import Reference, learn_reference, t_squared, weighted_t_squared
from spc.process import ProcessData, ProcessOptions
from spc.score.assess import assess
from tests.reference.tables import column, printed, rows, table


def test_short_run_of_three_parts():
    """Lecture notes after Montgomery, section 9.1: three part numbers, each over its mean range."""
    data = rows("dnom.csv")
    y = table("dnom.csv", "m1", "m2", "m3", "m4")
    family = [row["part"] for row in data]
    targets: dict[object, float] = {row["part"]: float(row["target"]) for row in data}
    assert (y[0] - targets["A"]).tolist() == [-2.5, -0.5, 0.5, 1.5]
    chart = standardised_means(y, family, targets)
    for name, text in (("A", "3.33"), ("B", "2"), ("C", "1.75")):
        assert chart.scale[name] == printed(text)
    means = "-0.08 0.00 -0.15 0.13 0.00 0.25 0.50 0.25 0.00 0.29 0.14 0.00"
    for ours, text in zip(chart.values.values, means.split(), strict=True):
        assert ours == printed(text)
    ranges = "1.20 0.60 1.20 1.50 1.00 1.00 0.50 1.00 1.14 0.57 1.14 1.14"
    for ours, text in zip(chart.spreads.values, ranges.split(), strict=True):
        assert ours == printed(text)
    # Factors of the printed table for subgroups of 4.
    assert chart.values.upper[0] == printed("0.729")
    assert chart.spreads.upper[0] == printed("2.282")


def test_mean_and_covariance():
    """NIST/SEMATECH e-Handbook 6.5.4.1 (from memory): length, width and height of five objects."""
    found = learn_reference(table("nist_lwh.csv", "length", "width", "height"))
    for ours, text in zip(found.mean, ("4.10", "2.08", "0.604"), strict=True):
        assert ours == printed(text)
    lower = found.covariance[np.tril_indices(3)]
    for ours, text in zip(lower, ("0.025", "0.0075", "0.0070", "0.00175", "0.00135", "0.00043"), strict=True):
        assert ours == printed(text)


def test_weighted_t_squared():
    """NIST/SEMATECH e-Handbook 6.3.4.3, data of Lowry et al. (1992), weight 0.1, mean 0.

    The printed figures follow with the sample covariance of the ten observations, not with unit variances and
    correlation 0.5 as the text suggests; with the latter the paper's own 3.29 to 17.21 follow.
    """
    y = np.column_stack([column("lowry_mewma.csv", "x1"), column("lowry_mewma.csv", "x2")])
    sample = Reference(np.zeros(2), np.cov(y.T), 10)
    chart = weighted_t_squared(y, sample, weight=0.1, limit=8.66)
    page = "2.1886 2.0697 4.8365 3.4158 0.7089 0.9268 4.0018 6.1657 7.8554 14.4158"
    for ours, text in zip(chart.values, page.split(), strict=True):
        assert ours == printed(text)
    stated = Reference(np.zeros(2), np.array([[1.0, 0.5], [0.5, 1.0]]), 10)
    paper = "3.29 3.18 7.37 5.26 1.09 1.28 5.66 8.32 9.64 17.21"
    for ours, text in zip(
        weighted_t_squared(y, stated, weight=0.1, limit=8.66).values, paper.split(), strict=True
    ):
        assert ours == printed(text)
    assert (weighted_t_squared(y, stated, weight=0.1, limit=8.66).beyond + 1).tolist() == [9, 10]


def test_flow_rates_as_later_parts_of_one_feature():
    """With one feature T-squared is the square of the distance in standard deviations (NIST, flow rates)."""
    x = column("nist_flowrate.csv", "flowrate")
    found = t_squared(x[:, None])
    assert np.allclose(found.panel.values, ((x - x.mean()) / x.std(ddof=1)) ** 2)


def test_scores_of_a_process_of_which_nothing_is_known():
    """Quesenberry (1991), J. Quality Technology 23, 213-224: his Q of unknown mean and variance, on NIST's flow rates.

    No published figures were found; these were recomputed twice, from the definition and as the t of a dummy variable.
    """
    x = np.array([49.6, 47.6, 49.9, 51.3, 47.8, 51.2, 52.6, 52.4, 53.6, 52.1])
    none = np.zeros(10, int)
    data = ProcessData(
        readings=x[:, None], strata=(), family=none, day=np.arange(10), run_length=np.full(10, 5_000.0),
        level=none, life=none - 1, wear=np.zeros(10), learn=np.ones(10, bool),
    )  # fmt: skip
    told = assess(data, ProcessOptions(daily=False)).score
    theirs = ("0.5387", "1.1335", "-0.8989", "1.0115", "1.4786", "1.0988", "1.4450", "0.6189")
    assert np.isnan(told[:2]).all()
    for score, text in zip(told[2:], theirs, strict=True):
        assert score == printed(text)
