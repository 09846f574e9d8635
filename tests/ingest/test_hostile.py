"""Cells that mean harm: formulas, markup, names of paths. Stored as text, exported harmless, shown as text."""

import csv
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from dashboard.desk import Desk
from dashboard.pages import intake
from ingest.intake.receipt import IncomingFile
from ingest.shop.shop import Shop
from ingest.views.export import harmless
from tests.ingest.small_shop import BORES
from tests.ingest.small_shop import csv as export_of

FORMULAS = ("=1+1", "+cmd|' /C calc'!A0", "-2+3+cmd", "@SUM(A1)", "\t=1", '=HYPERLINK("http://x")', "＝1+1")
MARKUP = ("<script>alert(1)</script>", "<img src=x onerror=alert(1)>", "[x](javascript:alert(1))")
NAMES = (
    "../../etc/passwd",
    "..\\..\\x.csv",
    "/etc/passwd",
    "C:\\x.csv",
    "a/b.csv",
    "",
    ".",
    "CON",
    "x\0y",
    "<b>x</b>.csv",
)


def row(serial: str, who: str) -> str:
    cell = '"' + who.replace('"', '""') + '"'
    return f"1,2025-03-03 08:30:00,{serial},C1T,-0.3,90.010,B1,{cell}"


@pytest.mark.parametrize("text", FORMULAS)
def test_a_formula_is_kept_as_text_and_exported_harmless(text: str, shop: Shop, tmp_path: Path) -> None:
    shop.take_in([export_of("f.csv", BORES, [row("S0001", text), row(text, "AB")])])
    view = shop.part("S0001")
    assert view is not None
    assert [r.operator for r in view.readings] == [text.strip()]
    assert [f.line for f in shop.set_aside_rows() if not f.stored] == [3]
    target = tmp_path / "out.csv"
    assert shop.export(target) == 1
    with target.open(encoding="utf-8-sig", newline="") as file:
        rows = [*csv.DictReader(file)]
    assert rows[0]["operator"] == "'" + text.strip()
    assert rows[0]["as_written"] == "-0.3", "a number stays a number"
    with pytest.raises(FileExistsError):
        shop.export(target)


@given(st.text(max_size=20))
def test_no_exported_text_begins_a_formula(text: str) -> None:
    told = harmless(text)
    assert told in (text, f"'{text}")
    if told[:1] in ("=", "+", "-", "@", "\t", "\r"):
        float(told.replace(",", "."))  # only a number may


@pytest.mark.parametrize("text", MARKUP)
def test_markup_in_any_cell_is_shown_as_text(text: str, shop: Shop) -> None:
    shop.take_in([export_of(f"{text}.csv", BORES, [row(text, "AB"), row("S0001", text)])])
    page = str(intake.draw(Desk(shop)))
    assert text.replace("<", "&lt;").split("(")[0].split("=")[0].split(">")[0] in page
    for tagged in ("<script", "<img", 'href="javascript'):
        assert tagged not in page.lower()


@pytest.mark.parametrize("name", NAMES)
def test_a_file_name_cannot_leave_the_folder(name: str, shop: Shop, tmp_path: Path) -> None:
    before = {p for p in tmp_path.rglob("*") if not p.is_relative_to(shop.folder)}
    receipt = shop.take_in([IncomingFile(name, export_of("x", BORES, [row("S0001", "AB")]).data)])[0]
    assert receipt.status == "taken"
    assert {p for p in tmp_path.rglob("*") if not p.is_relative_to(shop.folder)} == before
    kept = [*(shop.folder / "archive").glob("*/*.csv")]
    assert [p.stem for p in kept] == [receipt.sha256]
    folder = shop.folder
    shop.backup(tmp_path / "b.tar.gz")
    shop.close()
    again, equal = Shop.restore(tmp_path / "b.tar.gz", tmp_path / "again")
    assert equal
    with Shop.open(folder) as first:
        assert again.receipts()[0].name == first.receipts()[0].name
    again.close()
