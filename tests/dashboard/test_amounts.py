"""Sizes, days and rarities as people read them."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from dashboard.words.amounts import age, amount, by_chance, number, rarity, size
from spc.units import to_base


@pytest.mark.parametrize(
    ("value", "unit", "places", "told"),
    [
        (2.54, "thou", 2, "0.10 thou"),
        (-2.54, "thou", 2, "\u22120.10 thou"),
        (0.254, "thou", 1, "0.01 thou"),
        (0.0, "thou", 2, "0.00 thou"),
        (0.42, "um", 2, "0.42 µm"),
        (0.42, "uin", 0, "17 µin"),
        (4.4, "min", 1, "4.4 min"),
        (float("nan"), "um", 1, "– µm"),
    ],
)
def test_a_size_is_written_in_its_unit(value: float, unit: str, places: int, told: str) -> None:
    assert amount(value, unit, places) == told


def test_a_plus_sign_is_written_on_request_only() -> None:
    assert number(2.54, "thou", 1, signed=True) == "+0.1"
    assert number(2.54, "thou", 1) == "0.1"


@given(st.floats(-1e6, 1e6), st.sampled_from(["thou", "um", "mm", "in"]), st.integers(0, 4))
def test_what_is_shown_is_never_further_off_than_half_its_last_place(
    shown: float, unit: str, places: int
) -> None:
    text = number(to_base(shown, unit), unit, places).replace("\u2212", "-")
    assert abs(float(text) - shown) <= 0.5 * 10**-places * (1 + 1e-9) + 1e-9 * abs(shown)


def test_whole_sizes_are_written_in_the_coarser_unit() -> None:
    assert size(63770.0, "thou", 2) == "2.51063 in"
    assert size(219640.0, "um", 0) == "219.640 mm"
    assert size(12.7, "thou", 1) == "0.5 thou"


@pytest.mark.parametrize(
    ("days", "told"),
    [
        (1.0, "every day"),
        (20.0, "about once in 20 days"),
        (14 * 30.4, "about once in 14 months"),
        (5 * 364.8, "about once in 5 years"),
        (1e9, "less than once in 100 years"),
        (None, "rarer than can be told"),
    ],
)
def test_rarity_is_told_in_the_unit_people_think_in(days: float | None, told: str) -> None:
    assert rarity(days) == told


def test_age_grows_from_minutes_to_months() -> None:
    now = datetime(2026, 3, 10, tzinfo=UTC)
    ages = [age(now - timedelta(minutes=m), now) for m in (0, 30, 600, 14400, 144000)]
    assert ages == ["just now", "30 minutes ago", "10 hours ago", "10 days ago", "3 months ago"]
    assert age(None, now) == "never"


@pytest.mark.parametrize(
    ("days", "told"),
    [
        (44.0, "could be chance, which shows as much about once in 44 days"),
        (570.0, "hardly chance, which shows as much about once in 19 months"),
        (2000.0, "hardly chance, which shows as much about once in 5 years"),
        (3700.0, "not chance"),
        (36525.0, "not chance"),
        (None, "not chance"),
    ],
)
def test_chance_is_weighed_in_words(days: float | None, told: str) -> None:
    assert by_chance(days) == told
