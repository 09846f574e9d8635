"""Damaged exports that only the plan as a whole, or the inbox, can tell: what counts, what is held and why."""

from collections import Counter
from collections.abc import Iterator
from datetime import UTC, datetime
from decimal import Decimal
from pathlib import Path

import pytest

from ingest.intake.receipt import IncomingFile
from ingest.shop.shop import Shop
from tests.ingest.desk import CASES

WHOLE = CASES / "whole"
RECEIVED = datetime(2026, 3, 12, 19, tzinfo=UTC)


@pytest.fixture
def shop(tmp_path: Path) -> Iterator[Shop]:
    plan = (CASES / "plan.toml").read_text(encoding="utf-8")
    opened = Shop.create(tmp_path / "shop", plan, known_at=datetime(2026, 3, 1, tzinfo=UTC))
    yield opened
    opened.close()


def counted(shop: Shop) -> list[Decimal]:
    """Values of every reading that counts. [µm]"""
    view = shop.part("A1001")
    readings = view.readings if view is not None else ()
    return [Decimal(repr(r.value)) for r in readings if r.status in ("used", "repeat", "waiting")]


@pytest.mark.parametrize(
    ("case", "counts", "held", "total", "factor"),
    [
        ("number_mm_labelled_inch", 3, 3, "201259.44", "1/25.4"),
        ("number_thou_labelled_inch", 0, 6, "0", "1/1000"),
        ("number_ten_times_slip", 4, 2, "268348.46", None),
    ],
)
def test_a_value_beyond_belief_does_not_count_and_says_what_it_may_be(
    case: str, counts: int, held: int, total: str, factor: str | None, shop: Shop
) -> None:
    data = (WHOLE / f"{case}.csv").read_bytes()
    receipt = shop.take_in([IncomingFile("x.csv", data)], known_at=RECEIVED)[0]
    assert receipt.lines.balances
    rows = shop.set_aside_rows()
    assert Counter(row.kind for row in rows) == {"implausible": held}
    values = counted(shop)
    assert len(values) == counts
    assert abs(sum(values, Decimal(0)) - Decimal(total)) <= Decimal("1e-6")
    if factor is not None:
        assert {row.suggestion for row in rows} == {factor}
        assert all(f"times {factor} it would fit" in row.reason for row in rows)
    # released by a person they count as written: nothing is ever changed silently
    shop.judge_rows(receipt.id, True, "measured again", "JM")
    assert len(counted(shop)) == counts + held


def test_the_unit_of_rows_in_millimetres_is_put_right(shop: Shop) -> None:
    data = (WHOLE / "number_mm_labelled_inch.csv").read_bytes()
    receipt = shop.take_in([IncomingFile("x.csv", data)], known_at=RECEIVED)[0]
    lines = [row.line for row in shop.set_aside_rows(receipt.id)]
    shop.correct_rows(receipt.id, "unit", "mm", "the gauge was set to mm", "JM", lines=lines)
    assert shop.set_aside_rows() == []
    assert all(66_040 < value < 68_072 for value in counted(shop))
    assert len(counted(shop)) == 6


def test_a_file_still_being_written_is_taken_in_once_whole(shop: Shop) -> None:
    target = shop.folder / "inbox" / "g.csv"
    for step in (1, 2):
        target.write_bytes((WHOLE / f"sequence_growing_file_{step}.csv").read_bytes())
        assert shop.scan_inbox() == []
        assert shop.inbox.growing == ("g.csv",)
    receipt = shop.scan_inbox()[0]
    assert (receipt.lines.stored, receipt.lines.set_aside) == (6, 0)
    assert abs(sum(counted(shop), Decimal(0)) - Decimal("402521.42")) <= Decimal("1e-6")
