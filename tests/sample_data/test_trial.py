"""The planned trial of a gauge: a whole crossed design of its own, that moves nothing else."""

from itertools import pairwise

import numpy as np
import pytest

from sample_data import trial as made
from sample_data.gauges import GAUGES
from sample_data.make import exports_of, work


def test_every_person_measures_every_part_in_every_round_in_an_order_of_their_own(shop):
    rows = shop.raw("trial")
    assert len(rows) == made.PARTS * made.ROUNDS * len(made.PEOPLE)
    rounds = [part for _, part in rows.groupby(np.arange(len(rows)) // made.PARTS)]
    assert all(set(r["block"]) == set(rows["block"]) for r in rounds)
    assert all(r["who"].nunique() == 1 for r in rounds)
    assert all(a["block"].tolist() != b["block"].tolist() for a, b in pairwise(rounds))
    assert set(rows["who"]) == set(made.PEOPLE)


def test_it_comes_after_the_repair_and_on_blocks_honed_before_it(shop):
    rows, jobs = shop.raw("trial"), shop.jobs
    assert set(rows["when"].str[:10]) == {made.DAY.isoformat()}
    ended = jobs[(jobs["operation"] == "finish_hone") & jobs["block"].isin(rows["block"])]
    assert ended["ended"].min().date() < made.DAY
    assert set(ended["family"]) == {made.FAMILY}


def test_the_gauge_repeats_as_it_should(shop):
    """81 degrees of freedom: the standard deviation within part and person has an error of 8 %; four of them."""
    rows = shop.raw("trial")
    size = rows["size_mm"].astype(float) * 1000
    within = size.groupby([rows["block"], rows["who"]]).var(ddof=1).mean() ** 0.5
    assert within == pytest.approx(GAUGES[made.GAUGE].repeat_sd, rel=0.32)


def test_a_trial_moves_no_other_file(monkeypatch):
    with_it = {e.path: e.text() for e in exports_of(work(5))}
    monkeypatch.setattr("sample_data.make.trial", lambda shop, book: None)  # noqa: ARG005
    without = {e.path: e.text() for e in exports_of(work(5))}
    assert {path: text for path, text in with_it.items() if "trial" not in path} == without
    assert len(with_it) == len(without) + 1
