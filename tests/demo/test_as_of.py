"""What `status --as-of D` says is what a shop said that had received only what was known by D, byte for byte."""

from collections.abc import Iterator
from datetime import date, datetime, time
from itertools import groupby
from pathlib import Path

import pytest

import sample_data
from dashboard.commands.demo import decide
from dashboard.work.status import as_json
from ingest.intake.receipt import IncomingFile
from ingest.shop.shop import Shop

DAYS = (
    date(2024, 10, 8),
    date(2024, 12, 31),
    date(2025, 4, 25),
    date(2025, 5, 30),
    date(2025, 7, 25),
    date(2025, 8, 29),
)


def lived(folder: Path) -> Iterator[tuple[date, str]]:
    """A shop whose clock goes from day to day, told of each file and decision when it came; its status each day."""
    text = sample_data.plan_path().read_text(encoding="utf-8")
    deliveries, decisions = sample_data.deliveries(), sample_data.decisions()
    stands = "now = 2025-11-03T07:00:00"
    assert stands in text
    shop = Shop.create(folder, text, known_at=deliveries[0].known_at)
    told = datetime.min.replace(tzinfo=deliveries[0].known_at.tzinfo)
    for day in DAYS:
        end = datetime.combine(day, time(23, 59, 59), tzinfo=shop.plan.zone)
        for decision in [*(d for d in decisions if told < d.at <= end), None]:
            until = decision.at if decision else end
            coming = [d for d in deliveries if told < d.known_at <= until]
            batches = [
                (known_at, [IncomingFile(d.name, d.path.read_bytes()) for d in group])
                for known_at, group in groupby(coming, key=lambda delivery: delivery.known_at)
            ]
            if batches:
                shop.take_in_batches(batches)
            told = until
            if decision:
                decide(shop, decision)
        shop.accept_plan(text.replace(stands, f"now = {day}T23:59:59"), known_at=end)
        yield day, as_json(shop.board(), shop.plan)
    shop.close()


def test_a_past_day_reads_as_it_read_then(demo_shop: Shop, tmp_path: Path) -> None:
    for day, then in lived(tmp_path / "lived"):
        now = as_json(demo_shop.board(as_of=day), demo_shop.plan)
        assert now == then, f"{day}:\n" + "\n".join(
            f"- {a}\n+ {b}" for a, b in zip(now.splitlines(), then.splitlines(), strict=False) if a != b
        )
        assert then.count("\n") > 10


@pytest.mark.slow
def test_the_database_is_made_again_equal_from_archive_journal_and_plans(
    demo_folder: Path, tmp_path: Path
) -> None:
    import shutil

    folder = tmp_path / "shop"
    shutil.copytree(demo_folder, folder)
    with Shop.open(folder) as shop:
        before, board = shop.digest(), as_json(shop.board(), shop.plan)
    with Shop.rebuild(folder) as shop:
        assert shop.digest() == before
        assert as_json(shop.board(), shop.plan) == board
