"""Files that are wrong on purpose."""

import csv
from collections import Counter
from datetime import datetime, timedelta
from pathlib import Path

import numpy as np
import pytest

import sample_data
from sample_data.exports import Export
from sample_data.make import exports_of, work
from sample_data.shop import Shop


@pytest.fixture(scope="module")
def right() -> dict[str, Export]:
    """The same files before any trap is set, by name."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr("sample_data.make.set_traps", lambda exports: exports)
        shop: Shop = work(sample_data.SEED)
        return {export.name: export for export in exports_of(shop)}


def _kept(name: str) -> Path:
    return sample_data.folder() / "exports" / name[:7] / name


def _rows(name: str, skip: int = 0, separator: str = ",") -> list[dict[str, str]]:
    lines = _kept(name).read_text(encoding="utf-8").splitlines()[skip:]
    return list(csv.DictReader(lines, delimiter=separator))


def _changed(right: dict[str, Export], day: str) -> list[str]:
    """Names of the files of a day that are not as they should be."""
    return [
        name for name, export in right.items()
        if name.startswith(day) and _kept(name).read_bytes() != export.text().encode()
    ]  # fmt: skip


def test_only_the_files_of_the_trap_days_are_wrong(right):
    wrong = {n[:10] for n, e in right.items() if _kept(n).read_bytes() != e.text().encode()}
    assert wrong == {
        "2024-10-08", "2025-01-14", "2025-03-11", "2025-04-02", "2025-05-20", "2025-06-30", "2025-09-17",
    }  # fmt: skip


def test_inch_under_a_column_that_says_thou(right):
    (name,) = _changed(right, "2024-10-08")
    pairs = [
        (float(good["dev_thou"]), float(bad["dev_thou"]))
        for good, bad in zip(right[name].rows, _rows(name), strict=True)
        if good["dev_thou"] not in ("", "999")
    ]
    assert len(pairs) > 20
    assert all(bad == pytest.approx(good / 1000, abs=1e-9) for good, bad in pairs)


def test_the_same_rows_under_another_name(right):
    day = "2024-12-05"
    copies = [d for d in sample_data.deliveries() if d.name.startswith(day) and "copy" in d.name]
    assert len(copies) == 1
    first = right[copies[0].name.replace(" copy", "")]
    again = copies[0].path.read_bytes()
    assert again.decode().splitlines() == first.text().splitlines()
    assert again != first.text().encode()
    assert copies[0].known_at > first.known_at + timedelta(hours=12)


def test_microinch_named_in_the_preamble_only(right):
    (name,) = _changed(right, "2025-01-14")
    assert _kept(name).read_text(encoding="utf-8").splitlines()[:2] == ["tester: PF1", "unit: uin"]
    good = np.array([float(r["Ra"]) for r in right[name].rows if r["Ra"] not in ("", "999")])
    bad = np.array([float(r["Ra"]) for r in _rows(name, skip=2) if r["Ra"] not in ("", "999")])
    assert bad * 0.0254 == pytest.approx(good, abs=0.0254 / 20 + 1e-9)


def test_decimal_commas_and_two_points_exchanged_on_six_blocks(right):
    (name,) = _changed(right, "2025-03-11")
    good, bad = right[name].rows, _rows(name, separator=";")
    assert all("," in row["z_mm"] for row in bad if row["z_mm"] not in ("", "999"))
    moved = {b["block"] for g, b in zip(good, bad, strict=True) if g["point"] != b["point"]}
    assert len(moved) == 6
    for g, b in zip(good, bad, strict=True):
        swap = {"D3": "D4", "D4": "D3"} if b["block"] in moved else {}
        assert b["point"] == swap.get(g["point"], g["point"])
        assert b["z_mm"].replace(",", ".") == g["z_mm"]


def test_sign_turned_round_for_one_machinist(right):
    (name,) = _changed(right, "2025-04-02")
    turned = Counter()
    for good, bad in zip(right[name].rows, _rows(name), strict=True):
        if good["dev_thou"] in ("", "999", "0.0"):
            assert bad["dev_thou"] == good["dev_thou"]
        elif good["dev_thou"] == bad["dev_thou"]:
            turned[bad["who"], False] += 1
        else:
            assert float(bad["dev_thou"]) == -float(good["dev_thou"])
            turned[bad["who"], True] += 1
    who = {name for name, was in turned if was}
    assert len(who) == 1
    assert not any(name in who for name, was in turned if not was)
    assert sum(n for (_, was), n in turned.items() if was) > 15


def test_letter_in_a_block_number(right):
    (name,) = _changed(right, "2025-05-20")
    wrong = [(g["block"], b["block"]) for g, b in zip(right[name].rows, _rows(name), strict=True)]
    assert {pair for pair in wrong if pair[0] != pair[1]} == {("QB-25-0512", "QB-25-O512")}


def test_a_clock_an_hour_behind(right):
    (name,) = _changed(right, "2025-06-30")
    for good, bad in zip(right[name].rows, _rows(name), strict=True):
        behind = datetime.fromisoformat(good["stamp"]) - datetime.fromisoformat(bad["stamp"])
        assert behind == timedelta(hours=1)
        assert bad["seq"] == good["seq"]


def test_caps_loose_and_read_again(right):
    names = _changed(right, "2025-09-17")
    assert {n[11:] for n in names} == {"MG1.csv", "jobs.csv"}
    mains = next(n for n in names if "MG1" in n)
    read = Counter((r["block"], r["place"], r["dir"]) for r in _rows(mains))
    before = Counter((r["block"], r["place"], r["dir"]) for r in right[mains].rows)
    again = read - before
    assert {key[1] for key in again} == {"M2", "M3"}
    block = next(iter(again))[0]
    for place in ("M2", "M3"):
        values = [
            r["dev_thou"] for r in _rows(mains) if (r["block"], r["place"], r["dir"]) == (block, place, "V")
        ]
        assert float(values[0]) - float(values[-1]) == pytest.approx(18 / 25.4, abs=0.051)
    (note,) = [r["note"] for r in _rows(next(n for n in names if "jobs" in n)) if "re-torqued" in r["note"]]
    assert note == "caps 2 and 3 loose, re-torqued and read again"
    numbers = [int(r["seq"]) for r in _rows(mains)]
    assert numbers == list(range(numbers[0], numbers[0] + len(numbers)))
