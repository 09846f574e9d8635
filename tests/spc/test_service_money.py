"""Cost and payback of a service against sums by hand, and how sure they are."""

import math
from dataclasses import replace

import pytest

from spc.change.service_money import Doubt, FamilyMoney, Price, service_money
from spc.errors import SpcError

SHARES = {"rehone": 0.8, "scrap": 0.08, "unnoticed": 0.12}
F = FamilyMoney("f", 55, 55 / 34, 16, 46, 0, 56, 225.0, 1900.0, 5400.0, (0.04, 0.08))
PRICE = Price(6900.0, 24.0, 65.0, done=True)


def test_payback_of_many_parts_is_the_sum_by_hand() -> None:
    many = replace(
        F, parts=550_000, months=550_000 / 34, out_now=350_000, of_now=1_000_000, of_then=1_000_000
    )
    money = service_money((many,), PRICE, SHARES)
    each = 0.8 * 225 + 0.08 * 1900 + 0.12 * 0.06 * 5400
    assert money.saving.p50 == pytest.approx(34 * 0.35 * each, rel=0.05)
    assert money.payback.p50 == pytest.approx(8460 / (34 * 0.35 * each), rel=0.05)


def test_payback_of_few_parts_is_about_two_months_with_its_range() -> None:
    money = service_money((F,), PRICE, SHARES)
    # By hand 1.9 months, 1.4 to 3.0 when the share alone moves over its 95 % interval.
    assert money.payback.p50 == pytest.approx(1.9, abs=0.2)
    assert money.payback.p10 < 1.6
    assert 2.3 < money.payback.p90 < 3.5
    assert money.within_year > 0.99


def test_the_same_seed_gives_the_same_and_another_differs_by_less_than_the_last_digit() -> None:
    first, again = (service_money((F,), PRICE, SHARES) for _ in range(2))
    assert first == again
    other = service_money((F,), PRICE, SHARES, seed=first.seed + 1)
    assert abs(first.payback.p50 - other.payback.p50) < 0.05  # printed to a tenth of a month
    assert abs(first.within_year - other.within_year) < 0.005  # printed in whole per cent
    assert 3 * first.payback.error < 0.05


def test_no_difference_never_surely_pays() -> None:
    same = replace(F, out_now=2, of_now=60, out_then=2, of_then=60)
    money = service_money((same,), PRICE, SHARES)
    assert math.isinf(money.payback.p90)
    assert math.isnan(money.payback.error) or money.payback.p50 > 12
    assert money.within_year < 0.35


def test_a_service_not_done_yet_saves_less_surely() -> None:
    done, proposed = (service_money((F,), replace(PRICE, done=d), SHARES) for d in (True, False))
    assert proposed.payback.p50 > done.payback.p50
    assert {s.name for s in proposed.sways} - {s.name for s in done.sways} == {"how much the service cures"}


def test_the_input_that_matters_most_stands_first() -> None:
    sways = service_money((F,), PRICE, SHARES).sways
    widths = [s.high - s.low for s in sways]
    assert widths == sorted(widths, reverse=True)
    assert "share of bad parts as it is" in {s.name for s in sways[:2]}
    assert all(s.low <= s.high for s in sways)


def test_families_are_taken_together_unless_they_differ() -> None:
    dear = replace(F, name="dear", scrap=20_000.0, out_now=8, of_now=23)
    cheap = replace(F, name="cheap", out_now=8, of_now=23)
    together = service_money((dear, cheap), PRICE, SHARES)
    apart = service_money((replace(dear, out_now=0), replace(cheap, out_now=16)), PRICE, SHARES)
    assert apart.saving.p50 < 0.5 * together.saving.p50


def test_impossible_cases_are_refused() -> None:
    with pytest.raises(SpcError, match="add to 1"):
        service_money((F,), PRICE, {"rehone": 0.5})
    with pytest.raises(SpcError, match="family"):
        service_money((), PRICE, SHARES)
    with pytest.raises(SpcError, match="no part judged"):
        service_money((replace(F, of_then=0),), PRICE, SHARES)
    with pytest.raises(SpcError, match="needs no case"):
        service_money((F,), Price(0.0, 0.0, 65.0, done=True), SHARES)


def test_what_is_known_exactly_sways_nothing_and_what_is_known_worse_widens_the_range() -> None:
    sure = service_money((F,), PRICE, SHARES, doubt=Doubt(amounts=0.0, followed=1e9, cure=(1.0, 1.0)))
    width = {s.name: s.high - s.low for s in sure.sways}
    assert not set(width) & {"amounts of the plan", "how much the service cures", "hours the machine stands"}
    assert width.get("what becomes of a bad part", 0.0) < 0.01
    usual = service_money((F,), PRICE, SHARES)
    worse = service_money((F,), PRICE, SHARES, doubt=Doubt(amounts=0.8, followed=5.0))
    spans = [m.payback.p90 / m.payback.p10 for m in (sure, usual, worse)]
    assert spans == sorted(spans)
    assert spans[2] > 1.2 * spans[1]


@pytest.mark.parametrize(
    "doubt",
    [
        Doubt(amounts=-0.1),
        Doubt(amounts=1.0),
        Doubt(followed=0.0),
        Doubt(cure=(0.9, 0.5)),
        Doubt(cure=(0.5, 1.2)),
    ],
)
def test_a_doubt_that_cannot_be_is_refused(doubt: Doubt) -> None:
    with pytest.raises(SpcError, match="off by a share"):
        service_money((F,), PRICE, SHARES, doubt=doubt)
