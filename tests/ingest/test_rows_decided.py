"""What people decide about rows: used, rejected, written anew, corrected; through rebuilds and looks back."""

from datetime import datetime, timedelta

import pytest

from ingest.intake.receipt import IncomingFile, Receipt
from ingest.shop.shop import Shop, ShopError
from tests.ingest.small_shop import BORES, PLAN, THOU, csv, day_files, parts

DAYS = day_files(parts(6))
KNOWN = datetime(2025, 3, 10, 9)  # noqa: DTZ001 - shop time
LATER = KNOWN + timedelta(days=2)


def bores(*rows: str, name: str = "bad.csv") -> IncomingFile:
    return csv(name, BORES, list(rows))


def row(seq: int, place: str = "C1T", dev: str = "-0.3", gauge: str = "B1", serial: str = "S0001") -> str:
    return f"{seq},2025-03-03 08:{30 + seq % 30}:00,{serial},{place},{dev},90.010,{gauge},AB"


def taken(shop: Shop, file: IncomingFile) -> Receipt:
    shop.take_in_batches(DAYS)
    return shop.take_in([file], known_at=KNOWN)[0]


def deviations(shop: Shop, serial: str, *status: str) -> list[float]:
    """Deviations from the master that a part shows, in thou. [0.1 thou]"""
    view = shop.part(serial)
    assert view is not None
    return sorted(round((r.value - 90_010) / THOU, 2) for r in view.readings if r.status in status)


def kinds(shop: Shop, receipt: int) -> list[str]:
    return [fact.kind for fact in shop.set_aside_rows(receipt)]


def rebuilt(shop: Shop) -> Shop:
    folder = shop.folder
    shop.close()
    return Shop.rebuild(folder)


def test_a_line_written_anew_counts_and_the_first_stays(shop: Shop) -> None:
    bad = bores(row(900, dev="-0,,3"), row(901, "C1B", dev="-7.7"))
    receipt = taken(shop, bad)
    assert kinds(shop, receipt.id) == ["field_count"]
    before = shop.digest()
    done = shop.fix_row(receipt.id, 2, row(900, dev="-4.4"), "read off the sheet", "AB", known_at=LATER)
    assert done.receipts[0].lines.stored == 1
    assert -4.4 in deviations(shop, "S0001", "used", "repeat")
    assert kinds(shop, receipt.id) == []
    assert shop.source(receipt.id, 2).text == row(900, dev="-0,,3")
    new = done.receipts[0]
    assert shop.source(new.id, 3).text == row(900, dev="-4.4")
    told = next(e for e in shop.log() if e.journal_line == done.journal_lines[0])
    assert (told.who, told.detail) == ("AB", "read off the sheet")
    digest = shop.digest()
    again = rebuilt(shop)
    assert again.digest() == digest
    again.undo(done.journal_lines[0], "AB", "wrong sheet")
    assert -4.4 not in deviations(again, "S0001", "used", "repeat")
    assert kinds(again, receipt.id) == ["field_count"]
    assert again.digest() != before  # the decision and its undoing are part of the record
    redone = again.fix_row(receipt.id, 2, row(900, dev="-4.4"), "it was the right sheet", "AB")
    assert redone.receipts[0].lines.stored == 1
    assert -4.4 in deviations(again, "S0001", "used", "repeat")
    digest = again.digest()
    last = rebuilt(again)
    assert last.digest() == digest
    last.close()


def test_a_fix_that_cannot_be_stored_changes_nothing(shop: Shop) -> None:
    receipt = taken(shop, bores(row(900, dev="-0,,3")))
    lines = len(shop.log())
    with pytest.raises(ShopError, match="Z9"):
        shop.fix_row(receipt.id, 2, row(900, place="Z9"), "typing", "AB")
    with pytest.raises(ShopError, match="not among the rows set aside"):
        shop.fix_row(receipt.id, 7, row(900), "typing", "AB")
    with pytest.raises(ShopError, match="reason"):
        shop.fix_row(receipt.id, 2, row(900), " ", "AB")
    with pytest.raises(ShopError, match="no receipt 99"):
        shop.fix_row(99, 2, row(900), "typing", "AB")
    assert len(shop.log()) == lines
    assert kinds(shop, receipt.id) == ["field_count"]


