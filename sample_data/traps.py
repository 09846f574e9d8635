"""Files that are wrong in ways that real exports are wrong, on fixed days."""

from __future__ import annotations

import copy
from collections import Counter
from collections.abc import Callable
from datetime import date, datetime, timedelta

from sample_data.arrivals import BORE_DAYS, SWAP_BLOCKS, SWAP_DAY, TYPO_DAY, TYPO_NUMBER
from sample_data.exports import Export
from sample_data.gauges import GAUGES, THOU
from sample_data.readings import moment
from sample_data.scatter import NO_READING

INCH_DAY, TWICE_DAY, SIGN_DAY, CLOCK_DAY = BORE_DAYS
MICROINCH_DAY = date(2025, 1, 14)
LOOSE_CAPS_DAY = date(2025, 9, 17)
LOOSE_CAPS = 18.0  # µm the vertical bores read large
LOOSE_MAINS = ("M2", "M3")
MICROINCH = 0.0254  # µm


def set_traps(exports: list[Export]) -> list[Export]:
    """The files with every trap set; those of other days are left as they are."""
    found = {(export.day, export.source): export for export in exports}
    _read_in_inch(_largest_bore_file(found, INCH_DAY))
    _microinch(_file(found, MICROINCH_DAY, "PF1"))
    _swapped_points(_file(found, SWAP_DAY, "TP1"))
    _sign_flipped(_largest_bore_file(found, SIGN_DAY))
    _letter_for_digit([export for export in exports if export.source == "HG1"])
    _clock_behind(_largest_bore_file(found, CLOCK_DAY))
    loose = _file(found, LOOSE_CAPS_DAY, "MG1")
    _caps_loose(loose, found[loose.day, "jobs"])
    return [*exports, _exported_twice(_largest_bore_file(found, TWICE_DAY))]


def _file(found: dict[tuple[date, str], Export], day: date, *sources: str) -> Export:
    """The largest file of these sources on a day; on the next that has any when it has none."""
    first = min(day_ for day_, source in found if source in sources and day_ >= day)
    files = [found[first, source] for source in sources if (first, source) in found]
    return max(files, key=lambda export: len(export.rows))


def _largest_bore_file(found: dict[tuple[date, str], Export], day: date) -> Export:
    return _file(found, day, "BG1", "BG2")


def _change(rows: list[dict[str, str]], columns: tuple[str, ...], new: Callable[[str], str]) -> None:
    """Rewrite the cells that hold a reading."""
    for row in rows:
        for column in columns:
            if row[column] not in ("", NO_READING):
                row[column] = new(row[column])


def _read_in_inch(export: Export) -> None:
    """The gauge was switched to inch; the column still says thou."""
    _change(export.rows, ("dev_thou",), lambda text: f"{float(text) / 1000:.4f}")


def _exported_twice(export: Export) -> Export:
    """The same rows exported again under another name the next morning, with other line ends."""
    again = copy.deepcopy(export)
    again.name = export.name.replace(".csv", " copy.csv")
    again.line_end = "\r\n"
    again.known_at = export.known_at + timedelta(hours=15)
    return again


def _microinch(export: Export) -> None:
    """The tester was switched to microinch; only the preamble says so."""
    export.preamble = tuple("unit: uin" if line.startswith("unit:") else line for line in export.preamble)
    _change(export.rows, ("Ra", "Rz", "Rk", "Rpk", "Rvk"), lambda text: f"{float(text) / MICROINCH:.1f}")


def _swapped_points(export: Export) -> None:
    """Decimal commas, and points 3 and 4 exchanged on six blocks."""
    blocks = list(dict.fromkeys(row["block"] for row in export.rows))[:SWAP_BLOCKS]
    other = {"D3": "D4", "D4": "D3"}
    for row in export.rows:
        row["z_mm"] = row["z_mm"].replace(".", ",")
        if row["block"] in blocks:
            row["point"] = other.get(row["point"], row["point"])


def _sign_flipped(export: Export) -> None:
    """One machinist's dial counted the other way round."""
    who = Counter(row["who"] for row in export.rows).most_common(1)[0][0]
    rows = [row for row in export.rows if row["who"] == who]
    _change(rows, ("dev_thou",), lambda text: f"{-float(text) + 0.0:.1f}")


def _letter_for_digit(exports: list[Export]) -> None:
    """A block number typed with the letter O for its zero, on the day its deck was first measured."""
    right = f"QB-{TYPO_DAY.year % 100:02d}-{TYPO_NUMBER:04d}"
    first = next(export for export in exports if any(row["block"] == right for row in export.rows))
    for row in first.rows:
        if row["block"] == right:
            row["block"] = right.replace("-0", "-O")


def _clock_behind(export: Export) -> None:
    """The gauge's clock was never set to summer time."""
    for row in export.rows:
        wrong = datetime.fromisoformat(row["stamp"]) - timedelta(hours=1)
        row["stamp"] = moment(wrong)


def _caps_loose(export: Export, jobs: Export) -> None:
    """Two main bores read large with loose caps, then read again after the caps were torqued."""
    block = export.rows[0]["block"]
    read_again = []
    for row in export.rows:
        if row["block"] == block and row["place"] in LOOSE_MAINS and row["dev_thou"] not in ("", NO_READING):
            later = datetime.fromisoformat(row["stamp"]) + timedelta(minutes=4)
            read_again.append(dict(row, stamp=moment(later)))
            if row["dir"] == "V":
                loose = float(row["dev_thou"]) * THOU + LOOSE_CAPS
                row["dev_thou"] = f"{float(GAUGES['MG1'].read(loose)) / THOU:.1f}"
    end = max(i for i, row in enumerate(export.rows) if row["block"] == block) + 1
    first = int(export.rows[0]["seq"])
    export.rows[end:end] = read_again
    for i, row in enumerate(export.rows):
        row["seq"] = str(first + i)
    for row in jobs.rows:
        if row["block"] == block and row["operation"] == "line_hone":
            row["note"] = "caps 2 and 3 loose, re-torqued and read again"
            row["ended"] = moment(datetime.fromisoformat(row["ended"]) + timedelta(minutes=5))
