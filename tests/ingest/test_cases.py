"""Damaged exports kept as files: each gets exactly what the list beside them says, and never a wrong number."""

import tomllib
from decimal import Decimal
from pathlib import Path

import pytest

from tests.ingest.desk import CASES, Desk, lines_in

EXPECTED = tomllib.loads((CASES / "expected.toml").read_text(encoding="utf-8"))


def test_every_kept_file_belongs_to_a_case() -> None:
    named = {step["file"] for case in EXPECTED.values() for step in case["files"]}
    assert named == {path.name for path in CASES.glob("*.csv")}


@pytest.mark.parametrize("case", EXPECTED)
def test_damaged_export(case: str, tmp_path: Path) -> None:
    desk = Desk(tmp_path)
    for step in EXPECTED[case]["files"]:
        data = (CASES / step["file"]).read_bytes()
        receipt = desk.take((step["file"], data))[0]
        values = desk.rows("select value from reading where receipt = $1", receipt.id)
        if receipt.already:
            assert step["refused"] == "already_ingested"
            continue
        assert len(values) == step["stored"]
        assert desk.aside(receipt.id) == step.get("set_aside", {})
        assert (receipt.reason or "") == step.get("refused", "")
        assert set(step.get("warnings", ())) <= set(receipt.warnings)
        assert receipt.lines.balances
        assert receipt.cells.balances
        if "sum_um" in step:
            total = sum((Decimal(repr(value)) for (value,) in values), Decimal(0))
            assert abs(total - Decimal(step["sum_um"])) <= Decimal("1e-6")
        if receipt.status == "taken":
            utf16 = data.startswith(b"\xff\xfe")
            assert receipt.lines.total == lines_in(data.decode("utf-16").encode() if utf16 else data)
        assert desk.archive.read(receipt.sha256) == data
        again = desk.take(("another name.csv", data))[0]
        assert again.already
        assert again.id == receipt.id
    desk.close()


def test_every_thing_set_aside_says_what_to_do(tmp_path: Path) -> None:
    desk = Desk(tmp_path)
    desk.take(*((path.name, path.read_bytes()) for path in sorted(CASES.glob("*.csv"))))
    rows = desk.rows("select line, text, reason, remedy from set_aside")
    assert len(rows) > 40
    for line, text, reason, remedy in rows:
        assert line >= 1
        assert text
        assert reason.endswith(".")
        assert remedy.endswith(".")
    desk.close()


@pytest.mark.parametrize(
    ("case", "utc"),
    [
        ("time_offsets_and_z", ["13:00", "13:01", "13:02"]),
        ("time_am_pm", ["04:05", "13:05", "16:05", "19:05"]),
        ("time_dst_fold", ["04:50", "05:30", "05:50", "06:10", "06:40", "07:10"]),
    ],
)
def test_instants_of_odd_clocks(case: str, utc: list[str], tmp_path: Path) -> None:
    desk = Desk(tmp_path)
    desk.one((CASES / f"{case}.csv").read_bytes())
    assert [t.strftime("%H:%M") for (t,) in desk.rows("select time from reading order by id")] == utc
    desk.close()


def test_day_first_is_proved_by_the_file(tmp_path: Path) -> None:
    desk = Desk(tmp_path)
    desk.one((CASES / "time_day_first_provable.csv").read_bytes())
    days = desk.rows("select strftime(time, '%m-%d') from reading order by id")
    assert [day for (day,) in days] == ["02-03", "02-25", "02-04"]
    desk.close()
