"""How many of the latest delivered parts lay beyond a limit."""

from collections.abc import Iterator
from datetime import UTC, date, datetime, timedelta
from pathlib import Path

import pytest

from ingest.answers.processes import BeyondFact
from ingest.shop.shop import Shop
from tests.ingest.small_shop import BORES, JOBS, PLAN, Made, csv

START = datetime(2025, 3, 3, 8)  # noqa: DTZ001 - shop time
KNOWN = datetime(2025, 6, 2, tzinfo=UTC)


@pytest.fixture
def shop(tmp_path: Path) -> Iterator[Shop]:
    with Shop.create(tmp_path / "shop", PLAN, known_at=datetime(2025, 1, 1, tzinfo=UTC)) as made:
        yield made


def taken(shop: Shop, made: list[Made]) -> BeyondFact | None:
    rows = [row for i, part in enumerate(made) for row in part.readings(seq=1000 * i)]
    jobs = [part.job() for part in made]
    shop.take_in([csv("jobs.csv", JOBS, jobs), csv("bores.csv", BORES, rows)], known_at=KNOWN)
    return next(row for row in shop.board() if row.process == "H1/hone/size").beyond


def sound(n: int) -> list[Made]:
    return [
        Made(f"S{i + 1:04d}", "F4", "H1", START + timedelta(hours=24 * i), 0.1 * (i % 3)) for i in range(n)
    ]


def test_nothing_is_told_of_parts_within_their_limits(shop: Shop) -> None:
    assert taken(shop, sound(12)) is None


def test_parts_beyond_are_counted_by_side_with_their_latest_day(shop: Shop) -> None:
    made = sound(12)
    made[3].deviation, made[5].deviation, made[8].deviation = 14.0, 15.0, -14.0
    found = taken(shop, made)
    assert found is not None
    assert (found.feature, found.parts, found.of, found.above, found.below) == ("size", 3, 12, 2, 1)
    assert found.latest == date(2025, 3, 11)
    assert found.offset == pytest.approx(sum(part.deviation for part in made) / 12, abs=1.5)


def test_a_part_put_right_in_a_second_pass_does_not_count(shop: Shop) -> None:
    made = sound(12)
    made[5].deviation = -15.0
    again = Made("S0006", "F4", "H1", made[5].ended + timedelta(hours=3), 0.0, number=2)
    assert taken(shop, [*made, again]) is None


def test_only_the_latest_forty_count(shop: Shop) -> None:
    made = sound(50)
    made[2].deviation = made[30].deviation = 15.0
    found = taken(shop, made)
    assert found is not None and (found.parts, found.of) == (1, 40)
