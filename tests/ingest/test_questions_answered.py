"""What looks odd is asked once, counts until somebody decides, and a person's word settles it."""

from datetime import datetime, timedelta

import pytest

from ingest.shop.shop import Shop, ShopError
from tests.ingest.small_shop import BORES, csv, day_files, parts

KNOWN = datetime(2025, 3, 10, 9)  # noqa: DTZ001 - shop time
START = datetime(2025, 3, 3, 9)  # noqa: DTZ001 - shop time
PLACES = ("C1T", "C1B", "C2T", "C2B")


def readings(n: int, dev: str = "-0.3") -> list[str]:
    """Rows of one gauge, all with the same number."""
    return [
        f"{900 + i},{START + timedelta(minutes=i)},S0001,{PLACES[i % 4]},{dev},90.010,B1,AB" for i in range(n)
    ]


def taken(shop: Shop, rows: list[str]) -> int:
    shop.take_in_batches(day_files(parts(6)))
    receipt = shop.take_in([csv("again.csv", BORES, rows)], known_at=KNOWN)[0]
    assert receipt.lines.stored == len(rows)
    return receipt.id


def kinds(shop: Shop) -> list[str]:
    return [q.kind for q in shop.questions()]


def test_fifteen_equal_readings_raise_a_question_and_count(shop: Shop) -> None:
    receipt = taken(shop, readings(15))
    question = shop.questions()[0]
    assert (question.kind, question.receipt, question.line) == ("stuck_gauge", receipt, 2)
    assert "15 times" in question.text
    assert shop.set_aside_rows(receipt) == []


def test_fourteen_equal_readings_are_no_question(shop: Shop) -> None:
    taken(shop, [*readings(14), readings(15, "-0.4")[14]])
    assert kinds(shop) == []


def test_a_person_says_it_is_right_and_is_not_asked_again(shop: Shop) -> None:
    receipt = taken(shop, readings(16))
    board = shop.board()
    done = shop.judge_rows(receipt, True, "measured again, they are alike", "AB", lines=[2])
    assert kinds(shop) == []
    assert shop.board() == board
    folder, digest = shop.folder, shop.digest()
    shop.close()
    with Shop.rebuild(folder) as again:
        assert again.digest() == digest
        assert kinds(again) == []
        again.undo(done.journal_lines[0], "AB", "not sure after all")
        assert kinds(again) == ["stuck_gauge"]


def test_a_whole_file_that_counts_is_rejected_and_taken_back(shop: Shop) -> None:
    receipt = taken(shop, readings(16))
    done = shop.judge_rows(receipt, False, "the gauge was stuck", "AB", everything=True)
    assert done.rows == 16
    assert {f.kind for f in shop.set_aside_rows(receipt)} == {"rejected"}
    assert len(shop.set_aside_rows(receipt)) == 16
    assert kinds(shop) == []
    folder, digest = shop.folder, shop.digest()
    shop.close()
    with Shop.rebuild(folder) as again:
        assert again.digest() == digest
        again.undo(done.journal_lines[0], "AB", "it was not")
        assert again.set_aside_rows(receipt) == []


def test_one_reading_that_counts_is_rejected(shop: Shop) -> None:
    receipt = taken(shop, readings(3))
    shop.judge_rows(receipt, False, "the wrong bore", "AB", lines=[3])
    assert [(f.line, f.kind) for f in shop.set_aside_rows(receipt)] == [(3, "rejected")]


def test_a_line_that_is_not_there_is_still_refused(shop: Shop) -> None:
    receipt = taken(shop, readings(3))
    with pytest.raises(ShopError, match="Line 77"):
        shop.judge_rows(receipt, False, "typing", "AB", lines=[3, 77])
    assert shop.set_aside_rows(receipt) == []


def test_everything_means_rows_that_count_and_rows_that_do_not(shop: Shop) -> None:
    shop.take_in_batches(day_files(parts(6)))
    rows = [*readings(2), readings(3)[2].replace("-0.3", "999")]
    receipt = shop.take_in([csv("again.csv", BORES, rows)], known_at=KNOWN)[0].id
    assert shop.judge_rows(receipt, False, "a trial", "AB", everything=True).rows == 3
    assert [f.kind for f in shop.set_aside_rows(receipt)] == ["rejected"] * 3
