"""`check FILE`: what each column becomes, which layouts are near, and a draft that a person can accept."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from tests.dashboard.test_cli import CALM, gauge_file, run


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    place = tmp_path / "shop"
    assert run("new", place).exit_code == 0
    return place


@pytest.fixture
def bores(tmp_path: Path) -> Path:
    return gauge_file(tmp_path / "bores.csv", CALM[:3])


def layout_of(folder: Path, bores: Path) -> str:
    return run("check", bores, "--folder", folder).stdout.split("layout '")[1].split("'")[0]


def test_every_column_of_the_first_rows_is_shown_with_what_it_becomes(folder: Path, bores: Path) -> None:
    key = layout_of(folder, bores)
    done = run("check", bores, "--layout", key, "--folder", folder)
    assert done.exit_code == 0, done.output
    first = done.stdout.split("line 2")[1].split("line 3")[0]
    assert "'A1000'" in first and "-> A1000" in first
    assert "2025-01-01 09:01:00 shop time" in first
    assert "from the set size" in first
    assert "main=1;direction=V" in first
    assert "30 rows read, 0 would be set aside" in done.stdout
    assert "Nothing was kept" in done.stdout
    assert "already taken in" not in run("ingest", bores, "--folder", folder).stdout


def test_a_row_that_would_be_set_aside_says_why(folder: Path, bores: Path) -> None:
    bores.write_text(bores.read_text(encoding="utf-8").replace("M1V", "Q9", 1), encoding="utf-8")
    done = run("check", bores, "--folder", folder)
    assert done.exit_code == 2
    assert "would be set aside: " in done.stdout and "Q9" in done.stdout
    assert run("check", bores, "--layout", "nothing", "--folder", folder).exit_code == 2


def test_an_unknown_file_names_the_nearest_layout_and_gets_a_draft(folder: Path, bores: Path) -> None:
    key = layout_of(folder, bores)
    text = bores.read_text(encoding="utf-8").replace("when,serial,", "time_of_day,serial,", 1)
    bores.write_text(text, encoding="utf-8")
    told = run("check", bores, "--folder", folder)
    assert told.exit_code == 2
    assert f"'{key}'" in told.stderr and "time_of_day" in told.stderr and "when" in told.stderr
    assert "--draft" in told.stderr
    waits = run("ingest", bores, "--folder", folder)
    assert waits.exit_code == 2 and "waits" in waits.stdout

    drafted = run("check", bores, "--draft", "bore_b", "--folder", folder)
    assert drafted.exit_code == 0, drafted.output
    assert "[layouts.bore_b]" in drafted.stdout and 'name = "time_of_day", is = "time"' in drafted.stdout
    plan = folder / "plan.toml"
    before = plan.read_text(encoding="utf-8")
    accepted = run("check", bores, "--draft", "bore_b", "--accept", "--folder", folder)
    assert accepted.exit_code == 0, accepted.output
    assert "The plan is accepted." in accepted.stdout and "30 of 31 lines stored" in accepted.stdout
    assert plan.read_text(encoding="utf-8").startswith(before.rstrip())
    assert json.loads(run("rows", "list", "--json", "--kind", "bad_number", "--folder", folder).stdout) == []
    assert run("check", bores, "--draft", "bore_b", "--folder", folder).exit_code == 2


def test_a_draft_says_what_is_not_known(folder: Path, tmp_path: Path) -> None:
    path = tmp_path / "new.csv"
    path.write_text(
        "Some gauge\nblock;moment;reading_mm;remark\nA1000;01.02.2025 10:00;12,5;ok\nA1001;01.02.2025 10:05;12,6;\n",
        encoding="utf-8",
    )
    drafted = run("check", path, "--draft", "gauge-2", "--folder", folder)
    assert drafted.exit_code == 0, drafted.output
    assert 'separator = ";"' in drafted.stdout and 'decimal = ","' in drafted.stdout
    assert 'is = "serial"' in drafted.stdout and 'form = "%d.%m.%Y %H:%M"' in drafted.stdout
    assert 'a number: is = "value", unit = "mm"' in drafted.stdout
    refused = run("check", path, "--draft", "gauge-2", "--accept", "--folder", folder)
    assert refused.exit_code == 2
    assert "The plan stays as it was." in refused.stderr and "plan.toml:" in refused.stderr
    assert "layouts.gauge-2" not in (folder / "plan.toml").read_text(encoding="utf-8")


@pytest.mark.parametrize("data", [b"", b"PK\x03\x04xx", b"1,2,3\n4,5,6\n", b"one line"])
def test_a_file_without_columns_gets_a_sentence(data: bytes, folder: Path, tmp_path: Path) -> None:
    path = tmp_path / "odd.csv"
    path.write_bytes(data)
    for words in (("--draft", "x"), ()):
        done = run("check", path, *words, "--folder", folder)
        assert done.exit_code == 2
        assert done.stderr.startswith("odd.csv: ")
        assert "Traceback" not in done.output
