"""What was said first, and what was withdrawn, survives bulk intake and rebuild."""

from collections.abc import Sequence
from dataclasses import replace
from datetime import datetime
from pathlib import Path

from ingest.intake.receipt import IncomingFile
from ingest.shop.shop import Shop
from tests.ingest.small_shop import BORES, JOBS, PLAN, csv, day_files, parts

PROCESS = "H1/hone/size"
BEGIN = datetime(2025, 2, 1, 8)  # noqa: DTZ001 - shop time


def late_history() -> list[tuple[datetime, Sequence[IncomingFile]]]:
    """Parts that jump, and after a signal was raised the files of an earlier, restless month."""
    made = [replace(p, machine="H1", family="F4") for p in parts(28, seed=3, sd=0.8)]
    made = [replace(p, deviation=p.deviation + (7.0 if i >= 14 else 0.0)) for i, p in enumerate(made)]
    missing = [
        replace(p, serial=f"S1{i:03d}", machine="H1", family="F4", deviation=(-1) ** i * 9.0)
        for i, p in enumerate(parts(24, seed=4, start=datetime(2025, 2, 3, 8)))  # noqa: DTZ001
    ]
    rows = [row for p in missing for row in p.readings()]
    late = [csv("late_jobs.csv", JOBS, [p.job() for p in missing]), csv("late.csv", BORES, rows)]
    batches = day_files(made)
    return [*batches[:-1], (batches[-1][0].replace(hour=6), late), batches[-1]]


def told(shop: Shop) -> tuple[list[str], list[str], list[str]]:
    view = shop.process(PROCESS)
    assert view is not None
    withdrawn = [f"{s.monitor} {s.serial} {s.withdrawn_by}" for s in view.signals if s.status == "withdrawn"]
    return (
        [str(p.first_verdict) for p in view.parts],
        sorted(withdrawn),
        [f"{s.monitor} {s.serial} {s.status}" for s in view.signals if s.status != "withdrawn"],
    )


def test_one_by_one_all_at_once_and_rebuilt_tell_the_same_history(tmp_path: Path) -> None:
    batches = late_history()
    with Shop.create(tmp_path / "one", PLAN, BEGIN) as shop:
        for known_at, files in batches:
            shop.take_in(files, known_at)
        expected = told(shop)
    assert any("late.csv" in line for line in expected[1])
    assert any(first != "None" for first in expected[0])
    with Shop.create(tmp_path / "bulk", PLAN, BEGIN) as shop:
        shop.take_in_batches(batches)
        assert told(shop) == expected
        digest = shop.digest()
    with Shop.rebuild(tmp_path / "one") as shop:
        assert told(shop) == expected
        assert shop.digest() == digest