def test_what_is_decided_later_was_not_known_before(shop: Shop) -> None:
    receipt = taken(shop, bores(row(900, dev="-0,,3")))
    then = shop.board(KNOWN)
    shop.fix_row(receipt.id, 2, row(900, dev="-4.4"), "read off the sheet", "AB", known_at=LATER)
    shop.correct_rows(receipt.id - 1, "operator", "CD", "AB was on leave", "AB", known_at=LATER)
    assert shop.board(KNOWN) == then


def test_of_two_values_a_person_chooses(shop: Shop) -> None:
    other = row(900).replace(",-0.3,", ",-0.9,")
    shop.take_in([bores(row(900), name="first.csv")], known_at=KNOWN)
    receipt = taken(shop, bores(other))
    assert kinds(shop, receipt.id) == ["duplicate_conflict"]
    done = shop.judge_rows(receipt.id, True, "the second export is right", "AB", known_at=LATER)
    assert -0.9 in deviations(shop, "S0001", "used", "repeat")
    assert deviations(shop, "S0001", "rejected") == [-0.3]
    assert kinds(shop, receipt.id) == []
    digest = shop.digest()
    again = rebuilt(shop)
    assert again.digest() == digest
    for line in done.journal_lines:
        again.undo(line, "AB", "no, the first")
    assert deviations(again, "S0001", "rejected") == []
    assert kinds(again, receipt.id) == ["duplicate_conflict"]
    again.close()


def test_a_whole_file_is_rejected_or_only_one_kind_of_row(shop: Shop) -> None:
    receipt = taken(shop, bores(row(900, dev="-0,,3"), row(901, dev="999"), row(902, place="Q1"), row(903)))
    assert sorted(kinds(shop, receipt.id)) == ["field_count", "overload_code", "unknown_position"]
    done = shop.judge_rows(receipt.id, False, "a trial", "AB", kind="overload_code")
    assert done.rows == 1
    assert sorted(kinds(shop, receipt.id)) == ["field_count", "rejected", "unknown_position"]
    shop.judge_rows(receipt.id, False, "all of it a trial", "AB")
    assert set(kinds(shop, receipt.id)) == {"rejected"}
    with pytest.raises(ShopError, match="cannot be used as it stands"):
        shop.judge_rows(receipt.id, True, "why not", "AB", lines=[2])


def test_rows_in_doubt_are_released_together(shop: Shop) -> None:
    receipt = taken(shop, bores(*(row(900 + n, f"C{n}T", dev="35.0") for n in range(1, 4))))
    assert kinds(shop, receipt.id) == ["implausible"] * 3
    assert shop.judge_rows(receipt.id, True, "bored out on purpose", "AB").rows == 3
    assert kinds(shop, receipt.id) == []
    assert deviations(shop, "S0001", "used").count(35.0) == 3


def test_a_unit_is_put_right_for_a_whole_file(shop: Shop) -> None:
    slipped = [row(900 + n, f"C{n}T", dev=f"-0.0003{n}") for n in range(1, 5)]
    receipt = taken(shop, bores(*slipped))
    assert set(kinds(shop, receipt.id)) == {"unit_scale"}
    shop.correct_rows(receipt.id, "unit", "inch", "the gauge was set to inch", "AB")
    assert kinds(shop, receipt.id) == []
    assert {-0.31, -0.32, -0.33, -0.34} <= set(deviations(shop, "S0001", "used"))
    with pytest.raises(ShopError, match="measures something else"):
        shop.correct_rows(receipt.id, "unit", "min", "typing", "AB")


def test_a_sign_is_put_right(shop: Shop) -> None:
    receipt = taken(shop, bores(row(900, dev="0.31")))
    shop.correct_rows(receipt.id, "sign", "turned", "the gauge counted the other way", "AB")
    assert -0.31 in deviations(shop, "S0001", "used")


def test_a_serial_is_put_right_and_the_first_stays_visible(shop: Shop) -> None:
    receipt = taken(shop, bores(row(900, serial="S00O1"), row(901, "C1B", serial="S0001")))
    assert kinds(shop, receipt.id) == ["serial_format"] or kinds(shop, receipt.id) == ["unknown_serial"]
    line = shop.correct_rows(receipt.id, "serial", "S0002", "tags were exchanged", "AB", lines=[3])
    view = shop.part("S0002")
    assert view is not None
    moved = [r for r in view.readings if r.receipt == receipt.id]
    assert [r.line for r in moved] == [3]
    assert "serial was S0001, corrected by AB: tags were exchanged" in (moved[0].note or "")
    digest = shop.digest()
    again = rebuilt(shop)
    assert again.digest() == digest
    again.undo(line, "AB", "they were not")
    back = again.part("S0001")
    assert back is not None
    assert [r.line for r in back.readings if r.receipt == receipt.id] == [3]
    again.close()


@pytest.mark.parametrize(
    ("field", "to", "said"),
    [
        ("family", "F9", "no family 'F9'"),
        ("machine", "X1", "no machine 'X1'"),
        ("colour", "red", "cannot be corrected"),
        ("serial", "  ", "Say what"),
        ("unit", "furlong", "furlong"),
    ],
)
def test_a_correction_must_be_legal(shop: Shop, field: str, to: str, said: str) -> None:
    receipt = taken(shop, bores(row(900)))
    with pytest.raises(ShopError, match=said):
        shop.correct_rows(receipt.id, field, to, "because", "AB")


def test_rows_of_an_unknown_gauge_count_when_the_plan_learns_it(shop: Shop) -> None:
    receipt = taken(shop, bores(row(900, dev="-1.1"), row(901, "C1B", dev="-1.2", gauge="B7")))
    assert kinds(shop, receipt.id) == ["unknown_gauge"]
    learned = PLAN.replace("[gauges.P1]", '[gauges.B7]\nname = "new bore gauge"\n\n[gauges.P1]')
    shop.accept_plan(learned, known_at=LATER)
    assert kinds(shop, receipt.id) == []
    assert {-1.1, -1.2} <= set(deviations(shop, "S0001", "used", "repeat"))
    newest = shop.receipts()[0]
    assert (newest.stored, newest.known, newest.set_aside) == (1, 1, 0)
    assert newest.lines == newest.stored + newest.known + newest.blank
    digest = shop.digest()
    again = rebuilt(shop)
    assert again.digest() == digest
    assert kinds(again, receipt.id) == []
    again.close()


def test_a_plan_that_answers_nothing_reads_nothing_again(shop: Shop) -> None:
    taken(shop, bores(row(901, "C1B", gauge="B7")))
    files = len(shop.receipts())
    shop.accept_plan(PLAN.replace('name = "hone one"', 'name = "hone 1"'), known_at=LATER)
    assert len(shop.receipts()) == files


def test_a_crash_between_journal_and_archive_loses_no_fix(shop: Shop) -> None:
    receipt = taken(shop, bores(row(900, dev="-0,,3")))
    shop.fix_row(receipt.id, 2, row(900, dev="-4.4"), "read off the sheet", "AB", known_at=LATER)
    digest, folder = shop.digest(), shop.folder
    shop.close()
    listed = folder / "archive" / "received.jsonl"
    lines = listed.read_bytes().splitlines(keepends=True)
    listed.write_bytes(b"".join(lines[:-1]))  # as if the program had ended before the file was archived
    again = Shop.rebuild(folder)
    assert again.digest() == digest
    assert -4.4 in deviations(again, "S0001", "used", "repeat")
    again.close()
